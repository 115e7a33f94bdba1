"""What the room's air does to a section: dew between its layers, the risk of mould, and the figures."""

from __future__ import annotations

import csv
import io
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inspections.domain.room_air import RoomAir, room_air
from inspections.queries import pages
from inspections.web.entry.access import Opened, opened
from inspections.web.present import cautions, figures, words
from inspections.web.present.room_air import NAMES, figure_of, numbers_of, parts
from inspections.web.present.trial_figures import DESK
from inspections.web.views import member
from portfolio.models import Section

PICTURES = {"svg": ("image/svg+xml", figures.as_svg), "png": ("image/png", figures.as_png)}
CSV = "csv"


def _asked(request: HttpRequest, pk: UUID) -> tuple[Opened[Section], RoomAir]:
    found = opened(request, pages.find_section, pk)
    today = timezone.localdate(timezone=found.record.building.zone)
    return found, room_air(found.record, today)


@member
def page(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Dew by months and the mould index, each with what it says and what was assumed."""
    found, told = _asked(request, pk)
    context = {
        "organisation": found.organisation,
        "now": timezone.now(),
        "section": found.record,
        "name": f"{words.wall_name(found.record)}, {words.house_name(found.record.building)}",
        "parts": parts(told, found.user.units),
        "as_of": told.as_of,
        "mould_caution": next(one for one in cautions.CAUTIONS if one.hazard == "Mould"),
        "deferral": cautions.DEFERRAL,
    }
    return render(request, "wythe/room_air.html", context)


@member
def figure(request: HttpRequest, pk: UUID, name: str, form: str) -> HttpResponse:
    """One of the page's figures as a picture, or its numbers."""
    if name not in NAMES or form not in (*PICTURES, CSV):
        raise Http404("No such figure.")
    found, told = _asked(request, pk)
    drawing = figure_of(name, told)
    if drawing is None:
        raise Http404("There is nothing to draw yet.")
    if form == CSV:
        out = io.StringIO()
        csv.writer(out, lineterminator="\r\n").writerows(numbers_of(name, told))
        response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
    else:
        kind, written = PICTURES[form]
        response = HttpResponse(written(drawing(DESK)), content_type=kind)
    code = "".join(letter if letter.isalnum() else "-" for letter in found.record.code)
    response["Content-Disposition"] = f'attachment; filename="{code}-{name}-{told.as_of.isoformat()}.{form}"'
    return response
