"""What is sent: only sound JSON of bounded size, and only what the record files would take too."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from inspections.models import Reading
from portfolio.api import payloads
from portfolio.domain.tokens import issue_token
from portfolio.models import Building, Section
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem
from tests.support.cast import Cast, client_of


@pytest.fixture
def manager(cast: Cast) -> Program:
    return Program(cast.manager, cast.organisation)


class TestBodies:
    def post(self, cast: Cast, body: bytes | str, media_type: str = "application/json") -> Any:
        _, key = issue_token(user=cast.manager, organisation=cast.organisation, name="a program")
        client = Client(headers={"authorization": f"Bearer {key}"})
        return client.generic("POST", f"{ROOT}buildings/", body, media_type)

    @pytest.mark.parametrize(
        "body",
        [
            "",
            "{",
            "null",
            '{"code": NaN, "timezone": "UTC"}',
            '{"code": "\\ud800", "timezone": "UTC"}',
            b'{"code": "\xff", "timezone": "UTC"}',
            b'{"code": "H1", "timezone": "UTC", "year_built": 1e400}',
            '{"code": "H\\u0000", "timezone": "UTC"}',
            '{"code": "H1", "timezone": "UTC", "year_built": ' + "9" * 5000 + "}",
            "[" * 100_000,
            '{"code":' * 100_000,
        ],
    )
    def test_what_is_no_sound_json_is_refused(self, cast: Cast, body: bytes | str) -> None:
        assert_problem(self.post(cast, body), 400)
        assert not Building.objects.exists()

    def test_other_media_types_are_refused(self, cast: Cast) -> None:
        for media_type in (
            "text/plain",
            "application/x-www-form-urlencoded",
            "multipart/form-data; boundary=x",
        ):
            assert_problem(self.post(cast, "code=H1", media_type), 415)

    def test_the_size_is_bounded(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(payloads, "MOST_BYTES", 100)
        assert self.post(cast, '{"code": "H1", "timezone": "UTC"}').status_code == 201
        assert_problem(self.post(cast, '{"code": "H2", "timezone": "UTC"}' + " " * 100), 413)

    def test_a_signed_in_page_writes_with_its_csrf_token_only(self, cast: Cast) -> None:
        client = client_of(cast.manager)
        client.handler.enforce_csrf_checks = True
        body = '{"code": "H1", "timezone": "UTC"}'
        assert_problem(client.post(f"{ROOT}buildings/", body, "application/json"), 403)
        assert not Building.objects.exists()


class TestTheSameRulesAsTheFiles:
    @pytest.mark.parametrize(
        ("sent", "field", "hint"),
        [
            ({"timezone": "Mars/Olympus"}, "timezone", "IANA"),
            ({"year_built": 1890.5}, "year_built", "whole number"),
            ({"code": "x" * 51}, "code", "room for 50"),
            ({"year_built": True}, "year_built", "not a number"),
        ],
    )
    def test_of_buildings(self, cast: Cast, manager: Program, sent: Any, field: str, hint: str) -> None:
        payload = {"code": "H1", "timezone": "UTC", **sent}
        (error,) = assert_problem(manager.send("POST", "buildings/", payload), 400)["errors"]
        assert error["field"] == field
        assert hint in error["detail"]

    @pytest.mark.parametrize(
        ("sent", "field", "hint"),
        [
            ({"binder": "NHL 3,5"}, "binder", "NHL 3.5"),
            ({"removed_on": "2019-01-01"}, "removed_on", "before applied_on"),
            ({"removal_reason": "failed"}, "removal_reason", "removed_on"),
            ({"thickness_mm": -1}, "thickness_mm", "below 0"),
            ({"cost": "12,50"}, "cost", "12.50"),
            ({"applied_on": "10.05.2014"}, "applied_on", "2014-05-10"),
        ],
    )
    def test_of_treatments(self, cast: Cast, manager: Program, sent: Any, field: str, hint: str) -> None:
        place = factories.place(cast.organisation)
        payload = {**place, "layer": 1, "applied_on": "2020-05-04", "kind": "limewash", **sent}
        (error,) = assert_problem(manager.send("POST", "treatments/", payload), 400)["errors"]
        assert error["field"] == field
        assert hint in error["detail"]

    @pytest.mark.parametrize(
        ("sent", "field", "hint"),
        [
            ({"unit": "degC"}, "unit", "percent_wme"),
            ({"qualifier": "~"}, "qualifier", "<, >"),
            ({"value": None}, "value", "missing"),
            ({"value": "wet"}, "value", "not a number"),
            ({"taken_at": "2024-03-31T02:30"}, "taken_at", "clocks skip it"),
            ({"instrument": "M9"}, "instrument", "does not exist"),
        ],
    )
    def test_of_readings(self, cast: Cast, manager: Program, sent: Any, field: str, hint: str) -> None:
        house = factories.building(cast.organisation, timezone="Europe/Brussels")
        where = factories.section(cast.organisation, building=house)
        payload = {"building": house.code, "section": where.code, "taken_at": "2024-03-01T09:30"}
        payload |= {"quantity": "deep_moisture", "value": 71, "unit": "relative", **sent}
        (error,) = assert_problem(manager.send("POST", "readings/", payload), 400)["errors"]
        assert error["field"] == field
        assert hint in error["detail"]


class TestReadings:
    def enter(self, cast: Cast, manager: Program, **sent: Any) -> dict[str, Any]:
        house = factories.building(cast.organisation, timezone="America/New_York")
        where = factories.section(cast.organisation, building=house)
        payload = {"section_id": str(where.pk), "taken_at": "2024-03-01T23:30", "quantity": "crack_width"}
        answer = manager.send("POST", "readings/", {**payload, "value": "0.50", "unit": "in", **sent})
        assert answer.status_code == 201, answer.content
        given: dict[str, Any] = answer.json()
        return given

    def test_keeps_the_entry_and_finds_its_visit_by_the_local_day(self, cast: Cast, manager: Program) -> None:
        given = self.enter(cast, manager, inspector="GH", qualifier=">")
        assert (given["entered_value"], given["canonical_value"]) == ("0.50", 12.7)
        assert given["taken_at"] == "2024-03-02T04:30:00Z"
        assert Reading.objects.get().visit.day.isoformat() == "2024-03-01"

    def test_a_correction_keeps_what_was_entered(self, cast: Cast, manager: Program) -> None:
        given = self.enter(cast, manager)
        sent = {"value": 13, "unit": "mm", "change_reason": "read in millimetres"}
        path = f"readings/{given['id']}/"
        corrected = manager.send("PATCH", path, sent, **{"if-match": '"1"'}).json()
        assert (corrected["value"], corrected["canonical_value"], corrected["unit"]) == (13, 13, "mm")
        assert corrected["taken_at"] == given["taken_at"]
        (change,) = manager.results(f"changes/?record_id={given['id']}")
        assert change["fields"]["entered_value"] == ["0.50", "13"]
        assert change["fields"]["unit"] == ["in", "mm"]
        assert (change["by"], change["reason"]) == ("manager", "read in millimetres")

    def test_writing_the_same_number_otherwise_is_no_correction(self, cast: Cast, manager: Program) -> None:
        given = self.enter(cast, manager)
        path = f"readings/{given['id']}/"
        answer = manager.send("PATCH", path, {"value": 0.5}, **{"if-match": '"1"'})
        assert (answer["ETag"], answer.json()["entered_value"]) == ('"1"', "0.50")


class TestPlaces:
    def test_an_id_and_a_code_must_agree(self, cast: Cast, manager: Program) -> None:
        one, other = factories.building(cast.organisation), factories.building(cast.organisation)
        payload = {"code": "S1", "adjoins": "soil", "building": one.code, "building_id": str(other.pk)}
        (error,) = assert_problem(manager.send("POST", "sections/", payload), 400)["errors"]
        assert error["field"] == "building_id"
        payload["building_id"] = str(one.pk)
        assert manager.send("POST", "sections/", payload).status_code == 201

    def test_a_wall_is_moved_to_another_house(self, cast: Cast, manager: Program) -> None:
        wall, house = factories.section(cast.organisation), factories.building(cast.organisation)
        path = f"sections/{wall.pk}/"
        answer = manager.send("PATCH", path, {"building_id": str(house.pk)}, **{"if-match": '"1"'})
        assert answer.json()["building"] == house.code
        assert Section.objects.get(pk=wall.pk).building == house

    def test_an_event_of_the_house_has_no_section(self, cast: Cast, manager: Program) -> None:
        event = factories.event(cast.organisation)
        answer = manager.send("PATCH", f"events/{event.pk}/", {"section": None}, **{"if-match": '"1"'})
        assert (answer.json()["section"], answer.json()["building"]) == (None, event.building.code)
        answer = manager.send("PATCH", f"events/{event.pk}/", {"section_id": None}, **{"if-match": '"2"'})
        assert answer.status_code == 200

    def test_somebody_who_left_stays_on_their_visit(self, cast: Cast, manager: Program) -> None:
        visit = factories.visit(cast.organisation)
        path = f"visits/{visit.pk}/"
        answer = manager.send("PATCH", path, {"note": "rain"}, **{"if-match": '"1"'})
        assert answer.json()["person"] == visit.person.username
        outsider = {"person": "outsider"}
        assert_problem(manager.send("PATCH", path, outsider, **{"if-match": '"2"'}), 400)
