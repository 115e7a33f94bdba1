"""Who is in the organisation and in which role; for its owners."""

from __future__ import annotations

from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from inspections.queries import entry
from inspections.web.entry import forms
from inspections.web.entry.access import Opened, form_page, opened_organisation, page
from portfolio.domain.memberships import change_role, let_in
from portfolio.domain.refusals import Invalid, Refusal
from portfolio.models import Organisation
from portfolio.vocabulary import Role

#: The domain's names of the form's fields.
_FIELDS = {"user": "username", "password": "password"}
ROLES = (
    (Role.OWNER, "everything, and who else is in"),
    (Role.MANAGER, "reads and writes every record"),
    (Role.INSPECTOR, "reads and writes every record, as one who goes round"),
    (Role.ANALYST, "reads only"),
)


@form_page
def people(request: HttpRequest) -> HttpResponse:
    """List the members, let somebody in, or give a role."""
    found = opened_organisation(request, [Role.OWNER])
    form = forms.MemberForm(
        request.POST if "username" in request.POST else None, initial={"membership_id": uuid4()}
    )
    refused = ""
    if request.method == "POST" and "member" in request.POST:
        refused = _change_role(found, request.POST["member"], request.POST.get("role", ""))
        if not refused:
            messages.success(request, "The role is changed.")
            return _back(found)
    elif request.method == "POST" and form.is_valid() and _let_in(found, form):
        messages.success(request, f"{form.cleaned_data['username']} is in.")
        return _back(found)
    return page(
        request,
        "people",
        found,
        members=entry.members(found.organisation),
        choices=Role.choices,
        roles=[(role.label, text) for role, text in ROLES],
        form=form,
        refused=refused,
    )


def _let_in(found: Opened[Organisation], form: forms.MemberForm) -> bool:
    given = form.cleaned_data
    try:
        let_in(
            organisation=found.organisation,
            by=found.user,
            username=given["username"],
            role=given["role"],
            password=given["password"] or None,
            membership_id=given["membership_id"],
        )
    except Invalid as refused:
        for name, text in refused.errors:
            form.add_error(_FIELDS.get(name), text)
        return False
    except Refusal as refused:
        form.add_error(None, str(refused))
        return False
    return True


def _change_role(found: Opened[Organisation], pk: str, role: str) -> str:
    """Give a member another role; why not, where it is refused."""
    try:
        membership = entry.find_membership(found.organisation, UUID(pk))
    except ValueError:
        membership = None
    if membership is None:
        raise Http404("No such member.")
    if role not in Role.values:
        return "Choose one of the roles of the list."
    try:
        change_role(membership=membership, by=found.user, role=role)
    except Refusal as refused:
        return str(refused)
    return ""


def _back(found: Opened[Organisation]) -> HttpResponse:
    return redirect(f"{reverse('people')}?organisation={found.organisation.slug}")
