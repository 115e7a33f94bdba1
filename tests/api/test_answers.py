"""Errors, filters, pages, media types and the description, apart from what each endpoint inherits."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import logging
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from inspections.api.urls import ADDRESSES, router
from inspections.api.viewsets import LogValueViewSet
from portfolio.api import pagination, viewsets
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, description
from tests.support.cast import Cast

GENERAL = {"cursor", "format", "ordering", "organisation", "page_size"}


@pytest.fixture
def analyst(cast: Cast) -> Program:
    return Program(cast.analyst, cast.organisation)


class TestRoot:
    def test_names_every_list_and_each_is_there(self, analyst: Program) -> None:
        addresses = analyst.get("").json()
        lists = {prefix for prefix, _, _ in router.registry}
        assert lists | {"schema"} <= set(addresses) == set(ADDRESSES)
        for address in addresses.values():
            assert analyst.get(address).status_code == 200

    def test_is_for_members_and_strict(self, analyst: Program) -> None:
        assert_problem(Client().get(ROOT), 401)
        assert_problem(analyst.get("?colour=red"), 400)
        assert_problem(analyst.ask("POST", ""), 405)


class TestProblems:
    def test_an_address_that_is_none_is_a_problem_too(self, analyst: Program) -> None:
        problem = assert_problem(analyst.get("no/such/thing/"), 404)
        assert problem["instance"] == "/api/v1/no/such/thing/"
        assert problem["title"] == "Not Found"
        assert problem["errors"] == []
        assert_problem(Client().get(f"{ROOT}no/such/thing/"), 401)

    def test_an_address_without_its_slash_is_sent_on(self, analyst: Program) -> None:
        response = analyst.get("buildings")
        assert (response.status_code, response["Location"]) == (301, "/api/v1/buildings/")

    def test_no_other_media_type_is_given(self, analyst: Program) -> None:
        detail = assert_problem(analyst.get("buildings/", accept="image/png"), 406)["detail"]
        assert "application/json, text/csv" in detail

    def test_an_unknown_format_is_a_bad_value(self, cast: Cast, analyst: Program) -> None:
        problem = assert_problem(analyst.get("buildings/?format=xml"), 400)
        assert problem["errors"][0]["parameter"] == "format"
        one = factories.building(cast.organisation)
        assert_problem(analyst.get(f"buildings/{one.pk}/?format=csv"), 400)

    def test_a_problem_stays_one_where_csv_is_asked_for(self, analyst: Program) -> None:
        assert_problem(analyst.get("buildings/?colour=red&format=csv"), 400)

    def test_an_unexpected_error_is_noted_and_tells_nothing(
        self, analyst: Program, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
    ) -> None:
        def fail(*_: Any) -> None:
            raise RuntimeError("a secret of the house")

        monkeypatch.setattr(viewsets.BuildingViewSet, "get_queryset", fail)
        with caplog.at_level(logging.ERROR):
            problem = assert_problem(analyst.get("buildings/"), 500)
        assert "secret" not in json.dumps(problem)
        assert "a secret of the house" in caplog.text


class TestFilters:
    @pytest.mark.parametrize(
        ("query", "parameter", "hint"),
        [
            ("treatments/?binder=NHL", "binder", "NHL 3.5"),
            ("treatments/?applied_after=10.05.2014", "applied_after", "2025-09-15"),
            ("treatments/?applied_after=2014-02-30", "applied_after", "2025-09-15"),
            ("treatments/?layer=1.5", "layer", "whole number"),
            ("treatments/?found=maybe", "found", "true, false"),
            ("treatments/?section_id=S1", "section_id", "UUID"),
            ("readings/?taken_after=yesterday", "taken_after", "2025-09-15T10:00:00Z"),
            ("readings/?taken_after=9999-12-31T23:59:59-23:59", "taken_after", "2025-09-15T10:00:00Z"),
            ("readings/?min_canonical_value=NaN", "min_canonical_value", "number"),
            ("readings/?min_canonical_value=1e999", "min_canonical_value", ""),
            ("readings/?section=%00", "section", "ull"),
            ("readings/?page_size=0", "page_size", "1"),
            ("readings/?page_size=-5", "page_size", "1"),
            ("readings/?page_size=all", "page_size", "1"),
            ("readings/?ordering=note", "ordering", "taken_at"),
            ("readings/?ordering=--taken_at", "ordering", "taken_at"),
            ("readings/?cursor=abc", "cursor", "next"),
        ],
    )
    def test_a_bad_value_is_refused_with_how_to_mend_it(
        self, analyst: Program, query: str, parameter: str, hint: str
    ) -> None:
        (error,) = assert_problem(analyst.get(query), 400)["errors"]
        assert error["parameter"] == parameter
        assert hint in error["detail"]

    @pytest.mark.parametrize("number", ["9" * 30, "-" + "9" * 30])
    def test_a_number_beyond_the_database_finds_nothing(self, analyst: Program, number: str) -> None:
        assert analyst.results(f"treatments/?layer={number}") == []

    def test_every_wrong_parameter_is_named_at_once(self, analyst: Program) -> None:
        problem = assert_problem(analyst.get("readings/?colour=red&smell=damp"), 400)
        assert [error["parameter"] for error in problem["errors"]] == ["colour", "smell"]

    def test_what_was_changed_since_is_found(self, cast: Cast, analyst: Program) -> None:
        house = factories.building(cast.organisation)
        asked = house.changed_at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        assert len(analyst.results(f"buildings/?changed_after={asked}")) == 1
        assert analyst.results(f"buildings/?changed_before={asked}") == []


class TestPages:
    def test_the_page_size_is_capped(
        self, cast: Cast, analyst: Program, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(pagination, "LARGEST_PAGE_SIZE", 2)
        monkeypatch.setattr(pagination, "DEFAULT_PAGE_SIZE", 1)
        for _ in range(3):
            factories.building(cast.organisation)
        assert len(analyst.results("buildings/")) == 1
        assert len(analyst.results("buildings/?page_size=1000000")) == 2
        assert len(analyst.results("buildings/?page_size=2")) == 2

    def test_rows_entered_meanwhile_neither_shift_nor_repeat_any(self, cast: Cast, analyst: Program) -> None:
        for code in ("B", "D", "F"):
            factories.building(cast.organisation, code=code)
        first = analyst.get("buildings/?page_size=2").json()
        factories.building(cast.organisation, code="A")
        factories.building(cast.organisation, code="E")
        second = analyst.get(first["next"]).json()
        assert [row["code"] for row in first["results"] + second["results"]] == ["B", "D", "E", "F"]
        assert [row["code"] for row in analyst.get(second["previous"]).json()["results"]] == ["B", "D"]

    def test_times_are_told_apart_to_the_microsecond(self, cast: Cast, analyst: Program) -> None:
        wall = factories.section(cast.organisation)
        for step in (3, 1, 2):
            moment = factories.MOMENT + dt.timedelta(microseconds=step)
            factories.reading(cast.organisation, section=wall, taken_at=moment)
        url: str | None = "readings/?page_size=1"
        seen = []
        while url:
            page = analyst.get(url).json()
            seen += [row["taken_at"] for row in page["results"]]
            url = page["next"]
        assert seen == sorted(set(seen))
        assert len(seen) == 3

    def test_a_page_keeps_the_filters_of_the_first(self, cast: Cast, analyst: Program) -> None:
        for region in ("N", "S", "N"):
            factories.building(cast.organisation, region=region)
        first = analyst.get("buildings/?region=N&page_size=1").json()
        second = analyst.get(first["next"]).json()
        assert [row["region"] for row in second["results"]] == ["N"]
        assert second["next"] is None

    def test_a_cursor_belongs_to_its_order(self, cast: Cast, analyst: Program) -> None:
        for _ in range(2):
            factories.building(cast.organisation)
        following = analyst.get("buildings/?page_size=1").json()["next"]
        problem = assert_problem(analyst.get(f"{following}&ordering=name"), 400)
        assert problem["errors"][0]["parameter"] == "cursor"

    def test_the_links_stand_in_the_header_too(self, cast: Cast, analyst: Program) -> None:
        for _ in range(2):
            factories.building(cast.organisation)
        page = analyst.get("buildings/?page_size=1")
        assert page["Link"] == f'<{page.json()["next"]}>; rel="next"'
        assert 'rel="next"' in analyst.get("buildings/?page_size=1&format=csv")["Link"]


class TestCsv:
    def test_no_text_is_taken_for_a_formula(self, cast: Cast, analyst: Program) -> None:
        """As OWASP advises against CSV injection; numbers keep their sign."""
        name = '=HYPERLINK("http://example.org")'
        factories.building(cast.organisation, name=name, street="@here", locality="-12.5", region="a, b\n;")
        text = analyst.get("buildings/?format=csv").content.decode()
        (line,) = csv.DictReader(io.StringIO(text, newline=""))
        assert (line["name"], line["street"]) == (f"'{name}", "'@here")
        assert (line["locality"], line["region"]) == ("-12.5", "a, b\n;")

    def test_an_empty_list_names_its_columns(self, analyst: Program) -> None:
        (header,) = csv.reader(io.StringIO(analyst.get("assessments/?format=csv").content.decode()))
        assert header[:4] == ["building", "section", "as_of", "verdict"]
        assert "probability.trapped_water" in header
        assert "forecast.expected" in header


class TestDescription:
    def test_is_open_to_everybody_in_both_formats(self) -> None:
        assert Client().get(f"{ROOT}schema/").content.startswith(b"openapi: 3.1")
        assert description()["openapi"].startswith("3.1")
        assert Client().get(f"{ROOT}schema/?colour=red").status_code == 400
        assert Client().post(f"{ROOT}schema/").status_code == 405

    def test_is_generated_without_warnings_and_valid(self, tmp_path: Any) -> None:
        call_command("spectacular", validate=True, fail_on_warn=True, file=str(tmp_path / "openapi.yaml"))

    def test_names_every_parameter_that_is_taken(self) -> None:
        lists = {prefix: viewset for prefix, viewset, _ in router.registry}
        for name, viewset in {**lists, "log-series/{series}/values": LogValueViewSet}.items():
            described = description()["paths"][f"{ROOT}{name}/"]["get"]["parameters"]
            in_query = {parameter["name"] for parameter in described if parameter["in"] == "query"}
            assert in_query == set(viewset.filterset_class.base_filters) | GENERAL

    def test_says_of_every_endpoint_who_may_ask_and_what_can_go_wrong(self) -> None:
        reading = {"400", "401", "403", "404", "406", "429", "500", "503"}
        writing, changing = {"409", "413", "415"}, {"412", "428"}
        for path, operations in description()["paths"].items():
            for method, operation in operations.items():
                assert operation["security"] == [{"token": []}, {"session": []}]
                expected = reading if method == "get" else reading | writing
                if method == "patch" or (method != "get" and "{id}" in path):
                    expected = expected | changing
                if path.endswith(("/comparison/", "/sheet/", "/coat-sheet/")):
                    # A trial may be set up so that it can't be answered.
                    expected = expected | {"409"}
                problems = {status for status in operation["responses"] if status >= "400"}
                assert problems == expected, (method, path)
                for status in problems:
                    response = operation["responses"][status]
                    if "$ref" in response:
                        name = response["$ref"].rpartition("/")[2]
                        response = description()["components"]["responses"][name]
                    assert list(response["content"]) == ["application/problem+json"]

    def test_lists_are_described_as_csv_too_and_single_records_are_not(self) -> None:
        paths = description()["paths"]
        for name in (prefix for prefix, _, _ in router.registry):
            of_list = paths[f"{ROOT}{name}/"]["get"]["responses"]["200"]["content"]
            of_one = paths[f"{ROOT}{name}/{{id}}/"]["get"]["responses"]["200"]["content"]
            assert (set(of_list), set(of_one)) == ({"application/json", "text/csv"}, {"application/json"})
