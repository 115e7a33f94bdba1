"""The page of dew and mould: pictures, sentences, what is missing, and figures to take away."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.domain.room_air import room_air
from inspections.models import LogSeries, LogValue, Reading, Visit
from portfolio.models import Section, Treatment
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, validator
from tests.support.cast import Cast


@pytest.fixture
def section(cast: Cast) -> Section:
    """A cement coat on a wall that is cold and wet behind it, a room that is damp in summer."""
    wall = factories.section(cast.organisation, substrate="brick")
    Treatment.objects.create(
        section=wall, layer=1, kind="parge_coat", binder="portland_cement", applied_on=dt.date(2015, 1, 1)
    )
    today = timezone.localdate()
    for back in range(0, 700, 40):
        day = today - dt.timedelta(days=back)
        swing = -float(np.cos(2 * np.pi * (day.timetuple().tm_yday - 20) / 365))
        visit = Visit.objects.create(building=wall.building, inspector="AB", day=day, entered_by=cast.owner)
        for where, quantity, unit, value in (
            (None, "air_temperature", "degC", 19 + 3 * swing),
            (None, "air_humidity", "percent_rh", 65 + 10 * swing),
            (wall, "in_wall_temperature", "degC", 10 + 5 * swing),
            (wall, "in_wall_humidity", "percent_rh", 92.0),
        ):
            Reading.objects.create(
                building=wall.building,
                section=where,
                visit=visit,
                taken_at=dt.datetime.combine(day, dt.time(10), dt.UTC),
                quantity=quantity,
                unit=unit,
                value=value,
                entered_value=value,
                depth_mm=120 if where else None,
                entered_by=cast.owner,
            )
    return wall


def log_behind(section: Section, owner: object) -> None:
    start = timezone.now() - dt.timedelta(days=60)
    for quantity, unit, value in (
        ("in_wall_temperature", "degC", 18.0),
        ("in_wall_humidity", "percent_rh", 95.0),
    ):
        series = LogSeries.objects.create(
            building=section.building, section=section, quantity=quantity, unit=unit, entered_by=owner
        )
        LogValue.objects.bulk_create(
            LogValue(series=series, at=start + dt.timedelta(hours=6 * step), value=value)
            for step in range(200)
        )


def said(client: Client, section: Section) -> str:
    return client.get(reverse("section-room-air", args=[section.pk])).content.decode()


def test_dew_by_months_and_mould_with_what_was_assumed(cast: Cast, section: Section, client: Client) -> None:
    client.force_login(cast.analyst)
    page = said(client, section)
    assert "Vapour goes from the room into the wall in" in page
    assert "What was read, and what is assumed" in page
    assert "Nothing was logged here for long enough" in page
    assert "licensed practice" in page
    log_behind(section, cast.owner)
    page = said(client, section)
    assert "Mould behind the coat" in page
    assert "On lime or cement the index came to" in page
    assert page.count('role="img"') == 4  # each picture for a desk and for a phone
    assert (
        reverse("section-room-air", args=[section.pk])
        in client.get(reverse("section", args=[section.pk])).content.decode()
    )


def test_figures_are_taken_away(cast: Cast, section: Section, client: Client) -> None:
    client.force_login(cast.analyst)
    log_behind(section, cast.owner)

    def figure(name: str, form: str) -> bytes:
        found = client.get(reverse("section-room-air-figure", args=[section.pk, name, form]))
        assert found.status_code == 200
        assert "attachment" in found["Content-Disposition"]
        return found.content

    rows = list(csv.DictReader(io.StringIO(figure("dew", "csv").decode())))
    assert [row["month"] for row in rows][::11] == ["January", "December"]
    assert all(float(row["least"]) <= float(row["held_g_per_m2"]) <= float(row["most"]) for row in rows)
    assert figure("dew", "svg").startswith(b"<?xml")
    assert figure("mould-behind", "png").startswith(b"\x89PNG")
    days = list(csv.DictReader(io.StringIO(figure("mould-behind", "csv").decode())))
    assert float(days[-1]["sensitive"]) > float(days[0]["sensitive"])
    for name, form in (("mould-face", "svg"), ("dew", "pdf"), ("nothing", "svg")):
        address = reverse("section-room-air-figure", args=[section.pk, name, form])
        assert client.get(address).status_code == 404


def test_without_coat_or_readings_one_sentence_says_what_would_do(cast: Cast, client: Client) -> None:
    client.force_login(cast.owner)
    bare = factories.section(cast.organisation)
    assert "No coat is entered" in said(client, bare)
    Treatment.objects.create(
        section=bare, layer=1, kind="parge_coat", binder="NHL 2", applied_on=dt.date(2015, 1, 1)
    )
    page = said(client, bare)
    assert "Too little was read to reckon this" in page
    assert "in-wall temperature (none in winter, spring, summer and autumn)" in page
    assert 'role="img"' not in page


def test_another_organisations_wall_is_not_there(cast: Cast, section: Section, client: Client) -> None:
    client.force_login(cast.outsider)
    for address in (
        reverse("section-room-air", args=[section.pk]),
        reverse("section-room-air-figure", args=[section.pk, "dew", "csv"]),
    ):
        assert client.get(address).status_code == 404


def test_the_api_gives_the_same(cast: Cast, section: Section) -> None:
    log_behind(section, cast.owner)
    path = f"sections/{section.pk}/dew-and-mould/"
    analyst = Program(cast.analyst, cast.organisation)
    told = json.loads(analyst.get(path).content)
    validator({"$ref": "#/components/schemas/DewAndMould"}).validate(told)
    assert told == room_air(section, timezone.localdate(timezone=section.building.zone)).as_json()
    assert len(told["dew"]["months"]) == 12
    assert told["mould"][0]["days"][-1]["sensitive"] > 0
    then = json.loads(analyst.get(f"{path}?as_of=2016-01-01").content)
    assert (then["dew"], then["mould"]) == (None, [])
    assert then["missing"]["quantities"][0]["quantity"] == "air_temperature"
    assert_problem(analyst.get(f"{path}?colour=red"), 400)
    assert_problem(analyst.get(f"{path}?as_of=soon"), 400)
    assert_problem(analyst.get("sections/nowhere/dew-and-mould/"), 404)
    assert_problem(Program(cast.outsider, cast.other_organisation).get(path), 404)
    assert_problem(Client().get(ROOT + path), 401)
