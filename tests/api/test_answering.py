"""Answering flags, acting on them, and putting inspections off."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from inspections.models import Flag, Plan, Reading, Visit
from portfolio.models import Change
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, schema_of, validator
from tests.support.cast import Cast

ANSWERS = {
    "acknowledge": {},
    "confirm": {"reason": "the coat drums and is wet behind"},
    "dismiss": {"reason": "the meter lay on a nail"},
}
STATES = {"acknowledge": "acknowledged", "confirm": "confirmed", "dismiss": "dismissed"}


@pytest.fixture
def manager(cast: Cast) -> Program:
    return Program(cast.manager, cast.organisation)


def answer(program: Program, flag: Flag, how: str, tag: str = "*", **sent: Any) -> Any:
    return program.send("POST", f"flags/{flag.pk}/{how}/", {**ANSWERS[how], **sent}, **{"if-match": tag})


class TestFlags:
    @pytest.mark.parametrize("how", ANSWERS)
    def test_is_answered_with_name_time_and_history(self, cast: Cast, manager: Program, how: str) -> None:
        flag = factories.flag(cast.organisation)
        given = answer(manager, flag, how, '"1"')
        assert (given.status_code, given["ETag"]) == (200, '"2"'), given.content
        assert (given.json()["state"], given.json()["answered_by"]) == (STATES[how], "manager")
        assert given.json()["answered_at"]
        (change,) = Change.objects.of(cast.organisation).filter(record_id=flag.pk)
        assert change.fields["state"] == ["opened", STATES[how]]
        assert change.reason == ANSWERS[how].get("reason", "")

    @pytest.mark.parametrize("how", ANSWERS)
    def test_is_refused_as_everywhere(self, cast: Cast, manager: Program, how: str) -> None:
        flag = factories.flag(cast.organisation)
        path = f"flags/{flag.pk}/{how}/"
        assert_problem(Client().post(f"{ROOT}{path}", "{}", "application/json"), 401)
        assert_problem(answer(Program(cast.analyst, cast.organisation), flag, how), 403)
        assert_problem(answer(Program(cast.outsider, cast.other_organisation), flag, how), 404)
        assert_problem(manager.send("POST", path, ANSWERS[how]), 428)
        assert_problem(answer(manager, flag, how, '"2"'), 412)
        problem = assert_problem(answer(manager, flag, how, colour="red"), 400)
        assert problem["errors"][0]["field"] == "colour"
        assert_problem(manager.send("POST", f"{path}?colour=red", ANSWERS[how], **{"if-match": "*"}), 400)
        flag.refresh_from_db()
        assert (flag.state, flag.revision) == ("opened", 1)

    @pytest.mark.parametrize("how", ["confirm", "dismiss"])
    @pytest.mark.parametrize("reason", ["", "  ", None, "x" * 501])
    def test_wants_a_reason(self, cast: Cast, manager: Program, how: str, reason: str | None) -> None:
        problem = assert_problem(answer(manager, factories.flag(cast.organisation), how, reason=reason), 400)
        assert problem["errors"][0]["field"] == "reason"

    @pytest.mark.parametrize(
        ("state", "possible"),
        [
            ("acknowledged", {"confirm", "dismiss"}),
            ("confirmed", set()),
            ("dismissed", set()),
            ("closed", set()),
        ],
    )
    def test_what_was_answered_is_not_answered_otherwise(
        self, cast: Cast, manager: Program, state: str, possible: set[str]
    ) -> None:
        for how in ANSWERS:
            flag = factories.flag(cast.organisation, state=state, closed_on=factories.DAY, reason="seen")
            status = 200 if how in possible else 409
            assert answer(manager, flag, how).status_code == status, how


class TestActions:
    def act(self, program: Program, flag: Flag, kind: str, **sent: Any) -> Any:
        where = {"section_id": str(flag.section_id), "flag_id": str(flag.pk)}
        return program.send("POST", "actions/", {**where, "kind": kind, "done_on": "2024-04-01", **sent})

    @pytest.mark.parametrize("state", ["opened", "acknowledged", "confirmed"])
    def test_an_action_closes_its_flag(self, cast: Cast, manager: Program, state: str) -> None:
        flag = factories.flag(cast.organisation, state=state, reason="seen")
        assert self.act(manager, flag, "strip", cost=120.5, currency="EUR").status_code == 201
        flag.refresh_from_db()
        assert (flag.state, flag.closed_on) == ("closed", dt.date(2024, 4, 1))
        assert "2024-04-01" in flag.reason
        assert Change.objects.filter(record_id=flag.pk).exists()

    def test_the_readings_say_whether_it_worked(self, cast: Cast, manager: Program) -> None:
        """Deep moisture, level at 60 before the gutter was mended and at 40 from a month after it."""
        flag = factories.flag(cast.organisation, state="confirmed", reason="seen")
        house = flag.section.building
        meter = factories.instrument(cast.organisation)
        days = [dt.date(2022, 1, 10) + dt.timedelta(days=61 * number) for number in range(24)]
        for number, day in enumerate(days):
            value = (60 if day <= dt.date(2024, 4, 1) else 40) + number % 3
            visit = Visit.objects.create(building=house, day=day, inspector="GH")
            Reading.objects.create(
                building=house,
                section=flag.section,
                visit=visit,
                instrument=meter,
                taken_at=dt.datetime.combine(day, dt.time(12), dt.UTC),
                quantity="deep_moisture",
                value=value,
                entered_value=str(value),
                unit="relative",
                height_mm=500,
            )
        action = self.act(manager, flag, "source_mended").json()
        path = f"actions/{action['id']}/follow-up/"
        found = manager.get(path).json()
        validator(schema_of("actions/{id}/follow-up/")).validate(found)
        assert (found["outcome"], found["quantity"], found["visits_before"]) == (
            "worked",
            "deep_moisture",
            14,
        )
        assert found["low"] < -20 < found["high"] < 0
        assert "it has worked so far." in found["statement"]
        assert_problem(Client().get(ROOT + path), 401)
        outsider = Program(cast.outsider, cast.other_organisation)
        assert_problem(outsider.get(path), 404)

    def test_without_readings_nothing_is_claimed(self, cast: Cast, manager: Program) -> None:
        action = self.act(manager, factories.flag(cast.organisation), "strip").json()
        found = manager.get(f"actions/{action['id']}/follow-up/").json()
        assert (found["outcome"], found["change"], found["quantity"]) == ("too_few", None, "")

    def test_watching_closes_none(self, cast: Cast, manager: Program) -> None:
        flag = factories.flag(cast.organisation, state="confirmed", reason="seen")
        assert self.act(manager, flag, "watch").status_code == 201
        flag.refresh_from_db()
        assert flag.state == "confirmed"

    def test_another_sections_or_organisations_flag_is_refused(self, cast: Cast, manager: Program) -> None:
        ours, other = factories.flag(cast.organisation), factories.flag(cast.organisation)
        theirs = factories.flag(cast.other_organisation)
        for flag, hint in ((other, "another section"), (theirs, "does not exist")):
            problem = assert_problem(self.act(manager, ours, "strip", flag_id=str(flag.pk)), 400)
            assert problem["errors"][0]["field"] == "flag_id"
            assert hint in problem["detail"]
        picture = factories.photo(cast.other_organisation)
        problem = assert_problem(self.act(manager, ours, "strip", photo_id=str(picture.pk)), 400)
        assert "does not exist" in problem["detail"]


class TestPlans:
    def postpone(self, program: Program, plan: Plan, **sent: Any) -> Any:
        tag = program.get(f"due/{plan.pk}/")["ETag"]
        later = (timezone.now() + dt.timedelta(days=60)).date().isoformat()
        payload = {"postponed_to": later, "reason": "the cellar is let until then", **sent}
        return program.send("POST", f"due/{plan.pk}/postpone/", payload, **{"if-match": tag})

    def test_is_put_off_with_a_reason_and_keeps_its_due_day(self, cast: Cast, manager: Program) -> None:
        plan = factories.plan(cast.organisation)
        before = manager.get(f"due/{plan.pk}/")["ETag"]
        given = self.postpone(manager, plan)
        assert given.status_code == 200, given.content
        assert given.json()["due_on"] == factories.DAY.isoformat()
        assert given.json()["postponed_reason"] == "the cellar is let until then"
        (change,) = Change.objects.of(cast.organisation).filter(record_id=plan.pk)
        assert change.fields["postponed_to"] == [None, given.json()["postponed_to"]]
        path = f"due/{plan.pk}/postpone/"
        assert_problem(manager.send("POST", path, {}, **{"if-match": before}), 412)
        assert_problem(manager.send("POST", path, {}), 428)

    @pytest.mark.parametrize(
        "sent",
        [
            {"reason": ""},
            {"postponed_to": "soon"},
            {"postponed_to": "2024-02-01"},
            {"postponed_to": None},
            {"due_on": "2030-01-01"},
        ],
    )
    def test_bad_values_are_refused(self, cast: Cast, manager: Program, sent: dict[str, Any]) -> None:
        plan = factories.plan(cast.organisation)
        problem = assert_problem(self.postpone(manager, plan, **sent), 400)
        assert problem["errors"][0]["field"] in sent

    def test_is_refused_as_everywhere(self, cast: Cast) -> None:
        plan = factories.plan(cast.organisation)
        path = f"due/{plan.pk}/postpone/"
        assert_problem(Client().post(ROOT + path, "{}", "application/json"), 401)
        assert_problem(self.postpone(Program(cast.analyst, cast.organisation), plan), 403)
        outsider = Program(cast.outsider, cast.other_organisation)
        assert_problem(outsider.send("POST", path, {}, **{"if-match": "*"}), 404)
