"""Everything out as a zip that loads again."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.models import Photo
from inspections.vocabulary import UploadState
from portfolio.models import Section
from tests.folders.sending import (
    BOOK,
    check,
    load,
    readings,
    unzipped,
    zipped,
)
from tests.support.cast import Cast

if TYPE_CHECKING:
    pass

pytestmark = pytest.mark.django_db


def test_what_is_taken_out_loads_again_unchanged(manager: Client) -> None:
    load(manager, check(manager, {**BOOK, "readings.csv": readings(5)}))
    out = unzipped(manager)
    assert len(out) == 9
    upload = check(manager, {"all.zip": zipped(out)})
    assert upload.state == UploadState.CHECKED
    assert all(counts["new"] == counts["changed"] == 0 for counts in upload.report["files"].values())
    assert upload.report["files"]["readings"]["unchanged"] == 5


def test_photos_are_taken_out_with_a_list_of_them(manager: Client, cast: Cast, media: Path) -> None:
    from inspections.domain.photos import store_photo
    from tests.photos import pictures

    load(manager, check(manager, BOOK))
    wall = Section.objects.get()
    photo, _ = store_photo(
        building=wall.building,
        section=wall,
        visit=None,
        file=io.BytesIO(pictures.camera_jpeg(taken="2021:07:03 10:20:30")),
        caption="=the foot",
        user=cast.manager,
    )
    lost = Photo.objects.create(
        building=wall.building,
        taken_at=timezone.now(),
        sha256="0" * 64,
        content_type="image/jpeg",
        width=1,
        height=1,
        bytes=1,
    )
    assert "photos.csv" not in unzipped(manager)
    out = unzipped(manager, "?photos=yes")
    first, second = csv.DictReader(io.StringIO(out["photos.csv"].decode()))
    assert (first["section"], first["taken_at"], first["caption"]) == (
        "S1",
        "2021-07-03T10:20:30+01:00",
        "=the foot",
    )
    assert out[first["file"]][:2] == b"\xff\xd8"
    assert first["sha256"] == photo.sha256
    assert (second["sha256"], second["file"]) == (lost.sha256, "")
    upload = check(manager, {"all.zip": zipped(out)})
    assert upload.state == UploadState.CHECKED
    assert "photos.csv" in json.dumps(upload.report["left"])


def test_pages_name_each_thing(manager: Client) -> None:
    text = manager.get(reverse("records")).content.decode()
    assert "Nothing was loaded yet." in text
    load(manager, check(manager, BOOK))
    assert "from sent-files: 3 rows new, 0 changed." in manager.get(reverse("records")).content.decode()
