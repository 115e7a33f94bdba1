"""The pages' forms."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from portfolio.models import User


class SignInForm(AuthenticationForm):
    """Name and password; one message for both, so that it doesn't tell which names exist."""

    error_messages = {
        "invalid_login": "This name and password don’t belong together. "
        "Look at capital letters and try again.",
        "inactive": "This account is closed. Ask the owner of the organisation to open it again.",
    }


class UnitsForm(forms.ModelForm):
    """Which units a person reads in."""

    class Meta:
        model = User
        fields = ("units",)
