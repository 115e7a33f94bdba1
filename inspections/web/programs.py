"""The API's description as a page on which requests can be tried."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inspections.queries import pages
from portfolio.models import User

DESCRIPTION = "api/v1/schema/"


@require_safe
@never_cache
def api(request: HttpRequest) -> HttpResponse:
    """Open to everybody, as the description is; what is sent from it needs a token or a session."""
    user = request.user
    slugs = [one.slug for one in pages.organisations_of(user)] if isinstance(user, User) else []
    shown = {"description": reverse("portfolio") + DESCRIPTION, "slugs": slugs, "several": len(slugs) > 1}
    return render(request, "wythe/api.html", shown)
