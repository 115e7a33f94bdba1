"""What is refused, in words that say the mend; and then nothing has changed."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from pytest_django import Settings

from inspections.models import Photo
from portfolio.models import Organisation, User
from tests.backup.filled import DIGEST, fill
from tests.records.state import everything

Contents = dict[str, bytes]


@pytest.fixture(autouse=True)
def media(settings: Settings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path / "media"
    return settings.MEDIA_ROOT


@pytest.fixture
def backup(db: None, tmp_path: Path) -> Path:
    """A good backup; the database it was made of is empty again, and so is the folder for files."""
    path = tmp_path / "backup.zip"
    fill()
    call_command("backup", str(path))
    for photo in (tmp_path / "media").rglob("*.jpg"):
        photo.unlink()
    from inspections.backup.contents import tables

    for table in reversed(tables()):
        table._default_manager.all()._raw_delete("default")
    return path


def changed(backup: Path, change: Callable[[Contents], object]) -> Path:
    """A copy of the backup with other contents."""
    with zipfile.ZipFile(backup) as archive:
        contents = {name: archive.read(name) for name in archive.namelist()}
    change(contents)
    path = backup.with_name("changed.zip")
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in contents.items():
            archive.writestr(name, content)
    return path


def stamped(**values: Any) -> Callable[[Contents], object]:
    def change(contents: Contents) -> None:
        contents["backup.json"] = json.dumps(json.loads(contents["backup.json"]) | values).encode()

    return change


def with_row(table: str, **values: Any) -> Callable[[Contents], object]:
    """The first row of a table with other values."""

    def change(contents: Contents) -> None:
        first, *others = contents[f"tables/{table}.jsonl"].splitlines(keepends=True)
        contents[f"tables/{table}.jsonl"] = b"".join(
            [json.dumps(json.loads(first) | values).encode(), b"\n", *others]
        )

    return change


def without_last_row(contents: Contents) -> None:
    rows = contents["tables/inspections.reading.jsonl"].splitlines(keepends=True)
    contents["tables/inspections.reading.jsonl"] = b"".join(rows[:-1])


def photo_named(name: str) -> Callable[[Contents], object]:
    def change(contents: Contents) -> None:
        contents[name] = contents.pop(f"media/{DIGEST[:2]}/{DIGEST}.jpg")

    return change


def test_a_good_backup_is_restored(backup: Path, media: Path) -> None:
    call_command("restore", str(backup))
    assert Photo.objects.get().sha256 == DIGEST
    assert (media / DIGEST[:2] / f"{DIGEST}.jpg").exists()


@pytest.mark.django_db
def test_a_database_with_anything_in_it_is_left_alone(backup: Path) -> None:
    User.objects.create_user("somebody")
    before = everything()
    with pytest.raises(CommandError, match=r"not empty .*portfolio\.user.*DATABASE_URL"):
        call_command("restore", str(backup))
    assert everything() == before


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (stamped(format=2, program="9.9"), r"newer version \(9\.9, format 2\)"),
        (
            stamped(migrations=["inspections.0001_initial", "inspections.9999_later"], program="9.9"),
            r"newer version \(9\.9, inspections\.9999_later\)\. Bring this installation up to that version",
        ),
        (stamped(tables={"inspections.later": 1}), r"knows no table inspections\.later"),
        (with_row("portfolio.organisation", colour="red"), r"knows no colour of portfolio\.organisation"),
        (with_row("portfolio.organisation", failure_threshold=7), "does not fit"),
        (with_row("portfolio.organisation", entered_at="yesterday"), "does not fit"),
        (with_row("portfolio.building", organisation_id="0" * 32), "does not fit"),
        (without_last_row, r"damaged: inspections\.reading has 5 of 6 rows"),
        (lambda contents: contents.pop("tables/inspections.reading.jsonl"), "not a whole backup"),
        (lambda contents: contents.pop("backup.json"), "not a whole backup"),
        (photo_named("media/../../escaped.jpg"), "outside its folder"),
        (photo_named("media//escaped.jpg"), "outside its folder"),
        (photo_named("elsewhere.jpg"), "damaged: of 1 files it has 0"),
    ],
)
def test_an_unfit_backup_changes_nothing(
    backup: Path, media: Path, change: Callable[[Contents], object], said: str
) -> None:
    with pytest.raises(CommandError, match=said):
        call_command("restore", str(changed(backup, change)))
    assert not Organisation.objects.exists()
    assert not [path for path in media.rglob("*") if path.is_file()]
    assert not list(backup.parent.parent.glob("escaped*"))


def test_a_file_that_is_cut_off_is_refused(backup: Path) -> None:
    cut = backup.with_name("cut.zip")
    cut.write_bytes(backup.read_bytes()[:-100])
    with pytest.raises(CommandError, match="not a whole backup"):
        call_command("restore", str(cut))


def test_a_missing_file_is_named(backup: Path) -> None:
    with pytest.raises(CommandError, match=r"nowhere\.zip cannot be used: No such file"):
        call_command("restore", str(backup.with_name("nowhere.zip")))


def test_another_file_of_the_same_name_is_not_written_over(backup: Path, media: Path) -> None:
    other = media / DIGEST[:2] / f"{DIGEST}.jpg"
    other.write_bytes(b"another")
    with pytest.raises(CommandError, match="is there already, with other content"):
        call_command("restore", str(backup))
    assert other.read_bytes() == b"another"
    assert not Organisation.objects.exists()


def test_a_backup_is_not_written_over(backup: Path) -> None:
    before = backup.read_bytes()
    with pytest.raises(CommandError, match="is there already; give the backup another name"):
        call_command("backup", str(backup))
    assert backup.read_bytes() == before
    assert not list(backup.parent.glob("*.partial"))


@pytest.mark.django_db
def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match=r"cannot be written: No such file"):
        call_command("backup", str(tmp_path / "nowhere" / "backup.zip"))
