"""What lasts, as a page: who sees it, what it says, and what can be taken away."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET

import pytest
from django.test import Client
from django.urls import reverse
from PIL import Image

from inspections.analysis.lifetimes import Interval
from inspections.domain import lasting
from inspections.web.present.lasting import group_name, lived, manner, span
from tests.lives.simulated import Plan, simulate
from tests.lives.stored import store
from tests.support.cast import Cast, client_of

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def member(cast: Cast) -> Client:
    store(simulate(Plan(coats=45), 7), cast.organisation)
    return client_of(cast.analyst)


def page(client: Client, query: str = "", status: int = 200) -> str:
    response = client.get(f"{reverse('what-lasts')}{query}")
    assert response.status_code == status
    return response.content.decode()


def test_only_members_see_it(cast: Cast) -> None:
    assert Client().get(reverse("what-lasts")).status_code == 302
    outsider = client_of(cast.outsider)
    assert outsider.get(f"{reverse('what-lasts')}?organisation=larch-row").status_code == 404
    for figure in ("survival.svg", "survival.png"):
        name, form = figure.split(".")
        address = reverse("what-lasts-figure", args=[name, form])
        assert outsider.get(f"{address}?organisation=larch-row").status_code == 404


def test_without_coats_it_says_so(cast: Cast) -> None:
    text = page(client_of(cast.owner))
    assert "No coats are entered yet" in text
    assert "No coat has both a cost and an area" in text


def test_picture_then_table_then_method(member: Client) -> None:
    text = page(member, "?by=binder,substrate")
    places = [text.index(part) for part in ("strips desk", "<table", "How this is worked out")]
    assert places == sorted(places)
    assert "cement, rubble stone" in text
    assert "EUR of " in text
    assert "<style" not in text
    assert " style=" not in text


def test_groups_are_set_beside_each_other_on_like_walls(member: Client) -> None:
    text = page(member, "?by=binder")
    assert "On walls alike in masonry, " in text
    assert text.count("the others are set beside it") == 2
    assert "dampness before (known of 0 of 4" in text
    assert "alike in masonry" not in page(member, "?by=binder,substrate")


def test_ages_and_checks_stand_beside_what_is_recorded(member: Client) -> None:
    text = page(member, "?by=binder")
    places = [
        text.index(f'id="{part}"')
        for part in ("survival", "ages", "walls", "loss", "costs", "checks", "method")
    ]
    assert places == sorted(places)
    assert "10–20" in text
    assert "removals as failures" in text
    assert "can’t be told" in text


def test_what_takes_long_is_given_when_asked_for(member: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lasting, "MANY_COATS", 10)
    text = page(member, "?by=binder&as_of=2026-01-01")
    assert text.count("this takes some seconds") == 2
    assert "On walls alike" not in text
    assert "by=binder&amp;thorough=yes&amp;as_of=2026-01-01#walls" in text
    assert "On walls alike" in page(member, "?by=binder&as_of=2026-01-01&thorough=yes")
    # A figure that is named is drawn however long it takes.
    found = member.get(f"{reverse('what-lasts-figure', args=['walls', 'svg'])}?by=binder")
    assert found.status_code == 200


def test_every_member_of_any_role(cast: Cast, member: Client) -> None:
    for one in cast.members:
        assert "What lasts" in page(client_of(one))


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("?by=colour", "is nothing that coats are grouped by"),
        ("?as_of=soon", "Write the day as 2024-05-31."),
        ("?discount=90", "less than or equal to 50"),
    ],
)
def test_what_cannot_be_asked_is_said_beside_the_field(member: Client, query: str, message: str) -> None:
    assert message in page(member, query, 400)


def test_a_discount_and_a_day_are_said(member: Client) -> None:
    text = page(member, "?as_of=2012-01-01&discount=3")
    assert "at a discount of 3 % a year" in text
    assert "as_of=2012-01-01" in text


@pytest.mark.parametrize("name", ["survival", "ages", "walls", "loss", "costs", "checks"])
def test_figures_can_be_taken_away(member: Client, name: str) -> None:
    svg = member.get(reverse("what-lasts-figure", args=[name, "svg"]))
    assert svg["Content-Type"] == "image/svg+xml"
    assert svg["Content-Disposition"].startswith(f'attachment; filename="{name}-')
    root = ET.fromstring(svg.content)
    assert root.tag == f"{SVG}svg"
    assert root.get("aria-label")
    classes = {one.get("class") for one in root.iter() if one.get("class")}
    style = root.find(f"{SVG}style")
    assert style is not None
    assert all(f".{one}{{" in style.text for one in classes - {"figure"})
    png = member.get(reverse("what-lasts-figure", args=[name, "png"]))
    picture = Image.open(io.BytesIO(png.content))
    assert picture.size == (2240, round(float(root.get("height", "0")) * 2))
    assert len(picture.convert("L").getcolors() or ()) > 10


def test_the_numbers_of_a_figure_come_from_the_api(member: Client) -> None:
    text = page(member, "?by=binder")
    address = text.split("its numbers as CSV")[0].rsplit('href="', 1)[1].split('"')[0].replace("&amp;", "&")
    response = member.get(address)
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(io.StringIO(response.content.decode(), newline="")))
    assert {row["group.binder"] for row in rows} == {"NHL 3.5", "lime_putty", "portland_cement"}


def test_no_other_figure_and_no_other_form(member: Client) -> None:
    for name, form in (("survival", "pdf"), ("weather", "svg")):
        assert member.get(f"/what-lasts/{name}.{form}").status_code == 404


def test_intervals_in_words() -> None:
    assert span(Interval(14.2, 11.1, 18.9)) == "14 (11 to 19)"
    assert span(Interval(14.2, 11.1, None)) == "14.2 (11.1 to not reached)"
    assert span(Interval(None, 8.2, None)) == "not reached; over 8.2"
    assert span(Interval(None, None, None)) == ""
    assert span(Interval(0.0, None, None)) == "0"
    assert span(Interval(4.0, None, None)) == "4.0 (limits not known)"


def test_an_age_that_no_record_reaches_is_not_told() -> None:
    assert lived(Interval(26.0, 7.0, 6297.0)) == "26 (7 to not reached)"
    assert lived(Interval(450.0, 40.0, None)) == "not reached; over 40"
    assert lived(Interval(14.0, 11.0, 19.0)) == span(Interval(14.0, 11.0, 19.0))


def test_groups_of_few_coats_are_named_in_one_line(cast: Cast) -> None:
    store(simulate(Plan(coats=9), 7), cast.organisation)
    text = page(client_of(cast.analyst), "?by=building")
    assert "Under five coats, too few for a rate of their own: H00001 (1)." in text
    assert 'scope="row">H00000<' in text
    assert 'scope="row">H00001<' not in text


def test_the_manner_of_failing_in_words() -> None:
    assert manner(Interval(2.1, 1.2, 3.6)).startswith("with age")
    assert manner(Interval(0.5, 0.2, 0.9)).startswith("early")
    assert manner(Interval(1.2, 0.6, 2.0)).startswith("can’t tell")
    assert manner(Interval(None, None, None)) == ""


def test_groups_in_words() -> None:
    assert group_name({"binder": "portland_cement", "mix": None}) == "cement, no mix given"
    assert group_name({"building": "H001", "found": "yes"}) == "H001, found standing"
