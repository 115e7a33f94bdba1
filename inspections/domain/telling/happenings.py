"""What there is to tell of an organisation's houses at a moment, and how far up it is to be told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final
from uuid import UUID

from django.db.models import Q

from inspections.domain.telling.dangers import dangerous_readings
from inspections.models import LIVE_FLAG_STATES, Assessment, Flag, Plan, TellingRules
from inspections.vocabulary import FlagState, Stage, Subject
from portfolio.models import Building, Organisation, Section

#: A flag is worse when the odds against it have fallen to a third since it was last told. Ours.
WORSE_ODDS: Final = 1 / 3
#: The stages of a plan in order; what has been told at one is not told again at an earlier one.
PLAN_STAGES: Final = (Stage.BEFORE, Stage.ON, Stage.AFTER, Stage.LATER)
FLAG_STAGES: Final = (Stage.OPENED, Stage.WORSE, Stage.UNANSWERED)
#: A zone may be a day ahead of UTC's date.
_AHEAD: Final = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Happening:
    """Something to be told at a stage, to people up to the role ``reach``."""

    subject: Subject
    subject_id: UUID
    day: dt.date
    stage: Stage
    building: Building
    section: Section | None
    reach: str
    detail: dict[str, Any] = field(default_factory=dict)
    #: Who is to go, where that is settled: no other inspector need be told.
    person: UUID | None = None

    @property
    def urgent(self) -> bool:
        return self.stage == Stage.DANGER


def rules_of(organisation: Organisation) -> TellingRules:
    """The organisation's rules; the usual ones where it has set none."""
    return TellingRules.objects.of(organisation).first() or TellingRules(organisation=organisation)


def due_plans(organisation: Organisation, rules: TellingRules, now: dt.datetime) -> Iterator[Happening]:
    """Inspections soon due, due and overdue, each at the latest stage that it has reached at the house."""
    latest = now.date() + _AHEAD + dt.timedelta(days=rules.before_days)
    standing = Q(section__isnull=True) | Q(section__voided_at__isnull=True)
    plans = (
        Plan.objects.of(organisation)
        .filter(standing, building__voided_at__isnull=True)
        .filter(falls_on__lte=latest)
        .select_related("building", "section", "paper")
    )
    for plan in plans:
        late = (now.astimezone(plan.building.zone).date() - plan.falls_on).days
        reached = _stage_of(rules, late)
        if reached:
            stage, reach = reached
            yield Happening(
                Subject.PLAN,
                plan.pk,
                plan.falls_on,
                stage,
                plan.building,
                plan.section,
                reach,
                {"late": late, "paper": str(plan.paper)} if plan.paper else {"late": late},
                plan.person_id,
            )


def _stage_of(rules: TellingRules, late: int) -> tuple[Stage, str] | None:
    """The stage of something that has been due for so many days, with its reach."""
    stages = (
        (rules.later_days, Stage.LATER, rules.later_reach),
        (rules.after_days, Stage.AFTER, rules.after_reach),
        (0, Stage.ON, rules.on_reach),
        (-rules.before_days, Stage.BEFORE, rules.before_reach),
    )
    return next(((stage, reach) for days, stage, reach in stages if late >= days), None)


def flags(
    organisation: Organisation, rules: TellingRules, now: dt.datetime, told: dict[UUID, float]
) -> Iterator[Happening]:
    """Flags opened, worse and unanswered. ``told``: each flag's probability when it was told last."""
    live = (
        Flag.objects.of(organisation)
        .filter(state__in=LIVE_FLAG_STATES, section__voided_at__isnull=True)
        .filter(section__building__voided_at__isnull=True)
        .select_related("section__building", "opened_by")
    )
    current = {
        assessment.section_id: assessment
        for assessment in Assessment.objects.of(organisation).filter(
            current=True, section__flags__state__in=LIVE_FLAG_STATES
        )
    }
    for flag in live:
        assessment = current.get(flag.section_id)
        chance = assessment.result["probability"][flag.verdict] if assessment else None
        today = now.astimezone(flag.section.building.zone).date()
        for stage, day, reach in _flag_stages(rules, flag, assessment, today, told.get(flag.pk)):
            yield Happening(
                Subject.FLAG,
                flag.pk,
                day,
                stage,
                flag.section.building,
                flag.section,
                reach,
                {"verdict": flag.verdict, "probability": chance},
            )


def _flag_stages(
    rules: TellingRules, flag: Flag, assessment: Assessment | None, today: dt.date, told: float | None
) -> Iterator[tuple[Stage, dt.date, str]]:
    if flag.state == FlagState.OPENED:
        if (today - flag.opened_on).days >= rules.unanswered_days:
            yield Stage.UNANSWERED, flag.opened_on, rules.unanswered_reach
        else:
            yield Stage.OPENED, flag.opened_on, rules.flag_reach
    if assessment and told is not None:
        chance = assessment.result["probability"][flag.verdict]
        if _odds_against(chance) <= WORSE_ODDS * _odds_against(told):
            yield Stage.WORSE, assessment.as_of, rules.flag_reach


def _odds_against(chance: float) -> float:
    return (1 - chance) / chance if chance > 0 else float("inf")


def dangers(organisation: Organisation, rules: TellingRules, now: dt.datetime) -> Iterator[Happening]:
    """Readings that are dangerous at once."""
    for reading, detail in dangerous_readings(organisation, now):
        day = reading.taken_at.astimezone(reading.building.zone).date()
        yield Happening(
            Subject.READING,
            reading.pk,
            day,
            Stage.DANGER,
            reading.building,
            reading.section,
            rules.danger_reach,
            detail,
        )
