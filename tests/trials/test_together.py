"""Trials of one question taken together, and a trial's figures taken away."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from django.core.management import call_command
from django.urls import reverse
from PIL import Image

from inspections.analysis.pooling_trials import pool
from inspections.domain.pooling import pool_trials
from inspections.models import Trial
from tests.api.client import Program, assert_problem, schema_of, validator
from tests.support.cast import Cast, client_of
from tests.trials.books import QUESTION, Hand, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, pairs
from tests.web.test_pages import text_of

pytestmark = pytest.mark.django_db


def load(cast: Cast, folder: Path, code: str, walls: list[Hand]) -> Trial:
    """A trial in houses of its own."""
    own = [replace(wall, house=f"{code}{wall.house}") for wall in walls]
    write_folder(folder / code, replace(QUESTION, code=code), *build(own))
    call_command("load_records", str(folder / code), organisation=cast.organisation.slug, verbosity=0)
    return Trial.objects.get(code=code)


@pytest.fixture
def three(cast: Cast, tmp_path: Path) -> Trial:
    """Two fair trials of one question, an unfair one, and one of other arms."""
    first = load(cast, tmp_path, "T1", pairs(SLOW, FAST))
    load(cast, tmp_path, "T2", pairs(SLOW, [rate + 0.01 * (i % 3) for i, rate in enumerate(SLOW)]))
    load(cast, tmp_path, "T3", pairs(SLOW[:2], FAST[:2], by="convenience"))
    load(cast, tmp_path, "T4", [replace(wall, arm=wall.arm + "x") for wall in pairs(SLOW[:2], FAST[:2])])
    return first


def test_fair_trials_of_one_question_are_pooled(cast: Cast, three: Trial) -> None:
    found = pool_trials(three)
    assert [(one.trial.code, one.why_not) for one in found.members] == [
        ("T1", ""),
        ("T2", ""),
        ("T3", "the walls were not shared out fairly"),
    ]
    own = [one.comparison.found for one in found.counted if one.comparison]
    assert found.pooled is not None
    assert found.pooled.effect == pool([o.estimate for o in own if o], [o.error for o in own if o]).effect
    assert found.without == []
    said = text_of(client_of(cast.analyst), reverse("trials-together", args=[three.pk]))
    assert "Two trials together don’t show that “A” and “B” differ." in said
    assert "T3: the walls were not shared out fairly." in said
    assert "restricted maximum likelihood" in said
    assert "All 3 trials of this question together" in text_of(
        client_of(cast.analyst), reverse("trial", args=[three.pk])
    )


def test_a_trial_alone_is_not_pooled(cast: Cast, three: Trial) -> None:
    alone = Trial.objects.get(code="T4")
    assert pool_trials(alone).pooled is None
    client = client_of(cast.owner)
    assert "nothing to take together yet" in text_of(client, reverse("trials-together", args=[alone.pk]))
    assert "of this question together" not in text_of(client, reverse("trial", args=[alone.pk]))
    assert client_of(cast.outsider).get(reverse("trials-together", args=[alone.pk])).status_code == 404


def test_figures_are_taken_away_as_pictures_and_numbers(cast: Cast, tmp_path: Path) -> None:
    trial = load(cast, tmp_path, "T1", pairs(SLOW, FAST))
    client = client_of(cast.analyst)

    def file(name: str, form: str) -> bytes:
        response = client.get(reverse("trial-figure", args=[trial.pk, name, form]))
        assert response.status_code == 200
        assert f'filename="T1-{name}-' in response["Content-Disposition"]
        return response.content

    for name in ("courses", "before"):
        assert ElementTree.fromstring(file(name, "svg")).tag.endswith("svg")
    assert Image.open(io.BytesIO(file("difference", "png"))).width == 2240
    rows = list(csv.DictReader(io.StringIO(file("courses", "csv").decode())))
    assert len(rows) == 12 * 5
    assert float(rows[-1]["line"]) == pytest.approx(FAST[-1] * 5, rel=0.01)
    (difference,) = [
        row
        for row in csv.DictReader(io.StringIO(file("difference", "csv").decode()))
        if row["what"] == "difference"
    ]
    assert float(difference["value"]) == pytest.approx(0.021, abs=2e-4)
    assert float(difference["p_value"]) == 2 / 64
    for wrong in (("colours", "svg"), ("courses", "pdf")):
        assert client.get(reverse("trial-figure", args=[trial.pk, *wrong])).status_code == 404
    address = reverse("trial-figure", args=[trial.pk, "courses", "svg"])
    assert client_of(cast.outsider).get(address).status_code == 404


@pytest.fixture
def four(cast: Cast, tmp_path: Path, three: Trial) -> Trial:
    """One more fair trial of the question, and one that can't be answered."""
    load(cast, tmp_path, "T5", pairs(SLOW[:3], FAST[:3]))
    load(cast, tmp_path, "T6", pairs(SLOW[:2], FAST[:2]))
    Trial.objects.filter(code="T6").update(started_on=None, planned_end_on=None)
    return three


def given(program: Program, query: str = "") -> list[dict[str, Any]]:
    response = program.get(f"pooled-trials/?as_of=2019-01-01{query}")
    assert response.status_code == 200
    found = json.loads(response.content)
    validator(schema_of("pooled-trials/")).validate(found)
    assert (found["next"], found["previous"]) == (None, None)
    results: list[dict[str, Any]] = found["results"]
    return results


def test_the_api_gives_each_question_and_says_what_was_left_out(cast: Cast, four: Trial) -> None:
    both = given(Program(cast.analyst, cast.organisation))
    assert [one["arms"] for one in both] == [["A", "B"], ["Ax", "Bx"]]
    found = both[0]
    why = {one["trial"]: one["why_not"] for one in found["trials"]}
    assert (why["T1"], why["T2"], why["T5"]) == ("", "", "")
    assert why["T3"] == "the walls were not shared out fairly"
    assert "started_on" in why["T6"]
    counted = [one for one in found["trials"] if one["counted"]]
    assert sum(one["weight"] for one in counted) == pytest.approx(1)
    pooled = pool([one["estimate"] for one in counted], [one["error"] for one in counted])
    for name, value in (
        ("estimate", pooled.effect), ("low", pooled.low), ("high", pooled.high), ("p_value", pooled.p_value),
        ("between_sd", pooled.between**0.5), ("q", pooled.q), ("next_high", pooled.next_high),
    ):  # fmt: skip
        assert found["pooled"][name] == pytest.approx(value), name
    assert (found["pooled"]["trials"], found["pooled"]["q_df"]) == (3, 2)
    without = {one["trial"]: one["estimate"] for one in found["without"]}
    rest = [one for one in counted if one["trial"] != "T5"]
    assert without["T5"] == pytest.approx(
        pool([one["estimate"] for one in rest], [one["error"] for one in rest]).effect
    )
    assert (both[1]["pooled"], both[1]["without"]) == (None, [])
    assert "Fewer than two fair trials" in both[1]["note"]


def test_the_api_filters_and_refuses(cast: Cast, four: Trial) -> None:
    analyst = Program(cast.analyst, cast.organisation)
    assert [one["arms"] for one in given(analyst, "&trial=T4")] == [["Ax", "Bx"]]
    assert [one["arms"] for one in given(analyst, "&arm=B&outcome=affected_area_rate")] == [["A", "B"]]
    assert given(analyst, "&trial=T9") == given(analyst, "&outcome=crack_width") == []
    for query, name in (
        ("colour=red", "colour"), ("outcome=luck", "outcome"), ("as_of=soon", "as_of"), ("trial=", "trial")
    ):  # fmt: skip
        problem = assert_problem(analyst.get(f"pooled-trials/?{query}"), 400)
        assert [error["parameter"] for error in problem["errors"]] == [name]
    assert_problem(analyst.ask("POST", "pooled-trials/"), 405)
    assert given(Program(cast.outsider, cast.other_organisation)) == []


def test_the_forest_is_taken_away_and_its_numbers_are_those_of_the_api(cast: Cast, four: Trial) -> None:
    client = client_of(cast.analyst)

    def file(form: str) -> bytes:
        response = client.get(reverse("trial-figure", args=[four.pk, "forest", form]))
        assert response.status_code == 200
        return response.content

    drawn = ElementTree.fromstring(file("svg"))
    names = [text.text for text in drawn.iter() if text.get("class") == "strip-name"]
    assert names[2:] == ["T1", "T2", "T3, not counted", "T5", "Together", "One more trial"]
    assert Image.open(io.BytesIO(file("png"))).width == 2240
    rows = list(csv.DictReader(io.StringIO(file("csv").decode())))
    response = Program(cast.analyst, cast.organisation).get("pooled-trials/?trial=T1&format=csv")
    of_api = list(csv.DictReader(io.StringIO(response.content.decode())))
    assert [(row["row"], row["trial"], row["estimate"]) for row in rows] == [
        (row["row"], row["trial"], row["estimate"]) for row in of_api
    ]
    assert [row["row"] for row in rows] == ["trial"] * 5 + ["without"] * 3 + ["together", "one_more_trial"]
    assert (
        client_of(cast.outsider).get(reverse("trial-figure", args=[four.pk, "forest", "csv"])).status_code
        == 404
    )
    alone = Trial.objects.get(code="T4")
    said = text_of(client, reverse("trials-together", args=[alone.pk]))
    assert "nothing to take together yet" in said
