"""Hostile, damaged and wrong files are refused, and nothing is left of them."""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.models import Upload
from inspections.records.unpacking import unpack
from inspections.vocabulary import UploadState
from portfolio.domain.refusals import Invalid
from tests.folders.sending import (
    BOOK,
    HOUSES,
    check,
    sent,
    zipped,
)

if TYPE_CHECKING:
    pass

pytestmark = pytest.mark.django_db


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
