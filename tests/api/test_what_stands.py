"""The endpoints of what stands there."""

from __future__ import annotations

from typing import Any, ClassVar

import pytest

from portfolio.models import Building, Change, Event, Membership, Organisation, Paper, Section, Treatment
from portfolio.vocabulary import Role
from tests.api import factories
from tests.api.base import EndpointTests
from tests.api.client import Program
from tests.api.writing import RecordEndpointTests
from tests.support.cast import Cast, join


class TestOrganisations(EndpointTests):
    of_a_record = "GET, HEAD, PATCH"
    endpoint = "organisations"
    model = Organisation

    @pytest.fixture
    def ours(self, cast: Cast) -> list[Any]:
        return [cast.organisation]

    @pytest.fixture
    def theirs(self, cast: Cast) -> Any:
        return cast.other_organisation

    def make(self, organisation: Organisation) -> Any:
        return organisation

    def test_is_found_by_its_slug(self, cast: Cast, analyst: Program) -> None:
        assert analyst.get("organisations/larch-row/").json()["id"] == str(cast.organisation.pk)
        assert analyst.get("organisations/mill-lane/").status_code == 404


class TestMemberships(EndpointTests):
    of_the_list = "GET, HEAD, POST"
    of_a_record = "GET, HEAD, PATCH, DELETE"
    endpoint = "memberships"
    model = Membership

    def make(self, organisation: Organisation) -> Any:
        user = join(organisation, f"member{factories.number()}", Role.ANALYST)
        return Membership.objects.get(user=user)


class TestBuildings(RecordEndpointTests):
    endpoint = "buildings"
    model = Building

    def make(self, organisation: Organisation) -> Any:
        return factories.building(organisation)

    change: ClassVar[dict[str, Any]] = {"locality": "Ostle Landing (invented)"}
    parent = None
    required = "timezone"

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {
            "code": f"N{factories.number()}",
            "name": "Weir House (invented)",
            "timezone": "Europe/Brussels",
        }

    def test_is_found_by_its_code(self, cast: Cast, analyst: Program) -> None:
        house = factories.building(cast.organisation, code="H 1.2")
        factories.building(cast.other_organisation, code="H9")
        assert analyst.get("buildings/H%201.2/").json()["id"] == str(house.pk)
        assert analyst.get("buildings/H9/").status_code == 404


class TestSections(RecordEndpointTests):
    endpoint = "sections"
    model = Section

    def make(self, organisation: Organisation) -> Any:
        return factories.section(organisation)

    change: ClassVar[dict[str, Any]] = {"length_m": 3.25}
    parent = ("building_id", "building")
    required = "adjoins"

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        house = factories.building(organisation)
        return {"building": house.code, "code": "S1", "wall": "N", "adjoins": "soil", "substrate": "brick"}

    def test_filters_by_building(self, cast: Cast, analyst: Program) -> None:
        here = factories.section(cast.organisation)
        factories.section(cast.organisation)
        (row,) = analyst.results(f"sections/?building={here.building.code}")
        assert (row["id"], row["building"]) == (str(here.pk), here.building.code)
        assert row["building_id"] == str(here.building.pk)


class TestTreatments(RecordEndpointTests):
    endpoint = "treatments"
    model = Treatment

    def make(self, organisation: Organisation) -> Any:
        return factories.treatment(organisation)

    change: ClassVar[dict[str, Any]] = {"mix": "1:3"}
    parent = ("section_id", "section")
    required = "kind"

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {
            **factories.place(organisation),
            "layer": 1,
            "applied_on": "2020-05-04",
            "kind": "limewash",
            "binder": "lime_putty",
            "cost": "80.25",
            "currency": "EUR",
            "found": True,
        }

    def test_filters_by_binder_and_date(self, cast: Cast, analyst: Program) -> None:
        lime = factories.treatment(cast.organisation, applied_on="2014-05-10", removed_on="2020-01-01")
        factories.treatment(cast.organisation, applied_on="2014-05-10", binder="portland_cement")
        factories.treatment(cast.organisation, applied_on="2016-05-10")
        asked = "treatments/?binder=NHL%203.5&applied_after=2014-05-10&applied_before=2016-05-10"
        assert [row["id"] for row in analyst.results(asked)] == [str(lime.pk)]
        assert [row["id"] for row in analyst.results("treatments/?removed=true")] == [str(lime.pk)]
        assert str(lime.pk) not in [row["id"] for row in analyst.results("treatments/?removed=false")]


class TestEvents(RecordEndpointTests):
    endpoint = "events"
    model = Event

    def make(self, organisation: Organisation) -> Any:
        return factories.event(organisation)

    change: ClassVar[dict[str, Any]] = {"note": "up to the second course"}
    parent = ("section_id", "section")
    required = "happened_on"

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {**factories.place(organisation), "happened_on": "2020-05-04", "kind": "flood"}

    def test_tells_a_wall_from_the_house(self, cast: Cast, analyst: Program) -> None:
        house = factories.event(cast.organisation, section=None)
        wall = factories.event(cast.organisation)
        assert [row["id"] for row in analyst.results("events/?has_section=false")] == [str(house.pk)]
        assert [row["id"] for row in analyst.results("events/?has_section=true")] == [str(wall.pk)]


class TestChanges(EndpointTests):
    endpoint = "changes"
    model = Change

    def make(self, organisation: Organisation) -> Any:
        return factories.change(organisation)

    def test_filters_by_record(self, cast: Cast, analyst: Program) -> None:
        change = factories.change(cast.organisation)
        factories.change(cast.organisation)
        (row,) = analyst.results(f"changes/?model=section&record_id={change.record_id}")
        assert row["fields"] == {"length_m": [2.0, 2.5]}


class TestPapers(RecordEndpointTests):
    endpoint = "papers"
    model = Paper
    change: ClassVar[dict[str, Any]] = {"reference": "V-17"}
    parent = ("section_id", "section")
    required = "title"
    has_key = False
    is_assessed = False

    def make(self, organisation: Organisation) -> Any:
        return factories.paper(organisation)

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {
            **factories.place(organisation),
            "kind": "permit",
            "title": "Opening the pavement",
            "issued_on": "2024-03-01",
            "due_on": "2024-09-01",
            "state": "open",
        }
