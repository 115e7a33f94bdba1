"""How people answer a flag: they take note of it, confirm it or dismiss it, and act."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from inspections.models import LIVE_FLAG_STATES, Action, Flag
from inspections.vocabulary import ActionKind, FlagState
from portfolio.domain.due import ask_for_assessment
from portfolio.domain.history import differences, note_change
from portfolio.domain.refusals import Conflict, Stale
from portfolio.models import Organisation, User

#: From which states each answer may be given. A confirmed flag closes only through an action.
ANSWERABLE = {
    FlagState.ACKNOWLEDGED: (FlagState.OPENED,),
    FlagState.CONFIRMED: (FlagState.OPENED, FlagState.ACKNOWLEDGED),
    FlagState.DISMISSED: (FlagState.OPENED, FlagState.ACKNOWLEDGED),
}


def acknowledge_flag(*, flag: Flag, organisation: Organisation, user: User) -> Flag:
    """Say that somebody has seen it and will look."""
    return _answer(flag, organisation, user, FlagState.ACKNOWLEDGED, "")


def confirm_flag(*, flag: Flag, organisation: Organisation, user: User, reason: str) -> Flag:
    """Say that it is so, and what was found; it then closes only through an action."""
    return _answer(flag, organisation, user, FlagState.CONFIRMED, reason)


def dismiss_flag(*, flag: Flag, organisation: Organisation, user: User, reason: str) -> Flag:
    """Say that it is not so, and why; it then rests for a year."""
    return _answer(flag, organisation, user, FlagState.DISMISSED, reason)


@transaction.atomic
def close_by_action(*, action: Action, organisation: Organisation, user: User) -> None:
    """Close the flag that an action answers. Watching alone closes none."""
    flag = action.flag
    if flag is None or action.kind == ActionKind.WATCH or flag.state not in LIVE_FLAG_STATES:
        return
    new = {
        "state": FlagState.CLOSED.value,
        "closed_on": max(action.done_on, flag.opened_on),
        "reason": f"Closed by an action: {action.get_kind_display()} on {action.done_on}.",
    }
    try:
        _change(flag, organisation, user, new)
    except Stale as stale:
        raise Conflict("Somebody answered the flag just now; look at it, and send this again.") from stale


@transaction.atomic
def _answer(flag: Flag, organisation: Organisation, user: User, state: FlagState, reason: str) -> Flag:
    if flag.state not in ANSWERABLE[state]:
        raise Conflict(f"This flag is {flag.get_state_display()} and can't be {state.label} any more.")
    new = {
        "state": state.value,
        "answered_at": timezone.now(),
        "answered_by_id": user.pk,
        "reason": reason or flag.reason,
    }
    _change(flag, organisation, user, new)
    # What the flag asked of the plan is settled.
    ask_for_assessment([flag.section.building_id])
    return flag


def _change(flag: Flag, organisation: Organisation, user: User, new: dict[str, Any]) -> None:
    """Write new values unless somebody changed the flag since it was read, with the history."""
    fields = differences(flag, new)
    standing = Flag.objects.filter(pk=flag.pk, revision=flag.revision)
    if not standing.update(revision=F("revision") + 1, **new):
        raise Stale
    note_change(
        record=flag, organisation=organisation, user=user, fields=fields, reason=str(new["reason"])[:500]
    )
    flag.refresh_from_db()
