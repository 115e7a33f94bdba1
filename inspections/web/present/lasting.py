"""What lasts, as a page says it: figures, and rows in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from inspections.analysis.costs import GroupCost
from inspections.analysis.groups import TestResult
from inspections.analysis.lifetimes import Interval
from inspections.analysis.rates import LEAST_COATS, FailureRates, GroupLoss, GroupRates
from inspections.vocabulary import Unit
from inspections.web.present import units, words
from portfolio.vocabulary import (
    Adjoins,
    BeddingMortar,
    Beyond,
    Binder,
    DrainsTo,
    Purpose,
    Substrate,
    TreatmentKind,
)

#: What coats can be grouped by on the page, in its words; the address takes any field that there is.
GROUPINGS = {
    "binder": "binder",
    "kind": "kind of coat",
    "kind,binder": "kind and binder",
    "mix": "mix",
    "binder,mix": "binder and mix",
    "substrate": "the wall’s masonry",
    "binder,substrate": "binder and masonry",
    "adjoins": "what lies behind the wall",
    "binder,adjoins": "binder and what lies behind",
    "building": "house",
    "trial,arm": "trial and arm",
    "applied_by": "who put it on",
}
_LABELS: Mapping[str, Mapping[str, str]] = {
    name: {str(word): str(label) for word, label in choices}
    for name, choices in {
        "binder": Binder.choices,
        "kind": TreatmentKind.choices,
        "substrate": Substrate.choices,
        "bedding_mortar": BeddingMortar.choices,
        "adjoins": Adjoins.choices,
        "beyond": Beyond.choices,
        "purpose": Purpose.choices,
        "drains_to": DrainsTo.choices,
        "found": [("yes", "found standing"), ("no", "put on under care")],
    }.items()
}
_FIELD_NAMES = {"mix": "mix", "building": "house", "trial": "trial", "arm": "arm", "applied_by": "hand"}
#: Under this a difference is called one. Common practice.
DIFFERENT = 0.05
#: Years that no record of coats reaches: an age beyond is told as "not reached". Ours.
FAR = 200.0
G = TypeVar("G", GroupRates, GroupLoss, GroupCost)


@dataclass(frozen=True, slots=True)
class RateRow:
    """One group in the table of failures."""

    name: str
    coats: int
    years: str
    failures: int
    rate: str
    half: str
    most: str
    manner: str
    note: str


@dataclass(frozen=True, slots=True)
class LossRow:
    """One group in the table of lost area."""

    name: str
    coats: int
    years: str
    rate: str
    note: str


@dataclass(frozen=True, slots=True)
class CostRow:
    """One group and currency in the table of costs."""

    name: str
    money: str
    coats: int
    installed: str
    upkeep: str
    removed: str
    serves: str
    per_year: str
    note: str


def group_name(group: Mapping[str, str | None]) -> str:
    """Such as "CL 90 lime, brick"; what is not given says so."""
    return ", ".join(_value_name(field, value) for field, value in group.items()) or "all coats"


def _value_name(field: str, value: str | None) -> str:
    if value is None:
        return f"no {_FIELD_NAMES.get(field, field.replace('_', ' '))} given"
    return _LABELS.get(field, {}).get(value, value)


def summary(rates: FailureRates) -> str:
    """What was watched, and what became of it, in a sentence or two."""
    coats = sum(group.coats for group in rates.groups)
    if not coats:
        return "No coats are entered yet, or none of those asked for."
    failures = sum(group.failures for group in rates.groups)
    years = sum(group.section_years for group in rates.groups)
    failed = "none failed" if not failures else f"{words.spelt(failures)} failed"
    share = units.number(rates.threshold * 100, 0)
    return (
        f"{words.capital(words.counted(coats, 'coat'))}, watched for {_years(years)} in all: {failed}. "
        f"A coat has failed when {share} % of it sounds hollow or has fallen, or when it is taken off as "
        "failed."
    )


def difference(test: TestResult) -> str:
    """Whether the groups last alike, without a number alone."""
    if test.p_value is None:
        return "Whether the groups last alike can’t be tested: it takes two groups and a failure."
    if test.p_value < DIFFERENT:
        return (
            "The groups don’t last alike: if they did, differences as large as these would come in "
            f"{_chance(test.p_value)} such records."
        )
    return (
        "No difference in how long the groups last is shown: differences as large as these come in "
        f"{_chance(test.p_value)} such records even where all last alike. That is not to say that they do."
    )


def _chance(share: float) -> str:
    """Such as "3 in 100"."""
    for many in (10, 100, 1000):
        if share * many >= 1:
            return f"about {min(round(share * many), many)} in {many:,}"
    return "fewer than 1 in 1,000"


def too_few(groups: Iterable[GroupRates | GroupLoss | GroupCost], what: str) -> str:
    """Which groups have too few coats to tell ``what``; "" where all have enough."""
    counts: dict[str, int] = {}
    for group in groups:
        if group.coats < LEAST_COATS:
            name = group_name(group.group)
            counts[name] = counts.get(name, 0) + group.coats
    named = words.listed([f"{name} ({count})" for name, count in counts.items()])
    return f"Under five coats, too few for {what}: {named}." if named else ""


def enough(groups: Iterable[G]) -> list[G]:
    """The groups that have coats enough for a row of their own."""
    return [group for group in groups if group.coats >= LEAST_COATS]


def rate_row(group: GroupRates) -> RateRow:
    rate = Interval(group.rate.per_100_section_years, group.rate.low, group.rate.high)
    half = Interval(group.median_life.years, group.median_life.low, group.median_life.high)
    return RateRow(
        name=group_name(group.group),
        coats=group.coats,
        years=units.number(group.section_years, 0 if group.section_years >= 10 else 1),
        failures=group.failures,
        rate=span(rate),
        half=lived(half),
        most=lived(group.weibull.scale),
        manner=manner(group.weibull.shape),
        note=group.note,
    )


def manner(shape: Interval) -> str:
    """How failures come with age, from the shape of the lives."""
    if shape.estimate is None:
        return ""
    told = f"shape {span(shape)}"
    if shape.low is not None and shape.low > 1:
        return f"with age, as by wear; {told}"
    if shape.high is not None and shape.high < 1:
        return f"early, as by faults of the work; {told}"
    return f"can’t tell wear from chance; {told}"


def loss_row(loss: GroupLoss) -> LossRow:
    return LossRow(
        name=group_name(loss.group),
        coats=loss.coats,
        years=units.number(loss.section_years, 0 if loss.section_years >= 10 else 1),
        rate=span(times(loss.rate_per_year, 100), "%"),
        note=loss.note,
    )


def cost_row(cost: GroupCost, system: str) -> CostRow:
    money = cost.currency or "no currency given"
    span_of = (
        str(cost.first_year) if cost.first_year == cost.last_year else f"{cost.first_year}–{cost.last_year}"
    )
    per = per_area(system)
    return CostRow(
        name=group_name(cost.group),
        money=f"{money} of {span_of}",
        coats=cost.coats,
        installed=span(times(cost.installed, per)),
        upkeep=span(times(cost.upkeep, per)),
        removed=span(times(cost.removed, per)),
        serves=lived(cost.expected_years),
        per_year=span(times(cost.per_year, per)),
        note=cost.note,
    )


def per_area(system: str) -> float:
    """What turns a number for each m² into one for each unit of area that is shown."""
    return 1 / units.shown(Unit.M2, system).factor


def area_unit(system: str) -> str:
    """m² or ft²."""
    return units.label(Unit.M2, system)


def times(interval: Interval, factor: float) -> Interval:
    """An interval in another unit."""
    ends = (interval.estimate, interval.low, interval.high)
    return Interval(*(None if end is None else end * factor for end in ends))


def span(interval: Interval, unit: str = "") -> str:
    """Such as "14 (11 to 19)"; an end that is not reached says so; "" where nothing is known."""
    ends = (interval.estimate, interval.low, interval.high)
    told = iter(units.alike(*known)) if (known := [end for end in ends if end is not None]) else iter(())
    centre, low, high = (None if end is None else next(told) for end in ends)
    after = f"{units.NO_BREAK}{unit}" if unit else ""
    if centre is None:
        over = f"; over {low}{after}" if low else ""
        return f"not reached{over}" if known else ""
    if low is None and high is None:
        return f"{centre}{after}" if centre == "0" else f"{centre}{after} (limits not known)"
    return f"{centre}{after} ({low or 0} to {high or 'not reached'})"


def lived(years: Interval) -> str:
    """An age as :func:`span` tells it, where no end is told that lies beyond :data:`FAR`."""
    ends = (years.estimate, years.low, years.high)
    return span(Interval(*(None if end is None or end > FAR else end for end in ends)))


def _years(years: float) -> str:
    return f"{units.number(years, 0)} {'year' if round(years) == 1 else 'years'}"
