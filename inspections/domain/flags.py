"""Opening and closing flags: steadier than verdicts, at levels that lie apart."""

from __future__ import annotations

import datetime as dt

from django.db.models import F

from inspections.analysis.alarms import LIMITS, is_open
from inspections.models import LIVE_FLAG_STATES, Assessment, Flag
from inspections.vocabulary import FlagState, Verdict

#: Verdicts that somebody must act on: water is at work in the wall.
FLAGGED = tuple(Verdict(verdict) for verdict in LIMITS)
#: A dismissed flag does not come back sooner than this: somebody has looked, and said why.
REST_AFTER_DISMISSAL = dt.timedelta(days=365)


def settle_flags(assessments: list[Assessment], today: dt.date) -> None:
    """Open, and close, the flags that current ``assessments`` of sections, made ``today``, call for."""
    sections = [assessment.section_id for assessment in assessments]
    known: dict[tuple[object, str], list[Flag]] = {}
    for flag in Flag.objects.filter(section__in=sections).order_by("opened_on"):
        known.setdefault((flag.section_id, flag.verdict), []).append(flag)
    opened = []
    for assessment in assessments:
        for verdict in FLAGGED:
            flags = known.get((assessment.section_id, verdict), [])
            chance = assessment.result["probability"][verdict]
            live = next((flag for flag in flags if flag.state in LIVE_FLAG_STATES), None)
            open_now = is_open(live is not None, chance, assessment.verdict == verdict, LIMITS[verdict])
            if live is not None and not open_now:
                _close(live, today)
            elif live is None and open_now and not _rests(flags, today):
                opened.append(
                    Flag(section=assessment.section, verdict=verdict, opened_on=today, opened_by=assessment)
                )
    Flag.objects.bulk_create(opened)


def _close(flag: Flag, today: dt.date) -> None:
    """Close a flag that the readings no longer bear out; a confirmed one closes only through an action."""
    if flag.state == FlagState.CONFIRMED:
        return
    Flag.objects.filter(pk=flag.pk, revision=flag.revision).exclude(state=FlagState.CONFIRMED).update(
        state=FlagState.CLOSED,
        closed_on=today,
        reason="The readings no longer bear it out.",
        revision=F("revision") + 1,
    )


def _rests(flags: list[Flag], today: dt.date) -> bool:
    """Whether the latest flag was dismissed so lately that it must not come back yet."""
    if not flags or flags[-1].state != FlagState.DISMISSED or flags[-1].answered_at is None:
        return False
    return today - flags[-1].answered_at.date() < REST_AFTER_DISMISSAL
