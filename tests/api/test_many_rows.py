"""Many rows at once: readings with the columns of the record file, and the values of a logger's series."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.models import LogSeries, LogValue, Reading, Visit
from inspections.records import RecordsRefused, bulk, load_folder
from portfolio.models import Change, Reassessment
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, description, validator
from tests.support.cast import Cast

BULK = "readings/bulk/"
COLUMNS = [
    "building",
    "section",
    "taken_at",
    "quantity",
    "height_mm",
    "depth_mm",
    "instrument",
    "value",
    "unit",
    "qualifier",
    "inspector",
    "note",
    "point",
    "replicate",
    "duration_h",
]


@pytest.fixture
def manager(cast: Cast) -> Program:
    return Program(cast.manager, cast.organisation)


@pytest.fixture
def rows(cast: Cast) -> list[dict[str, Any]]:
    """A visit's readings of one wall."""
    place = factories.place(cast.organisation)
    reading = {**place, "taken_at": "2024-03-01T10:00", "quantity": "crack_width", "unit": "in"}
    return [
        {**reading, "height_mm": height, "value": 0.5, "inspector": "GH"} for height in (300, 900, 1500.5)
    ]


class TestReadings:
    def test_enters_all_rows_and_the_same_again_changes_nothing(
        self, cast: Cast, manager: Program, rows: list[dict[str, Any]]
    ) -> None:
        answer = manager.send("POST", BULK, rows)
        assert answer.status_code == 200, answer.content
        assert answer.json() == {"new": 3, "changed": 0, "unchanged": 0}
        assert [row.value for row in Reading.objects.all()] == [pytest.approx(12.7)] * 3
        assert {row.entered_by for row in Reading.objects.all()} == {cast.manager}
        assert Visit.objects.get().inspector == "GH"
        (asked,) = Reassessment.objects.all()
        assert asked.building.code == rows[0]["building"]
        assert manager.send("POST", BULK, rows).json() == {"new": 0, "changed": 0, "unchanged": 3}
        assert (Reading.objects.count(), Reassessment.objects.count()) == (3, 1)

    def test_a_row_with_a_known_key_corrects_and_keeps_the_old_value(
        self, cast: Cast, manager: Program, rows: list[dict[str, Any]]
    ) -> None:
        manager.send("POST", BULK, rows)
        answer = manager.send("POST", BULK, [{**rows[0], "value": "0.75"}, rows[1]])
        assert answer.json() == {"new": 0, "changed": 1, "unchanged": 1}
        (change,) = Change.objects.of(cast.organisation).filter(model="reading")
        assert change.fields["entered_value"] == ["0.5", "0.75"]
        assert change.by == cast.manager

    def test_answers_with_the_imports_own_errors(
        self, cast: Cast, manager: Program, rows: list[dict[str, Any]], tmp_path: Path
    ) -> None:
        """The same rows as a file are refused in the same words; its lines count the header too."""
        bad = [
            {**rows[0], "unit": "degC"},
            {**rows[1], "quantity": "surfacemoisture"},
            {**rows[2], "taken_at": "yesterday", "value": "1,5"},
            {**rows[2], "section": "S9"},
            {**rows[2], "building": "H9"},
            rows[2],
            {**rows[2], "value": None},
        ]
        problem = assert_problem(manager.send("POST", BULK, bad), 400)
        with (tmp_path / "readings.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS)
            writer.writeheader()
            writer.writerows(bad)
        with pytest.raises(RecordsRefused) as refused:
            load_folder(tmp_path, cast.organisation.slug)
        in_file = [(fault.line - 1, fault.column, fault.problem) for fault in refused.value.errors]
        assert [(e["row"], e["column"], e["detail"]) for e in problem["errors"]] == in_file
        assert len(in_file) >= 7
        assert str(len(in_file)) in problem["detail"]
        assert not Reading.objects.exists()
        assert not Visit.objects.exists()

    def test_an_unknown_column_is_named_with_its_row(
        self, manager: Program, rows: list[dict[str, Any]]
    ) -> None:
        problem = assert_problem(manager.send("POST", BULK, [rows[0], {**rows[1], "heigth_mm": 2}]), 400)
        (error,) = problem["errors"]
        assert (error["row"], error["column"]) == (2, "heigth_mm")
        assert "height_mm" in error["detail"]

    def test_many_errors_are_counted_and_the_first_given(
        self, manager: Program, rows: list[dict[str, Any]]
    ) -> None:
        problem = assert_problem(manager.send("POST", BULK, [{**rows[0], "unit": ""}] * 80), 400)
        assert len(problem["errors"]) == 50
        assert problem["detail"].startswith("80 errors")

    def test_another_organisations_wall_does_not_exist(self, cast: Cast, manager: Program) -> None:
        row = {**factories.place(cast.other_organisation), "taken_at": "2024-03-01T10:00"}
        row |= {"quantity": "crack_width", "unit": "mm", "value": "1"}
        problem = assert_problem(manager.send("POST", BULK, [row]), 400)
        assert {error["column"] for error in problem["errors"]} == {"building"}

    def test_is_refused_as_everywhere(self, cast: Cast, manager: Program, rows: list[dict[str, Any]]) -> None:
        body = json.dumps(rows)
        assert_problem(Client().post(ROOT + BULK, body, "application/json"), 401)
        assert_problem(Program(cast.analyst, cast.organisation).send("POST", BULK, rows), 403)
        assert_problem(manager.send("POST", f"{BULK}?colour=red", rows), 400)
        assert_problem(manager.get(BULK), 405)
        for sent in ({}, [], "rows", None, [1], [[1]], [{"building": {"code": 1}}]):
            assert_problem(manager.send("POST", BULK, sent), 400)

    def test_too_many_rows_are_refused(
        self, manager: Program, rows: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        assert_problem(manager.send("POST", BULK, [{}] * (bulk.MOST_ROWS + 1)), 413)

    def test_thirty_rows_cost_no_more_queries_than_three(
        self, manager: Program, rows: list[dict[str, Any]]
    ) -> None:
        manager.send("POST", BULK, [{**rows[0], "height_mm": 1}])
        counts = []
        for day, number in (("02", 3), ("03", 30)):
            sent = [
                {**rows[0], "taken_at": f"2024-03-{day}", "height_mm": height} for height in range(number)
            ]
            with CaptureQueriesContext(connection) as queries:
                assert manager.send("POST", BULK, sent).json()["new"] == number
            counts.append(len(queries))
        assert counts[0] == counts[1]

    def test_is_described_by_the_columns_of_the_file(self, rows: list[dict[str, Any]]) -> None:
        body = description()["paths"][ROOT + BULK]["post"]["requestBody"]
        schema = body["content"]["application/json"]["schema"]
        assert list(schema["items"]["properties"]) == COLUMNS
        validator(schema).validate(rows)


class TestLogValues:
    @pytest.fixture
    def series(self, cast: Cast) -> LogSeries:
        return factories.log_series(cast.organisation)

    def path(self, series: LogSeries) -> str:
        return f"log-series/{series.pk}/values/"

    def test_enters_values_once(self, cast: Cast, manager: Program, series: LogSeries) -> None:
        sent = [
            {"at": "2024-03-01T10:00:00Z", "value": 61.5},
            {"at": "2024-03-01T12:00+01:00", "value": "62"},
        ]
        assert manager.send("POST", self.path(series), sent).json() == {
            "new": 2,
            "changed": 0,
            "unchanged": 0,
        }
        assert [row["value"] for row in manager.results(self.path(series))] == [61.5, 62.0]
        assert [row.building_id for row in Reassessment.objects.all()] == [series.building_id]
        again = [*sent, {"at": "2024-03-01T13:00:00Z", "value": -0.0}]
        assert manager.send("POST", self.path(series), again).json() == {
            "new": 1,
            "changed": 0,
            "unchanged": 2,
        }
        assert LogValue.objects.count() == 3

    def test_a_logged_value_is_not_changed(self, manager: Program, series: LogSeries) -> None:
        manager.send("POST", self.path(series), [{"at": "2024-03-01", "value": 61.5}])
        sent = [{"at": "2024-03-02", "value": 1}, {"at": "2024-03-01", "value": 61}]
        problem = assert_problem(manager.send("POST", self.path(series), sent), 400)
        (error,) = problem["errors"]
        assert (error["row"], error["column"]) == (2, "value")
        assert "61.5" in error["detail"]
        assert LogValue.objects.count() == 1

    @pytest.mark.parametrize(
        ("row", "column"),
        [
            ({"at": "today", "value": 1}, "at"),
            ({"at": None, "value": 1}, "at"),
            ({"at": "2024-03-01"}, "value"),
            ({"at": "2024-03-01", "value": "1e999"}, "value"),
            ({"at": "2024-03-01", "value": True}, "value"),
            ({"at": "2024-03-01", "value": 1, "unit": "mm"}, "unit"),
        ],
    )
    def test_bad_rows_are_named(self, manager: Program, series: LogSeries, row: Any, column: str) -> None:
        good = {"at": "2024-03-05", "value": 1}
        problem = assert_problem(manager.send("POST", self.path(series), [good, row]), 400)
        assert [(error["row"], error["column"]) for error in problem["errors"]] == [(2, column)]
        assert not LogValue.objects.exists()

    def test_is_refused_as_everywhere(self, cast: Cast, manager: Program, series: LogSeries) -> None:
        sent = [{"at": "2024-03-01", "value": 1}]
        body = json.dumps(sent)
        assert_problem(Client().post(ROOT + self.path(series), body, "application/json"), 401)
        assert_problem(Program(cast.analyst, cast.organisation).send("POST", self.path(series), sent), 403)
        theirs = factories.log_series(cast.other_organisation)
        assert_problem(manager.send("POST", self.path(theirs), sent), 404)
        assert_problem(manager.send("POST", f"{self.path(series)}?colour=red", sent), 400)
