"""A section's photos in time, each told whether it was before or after what was put on the wall."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

from inspections.models import Photo
from inspections.web.present import dates, words
from portfolio.models import Treatment


@dataclass(frozen=True, slots=True)
class Shown:
    """One photo of the row."""

    pk: UUID
    when: str
    mark: str
    caption: str
    alt: str


def row(photos: Iterable[Photo], treatments: Sequence[Treatment], zone: dt.tzinfo) -> list[Shown]:
    """The photos, in time."""
    return [_shown(photo, treatments, photo.taken_at.astimezone(zone).date()) for photo in photos]


def _shown(photo: Photo, treatments: Sequence[Treatment], day: dt.date) -> Shown:
    when, mark = dates.day(day), mark_of(day, treatments)
    told = photo.caption or f"The wall{f' {mark}' if mark else ''}, no caption"
    return Shown(photo.pk, when, mark, photo.caption, f"Photo of {when}: {told}")


def mark_of(day: dt.date, treatments: Iterable[Treatment]) -> str:
    """Such as "after the 2016 cement coat": the last that was put on by then, else the first to come."""
    dated = sorted((one for one in treatments if one.applied_on), key=lambda one: (one.applied_on, one.layer))
    past = [one for one in dated if one.applied_on <= day]
    if past:
        relation = "on the day of" if past[-1].applied_on == day else "after"
        return f"{relation} the {words.coat_name(past[-1])}"
    return f"before the {words.coat_name(dated[0])}" if dated else ""
