"""Photos by the API: sent, kept once under their SHA-256, and given to their organisation alone."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import re
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.http import HttpResponse
from django.test import Client
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from PIL import Image

from inspections.models import Photo
from portfolio.models import Section
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, schema_of, validator
from tests.photos import pictures
from tests.support.cast import Cast, client_of

pytestmark = pytest.mark.django_db
URL = f"{ROOT}photos/"


@pytest.fixture
def wall(cast: Cast) -> Section:
    house = factories.building(cast.organisation, code="H1", timezone="America/New_York")
    return factories.section(cast.organisation, building=house, code="S1")


@pytest.fixture
def manager(cast: Cast) -> Program:
    return Program(cast.manager, cast.organisation)


def send(program: Program, wall: Section, content: bytes | None = None, **fields: Any) -> HttpResponse:
    picture = io.BytesIO(pictures.camera_jpeg() if content is None else content)
    picture.name = fields.pop("name", "wall.jpg")
    sent = {"section_id": str(wall.pk), "file": picture, **fields}
    return post(program, {name: value for name, value in sent.items() if value is not None})


def post(program: Program, sent: dict[str, Any]) -> HttpResponse:
    return program._client.generic("POST", URL, encode_multipart(BOUNDARY, sent), MULTIPART_CONTENT)


def content_of(response: Any) -> bytes:
    assert response.status_code == 200, response.content
    return b"".join(response.streaming_content)


# Keeping -----------------------------------------------------------------------------------------------


def test_a_photo_is_kept_under_its_sha_256(manager: Program, wall: Section, media: Path) -> None:
    answer = send(manager, wall, caption="the foot of the wall")
    assert answer.status_code == 201, answer.content
    given = json.loads(answer.content)
    validator(schema_of("photos/{id}/")).validate(given)
    assert (given["building"], given["section"], given["caption"]) == ("H1", "S1", "the foot of the wall")
    content = content_of(manager.get(f"photos/{given['id']}/file/"))
    digest = hashlib.sha256(content).hexdigest()
    assert (given["sha256"], given["bytes"]) == (digest, len(content))
    assert (media / "photos" / digest[:2] / digest[2:4] / f"{digest}.jpg").read_bytes() == content
    # Nothing half-written is left.
    assert sorted(path.name for path in media.rglob("*") if path.is_file()) == [f"{digest}.jpg"] * 2
    small = Image.open(io.BytesIO(content_of(manager.get(f"photos/{given['id']}/thumbnail/"))))
    assert (small.format, max(small.size)) == ("JPEG", 160)
    assert answer["Location"].endswith(f"/photos/{given['id']}/")
    assert answer["ETag"] == '"1"'


def test_the_cameras_time_is_kept_in_the_houses_zone(manager: Program, wall: Section) -> None:
    for said, given, kept in (
        ({"taken": "2021:07:03 10:20:30"}, None, "2021-07-03T14:20:30Z"),
        ({"taken": "2021:07:04 10:20:30", "offset": "+02:00"}, None, "2021-07-04T08:20:30Z"),
        ({"taken": "2021:07:05 10:20:30"}, "2020-01-01T08:00", "2020-01-01T13:00:00Z"),
    ):
        answer = send(manager, wall, _noisy(**said), taken_at=given).json()
        assert answer["taken_at"] == kept


def _noisy(**said: Any) -> bytes:
    """No two are the same picture."""
    noise = Image.effect_noise((60, 40), 80).convert("RGB")
    return pictures.encoded(noise, exif=pictures.exif(**said))


@pytest.mark.parametrize("said", ["2999:01:01 00:00:00", "1970:01:01 00:00:00", "0001:01:01 00:00:00", None])
def test_where_the_camera_knows_no_time_it_is_now(manager: Program, wall: Section, said: str | None) -> None:
    before = dt.datetime.now(dt.UTC)
    answer = send(manager, wall, pictures.camera_jpeg(taken=said)).json()
    assert before <= dt.datetime.fromisoformat(answer["taken_at"]) <= dt.datetime.now(dt.UTC)


def test_the_same_picture_of_a_section_is_the_same_photo(manager: Program, wall: Section, cast: Cast) -> None:
    first = send(manager, wall, taken_at="2021-05-03")
    again = send(manager, wall, caption="another word")
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    elsewhere = send(manager, factories.section(cast.organisation))
    assert elsewhere.status_code == 201
    assert elsewhere.json()["sha256"] == first.json()["sha256"]


def test_the_clients_id_makes_a_repeat_known(manager: Program, wall: Section, cast: Cast) -> None:
    pk = str(uuid4())
    first = send(manager, wall, id=pk, caption="A")
    assert (first.status_code, first.json()["id"]) == (201, pk)
    assert send(manager, wall, id=pk, caption="A").status_code == 200
    assert_problem(send(manager, wall, id=pk, caption="B"), 409)
    assert_problem(send(manager, wall, _noisy(), id=pk, caption="A"), 409)
    theirs = factories.photo(cast.other_organisation)
    assert_problem(send(manager, wall, _noisy(), id=str(theirs.pk)), 409)
    assert Photo.objects.of(cast.organisation).count() == 1


def test_a_voided_picture_is_not_brought_back_in_silence(manager: Program, wall: Section) -> None:
    pk = send(manager, wall).json()["id"]
    manager.send("POST", f"photos/{pk}/void/", {"reason": "the wrong wall"}, **{"if-match": '"1"'})
    assert "voided" in assert_problem(send(manager, wall), 409)["detail"]


# Refusing ------------------------------------------------------------------------------------------------


def test_only_who_may_write_sends_and_only_to_their_own(cast: Cast, wall: Section) -> None:
    assert_problem(send(Program(cast.analyst, cast.organisation), wall), 403)
    for name in ("section_id", "building_id"):
        theirs = factories.section(cast.other_organisation)
        fields = {"section_id": None, name: str(getattr(theirs, "pk" if name[0] == "s" else "building_id"))}
        problem = assert_problem(send(Program(cast.owner, cast.organisation), wall, **fields), 400)
        assert [error["field"] for error in problem["errors"]] == [name]
    visit = factories.visit(cast.other_organisation)
    problem = assert_problem(send(Program(cast.owner, cast.organisation), wall, visit_id=str(visit.pk)), 400)
    assert [error["field"] for error in problem["errors"]] == ["visit_id"]
    assert_problem(Client().post(URL, {}), 401)
    assert Program(cast.inspector, cast.organisation).get("photos/").status_code == 200
    assert not Photo.objects.exists()


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (b"<svg onload='alert(1)'/>", "JPEG, PNG or WebP"),
        (pictures.camera_jpeg()[:900], "damaged"),
        (pictures.png_that_says(30_000, 30_000), "too large"),
        (bytes(25 * 2**20 + 1), "25"),
    ],
    ids=["empty", "svg", "cut off", "bomb", "large"],
)
def test_a_file_that_cant_be_kept_is_named(
    manager: Program, wall: Section, media: Path, content: bytes, word: str
) -> None:
    problem = assert_problem(send(manager, wall, content, name="../../wall.jpg"), 400)
    assert [error["field"] for error in problem["errors"]] == ["file"]
    assert word in problem["detail"]
    assert not media.exists()
    assert not Photo.objects.exists()


def test_too_large_a_request_is_refused_before_it_is_read(manager: Program, wall: Section) -> None:
    assert_problem(send(manager, wall, bytes(27 * 2**20)), 413)
    assert_problem(send(manager, wall, bytes(65 * 2**20)), 413)


def test_fields_are_known_and_sent_once(manager: Program, wall: Section) -> None:
    problem = assert_problem(send(manager, wall, colour="red"), 400)
    assert [error["field"] for error in problem["errors"]] == ["colour"]
    for sent in ({"caption": ["a", "b"]}, {"section_id": "nothing"}, {"taken_at": "soon"}, {"id": "x"}):
        assert_problem(send(manager, wall, **sent), 400)
    assert_problem(send(manager, wall, caption="x" * 501), 400)
    assert_problem(send(manager, wall, caption="a\0b"), 400)
    assert_problem(post(manager, {"section_id": str(wall.pk)}), 400)
    assert_problem(post(manager, {"section_id": str(wall.pk), "file": "text"}), 400)
    assert_problem(post(manager, {f"f{number}": "x" for number in range(1100)}), 400)


def test_only_multipart_is_taken(manager: Program, wall: Section) -> None:
    assert_problem(manager.send("POST", "photos/", {"section_id": str(wall.pk)}), 415)
    broken = manager._client.generic("POST", URL, b"--x\r\nno", "multipart/form-data; boundary=")
    assert_problem(broken, 400)


# Giving --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["file", "thumbnail"])
def test_a_picture_is_given_to_its_organisation_alone(
    cast: Cast, manager: Program, wall: Section, what: str
) -> None:
    path = f"photos/{send(manager, wall).json()['id']}/{what}/"
    for member in cast.members:
        answer = Program(member, cast.organisation).get(path)
        assert content_of(answer).startswith(b"\xff\xd8")
        assert answer["Content-Type"] == "image/jpeg"
        assert "private" in answer["Cache-Control"]
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert re.fullmatch(r'inline; filename="h1-s1-[\d-]+\.jpg"', answer["Content-Disposition"])
    assert_problem(Program(cast.outsider, cast.other_organisation).get(path), 404)
    assert_problem(client_of(cast.outsider).get(ROOT + path), 404)
    assert_problem(Client().get(ROOT + path), 401)
    assert_problem(manager.get(f"{path}?colour=red"), 400)
    assert content_of(manager.get(path, accept="image/avif,image/*,*/*;q=0.8"))
    assert_problem(manager.get(path, accept="application/json"), 406)


def test_a_name_of_the_house_cant_reach_the_header(manager: Program, cast: Cast) -> None:
    house = factories.building(cast.organisation, code='a"\r\n;é/../x')
    answer = send(manager, factories.section(cast.organisation, building=house, code="é"))
    given = manager.get(f"photos/{answer.json()['id']}/file/")
    assert content_of(given)
    assert re.fullmatch(r'inline; filename="[a-z0-9-]+\.jpg"', given["Content-Disposition"])


def test_a_lost_thumbnail_is_made_again_and_a_lost_file_is_told(
    manager: Program, wall: Section, media: Path
) -> None:
    pk = send(manager, wall).json()["id"]
    for place in (media / "thumbnails").rglob("*.jpg"):
        place.unlink()
    assert content_of(manager.get(f"photos/{pk}/thumbnail/"))
    for place in media.rglob("*.jpg"):
        place.unlink()
    for what in ("file", "thumbnail"):
        assert "backup" in assert_problem(manager.get(f"photos/{pk}/{what}/"), 404)["detail"]
