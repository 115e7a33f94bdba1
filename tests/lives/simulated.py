"""Record books with known lives: coats that fail on a day the simulator knows, read with error at visits.

Lives are Weibull; the affected share grows on one of four kinds of path and passes the threshold on the day
of failure. Visits are irregular, some without sounding, readings are rounded and off by as much as two people
differ. Some coats were found standing, some are taken off as planned, some as failed once that was seen;
where a plan says so, some failures are noticed and bring a visit of their own.
Invented throughout.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.failures import Areas, Coats, Mended
from inspections.analysis.records import YEAR, FloatArray

THRESHOLD = 0.10
#: First and last day of the record.
FIRST, LAST = 9000.0, 9000.0 + 22 * YEAR
PATHS = ("straight", "late", "faster", "jumps")


@dataclass(frozen=True, slots=True)
class Plan:
    """How a book is made. Lives in years; ``noise`` times the usual error; shares of coats and visits."""

    shape: float = 2.5
    scale: float = 16.0
    coats: int = 80
    a_house: int = 8
    gap: float = 1.0
    noise: float = 1.0
    found: float = 0.25
    planned: float = 0.15
    unsounded: float = 0.2
    frailty: float = 0.0
    #: Share of failures that are noticed, so that somebody comes within weeks.
    prompted: float = 0.0


@dataclass(frozen=True, slots=True)
class Simulated:
    """A book, the house of each coat, and for each coat the bounds that visits without error would give."""

    coats: Coats
    areas: Areas
    mended: Mended
    house: FloatArray
    low: FloatArray
    high: FloatArray
    entry: FloatArray


def simulate(plan: Plan, seed: int) -> Simulated:
    """One book."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[float, ...]] = []
    areas: list[tuple[float, ...]] = []
    rounds: dict[int, FloatArray] = {}
    frail = rng.normal(0, plan.frailty, plan.coats // plan.a_house + 2)
    while len(rows) < plan.coats:
        section = len(rows)
        house = section // plan.a_house
        life = plan.scale * float(np.exp(frail[house])) * rng.weibull(plan.shape) * YEAR
        found = bool(rng.random() < plan.found)
        begun = np.floor(
            rng.uniform(FIRST - 15 * YEAR, FIRST) if found else rng.uniform(FIRST, LAST - 3 * YEAR)
        )
        days = rounds.setdefault(house, _visits(FIRST, plan, rng))
        days = days[days > begun]
        planned = begun + rng.exponential(1 / plan.planned) * 6 * YEAR if plan.planned else np.inf
        days = days[days <= planned]
        full = rng.random(len(days)) >= plan.unsounded
        called = _called(begun + life, planned, plan, rng)
        full = np.insert(full, np.searchsorted(days, called), True)
        days = np.insert(days, np.searchsorted(days, called), called)
        size = rng.uniform(4, 12)
        share = _path(days - begun, life, rng)
        if len(called):
            # What is noticed at once has come down in one piece.
            share = share / 2 + THRESHOLD * (days - begun >= life)
        read = _read(share, size, plan, rng)
        hollow = np.round(read * rng.uniform(0.3, 0.7), 2)
        over = days[(read >= THRESHOLD * size)]
        seen = float(over[1]) + rng.uniform(30, 400) if len(over) > 1 and rng.random() < 0.5 else np.inf
        removed = np.floor(min(planned, seen))
        kept = days <= removed
        sounded = days[kept & full]
        if found and (not len(sounded) or begun + life <= sounded[0]):
            continue
        for k in np.flatnonzero(kept):
            asked = float(days[k] in called)
            areas.append((section, days[k], 0.0, np.round(read[k] - hollow[k], 2), asked))
            if full[k]:
                areas.append((section, days[k], 1.0, hollow[k], asked))
        off = removed < LAST
        failed = off and seen < planned
        truth = _truth(days[kept], full[kept], begun, life, removed, failed, found)
        rows.append((section, begun, removed if off else np.inf, off, failed, found, size, house, *truth))
    section, begun, ended, off, failed, found, size, house, low, high, entry = np.array(rows, dtype=float).T
    by_plan = (off > 0) & ~(failed > 0)
    coats = Coats(section.astype(int), begun, begun, ended, off > 0, failed > 0, found > 0, size, by_plan)
    where, day, is_hollow, area, asked = np.array(areas, dtype=float).T
    return Simulated(
        coats,
        Areas(where.astype(int), day, is_hollow > 0, area, area, asked > 0),
        Mended(np.zeros(0, dtype=int), np.zeros(0), np.zeros(0)),
        house,
        low,
        high,
        entry,
    )


def _called(failed: float, planned: float, plan: Plan, rng: np.random.Generator) -> FloatArray:
    """The day on which somebody comes because a failure was noticed, if anybody does (0 or 1 days)."""
    if not plan.prompted:
        return np.zeros(0)
    day = np.floor(failed + rng.uniform(10, 60))
    noticed = rng.random() < plan.prompted and FIRST < day <= min(planned, LAST)
    return np.array([day]) if noticed else np.zeros(0)


def _visits(first: float, plan: Plan, rng: np.random.Generator) -> FloatArray:
    gaps = rng.gamma(4.0, plan.gap / 4.0, 80) * YEAR
    days = np.floor(first + rng.uniform(0, plan.gap) * YEAR + np.cumsum(np.maximum(gaps, 20.0)))
    return days[days <= LAST]


def _path(age: FloatArray, life: float, rng: np.random.Generator) -> FloatArray:
    """The affected share at each age; it is the threshold at ``life``."""
    kind = PATHS[rng.integers(len(PATHS))]
    if kind == "straight":
        return THRESHOLD * age / life
    if kind == "late":
        onset = rng.uniform(0.2, 0.7)
        return THRESHOLD * np.maximum(age / life - onset, 0.0) / (1 - onset)
    if kind == "faster":
        return THRESHOLD * (age / life) ** rng.uniform(1.5, 3.0)
    when = np.sort(np.append(age, life))
    grown = np.cumsum(rng.gamma(np.diff(np.append(0.0, when)) / life * 6.0) + 1e-9)
    return THRESHOLD * grown[np.searchsorted(when, age)] / grown[np.searchsorted(when, life)]


def _read(share: FloatArray, size: float, plan: Plan, rng: np.random.Generator) -> FloatArray:
    error = plan.noise * np.hypot(0.003, 0.10 * share)
    return np.maximum(share + error * rng.normal(size=len(share)), 0.0) * size


def _truth(
    days: FloatArray, full: FloatArray, begun: float, life: float, removed: float, failed: bool, found: bool
) -> tuple[float, float, float]:
    """Bounds in years and entry of a coat, were every visit without error."""
    sound = days[(days - begun < life) & (full > 0)]
    after = days[days - begun >= life]
    start = (days[full > 0][0] - begun) if found else 0.0
    if len(after):
        low = max(float(sound[-1]) - begun, start) if len(sound) else start
        return low / YEAR, (float(after[0]) - begun) / YEAR, start / YEAR
    if failed:
        return (
            float(sound[-1] - begun if len(sound) else start) / YEAR,
            (removed - begun) / YEAR,
            start / YEAR,
        )
    if np.isfinite(removed) and removed < LAST:
        return (removed - begun) / YEAR, np.inf, start / YEAR
    return float(sound[-1] - begun if len(sound) else start) / YEAR, np.inf, start / YEAR
