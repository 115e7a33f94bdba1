"""What lasts: which coats fail, how fast they lose area, and what a year of their service costs."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inspections.domain import lasting
from inspections.vocabulary import COAT_FIELDS, MOST_DISCOUNT, USUAL_FIELDS, coat_fields
from inspections.web.entry.access import opened_organisation
from inspections.web.present import figures
from inspections.web.present import lasting as said
from inspections.web.present import lasting_checks as beside
from inspections.web.present import lasting_figures as drawn
from inspections.web.views import member
from portfolio.models import Organisation
from portfolio.vocabulary import Role

FORMS = {"svg": ("image/svg+xml", figures.as_svg), "png": ("image/png", figures.as_png)}
#: A figure's list in the API, for those who want its numbers.
LISTS = {
    "survival": "survival",
    "ages": "like-ages",
    "walls": "like-walls",
    "loss": "deterioration-rates",
    "costs": "service-costs",
    "checks": "life-checks",
}
#: Figures of what takes long where there are many coats.
LONG = ("walls", "checks")


class QuestionForm(forms.Form):
    """How to group the coats, and as of which day."""

    by = forms.CharField(label="Group coats by", required=False, widget=forms.Select)
    as_of = forms.DateField(
        label="As known at the end of",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Write the day as 2024-05-31."},
    )
    discount = forms.FloatField(
        label="Discount a year, %",
        required=False,
        min_value=0,
        max_value=MOST_DISCOUNT * 100,
        help_text="What money now is worth more than money in a year. Empty: nothing.",
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )

    thorough = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any) -> None:
        super().__init__(data)
        given = data.get("by", "")
        choices = dict(said.GROUPINGS)
        if given and given not in choices and set(given.split(",")) <= set(COAT_FIELDS):
            choices[given] = given.replace(",", ", ").replace("_", " ")
        self.fields["by"].widget.choices = list(choices.items())

    def clean_by(self) -> tuple[str, ...]:
        """The fields that are named."""
        try:
            return coat_fields(self.cleaned_data["by"]) if self.cleaned_data["by"] else USUAL_FIELDS
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked for: groups, day, discount as a share, and whether to give what takes long too."""

    by: tuple[str, ...] = USUAL_FIELDS
    as_of: dt.date | None = None
    discount: float = 0.0
    thorough: bool = False

    def query(self, organisation: Organisation, **more: str) -> str:
        """The question as the end of an address."""
        parts = {"organisation": organisation.slug, "by": ",".join(self.by), **more}
        return urlencode(parts | ({"as_of": self.as_of.isoformat()} if self.as_of else {}))


def _question(form: QuestionForm) -> Question:
    if not form.is_valid():
        return Question()
    given = form.cleaned_data
    return Question(given["by"], given["as_of"], (given["discount"] or 0.0) / 100, given["thorough"])


@member
def what_lasts(request: HttpRequest) -> HttpResponse:
    """Which coats last: curves, then numbers, then how they were found."""
    found = opened_organisation(request, tuple(Role))
    form = QuestionForm(request.GET)
    asked = _question(form)
    answer = lasting.what_lasts(found.organisation, asked.by, asked.as_of, asked.discount, asked.thorough)
    system = found.user.units
    alike = answer.alike
    context = {
        "organisation": found.organisation,
        "now": timezone.now(),
        "form": form,
        "answer": answer,
        "summary": said.summary(answer.rates),
        "difference": said.difference(answer.rates.test),
        "rates": [said.rate_row(group) for group in said.enough(answer.rates.groups)],
        "few": said.too_few(answer.rates.groups, "a rate of their own"),
        "bands": beside.bands(answer.ages),
        "ages": beside.age_rows(answer.ages),
        "like_ages": beside.like_ages(answer.ages),
        "walls": beside.wall_rows(alike, asked.by) if alike else [],
        "headline": beside.headline(alike, asked.by) if alike else "",
        "left_open": beside.left_open(alike) if alike else "",
        "fates": beside.fate_rows(answer.fates),
        "checks": beside.check_rows(answer.checks),
        "differing": beside.differing(answer.checks),
        "all_of_it": asked.query(found.organisation, thorough="yes"),
        "losses": [said.loss_row(loss) for loss in said.enough(answer.losses)],
        "few_losses": said.too_few(answer.losses, "a rate"),
        "costs": [said.cost_row(cost, system) for cost in said.enough(answer.costs)],
        "few_costs": said.too_few(answer.costs, "a price"),
        "area_unit": said.area_unit(system),
        "discount": f"{asked.discount * 100:g}",
        "figures": {name: _shown(name, answer, asked, found.organisation, system) for name in LISTS},
    }
    return render(request, "wythe/lasting.html", context, status=200 if form.is_valid() else 400)


@member
def figure(request: HttpRequest, name: str, form: str) -> HttpResponse:
    """One of the page's figures as a file."""
    if name not in LISTS or form not in FORMS:
        raise Http404("No such figure.")
    found = opened_organisation(request, tuple(Role))
    asked = _question(QuestionForm(request.GET))
    thorough = asked.thorough or name in LONG
    answer = lasting.what_lasts(found.organisation, asked.by, asked.as_of, asked.discount, thorough)
    picture = drawn.figure(name, answer, drawn.DESK, found.user.units)
    if picture is None:
        raise Http404("There is nothing to draw yet.")
    kind, written = FORMS[form]
    response = HttpResponse(written(picture), content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{name}-{answer.rates.as_of}.{form}"'
    return response


def _shown(
    name: str, answer: lasting.WhatLasts, asked: Question, organisation: Organisation, system: str
) -> dict[str, Any]:
    """A figure for desk and phone, with the ends of the addresses under which it can be taken away."""
    wide, narrow = (drawn.figure(name, answer, sheet, system) for sheet in (drawn.DESK, drawn.PHONE))
    more = {"discount": f"{asked.discount:g}"} if name == "costs" and asked.discount else {}
    percent = {"discount": f"{asked.discount * 100:g}"} if more else {}
    return {
        "name": name,
        "desk": figures.on_page(wide, "strips desk") if wide else "",
        "phone": figures.on_page(narrow, "strips phone") if narrow else "",
        "query": asked.query(organisation, **percent),
        "list": f"{LISTS[name]}/?{asked.query(organisation, format='csv', **more)}",
    }
