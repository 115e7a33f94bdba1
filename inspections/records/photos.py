"""Entering a photo from a row that comes with its picture, checked as other rows are."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import replace
from typing import BinaryIO

from inspections.domain.photos import store_photo
from inspections.models import Photo, Visit
from inspections.records import rules
from inspections.records.entering import values_of_row
from inspections.records.further import PHOTOS
from inspections.records.places import Places
from inspections.records.rules import Values
from inspections.records.tables import column
from portfolio.models import Building, Organisation, Section, User


def _taken_at_if_given(values: Values, places: Places) -> None:
    if values["taken_at"]:
        rules.TAKEN_AT.check(values, places)


#: As a photo's own columns, but the time may be left to the picture to tell.
UPLOADS = replace(
    PHOTOS,
    columns=tuple(
        column("taken_at", str, empty="") if one.name == "taken_at" else one for one in PHOTOS.columns
    ),
    rules=tuple(
        replace(rule, check=_taken_at_if_given) if rule is rules.TAKEN_AT else rule for rule in PHOTOS.rules
    ),
)


def enter_photo(
    *,
    organisation: Organisation,
    user: User,
    row: Mapping[str, object],
    file: BinaryIO,
    photo_id: uuid.UUID | None = None,
) -> tuple[Photo, bool]:
    """Keep a photo; the second value is False where it was there before. Raises a `Refusal`."""
    values = values_of_row(table=UPLOADS, organisation=organisation, user=user, row=row)
    return store_photo(
        building=Building.objects.of(organisation).get(pk=values["building_id"]),
        section=Section.objects.of(organisation).filter(pk=values["section_id"]).first(),
        visit=Visit.objects.of(organisation).filter(pk=values["visit_id"]).first(),
        file=file,
        taken_at=values["taken_at"] or None,
        caption=values["caption"],
        user=user,
        photo_id=photo_id,
    )
