"""What a section's page tells of its past."""

from __future__ import annotations

import datetime as dt
from typing import Any
from xml.etree.ElementTree import fromstring

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis.results import HYPOTHESES
from inspections.web.present import replay, replay_svg, time_axis
from tests.api import factories
from tests.support.cast import Cast

DAY = dt.date(2015, 3, 1)


def look(number: int, verdict: str, shares: list[float] | None = None) -> dict[str, Any]:
    shares = shares or [1.0 + (name == verdict) for name in HYPOTHESES]
    day = DAY + dt.timedelta(days=180 * number)
    probability = {name: share / sum(shares) for name, share in zip(HYPOTHESES, shares, strict=True)}
    return {"as_of": day.isoformat(), "verdict": verdict, "probability": probability}


@pytest.mark.parametrize(
    ("verdicts", "told"),
    [
        (["stable"], "At the one visit, on 1 March 2015: stable."),
        (["stable"] * 3, "The same at all 3 visits since 1 March 2015: stable."),
        (
            ["insufficient_data", "stable", "stable", "trapped_water"],
            "No verdict from 1 March 2015 (1 visit); then stable from 28 August 2015 (2 visits); then "
            "trapped water from 22 August 2016 (1 visit).",
        ),
        (
            ["stable", "trapped_water"] * 3,
            "The verdict changed 5 times in 6 visits. Of late: stable from 24 February 2016 (1 visit); then "
            "trapped water from 22 August 2016 (1 visit); then stable from 18 February 2017 (1 visit); then "
            "trapped water from 17 August 2017 (1 visit).",
        ),
    ],
)
def test_the_past_in_a_sentence(verdicts: list[str], told: str) -> None:
    assert replay.course([look(i, verdict) for i, verdict in enumerate(verdicts)]) == told


def test_the_flag_that_would_have_opened() -> None:
    sure, doubtful = [8.0, 1, 1, 0, 0, 0], [3.0, 1, 1, 0.5, 0.5, 0]
    held = [look(0, "stable"), look(1, "trapped_water", sure), look(2, "trapped_water", doubtful)]
    opened = "Unanswered, a flag for trapped water would have opened on 28 August 2015 and"
    assert replay.flags(held) == [f"{opened} be open still."]
    assert replay.flags([*held, look(3, "stable")]) == [f"{opened} closed on 22 August 2016."]
    assert replay.flags([look(0, "stable"), look(1, "trapped_water", doubtful)]) == []


@given(
    st.lists(st.lists(st.floats(1e-9, 1), min_size=6, max_size=6), min_size=1, max_size=30),
    st.sampled_from([time_axis.DESK, time_axis.PHONE]),
)
def test_any_past_gives_a_drawing_within_its_paper(rows: list[list[float]], sheet: time_axis.Sheet) -> None:
    looks = [look(i, "stable", row) for i, row in enumerate(rows)]
    rules = [time_axis.Rule(16600.0, "lime coat 2015")]
    drawn = replay_svg.draw(looks, rules, 22000.0, sheet, "told")
    assert "nan" not in drawn
    for text in fromstring(drawn).iter("text"):
        assert 0 <= float(text.get("x", "nan")) <= sheet.width


def test_a_page_shows_the_past_and_says_what_is_hindsight(cast: Cast, client: Client) -> None:
    now = factories.assessment(cast.organisation)
    client.force_login(cast.analyst)
    address = reverse("section", args=[now.section_id])
    assert b"What would have been said" not in client.get(address).content
    factories.replay(cast.organisation, section=now.section)
    page = client.get(address).content.decode()
    assert "What would have been said at each visit" in page
    assert "3 of 22 readings of this section were entered more than a week after they were taken" in page
