"""The evidence sheet of a kind of coat: chosen, read, kept as a PDF, and lent by a link."""

from __future__ import annotations

from functools import partial
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from inspections.domain.coat_evidence import CoatKind, CoatQuestion, coat_kinds, coat_question
from inspections.domain.sheets import share_coat_sheet
from inspections.models import SharedCoatSheet
from inspections.queries.sheets import coat_sheets_of
from inspections.web.entry.access import Opened, form_page, opened_organisation
from inspections.web.entry.lending import LENDING, lend_by_form, links
from inspections.web.present.coat_sheet import name_of, title
from inspections.web.present.words import capital, counted
from inspections.web.sheet_files import as_file, as_page, of_coats
from inspections.web.sheets import own_photo
from inspections.web.views import member
from portfolio.domain.refusals import Invalid
from portfolio.models import Organisation
from portfolio.vocabulary import Role


class ChoiceForm(forms.Form):
    """A kind of coat, and one to set it beside."""

    coat = forms.ChoiceField(label="The coat that it is about")
    beside = forms.ChoiceField(label="Beside it, what the reader is used to", required=False)

    def __init__(self, data: Any, kinds: list[tuple[CoatKind, int]]) -> None:
        super().__init__(data)
        choices = [
            (str(kind), f"{capital(name_of(kind))} ({counted(coats, 'coat')})") for kind, coats in kinds
        ]
        for name, first in (("coat", []), ("beside", [("", "nothing")])):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = [*first, *choices]


@member
def choose(request: HttpRequest) -> HttpResponse:
    """Which coat the sheet is to be about; and the links to such sheets that were lent."""
    found = opened_organisation(request, tuple(Role))
    may_lend = found.role in LENDING
    kinds = coat_kinds(found.organisation)
    start = {"coat": str(kinds[0][0]), "beside": str(kinds[1][0]) if len(kinds) > 1 else ""} if kinds else {}
    context = {
        "organisation": found.organisation,
        "now": timezone.now(),
        "form": ChoiceForm(start or None, kinds),
        "kinds": kinds,
        "may_lend": may_lend,
        "lent": [_link(request, one) for one in coat_sheets_of(found.organisation)] if may_lend else [],
    }
    return render(request, "wythe/coat_sheets.html", context)


def _link(request: HttpRequest, one: SharedCoatSheet) -> dict[str, object]:
    question = coat_question(one.coat, one.beside)
    return {**links(request, one), "about": _title(question)}


@member
def sheet(request: HttpRequest) -> HttpResponse:
    """The sheet for the organisation's own people."""
    found, question = _opened(request)
    asked = _query(found.organisation, question)
    context: dict[str, Any] = {
        "back": f"{reverse('coat-sheets')}?organisation={found.organisation.slug}",
        "back_to": "Another sheet",
        "file": f"{reverse('coat-sheet-file')}?{asked}",
        "lend": f"{reverse('lend-coat-sheet')}?{asked}" if found.role in LENDING else "",
    }
    return as_page(request, of_coats(found.organisation, question), own_photo, found.user.units, **context)


@member
def sheet_file(request: HttpRequest) -> HttpResponse:
    """The same as a PDF."""
    found, question = _opened(request)
    return as_file(of_coats(found.organisation, question), own_photo, found.user.units)


@form_page
def lend(request: HttpRequest) -> HttpResponse:
    """Make a link to the sheet."""
    found, question = _opened(request, LENDING)
    back = f"{reverse('coat-sheets')}?organisation={found.organisation.slug}"
    share = partial(
        share_coat_sheet,
        organisation=found.organisation,
        coat=str(question.coat),
        beside=str(question.beside or ""),
        user=found.user,
    )
    context = {
        "organisation": found.organisation,
        "name": "of coats",
        "about": _title(question),
        "back": back,
        "back_to": "Sheets of coats",
    }
    said = "The link is made; it is among the links below."
    return lend_by_form(request, share, f"{back}#lent", said, context)


def _opened(
    request: HttpRequest, roles: tuple[Role, ...] = tuple(Role)
) -> tuple[Opened[Organisation], CoatQuestion]:
    """Whose coats, and which; the address of no coat is no page."""
    found = opened_organisation(request, roles)
    try:
        return found, coat_question(request.GET.get("coat", ""), request.GET.get("beside", ""))
    except Invalid as refused:
        raise Http404(str(refused)) from refused


def _title(question: CoatQuestion) -> str:
    return title(*map(name_of, question.kinds))


def _query(organisation: Organisation, question: CoatQuestion) -> str:
    return urlencode(
        {
            "organisation": organisation.slug,
            "coat": str(question.coat),
            "beside": str(question.beside or ""),
        }
    )
