"""Who may open a form. Another organisation's records do not exist; who only reads is told so."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, cast
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from portfolio import queries
from portfolio.models import Membership, Organisation, User
from portfolio.vocabulary import WRITING_ROLES, Role

R = TypeVar("R")
Find = Callable[[Organisation, UUID], R | None]


@dataclass(frozen=True, slots=True)
class Opened(Generic[R]):
    """A record as one of its organisation's people opened it."""

    record: R
    organisation: Organisation
    user: User
    role: str

    @property
    def may_write(self) -> bool:
        return self.role in WRITING_ROLES


def form_page(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Shown and sent by people who are signed in; kept by no cache."""
    return require_http_methods(["GET", "HEAD", "POST"])(never_cache(login_required(view)))


def opened(request: HttpRequest, find: Find[R], pk: UUID) -> Opened[R]:
    """The record, in whichever of the person's organisations has it; sent by those alone who may write."""
    for membership in queries.memberships_of(_user(request)):
        record = find(membership.organisation, pk)
        if record is not None:
            found = Opened(record, membership.organisation, _user(request), membership.role)
            if request.method == "POST":
                require(found, WRITING_ROLES)
            return found
    raise Http404("No such record.")


def opened_to_write(request: HttpRequest, find: Find[R], pk: UUID) -> Opened[R]:
    """The record, for those alone who may write."""
    found = opened(request, find, pk)
    require(found, WRITING_ROLES)
    return found


def opened_organisation(request: HttpRequest, roles: Collection[Role]) -> Opened[Organisation]:
    """The organisation named in the address, or the only one, for people in one of these roles."""
    memberships = list(queries.memberships_of(_user(request)))
    slug = request.GET.get("organisation")
    meant: list[Membership] = [one for one in memberships if slug is None or one.organisation.slug == slug]
    if len(meant) != 1:
        raise Http404("No such organisation, or none chosen.")
    own = meant[0].organisation
    found = Opened(own, own, _user(request), meant[0].role)
    require(found, roles)
    return found


def require(found: Opened[Any], roles: Collection[Role]) -> None:
    if found.role not in roles:
        raise PermissionDenied(f"As {found.role} you only read here.")


def page(request: HttpRequest, template: str, found: Opened[Any], **context: Any) -> HttpResponse:
    """A page of the organisation."""
    common = {
        "organisation": found.organisation,
        "now": timezone.now(),
        "may_write": found.may_write,
        "is_owner": found.role == Role.OWNER,
    }
    return render(request, f"wythe/entry/{template}.html", {**common, **context})


def _user(request: HttpRequest) -> User:
    return cast(User, request.user)
