"""What a stored result says, in sentences."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.vocabulary import FlagState, Verdict
from inspections.web.present import sentences
from portfolio.models import Treatment
from tests.web.houses import RESULT, result

CEMENT = Treatment(kind="parge_coat", binder="portland_cement", applied_on=dt.date(2016, 5, 1))
TODAY = dt.date(2025, 2, 10)


def trend(**changes: Any) -> dict[str, Any]:
    return RESULT["trends"]["hollow_area"] | changes


def test_the_verdict_names_the_coat_and_says_how_sure_it_is() -> None:
    said = sentences.verdict_sentence(RESULT, CEMENT)
    assert said == "Very likely (93 in 100): water held behind the 2016 cement coat."


def test_a_wall_without_a_coat_holds_its_water_itself() -> None:
    assert sentences.verdict_clause(Verdict.TRAPPED_WATER, None) == "water held in the wall"


@pytest.mark.parametrize("verdict", Verdict.values)
@pytest.mark.parametrize("coat", [CEMENT, None])
def test_every_verdict_has_a_sentence(verdict: str, coat: Treatment | None) -> None:
    said = sentences.verdict_sentence(result(verdict), coat)
    assert said.endswith(".")
    assert " in 100" in said


def test_too_few_readings_still_tell_the_risk_of_the_first_day() -> None:
    said = sentences.verdict_sentence(result("insufficient_data"), CEMENT)
    assert said.startswith("Too few readings to judge.")
    assert "water held behind the 2016 cement coat (93 in 100)" in said


def test_a_course_has_level_unit_interval_and_count() -> None:
    said = sentences.course_sentence(RESULT, {"hollow_area": 1.2}, "si")
    assert said == "Hollow area 1.20\u00a0m², growing 0.30 a year (0.20 to 0.40, 22 readings)."


def test_a_course_without_a_level_carries_the_rates_unit() -> None:
    said = sentences.course_sentence(RESULT, {}, "us")
    assert said == "Hollow area growing 3.2\u00a0ft² a year (2.2 to 4.3, 22 readings)."


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"low": -0.1, "high": 0.7}, "no clear change (−0.1 to 0.7 a year, 22 readings)"),
        (
            {"rate_per_year": -0.3, "low": -0.4, "high": -0.2},
            "falling 0.30 a year (0.20 to 0.40, 22 readings)",
        ),
        ({"rate_per_year": 0.0, "low": 0.0, "high": 0.7}, "no clear change (0.0 to 0.7 a year, 22 readings)"),
        ({"low": 0.0, "high": 0.7}, "growing 0.3 a year (0.0 to 0.7, 22 readings)"),
        ({"low": None, "high": None}, "growing 0.30 a year (no 95 % interval yet, 22 readings)"),
        ({"rate_per_year": None, "low": None, "high": None, "readings": 1}, "no rate yet (1 reading)"),
    ],
)
def test_rates_say_what_they_do_not_know(changes: dict[str, Any], said: str) -> None:
    assert sentences.rate_clause(trend(**changes), "si") == said


def test_a_moving_quantity_is_told_before_one_that_stands_still() -> None:
    trends = {"hollow_area": trend(low=-0.1), "deep_moisture": trend(unit="relative")}
    found = sentences.telling_trend(RESULT | {"trends": trends})
    assert found is not None
    assert found[0] == "deep_moisture"


@pytest.mark.parametrize(
    ("due", "said"),
    [
        (dt.date(2025, 3, 3), "Due 3 March."),
        (dt.date(2025, 2, 10), "Due today."),
        (dt.date(2025, 1, 31), "Overdue since 31 January."),
        (dt.date(2026, 1, 31), "Due 31 January 2026."),
        (None, ""),
    ],
)
def test_due(due: dt.date | None, said: str) -> None:
    assert sentences.due_sentence(due, TODAY) == said


@pytest.mark.parametrize("state", [FlagState.OPENED, FlagState.ACKNOWLEDGED, FlagState.CONFIRMED])
def test_a_flag_says_what_it_waits_for(state: str) -> None:
    assert sentences.flag_sentence(state, dt.date(2024, 5, 4), TODAY).startswith("Flag opened 4 May 2024, ")


@pytest.mark.parametrize(
    ("dates", "said"),
    [
        (
            ("2028-02-01", "2027-01-15", None),
            "expected February 2028; early end (one in ten) January 2027, late",
        ),
        ((None, "2027-01-15", None), "expected more than 30 years off; early end (one in ten) January 2027"),
        ((None, None, None), "not within 30 years"),
        (
            ("2024-02-01", "2023-01-15", "2026-01-01"),
            "since about February 2024, so the coat counts as failed",
        ),
    ],
)
def test_forecasts(dates: tuple[str | None, ...], said: str) -> None:
    forecast = RESULT["forecast"] | dict(zip(("expected", "early", "late"), dates, strict=True))
    assert said in sentences.forecast_sentence(RESULT | {"forecast": forecast})


def test_evidence_comes_strongest_first_and_adds_up_with_the_prior() -> None:
    lines = sentences.arguments(RESULT)
    assert [abs(line.weight) for line in lines] == sorted((abs(line.weight) for line in lines), reverse=True)
    total = sum(line.weight for line in lines) + sentences.prior_argument(RESULT).weight
    assert total == pytest.approx(RESULT["log_odds"]["total"])
    assert lines[0].bar == 1.0
    assert -1 <= min(line.bar for line in lines) < 0


@given(st.floats(-40, 40))
def test_odds_are_those_of_the_weight(weight: float) -> None:
    said = sentences.odds_text(weight)
    if said != "hardly either way":
        ratio = float(said.split(" to ")[0].replace("\u202f", ""))
        assert ratio == pytest.approx(math.exp(min(abs(weight), 20.0)), rel=0.06)
        assert said.endswith("for" if weight > 0 else "against")
