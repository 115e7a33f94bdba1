"""Photos as pages show them, always within one organisation."""

from __future__ import annotations

from uuid import UUID

from inspections.models import Photo
from portfolio.models import Organisation, Section


def find_photo(organisation: Organisation, pk: UUID) -> Photo | None:
    """The photo with its place, if the organisation has it and nobody has voided it."""
    photos = Photo.objects.of(organisation).standing().select_related("building", "section")
    found: Photo | None = photos.filter(pk=pk).first()
    return found


def section_photos(organisation: Organisation, section: Section) -> list[Photo]:
    """The section's photos, in time."""
    return list(Photo.objects.of(organisation).standing().filter(section=section).order_by("taken_at", "id"))
