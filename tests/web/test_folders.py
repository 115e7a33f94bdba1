"""Records in and out by the browser: checked, looked at, loaded, and taken out as a zip."""

from __future__ import annotations

import csv
import io
import json
import struct
import threading
import zipfile
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import OperationalError
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.models import Load, Photo, Reading, Upload
from inspections.records import uploads
from inspections.records.unpacking import unpack
from inspections.vocabulary import UploadState
from portfolio.domain.refusals import Invalid
from portfolio.models import Building, Change, Reassessment, Section
from tests.support.cast import Cast, client_of

if TYPE_CHECKING:
    from pytest_django import Settings

pytestmark = pytest.mark.django_db

HOUSES = "code,name,street,locality,region,postal_code,country,timezone,year_built\n"
HOUSE = "H1,Kiln House (invented),,,,,,Europe/London,1890\n"
WALLS = (
    "building,code,wall,start_m,length_m,height_m,below_grade_m,substrate,bedding_mortar,adjoins\n"
    "H1,S1,N,0,2.5,2,1.5,brick,lime,soil\n"
)
METER = "code,kind,scale,minimum,maximum,resolution,repeatability\nM1,moisture_meter,relative,0,100,1,2\n"
READ = (
    "building,section,taken_at,quantity,height_mm,depth_mm,instrument,value,unit,qualifier,inspector,note\n"
)
BOOK = {"buildings.csv": HOUSES + HOUSE, "sections.csv": WALLS, "instruments.csv": METER}


def readings(count: int) -> str:
    moments = (f"{2000 + i // 300}-03-01T10:{i // 60 % 60:02}:{i % 60:02}" for i in range(count))
    return READ + "".join(
        f"H1,S1,{moment},surface_moisture,{i},0,M1,40,relative,,,\n" for i, moment in enumerate(moments)
    )


@pytest.fixture(autouse=True)
def media(settings: Settings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.REDIS_URL = ""
    return settings.MEDIA_ROOT


@pytest.fixture
def manager(cast: Cast) -> Client:
    return client_of(cast.manager)


def sent(files: Mapping[str, str | bytes]) -> list[SimpleUploadedFile]:
    return [
        SimpleUploadedFile(name, text.encode() if isinstance(text, str) else text)
        for name, text in files.items()
    ]


def zipped(files: Mapping[str, str | bytes], **options: Any) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", **{"compression": zipfile.ZIP_DEFLATED, **options}) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return out.getvalue()


def check(client: Client, files: Mapping[str, str | bytes]) -> Upload:
    """Send files, and give the upload that the answer leads to."""
    answer = client.post(reverse("records"), {"sent": sent(files)})
    assert answer.status_code == 302, answer.content.decode()
    return Upload.objects.get(pk=answer["Location"].strip("/").rpartition("/")[2])


def page_of(client: Client, upload: Upload) -> str:
    answer = client.get(reverse("upload", args=[upload.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def load(client: Client, upload: Upload) -> None:
    answer = client.post(reverse("upload", args=[upload.pk]))
    assert answer.status_code == 302
    upload.refresh_from_db()


# Checked, then loaded ------------------------------------------------------------------------------------


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


# Hostile files -----------------------------------------------------------------------------------------


def refusal(client: Client, files: Mapping[str, str | bytes]) -> str:
    answer = client.post(reverse("records"), {"sent": sent(files)})
    assert answer.status_code == 200
    assert not Upload.objects.exists()
    text = answer.content.decode()
    assert 'role="alert"' in text
    return text


def locked() -> bytes:
    """A zip whose entry says it is encrypted (APPNOTE 6.3, section 4.4.4, bit 0), in both its headers."""
    content = bytearray(zipped(BOOK, compression=zipfile.ZIP_STORED))
    for sign, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        content[content.index(sign) + flags] |= 1
    return bytes(content)


def many_names() -> bytes:
    return zipped({f"{number}.txt": "" for number in range(20_000)})


def long_form() -> bytes:
    """A zip with the long form's sign at its end."""
    content = zipped(BOOK)
    return content[:-22] + b"PK\x06\x07" + bytes(16) + content[-22:]


def two_ends() -> bytes:
    return zipped(BOOK) + b"PK\x05\x06" + bytes(18)


def torn() -> bytes:
    content = bytearray(zipped(BOOK))
    content[60:80] = b"\xff" * 20
    return bytes(content)


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "no ordinary zip"),
        (b"PK\x03\x04 no zip at all", "no ordinary zip"),
        (zipped({"../buildings.csv": "x"}), "outside itself"),
        (zipped({"/etc/buildings.csv": "x"}), "outside itself"),
        (zipped({"a/../../buildings.csv": "x"}), "outside itself"),
        (zipped({"..\\buildings.csv": "x"}), "outside itself"),
        (zipped({"a/buildings.csv": "x", "b/buildings.csv": "y"}), "twice"),
        (zipped({"readme.txt": "x"}), "None of the files"),
        (zipped({"inner.zip": zipped(BOOK)}), "None of the files"),
        (zipped(BOOK, compression=zipfile.ZIP_LZMA), "uncommon"),
        (zipped(BOOK, compression=zipfile.ZIP_BZIP2), "uncommon"),
        (locked(), "password"),
        (many_names(), "too many files"),
        (zipped({f"{number}.txt": "" for number in range(1500)}), "1,500 files"),
        (long_form(), "no ordinary zip"),
        (two_ends(), "no ordinary zip"),
        (zipped(BOOK)[:-30], "no ordinary zip"),
        (torn(), "damaged"),
    ],
)
def test_a_hostile_zip_is_refused(manager: Client, media: Path, content: bytes, word: str) -> None:
    assert word in refusal(manager, {"book.zip": content})
    assert not [path for path in media.rglob("*") if path.is_file()]


def test_a_zip_bomb_is_stopped_while_it_unpacks(
    manager: Client, media: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("inspections.records.unpacking.MOST_BYTES", 3 * 2**20)
    bomb = bytearray(zipped({"readings.csv": bytes(50 * 2**20)}))
    assert "more than" in refusal(manager, {"book.zip": bytes(bomb)})
    # What the list says of the size is not believed, whether it says more or less.
    said = bomb.index(b"PK\x01\x02") + 24
    bomb[said : said + 4] = struct.pack("<I", 10)
    text = refusal(manager, {"book.zip": bytes(bomb)})
    assert "more than" in text or "damaged" in text
    assert not [path for path in media.rglob("*") if path.is_file()]


@pytest.mark.parametrize(
    ("files", "word"),
    [
        ({}, "Choose the files first"),
        ({"a.zip": zipped(BOOK), "b.zip": zipped(BOOK)}, "one zip alone"),
        ({"a.zip": zipped(BOOK), "buildings.csv": "x"}, "one zip alone"),
        ({"Buildings.xlsx": "x", "../sections.txt": "y"}, "None of the files"),
    ],
)
def test_the_wrong_files_are_refused(manager: Client, files: dict[str, str | bytes], word: str) -> None:
    assert word in refusal(manager, files)


def test_a_file_sent_twice_is_refused(manager: Client) -> None:
    twice = sent({"buildings.csv": HOUSES}) + sent({"buildings.csv": HOUSES})
    assert "twice" in manager.post(reverse("records"), {"sent": twice}).content.decode()


def test_binary_rubbish_in_a_csv_is_a_fault_of_that_file(manager: Client) -> None:
    upload = check(manager, {"buildings.csv": b"\x00\xff\xfe" * 50})
    assert upload.state == UploadState.REFUSED
    assert {error["file"] for error in upload.report["errors"]} == {"buildings.csv"}


def test_too_large_a_request_is_refused_before_it_is_read(manager: Client) -> None:
    answer = manager.post(reverse("records"), {"sent": sent({"readings.csv": bytes(65 * 2**20)})})
    assert answer.status_code == 413
    assert "too much at once" in answer.content.decode()


@settings(max_examples=100)
@given(damage=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), max_size=8))
def test_a_damaged_zip_is_taken_or_refused_and_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, damage: list[tuple[float, int]]
) -> None:
    content = bytearray(zipped(BOOK))
    for place, byte in damage:
        content[int(place * len(content))] = byte
    folder = tmp_path_factory.mktemp("sent")
    (one,) = sent({"book.zip": bytes(content)})
    try:
        unpack([one], folder)
    except Invalid:
        return
    assert {path.name for path in folder.iterdir()} <= set(BOOK)


# Work that takes long --------------------------------------------------------------------------------------


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if a single row were many."""
    monkeypatch.setattr(uploads, "ROWS_AT_ONCE", 1)


@pytest.fixture
def nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the process were killed before its thread began."""
    monkeypatch.setattr(uploads, "_run_beside", lambda pk: None)


def test_many_rows_are_worked_on_beside_the_request(
    manager: Client, slow: None, nobody: None, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks() as callbacks:
        upload = check(manager, BOOK)
    assert len(callbacks) == 1
    answer = manager.get(reverse("upload", args=[upload.pk]))
    assert answer["Refresh"] == "3"
    assert "being checked" in answer.content.decode()
    assert uploads.run(upload.pk)
    answer = manager.get(reverse("upload", args=[upload.pk]))
    assert "Refresh" not in answer
    assert "nothing is saved yet" in answer.content.decode()


def test_work_that_was_cut_off_is_taken_up_again(
    manager: Client, slow: None, nobody: None, django_capture_on_commit_callbacks: Any
) -> None:
    upload = check(manager, BOOK)
    # A process claims it and is killed.
    Upload.objects.update(claimed_at=timezone.now())
    assert not uploads.run(upload.pk)
    with django_capture_on_commit_callbacks() as callbacks:
        page_of(manager, upload)
    assert callbacks == []
    Upload.objects.update(claimed_at=timezone.now() - uploads.GONE - timedelta(seconds=1))
    with django_capture_on_commit_callbacks() as callbacks:
        page_of(manager, upload)
    assert len(callbacks) == 1
    call_command("run_due")
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED
    load(manager, upload)
    assert upload.state == UploadState.LOADING
    call_command("run_due")
    assert Section.objects.count() == 1
    upload.refresh_from_db()
    assert (upload.state, upload.claimed_at) == (UploadState.LOADED, None)


def test_a_load_whose_end_was_not_noted_is_done_once(manager: Client, slow: None, nobody: None) -> None:
    """Killed between the load and the note of it: the second time finds nothing to change."""
    upload = check(manager, BOOK)
    uploads.run(upload.pk)
    load(manager, upload)
    state, _ = uploads._work(Upload.objects.get(pk=upload.pk))
    assert state == UploadState.LOADED
    assert uploads.run(upload.pk)
    assert (Building.objects.count(), Change.objects.count()) == (1, 0)


def test_an_error_of_ours_is_told_and_a_busy_database_waited_for(
    manager: Client, slow: None, nobody: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload = check(manager, BOOK)

    def busy(*_: Any, **__: Any) -> None:
        raise OperationalError("database is locked")

    monkeypatch.setattr(uploads, "load_folder", busy)
    with pytest.raises(OperationalError):
        uploads.run(upload.pk)
    upload.refresh_from_db()
    assert (upload.state, upload.claimed_at) == (UploadState.CHECKING, None)

    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("a secret of the machine")

    monkeypatch.setattr(uploads, "load_folder", broken)
    assert uploads.run(upload.pk)
    text = page_of(manager, upload)
    assert "Stopped" in text
    assert "secret" not in text


def test_a_broker_hears_of_it(
    manager: Client,
    slow: None,
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:
    settings.REDIS_URL = "redis://elsewhere"
    told: list[Any] = []
    monkeypatch.setattr("portfolio.celery.app.send_task", lambda *args, **_: told.append(args))
    with django_capture_on_commit_callbacks(execute=True):
        upload = check(manager, BOOK)
    assert told == [("inspections.tasks.run_upload", [str(upload.pk)])]
    from inspections.tasks import run_upload

    assert run_upload.name == told[0][0]
    run_upload(str(upload.pk))
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED


@pytest.mark.django_db(transaction=True)
def test_the_one_process_loads_thousands_of_rows_by_itself(cast: Cast) -> None:
    client = client_of(cast.manager)
    upload = check(client, {**BOOK, "readings.csv": readings(6_000)})
    _wait_for_threads()
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED, upload.report
    load(client, upload)
    _wait_for_threads()
    upload.refresh_from_db()
    assert upload.state == UploadState.LOADED, upload.report
    assert Reading.objects.count() == 6_000


def _wait_for_threads() -> None:
    for thread in threading.enumerate():
        if thread.name.startswith("upload "):
            thread.join(60)


def test_what_nobody_loads_is_thrown_away_in_time(manager: Client, media: Path) -> None:
    old = check(manager, BOOK)
    Upload.objects.update(sent_at=timezone.now() - uploads.KEPT - timedelta(hours=1))
    new = check(manager, BOOK)
    assert [upload.pk for upload in Upload.objects.all()] == [new.pk]
    assert [path.name for path in (media / "uploads").iterdir()] == [str(new.pk)]
    assert old.pk != new.pk


# Everything out ------------------------------------------------------------------------------------------


def unzipped(client: Client, query: str = "") -> dict[str, bytes]:
    answer = client.get(reverse("export") + query)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/zip"
    assert answer["Content-Disposition"].startswith('attachment; filename="larch-row-')
    assert "private" in answer["Cache-Control"]
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


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
