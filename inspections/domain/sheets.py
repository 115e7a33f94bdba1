"""Evidence sheets lent outside: a signed link that ends by itself, or is taken back."""

from __future__ import annotations

import datetime as dt
from uuid import UUID

from django.core.signing import BadSignature, Signer
from django.utils import timezone

from inspections.models import SharedSheet, Trial
from portfolio.domain.refusals import Invalid
from portfolio.models import User

MOST_DAYS = 366
#: Room for whom it is for.
NAME_LENGTH = 200


def share_sheet(*, trial: Trial, user: User, for_whom: str, days: int) -> SharedSheet:
    """Lend the trial's sheet for so many days. :class:`Invalid` names what is wrong."""
    errors = []
    if not for_whom.strip():
        errors.append(("for_whom", "Say whom it is for, so that it can be taken back from the right one."))
    if len(for_whom) > NAME_LENGTH:
        errors.append(("for_whom", f"There is room for {NAME_LENGTH} characters; shorten it."))
    if not 1 <= days <= MOST_DAYS:
        errors.append(("days", f"Say from 1 to {MOST_DAYS} days."))
    if errors:
        raise Invalid(errors)
    ends = timezone.now() + dt.timedelta(days=days)
    return SharedSheet.objects.create(trial=trial, for_whom=for_whom.strip(), made_by=user, expires_at=ends)


def revoke_sheet(sheet: SharedSheet) -> None:
    """Take the link back. Taken back again, nothing changes."""
    SharedSheet.objects.filter(pk=sheet.pk, revoked_at__isnull=True).update(revoked_at=timezone.now())


def key_of(sheet: SharedSheet) -> str:
    """What the link ends in: the sheet's id, signed with this installation's secret."""
    return _signer().sign(sheet.pk.hex)


def shared_sheet(key: str) -> SharedSheet | None:
    """The sheet that a key opens, whether or not its time is over; None for a key that was never made."""
    try:
        pk = UUID(hex=_signer().unsign(key))
    except (BadSignature, ValueError):
        return None
    found: SharedSheet | None = (
        SharedSheet.objects.select_related("trial__organisation", "made_by")
        .filter(pk=pk, trial__voided_at__isnull=True)
        .first()
    )
    return found


def is_open(sheet: SharedSheet) -> bool:
    """Whether the link still serves."""
    return sheet.revoked_at is None and sheet.expires_at > timezone.now()


def _signer() -> Signer:
    return Signer(salt="wythe.evidence-sheet")
