"""Records in and out by the browser: sent, checked, looked at, loaded; and everything as a zip."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast
from uuid import UUID

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from inspections.queries.uploads import find_upload, latest_loads
from inspections.records import uploads
from inspections.records.packing import export_zip
from inspections.records.unpacking import KNOWN, MOST_BYTES, Sent
from inspections.web.entry.access import form_page, opened, opened_organisation, page, require
from inspections.web.present import loads
from portfolio.domain.refusals import Invalid
from portfolio.files import private_file
from portfolio.vocabulary import Role

LOADING_ROLES = (Role.OWNER, Role.MANAGER)
#: The page of work in progress asks again after so long.
REFRESH_S = 3
LINK = "records"


class SeveralFiles(forms.FileInput):
    allow_multiple_selected = True


class SendForm(forms.Form):
    """CSV files, or one zip of them."""

    sent = forms.FileField(
        label="CSV files, or a zip of them",
        required=False,
        help_text=f"Named as in an export: {', '.join(KNOWN)}. "
        f"Unpacked, at most {MOST_BYTES // 2**20} MiB together.",
        widget=SeveralFiles(attrs={"accept": ".csv,.zip,text/csv,application/zip"}),
    )


@form_page
def records(request: HttpRequest) -> HttpResponse:
    """Send records to be checked; or take everything out."""
    found = opened_organisation(request, LOADING_ROLES if request.method == "POST" else tuple(Role))
    form = SendForm()
    if request.method == "POST":
        form = SendForm(request.POST)
        try:
            upload = uploads.receive(organisation=found.organisation, user=found.user, sent=_sent(request))
        except Invalid as refused:
            form.is_valid()
            for _, text in refused.errors:
                form.add_error("sent", text)
        else:
            return redirect("upload", upload.pk)
    return page(
        request,
        "records",
        found,
        form=form,
        may_load=found.role in LOADING_ROLES,
        loads=loads.lines(latest_loads(found.organisation), timezone.get_current_timezone()),
    )


@form_page
def upload(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What checking or loading came to, or how far it is; sent, it says to load."""
    found = opened(request, find_upload, pk)
    require(found, LOADING_ROLES)
    if request.method == "POST":
        uploads.confirm(found.record)
        return redirect("upload", pk)
    uploads.take_up(found.record)
    response = page(request, "upload", found, shown=loads.present(found.record))
    if found.record.state in uploads.WORKING:
        response["Refresh"] = str(REFRESH_S)
    return response


@require_safe
@login_required
def export(request: HttpRequest) -> HttpResponseBase:
    """Every record of the organisation as a zip, with `?photos=yes` the photos too."""
    found = opened_organisation(request, tuple(Role))
    packed = export_zip(found.organisation, with_photos=request.GET.get("photos") == "yes")
    name = f"{slugify(found.organisation.slug)}-{timezone.localdate().isoformat()}.zip"
    return private_file(packed, "application/zip", name, download=True)


def _sent(request: HttpRequest) -> Sequence[Sent]:
    return cast(Any, request.FILES.getlist("sent"))
