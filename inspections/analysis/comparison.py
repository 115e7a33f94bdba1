"""What a trial taught: the arms' difference after treatment, given what was there before.

Lots are judged by the allotments that could have been (:mod:`.allotment`), other ways of allotting by an
estimate adjusted for dampness before and by how strong a hidden bias would have to be (:mod:`.hidden_bias`).
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from inspections.analysis import allotment
from inspections.analysis.allotment import Difference
from inspections.analysis.comparison_words import method_of, statement_of
from inspections.analysis.fairness import (
    Layout,
    dampness,
    favoured,
    imbalances,
    is_fair,
    layout,
    scaled,
)
from inspections.analysis.harmonic import student_reach
from inspections.analysis.hidden_bias import bias_to_explain
from inspections.analysis.kendall import IntArray
from inspections.analysis.records import CANONICAL_UNIT, YEAR, BuildingRecord, FloatArray
from inspections.analysis.results import CANNOT_TELL, DIFFERENCE, NONE_SHOWN
from inspections.analysis.sizing import pairs_needed
from inspections.analysis.trial_plan import ASSUMED_YEARS, Spread
from inspections.analysis.trial_results import (
    Arm,
    Comparison,
    Needed,
    NotComparable,
    Question,
    drawn_by_lot,
)
from inspections.analysis.trial_walls import LOSS, Place, Wall, unseen_rate, walls_of

#: A difference worth having, a year. A share of a hundredth a year is a failure threshold of a tenth in ten
#: years; the others are what a careful reader would call a change. Ours.
WORTH_HAVING = {
    LOSS: 0.01,
    "surface_moisture": 1.0,
    "deep_moisture": 1.0,
    "in_wall_humidity": 1.0,
    "timber_moisture": 0.5,
    "hygroscopic_moisture": 0.2,
    "crack_width": 0.1,
    "mortar_soft_depth": 1.0,
}
#: Spread of the difference within a pair that is assumed where a trial has none of its own, as so many
#: differences worth having. Like walls side by side lose at rates one and a half hundredths of their area a
#: year apart in this project's simulated books (DEVELOPERS.md).
ASSUMED_SPREAD = 1.5
#: A covariate is only taken in where so many degrees of freedom are left: where nobody drew lots (common
#: practice), and where lots are enough without it (six pairs can't spare one: their test would be too shy).
LEAST_FREEDOM, LEAST_FREEDOM_BY_LOT = 3, 5
#: No more than half of a covariate's spread is laid to the readings' own error (Carroll et al. 2006,
#: Measurement Error in Nonlinear Models, ch. 3, warn of dividing by a small reliability).
LEAST_RELIABLE = 0.5
#: Years that are said where a trial has neither a planned end nor a past.
USUAL_YEARS = 5

_EPOCH = dt.date(1970, 1, 1)


def compare(
    question: Question, places: Sequence[Place], houses: dict[str, BuildingRecord], as_of: dt.date
) -> Comparison:
    """Answer a trial from what was known at the end of ``as_of``.

    ``houses``: by code, at least those of ``places``. :class:`NotComparable` without a start, and where a
    face meter is to judge between different coats.
    """
    if math.isnan(question.started):
        raise NotComparable(
            f"Trial {question.code} has no start: enter its started_on, the day the work began."
        )
    if question.outcome not in {LOSS, *CANONICAL_UNIT}:
        raise NotComparable(
            f"Trial {question.code}: {question.outcome!r} is no outcome; take {LOSS} or a quantity."
        )
    day = float((as_of - _EPOCH).days)
    walls = tuple(walls_of(places, houses, question.outcome, question.started, day, question.failed_share))
    _refuse_a_face_meter(question, walls)
    plan = layout(walls)
    before = tuple(imbalances(walls, plan))
    fair = is_fair(walls, before)
    outcome = np.array([wall.outcome for wall in walls], dtype=float)
    found, adjusted, bias = _two_arms(question, walls, plan, outcome)
    p_value, floor = _p_values(plan, outcome, found)
    comparison = Comparison(
        question=question,
        as_of=as_of,
        walls=walls,
        plan=plan,
        arms=tuple(_arm(question, name, outcome[plan.arm == i]) for i, name in enumerate(plan.arms)),
        found=found,
        p_value=p_value,
        smallest_p=floor,
        adjusted=adjusted,
        bias=bias,
        before=before,
        fair=fair,
        leans=None if fair else favoured(walls, plan, before),
        conclusion=_conclusion(fair, p_value, floor),
        needed=_needed(question, walls, found, day),
        unit=next((wall.unit for wall in walls if wall.unit), ""),
        method="",
    )
    comparison = replace(comparison, method=method_of(comparison))
    return replace(comparison, statement=statement_of(comparison))


def _refuse_a_face_meter(question: Question, walls: Sequence[Wall]) -> None:
    if question.outcome != "surface_moisture":
        return
    systems = {
        frozenset((coat.kind, coat.binder, coat.mix) for coat in wall.coats if coat.face != "outside")
        for wall in walls
        if np.isfinite(wall.begun)
    }
    if len(systems) > 1:
        raise NotComparable(
            f"Trial {question.code}: a face meter can't judge between different coats, since the coat itself "
            f"moves its reading. Take {LOSS}, deep_moisture or in_wall_humidity as the outcome."
        )


# Outcome ---------------------------------------------------------------------------------------------------


def _two_arms(
    question: Question, walls: Sequence[Wall], plan: Layout, outcome: FloatArray
) -> tuple[Difference | None, bool, float | None]:
    """The difference of two arms, whether it is adjusted for what was before, and the bias to explain it."""
    if len(plan.arms) != 2:
        return None, False, None
    score, error = _covariate(question, walls, plan)
    y, arm, block = plan.whole(outcome)
    x, spread = (plan.whole(np.where(np.isfinite(outcome), values, np.nan))[0] for values in (score, error))
    if not _side_by_side(arm, block):
        return None, False, None
    by_lot = drawn_by_lot(walls)
    least = LEAST_FREEDOM_BY_LOT if by_lot else LEAST_FREEDOM
    use = len(x) == len(y) and _freedom(arm, block) - 1 >= least and bool(np.ptp(x) > 0)
    plain = allotment.difference(y, arm, block, drawn=by_lot)
    if by_lot:
        found, adjusted = _adjusted_by_lot(y, arm, block, x, plain) if use else (plain, False)
        return _not_narrower_than_seen(question, walls, found), adjusted, None
    if not use:
        return _not_narrower_than_seen(question, walls, plain), False, bias_to_explain(_apart(y, arm, block))
    x, slope = _calibrated(y, arm, block, x, spread)
    try:
        found, adjusted = allotment.difference(y, arm, block, x, drawn=False), True
    except ValueError:
        found, adjusted, slope = plain, False, 0.0
    bias = bias_to_explain(_apart(np.asarray(y - slope * x), arm, block))
    return _not_narrower_than_seen(question, walls, found), adjusted, bias


def _adjusted_by_lot(
    y: FloatArray, arm: IntArray, block: IntArray, x: FloatArray, plain: Difference
) -> tuple[Difference, bool]:
    """Adjusted for dampness before, unless that costs the interval.

    The choice looks at lots and covariate alone, never at the outcome. In a fair lot the readings' error
    costs precision only, so nothing is corrected for it here (Carroll et al. 2006, ch. 3).
    """
    try:
        found = allotment.difference(y, arm, block, x)
    except ValueError:
        return plain, False
    return (plain, False) if plain.by_lot and not found.by_lot else (found, True)


def _covariate(question: Question, walls: Sequence[Wall], plan: Layout) -> tuple[FloatArray, FloatArray]:
    """What the outcome is adjusted for: the quantity's own level before, else the wall's dampness; (n,).

    A wall that was not read gets the mean of its block, which knows no arm (White and Thompson 2005, Stat.
    Med. 24, 993).
    """
    score, error = dampness(walls, plan)
    own, own_error = (
        scaled(walls, plan, question.outcome) if question.outcome != LOSS else (score * np.nan, error)
    )
    if np.isfinite(own).sum() > len(walls) / 2:
        score, error = own, own_error
    if np.isfinite(score).sum() <= len(walls) / 2:
        return score * np.nan, error * np.nan
    for name in np.unique(plan.block):
        own_block = plan.block == name
        known = own_block & np.isfinite(score)
        mean = score[known].mean() if known.any() else np.nanmean(score)
        score[own_block & ~np.isfinite(score)] = mean
    return score, np.where(np.isfinite(error), error, 0.0)


def _side_by_side(arm: IntArray, block: IntArray) -> bool:
    return any(len(np.unique(arm[block == name])) > 1 for name in np.unique(block))


def _freedom(arm: IntArray, block: IntArray) -> int:
    mixed = [name for name in np.unique(block) if len(np.unique(arm[block == name])) > 1]
    return int(np.isin(block, mixed).sum()) - len(mixed) - 1


def _calibrated(
    y: FloatArray, arm: IntArray, block: IntArray, x: FloatArray, error: FloatArray
) -> tuple[FloatArray, float]:
    """Dampness before without its readings' error, and how the outcome goes with it.

    An error in x flattens the slope by its reliability, and leaves part of an unfair start in the difference.
    So x is drawn in by that share within its arm and block (regression calibration: Carroll et al. 2006, ch.
    4); the arms' own difference stays.
    """
    columns = np.column_stack(((block[:, None] == np.unique(block)[None, :]).astype(float), arm))
    basis = np.linalg.qr(columns)[0]
    rest_x, rest_y = x - basis @ (basis.T @ x), y - basis @ (basis.T @ y)
    size = float(rest_x @ rest_x)
    freedom = len(x) - columns.shape[1]
    if size <= 1e-12 or freedom < 1:
        return x, 0.0
    reliability = max(1 - float((error**2).mean()) * freedom / size, LEAST_RELIABLE)
    return np.asarray(x - (1 - reliability) * rest_x), float(rest_x @ rest_y / size / reliability)


def _apart(y: FloatArray, arm: IntArray, block: IntArray) -> FloatArray:
    """The second arm less the first in each block that holds both."""
    return np.array(
        [
            y[own & (arm == 1)].mean() - y[own & (arm == 0)].mean()
            for own in (block == name for name in np.unique(block))
            if len(np.unique(arm[own])) > 1
        ]
    )


def _not_narrower_than_seen(question: Question, walls: Sequence[Wall], found: Difference) -> Difference:
    """No interval is narrower than what surveys can't see: walls that show no loss may have lost a little."""
    if question.outcome != LOSS or not np.isfinite(found.low):
        return found
    years = [wall.years for wall in walls if np.isfinite(wall.outcome)]
    reach = unseen_rate(float(np.mean(years))) / math.sqrt(len(years))
    return replace(
        found, low=min(found.low, found.estimate - reach), high=max(found.high, found.estimate + reach)
    )


def _p_values(plan: Layout, outcome: FloatArray, found: Difference | None) -> tuple[float, float]:
    """The p, and the smallest that there could have been; NaN and 1 where nothing stands side by side."""
    if found is not None:
        return found.p_value, found.smallest_p
    y, arm, block = plan.whole(outcome)
    if len(plan.arms) < 3 or not _side_by_side(arm, block):
        return np.nan, 1.0
    return allotment.alike(y, arm, block), allotment.smallest_p(arm, block)


def _conclusion(fair: bool, p_value: float, floor: float) -> str:
    if not fair or floor >= allotment.LEVEL or math.isnan(p_value):
        return CANNOT_TELL
    return DIFFERENCE if p_value < allotment.LEVEL else NONE_SHOWN


def _arm(question: Question, name: str, outcome: FloatArray) -> Arm:
    own = outcome[np.isfinite(outcome)]
    if len(own) < 2:
        return Arm(name, len(own), float(own[0]) if len(own) else np.nan, np.nan, np.nan)
    mean, reach = (
        float(own.mean()),
        student_reach(len(own) - 1) * float(own.std(ddof=1)) / math.sqrt(len(own)),
    )
    low = max(mean - reach, 0.0) if question.outcome == LOSS else mean - reach
    return Arm(name, len(own), mean, low, mean + reach)


def worth_having(outcome: str) -> float:
    """A difference between two arms, in the outcome's unit a year, that it would be worth a trial to see."""
    return WORTH_HAVING.get(outcome, 1.0)


def _needed(question: Question, walls: Sequence[Wall], found: Difference | None, day: float) -> Needed:
    """What it takes to see a difference worth having, at the upper limit of the spread seen so far."""
    size = worth_having(question.outcome)
    ends = question.planned_end if np.isfinite(question.planned_end) else day
    years = math.ceil((ends - question.started) / YEAR - 0.05)
    years = years if years > 0 else USUAL_YEARS
    spread = Spread(ASSUMED_SPREAD * size, ASSUMED_YEARS, 0)
    if found is not None and found.freedom > 0 and found.spread > 0:
        lasted = float(np.mean([wall.years for wall in walls if np.isfinite(wall.outcome)]))
        spread = Spread(found.spread, lasted, found.freedom)
    own = spread.after(years, question.outcome)
    return Needed(size, pairs_needed(size, own), years, own, spread.freedom == 0)
