"""The way in."""

from __future__ import annotations

from django.contrib.auth.views import LoginView

from inspections.web.forms import SignInForm


class SignIn(LoginView):
    """Someone already signed in is sent on."""

    template_name = "wythe/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True
