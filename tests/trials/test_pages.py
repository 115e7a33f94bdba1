"""A trial's page: what it says to whom, and that what it draws is what was found."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.models import Allocation, Plan, Trial
from inspections.web.present import dates
from portfolio.models import Building
from tests.support.cast import Cast, client_of
from tests.trials.books import QUESTION, Hand, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, pairs
from tests.web.test_pages import text_of

pytestmark = pytest.mark.django_db


def load(cast: Cast, folder: Path, walls: list[Hand]) -> Trial:
    write_folder(folder, QUESTION, *build(walls))
    call_command("load_records", str(folder), organisation=cast.organisation.slug, verbosity=0)
    return Trial.objects.get(organisation=cast.organisation)


@pytest.fixture
def six(cast: Cast, tmp_path: Path) -> str:
    """The address of the page of six pairs that all point one way."""
    return reverse("trial", args=[load(cast, tmp_path / "book", pairs(SLOW, FAST)).pk])


def drawings(client: Client, address: str) -> list[ElementTree.Element]:
    page = client.get(address).content.decode()
    found = re.findall(r'<svg[^>]*class="(?:strips|swatch) trial[^>]*>.*?</svg>', page, re.DOTALL)
    return [ElementTree.fromstring(one) for one in found]


def test_the_page_says_first_what_was_learned(cast: Cast, six: str) -> None:
    for member in cast.members:
        said = text_of(client_of(member), six)
        assert said.index("“B” fails faster than “A” on these walls.") < said.index("How it was computed")
    assert said.index("What it does not tell") < said.index("How it was computed")
    assert "it is the coat" in said
    assert "2.1 % of the wall more a year" in said
    assert "smallest p this trial could give 0.031" in said


def test_it_is_another_organisations_and_nobodys(cast: Cast, six: str, client: Client) -> None:
    assert client_of(cast.outsider).get(six).status_code == 404
    assert client.get(six).status_code == 302


def test_the_picture_has_a_panel_for_each_pair_at_desk_and_phone(cast: Cast, six: str) -> None:
    found = drawings(client_of(cast.owner), six)
    named = [one for one in found if "strips" in str(one.get("class"))]
    assert len(named) == 6  # Courses, difference and the walls before, each twice.
    for one in named[:2]:
        names = [text.text for text in one.iter("text") if text.get("class") == "strip-name"]
        assert names == [f"House H{i} (invented)" for i in range(6)]
        assert len([path for path in one.iter("path") if path.get("class", "").startswith("course-")]) == 12
    assert "95 % interval" in str(named[2].get("aria-label"))


def test_an_unfair_trial_says_so_before_anything_else_is_made_of_it(cast: Cast, tmp_path: Path) -> None:
    walls = pairs(SLOW, FAST, by="judgement")
    walls = [
        Hand(**{**vars(one), "damp": 30.0 + (9 - i % 4) * (one.arm == "A")}) for i, one in enumerate(walls)
    ]
    said = text_of(client_of(cast.owner), reverse("trial", args=[load(cast, tmp_path / "book", walls).pk]))
    assert "This trial can’t tell “A” and “B” apart." in said
    assert "by judgement, not by lot" in said
    assert "“B” was given the better walls" in said
    assert "fails faster" not in said


def test_one_pair_is_told_what_it_would_take(cast: Cast, tmp_path: Path) -> None:
    trial = load(cast, tmp_path / "book", [Hand("A", 0.01), Hand("B", 0.05)])
    said = text_of(client_of(cast.owner), reverse("trial", args=[trial.pk]))
    assert "One pair can’t separate the coat from the wall it was put on." in said
    assert re.search(r"takes about \d+ pairs of walls", said)


def test_a_trial_that_can_be_answered_by_nobody(cast: Cast, tmp_path: Path) -> None:
    trial = load(cast, tmp_path / "book", pairs(SLOW, FAST))
    Trial.objects.update(started_on=None, planned_end_on=None)
    said = text_of(client_of(cast.owner), reverse("trial", args=[trial.pk]))
    assert "It can’t be answered as it was set up" in said
    assert "enter its started_on" in said


def test_what_is_missing_is_named(cast: Cast, tmp_path: Path) -> None:
    walls = pairs(SLOW, FAST)
    walls[3] = replace(walls[3], surveyed=False, damp=None)
    said = text_of(client_of(cast.owner), reverse("trial", args=[load(cast, tmp_path / "book", walls).pk]))
    assert "House H1 (invented), North wall (S04) has not been surveyed since its coat." in said
    assert "House H1 (invented), North wall (S04) was not read before its coat." in said


def test_what_is_due_leads_to_the_sheet_for_the_round(cast: Cast, six: str) -> None:
    houses = list(Building.objects.order_by("code"))
    for days, house in ((-40, houses[1]), (30, houses[0])):
        for section in house.sections.all():
            Plan.objects.create(
                building=house,
                section=section,
                reason="policy",
                due_on=timezone.localdate() + dt.timedelta(days=days),
                alone_on=timezone.localdate() + dt.timedelta(days=days),
            )
    client = client_of(cast.owner)
    said = text_of(client, six)
    late = dates.day(timezone.localdate() - dt.timedelta(days=40))
    due = dates.day(timezone.localdate() + dt.timedelta(days=30))
    first = f"House H1 (invented): two walls, overdue since {late}"
    second = f"House H0 (invented): two walls, due {due}"
    assert said.index(first) < said.index(second)
    assert "Nothing is missing: every wall was read before its coat and surveyed since." not in said
    round_sheet = reverse("round", args=[houses[1].pk])
    href = re.search(rf'href="({round_sheet}[^"]*)"', client.get(six).content.decode())
    assert href
    assert client.get(href[1]).status_code == 200


def test_a_trial_without_sections_only_asks_for_them(cast: Cast) -> None:
    trial = Trial.objects.create(
        organisation=cast.organisation, code="T1", outcome="affected_area_rate", started_on="2018-04-01"
    )
    said = text_of(client_of(cast.owner), reverse("trial", args=[trial.pk]))
    assert "No section is in it yet." in said
    assert not Allocation.objects.exists()


def test_names_are_escaped(cast: Cast, tmp_path: Path) -> None:
    walls = [replace(one, arm=f"<b>{one.arm}</b>") for one in pairs(SLOW, FAST)]
    trial = load(cast, tmp_path / "book", walls)
    page = client_of(cast.owner).get(reverse("trial", args=[trial.pk])).content.decode()
    assert "<b>A" not in page
    assert "&lt;b&gt;A" in page
