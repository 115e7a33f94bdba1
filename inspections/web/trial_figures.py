"""A trial's figures as files, and the trials of one question together."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
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
from inspections.web.present.trial_drawings import NAMES, Drawing, figure_of, numbers_of
from inspections.web.present.trial_figures import DESK
from inspections.web.views import member
from portfolio.domain.refusals import Refusal

PICTURES = {"svg": ("image/svg+xml", figures.as_svg), "png": ("image/png", figures.as_png)}
CSV, FOREST = "csv", "forest"


@member
def figure(request: HttpRequest, pk: UUID, name: str, form: str) -> HttpResponse:
    """One of a trial's figures as a picture, or its numbers."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    if name not in (*NAMES, FOREST) or form not in (*PICTURES, CSV):
        raise Http404("No such figure.")
    drawing, numbers = _forest(found.record) if name == FOREST else _of_trial(found.record, name)
    if form == CSV:
        out = io.StringIO()
        csv.writer(out, lineterminator="\r\n").writerows(numbers)
        response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
    else:
        if drawing is None:
            raise Http404("There is nothing to draw yet.")
        kind, written = PICTURES[form]
        response = HttpResponse(written(drawing(DESK)), content_type=kind)
    code = "".join(letter if letter.isalnum() else "-" for letter in found.record.code)
    day = timezone.localdate().isoformat()
    response["Content-Disposition"] = f'attachment; filename="{code}-{name}-{day}.{form}"'
    return response


def _of_trial(trial: Trial, name: str) -> tuple[Drawing | None, Iterator[Sequence[object]]]:
    try:
        comparison = compare_trial(trial)
    except Refusal as refused:
        raise Http404(str(refused)) from refused
    allocations = standing_allocations(trial)
    return figure_of(name, comparison, allocations), numbers_of(name, comparison, allocations)


def _forest(trial: Trial) -> tuple[Drawing | None, Iterator[Sequence[object]]]:
    """The trials of this one's question."""
    together = pool_trials(trial)
    return pooled.forest(trial, together), pooled.numbers_of(together)


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
