"""Photos on pages: adding one to a section, and the picture itself after scoping."""

from __future__ import annotations

from collections.abc import Callable
from typing import BinaryIO, cast
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_safe

from inspections.domain.photos import PictureMissing, file_name, open_picture, open_thumbnail, store_photo
from inspections.models import Photo
from inspections.queries import pages
from inspections.queries.photos import find_photo
from inspections.web.entry.access import form_page, opened, opened_to_write, page
from inspections.web.present import words
from portfolio.domain.refusals import Conflict, Invalid
from portfolio.files import private_file
from portfolio.models import Section


class PhotoForm(forms.Form):
    """A picture, what it shows, and when it was taken."""

    file = forms.FileField(
        label="Picture",
        help_text="From the camera or the album: JPEG, PNG or WebP. Its position is not kept.",
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={"required": "Choose a picture, or take one.", "empty": "The file is empty."},
    )
    caption = forms.CharField(label="What it shows", max_length=500, required=False)
    taken_on = forms.DateField(
        label="Taken on",
        required=False,
        help_text="Left empty, it is the day that the camera wrote into the picture.",
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={"invalid": "Write the day as 2024-05-31."},
    )


@form_page
def add_photo(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Add a photo to a section."""
    found = opened_to_write(request, pages.find_section, pk)
    form = PhotoForm(request.POST, request.FILES) if request.method == "POST" else PhotoForm()
    if form.is_valid():
        try:
            _, is_new = store_photo(
                building=found.record.building,
                section=found.record,
                visit=None,
                file=cast(BinaryIO, form.cleaned_data["file"].file),
                taken_on=form.cleaned_data["taken_on"],
                caption=form.cleaned_data["caption"],
                user=found.user,
            )
        except Invalid as refused:
            for field, text in refused.errors:
                form.add_error(field if field in form.fields else None, text)
        except Conflict as refused:
            form.add_error("file", str(refused))
        else:
            messages.success(request, "The photo is kept." if is_new else "This photo was here already.")
            return redirect(f"{reverse('section', args=[pk])}#photos")
    return page(
        request,
        "photo",
        found,
        form=form,
        building=found.record.building,
        section=found.record,
        section_name=_name(found.record),
    )


@require_safe
@login_required
def picture(request: HttpRequest, pk: UUID) -> HttpResponseBase:
    """A photo as it is kept."""
    return _answer(request, pk, open_picture)


@require_safe
@login_required
def thumbnail(request: HttpRequest, pk: UUID) -> HttpResponseBase:
    """A photo, small."""
    return _answer(request, pk, open_thumbnail)


def _answer(request: HttpRequest, pk: UUID, opening: Callable[[Photo], BinaryIO]) -> HttpResponseBase:
    photo = opened(request, find_photo, pk).record
    tag = f'"{photo.sha256}"'
    # Looked at before the file is opened, which somebody would have to close.
    unchanged = get_conditional_response(request, etag=tag)
    if unchanged is not None:
        return unchanged
    try:
        response = private_file(opening(photo), photo.content_type, file_name(photo))
    except PictureMissing:
        raise Http404("The picture's file is not on this machine.") from None
    response["ETag"] = tag
    return response


def _name(section: Section) -> str:
    return words.section_name(section, alone_on_wall=False)
