"""The page on which a trial is planned: walls chosen, lots drawn by a shown seed, and entered."""

from __future__ import annotations

import uuid
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from inspections.domain.planning import TrialPlan, plan_trial
from inspections.models import Trial
from inspections.queries import entry
from inspections.records.entering import enter_row
from inspections.records.tables import ALLOCATIONS
from inspections.web.entry.access import Opened, form_page, opened_to_write, page
from inspections.web.entry.forms import long_text, number
from inspections.web.present import trial_plan as presented
from inspections.web.present import words
from portfolio.domain.refusals import Refusal
from portfolio.models import Section

MOST_YEARS = 50


class PlanForm(forms.Form):
    """The walls that could be in it, the arms, the seed and the years."""

    sections = forms.MultipleChoiceField(
        label="Walls that could be in it",
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Choose the walls.",
            "invalid_choice": "One of these walls can’t be chosen; open the page anew.",
        },
    )
    arms = long_text(
        "Arms",
        "One treatment a line, two at least, in the words by which it will be known.",
        needed="Write the arms, one a line.",
    )
    seed = number(
        "Seed of the lot",
        "Any whole number, said before the lot is drawn. The same seed draws the same lots, so that anybody "
        "can check them; don’t try several.",
        needed="Write a whole number.",
        whole=True,
    )
    years = number(
        "Years", "How long the walls will be followed.", needed="Write a number of years.", whole=True
    )

    def __init__(self, *args: Any, sections: list[Section], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["sections"]
        assert isinstance(field, forms.MultipleChoiceField)
        houses: dict[str, list[tuple[str, str]]] = {}
        for one in sections:
            name = words.section_name(one, alone_on_wall=False)
            houses.setdefault(words.house_name(one.building), []).append((str(one.pk), name))
        field.choices = list(houses.items())

    def clean_arms(self) -> list[str]:
        arms = [line.strip() for line in self.cleaned_data["arms"].splitlines() if line.strip()]
        if len(arms) < 2 or len(set(arms)) < len(arms):
            raise forms.ValidationError("Write two arms or more, each on a line of its own, each different.")
        return arms

    def clean_seed(self) -> int:
        return self._whole("seed", 0, 2**53)

    def clean_years(self) -> int:
        return self._whole("years", 1, MOST_YEARS)

    def _whole(self, name: str, least: int, most: int) -> int:
        text = self.cleaned_data[name].strip()
        if not (text.isascii() and text.isdecimal() and least <= int(text) <= most):
            raise forms.ValidationError(f"Write a whole number from {least} to {most}.")
        return int(text)


@form_page
def plan(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Choose walls and see what a lot would give them; sent, the lots are entered."""
    found: Opened[Trial] = opened_to_write(request, entry.find_trial, pk)
    allotted = entry.allocations(found.organisation, found.record)
    taken = {one.section_id for one in allotted}
    if request.method == "POST" and set(request.GET.getlist("sections")) <= {str(one) for one in taken}:
        return redirect("trial", pk)  # Sent twice: these lots are entered.
    sections = [one for one in entry.every_section(found.organisation) if one.pk not in taken]
    asked = "seed" in request.GET
    today = timezone.localdate()
    start = {
        "arms": "\n".join(sorted({one.arm for one in allotted})),
        "seed": f"{today:%Y%m%d}",
        "years": _usual_years(found.record),
    }
    form = PlanForm(request.GET if asked else None, sections=sections, initial=start)
    planned = None
    if asked and form.is_valid():
        chosen = [one for one in sections if str(one.pk) in form.cleaned_data["sections"]]
        planned = plan_trial(
            found.record,
            chosen,
            form.cleaned_data["arms"],
            seed=form.cleaned_data["seed"],
            years=form.cleaned_data["years"],
            today=today,
        )
        if request.method == "POST" and planned.lots and _entered(found, planned, form):
            count = words.counted(len(planned.lots), "wall")
            messages.success(request, f"{words.capital(count)} are in the trial, as the lot was drawn.")
            return redirect("trial", pk)
    return page(
        request,
        "trial_plan",
        found,
        trial=found.record,
        question=found.record.question or f"Trial {found.record.code}",
        form=form,
        shown=presented.present(found.record, planned, found.user.units) if planned else None,
        cautions=presented.cautions,
    )


def _entered(found: Opened[Trial], planned: TrialPlan, form: PlanForm) -> bool:
    """Enter every lot or none; what is refused is said by the form. Sent twice, it is entered once."""
    try:
        with transaction.atomic():
            for lot in planned.lots:
                section = planned.sections[lot.candidate.building, lot.candidate.section]
                row = {
                    "trial": found.record.code,
                    "building": lot.candidate.building,
                    "section": lot.candidate.section,
                    "arm": lot.arm,
                    "allocated_by": "random",
                    "block": lot.block,
                    "sequence": lot.sequence,
                    "note": f"Drawn by lot, seed {planned.seed}",
                }
                enter_row(
                    table=ALLOCATIONS,
                    organisation=found.organisation,
                    user=found.user,
                    row=row,
                    record_id=uuid.uuid5(found.record.pk, f"{section.pk} {planned.seed}"),
                )
    except Refusal as refused:
        form.add_error(None, str(refused))
        return False
    return True


def _usual_years(record: Trial) -> int:
    if record.started_on and record.planned_end_on:
        return max(round((record.planned_end_on - record.started_on).days / 365.25), 1)
    return 5
