"""What a trial's answer and pages stand on, always within one organisation."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Count, Max, QuerySet, Sum

from inspections.analysis.trial_results import Question
from inspections.analysis.trial_walls import Place
from inspections.models import (
    Allocation,
    Instrument,
    LogSeries,
    Photo,
    Plan,
    Reading,
    Trial,
    Visit,
)
from inspections.queries.series import day_number
from portfolio.models import Building, Event, Organisation, Section, Treatment


def trial_by_code(organisation: Organisation, code: str) -> Trial | None:
    """The standing trial with this code, if the organisation has it."""
    found: Trial | None = Trial.objects.of(organisation).standing().filter(code=code).first()
    return found


def standing_allocations(trial: Trial) -> list[Allocation]:
    """The trial's sections that stand, with their houses, in the order of house and section."""
    own = Allocation.objects.standing().filter(
        trial=trial, section__voided_at__isnull=True, section__building__voided_at__isnull=True
    )
    return list(own.select_related("section__building").order_by("section__building__code", "section__code"))


def question_of(trial: Trial) -> Question:
    """The trial as the analysis sees it."""
    return Question(
        trial.code,
        trial.outcome,
        _day(trial.started_on),
        _day(trial.planned_end_on),
        trial.organisation.failure_threshold,
    )


def places_of(allocations: Iterable[Allocation]) -> list[Place]:
    """The allotment as the analysis sees it."""
    return [
        Place(one.section.building.code, one.section.code, one.arm, one.allocated_by, one.block)
        for one in allocations
    ]


def state_of(trial: Trial, buildings: Iterable[Building]) -> list[object]:
    """What changes whenever a record of the trial's houses does: counts, revisions and last changes.

    Of readings only the first two, since there are so many.
    """
    ids = [building.pk for building in buildings]
    records: list[QuerySet[Any]] = [
        Instrument.objects.filter(organisation=trial.organisation_id),
        Building.objects.filter(pk__in=ids),
        Treatment.objects.filter(section__building__in=ids),
    ]
    records += [model.objects.filter(building__in=ids) for model in (Section, Event, Visit, LogSeries)]
    readings = Reading.objects.filter(building__in=ids).order_by()
    found: list[object] = [*readings.aggregate(Count("pk"), Sum("revision")).values()]
    for one in records:
        found += one.order_by().aggregate(Count("pk"), Sum("revision"), Max("changed_at")).values()
    return found


def _day(day: date | None) -> float:
    return np.nan if day is None else day_number(day)


def due_of(allocations: Iterable[Allocation]) -> dict[UUID, date]:
    """When each section is next to be inspected, where that is planned."""
    plans = Plan.objects.filter(section__in=[one.section_id for one in allocations], paper__isnull=True)
    return {plan.section_id: plan.falls_on for plan in plans if plan.section_id}


def priced_treatments(allocations: Iterable[Allocation]) -> list[Treatment]:
    """What was put on the trial's sections and has a price, in time."""
    ids = [one.section_id for one in allocations]
    priced = Treatment.objects.standing().filter(section__in=ids, cost__isnull=False)
    return list(priced.select_related("section").order_by("section__code", "applied_on", "layer"))


def photos_of(allocations: Iterable[Allocation]) -> dict[UUID, list[Photo]]:
    """The photos of the trial's sections, each section's in time."""
    photos = Photo.objects.standing().filter(section__in=[one.section_id for one in allocations])
    found: dict[UUID, list[Photo]] = {}
    for photo in photos.order_by("taken_at", "id"):
        assert photo.section_id is not None
        found.setdefault(photo.section_id, []).append(photo)
    return found


@dataclass(frozen=True, slots=True)
class TrialsOfQuestion:
    """The trials with one outcome and the same two arms, sorted by code."""

    outcome: str
    arms: tuple[str, ...]
    trials: list[Trial]


def trials_like(trial: Trial) -> TrialsOfQuestion:
    """The organisation's trials with this one's outcome and two arms, itself among them; in two queries."""
    own = Allocation.objects.standing().filter(trial=trial).values_list("arm", flat=True).distinct()
    arms = tuple(sorted(own.order_by()))
    found = (one for one in questions_of(trial.organisation) if trial in one.trials)
    return next(found, TrialsOfQuestion(trial.outcome, arms, []))


def questions_of(organisation: Organisation) -> list[TrialsOfQuestion]:
    """Every question that the organisation's trials of two arms ask, with its trials; in two queries."""
    arms: dict[UUID, set[str]] = {}
    allotted = Allocation.objects.of(organisation).standing()
    for pk, arm in allotted.order_by().values_list("trial_id", "arm").distinct():
        arms.setdefault(pk, set()).add(arm)
    found: dict[tuple[str, tuple[str, ...]], list[Trial]] = {}
    for trial in Trial.objects.of(organisation).standing().select_related("organisation").order_by("code"):
        own = tuple(sorted(arms.get(trial.pk, ())))
        if len(own) == 2:
            found.setdefault((trial.outcome, own), []).append(trial)
    return [TrialsOfQuestion(outcome, own, trials) for (outcome, own), trials in sorted(found.items())]
