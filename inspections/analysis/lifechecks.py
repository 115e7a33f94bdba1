"""How far the lives of coats rest on what can't be seen: planned removals, and visits with a reason.

A coat taken off by plan counts as sound until then; had each been about to fail, lives would be shorter. That
bound stands beside what is recorded (Hudgens, Satten and Longini 2001, Biometrics 57, 74-80, of competing
risks under interval censoring). Visits that were made because of a wall's state find failures soon after they
happen, while the rule takes them to lie anywhere since the last visit; lives from planned visits alone don't
have that fault (Grueger, Kay and Schumacher 1991, Biometrics 47, 595-605). From memory.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from scipy.special import stdtrit

from inspections.analysis.failures import (
    FAILED,
    LEAST_DAYS,
    REMOVED,
    STANDING,
    Areas,
    Coats,
    Lives,
    Mended,
    coat_on,
    lives,
)
from inspections.analysis.lifetimes import BoolArray, IntArray, Interval, Lifetimes
from inspections.analysis.rates import UNKNOWN, FailureRates, Group, GroupRates, failure_rates, places
from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.results import plain
from inspections.analysis.weibull import estimate_weibull

RECORDED, REMOVALS_FAILED, PLANNED_VISITS = "as_recorded", "removals_failed", "planned_visits"
#: Share of a house's standing coats that a visit must have surveyed to be taken for a round. Ours.
ROUND = 0.5
#: Blocks of houses that the jackknife leaves out in turn, as for costs.
BLOCKS = 20
#: Fewer failures tell no life to compare.
LEAST_FAILURES = 3


@dataclass(frozen=True, slots=True)
class LifeCheck:
    """One group's failures found in one way (``case``), and its median life over that as recorded.

    ``touched``: how many coats are taken to have failed, or how many readings are left out. ``differs``:
    whether planned visits alone tell another life beyond error; None where that isn't asked or isn't told.
    """

    case: str
    rates: GroupRates
    touched: int
    times_as_long: Interval
    differs: bool | None
    note: str

    def as_json(self) -> dict[str, Any]:
        """Plain types, unknown as None; curves are left to `survival`."""
        one = asdict(self.rates)
        names = ("group", "coats", "section_years", "failures", "rate", "median_life", "weibull")
        return {
            "group": one["group"],
            "case": self.case,
            **{name: plain(one[name]) for name in names[1:]},
            "touched": self.touched,
            "times_as_long": plain(asdict(self.times_as_long)),
            "differs": self.differs,
            "note": " ".join(part for part in (one["note"], self.note) if part),
        }


@dataclass(frozen=True, slots=True)
class Book:
    """Coats (n,) with what their lives were found from, their groups and houses."""

    coats: Coats
    areas: Areas
    mended: Mended
    threshold: float
    lives: Lives
    group: Sequence[Group]
    house: IntArray


def life_checks(by: Sequence[str], book: Book, rounds: BoolArray, as_of: dt.date) -> tuple[LifeCheck, ...]:
    """Each group as recorded, with all planned removals failed, and from planned visits alone.

    ``rounds`` (r,) says of each area whether it was read on a round of its house; it serves where no visit
    has another reason than plan.
    """

    def anew(coats: Coats, areas: Areas) -> Lives:
        return lives(coats, areas, book.mended, book.threshold)

    def rates(found: Lives) -> FailureRates:
        return failure_rates(by, book.group, found, book.house, as_of, book.threshold)

    failing = anew(replace(book.coats, failed=book.coats.failed | _taken_off(book)), book.areas)
    marked = bool(book.areas.prompted.any())
    by_plan = ~book.areas.prompted if marked else rounds
    planned = _seen_by_plan(book, anew(book.coats, book.areas.of(by_plan)), by_plan)
    names, place = places(book.group)
    cases = {RECORDED: rates(book.lives), REMOVALS_FAILED: rates(failing), PLANNED_VISITS: rates(planned)}
    left_out = np.zeros(len(book.coats), dtype=np.int64)
    of = coat_on(book.coats, book.areas.section, book.areas.day)
    np.add.at(left_out, of[(of >= 0) & ~by_plan], 1)
    found = []
    for one in range(len(names)):
        own = place == one
        groups = {case: rated.groups[one] for case, rated in cases.items()}
        found.append(LifeCheck(RECORDED, groups[RECORDED], 0, UNKNOWN, None, ""))
        taken = int((own & _taken_off(book)).sum())
        found.append(_bound(groups, taken, _times(book, failing, own) if taken else UNKNOWN))
        away = int(left_out[own].sum())
        times = _times(book, planned, own) if away else UNKNOWN
        found.append(_by_plan(groups, times, marked, away))
    return tuple(found)


def _seen_by_plan(book: Book, found: Lives, by_plan: BoolArray) -> Lives:
    """Lives (n,) as planned visits alone would have shown them: removals as failed, too, came of other looks.

    One that no planned survey had shown to have failed would have been found by the house's next planned
    visit; without one, nothing is known of it but when it was last seen sound.
    """
    coats = book.coats
    age = np.maximum((coats.ended - coats.earliest) / YEAR, found.low + LEAST_DAYS / YEAR)
    early = np.flatnonzero(coats.failed & (found.state == FAILED) & np.isclose(found.high, age))
    of = coat_on(coats, book.areas.section, book.areas.day)
    looks = by_plan & (of >= 0)
    origin = float(coats.begun.min(initial=0.0))
    span = max(float(book.areas.day.max(initial=origin)), _end(coats)) - origin + 2.0
    days = np.unique(book.house[of[looks]] * span + book.areas.day[looks] - origin)
    at = book.house[early] * span
    place = np.searchsorted(days, at + coats.ended[early] - origin, side="left")
    day = np.append(days, np.inf)[place] - at + origin
    seen = day < origin + span - 1
    high, years, state = found.high.copy(), found.years.copy(), found.state.copy()
    until = np.where(seen, (day - coats.earliest[early]) / YEAR, np.inf)
    years[early] += np.where(seen, until - high[early], found.low[early] - high[early]) / 2
    high[early] = until
    state[early[~seen]] = STANDING
    return replace(found, high=high, years=np.maximum(years, 0.0), state=state)


def _end(coats: Coats) -> float:
    ended = coats.ended[np.isfinite(coats.ended)]
    return float(max(ended.max(initial=0.0), coats.begun.max(initial=0.0)))


def _taken_off(book: Book) -> BoolArray:
    """Which coats were sound when they were taken off by plan, or without a reason."""
    return np.asarray((book.lives.state == REMOVED) & book.coats.planned)


def _bound(groups: Mapping[str, GroupRates], taken: int, times: Interval) -> LifeCheck:
    group = groups[REMOVALS_FAILED]
    if not taken:
        note = "None was taken off as planned while it was sound."
    else:
        were = "1 coat was" if taken == 1 else f"{taken:,} coats were"
        note = (
            f"{were} taken off as planned, or without a reason given, while known as sound: here as if all "
        )
        note += "had failed by then. The truth lies between this and what is recorded."
    return LifeCheck(REMOVALS_FAILED, group, taken, times, None, note)


def _by_plan(groups: Mapping[str, GroupRates], times: Interval, marked: bool, away: int) -> LifeCheck:
    group = groups[PLANNED_VISITS]
    which = (
        "visits marked as made because of a flag, an event or else are left out"
        if marked
        else "no visit is marked as made for another reason than plan, so those are left out that surveyed "
        "under half of the house’s coats"
    )
    if not away:
        reason = "none of this group’s surveys" if marked else "that is none of this group’s surveys"
        note = f"From planned visits alone: {which}; {reason}."
        return LifeCheck(PLANNED_VISITS, group, 0, UNKNOWN, None, note)
    were = "1 reading" if away == 1 else f"{away:,} readings"
    note = f"From planned visits alone: {which} ({were})."
    if times.estimate is None or times.low is None or times.high is None:
        note += " Too little to say whether lives differ."
        return LifeCheck(PLANNED_VISITS, group, away, times, None, note)
    differs = not times.low <= 1 <= times.high
    note += f" They last {times.estimate:.2f} times as long ({times.low:.2f} to {times.high:.2f})"
    way = "shorter" if times.estimate > 1 else "longer"
    note += (
        f", beyond error: with all visits they look {way}-lived than they are."
        if differs
        else (": no difference beyond error.")
    )
    return LifeCheck(PLANNED_VISITS, group, away, times, differs, note)


def _times(book: Book, other: Lives, own: BoolArray) -> Interval:
    """Median life of a group by ``other`` lives over that by the book's, with its interval over houses.

    Both are of the same coats, so their error is that of the difference: a jackknife over blocks of houses.
    """
    both = own & book.lives.at_risk
    house = np.unique(book.house[both], return_inverse=True)[1] % BLOCKS
    block = np.full(len(own), -1)
    block[both] = house
    whole = _log_ratio(book, other, own)
    if whole is None:
        return UNKNOWN
    count = int(house.max(initial=-1)) + 1
    parts = [_log_ratio(book, other, own & (block != one)) for one in range(count)]
    left = np.array([part for part in parts if part is not None])
    if count < 2 or len(left) < count:
        return Interval(math.exp(whole), None, None)
    error = math.sqrt((count - 1) / count * float(((left - left.mean()) ** 2).sum()))
    reach = float(stdtrit(count - 1, 0.975)) * error
    return Interval(math.exp(whole), math.exp(whole - reach), math.exp(whole + reach))


def _log_ratio(book: Book, other: Lives, own: BoolArray) -> float | None:
    logs = [_log_median(one, own & one.at_risk) for one in (other, book.lives)]
    return None if None in logs else logs[0] - logs[1]  # type: ignore[operator]


def _log_median(found: Lives, which: BoolArray) -> float | None:
    if int((found.state[which] == FAILED).sum()) < LEAST_FAILURES:
        return None
    lifetimes = Lifetimes(
        found.entry[which], found.low[which], found.high[which], np.zeros(which.sum(), dtype=np.int64)
    )
    fit = estimate_weibull(lifetimes)
    return None if fit is None else math.log(fit[1]) + math.log(math.log(2)) / fit[0]


def on_rounds(coats: Coats, house: IntArray, areas: Areas) -> BoolArray:
    """Whether each area (r,) was read on a day on which much of its house was surveyed (:data:`ROUND`)."""
    of = coat_on(coats, areas.section, areas.day)
    told = np.zeros(len(of), dtype=bool)
    mine = np.flatnonzero(of >= 0)
    if not len(mine):
        return told
    keys = np.column_stack([house[of[mine]], areas.day[mine].astype(np.int64)])
    looks, look = np.unique(keys, axis=0, return_inverse=True)
    look = look.reshape(-1)
    pairs = np.unique(np.column_stack([look, of[mine]]), axis=0)
    surveyed = np.bincount(pairs[:, 0], minlength=len(looks))
    standing = _standing(coats, house, looks[:, 0], looks[:, 1].astype(float))
    told[mine] = (surveyed >= ROUND * standing)[look]
    return told


def _standing(coats: Coats, house: IntArray, where: IntArray, day: FloatArray) -> IntArray:
    """How many coats stood in each house on each day (k,)."""
    origin = min(float(coats.begun.min()), float(day.min())) - 1.0
    last = max(float(coats.begun.max()), float(day.max())) + 1.0
    span = last - origin + 2.0
    begun = np.sort(house * span + coats.begun - origin)
    ended = np.sort(house * span + np.minimum(coats.ended, last) - origin)
    at = where * span + day - origin
    # As for readings: a coat stands from the day after its application to the day of its end.
    return np.asarray(np.searchsorted(begun, at, side="left") - np.searchsorted(ended, at, side="left"))
