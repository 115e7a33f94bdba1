"""Trials of one question taken together, and a trial's figures taken away."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from django.core.management import call_command
from django.urls import reverse
from PIL import Image

from inspections.analysis.pooling_trials import pool
from inspections.domain.pooling import pool_trials
from inspections.models import Trial
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
    load(cast, tmp_path, "T3", pairs(SLOW, FAST, by="convenience"))
    load(cast, tmp_path, "T4", [replace(wall, arm=wall.arm + "x") for wall in pairs(SLOW, FAST)])
    return first


def test_fair_trials_of_one_question_are_pooled(cast: Cast, three: Trial) -> None:
    found = pool_trials(three)
    assert [(one.trial.code, one.why_not) for one in found.members] == [
        ("T1", ""),
        ("T2", ""),
        ("T3", "the walls were not shared out fairly"),
    ]
    own = [one.comparison.found for one in found.counted]
    assert found.pooled is not None
    assert found.pooled.effect == pool([o.estimate for o in own if o], [o.error for o in own if o]).effect
    assert found.without == []
    said = text_of(client_of(cast.analyst), reverse("trials-together", args=[three.pk]))
    assert "Together 2 trials don’t show that the two differ" in said
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
