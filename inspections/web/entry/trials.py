"""Pages of a trial: its question, and which section gets which arm."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from inspections.domain.comparing import compare_trial
from inspections.domain.running import State, running
from inspections.models import Allocation, Trial
from inspections.queries import entry
from inspections.queries.sheets import sheets_of
from inspections.queries.trials import standing_allocations, trials_like
from inspections.records.tables import ALLOCATIONS, TRIALS
from inspections.web.entry import forms, saving
from inspections.web.entry.access import Opened, form_page, opened, opened_organisation, page
from inspections.web.entry.lending import LENDING, links
from inspections.web.present import dates, words
from inspections.web.present import trial as presented
from portfolio.domain.refusals import Refusal
from portfolio.vocabulary import WRITING_ROLES

CAPTION = (
    "Each panel is one block of like walls: the share of the coat that is hollow or has fallen, by years "
    "since the coats went on (upright line). Marks are surveys, lines what they add up to; an arrow is a "
    "survey that saw only a part, and mended area stays counted in. Red dashes: failed from here."
)


@form_page
def new_trial(request: HttpRequest) -> HttpResponse:
    """Ask a question."""
    found = opened_organisation(request, WRITING_ROLES)
    initial = {"outcome": "affected_area_rate", "started_on": timezone.localdate().isoformat()}
    form = forms.TrialForm(request.POST or None, initial=initial, system=found.user.units)
    if request.method == "POST" and form.is_valid():
        trial = saving.enter(found, TRIALS, form, {})
        if trial is not None:
            messages.success(request, "The trial is entered. Now say which section gets which arm.")
            return redirect("trial", trial.pk)
    return page(
        request,
        "work",
        found,
        form=form,
        title="A new trial",
        lead="One question, asked of several sections. A few walls, fairly dealt out, tell more than many "
        "that somebody chose.",
        button="Save, and go on to the sections",
    )


@form_page
def trial(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The sections of a trial with their arms, and one more."""
    found: Opened[Trial] = opened(request, entry.find_trial, pk)
    allocated = entry.allocations(found.organisation, found.record)
    taken = {one.section_id for one in allocated}
    sections = entry.every_section(found.organisation) if found.may_write else []
    form = forms.AllocationForm(
        request.POST or None,
        initial={"allocated_by": allocated[-1].allocated_by if allocated else ""},
        # The one that is sent again is of the list still.
        sections=[
            one for one in sections if one.pk not in taken or str(one.pk) == request.POST.get("section_id")
        ],
        system=found.user.units,
    )
    if request.method == "POST" and form.is_valid():
        entered = saving.enter(found, ALLOCATIONS, form, {"trial": found.record.code})
        if entered is not None:
            messages.success(request, f"{words.capital(str(entered.section))} gets {entered.arm}.")
            return redirect("trial", pk)
    alike = trials_like(found.record).trials
    answer, states, refused = _answered(found.record, found.user.units)
    return page(
        request,
        "trial",
        found,
        trial=found.record,
        answer=answer,
        alike=len(alike) if len(alike) > 1 else 0,
        may_lend=found.role in LENDING,
        lent=[links(request, one) for one in sheets_of(found.record)],
        rounds=presented.rounds(states, timezone.localdate()),
        missing=presented.missing(states),
        refused=refused,
        caption=CAPTION if found.record.outcome == "affected_area_rate" else "",
        question=found.record.question or f"Trial {found.record.code}",
        facts=_facts(found.record),
        arms=sorted({one.arm for one in allocated}),
        lines=[_line(one) for one in allocated],
        form=form,
    )


def _answered(record: Trial, system: str) -> tuple[presented.Answer | None, list[State], str]:
    """The trial's answer with what its walls wait for or, where there can be none, why."""
    try:
        comparison = compare_trial(record)
    except Refusal as refusal:
        return None, [], str(refusal)
    own = standing_allocations(record)
    if not own:
        return None, [], ""
    return presented.present(comparison, own, system), running(own, comparison), ""


def _line(one: Allocation) -> str:
    house, section = one.section.building, one.section
    where = f"{words.house_name(house)}, {words.section_name(section, alone_on_wall=False)}"
    how = one.get_allocated_by_display()
    return f"{where}: {one.arm}, {how}. {words.sentence(one.note)}".rstrip()


def _facts(one: Trial) -> str:
    parts = [
        f"Decided by {words.quantity_name(one.outcome)}".replace("affected area rate", "the affected share")
    ]
    if one.started_on:
        begins = "to begin" if one.started_on > timezone.localdate() else "begun"
        parts.append(f"{begins} {dates.day(one.started_on)}")
    parts += [f"to end {dates.day(one.planned_end_on)}"] if one.planned_end_on else []
    return ", ".join(parts) + "."
