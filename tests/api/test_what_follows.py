"""The endpoints of what follows from the readings."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import Any, ClassVar

from inspections.models import Action, Assessment, Flag, Plan, Replay
from portfolio.models import Organisation
from tests.api import factories
from tests.api.base import EndpointTests
from tests.api.client import Program, assert_problem, validator
from tests.api.writing import RecordEndpointTests
from tests.support.cast import Cast


class TestAssessments(EndpointTests):
    endpoint = "assessments"
    model = Assessment

    def make(self, organisation: Organisation) -> Any:
        return factories.assessment(organisation)

    def test_gives_the_stored_result_untouched(self, cast: Cast, analyst: Program) -> None:
        stored = factories.assessment(cast.organisation, trapped=0.1 + 0.2)
        (row,) = analyst.results("assessments/")
        own = {"id", "building_id", "section_id", "model_version", "made_at", "current"}
        assert {name: value for name, value in row.items() if name not in own} == stored.result
        assert row["probability"]["trapped_water"] == 0.1 + 0.2
        assert own <= set(row)

    def test_gives_the_current_ones_unless_a_date_is_asked_for(self, cast: Cast, analyst: Program) -> None:
        now = factories.assessment(cast.organisation)
        before = factories.assessment(
            cast.organisation, where=now.section, as_of=dt.date(2023, 3, 1), current=False
        )
        asked = {
            "": [now],
            "?verdict=trapped_water": [now],
            "?current=true": [now],
            "?current=false": [before],
            "?as_of=2023-03-01": [before],
            "?as_of=2024-03-01": [now],
            "?as_of_before=2024-01-01": [before],
            "?as_of_after=2023-01-01": [before, now],
            "?as_of=2022-03-01": [],
        }
        for query, expected in asked.items():
            ids = [row["id"] for row in analyst.results(f"assessments/{query}")]
            assert ids == [str(assessment.pk) for assessment in expected], query

    def test_filters_and_ranks_by_the_probability_of_trapped_water(
        self, cast: Cast, analyst: Program
    ) -> None:
        shares = [0.2, 0.9, 0.6]
        made = [factories.assessment(cast.organisation, trapped=share) for share in shares]
        rows = analyst.results("assessments/?min_trapped_probability=0.6&ordering=-trapped_probability")
        assert [row["id"] for row in rows] == [str(made[1].pk), str(made[2].pk)]
        assert_problem(analyst.get("assessments/?min_trapped_probability=60"), 400)

    def test_csv_dots_what_is_nested(self, cast: Cast, analyst: Program) -> None:
        factories.assessment(cast.organisation)
        (line,) = csv.DictReader(io.StringIO(analyst.get("assessments/?format=csv").content.decode()))
        assert float(line["probability.trapped_water"]) == 0.7
        assert float(line["log_odds.total"]) == 0.9
        assert float(line["trends.deep_moisture.rate_per_year"]) == 4.1
        assert line["forecast.expected"] == ""
        assert '"weight": 2.1' in line["evidence"]
        assert "forecast" not in line

    def test_the_contracts_example_is_as_described(self) -> None:
        """The example of the contract for results, with the probabilities that it leaves out filled in."""
        validator({"$ref": "#/components/schemas/Assessment"}).validate({**EXAMPLE, **OWN})


class TestReplays(EndpointTests):
    endpoint = "replays"
    model = Replay

    def make(self, organisation: Organisation) -> Any:
        return factories.replay(organisation)

    def test_gives_a_sections_looks_and_how_much_is_hindsight(self, cast: Cast, analyst: Program) -> None:
        stored = factories.replay(cast.organisation)
        factories.replay(cast.organisation)
        (row,) = analyst.results(f"replays/?section_id={stored.section_id}")
        assert row["looks"] == stored.looks
        assert (row["readings"], row["entered_later"]) == (22, 3)
        assert "digests" not in row


class TestFlags(EndpointTests):
    endpoint = "flags"
    model = Flag

    def make(self, organisation: Organisation) -> Any:
        return factories.flag(organisation)

    def test_tells_the_live_ones(self, cast: Cast, analyst: Program) -> None:
        live = factories.flag(cast.organisation)
        done = factories.flag(cast.organisation, state="closed", closed_on=factories.DAY)
        assert [row["id"] for row in analyst.results("flags/?live=true")] == [str(live.pk)]
        assert [row["id"] for row in analyst.results("flags/?live=false")] == [str(done.pk)]
        assert [row["id"] for row in analyst.results("flags/?state=closed")] == [str(done.pk)]


class TestActions(RecordEndpointTests):
    endpoint = "actions"
    model = Action

    def make(self, organisation: Organisation) -> Any:
        return factories.action(organisation)

    change: ClassVar[dict[str, Any]] = {"outcome": "dry after a year"}
    parent = ("section_id", "section")
    required = "kind"
    has_key = False

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {
            **factories.place(organisation),
            "kind": "watch",
            "done_on": "2024-03-01",
            "follow_up_on": "2024-09-01",
        }


class TestDue(EndpointTests):
    endpoint = "due"
    model = Plan

    def make(self, organisation: Organisation) -> Any:
        return factories.plan(organisation)


OWN = {
    "id": "3f0a2f6e-6f0b-4c58-9a53-0d3c3c8f2b11",
    "building_id": "3f0a2f6e-6f0b-4c58-9a53-0d3c3c8f2b12",
    "section_id": "3f0a2f6e-6f0b-4c58-9a53-0d3c3c8f2b13",
    "model_version": "1",
    "made_at": "2025-09-15T12:00:00Z",
    "current": True,
}
EXAMPLE = {
    "building": "H001",
    "section": "S0001",
    "as_of": "2025-09-15",
    "verdict": "trapped_water",
    "probability": {
        "trapped_water": 0.93,
        "water_entry": 0.02,
        "condensation": 0.02,
        "surface_wear": 0.01,
        "drying_out": 0.01,
        "stable": 0.01,
    },
    "log_odds": {"against": "water_entry", "prior": -1.2, "total": 3.84},
    "since": "2019-04-01",
    "evidence": [{"quantity": "deep_moisture", "weight": 2.1, "statement": "Deep moisture rose 4.1 a year."}],
    "trends": {
        "deep_moisture": {
            "rate_per_year": 4.1,
            "low": 3.0,
            "high": 5.2,
            "p_value": 0.0004,
            "readings": 22,
            "first": "2011-05-02",
            "last": "2025-08-30",
            "unit": "relative",
            "method": "...",
        }
    },
    "forecast": {
        "quantity": "affected_area_fraction",
        "threshold": 0.10,
        "expected": "2028-02-01",
        "early": "2027-01-15",
        "late": "2031-06-01",
    },
    "advice": [{"quantity": "in_wall_humidity", "reason": "would tell held water from a dry wall"}],
    "next_inspection": "2026-03-01",
}
