"""When each coat failed, from what was put on, taken off, read and mended.

What is at risk is a coat system on a section: all layers of the room side that stood together, named by the
innermost. It has failed when the affected share of its area (hollow and fallen, with what was mended) reaches
the threshold, or when it was removed as failed. Failures are seen only at visits, so each is an interval.
A sacrificial coat is there to be used up, and fails when its wear reaches the wall: only what has fallen (and
what was mended) counts, since hollow area still hangs before the wall.

Days are since 1970-01-01, ages are years since application, areas m². One row is one layer, coat, reading or
mending; a section is a number.

Sources: Turnbull (1976), J. R. Stat. Soc. B 38, 290 (a coat that was found enters when it is first seen
sound); De Gruttola and Lagakos (1989), Biometrics 45, 1 (ranges of both dates); Titman (2017), Stat. Methods
Med. Res. 26 (a reading near the threshold is not the loss itself). From memory.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from inspections.analysis.cleaning import slips
from inspections.analysis.monotone import isotonic, survey_error
from inspections.analysis.records import YEAR, FloatArray, TextArray, readings_from_columns

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

#: Work on the wall itself, which is no coat on it.
NOT_COATS = ("repointing", "injection")
#: Standard errors of a survey within which a share can't be told from the threshold at all, and by which the
#: monotone fit must clear it to end a failure's interval: the second holds two in three. Ours.
DOUBT, CLEAR = 3.0, 1.0
#: A share is looked at for slips of the decimal point where it fell to this part of what it was.
SUSPECT = 0.5
#: A failure takes a day at least, also of a coat that was taken off on the day it was put on.
LEAST_DAYS = 1.0

#: Stands for as many times no as there are rows.
NONE = np.zeros(0, dtype=bool)

FAILED, REMOVED, STANDING, BEFORE = "failed", "removed", "standing", "before"


def _fill(columns: Any, names: Sequence[str], rows: int) -> None:
    for name in names:
        if getattr(columns, name) is NONE:
            object.__setattr__(columns, name, np.zeros(rows, dtype=bool))


@dataclass(frozen=True, slots=True)
class Layers:
    """Layers that were put on, one a row (m,): numbers of sections and layers, days, words."""

    section: IntArray
    layer: IntArray
    kind: TextArray
    face: TextArray
    purpose: TextArray
    applied: FloatArray
    removed: FloatArray


@dataclass(frozen=True, slots=True)
class Coats:
    """Coat systems (n,), by section and in time.

    ``begun`` is the day of application, ``earliest`` the first on which it may have been, ``ended`` the day
    of removal or of the next coat (inf while it stands). ``removed`` and ``failed`` say whether it was taken
    off, and as failed; ``planned``, as planned or with no reason written. ``area`` in m². Not given, no coat
    is ``planned`` or ``sacrificial``.
    """

    section: IntArray
    earliest: FloatArray
    begun: FloatArray
    ended: FloatArray
    removed: BoolArray
    failed: BoolArray
    found: BoolArray
    area: FloatArray
    planned: BoolArray = field(default_factory=lambda: NONE)
    sacrificial: BoolArray = field(default_factory=lambda: NONE)

    def __post_init__(self) -> None:
        _fill(self, ("planned", "sacrificial"), len(self.section))

    def __len__(self) -> int:
        return len(self.section)


@dataclass(frozen=True, slots=True)
class Areas:
    """Areas read in m² (r,), with the bounds that a qualifier leaves; ``hollow`` or else fallen.

    ``prompted``: read at a visit that was made because of a flag, an event or something else, not by plan.
    Not given, none was.
    """

    section: IntArray
    day: FloatArray
    hollow: BoolArray
    low: FloatArray
    high: FloatArray
    prompted: BoolArray = field(default_factory=lambda: NONE)

    def __post_init__(self) -> None:
        _fill(self, ("prompted",), len(self.section))

    def of(self, which: BoolArray) -> Areas:
        """Some of the areas."""
        return Areas(*(getattr(self, name)[which] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Mended:
    """Areas mended in m² (e,), each on its day: gone from the readings, but lost all the same."""

    section: IntArray
    day: FloatArray
    area: FloatArray


@dataclass(frozen=True, slots=True)
class Lives:
    """What became of each coat (n,).

    The coat failed at an age in (``low``, ``high``], or after ``low`` where ``high`` is inf; ``entry`` is the
    age from which it was watched (0: from its application). ``state`` is one of the words of this module: a
    coat that was ``before`` had failed before it was first seen sound, and is not at risk. ``years`` is the
    time at risk, up to the middle of a failure's interval. ``lost`` is the growth of the affected share
    between the first and the last full survey over ``watched`` years (from nothing at application); NaN
    where there was none. ``sacrificial``: judged by what has fallen alone; not given, none was.
    """

    entry: FloatArray
    low: FloatArray
    high: FloatArray
    state: TextArray
    years: FloatArray
    lost: FloatArray
    watched: FloatArray
    surveys: IntArray
    sacrificial: BoolArray = field(default_factory=lambda: NONE)

    def __post_init__(self) -> None:
        _fill(self, ("sacrificial",), len(self.state))

    @property
    def at_risk(self) -> BoolArray:
        """Which coats were watched while they had not failed."""
        return np.asarray(self.state != BEFORE)


def systems(layers: Layers) -> tuple[IntArray, IntArray, FloatArray]:
    """Innermost layer (n,) of each coat system, the system (m,) of each layer (-1: none), and its end (n,).

    A layer over one that stands belongs to that one's system; any other begins a system, and ends one that
    stands. Patches, coats of the outside, and work on the wall itself are no systems. Systems are ordered by
    section and time.
    """
    coats = ~np.isin(layers.kind, NOT_COATS) & (layers.face != "outside") & (layers.purpose != "patch")
    order = np.lexsort((layers.layer, layers.applied, layers.section))
    columns = (layers.section, layers.layer, layers.applied, layers.removed)
    section, layer, applied, removed = (column.tolist() for column in columns)
    owner = np.full(len(coats), -1, dtype=np.int64)
    first: list[int] = []
    ends: list[float] = []
    for row in order[coats[order]].tolist():
        if first:
            inner = first[-1]
            same = section[inner] == section[row] and applied[row] < removed[inner]
            if same and layer[inner] < layer[row]:
                owner[row] = len(first) - 1
                continue
            if same:
                ends[-1] = min(ends[-1], applied[row])
        owner[row] = len(first)
        first.append(row)
        ends.append(removed[row])
    return np.array(first, dtype=np.int64), owner, np.array(ends, dtype=float)


def coat_on(coats: Coats, section: IntArray, day: FloatArray) -> IntArray:
    """The coat (r,) that stood on each section on each day after its application; -1: none."""
    if not len(coats):
        return np.full(len(section), -1, dtype=np.int64)
    origin = float(coats.begun.min()) - 1.0
    span = max(float(coats.begun.max()), float(day.max(initial=0.0))) - origin + 2.0
    begun = coats.section * span + (coats.begun - origin)
    last = np.searchsorted(begun, section * span + np.maximum(day - origin, 0.0), side="left") - 1
    at = np.maximum(last, 0)
    stood = (last >= 0) & (coats.section[at] == section) & (day <= coats.ended[at])
    return np.where(stood, at, -1).astype(np.int64)


def lives(coats: Coats, areas: Areas, mended: Mended, threshold: float) -> Lives:
    """When each of ``coats`` (n,) failed, or how long it is known to have lasted."""
    surveys = _surveys(coats, areas, mended, threshold)
    n, rows = len(coats), np.arange(len(surveys.coat))
    at = np.searchsorted(surveys.coat, np.arange(n + 1))
    before, after = _passages(surveys, at, threshold)
    full = np.isfinite(surveys.high)
    last_full = np.maximum.accumulate(np.where(full, rows, -1)) if len(rows) else rows
    first = _first(full, at)
    final = _last_within(last_full, at[1:] - 1, at[:-1])
    sound = np.where(after >= 0, _last_within(last_full, before, at[:-1]), final)
    # A coat that was found enters sound, however near the threshold.
    sound = np.where(coats.found & (sound < 0) & (after > first), first, sound)
    return _ages(coats, surveys, _Rows(first, final, sound, after))


# From areas to surveys -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Surveys:
    """The affected share of a coat on a day it was surveyed (k,), by coat and day; ``high`` inf: in part."""

    coat: IntArray
    day: FloatArray
    low: FloatArray
    high: FloatArray


def _surveys(coats: Coats, areas: Areas, mended: Mended, threshold: float) -> _Surveys:
    of = coat_on(coats, areas.section, areas.day)
    # Of a coat without an area no share is known.
    size = np.r_[coats.area, np.nan]
    worn = np.r_[coats.sacrificial, False]
    mine = np.flatnonzero(np.isfinite(size[of]) & ~(worn[of] & areas.hollow))
    mine = mine[np.lexsort((areas.day[mine], of[mine]))]
    coat, day = of[mine], areas.day[mine]
    new = np.r_[True, (np.diff(coat) != 0) | (np.diff(day) != 0)][: len(mine)]
    place = np.cumsum(new) - 1
    coat, day = coat[new], day[new]
    low, high = np.zeros((2, len(coat))), np.zeros((2, len(coat)))
    read = np.zeros((2, len(coat)), dtype=bool)
    kind = np.where(areas.hollow[mine], 0, 1)
    np.add.at(low, (kind, place), np.maximum(areas.low[mine], 0.0))
    np.add.at(high, (kind, place), areas.high[mine])
    read[kind, place] = True
    # What is hollow of a sacrificial coat is no part of its loss.
    read[0] |= worn[coat]
    size = size[coat]
    gone = _mended_before(coats, mended, coat, day)
    _set_slips_aside(coat, day, low, read, gone > 0, threshold * size)
    least = (np.where(read, low, 0.0).sum(axis=0) + gone) / size
    most = np.where(read.all(axis=0), (high.sum(axis=0) + gone) / size, np.inf)
    kept = read.any(axis=0)
    return _Surveys(coat[kept], day[kept], least[kept], most[kept])


def _set_slips_aside(
    coat: IntArray,
    day: FloatArray,
    area: FloatArray,
    read: BoolArray,
    mended: BoolArray,
    threshold: FloatArray,
) -> None:
    """Take from ``read`` (2, k) what was off by a slip of the decimal point, as everywhere in the analysis.

    Only coats whose areas fell by half after one survey over the threshold are looked at, and of those not
    the ``mended`` (k,), on which they fall for a reason.
    """
    total = area.sum(axis=0)
    over = np.where(total >= threshold, total, 0.0)
    lift = coat * (over.max(initial=0.0) + 1.0)
    highest = np.maximum.accumulate(over + lift) - lift
    fell = read.all(axis=0) & (total < SUSPECT * highest)
    twice = np.r_[False, (over[1:] > 0) & (over[:-1] > 0) & (coat[1:] == coat[:-1])]
    for one in np.setdiff1d(coat[fell], coat[mended | twice[: len(coat)]]).tolist():
        rows = np.arange(*np.searchsorted(coat, (one, one + 1)))
        quantity, where = np.nonzero(read[:, rows])
        readings = readings_from_columns(
            {
                "time": day[rows][where],
                "quantity": np.array(["hollow_area", "spall_area"])[quantity],
                "value": area[quantity, rows[where]],
                **dict.fromkeys(("low", "high", "height_mm", "depth_mm"), np.zeros(len(where))),
                **dict.fromkeys(("unit", "instrument", "point", "inspector"), [""] * len(where)),
            }
        )
        order = np.argsort(day[rows][where], kind="stable")
        wrong = order[slips(readings)]
        read[quantity[wrong], rows[where[wrong]]] = False


def _mended_before(coats: Coats, mended: Mended, coat: IntArray, day: FloatArray) -> FloatArray:
    """Area (k,) mended on each coat before each day."""
    of = coat_on(coats, mended.section, mended.day)
    mine = np.flatnonzero(of >= 0)
    if not len(mine):
        return np.zeros(len(coat))
    mine = mine[np.lexsort((mended.day[mine], of[mine]))]
    total = np.r_[0.0, np.cumsum(mended.area[mine])]
    origin = min(float(mended.day.min()), float(day.min(initial=0.0))) - 1.0
    span = max(float(mended.day.max()), float(day.max(initial=0.0))) - origin + 2.0
    done = of[mine] * span + (mended.day[mine] - origin)
    until = np.searchsorted(done, coat * span + (day - origin), side="left")
    return np.asarray(total[until] - total[np.searchsorted(done, coat * span, side="left")])


# From surveys to failures ----------------------------------------------------------------------------------


def _passages(surveys: _Surveys, at: IntArray, threshold: float) -> tuple[IntArray, IntArray]:
    """For each coat the last row before its failure and the first after it; -1: none."""
    full = np.isfinite(surveys.high)
    share = np.where(full, (surveys.low + surveys.high) / 2, surveys.low)
    over = share >= threshold
    tells = full | over
    doubtful = tells & (np.abs(share - threshold) < DOUBT * float(survey_error(threshold)))
    after = _first(over, at)
    before = np.where(after >= 0, after - 1, -1)
    # Where a survey is doubtful, or one over the threshold is followed by one under it, more must be asked.
    begun = after[surveys.coat]
    fell = tells & ~over & (begun >= 0) & (np.arange(len(over)) > begun)
    asked = np.unique(surveys.coat[doubtful | fell])
    for coat in asked[after[asked] >= 0].tolist():
        rows = at[coat] + np.flatnonzero(tells[at[coat] : at[coat + 1]])
        found = _passage(share[rows], doubtful[rows], threshold)
        if found is None:
            before[coat] = after[coat] = -1
        else:
            before[coat] = rows[found[0]] if found[0] >= 0 else at[coat] - 1
            after[coat] = rows[found[1]]
    return before, after


def _passage(share: FloatArray, doubtful: BoolArray, threshold: float) -> tuple[int, int] | None:
    """The surveys between which the loss passed the threshold (-1: before the first), or None.

    The monotone fit says where (`isotonic`): a noisy first crossing that later surveys contradict is none,
    but what two clear surveys in a row have found does not mend itself. The interval then reaches from the
    last survey whose level is a standard error under the threshold to the first that is one over it. Where
    the record ends in surveys that can't be told from the threshold, that fit leans upwards, and a straight
    line through them is asked instead.
    """
    values, unsure = share.tolist(), doubtful.tolist()
    count = len(values)
    for place in range(1, count):
        if all(values[one] >= threshold and not unsure[one] for one in (place - 1, place)):
            count = place + 1
            break
    fit = isotonic(values[:count], survey_error(share[:count]) ** -2).tolist()
    first = next((place for place, level in enumerate(fit) if level >= threshold), None)
    if first is None:
        return None
    if first == 0:
        return -1, 0
    tail = count
    while tail > 0 and unsure[tail - 1]:
        tail -= 1
    if first >= tail and count - tail > 1 and _line_end(values[tail:count]) < threshold:
        return None
    sizes = Counter(fit)
    error = {level: CLEAR * float(survey_error(level)) / math.sqrt(size) for level, size in sizes.items()}
    under = [place for place in range(first) if fit[place] < threshold - error[fit[place]]]
    beyond = (place for place in range(first, count) if fit[place] >= threshold + error[fit[place]])
    return (under[-1] if under else -1), next(beyond, count - 1)


def _line_end(values: list[float]) -> float:
    """Where a least-squares line through values in order ends; their mean where it would fall."""
    last = (len(values) - 1) / 2
    mean = sum(values) / len(values)
    slope = sum((place - last) * value for place, value in enumerate(values))
    return mean + max(slope, 0.0) * last / sum((place - last) ** 2 for place in range(len(values)))


def _first(which: BoolArray, at: IntArray) -> IntArray:
    """The first row of each coat that ``which`` (k,) holds for; -1: none."""
    rows = np.flatnonzero(which)
    place = np.searchsorted(rows, at[:-1])
    found = np.r_[rows, len(which)][place]
    return np.where(found < at[1:], found, -1).astype(np.int64)


def _last_within(last: IntArray, upto: IntArray, start: IntArray) -> IntArray:
    """The row ``last`` (k,) names at row ``upto`` (n,), if it isn't before ``start`` (n,); else -1."""
    if not len(last):
        return np.full(len(upto), -1, dtype=np.int64)
    found = last[np.maximum(upto, 0)]
    return np.where((upto >= start) & (found >= start), found, -1).astype(np.int64)


# From failures to ages -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Rows:
    """For each coat (n,) a row of the surveys, -1 for none.

    The first and last full survey, the last before its failure (or at all), and the first after its failure.
    """

    first: IntArray
    final: IntArray
    sound: IntArray
    after: IntArray


def _ages(coats: Coats, surveys: _Surveys, rows: _Rows) -> Lives:
    def day(row: IntArray, otherwise: FloatArray) -> FloatArray:
        return np.where(row >= 0, np.r_[surveys.day, 0.0][row], otherwise)

    failed = (rows.after >= 0) | coats.failed
    gone = coats.removed & ~failed
    never_sound = coats.found & failed & (rows.sound < 0)
    # The day from which each was watched, the last on which it had lasted, the one on which it had failed.
    start = np.where(coats.found, day(rows.first, np.where(gone, coats.ended, coats.begun)), coats.begun)
    known = np.where(gone, coats.ended, day(rows.sound, start))
    until = np.where(failed, day(rows.after, coats.ended), np.inf)
    entry = np.where(coats.found, np.maximum(start - coats.begun, 0.0), 0.0)
    low = np.maximum(known - coats.begun, entry)
    high = np.maximum(until - coats.earliest, low + LEAST_DAYS)
    middle = np.where(failed, (until + known) / 2, known)
    begun = np.where(coats.found, start, (coats.earliest + coats.begun) / 2)
    years = np.where(never_sound, 0.0, np.maximum(middle - begun, 0.0)) / YEAR
    state = np.select([never_sound, failed, gone], [BEFORE, FAILED, REMOVED], STANDING)
    lost, watched = _growth(coats, surveys, rows, begun)
    full = surveys.coat[np.isfinite(surveys.high)]
    counted = np.bincount(full, minlength=len(coats)).astype(np.int64)
    ages = entry / YEAR, low / YEAR, high / YEAR
    return Lives(*ages, state.astype(np.str_), years, lost, watched, counted, coats.sacrificial)


def _growth(coats: Coats, surveys: _Surveys, rows: _Rows, begun: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Growth of the share and its years (n,): from application, or from the first survey of a found coat."""
    middle = np.r_[(surveys.low + surveys.high) / 2, np.nan]
    lost = middle[rows.final] - np.where(coats.found, middle[rows.first], 0.0)
    watched = (np.r_[surveys.day, np.nan][rows.final] - begun) / YEAR
    known = watched > 0
    return np.where(known, lost, np.nan), np.where(known, watched, np.nan)
