"""Evidence sheets lent outside: a signed link that ends by itself, or is taken back."""

from __future__ import annotations

import datetime as dt
from uuid import UUID

from django.core.signing import BadSignature, Signer
from django.utils import timezone

from inspections.models import LentSheet, SharedCoatSheet, SharedSheet, Trial
from inspections.queries.sheets import sheet_of_id
from portfolio.domain.refusals import Invalid
from portfolio.models import Organisation, User

MOST_DAYS = 366
#: Room for whom it is for.
NAME_LENGTH = 200


def share_sheet(*, trial: Trial, user: User, for_whom: str, days: int) -> SharedSheet:
    """Lend the trial's sheet for so many days. :class:`Invalid` names what is wrong."""
    return SharedSheet.objects.create(trial=trial, made_by=user, **_lent(for_whom, days))


def share_coat_sheet(
    *, organisation: Organisation, coat: str, beside: str, user: User, for_whom: str, days: int
) -> SharedCoatSheet:
    """Lend the sheet of a kind of coat, as :func:`share_sheet` does a trial's."""
    lent = _lent(for_whom, days)
    return SharedCoatSheet.objects.create(
        organisation=organisation, coat=coat, beside=beside, made_by=user, **lent
    )


def _lent(for_whom: str, days: int) -> dict[str, str | dt.datetime]:
    errors = []
    if not for_whom.strip():
        errors.append(("for_whom", "Say whom it is for, so that it can be taken back from the right one."))
    if len(for_whom) > NAME_LENGTH:
        errors.append(("for_whom", f"There is room for {NAME_LENGTH} characters; shorten it."))
    if not 1 <= days <= MOST_DAYS:
        errors.append(("days", f"Say from 1 to {MOST_DAYS} days."))
    if errors:
        raise Invalid(errors)
    return {"for_whom": for_whom.strip(), "expires_at": timezone.now() + dt.timedelta(days=days)}


def revoke_sheet(sheet: LentSheet) -> None:
    """Take the link back. Taken back again, nothing changes."""
    lent = type(sheet).objects.filter(pk=sheet.pk, revoked_at__isnull=True)
    lent.update(revoked_at=timezone.now())


def key_of(sheet: LentSheet) -> str:
    """What the link ends in: the sheet's id, signed with this installation's secret."""
    return _signer().sign(sheet.pk.hex)


def shared_sheet(key: str) -> SharedSheet | SharedCoatSheet | None:
    """The sheet that a key opens, whether or not its time is over; None for a key that was never made."""
    try:
        pk = UUID(hex=_signer().unsign(key))
    except (BadSignature, ValueError):
        return None
    return sheet_of_id(pk)


def is_open(sheet: LentSheet) -> bool:
    """Whether the link still serves."""
    return sheet.revoked_at is None and sheet.expires_at > timezone.now()


def _signer() -> Signer:
    return Signer(salt="wythe.evidence-sheet")
