"""What a stored result says, in sentences."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.vocabulary import FlagState, Verdict
from inspections.web.present import argument, measuring, sentences, verdict
from portfolio.models import Treatment
from tests.web.houses import RESULT, result

CEMENT = Treatment(kind="parge_coat", binder="portland_cement", applied_on=dt.date(2016, 5, 1))
TODAY = dt.date(2025, 2, 10)


def trend(**changes: Any) -> dict[str, Any]:
    return RESULT["trends"]["hollow_area"] | changes


def test_the_verdict_names_the_coat_and_says_how_sure_it_is() -> None:
    said = verdict.sentence(RESULT, CEMENT)
    assert said == "Very likely (93 in 100): water held behind the 2016 cement coat."


def test_a_wall_without_a_coat_holds_its_water_itself() -> None:
    assert verdict.clause(Verdict.TRAPPED_WATER, None) == "water held in the wall"


@pytest.mark.parametrize("own", Verdict.values)
@pytest.mark.parametrize("coat", [CEMENT, None])
def test_every_verdict_has_a_sentence(own: str, coat: Treatment | None) -> None:
    said = verdict.sentence(result(own), coat)
    assert said.endswith(".")
    assert " in 100" in said


def test_too_few_readings_still_tell_the_risk_of_the_first_day() -> None:
    stored = result("insufficient_data", trends={})
    said = verdict.sentence(stored, CEMENT)
    assert said.startswith("Not enough readings to judge.")
    assert "water held behind the 2016 cement coat (93 in 100)" in said
    assert verdict.name(verdict.shown(stored, CEMENT)) == "not enough readings"


UNSURE = {"drying_out": 0.32, "stable": 0.23, "trapped_water": 0.17, "surface_wear": 0.13,
          "condensation": 0.11, "water_entry": 0.04}  # fmt: skip


def test_readings_that_fit_nothing_leave_the_verdict_undecided() -> None:
    stored = result("insufficient_data", probability=UNSURE)
    told = verdict.shown(stored, CEMENT)
    assert verdict.name(told) == "undecided"
    said = verdict.sentence(stored, CEMENT)
    assert (
        "The likeliest two are drying out (32 in 100) and stable (23 in 100). Held water: 17 in 100." in said
    )
    assert "enough readings" not in said
    assert verdict.claim(stored, CEMENT) == "undecided between drying out (32 in 100) and stable (23 in 100)"


@pytest.mark.parametrize(("visits", "name"), [(2, "not enough readings"), (3, "undecided")])
def test_it_takes_three_visits_to_be_undecided(visits: int, name: str) -> None:
    stored = result("insufficient_data", trends={"hollow_area": trend(readings=visits)})
    assert verdict.name(verdict.shown(stored, CEMENT)) == name


def test_visits_before_the_coat_do_not_count() -> None:
    new = Treatment(kind="parge_coat", binder="NHL 2", applied_on=dt.date(2024, 10, 1))
    assert verdict.name(verdict.shown(result("insufficient_data"), new)) == "not enough readings"


CALLED = {
    "probability": UNSURE | {"stable": 0.40, "trapped_water": 0.36, "drying_out": 0.06, "surface_wear": 0.03},
    "log_odds": {"against": "stable", "prior": -2.4, "total": math.log(0.36 / 0.40)},
    "evidence": [
        {"quantity": "deep_moisture", "weight": 2.15, "statement": "Deep moisture rose 2.1 a year."},
        {"quantity": "hollow_area", "weight": 0.14464, "statement": "Hollow area is 0.48 m²."},
    ],
}


def test_held_water_that_is_called_against_the_odds_says_so() -> None:
    stored = RESULT | CALLED
    said = verdict.sentence(stored, CEMENT)
    assert said.startswith("Possibly (36 in 100): water held behind the 2016 cement coat.")
    assert "Stable (40 in 100) is likelier, but a wall that is missed costs more than a look." in said
    assert "though stable (40 in 100) is likelier" in verdict.claim(stored, CEMENT)
    made = argument.of(stored, verdict.shown(stored, CEMENT), "si")
    assert made.heading == "Why this, though stable is likelier"
    assert "called all the same" in made.reading


@pytest.mark.parametrize(("total", "said"), [(-0.9, "odds of 2.5 to 1 against trapped water"),
                                             (-0.1, "even odds between the two, or nearly"),
                                             (0.9, "odds of 2.5 to 1 for trapped water")])  # fmt: skip
def test_the_sum_is_told_with_its_side(total: float, said: str) -> None:
    stored = RESULT | {"log_odds": {"against": "stable", "prior": total, "total": total}, "evidence": []}
    assert said in argument.of(stored, "trapped_water", "si").reading


@given(st.lists(st.floats(-9, 9), min_size=1, max_size=8))
def test_the_weights_as_written_add_up_to_the_sum_as_written(weights: list[float]) -> None:
    tenths = argument.balanced(weights, sum(weights))
    assert sum(tenths) == round(sum(weights) * 10)
    assert all(abs(tenth - weight * 10) <= 1 + 1e-9 for tenth, weight in zip(tenths, weights, strict=True))


def test_evidence_is_told_in_the_readers_units() -> None:
    lines = argument.of(RESULT | CALLED, "trapped_water", "us").lines
    assert lines[1].statement == "Hollow area is 5.2\u00a0ft²."


@pytest.mark.parametrize(
    ("item", "said"),
    [
        (
            {
                "quantity": "hollow_area",
                "reason": "would show whether the coat lets go; sound it with a hammer",
            },
            "Tap the whole coat with a hammer and measure what sounds hollow. "
            "That would show whether the coat lets go.",
        ),
        (
            {
                "quantity": "air_humidity",
                "reason": "once more, in the other season, with air and face temperature would tell one",
            },
            "Read the room’s air and the temperature of the face together, once more and in the other season."
            " That would tell one.",
        ),
        ({"quantity": "rain", "reason": "would tell a leak"}, "Rain would tell a leak."),
    ],
)
def test_the_reading_that_would_tell_most_is_asked_for_in_plain_words(
    item: dict[str, str], said: str
) -> None:
    assert measuring.request(item, "si") == said


def test_a_course_has_level_unit_interval_and_count() -> None:
    said = sentences.course_sentence(RESULT, {"hollow_area": 1.2}, "si")
    assert said == "Hollow area 1.20\u00a0m², growing 0.30 a year (0.20 to 0.40, 22 readings)."


def test_a_course_without_a_rate_is_no_broken_sentence() -> None:
    stored = RESULT | {"trends": {"deep_moisture": trend(rate_per_year=None, readings=1, unit="relative")}}
    assert sentences.course_sentence(stored, {}, "si") == "Deep moisture: no rate yet (1 reading)."


def test_where_nothing_clearly_moves_the_strongest_reason_is_told() -> None:
    level = {"deep_moisture": trend(rate_per_year=2.0, low=-0.3, high=5.5, unit="relative")}
    evidence = [
        {"quantity": "surface_moisture", "weight": -1.9, "statement": "The face is dry (10 visits)."},
        {"quantity": "mortar_soft_depth", "weight": 0.8, "statement": "Mortar is soft to 7 mm deep. One."},
    ]
    stored = RESULT | {"trends": level, "evidence": evidence}
    assert sentences.course_sentence(stored, {}, "si") == "Mortar is soft to 7\u00a0mm deep."
    stable = sentences.course_sentence(stored | {"verdict": "stable"}, {}, "si")
    assert stable.startswith("Deep moisture: no clear change")


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.93, "water held behind the 2016 cement coat"),
        (0.68, "water held behind the 2016 cement coat (68 in 100)"),
        (0.42, "possibly water held behind the 2016 cement coat (42 in 100)"),
    ],
)
def test_a_row_says_how_sure_it_is_unless_it_is_sure(share: float, said: str) -> None:
    stored = RESULT | {"probability": RESULT["probability"] | {"trapped_water": share}}
    assert verdict.claim(stored, CEMENT) == said


def test_a_course_without_a_level_carries_the_rates_unit() -> None:
    said = sentences.course_sentence(RESULT, {}, "us")
    assert said == "Hollow area growing 3.2\u00a0ft² a year (2.2 to 4.3, 22 readings)."


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"low": -0.1, "high": 0.7}, "no clear change (−0.10 to 0.70 a year, 22 readings)"),
        (
            {"rate_per_year": -0.3, "low": -0.4, "high": -0.2},
            "shrinking 0.30 a year (0.20 to 0.40, 22 readings)",
        ),
        ({"rate_per_year": 0.0, "low": 0.0, "high": 0.7}, "no clear change (0 to 0.70 a year, 22 readings)"),
        ({"low": 0.0, "high": 0.7}, "growing 0.30 a year (0 to 0.70, 22 readings)"),
        ({"low": None, "high": None}, "growing 0.30 a year (no 95 % interval yet, 22 readings)"),
        ({"rate_per_year": None, "low": None, "high": None, "readings": 1}, "no rate yet (1 reading)"),
        (
            {"rate_per_year": -0.0004, "low": -0.0114, "high": 0.0},
            "no clear change (−0.011 to 0 a year, 22 readings)",
        ),
        ({"rate_per_year": 0.0, "low": 0.0, "high": 0.0}, "no change seen (22 readings)"),
        (
            {"rate_per_year": 0.0, "low": None, "high": None},
            "no change seen (no 95 % interval yet, 22 readings)",
        ),
        (
            {"rate_per_year": -4.1, "low": -5.2, "high": -3.0, "unit": "relative"},
            "falling 4.1 a year (3.0 to 5.2, 22 readings)",
        ),
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
            "expected to have been reached by now, but no visit has found it so; look again",
        ),
    ],
)
def test_forecasts(dates: tuple[str | None, ...], said: str) -> None:
    forecast = RESULT["forecast"] | dict(zip(("expected", "early", "late"), dates, strict=True))
    assert said in sentences.forecast_sentence(RESULT | {"forecast": forecast})


def test_a_coat_has_failed_when_a_visit_has_found_it_so() -> None:
    said = sentences.forecast_sentence(RESULT, dt.date(2023, 5, 4))
    assert said.endswith(": first found so on 4 May 2023, and the coat counts as failed since.")


def test_an_early_end_that_lies_behind_is_not_told_as_to_come() -> None:
    forecast = RESULT["forecast"] | {"early": RESULT["as_of"]}
    assert "early end (one in ten) already," in sentences.forecast_sentence(RESULT | {"forecast": forecast})


def test_evidence_comes_strongest_first_and_adds_up_with_the_prior() -> None:
    made = argument.of(RESULT, "trapped_water", "si")
    lines = made.lines
    assert [abs(line.weight) for line in lines] == sorted((abs(line.weight) for line in lines), reverse=True)
    total = sum(line.weight for line in lines) + made.prior.weight
    assert total == pytest.approx(RESULT["log_odds"]["total"])
    assert lines[0].bar == 1.0
    assert -1 <= min(line.bar for line in lines) < 0


@given(st.floats(-40, 40))
def test_odds_are_those_of_the_weight(weight: float) -> None:
    said = argument.odds_text(weight)
    if said != "hardly either way":
        ratio = float(said.split(" to ")[0].replace("\u202f", ""))
        assert ratio == pytest.approx(math.exp(min(abs(weight), 20.0)), rel=0.06)
        assert said.endswith("for" if weight > 0 else "against")
