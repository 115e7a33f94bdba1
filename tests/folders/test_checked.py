"""Files sent by the page: checked, looked at, loaded; and by whom."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.test import Client
from django.urls import reverse

from inspections.models import Load, Reading, Upload
from inspections.vocabulary import UploadState
from portfolio.models import Building, Change, Reassessment
from tests.folders.sending import (
    BOOK,
    WALLS,
    check,
    load,
    page_of,
    readings,
    sent,
    unzipped,
    zipped,
)
from tests.support.cast import Cast, client_of

if TYPE_CHECKING:
    pass

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("as_zip", [False, True])
def test_files_are_checked_first_and_loaded_when_told(
    manager: Client, cast: Cast, media: Path, as_zip: bool
) -> None:
    files: Mapping[str, str | bytes] = {**BOOK, "readings.csv": readings(3), "notes.txt": "x"}
    if as_zip:
        files = {"kiln book.zip": zipped({f"folder/{name}": text for name, text in files.items()})}
    upload = check(manager, files)
    assert upload.state == UploadState.CHECKED
    assert not Building.objects.exists()
    text = page_of(manager, upload)
    assert "nothing is saved yet" in text
    assert "notes.txt" in text
    assert upload.report["files"]["readings"] == {"new": 3, "changed": 0, "unchanged": 0}
    load(manager, upload)
    assert upload.state == UploadState.LOADED
    assert Reading.objects.of(cast.organisation).count() == 3
    (done,) = Load.objects.of(cast.organisation)
    assert (done.by, done.source) == (cast.manager, "kiln-book" if as_zip else "sent-files")
    assert Reassessment.objects.filter(building__code="H1").exists()
    assert "<h1>Loaded</h1>" in page_of(manager, upload)
    assert not list(media.rglob("*.csv"))
    load(manager, upload)
    assert Load.objects.count() == 1


def test_the_preview_tells_new_changed_and_unchanged_rows(manager: Client) -> None:
    load(manager, check(manager, BOOK))
    mended = WALLS.replace("2.5", "2.6") + "H1,S2,N,2.6,3,2,1.5,brick,lime,soil\n"
    upload = check(manager, {"buildings.csv": BOOK["buildings.csv"], "sections.csv": mended})
    assert upload.report["files"] == {
        "buildings": {"new": 0, "changed": 0, "unchanged": 1},
        "sections": {"new": 1, "changed": 1, "unchanged": 0},
    }
    load(manager, upload)
    (change,) = Change.objects.filter(model="section")
    assert change.fields == {"length_m": [2.5, 2.6]}
    again = check(manager, {"sections.csv": mended})
    text = page_of(manager, again)
    assert "just as it is in the files" in text
    assert "<button>Load</button>" not in text


def test_what_is_wrong_is_told_by_file_line_and_column(manager: Client, media: Path) -> None:
    upload = check(manager, {**BOOK, "sections.csv": WALLS.replace("brick", "<b>brik</b>")})
    assert upload.state == UploadState.REFUSED
    (fault,) = upload.report["errors"]
    assert (fault["file"], fault["line"], fault["column"]) == ("sections.csv", 2, "substrate")
    text = page_of(manager, upload)
    assert "&lt;b&gt;brik" in text
    assert str(media) not in text
    assert "<button>Load</button>" not in text
    load(manager, upload)
    assert not Building.objects.exists()
    assert not list(media.rglob("*.csv"))


def test_many_faults_are_counted(manager: Client) -> None:
    upload = check(manager, {**BOOK, "readings.csv": readings(80).replace(",40,relative", ",x,relative")})
    assert upload.report["total"] == 80
    assert "And 30 more." in page_of(manager, upload)


# Who may -------------------------------------------------------------------------------------------------


def test_owners_and_managers_load_and_all_members_take_out(cast: Cast) -> None:
    upload = check(client_of(cast.owner), BOOK)
    for person in (cast.inspector, cast.analyst):
        client = client_of(person)
        assert client.post(reverse("records"), {"sent": sent(BOOK)}).status_code == 403
        assert client.get(reverse("upload", args=[upload.pk])).status_code == 403
        assert client.post(reverse("upload", args=[upload.pk])).status_code == 403
        assert "Check the files" not in client.get(reverse("records")).content.decode()
        assert unzipped(client)
    outsider = client_of(cast.outsider)
    for answer in (
        outsider.get(reverse("upload", args=[upload.pk])),
        outsider.post(reverse("upload", args=[upload.pk])),
        outsider.get(reverse("export") + "?organisation=larch-row"),
        outsider.get(reverse("records") + "?organisation=larch-row"),
        outsider.post(reverse("records") + "?organisation=larch-row", {"sent": sent(BOOK)}),
    ):
        assert answer.status_code == 404
    for address in (reverse("records"), reverse("export"), reverse("upload", args=[upload.pk])):
        assert Client().get(address)["Location"].startswith(reverse("sign-in"))
    assert Upload.objects.get().state == UploadState.CHECKED


def test_sending_needs_the_forms_token(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.manager)
    assert client.post(reverse("records"), {"sent": sent(BOOK)}).status_code == 403
    assert not Upload.objects.exists()
