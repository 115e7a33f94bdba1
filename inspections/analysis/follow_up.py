"""Whether work on a wall helped: the level of its water before and after, season removed, with an interval.

One quantity decides, chosen before its readings are looked at, so that no lucky one of several is told. The
difference is the step of a harmonic regression with serially dependent errors at the day of the work (a step
beside a season: Helsel et al. 2020, Statistical Methods in Water Resources, ch. 12, on intervention). What
else changed in the same months is not told apart from the work.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.harmonic import HarmonicFit, harmonic_fit, student_reach
from inspections.analysis.levels import Level
from inspections.analysis.records import YEAR, BuildingRecord
from inspections.analysis.series import prepare

Mask = npt.NDArray[np.bool_]

WORKED, NOT_SHOWN, WORSE, TOO_FEW = "worked", "not_shown", "worse", "too_few"

#: Which quantity decides, the first that was read often enough. A face meter is no witness of trapped water,
#: whose face is dry all along.
DECIDING = {
    "trapped_water": ("deep_moisture", "in_wall_humidity"),
    "water_entry": ("surface_moisture", "deep_moisture", "in_wall_humidity"),
}
OTHERWISE = ("deep_moisture", "in_wall_humidity", "surface_moisture")
#: Work after which the face is another one, so that a face meter can't be compared with itself.
CHANGES_THE_FACE = frozenset({"patch", "strip", "recoat"})
#: Days after the work that are left out: a wall answers in months, and new mortar gives off its own water
#: first (common practice: a month for each 5 mm).
SETTLING = 30.0
SETTLING_OF_A_COAT = 90.0
#: Years before the work that are compared with what came after, and the fewest visits on each side.
YEARS_BEFORE = 4.0
LEAST_BEFORE, LEAST_AFTER = 2, 2

_NAMES = {
    "deep_moisture": "Deep moisture",
    "in_wall_humidity": "In-wall humidity",
    "surface_moisture": "Face moisture",
}
_UNITS = {
    "relative": "scale divisions",
    "percent_wme": "% WME",
    "percent_mass": "% by mass",
    "percent_rh": "% RH",
}


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What the readings say of some work.

    ``change`` is the level after less the level before in ``unit``, with its 95 % interval; None where
    ``outcome`` is ``too_few``, and then ``quantity`` is the one that lacks visits ("" where none was read).
    """

    outcome: str
    quantity: str
    unit: str
    change: float | None
    low: float | None
    high: float | None
    visits_before: int
    visits_after: int
    method: str
    statement: str


def follow_up(
    record: BuildingRecord, section: str, done: float, kind: str, verdict: str, as_of: float
) -> FollowUp:
    """Whether work of ``kind`` (``source_mended, patch, strip, recoat, watch``) on day ``done`` helped.

    ``verdict`` is what the wall was flagged for ("" for none), ``done`` and ``as_of`` are days since
    1970-01-01; nothing later than the end of ``as_of`` is used.
    """
    levels = prepare(record.until(as_of)).levels.get(section, {})
    order = [
        name
        for name in DECIDING.get(verdict, OTHERWISE)
        if not (name == "surface_moisture" and kind in CHANGES_THE_FACE)
    ]
    settled = done + (SETTLING_OF_A_COAT if kind in CHANGES_THE_FACE else SETTLING)
    seen = {name: _sides(levels[name], done, settled) for name in order if name in levels}
    for name, (before, after) in seen.items():
        if before.sum() >= LEAST_BEFORE and after.sum() >= LEAST_AFTER:
            found = _compare(name, levels[name], before, after, settled)
            if found is not None:
                return found
    return _too_few(seen, order)


def _sides(level: Level, done: float, settled: float) -> tuple[Mask, Mask]:
    """Which visits count before and after the work; the day of the work itself counts before it."""
    day = np.floor(level.time)
    before = (day <= done) & (day >= done - YEARS_BEFORE * YEAR)
    return before, day >= settled


def _compare(quantity: str, level: Level, before: Mask, after: Mask, settled: float) -> FollowUp | None:
    kept = before | after
    fit = _fit(level, kept, settled)
    if fit is None or not np.isfinite(fit.steps[0]):
        return None
    # A meter that was changed between them adds what is not known of its step.
    offset = float(level.offset_sd[before].max(initial=0.0)) if len(level.offset_sd) else 0.0
    change = float(fit.steps[0])
    reach = student_reach(fit.freedom) * float(np.hypot(fit.step_errors[0], offset))
    low, high = change - reach, change + reach
    outcome = WORKED if high < 0 else WORSE if low > 0 else NOT_SHOWN
    counts = int(before.sum()), int(after.sum())
    unit = str(level.unit)
    statement = _statement(outcome, quantity, unit, change, low, high, *counts)
    return FollowUp(outcome, quantity, unit, change, low, high, *counts, fit.method, statement)


def _fit(level: Level, kept: Mask, settled: float) -> HarmonicFit | None:
    """With the season where the visits can tell it, else without."""
    for harmonics in (1, 0):
        fit = harmonic_fit(
            level.time[kept],
            level.value[kept],
            level.low[kept],
            level.high[kept],
            harmonics=harmonics,
            steps=(settled,),
            trend=False,
        )
        if fit is not None:
            return fit
    return None


def _statement(
    outcome: str, quantity: str, unit: str, change: float, low: float, high: float, before: int, after: int
) -> str:
    counts = f"{_visits(before)} before the work, {after} after it"
    name, measure = _NAMES[quantity], _UNITS.get(unit, unit)
    if outcome == NOT_SHOWN:
        span = f"{change:+.2g} {measure} ({low:+.2g} to {high:+.2g}; {counts})"
        return f"{name} changed by {span}, season taken out: not shown to have helped."
    moved = "fell" if outcome == WORKED else "rose"
    ends = sorted((abs(low), abs(high)))
    end = "it has worked so far." if outcome == WORKED else "the wall is wetter than before."
    span = f"{abs(change):.2g} {measure} ({ends[0]:.2g} to {ends[1]:.2g}; {counts})"
    return f"{name} {moved} by {span}, season taken out: {end}"


def _too_few(seen: dict[str, tuple[Mask, Mask]], order: list[str]) -> FollowUp:
    wanted = " or ".join(_NAMES[name].lower() for name in order)
    name = max(seen, key=lambda one: min(seen[one][0].sum(), seen[one][1].sum()), default="")
    before, after = (int(side.sum()) for side in seen[name]) if name else (0, 0)
    statement = (
        f"Too few visits to tell: {wanted} must be read on at least {LEAST_BEFORE} before the work and "
        f"{LEAST_AFTER} after it, once the wall had time to answer; there are {before} and {after}."
    )
    return FollowUp(TOO_FEW, name, "", None, None, None, before, after, "", statement)


def _visits(count: int) -> str:
    return f"{count} visit{'' if count == 1 else 's'}"
