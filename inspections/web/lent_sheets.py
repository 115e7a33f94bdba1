"""An evidence sheet by its signed link, without an account."""

from __future__ import annotations

from http import HTTPStatus
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.domain.coat_evidence import coat_pictures, coat_question
from inspections.domain.photos import PictureMissing, file_name, open_thumbnail
from inspections.domain.sheets import is_open, shared_sheet
from inspections.models import LentSheet, Photo, SharedCoatSheet, SharedSheet
from inspections.queries.trials import photos_of, standing_allocations
from inspections.web.sheet_files import Address, Asked, as_file, as_page, of_coats, of_trial
from portfolio.files import private_file
from portfolio.vocabulary import Units

#: Nobody's search engine keeps it, and no page that it leads to learns its address.
PRIVATE = {"X-Robots-Tag": "noindex, nofollow", "Referrer-Policy": "no-referrer"}


@require_safe
@never_cache
def page(request: HttpRequest, key: str) -> HttpResponse:
    """The sheet as a page."""
    lent = _known(key)
    if not is_open(lent):
        return _private(_ended(request))
    file = reverse("lent-sheet-file", args=[key])
    return _private(as_page(request, _asked(lent), _photo_of(key), _units(lent), lent, file=file))


@require_safe
@never_cache
def file(request: HttpRequest, key: str) -> HttpResponse:
    """The sheet as a PDF."""
    lent = _known(key)
    if not is_open(lent):
        return _private(_ended(request))
    return _private(as_file(_asked(lent), _photo_of(key), _units(lent), lent))


@require_safe
def photo(request: HttpRequest, key: str, pk: UUID) -> HttpResponseBase:
    """A photo that the sheet shows, small."""
    lent = _known(key)
    shown = {one.pk: one for one in _photos(lent)}
    if not is_open(lent) or pk not in shown:
        raise Http404("No such photo on this sheet.")
    found = shown[pk]
    try:
        response = private_file(open_thumbnail(found), found.content_type, file_name(found))
    except PictureMissing:
        raise Http404("The picture's file is not on this machine.") from None
    response["X-Robots-Tag"] = PRIVATE["X-Robots-Tag"]
    return response


def _asked(lent: SharedSheet | SharedCoatSheet) -> Asked:
    if isinstance(lent, SharedSheet):
        return of_trial(lent.trial)
    return of_coats(lent.organisation, coat_question(lent.coat, lent.beside))


def _photos(lent: SharedSheet | SharedCoatSheet) -> list[Photo]:
    """Those of the trial's walls, or those that the sheet of a coat shows."""
    if isinstance(lent, SharedSheet):
        return [one for own in photos_of(standing_allocations(lent.trial)).values() for one in own]
    found = coat_pictures(lent.organisation, coat_question(lent.coat, lent.beside))
    return [photo for one in found for photo in (one.before, one.after) if photo]


def _known(key: str) -> SharedSheet | SharedCoatSheet:
    found = shared_sheet(key)
    if found is None:
        raise Http404("There is no such sheet.")
    return found


def _units(lent: LentSheet) -> str:
    """Those of whoever lent it."""
    return lent.made_by.units if lent.made_by else Units.SI


def _photo_of(key: str) -> Address:
    return lambda photo: reverse("lent-photo", args=[key, photo.pk])


def _ended(request: HttpRequest) -> HttpResponse:
    return render(request, "wythe/sheet_ended.html", status=HTTPStatus.GONE)


def _private(response: HttpResponse) -> HttpResponse:
    for name, value in PRIVATE.items():
        response[name] = value
    return response
