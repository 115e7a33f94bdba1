"""The evidence sheets that an organisation lent, and which coats and photos the sheet of a coat is about."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet

from inspections.models import Photo, SharedCoatSheet, SharedSheet, Trial
from portfolio.models import Organisation, Treatment


def sheets_of(trial: Trial) -> list[SharedSheet]:
    """The links to the trial's sheet that were made, the latest first."""
    return list(SharedSheet.objects.filter(trial=trial).order_by("-made_at"))


def coat_sheets_of(organisation: Organisation) -> list[SharedCoatSheet]:
    """The links to sheets of coats that were made, the latest first."""
    return list(SharedCoatSheet.objects.of(organisation).order_by("-made_at"))


def find_sheet(organisation: Organisation, pk: UUID) -> SharedSheet | SharedCoatSheet | None:
    """The shared sheet, if it is of the organisation."""
    of_trial = SharedSheet.objects.of(organisation).select_related("trial").filter(pk=pk).first()
    found: SharedSheet | SharedCoatSheet | None = (
        of_trial or SharedCoatSheet.objects.of(organisation).filter(pk=pk).first()
    )
    return found


def sheet_of_id(pk: UUID) -> SharedSheet | SharedCoatSheet | None:
    """The shared sheet of whatever organisation, for who holds its signed key; none of a voided trial."""
    trials = SharedSheet.objects.select_related("trial__organisation", "made_by")
    coats = SharedCoatSheet.objects.select_related("organisation", "made_by")
    found: SharedSheet | SharedCoatSheet | None = (
        trials.filter(pk=pk, trial__voided_at__isnull=True).first() or coats.filter(pk=pk).first()
    )
    return found


def coats_of_kinds(organisation: Organisation, *kinds: tuple[str, str]) -> QuerySet[Treatment]:
    """The layers of these kinds and binders, on walls that stand."""
    chosen = Q(pk__in=[])
    for kind, binder in kinds:
        chosen |= Q(kind=kind, binder=binder)
    standing = Treatment.objects.of(organisation).standing()
    return standing.filter(chosen, section__voided_at=None, section__building__voided_at=None)


def houses_of(coats: QuerySet[Treatment]) -> int:
    """On how many houses they are."""
    return coats.order_by().values("section__building").distinct().count()


#: When a coat went on, when it came off, and the photos of its wall in time.
Watched = tuple[date, date | None, list[Photo]]


def photos_of_coats(coats: QuerySet[Treatment]) -> list[Watched]:
    """Each coat whose wall was photographed, the first first."""
    photos: dict[UUID, list[Photo]] = {}
    sections = coats.order_by().values("section")
    taken = Photo.objects.standing().filter(section__in=sections).select_related("section__building")
    for photo in taken.order_by("taken_at", "id"):
        assert photo.section_id is not None
        photos.setdefault(photo.section_id, []).append(photo)
    rows = coats.order_by("applied_on", "section__code").values_list("section", "applied_on", "removed_on")
    return [(begun, ended, photos[section]) for section, begun, ended in rows if section in photos]
