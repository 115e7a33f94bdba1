"""Keeping, for every section, the verdict as it would have been given at each past visit."""

from __future__ import annotations

import datetime as dt
import logging
from typing import Any
from uuid import UUID

from django.db.models import Count, F, Q
from django.utils import timezone

from inspections.analysis.assessment import model_version
from inspections.analysis.replay import Look, digests, look_back, rounds
from inspections.domain.recalibrating import Openings, openings_of
from inspections.models import Assessment, Reading, Replay
from inspections.queries.due import today_at
from inspections.queries.series import building_record
from portfolio.models import Building, Section

log = logging.getLogger(__name__)

#: A reading entered later than this after it was taken could not have told anything on its day.
ENTERED_LATER = dt.timedelta(days=7)


def replay_due(*, building: Building | None = None, at_most: int | None = None) -> int:
    """Look back again on the houses that were assessed since that was last done; how many there were.

    Those never looked back on come last, since they cost most: a house's whole past, once.
    """
    waiting = _waiting(building)[:at_most]
    houses = Building.objects.in_bulk(waiting)
    for key in waiting:
        try:
            replay(houses[key])
        except Exception:
            # One house must not keep the others' past from being told; it goes on waiting.
            log.exception("The past of building %s could not be replayed", key)
    return len(waiting)


def _waiting(building: Building | None) -> list[UUID]:
    """The standing houses (or this one) with a section assessed since it was looked back on, if ever."""
    current = Assessment.objects.filter(
        current=True, section__voided_at__isnull=True, section__building__voided_at__isnull=True
    )
    if building is not None:
        current = current.filter(section__building=building)
    stale = current.filter(Q(section__replay=None) | Q(section__replay__made_at__lt=F("made_at")))
    looked: dict[UUID, bool] = {}
    for house, made_at in stale.order_by("section__building__code", "pk").values_list(
        "section__building", "section__replay__made_at"
    ):
        looked[house] = looked.get(house, True) and made_at is not None
    return sorted(looked, key=lambda house: not looked[house])


def replay(building: Building) -> int:
    """Look back on a house from each of its visits, and keep what was said; how many looks were computed.

    A look whose whole record is as it was when it was last computed is taken over, not computed again.
    """
    started = timezone.now()
    record = building_record(building)
    days = rounds(record)
    named = digests(record, days)
    sections = {section.code: section for section in Section.objects.standing().filter(building=building)}
    known, openings = _known(building), openings_of(building.organisation)
    looks: dict[str, list[tuple[str, Look]]] = {code: [] for code in sections}
    computed = 0
    for day, digest in zip(days, named, strict=True):
        if digest not in known:
            known[digest] = look_back(record, day)
            computed += 1
        for code, look in known[digest].items():
            if code in looks:
                looks[code].append((digest, look))
    counts = _entered(building)
    Replay.objects.bulk_create(
        [
            Replay(
                section=section,
                made_at=started,
                model_version=model_version(openings.taught(today_at(building))),
                looks=[_said(look, openings) for _, look in looks[code]],
                alone=[{"probability": look.probability, "visits": look.visits} for _, look in looks[code]],
                digests=[digest for digest, _ in looks[code]],
                readings=counts.get(section.pk, (0, 0))[0],
                entered_later=counts.get(section.pk, (0, 0))[1],
            )
            for code, section in sections.items()
        ],
        update_conflicts=True,
        unique_fields=("section",),
        update_fields=("made_at", "model_version", "looks", "alone", "digests", "readings", "entered_later"),
    )
    return computed


def _said(look: Look, openings: Openings) -> dict[str, Any]:
    """What was to be said at a look, with what the openings of its own day had taught."""
    verdict, probability = look.told(openings.taught(look.as_of))
    return {"as_of": look.as_of.isoformat(), "verdict": verdict, "probability": probability}


def _known(building: Building) -> dict[str, dict[str, Look]]:
    """What the model alone said when it was computed before: each look, by digest and section."""
    known: dict[str, dict[str, Look]] = {}
    for kept in Replay.objects.filter(section__building=building).select_related("section"):
        if len(kept.alone) != len(kept.digests):
            continue
        for digest, look, alone in zip(kept.digests, kept.looks, kept.alone, strict=True):
            by_section = known.setdefault(digest, {})
            by_section[kept.section.code] = Look(dt.date.fromisoformat(look["as_of"]), **alone)
    return known


def _entered(building: Building) -> dict[Any, tuple[int, int]]:
    """By section the number of standing readings, and of those entered later than :data:`ENTERED_LATER`."""
    later = Count("pk", filter=Q(entered_at__gt=F("taken_at") + ENTERED_LATER))
    rows = Reading.objects.standing().filter(building=building, section__isnull=False)
    told = rows.order_by().values("section").annotate(total=Count("pk"), later=later)
    return {row["section"]: (row["total"], row["later"]) for row in told}
