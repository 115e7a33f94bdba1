"""What lasts, set beside each other: at like ages, on like walls, and how far it holds; in a page's words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from inspections.analysis.adjusted import WORDS, LikeForLike
from inspections.analysis.agerates import AgeRate, AgeRates, LikeAges
from inspections.analysis.fates import Fate
from inspections.analysis.lifechecks import PLANNED_VISITS, RECORDED, REMOVALS_FAILED, LifeCheck
from inspections.analysis.lifetimes import Interval
from inspections.analysis.rates import Group, Rate
from inspections.web.present import units, words
from inspections.web.present.lasting import group_name, lived, span, times

TOO_FEW = "too few"
#: Ages at which the table of fates tells them, years.
AGES = (5, 10, 20, 30)
CASES = {
    RECORDED: "as recorded",
    REMOVALS_FAILED: "removals as failures",
    PLANNED_VISITS: "planned visits alone",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """A rate, and what it rests on."""

    label: str
    rate: str
    rests: str


@dataclass(frozen=True, slots=True)
class AgeRow:
    """One group: its rates at each age, as if at like ages, and beside the reference."""

    name: str
    cells: tuple[Cell, ...]
    alike: str
    beside: str
    crude: str
    note: str


@dataclass(frozen=True, slots=True)
class WallRow:
    """One group beside the reference on like walls."""

    name: str
    coats: int
    failures: int
    beside: str
    crude: str


@dataclass(frozen=True, slots=True)
class FateRow:
    """One group at one age."""

    name: str
    age: str
    failed: str
    taken_off: str
    sound: str


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One group's lives, found in one way."""

    name: str
    case: str
    failures: int
    half: str
    beside: str
    note: str


def bands(ages: AgeRates) -> list[str]:
    """The ages in the heads of the columns."""
    return [_band(first, last) for first, last in _ends(ages)]


def _ends(ages: AgeRates) -> list[tuple[float, float | None]]:
    return sorted({(one.from_years, one.to_years) for one in ages.bands}, key=lambda ends: ends[0])


def _band(first: float, last: float | None) -> str:
    return f"{first:.0f}–{last:.0f}" if last is not None else f"over {first:.0f}"


def age_rows(ages: AgeRates) -> list[AgeRow]:
    """A row for each group that has a rate at any age."""
    alike = {tuple(one.group.values()): one for one in ages.alike}
    own: dict[Group, dict[float, AgeRate]] = {}
    for one in ages.bands:
        own.setdefault(tuple(one.group.values()), {})[one.from_years] = one
    rows = []
    for key, cells in own.items():
        beside = alike.get(key)
        is_reference = beside is not None and beside.group == beside.reference
        rows.append(
            AgeRow(
                group_name(next(iter(cells.values())).group),
                tuple(_cell(_band(*ends), cells.get(ends[0])) for ends in _ends(ages)),
                span(_interval(beside.rate)) if beside else "",
                _beside(beside),
                span(beside.crude) if beside and not is_reference else "",
                beside.note if beside and not is_reference else "",
            )
        )
    return [row for row in rows if any(cell.rate not in ("", TOO_FEW) for cell in row.cells)]


def _beside(found: LikeAges | None) -> str:
    if found is None:
        return ""
    return "the others are set beside it" if found.group == found.reference else span(found.times_as_often)


def _interval(rate: Rate) -> Interval:
    return Interval(rate.per_100_section_years, rate.low, rate.high)


def _cell(label: str, found: AgeRate | None) -> Cell:
    if found is None or found.section_years < 0.05:
        return Cell(label, "", "")
    failed = units.number(found.failures, 0 if abs(found.failures - round(found.failures)) < 0.05 else 1)
    years = units.number(found.section_years, 0 if found.section_years >= 10 else 1)
    rate = span(_interval(found.rate)) or TOO_FEW
    return Cell(label, rate, f"{failed} in {years} years")


def like_ages(ages: AgeRates) -> str:
    """What regard to age changes, in a sentence or two."""
    if not ages.alike:
        return "Coats can’t be set beside each other at the same age yet: it takes a failure."
    reference = group_name(ages.alike[0].reference)
    others = [one for one in ages.alike if one.times_as_often.estimate is not None]
    if not others:
        return f"No other group can be set beside {reference} at the same age yet."
    turned = [one for one in others if _by_age(one.crude, one.times_as_often)]
    told = f"The table sets each beside {reference}: how many times as often it fails at the same age."
    for one in turned:
        seldom = "more" if (one.crude.estimate or 0) > 1 else "less"
        told += (
            f" Without regard to age {group_name(one.group)} would seem to fail {seldom} often "
            f"({span(one.crude)} times): that is its age more than the coat."
        )
    return told


def _by_age(crude: Interval, alike: Interval) -> bool:
    """Whether a crude difference is mostly one of age: told without regard to it, and under half as large."""
    side = _side(crude)
    if not side or not crude.estimate or not alike.estimate or _side(alike) == side:
        return False
    return side * math.log(alike.estimate) < abs(math.log(crude.estimate)) / 2


def _side(interval: Interval) -> int:
    """1: surely over one, -1: surely under it, 0: not told."""
    if interval.low is not None and interval.low > 1:
        return 1
    return -1 if interval.high is not None and interval.high < 1 else 0


def wall_rows(alike: LikeForLike, by: Sequence[str]) -> list[WallRow]:
    def named(group: Group) -> str:
        return group_name(dict(zip(by, group, strict=True)))

    first = WallRow(
        named(alike.reference),
        alike.coats[alike.reference],
        alike.failures[alike.reference],
        "the others are set beside it",
        "",
    )
    return [
        first,
        *(
            WallRow(
                named(group),
                alike.coats[group],
                alike.failures[group],
                span(found) or "not told",
                span(alike.crude[group]) or "not told",
            )
            for group, found in alike.times.items()
        ),
    ]


def headline(alike: LikeForLike, by: Sequence[str]) -> str:
    """Which coat lasts longer on like walls, by what factor, and how sure."""
    return alike.headline(lambda group: group_name(dict(zip(by, group, strict=True))))


def left_open(alike: LikeForLike) -> str:
    """What was known of some walls only, and what was not taken out."""
    parts = []
    if alike.known:
        coats = sum(alike.coats.values())
        known = words.listed([f"{WORDS[name]} of {count}" for name, count in alike.known.items()])
        parts.append(
            f"Of {coats} coats, {known} were known; for the others it is drawn from all else that is known, "
            "many times over, and the intervals are wider for it."
        )
    if alike.left_out:
        why = "; ".join(f"{WORDS[name]} ({reason})" for name, reason in alike.left_out.items())
        parts.append(f"Not taken out: {why}.")
    parts.append("What was not written down of the walls is not taken out.")
    return words.capital(" ".join(parts))


def fate_rows(fates: Sequence[Fate]) -> list[FateRow]:
    """Of groups of which some were taken off by plan: without that the curves say as much."""
    return [
        FateRow(
            group_name(one.group),
            f"{one.years:.0f} years",
            span(times(one.failed, 100), "%"),
            span(times(one.taken_off, 100), "%"),
            span(times(one.sound, 100), "%"),
        )
        for one in fates
        if one.years in AGES and one.removals
    ]


def telling(checks: Sequence[LifeCheck]) -> list[LifeCheck]:
    """What differs from what is recorded in anything, with that before it; of groups that tell a life."""
    touched = {tuple(one.rates.group.values()) for one in checks if one.touched and _tells(one)}
    return [
        one
        for one in checks
        if tuple(one.rates.group.values()) in touched
        and (one.case == RECORDED or one.touched)
        and one.rates.weibull.median.estimate is not None
    ]


def _tells(check: LifeCheck) -> bool:
    return check.times_as_long.estimate is not None


def check_rows(checks: Sequence[LifeCheck]) -> list[CheckRow]:
    return [
        CheckRow(
            group_name(one.rates.group),
            CASES[one.case],
            one.rates.failures,
            lived(one.rates.weibull.median),
            span(one.times_as_long),
            one.note,
        )
        for one in telling(checks)
    ]


def differing(checks: Sequence[LifeCheck]) -> str:
    """Whether planned visits alone tell other lives, in a sentence."""
    told = [one for one in checks if one.case == PLANNED_VISITS and one.differs is not None]
    differ = [group_name(one.rates.group) for one in told if one.differs]
    if differ:
        return (
            f"From planned visits alone {words.listed(differ)} would be given another life, beyond error: "
            "the life from planned visits is the one to believe."
        )
    if told:
        return "Planned visits alone tell the same lives, within their error."
    return "Whether visits that were made because of a wall’s state change the lives can’t be told."
