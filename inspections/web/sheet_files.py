"""An evidence sheet as it is answered: a page, or the same in a PDF."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.text import slugify

from inspections.domain.coat_evidence import CoatQuestion, coat_evidence
from inspections.domain.comparing import compare_trial
from inspections.domain.evidence import costs, pictures
from inspections.models import LentSheet, Photo, Trial
from inspections.queries.trials import standing_allocations
from inspections.web.present import coat_sheet as coats_presented
from inspections.web.present import sheet as presented
from inspections.web.present.sheet import Sheet
from inspections.web.present.trial_figures import drawn, legend
from portfolio.domain.refusals import Refusal
from portfolio.models import Organisation

#: Where whoever reads the sheet fetches a photo.
Address = Callable[[Photo], str]


@dataclass(frozen=True, slots=True)
class Asked:
    """A sheet that is asked for: whose, what it is called where it can't be made, and how it is made."""

    organisation: Organisation
    name: str
    made: Callable[[Address, str], Sheet]


def of_trial(trial: Trial) -> Asked:
    """A trial's sheet."""

    def made(address: Address, system: str) -> Sheet:
        allocations = standing_allocations(trial)
        comparison = compare_trial(trial)
        return presented.present(
            trial.question or f"Trial {trial.code}",
            comparison,
            allocations,
            costs(allocations, comparison),
            pictures(allocations, comparison),
            address,
            system,
        )

    return Asked(trial.organisation, f"Trial {trial.code}", made)


def of_coats(organisation: Organisation, question: CoatQuestion) -> Asked:
    """The sheet of a kind of coat, and of one that is set beside it."""

    def made(address: Address, system: str) -> Sheet:
        return coats_presented.present(coat_evidence(organisation, question), address, system)

    return Asked(organisation, " beside ".join(map(coats_presented.name_of, question.kinds)), made)


def as_page(
    request: HttpRequest,
    asked: Asked,
    address: Address,
    system: str,
    lent: LentSheet | None = None,
    **context: Any,
) -> HttpResponse:
    """The sheet as a page; where there can be none, it says why."""
    common = {
        "organisation": asked.organisation,
        "name": asked.name,
        "lent": lent,
        "invented": presented.INVENTED,
        **context,
    }
    try:
        sheet = asked.made(address, system)
    except Refusal as refused:
        return render(request, "wythe/sheet.html", {**common, "refused": str(refused)})
    figure = sheet.figure
    shown = {
        "sheet": sheet,
        "legend": legend(sheet.legend, marked=False),
        "course": drawn(lambda paper: figure(paper, presented.TALL)) if figure else None,
        "foot": presented.foot(sheet, asked.organisation.name, _lent_to(lent)),
    }
    return render(request, "wythe/sheet.html", {**common, **shown})


def trial_content(trial: Trial, system: str) -> bytes:
    """A trial's sheet as a PDF."""
    return _content(of_trial(trial), _nowhere, system, None)


def coats_content(organisation: Organisation, question: CoatQuestion, system: str) -> bytes:
    """The sheet of a kind of coat as a PDF."""
    return _content(of_coats(organisation, question), _nowhere, system, None)


def _nowhere(photo: Photo) -> str:
    """A file holds its photos; they are fetched nowhere."""
    return ""


def _content(asked: Asked, address: Address, system: str, lent: LentSheet | None) -> bytes:
    # What writes it is imported by the first that is asked for.
    from inspections.web.present.sheet_pdf import as_pdf

    sheet, organisation = asked.made(address, system), asked.organisation
    foot = presented.foot(sheet, organisation.name, _lent_to(lent))
    return as_pdf(sheet, foot, organisation.name, system, invented=organisation.is_invented)


def as_file(asked: Asked, address: Address, system: str, lent: LentSheet | None = None) -> HttpResponse:
    """The sheet as a PDF to keep or to send."""
    try:
        content = _content(asked, address, system, lent)
    except Refusal as refused:
        raise Http404(str(refused)) from refused
    day = timezone.localdate().isoformat()
    name = f"{slugify(asked.name) or 'sheet'}-{day}.pdf"
    disposition = content_disposition_header(True, name)
    return HttpResponse(
        content, content_type="application/pdf", headers={"Content-Disposition": disposition or ""}
    )


def _lent_to(lent: LentSheet | None) -> presented.Lent:
    return (lent.for_whom, lent.expires_at.date()) if lent else None
