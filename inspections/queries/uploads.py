"""What people sent to be loaded, always within one organisation."""

from __future__ import annotations

from uuid import UUID

from inspections.models import Load, Upload
from portfolio.models import Organisation

#: So many past ones a page tells.
SHOWN = 10


def find_upload(organisation: Organisation, pk: UUID) -> Upload | None:
    """The upload, if it was sent to the organisation."""
    found: Upload | None = Upload.objects.of(organisation).filter(pk=pk).first()
    return found


def latest_uploads(organisation: Organisation) -> list[Upload]:
    """What was sent last, the latest first."""
    return list(Upload.objects.of(organisation).select_related("by")[:SHOWN])


def latest_loads(organisation: Organisation) -> list[Load]:
    """What was loaded last, by whatever way, the latest first."""
    return list(Load.objects.of(organisation).select_related("by")[:SHOWN])
