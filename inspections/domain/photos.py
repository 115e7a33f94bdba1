"""Photos: kept once under the SHA-256 of their bytes, each with its thumbnail beside it."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from pathlib import Path
from typing import BinaryIO, Final

from django.utils import timezone
from django.utils.text import slugify

from inspections.domain.files import bounded, place_of, write_once
from inspections.domain.pictures import CONTENT_TYPE, MOST_BYTES, Picture, prepare, thumbnail_of
from inspections.models import Photo, Visit
from portfolio.domain import records
from portfolio.domain.records import Kind
from portfolio.domain.refusals import Conflict, Invalid
from portfolio.models import Building, Section, User

PICTURES, THUMBNAILS = "photos", "thumbnails"
#: A camera that lost its clock says 1970, or the year nought; no picture with EXIF is older.
FIRST_YEAR: Final = 1971
#: Told by the picture, so that a difference in them alone is no other photo.
_OF_THE_PICTURE: Final = frozenset({"content_type", "width", "height", "bytes"})


class PictureMissing(Exception):
    """A photo is known whose file is not on this machine."""


def store_photo(
    *,
    building: Building,
    section: Section | None,
    visit: Visit | None,
    file: BinaryIO,
    taken_at: dt.datetime | None = None,
    taken_on: dt.date | None = None,
    caption: str = "",
    user: User,
    photo_id: uuid.UUID | None = None,
) -> tuple[Photo, bool]:
    """Keep a photo; the second value is False where the same picture is kept of the section already.

    Without ``taken_at`` it is the camera's time, in the building's zone unless the camera knew its offset;
    where the picture tells none, or one still to come, it is now. Where only the local day ``taken_on`` is
    known, it is the camera's time on that day, else noon. Raises a `Refusal`.
    """
    if taken_on and taken_on > timezone.localdate(timezone=building.zone):
        raise Invalid([("taken_on", "This day is still to come; mend the date, or leave it to the picture.")])
    picture = prepare(bounded(file, MOST_BYTES))
    digest = hashlib.sha256(picture.content).hexdigest()
    write_once(_place(PICTURES, digest), picture.content)
    write_once(_place(THUMBNAILS, digest), picture.thumbnail)
    values = {
        "building_id": building.pk,
        "section_id": section.pk if section else None,
        "visit_id": visit.pk if visit else None,
        "taken_at": taken_at or _time_of(picture, building, taken_on),
        "sha256": digest,
        "content_type": CONTENT_TYPE,
        "width": picture.width,
        "height": picture.height,
        "bytes": len(picture.content),
        "caption": caption,
    }
    following = _OF_THE_PICTURE if taken_at else _OF_THE_PICTURE | {"taken_at"}
    kind = Kind(Photo, ("building_id", "section_id", "sha256"), ("building", "section", "picture"), following)
    same = Photo.objects.standing().filter(building=building, section=section, sha256=digest)
    id_is_new = photo_id is None or not Photo.objects.filter(pk=photo_id).exists()
    if id_is_new and (there := same.first()):
        return there, False
    try:
        return records.enter(
            kind=kind,
            organisation=building.organisation,
            user=user,
            values=values,
            record_id=photo_id,
        )
    except Conflict:
        # Somebody else may have sent the same picture in the same moment.
        if id_is_new and (there := same.first()):
            return there, False
        raise


def open_picture(photo: Photo) -> BinaryIO:
    """The photo's file; raises `PictureMissing`."""
    try:
        return _place(PICTURES, photo.sha256).open("rb")
    except FileNotFoundError:
        raise PictureMissing from None


def open_thumbnail(photo: Photo) -> BinaryIO:
    """The photo's thumbnail, made again if it was lost; raises `PictureMissing`."""
    place = _place(THUMBNAILS, photo.sha256)
    if not place.exists():
        with open_picture(photo) as file:
            write_once(place, thumbnail_of(file))
    return place.open("rb")


def file_name(photo: Photo) -> str:
    """What the file is called when it is saved: house, section and day, in plain letters."""
    day = photo.taken_at.astimezone(photo.building.zone).date().isoformat()
    parts = [photo.building.code, photo.section.code if photo.section else "", day]
    return "-".join(filter(None, (slugify(part) for part in parts))) + ".jpg"


def _time_of(picture: Picture, building: Building, day: dt.date | None) -> dt.datetime:
    camera = _camera_time(picture, building)
    if day is None:
        return camera or timezone.now()
    if camera and camera.astimezone(building.zone).date() == day:
        return camera
    return dt.datetime.combine(day, dt.time(12), building.zone).astimezone(dt.UTC)


def _camera_time(picture: Picture, building: Building) -> dt.datetime | None:
    """The camera's time, unless its clock was plainly wrong."""
    if picture.taken is None:
        return None
    local = picture.taken if picture.taken.tzinfo else picture.taken.replace(tzinfo=building.zone)
    try:
        taken_at = local.astimezone(dt.UTC)
    except OverflowError:
        return None
    return taken_at if taken_at.year >= FIRST_YEAR and taken_at <= timezone.now() else None


def _place(folder: str, digest: str) -> Path:
    return place_of(folder, digest, "jpg")
