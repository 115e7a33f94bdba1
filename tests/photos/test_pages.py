"""Photos on a section's page: added, shown in time, and told before or after what was put on."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from inspections.models import Photo
from inspections.web.present.photos import mark_of
from portfolio.models import Section, Treatment
from tests.api import factories
from tests.photos import pictures
from tests.support.cast import Cast, client_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def wall(cast: Cast) -> Section:
    house = factories.building(cast.organisation, code="H1", timezone="America/New_York")
    made = factories.section(cast.organisation, building=house, code="S1")
    factories.treatment(cast.organisation, section=made, applied_on=dt.date(2016, 5, 3))
    return made


@pytest.fixture
def inspector(cast: Cast) -> Client:
    return client_of(cast.inspector)


def send(client: Client, wall: Section, content: bytes | None = None, **fields: Any) -> HttpResponse:
    picture = SimpleUploadedFile("wall.jpg", pictures.camera_jpeg() if content is None else content)
    return client.post(reverse("add-photo", args=[wall.pk]), {"file": picture, **fields})


def page_of(client: Client, wall: Section) -> str:
    answer = client.get(reverse("section", args=[wall.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_photo_is_added_and_shown(inspector: Client, wall: Section) -> None:
    assert "No photo of this section is kept yet." in page_of(inspector, wall)
    answer = send(inspector, wall, caption='the "foot" & <b>', taken_on="2016-05-04")
    assert answer["Location"] == reverse("section", args=[wall.pk]) + "#photos"
    photo = Photo.objects.get()
    assert photo.taken_at == dt.datetime(2016, 5, 4, 16, tzinfo=dt.UTC)  # noon in New York, in summer time
    text = page_of(inspector, wall)
    assert "The photo is kept." in text
    assert 'alt="Photo of 4 May 2016: the &quot;foot&quot; &amp; &lt;b&gt;"' in text
    assert "4 May 2016, <strong>after the 2016 " in text
    assert "<b>" not in text
    assert reverse("photo-thumbnail", args=[photo.pk]) in text
    again = send(inspector, wall)
    assert again.status_code == 302
    assert "was here already" in page_of(inspector, wall)
    assert Photo.objects.count() == 1


def test_the_cameras_time_stands_where_the_day_is_the_same(inspector: Client, wall: Section) -> None:
    content = pictures.camera_jpeg(taken="2016:05:04 09:15:00")
    send(inspector, wall, content, taken_on="2016-05-04")
    assert Photo.objects.get().taken_at == dt.datetime(2016, 5, 4, 13, 15, tzinfo=dt.UTC)


def test_photos_are_shown_in_time_and_voided_ones_not(inspector: Client, wall: Section) -> None:
    for day in (3, 1, 2, 4):
        Photo.objects.create(
            building=wall.building,
            section=wall,
            caption=f"day {day}",
            taken_at=dt.datetime(2020, 1, day, 12, tzinfo=dt.UTC),
            sha256=f"{day:064}",
            content_type="image/jpeg",
            width=4,
            height=3,
            bytes=9,
            voided_at=dt.datetime.now(dt.UTC) if day == 4 else None,
        )
    text = page_of(inspector, wall)
    assert text.index("day 1</span>") < text.index("day 2</span>") < text.index("day 3</span>")
    assert "day 4" not in text


def test_a_refused_picture_is_told_beside_the_form(inspector: Client, wall: Section) -> None:
    for content, word in (
        (b"<svg/>", "JPEG, PNG or WebP"),
        (pictures.camera_jpeg()[:700], "damaged"),
        (pictures.png_that_says(30_000, 30_000), "too large"),
    ):
        answer = send(inspector, wall, content)
        assert answer.status_code == 200
        assert word in answer.content.decode()
    tomorrow = dt.date.today() + dt.timedelta(days=2)
    assert "still to come" in send(inspector, wall, taken_on=tomorrow.isoformat()).content.decode()
    assert "Choose a picture" in inspector.post(reverse("add-photo", args=[wall.pk])).content.decode()
    assert not Photo.objects.exists()


def test_who_adds_and_who_sees(cast: Cast, inspector: Client, wall: Section) -> None:
    send(inspector, wall)
    photo = Photo.objects.get()
    analyst, outsider = client_of(cast.analyst), client_of(cast.outsider)
    assert send(analyst, wall).status_code == 403
    assert "Add a photo" not in page_of(analyst, wall)
    assert send(outsider, wall).status_code == 404
    for name in ("photo", "photo-thumbnail"):
        address = reverse(name, args=[photo.pk])
        answer = analyst.get(address)
        assert b"".join(answer.streaming_content).startswith(b"\xff\xd8")
        assert answer["Content-Type"] == "image/jpeg"
        assert "private" in answer["Cache-Control"]
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Disposition"].startswith('inline; filename="h1-s1-')
        again = analyst.get(address, headers={"if-none-match": answer["ETag"]})
        assert again.status_code == 304
        assert outsider.get(address, headers={"if-none-match": answer["ETag"]}).status_code == 404
        assert Client().get(address)["Location"].startswith(reverse("sign-in"))


def coat(day: dt.date, layer: int = 1) -> Treatment:
    return Treatment(applied_on=day, layer=layer, kind="parge_coat", binder="NHL 2")


@pytest.mark.parametrize(
    ("day", "mark"),
    [
        (dt.date(2009, 12, 31), "before the 2010 NHL 2 lime coat"),
        (dt.date(2010, 6, 1), "on the day of the 2010 NHL 2 lime coat"),
        (dt.date(2015, 1, 1), "after the 2010 NHL 2 lime coat"),
        (dt.date(2021, 1, 1), "after the 2020 NHL 2 lime coat"),
    ],
)
def test_before_and_after_in_words(day: dt.date, mark: str) -> None:
    coats = [coat(dt.date(2020, 3, 1)), coat(dt.date(2010, 6, 1))]
    assert mark_of(day, coats) == mark
    assert mark_of(day, []) == ""
