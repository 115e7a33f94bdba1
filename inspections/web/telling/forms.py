"""The fields of the settings of telling."""

from __future__ import annotations

from functools import cache
from typing import Any
from zoneinfo import available_timezones

from django import forms

from inspections.domain.telling.outward import Refused, checked
from portfolio.vocabulary import Role

REACH_CHOICES = [
    (Role.INSPECTOR.value, "Inspectors"),
    (Role.MANAGER.value, "Inspectors and managers"),
    (Role.OWNER.value, "Inspectors, managers and owners"),
]
HOURS = [(hour, f"{hour:02}:00") for hour in range(24)]


@cache
def zones() -> list[tuple[str, str]]:
    """Every time zone that can be chosen."""
    return [(name, name.replace("_", " ")) for name in sorted(available_timezones())]


class WishesForm(forms.Form):
    """How one person wants to be written to."""

    email = forms.EmailField(
        label="Your address for mails",
        required=False,
        help_text="Without one you get no mails.",
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={"invalid": "Write an address such as name@example.org."},
    )
    wants_mail = forms.BooleanField(label="Write to me", required=False)
    hour = forms.TypedChoiceField(
        label="Hour of the day’s mail",
        choices=HOURS,
        coerce=int,
        help_text="At most one a day, none where there is nothing to tell. What can’t wait comes at once.",
    )
    timezone = forms.ChoiceField(label="Your time zone", choices=zones)


class RulesForm(forms.Form):
    """How an organisation's people are told."""

    is_on = forms.BooleanField(label="Tell people what falls due", required=False)
    before_days = forms.IntegerField(label="Days before", min_value=0, max_value=365)
    before_reach = forms.ChoiceField(label="Who is told before", choices=REACH_CHOICES)
    on_reach = forms.ChoiceField(label="Who is told on the day", choices=REACH_CHOICES)
    after_days = forms.IntegerField(label="Days until it is overdue", min_value=1, max_value=364)
    after_reach = forms.ChoiceField(label="Who is told then", choices=REACH_CHOICES)
    later_days = forms.IntegerField(label="Days until it is long overdue", min_value=2, max_value=365)
    later_reach = forms.ChoiceField(label="Who is told of that", choices=REACH_CHOICES)
    flag_reach = forms.ChoiceField(label="Who is told of a new or worse flag", choices=REACH_CHOICES)
    unanswered_days = forms.IntegerField(label="Days a flag may go unanswered", min_value=1, max_value=365)
    unanswered_reach = forms.ChoiceField(label="Who is told of that flag", choices=REACH_CHOICES)
    danger_reach = forms.ChoiceField(
        label="Who is told at once of a dangerous reading",
        choices=REACH_CHOICES,
        help_text="Radon from the US EPA’s action level on; a sump that stands still in rising water.",
    )


class WebhookForm(forms.Form):
    """A program that is to be told."""

    url = forms.CharField(
        label="Its address",
        max_length=500,
        widget=forms.URLInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
        error_messages={"required": "Write the address that is to be called."},
    )
    of_plans = forms.BooleanField(label="Inspections due and overdue", required=False, initial=True)
    of_flags = forms.BooleanField(label="Flags opened, worse and unanswered", required=False, initial=True)
    of_dangers = forms.BooleanField(label="Readings that can’t wait", required=False, initial=True)

    def clean_url(self) -> Any:
        url = self.cleaned_data["url"]
        try:
            checked(url)
        except Refused as refused:
            raise forms.ValidationError(str(refused)) from refused
        return url
