"""Documents of papers by the API: of two types alone, private, and kept under their SHA-256."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from portfolio.models import Change, Paper
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem
from tests.photos import pictures
from tests.support.cast import Cast

PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"


@pytest.fixture
def manager(cast: Cast) -> Program:
    return Program(cast.manager, cast.organisation)


@pytest.fixture
def paper(cast: Cast) -> Paper:
    house = factories.building(cast.organisation, code="H1")
    return factories.paper(cast.organisation, building=house, title="Loose coping / “areaway”")


def send(program: Program, paper: Paper, content: bytes, tag: str = '"1"', **more: Any) -> Any:
    file = io.BytesIO(content)
    file.name = "anything.html"
    body = encode_multipart(BOUNDARY, {"file": file, **more})
    path = f"{ROOT}papers/{paper.pk}/document/"
    return program._client.generic("POST", path, body, MULTIPART_CONTENT, headers={"if-match": tag})


def content_of(response: Any) -> bytes:
    assert response.status_code == 200, response.content
    return b"".join(response.streaming_content)


def test_a_pdf_is_kept_as_it_was_sent(manager: Program, paper: Paper, media: Path) -> None:
    answer = send(manager, paper, PDF)
    assert (answer.status_code, answer["ETag"]) == (200, '"2"'), answer.content
    digest = hashlib.sha256(PDF).hexdigest()
    assert (answer.json()["sha256"], answer.json()["content_type"]) == (digest, "application/pdf")
    assert [path.name for path in media.rglob("*") if path.is_file()] == [f"{digest}.pdf"]
    given = manager.get(f"papers/{paper.pk}/document/")
    assert content_of(given) == PDF
    assert given["Content-Type"] == "application/pdf"
    assert given["Content-Disposition"] == 'attachment; filename="h1-violation-loose-coping-areaway.pdf"'
    assert (given["X-Content-Type-Options"], given["Cache-Control"]) == ("nosniff", "private, no-store")


def test_a_picture_is_kept_without_its_metadata(manager: Program, paper: Paper) -> None:
    sent = pictures.camera_jpeg()
    answer = send(manager, paper, sent)
    assert answer.json()["content_type"] == "image/jpeg"
    kept = content_of(manager.get(f"papers/{paper.pk}/document/"))
    assert kept[:2] == b"\xff\xd8"
    assert pictures.SECRET.encode() not in kept


def test_a_newer_one_takes_its_place_and_the_history_keeps_the_first(manager: Program, paper: Paper) -> None:
    first = send(manager, paper, PDF).json()["sha256"]
    assert_problem(send(manager, paper, PDF + b"\n"), 412)
    second = send(manager, paper, PDF.replace(b"1.4", b"1.7"), '"2"').json()["sha256"]
    changes = Change.objects.filter(record_id=paper.pk).order_by("at")
    assert [change.fields["sha256"] for change in changes] == [["", first], [first, second]]


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<html><script>alert(1)</script>",
        b"%PDF-1.4 cut off",
        b"PK\x03\x04 a zip",
        b"\xff\xd8\xff broken",
    ],
)
def test_other_types_are_refused(manager: Program, paper: Paper, content: bytes, media: Path) -> None:
    problem = assert_problem(send(manager, paper, content), 400)
    assert [error["field"] for error in problem["errors"]] == ["file"]
    assert not [path for path in media.rglob("*") if path.is_file()]
    paper.refresh_from_db()
    assert (paper.revision, paper.sha256) == (1, "")


def test_it_is_the_organisation_s_alone(cast: Cast, manager: Program, paper: Paper) -> None:
    send(manager, paper, PDF)
    path = f"papers/{paper.pk}/document/"
    assert_problem(Client().get(ROOT + path), 401)
    outsider = Program(cast.outsider, cast.other_organisation)
    assert_problem(outsider.get(path), 404)
    assert_problem(send(outsider, paper, PDF, "*"), 404)
    analyst = Program(cast.analyst, cast.organisation)
    assert content_of(analyst.get(path)) == PDF
    assert_problem(send(analyst, paper, PDF, "*"), 403)


def test_one_that_is_not_there_is_told_so(manager: Program, paper: Paper, media: Path) -> None:
    path = f"papers/{paper.pk}/document/"
    assert "no document" in assert_problem(manager.get(path), 404)["detail"]
    send(manager, paper, PDF)
    for file in media.rglob("*.pdf"):
        file.unlink()
    assert_problem(manager.get(path), 404)
    assert_problem(send(manager, paper, PDF, '"2"', colour="red"), 400)
