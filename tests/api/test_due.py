"""What is due, asked for in every way, and the policy behind it."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from inspections.models import Plan, Policy
from portfolio.models import Change, Reassessment
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, schema_of, validator
from tests.support.cast import Cast


@pytest.fixture
def analyst(cast: Cast) -> Program:
    return Program(cast.analyst, cast.organisation)


@pytest.fixture
def manager(cast: Cast) -> Program:
    return Program(cast.manager, cast.organisation)


def asked(program: Program, query: str) -> list[str]:
    return [row["id"] for row in program.results(f"due/?{query}")]


def test_plans_are_found_by_their_own_name_too(cast: Cast, client: Client, analyst: Program) -> None:
    plan = factories.plan(cast.organisation)
    led = client.get(f"{ROOT}plans/?format=csv")
    assert (led.status_code, led["Location"]) == (302, f"{ROOT}due/?format=csv")
    assert client.get(f"{ROOT}plans/{plan.pk}/")["Location"] == f"{ROOT}due/{plan.pk}/"


class TestFilters:
    def test_by_the_house_s_own_today(
        self, cast: Cast, analyst: Program, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """At one moment it is the 10th in one house and the 11th in another."""
        moment = dt.datetime(2024, 3, 10, 23, tzinfo=dt.UTC)
        monkeypatch.setattr(timezone, "now", lambda: moment)
        plans = []
        for zone in ("America/New_York", "Australia/Sydney"):
            house = factories.building(cast.organisation, timezone=zone)
            section = factories.section(cast.organisation, building=house)
            day = {"building": house, "section": section, "due_on": "2024-03-10"}
            plans.append(str(factories.plan(cast.organisation, **day).pk))
        here, there = plans
        assert asked(analyst, "overdue=true") == [there]
        assert asked(analyst, "overdue=false") == [here]
        assert set(asked(analyst, "within_days=0")) == {here, there}
        assert_problem(analyst.get("due/?within_days=-1"), 400)

    def test_within_days_counts_what_was_postponed(self, cast: Cast, analyst: Program) -> None:
        today = timezone.now().date()
        later = {"postponed_to": today + dt.timedelta(days=9), "postponed_reason": "no key"}
        plan = factories.plan(cast.organisation, due_on=today - dt.timedelta(days=3), **later)
        assert asked(analyst, "within_days=5") == asked(analyst, "overdue=true") == []
        assert asked(analyst, "within_days=11") == [str(plan.pk)]

    def test_by_person_inspector_reason_house_and_paper(self, cast: Cast, analyst: Program) -> None:
        reading = factories.reading(cast.organisation)
        read = {"building": reading.building, "section": reading.section, "last_on": reading.visit.day}
        first = factories.plan(cast.organisation, **read, reason="flag", person=cast.inspector)
        paper = factories.paper(cast.organisation)
        second = factories.plan(
            cast.organisation, building=paper.building, section=None, paper=paper, reason="paper"
        )
        for query, plan in (
            ("person=inspector", first),
            (f"inspector={reading.visit.inspector}", first),
            ("reason=flag", first),
            (f"building={reading.building.code}", first),
            ("is_paper=false", first),
            ("is_paper=true", second),
            (f"paper_id={paper.pk}", second),
        ):
            assert asked(analyst, query) == [str(plan.pk)], query
        assert asked(analyst, "person=nobody") == []

    def test_what_was_voided_is_not_due(self, cast: Cast, analyst: Program) -> None:
        house, wall, paper = factories.plan(cast.organisation), factories.plan(cast.organisation), None
        paper = factories.paper(cast.organisation)
        of_paper = {"building": paper.building, "section": None, "paper": paper}
        factories.plan(cast.organisation, **of_paper)
        for record in (house.building, wall.section, paper):
            type(record).objects.filter(pk=record.pk).update(voided_at=timezone.now())
        assert asked(analyst, "page_size=10") == []

    def test_as_a_spreadsheet(self, cast: Cast, analyst: Program) -> None:
        factories.plan(cast.organisation, minutes=12)
        header, row = analyst.get("due/?format=csv").content.decode().splitlines()
        assert dict(zip(header.split(","), row.split(","), strict=True))["minutes"] == "12"


class TestHandingOver:
    def hand_over(self, program: Program, plan: Plan, person: str) -> Any:
        tag = program.get(f"due/{plan.pk}/")["ETag"]
        return program.send("POST", f"due/{plan.pk}/hand-over/", {"person": person}, **{"if-match": tag})

    def test_a_member_is_given_it_and_the_history_says_so(self, cast: Cast, manager: Program) -> None:
        plan = factories.plan(cast.organisation)
        assert self.hand_over(manager, plan, "inspector").json()["person"] == "inspector"
        (change,) = Change.objects.of(cast.organisation).filter(record_id=plan.pk)
        assert change.fields == {"person": [None, str(cast.inspector.pk)]}

    @pytest.mark.parametrize("person", ["outsider", "analyst", "nobody", ""])
    def test_nobody_else_is(self, cast: Cast, manager: Program, person: str) -> None:
        plan = factories.plan(cast.organisation)
        assert_problem(self.hand_over(manager, plan, person), 400)

    def test_it_is_refused_as_everywhere(self, cast: Cast) -> None:
        plan = factories.plan(cast.organisation)
        path = f"due/{plan.pk}/hand-over/"
        assert_problem(Client().post(ROOT + path, "{}", "application/json"), 401)
        assert_problem(self.hand_over(Program(cast.analyst, cast.organisation), plan, "owner"), 403)
        outsider = Program(cast.outsider, cast.other_organisation)
        assert_problem(outsider.send("POST", path, {}, **{"if-match": "*"}), 404)


def test_a_paper_is_not_postponed_here(cast: Cast, manager: Program) -> None:
    paper = factories.paper(cast.organisation)
    plan = factories.plan(cast.organisation, building=paper.building, section=None, paper=paper)
    sent = {"postponed_to": "2099-01-01", "reason": "the clerk said so"}
    answer = manager.send("POST", f"due/{plan.pk}/postpone/", sent, **{"if-match": "*"})
    assert "correct the paper" in assert_problem(answer, 409)["detail"]


def test_a_paper_is_due_at_once_and_till_it_is_closed(cast: Cast, manager: Program) -> None:
    house = factories.building(cast.organisation)
    sent = {"building": house.code, "kind": "violation", "title": "Coping", "due_on": "2024-06-01"}
    paper = manager.send("POST", "papers/", sent).json()
    (row,) = manager.results(f"due/?paper_id={paper['id']}")
    assert (row["falls_on"], row["reason"], row["detail"]) == ("2024-06-01", "paper", "violation: Coping")
    path = f"papers/{paper['id']}/"
    changed = manager.send("PATCH", path, {"due_on": "2024-07-01"}, **{"if-match": '"1"'})
    assert changed.status_code == 200
    (row,) = manager.results("due/")
    assert row["falls_on"] == "2024-07-01"
    refused = manager.send("PATCH", path, {"state": "closed"}, **{"if-match": '"2"'})
    assert assert_problem(refused, 400)["errors"][0]["field"] == "closed_on"
    closing = {"state": "closed", "closed_on": "2024-06-20"}
    assert manager.send("PATCH", path, closing, **{"if-match": '"2"'}).status_code == 200
    assert manager.results("due/") == []
    opened = manager.send("PATCH", path, {"state": "open", "closed_on": None}, **{"if-match": '"3"'})
    assert opened.status_code == 200
    assert len(manager.results("due/")) == 1
    assert manager.send("POST", f"{path}void/", {"reason": "twice"}, **{"if-match": '"4"'}).status_code == 200
    assert not Plan.objects.exists()


class TestPolicy:
    path = "policy/"

    def patch(self, program: Program, sent: Any, tag: str = '"1"') -> Any:
        return program.send("PATCH", self.path, sent, **{"if-match": tag})

    def test_the_usual_one_is_given_before_anybody_changes_it(self, analyst: Program) -> None:
        answer = analyst.get(self.path)
        validator(schema_of(self.path)).validate(json.loads(answer.content))
        assert (answer["ETag"], answer.json()["stable_months"]) == ('"1"', 12)
        assert not Policy.objects.exists()

    def test_it_is_changed_kept_and_planned_by(self, cast: Cast, manager: Program) -> None:
        house = factories.building(cast.organisation)
        factories.building(cast.other_organisation)
        sent = {"stable_months": 9, "new_coat_months": "1,2 , 12", "change_reason": "as agreed"}
        answer = self.patch(manager, sent)
        assert answer.status_code == 200, answer.content
        assert (answer["ETag"], answer.json()["new_coat_months"]) == ('"2"', "1, 2, 12")
        assert [row.building for row in Reassessment.objects.all()] == [house]
        (change,) = Change.objects.of(cast.organisation).filter(model="policy")
        assert (change.fields["stable_months"], change.reason) == ([12, 9], "as agreed")
        assert_problem(self.patch(manager, {"stable_months": 6}), 412)
        assert self.patch(manager, {"late_winter": ""}, '"2"').json()["late_winter"] == ""
        assert self.patch(manager, {"late_winter": ""}, '"3"')["ETag"] == '"3"'
        other = Program(cast.outsider, cast.other_organisation)
        assert other.get(self.path).json()["stable_months"] == 12

    @pytest.mark.parametrize(
        "sent",
        [
            {"stable_months": 0},
            {"stable_months": None},
            {"stable_months": 121},
            {"flag_days": -1},
            {"late_winter": "02-29"},
            {"late_summer": "1 March"},
            {"late_summer": "3-1"},
            {"new_coat_months": "6, 3"},
            {"new_coat_months": "0, 3"},
            {"new_coat_months": "one"},
            {"new_coat_months": "1, 3, 200"},
            {"revision": 7},
            {"organisation": "mill-lane"},
        ],
    )
    def test_bad_values_are_refused_and_named(self, manager: Program, sent: dict[str, Any]) -> None:
        problem = assert_problem(self.patch(manager, sent), 400)
        assert [error["field"] for error in problem["errors"]] == list(sent)
        assert not Policy.objects.exists()

    def test_owners_and_managers_alone_change_it(self, cast: Cast) -> None:
        assert_problem(Client().get(ROOT + self.path), 401)
        for person in (cast.inspector, cast.analyst):
            assert_problem(self.patch(Program(person, cast.organisation), {"stable_months": 9}), 403)
        owner = Program(cast.owner, cast.organisation)
        assert_problem(owner.send("PATCH", self.path, {}), 428)
        assert self.patch(owner, {"stable_months": 9}).status_code == 200
        assert_problem(owner.get(f"{self.path}?colour=red"), 400)
