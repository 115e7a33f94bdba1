"""What is due: the list, a month, one look to put off or hand over, and the policy behind it."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms as django_forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from inspections.domain.policies import change_policy
from inspections.domain.postponing import hand_over, postpone_plan
from inspections.models import Plan, Policy
from inspections.queries import due as due_queries
from inspections.queries.plans import policy_of
from inspections.records import cells
from inspections.records.faults import Problem
from inspections.web.entry import forms
from inspections.web.entry.access import Opened, form_page, opened, opened_organisation, page, require
from inspections.web.present import dates, words
from inspections.web.present import due as due_page
from inspections.web.refused import told_by
from portfolio.models import Change, Organisation
from portfolio.vocabulary import Role

_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])", re.ASCII)
#: Days that a look is usually put off by, to begin with.
USUALLY = 14
DO = "do"


@form_page
def due_list(request: HttpRequest) -> HttpResponse:
    """Overdue, soon and later; or house by house, or by who is to go."""
    found = opened_organisation(request, list(Role))
    by = request.GET.get("by", "day")
    if by not in due_page.BY:
        raise Http404("No such order.")
    plans = due_queries.rows(found.organisation)
    looked = due_queries.who_looked(found.organisation, plans)
    shown = due_page.present(plans, due_queries.today_at, looked, by)
    return page(
        request, "due", found, shown=shown, by=by, orders=due_page.BY.items(), may_set=_may_set(found)
    )


@form_page
def month(request: HttpRequest) -> HttpResponse:
    """A month's days with what falls due on each."""
    found = opened_organisation(request, list(Role))
    today = timezone.localdate(timezone=ZoneInfo(found.user.timezone))
    asked = _MONTH.fullmatch(request.GET.get("month", f"{today:%Y-%m}"))
    if asked is None or not 1900 < int(asked[1]) < 2900:
        raise Http404("No such month.")
    plans = due_queries.rows(found.organisation)
    shown = due_page.month(plans, int(asked[1]), int(asked[2]), today)
    late = sum(plan.falls_on < due_queries.today_at(plan.building) for plan in plans)
    return page(request, "due_month", found, shown=shown, late=late, days=_WEEK)


_WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


# One look --------------------------------------------------------------------------------------------------


class PostponeForm(django_forms.Form):
    """A later day, and why."""

    postponed_to = forms.day("To", needed="Say the day.")
    reason = forms.long_text("Why", "It stays in the history.", needed="Write why; it stays in the history.")


class HandOverForm(django_forms.Form):
    """Who is to go."""

    person = django_forms.ChoiceField(
        label="Who is to go", error_messages={"required": "Choose somebody.", "invalid_choice": "Choose one."}
    )


@form_page
def item(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Put a look off, or hand it over; and its history."""
    found: Opened[Plan] = opened(request, due_queries.find_plan, pk)
    plan = found.record
    asked = request.POST.get(DO, "") if request.method == "POST" else ""
    today = due_queries.today_at(plan.building)
    later = max(plan.falls_on, today) + dt.timedelta(days=USUALLY)
    postpone = PostponeForm(
        request.POST if asked == "postpone" else None, initial={"postponed_to": later.isoformat()}
    )
    people = HandOverForm(
        request.POST if asked == "hand-over" else None,
        initial={"person": plan.person.username if plan.person else ""},
    )
    field = people.fields["person"]
    assert isinstance(field, django_forms.ChoiceField)
    named = [(one.username, one.get_full_name() or one.username) for one in _writers(found)]
    field.choices = [("", "Choose"), *named]
    if asked == "postpone" and postpone.is_valid() and _postponed(found, postpone):
        messages.success(request, f"Put off to {dates.day(found.record.falls_on)}.")
        return redirect("due-item", pk)
    if asked == "hand-over" and people.is_valid() and _handed_over(found, people):
        messages.success(request, f"Handed over to {people.cleaned_data['person']}.")
        return redirect("due-item", pk)
    return page(
        request,
        "due_item",
        found,
        plan=plan,
        name=due_page.name_of(plan),
        building=plan.building,
        section=plan.section,
        section_name=due_page.name_of(plan),
        lines=_lines(plan, today),
        history=[_changed(change) for change in due_queries.changes_of(found.organisation, plan.pk)],
        postpone=postpone,
        people=people,
    )


def _writers(found: Opened[Plan]) -> Any:
    return due_queries.writers(found.organisation)


def _lines(plan: Plan, today: dt.date) -> list[str]:
    late = f", {dates.span((today - plan.falls_on).days)} late" if plan.falls_on < today else ""
    lines = [f"Due {dates.day(plan.falls_on, today)}{late}: {due_page.why(plan)}."]
    if plan.postponed_to:
        lines.append(due_page.put_off(plan))
    if plan.alone_on and plan.alone_on > plan.due_on:
        lines.append(
            f"It goes with the house’s round; by itself it would be due {dates.day(plan.alone_on, today)}."
        )
    if plan.last_on:
        lines.append(f"Last looked at on {dates.day(plan.last_on)}.")
    if plan.minutes:
        lines.append(f"It takes {due_page.taking(plan.minutes)}, by what was read there last.")
    return lines


def _changed(change: Change) -> str:
    who = change.by.username if change.by else "somebody"
    what = "put off" if "postponed_to" in change.fields else "handed over"
    new = change.fields.get("postponed_to", ["", ""])[1]
    to = f" to {dates.day(dt.date.fromisoformat(new))}" if new else ""
    return f"{change.at:%-d %B %Y}: {what}{to} by {who}. {words.sentence(change.reason)}".rstrip()


def _postponed(found: Opened[Plan], form: PostponeForm) -> bool:
    try:
        day = cells.day(form.cleaned_data["postponed_to"])
    except Problem as problem:
        form.add_error("postponed_to", f"{problem}.")
        return False
    found.record.refresh_from_db()
    with told_by(form):
        postpone_plan(
            plan=found.record,
            organisation=found.organisation,
            user=found.user,
            postponed_to=day,
            reason=form.cleaned_data["reason"][: forms.REASON_LENGTH],
        )
    return not form.errors


def _handed_over(found: Opened[Plan], form: HandOverForm) -> bool:
    with told_by(form):
        hand_over(
            plan=found.record,
            organisation=found.organisation,
            user=found.user,
            username=form.cleaned_data["person"],
        )
    return not form.errors


# The policy ------------------------------------------------------------------------------------------------

SETTERS = (Role.OWNER, Role.MANAGER)


def _may_set(found: Opened[Any]) -> bool:
    return found.role in SETTERS


class PolicyForm(django_forms.Form):
    """How often the walls are looked at; months by what they are found to be."""

    trapped_water_months = forms.number("Holding water, months", needed="Write the months.", whole=True)
    water_entry_months = forms.number("Letting water in, months", needed="Write the months.", whole=True)
    condensation_months = forms.number("Sweating, months", needed="Write the months.", whole=True)
    surface_wear_months = forms.number("Wearing, months", needed="Write the months.", whole=True)
    drying_out_months = forms.number("Drying out, months", needed="Write the months.", whole=True)
    insufficient_data_months = forms.number(
        "Too few readings, months", needed="Write the months.", whole=True
    )
    stable_months = forms.number(
        "Stable, months at the longest",
        "A stable wall is seen at the ends of winter and summer below, and never later than this.",
        needed="Write the months.",
        whole=True,
    )
    late_winter = forms.text("The end of winter", "Month and day, such as 03-01. Empty: no such look.")
    late_summer = forms.text("The end of summer", "Month and day, such as 09-01. Empty: no such look.")
    new_coat_months = forms.text(
        "After a new coat, months",
        "In rising order, such as 1, 3, 6, 12. A coat shows early what it will do.",
    )
    trial_months = forms.number(
        "Sections of a trial, months",
        "From its start on, and at its end.",
        needed="Write the months.",
        whole=True,
    )
    house_months = forms.number(
        "The house as a whole, months",
        "Gutter, downpipe, paving, pipes, window well. Any visit to the house counts.",
        needed="Write the months.",
        whole=True,
    )
    flag_days = forms.number("After a flag is opened, days", needed="Write the days.", whole=True)
    event_days = forms.number(
        "After a flood, heavy rain or a sump failure, days", needed="Write the days.", whole=True
    )
    round_days = forms.number(
        "Sooner for the sake of a round, days at most",
        "Sections of a house are brought together where that costs little: none comes sooner by more than "
        "this, nor by more than a quarter of its own time.",
        needed="Write the days.",
        whole=True,
    )


@form_page
def policy(request: HttpRequest) -> HttpResponse:
    """How often the organisation looks at its walls; for its owners and managers to set."""
    found = opened_organisation(request, list(Role))
    if request.method == "POST":
        require(found, SETTERS)
    standing = policy_of(found.organisation)
    initial = {name: str(getattr(standing, name)) for name in PolicyForm.base_fields}
    form = PolicyForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid() and _set(found, standing, form):
        messages.success(request, "The policy is kept. All houses are planned anew by it.")
        return redirect(f"{reverse('due')}?organisation={found.organisation.slug}")
    return page(request, "policy", found, form=form, may_set=_may_set(found))


def _set(found: Opened[Organisation], standing: Policy, form: PolicyForm) -> bool:
    values: dict[str, Any] = {}
    for name, value in list(form.cleaned_data.items()):
        if name.endswith(("_days", "_months")) and name != "new_coat_months":
            if not value.isascii() or not value.isdigit() or len(value) > 4:
                form.add_error(name, "Write a whole number.")
                continue
            values[name] = int(value)
        else:
            values[name] = value
    if form.errors:
        return False
    with told_by(form):
        change_policy(policy=standing, user=found.user, values=values)
    return not form.errors
