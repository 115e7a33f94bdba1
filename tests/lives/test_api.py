"""What lasts, by the API: who may ask, what may be asked, and the shapes that are answered."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from django.test import Client

from inspections.api.urls import OVER_COATS
from portfolio.models import Building, Treatment
from tests.api.client import ROOT, Program, assert_problem, schema_of, validator
from tests.lives.simulated import Plan, simulate
from tests.lives.stored import store
from tests.support.cast import Cast

ENDPOINTS = sorted(OVER_COATS)
LISTS = sorted(set(OVER_COATS) - {"failure-rates"})


@pytest.fixture
def analyst(cast: Cast) -> Program:
    return Program(cast.analyst, cast.organisation)


@pytest.fixture
def coats(cast: Cast) -> list[Treatment]:
    return store(simulate(Plan(coats=36), 7), cast.organisation)


def answer(program: Program, path: str) -> Any:
    response = program.get(path)
    assert response.status_code == 200, response.content
    return json.loads(response.content)


@pytest.mark.parametrize("endpoint", ENDPOINTS)
class TestEveryEndpointOfNoCoats:
    """What needs no coats to be refused or sent."""

    def test_anonymous_is_refused(self, endpoint: str) -> None:
        response = Client().get(f"{ROOT}{endpoint}/")
        assert_problem(response, 401)
        assert response["WWW-Authenticate"].startswith("Bearer")

    def test_nothing_is_written(self, cast: Cast, endpoint: str) -> None:
        owner = Program(cast.owner, cast.organisation)
        for method in ("POST", "PUT", "PATCH", "DELETE"):
            assert_problem(owner.ask(method, f"{endpoint}/"), 405)

    def test_what_cannot_be_asked_is_refused_by_name(self, analyst: Program, endpoint: str) -> None:
        for query, parameter in (
            ("colour=red", "colour"),
            ("page_size=5", "page_size"),
            ("removal_reason=failed", "removal_reason"),
            ("by=colour", "by"),
            ("by=binder,binder", "by"),
            ("by=", "by"),
            ("as_of=soon", "as_of"),
            ("binder=jam", "binder"),
            ("binder=NHL 2&binder=NHL 5", "binder"),
            ("format=pdf", "format"),
        ):
            problem = assert_problem(analyst.get(f"{endpoint}/?{query}"), 400)
            assert parameter in {error["parameter"] for error in problem["errors"]}

    def test_no_cache_keeps_it(self, analyst: Program, endpoint: str) -> None:
        assert analyst.get(f"{endpoint}/")["Cache-Control"] == "private, no-store"


@pytest.mark.usefixtures("coats")
@pytest.mark.parametrize("endpoint", ENDPOINTS)
class TestEveryEndpoint:
    def test_every_member_reads_what_is_described(self, cast: Cast, endpoint: str) -> None:
        for member in cast.members:
            found = answer(Program(member, cast.organisation), f"{endpoint}/")
            validator(schema_of(f"{endpoint}/")).validate(found)
            assert found.get("groups") or found.get("results")

    def test_another_organisations_coats_do_not_exist(self, cast: Cast, endpoint: str) -> None:
        theirs = Program(cast.outsider, cast.other_organisation)
        building = Building.objects.of(cast.organisation).first()
        for query in ("", f"?building={building.code}"):
            found = answer(theirs, f"{endpoint}/{query}")
            assert found.get("groups", found.get("results")) == []

    def test_every_filter_is_taken(self, analyst: Program, endpoint: str) -> None:
        values = {
            "building": "H00000", "section": "S00000", "layer": 1, "kind": "parge_coat", "binder": "NHL 3.5",
            "found": "false", "applied_after": "2000-01-01", "substrate": "brick", "adjoins": "soil",
            "built_before": 1950, "min_thickness_mm": 3, "applied_on": "0001-01-01",
            "locality": "Nowhere", "as_of": "2012-01-01",
        }  # fmt: skip
        for name, value in values.items():
            answer(analyst, f"{endpoint}/?{name}={value}")
        # No coat can have this: the database isn't even asked.
        found = answer(analyst, f"{endpoint}/?layer=-5")
        assert found.get("groups", found.get("results")) == []

    def test_csv_has_a_line_for_each_row(self, analyst: Program, endpoint: str) -> None:
        found = answer(analyst, f"{endpoint}/?by=binder,substrate")
        rows = found.get("groups") or found["results"]
        response = analyst.get(f"{endpoint}/?by=binder,substrate&format=csv")
        assert response["Content-Type"] == "text/csv; charset=utf-8"
        lines = list(csv.DictReader(io.StringIO(response.content.decode(), newline="")))
        assert [(line["group.binder"], line["group.substrate"]) for line in lines] == [
            (row["group"]["binder"], row["group"]["substrate"]) for row in rows
        ]
        assert [line["coats"] for line in lines] == [str(row["coats"]) for row in rows]


@pytest.mark.parametrize("endpoint", LISTS)
def test_no_coats_are_an_empty_list(analyst: Program, endpoint: str) -> None:
    assert answer(analyst, f"{endpoint}/")["results"] == []
    (line,) = analyst.get(f"{endpoint}/?format=csv").content.decode().splitlines()
    assert "coats" in line.split(",")


@pytest.mark.usefixtures("coats")
class TestAnswers:
    def test_a_filter_chooses_coats(self, analyst: Program) -> None:
        found = answer(analyst, "failure-rates/?by=binder&binder=NHL 3.5")
        assert [group["group"] for group in found["groups"]] == [{"binder": "NHL 3.5"}]
        assert found["test"]["p_value"] is None
        everything = answer(analyst, "failure-rates/?by=binder")
        assert everything["groups"][0] == found["groups"][0]

    def test_survival_is_the_curve_of_the_failure_rates(self, analyst: Program) -> None:
        rates = answer(analyst, "failure-rates/")
        rows = answer(analyst, "survival/")["results"]
        for group in rates["groups"]:
            own = [row for row in rows if row["group"] == group["group"]]
            assert (own[0]["years"], own[0]["survival"]) == (0.0, 1.0)
            assert [
                {name: row[name] for name in ("years", "survival", "low", "high")} for row in own[1:]
            ] == (group["survival"])

    def test_a_discount_makes_the_years_dearer(self, analyst: Program) -> None:
        costs = [
            answer(analyst, f"service-costs/?discount={rate}")["results"][0]["per_year"]["estimate"]
            for rate in ("0", "0.03", "0.1")
        ]
        assert costs == sorted(costs)
        for wrong in ("-0.1", "0.9", "much"):
            problem = assert_problem(analyst.get(f"service-costs/?discount={wrong}"), 400)
            assert problem["errors"][0]["parameter"] == "discount"
        assert_problem(analyst.get("failure-rates/?discount=0.03"), 400)

    def test_as_of_looks_back(self, analyst: Program) -> None:
        then = answer(analyst, "failure-rates/?as_of=2005-01-01")
        now = answer(analyst, "failure-rates/?as_of=2030-01-01")
        assert then["as_of"] == "2005-01-01"
        years = [sum(group["section_years"] for group in found["groups"]) for found in (then, now)]
        assert years[0] < years[1]
