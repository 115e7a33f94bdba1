"""The page that explains the method: the figures of the packaged evidence, and the owner's opening ledger."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any
from xml.etree.ElementTree import fromstring

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.analysis.alarms import FALSE_OPENINGS, LIMITS
from inspections.analysis.assessment import model_version
from inspections.domain.openings import AT_RANDOM, BY_WORTH, opening_ledger
from inspections.models import Reading
from inspections.web.present import method, plots_svg
from portfolio.models import Event, Section
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, validator
from tests.support.cast import Cast

TOLD: dict[str, Any] = json.loads(method.FILE.read_text(encoding="utf-8"))
TODAY = dt.date(2026, 6, 1)


def test_the_evidence_is_of_the_model_and_the_limits_in_use() -> None:
    """Made again by `python -m tests.simulation.evidence` where the model or the limits change."""
    assert TOLD["model"] == model_version()
    used = {flag["verdict"]: (flag["opens"], flag["closes"]) for flag in TOLD["flags"]}
    assert used == {verdict: (limits.opens, limits.closes) for verdict, limits in LIMITS.items()}
    assert {row["name"] for row in TOLD["generators"]} == set(method.NAMES)
    for flag in TOLD["flags"]:
        assert flag["rate"] <= FALSE_OPENINGS


@pytest.mark.parametrize(
    ("draw", "rows"),
    [
        (plots_svg.reliability, TOLD["reliability"]),
        (plots_svg.lead, TOLD["lead"]["called"]),
        (plots_svg.operating, TOLD["kits"]),
        (plots_svg.adds, TOLD["adds"]),
    ],
)
def test_figures_are_drawn_within_their_paper_and_named(draw: Any, rows: list[dict[str, Any]]) -> None:
    root = fromstring(draw(rows))
    assert root.get("role") == "img"
    assert len(root.get("aria-label", "")) > 40
    wide = float(root.get("viewBox", "").split()[2])
    for text in root.iter("text"):
        assert 0 <= float(text.get("x", "nan")) <= wide


def opened(section: Section, day: dt.date, moisture: float | None, reader: Any) -> None:
    Event.objects.create(
        building=section.building, section=section, happened_on=day, kind="opening", entered_by=reader
    )
    if moisture is not None:
        reading = factories.reading(
            section.building.organisation,
            section=section,
            quantity="deep_moisture",
            unit="percent_mass",
        )
        Reading.objects.filter(pk=reading.pk).update(value=moisture, qualifier="")
        type(reading.visit).objects.filter(pk=reading.visit_id).update(day=day)


def test_the_ledger_counts_openings_with_a_measure_and_a_look_before(cast: Cast) -> None:
    walls = []
    for _ in range(4):
        assessment = factories.assessment(cast.organisation, trapped=0.9)
        factories.replay(cast.organisation, section=assessment.section)
        walls.append(assessment.section)
    day = factories.DAY + dt.timedelta(days=30)
    opened(walls[0], day, 9.0, cast.owner)
    opened(walls[1], day + dt.timedelta(days=1), 2.0, cast.owner)
    opened(walls[2], day, None, cast.owner)
    opened(walls[3], factories.DAY, 9.0, cast.owner)
    ledger = opening_ledger(cast.organisation, TODAY)
    assert [(wall.section, held) for wall, held in ledger.told] == [(walls[0], True), (walls[1], False)]
    assert (ledger.truth.opened, ledger.truth.held, ledger.untold) == (2, 1, 2)
    assert ledger.truth.expected == pytest.approx(1.4)
    assert ledger.truth.sensitivity is None
    said = " ".join(method.ledger(ledger, "si").sentences)
    assert "Of these walls 1 held water" in said
    assert "Too few openings yet" in said
    assert not ledger.taught.changes
    assert "They change no probability yet: from eight on" in method.ledger(ledger, "si").changed
    assert opening_ledger(cast.other_organisation, TODAY).truth.opened == 0


def test_enough_openings_change_what_is_said_and_the_page_says_how(cast: Cast, client: Client) -> None:
    """Ten walls of which trapped water was 0.7 likely were all dry; the model alone had said 0.6 of them."""
    for _ in range(10):
        assessment = factories.assessment(cast.organisation, trapped=0.7)
        alone = dict(assessment.result["probability"]) | {"trapped_water": 0.6}
        factories.replay(
            cast.organisation, section=assessment.section, alone=[{"probability": alone, "visits": 9}]
        )
        opened(assessment.section, factories.DAY + dt.timedelta(days=9), 1.0, cast.owner)
    ledger = opening_ledger(cast.organisation, TODAY)
    assert ledger.truth.expected == pytest.approx(7.0)
    assert ledger.taught.expected == pytest.approx(6.0)
    assert ledger.taught.shift.high <= 0 > ledger.taught.shift.value
    told = ledger.as_json()["recalibration"]
    assert (told["in_effect"], told["openings"], told["held"]) == (True, 10, 0)
    validator({"$ref": "#/components/schemas/Recalibration"}).validate(told)
    client.force_login(cast.analyst)
    page = client.get(f"{reverse('how-verdicts-are-made')}?organisation={cast.organisation.slug}")
    said = page.content.decode()
    assert said.count('class="plot"') == 5
    assert "simulated walls and on 10 openings of your own" in said
    assert "Of 10 opened walls no held water" not in said
    assert "Of 10 opened walls none held water, where the model alone had promised 6.0" in said


def test_the_api_gives_the_same_ledger(cast: Cast) -> None:
    assessment = factories.assessment(cast.organisation, trapped=0.9)
    factories.replay(cast.organisation, section=assessment.section)
    opened(assessment.section, factories.DAY + dt.timedelta(days=9), 9.0, cast.owner)
    told = json.loads(Program(cast.analyst, cast.organisation).get("opening-ledger/").content)
    assert told == opening_ledger(cast.organisation, timezone.localdate()).as_json()
    validator({"$ref": "#/components/schemas/OpeningLedger"}).validate(told)
    assert (told["opened"], told["held"], told["sensitivity"]) == (1, 1, None)
    outsider = Program(cast.outsider, cast.other_organisation)
    assert json.loads(outsider.get("opening-ledger/").content)["opened"] == 0
    assert_problem(outsider.get("opening-ledger/?colour=red"), 400)
    assert_problem(Client().get(f"{ROOT}opening-ledger/"), 401)


def test_walls_to_open_are_those_that_teach_most_and_some_at_random(cast: Cast) -> None:
    shares = [0.01, 0.02, 0.03, 0.04, 0.05, 0.3, 0.4, 0.5, 0.97]
    made = [factories.assessment(cast.organisation, trapped=share) for share in shares]
    opened(made[6].section, TODAY - dt.timedelta(days=100), 9.0, cast.owner)
    found = opening_ledger(cast.organisation, TODAY).suggestions
    by_worth = [one.probability for one in found if not one.at_random]
    assert by_worth == [0.3, 0.5, 0.05][:BY_WORTH], "the one at 0.4 was opened lately"
    at_random = [one.section for one in found if one.at_random]
    assert len(at_random) == AT_RANDOM
    assert found == opening_ledger(cast.organisation, TODAY).suggestions, "the same until the year is over"
    years = [
        opening_ledger(cast.organisation, TODAY.replace(year=year)).suggestions for year in range(2026, 2036)
    ]
    assert len({tuple(one.section.pk for one in own if one.at_random) for own in years}) > 1


def test_the_page_explains_shows_figures_and_says_simulated(cast: Cast, client: Client) -> None:
    client.force_login(cast.analyst)
    address = f"{reverse('how-verdicts-are-made')}?organisation={cast.organisation.slug}"
    page = client.get(address).content.decode()
    assert page.count('class="plot"') == 4
    for part in ("calibrated on simulated walls", "No wall has been opened yet", "Begg and Greenes 1983"):
        assert part in page
    made = factories.assessment(cast.organisation, trapped=0.4)
    assert reverse("section", args=[made.section_id]) in client.get(address).content.decode()
