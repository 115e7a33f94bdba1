"""Pages of a house's papers: a new one, one to correct or close, and its document."""

from __future__ import annotations

from typing import BinaryIO, cast
from uuid import UUID

from django import forms as django_forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.views.decorators.http import require_safe

from inspections.domain.documents import DocumentMissing, document_name, open_document, store_document
from inspections.queries import due as due_queries
from inspections.queries import entry, pages
from inspections.records.further import PAPERS
from inspections.web.entry import forms, saving
from inspections.web.entry.access import Opened, form_page, opened, opened_to_write, page
from inspections.web.present import papers, words
from portfolio.domain.refusals import Invalid, Refusal
from portfolio.files import private_file
from portfolio.models import Building, Organisation, Paper
from portfolio.vocabulary import PaperKind, PaperState


class PaperForm(forms.RowForm):
    """A paper with its day."""

    kind = forms.choice("What it is", PaperKind.choices, needed="Choose what it is.")
    title = forms.text("What it is about", needed="Write what it is about.", maxlength="200")
    due_on = forms.day("By when", "The day by which something must be done, or on which it ends.")
    issued_by = forms.text("Who issued it", "The authority, or the neighbour.", maxlength="200")
    reference = forms.text("Its number", "As it stands on the paper.", maxlength="100")
    issued_on = forms.day("Issued on")
    section = forms.choice("Wall", [], "Where it concerns one wall only.", empty="The house as a whole")
    note = forms.long_text("Note")
    state = forms.choice("State", PaperState.choices, needed="Choose its state.")
    closed_on = forms.day("Closed on", "Only for one that is closed.")

    def __init__(
        self, *args: object, organisation: Organisation, building: Building, **kwargs: object
    ) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        sections = entry.sections_of(organisation, building)
        field = self.fields["section"]
        assert isinstance(field, django_forms.ChoiceField)
        named = [(one.code, words.section_name(one, alone_on_wall=False)) for one in sections]
        field.choices = [("", "The house as a whole"), *named]


class DocumentForm(django_forms.Form):
    """The paper itself."""

    file = django_forms.FileField(
        label="Document",
        help_text="A PDF, or a photo of the sheet. Only people of your organisation can open it.",
        widget=django_forms.FileInput(attrs={"accept": "application/pdf,image/*"}),
        error_messages={"required": "Choose a file.", "empty": "The file is empty."},
    )


@form_page
def new_paper(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A paper that came for a house."""
    found = opened_to_write(request, pages.find_building, pk)
    form = PaperForm(
        request.POST or None,
        initial={"state": PaperState.OPEN.value},
        organisation=found.organisation,
        building=found.record,
        system=found.user.units,
    )
    if request.method == "POST" and form.is_valid():
        paper = saving.enter(found, PAPERS, form, {"building": found.record.code})
        if paper is not None:
            messages.success(request, "The paper is kept. Add the document itself below.")
            return redirect("paper", paper.pk)
    return page(
        request,
        "work",
        found,
        form=form,
        building=found.record,
        title="A paper",
        lead="A violation, a permit, an authority’s inspection, leave to work from the neighbour’s side.",
        button="Save",
    )


@form_page
def paper(request: HttpRequest, pk: UUID) -> HttpResponse:
    """A paper: its day, its state, its document."""
    found: Opened[Paper] = opened(request, due_queries.find_paper, pk)
    own = found.record
    uploads = request.method == "POST" and "file" in request.FILES
    corrects = request.method == "POST" and "title" in request.POST
    form = PaperForm(
        request.POST if corrects else None,
        initial=_initial(own),
        organisation=found.organisation,
        building=own.building,
        system=found.user.units,
    )
    document = DocumentForm(
        None if corrects or request.method != "POST" else request.POST, request.FILES or None
    )
    if corrects and form.is_valid() and saving.correct(found, PAPERS, form, "corrected on its page"):
        messages.success(request, "The paper is corrected.")
        return redirect("paper", pk)
    if uploads and document.is_valid() and _stored(found, document):
        messages.success(request, "The document is kept.")
        return redirect("paper", pk)
    return page(
        request,
        "paper",
        found,
        paper=own,
        building=own.building,
        line=papers.line(own),
        document_line=papers.document_line(own),
        form=form,
        document=document,
    )


@require_safe
@login_required
def document(request: HttpRequest, pk: UUID) -> HttpResponseBase:
    """A paper's document, to be saved."""
    own = opened(request, due_queries.find_paper, pk).record
    try:
        return private_file(open_document(own), own.content_type, document_name(own), download=True)
    except DocumentMissing:
        raise Http404("No document is kept with this paper on this machine.") from None


def _initial(own: Paper) -> dict[str, str]:
    names = ("kind", "title", "reference", "issued_by", "note", "state")
    days = ("due_on", "issued_on", "closed_on")
    given = {name: getattr(own, name) for name in names}
    given |= {name: day.isoformat() for name in days if (day := getattr(own, name))}
    return given | {"section": own.section.code if own.section else ""}


def _stored(found: Opened[Paper], form: DocumentForm) -> bool:
    file = cast(BinaryIO, form.cleaned_data["file"].file)
    try:
        store_document(paper=found.record, file=file, organisation=found.organisation, user=found.user)
    except Invalid as refused:
        for _, text in refused.errors:
            form.add_error("file", text)
        return False
    except Refusal as refused:
        form.add_error(None, str(refused))
        return False
    return True
