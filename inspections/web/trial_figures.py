"""A trial's figures as files, and the trials of one question together."""

from __future__ import annotations

import csv
import io
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inspections.domain.comparing import compare_trial
from inspections.domain.pooling import pool_trials
from inspections.models import Trial
from inspections.queries import entry
from inspections.queries.trials import standing_allocations
from inspections.web.entry.access import Opened, opened
from inspections.web.present import figures, pooled
from inspections.web.present.trial_drawings import NAMES, figure_of, numbers_of
from inspections.web.present.trial_figures import DESK
from inspections.web.views import member
from portfolio.domain.refusals import Refusal

PICTURES = {"svg": ("image/svg+xml", figures.as_svg), "png": ("image/png", figures.as_png)}
CSV = "csv"


@member
def figure(request: HttpRequest, pk: UUID, name: str, form: str) -> HttpResponse:
    """One of a trial's figures as a picture, or its numbers."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    if name not in NAMES or form not in (*PICTURES, CSV):
        raise Http404("No such figure.")
    try:
        comparison = compare_trial(found.record)
    except Refusal as refused:
        raise Http404(str(refused)) from refused
    allocations = standing_allocations(found.record)
    if form == CSV:
        out = io.StringIO()
        csv.writer(out, lineterminator="\r\n").writerows(numbers_of(name, comparison, allocations))
        response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
    else:
        drawing = figure_of(name, comparison, allocations)
        if drawing is None:
            raise Http404("There is nothing to draw yet.")
        kind, written = PICTURES[form]
        response = HttpResponse(written(drawing(DESK)), content_type=kind)
    code = "".join(letter if letter.isalnum() else "-" for letter in found.record.code)
    response["Content-Disposition"] = f'attachment; filename="{code}-{name}-{comparison.as_of}.{form}"'
    return response


@member
def together(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The trials of this one's question, each and together."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    context = {
        "organisation": found.organisation,
        "now": timezone.now(),
        "trial": found.record,
        "question": found.record.question or f"Trial {found.record.code}",
        "shown": pooled.present(found.record, pool_trials(found.record)),
    }
    return render(request, "wythe/trials_together.html", context)
