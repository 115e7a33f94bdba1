"""The whole way from a house's record to the assessment of each of its sections."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inspections.analysis.advice import advise, is_read
from inspections.analysis.alarms import CALL
from inspections.analysis.calibration import MODEL, VALUE
from inspections.analysis.coats import coat_area
from inspections.analysis.features import READ_GROUPS, SectionFeatures, all_features
from inspections.analysis.onset import onset
from inspections.analysis.passage import first_passage
from inspections.analysis.recalibration import AS_IS, Recalibration
from inspections.analysis.records import BuildingRecord, SectionRecord
from inspections.analysis.results import (
    FEW_VISITS,
    HYPOTHESES,
    INSUFFICIENT,
    Evidence,
    Forecast,
    LogOdds,
    SectionAssessment,
    TrendResult,
    version_name,
)
from inspections.analysis.schedule import USUAL, Known, due
from inspections.analysis.series import PreparedBuilding, affected_share, prepare_all, since
from inspections.analysis.statements import of_openings, statement
from inspections.analysis.trends import Trend, strongest
from inspections.analysis.verdict import OPENINGS, Posterior, posteriors

#: The affected share of a coat's area at which it has failed, unless the organisation says otherwise.
FAILURE_THRESHOLD = 0.10
#: Below this probability of the likeliest hypothesis no verdict is given, and a verdict from fewer than
#: ``FEW_VISITS`` visits must be surer. Ours: a coin's toss between two hypotheses is no verdict.
LEAST_SURE, FEW_SURE = 0.4, 0.7

_EPOCH = dt.date(1970, 1, 1)


def model_version(recalibration: Recalibration = AS_IS) -> str:
    """What every result carries: the version of the model, and what the owner's openings made of it."""
    own = recalibration
    return version_name(MODEL.version, own.openings, own.shift.value, own.slope.value)


def assess_building(
    record: BuildingRecord,
    as_of: dt.date,
    failure_threshold: float = FAILURE_THRESHOLD,
    recalibration: Recalibration = AS_IS,
) -> list[SectionAssessment]:
    """As :func:`assess_buildings`, of one house."""
    return assess_buildings([record], as_of, failure_threshold, recalibration)[0]


def assess_buildings(
    houses: Sequence[BuildingRecord],
    as_of: dt.date,
    failure_threshold: float = FAILURE_THRESHOLD,
    recalibration: Recalibration = AS_IS,
) -> list[list[SectionAssessment]]:
    """Assess every section of each house from what was known at the end of ``as_of``, in the house's order.

    Houses share nothing but the work: all their series are fitted at once. ``recalibration``: what the
    organisation's openings known by then have taught.
    """
    day = float((as_of - _EPOCH).days)
    judged = judge_all([house.until(day) for house in houses], day, recalibration)
    rates = _trends(judged)
    return [
        [_assess(prepared, own, rates[id(own)], as_of, failure_threshold, recalibration) for own in sections]
        for prepared, sections in judged
    ]


@dataclass(frozen=True, slots=True)
class Judged:
    """A section with its statistics, its posterior, and the verdict that follows."""

    section: SectionRecord
    features: SectionFeatures
    posterior: Posterior
    verdict: str
    #: Days on which the section was read since its present coat's story began.
    visits: int


def judge(
    known: BuildingRecord, day: float, recalibration: Recalibration = AS_IS
) -> tuple[PreparedBuilding, list[Judged]]:
    """As :func:`judge_all`, of one house."""
    return judge_all([known], day, recalibration)[0]


def judge_all(
    known: Sequence[BuildingRecord], day: float, recalibration: Recalibration = AS_IS
) -> list[tuple[PreparedBuilding, list[Judged]]]:
    """The verdict on every section of each house, in its order; ``known`` holds nothing after ``day``."""
    houses = prepare_all(known)
    features = all_features(houses, day)
    vectors = [own.vector for of_house in features for own in of_house]
    found = iter(posteriors(MODEL, vectors, recalibration))
    return [
        (house, [_judged(*own) for own in zip(house.record.sections, of_house, found, strict=False)])
        for house, of_house in zip(houses, features, strict=True)
    ]


def _judged(section: SectionRecord, features: SectionFeatures, posterior: Posterior) -> Judged:
    visits = _visits_of_coat(section, features)
    return Judged(section, features, posterior, verdict_of(posterior.probability, visits), visits)


def _visits_of_coat(section: SectionRecord, features: SectionFeatures) -> int:
    """On how many days the section was read since its present coat's story began."""
    days = np.unique(np.floor(section.readings.time))
    return int((days >= features.coat_start).sum())


def _assess(
    prepared: PreparedBuilding,
    judged: Judged,
    trends: dict[str, TrendResult],
    as_of: dt.date,
    threshold: float,
    recalibration: Recalibration,
) -> SectionAssessment:
    section, features, posterior = judged.section, judged.features, judged.posterior
    verdict = judged.verdict
    subject = verdict if verdict != INSUFFICIENT else posterior.ranked[0]
    against = next(name for name in posterior.ranked if name != subject)
    evidence = tuple(
        Evidence(
            group,
            posterior.weight(group, subject, against),
            statement(group, prepared, section, features, trends),
        )
        for group in READ_GROUPS
        if is_read(features, group)
    )
    evidence += _taught(posterior, subject, against, recalibration)
    prior = sum(
        posterior.weight(group, subject, against)
        for group in posterior.score
        if group != OPENINGS and (group == "prior" or not is_read(features, group))
    )
    forecast = _forecast(prepared, section, features, as_of, threshold)
    times = section.readings.time
    last_visit = _date(float(times[-1])) if len(times) else None
    return SectionAssessment(
        building=prepared.record.code,
        section=section.code,
        as_of=as_of,
        verdict=verdict,
        probability=posterior.probability,
        log_odds=LogOdds(against, prior, prior + sum(item.weight for item in evidence)),
        since=_since(prepared, section, features, verdict),
        evidence=tuple(sorted(evidence, key=lambda item: -abs(item.weight))),
        trends=trends,
        forecast=forecast,
        advice=advise(features, posterior.probability, verdict, against, VALUE),
        next_inspection=_next_look(verdict, last_visit, as_of, forecast),
    )


def _taught(
    posterior: Posterior, subject: str, against: str, recalibration: Recalibration
) -> tuple[Evidence, ...]:
    """What the organisation's openings add, where they speak for one of the two explanations."""
    if OPENINGS not in posterior.score:
        return ()
    weight = posterior.weight(OPENINGS, subject, against)
    gain = float(posterior.score[OPENINGS].sum())
    return (Evidence(OPENINGS, weight, of_openings(recalibration, gain)),) if weight else ()


def _next_look(
    verdict: str, last_visit: dt.date | None, as_of: dt.date, forecast: Forecast | None
) -> dt.date:
    """When the readings alone ask for the next look, by the usual policy; the plan knows more."""
    early, expected = (forecast.early, forecast.expected) if forecast else (None, None)
    return due(USUAL, Known(as_of, last_visit, verdict, early, expected)).on


def verdict_of(probability: dict[str, float], visits: int) -> str:
    """The likeliest hypothesis where it is likely enough; trapped water from :data:`CALL` on.

    ``visits``: days on which the section was read under its present coat.
    """
    best = max(HYPOTHESES, key=lambda name: probability[name])
    least = LEAST_SURE
    if probability["trapped_water"] >= CALL:
        best, least = "trapped_water", CALL
    if visits < FEW_VISITS:
        least = FEW_SURE
    return best if visits > 0 and probability[best] >= least else INSUFFICIENT


def _date(day: float) -> dt.date:
    return _EPOCH + dt.timedelta(days=int(np.floor(day)))


def _dated(day: float) -> dt.date | None:
    return _date(day) if np.isfinite(day) else None


def _since(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, verdict: str
) -> dt.date | None:
    if verdict in {INSUFFICIENT, "stable", "condensation"}:
        return None
    return _dated(onset(verdict, prepared.levels[section.code], features, section.events))


def _trends(judged: Sequence[tuple[PreparedBuilding, list[Judged]]]) -> dict[int, dict[str, TrendResult]]:
    """Rates under the present coat, by ``id`` of the judged section and quantity.

    They are from all visits where the coat has none yet.
    """
    levels = {}
    for prepared, sections in judged:
        for own in sections:
            for quantity, level in sorted(prepared.levels[own.section.code].items()):
                window = since(level, own.features.coat_start)
                levels[id(own), quantity] = window if len(window) >= 2 else level
    rates = strongest([(level.time, level.value, level.low, level.high) for level in levels.values()])
    found: dict[int, dict[str, TrendResult]] = {id(own): {} for _, sections in judged for own in sections}
    for ((section, quantity), level), rate in zip(levels.items(), rates, strict=True):
        found[section][quantity] = _trend(rate, level.unit)
    return found


def _trend(rate: Trend, unit: str) -> TrendResult:
    return TrendResult(
        rate_per_year=_number(rate.rate_per_year),
        low=_number(rate.low),
        high=_number(rate.high),
        p_value=_number(rate.p_value),
        readings=rate.n,
        first=_date(rate.first),
        last=_date(rate.last),
        unit=unit,
        method=rate.method,
    )


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _forecast(
    prepared: PreparedBuilding,
    section: SectionRecord,
    features: SectionFeatures,
    as_of: dt.date,
    threshold: float,
) -> Forecast | None:
    """First passage of the present coat's affected share over the threshold; None if not surveyed."""
    day = float((as_of - _EPOCH).days)
    time, low, high = affected_share(prepared.levels[section.code], coat_area(section, day))
    present = time >= features.coat_start
    time, low, high = time[present], low[present], high[present]
    if not len(time):
        return None
    passage = first_passage(time, low, threshold, day, low, high)
    if passage is None:
        return None
    return Forecast(
        quantity="affected_area_fraction",
        threshold=threshold,
        expected=_dated(passage.expected),
        early=_dated(passage.early),
        late=_dated(passage.late),
    )


__all__ = ["FAILURE_THRESHOLD", "HYPOTHESES", "assess_building", "model_version"]
