"""The endpoints of instruments, visits and what was read, seen and logged on them."""

from __future__ import annotations

import csv
import io
import json
from typing import Any, ClassVar

import pytest

from inspections.models import (
    Allocation,
    CalibrationCheck,
    Instrument,
    Load,
    LogSeries,
    Photo,
    Reading,
    Trial,
    Visit,
)
from portfolio.models import Organisation
from tests.api import factories
from tests.api.base import EndpointTests
from tests.api.client import Program, assert_problem, schema_of, validator
from tests.api.writing import RecordEndpointTests, VoidableTests
from tests.support.cast import Cast


class TestInstruments(RecordEndpointTests):
    endpoint = "instruments"
    model = Instrument

    def make(self, organisation: Organisation) -> Any:
        return factories.instrument(organisation)

    change: ClassVar[dict[str, Any]] = {"resolution": 0.5}
    parent = None
    required = "code"
    is_assessed = False  # until it has read something

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {
            "code": f"M{factories.number()}",
            "kind": "moisture_meter",
            "scale": "relative",
            "maximum": 100.0,
        }


class TestCalibrationChecks(RecordEndpointTests):
    endpoint = "calibration-checks"
    model = CalibrationCheck

    def make(self, organisation: Organisation) -> Any:
        return factories.calibration_check(organisation)

    change: ClassVar[dict[str, Any]] = {"note": "after a new battery"}
    parent = ("instrument_id", "instrument")
    required = "shown"
    is_assessed = False  # until the instrument has read something

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        meter = factories.instrument(organisation)
        return {"instrument": meter.code, "checked_on": "2024-03-01", "reference": 50.0, "shown": 51.5}


class TestVisits(RecordEndpointTests):
    endpoint = "visits"
    model = Visit

    def make(self, organisation: Organisation) -> Any:
        return factories.visit(organisation)

    change: ClassVar[dict[str, Any]] = {"note": "no light in the cellar"}
    parent = ("building_id", "building")
    required = "day"

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {
            "building": factories.building(organisation).code,
            "day": "2024-03-01",
            "inspector": "GH",
            "person": "inspector",
            "reason": "event",
        }


class TestReadings(RecordEndpointTests):
    endpoint = "readings"
    model = Reading

    def make(self, organisation: Organisation) -> Any:
        return factories.reading(organisation)

    change: ClassVar[dict[str, Any]] = {"value": 0.75}
    parent = ("section_id", "section")
    required = "unit"

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {
            **factories.place(organisation),
            "taken_at": "2024-03-01T09:30:00Z",
            "quantity": "crack_width",
            "height_mm": 900.0,
            "value": 0.5,
            "unit": "in",
            "inspector": "GH",
        }

    def test_gives_the_value_as_entered_and_in_the_canonical_unit(self, cast: Cast, analyst: Program) -> None:
        """Half an inch is 12.7 mm by the inch's definition."""
        row = analyst.get(self.path_of(factories.reading(cast.organisation))).json()
        assert (row["value"], row["unit"], row["entered_value"]) == (0.5, "in", "0.50")
        assert (row["canonical_value"], row["canonical_unit"]) == (12.7, "mm")

    def test_filters_by_place_quantity_and_time(self, cast: Cast, analyst: Program) -> None:
        wanted = factories.reading(cast.organisation)
        wall = wanted.section
        factories.reading(cast.organisation, section=wall, quantity="salt_area", unit="m2")
        factories.reading(cast.organisation, section=wall, taken_at="2024-03-02T00:00Z")
        factories.reading(cast.organisation, section=wall, taken_at="2024-02-29T23:59Z")
        asked = (
            f"readings/?building={wall.building.code}&section={wall.code}&quantity=crack_width"
            "&taken_after=2024-03-01&taken_before=2024-03-02T01:00%2B01:00"
        )
        assert [row["id"] for row in analyst.results(asked)] == [str(wanted.pk)]

    def test_tells_where_the_scale_had_ended(self, cast: Cast, analyst: Program) -> None:
        exact = factories.reading(cast.organisation)
        above = factories.reading(cast.organisation, qualifier=">")
        assert [row["id"] for row in analyst.results("readings/?censored=true")] == [str(above.pk)]
        assert [row["id"] for row in analyst.results("readings/?censored=false")] == [str(exact.pk)]
        assert [row["id"] for row in analyst.results("readings/?qualifier=%3E")] == [str(above.pk)]

    def test_csv_has_the_columns_of_the_record_files(self, cast: Cast, analyst: Program) -> None:
        factories.reading(cast.organisation)
        (line,) = csv.DictReader(io.StringIO(analyst.get("readings/?format=csv").content.decode()))
        contract = (
            "building, section, taken_at, quantity, height_mm, depth_mm, instrument, value, unit, "
            "qualifier, inspector, note, point, replicate, duration_h"
        )
        assert set(contract.split(", ")) <= set(line)
        assert (line["value"], line["depth_mm"], line["replicate"]) == ("0.5", "", "1")


class TestLogSeries(RecordEndpointTests):
    endpoint = "log-series"
    model = LogSeries

    def make(self, organisation: Organisation) -> Any:
        return factories.log_series(organisation)

    change: ClassVar[dict[str, Any]] = {"source": "cellar.csv, RH"}
    parent = ("section_id", "section")
    required = "quantity"

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {**factories.place(organisation), "quantity": "air_humidity", "unit": "percent_rh"}


class TestLogValues:
    """The values of one logger series; they have no ids of their own."""

    @pytest.fixture
    def analyst(self, cast: Cast) -> Program:
        return Program(cast.analyst, cast.organisation)

    def test_gives_the_values_in_time_page_by_page(self, cast: Cast, analyst: Program) -> None:
        series = factories.log_series(cast.organisation)
        values = [factories.log_value(series) for _ in range(3)]
        factories.log_value(factories.log_series(cast.organisation))
        page = json.loads(analyst.get(f"log-series/{series.pk}/values/?page_size=2").content)
        validator(schema_of("log-series/{series}/values/")).validate(page)
        rest = json.loads(analyst.get(page["next"]).content)
        times = [row["at"] for row in page["results"] + rest["results"]]
        assert times == [value.at.strftime("%Y-%m-%dT%H:%M:%SZ") for value in values]
        assert rest["next"] is None

    def test_is_refused_as_everywhere(self, cast: Cast, analyst: Program) -> None:
        path = f"log-series/{factories.log_series(cast.other_organisation).pk}/values/"
        assert_problem(analyst.get(path), 404)
        own = f"log-series/{factories.log_series(cast.organisation).pk}/values/"
        assert_problem(analyst.get(f"{own}?colour=red"), 400)
        assert_problem(analyst.ask("DELETE", own), 405)
        assert_problem(analyst.get("log-series/none/values/"), 404)

    def test_is_given_as_csv(self, cast: Cast, analyst: Program) -> None:
        series = factories.log_series(cast.organisation)
        factories.log_value(series)
        lines = analyst.get(f"log-series/{series.pk}/values/?format=csv").content.decode().splitlines()
        assert lines[0] == "at,value"
        assert lines[1].endswith(",61.5")


class TestPhotos(VoidableTests):
    endpoint = "photos"
    model = Photo
    of_the_list = "GET, HEAD, POST"

    def make(self, organisation: Organisation) -> Any:
        return factories.photo(organisation)

    change: ClassVar[dict[str, Any]] = {"caption": "the foot of the north wall"}


class TestTrials(RecordEndpointTests):
    endpoint = "trials"
    model = Trial

    def make(self, organisation: Organisation) -> Any:
        return factories.trial(organisation)

    change: ClassVar[dict[str, Any]] = {"question": "Does the coat with casein last longer?"}
    parent = None
    required = "outcome"
    is_assessed = False

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        return {"code": f"N{factories.number()}", "outcome": "affected_area_rate", "started_on": "2024-03-01"}

    def test_is_found_by_its_code(self, cast: Cast, analyst: Program) -> None:
        trial = factories.trial(cast.organisation, code="T1")
        factories.trial(cast.other_organisation, code="T1")
        assert analyst.get("trials/T1/").json()["id"] == str(trial.pk)


class TestAllocations(RecordEndpointTests):
    endpoint = "allocations"
    model = Allocation

    def make(self, organisation: Organisation) -> Any:
        return factories.allocation(organisation)

    change: ClassVar[dict[str, Any]] = {"note": "drawn from a hat"}
    parent = ("section_id", "section")
    required = "arm"
    is_assessed = False

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        question = factories.trial(organisation)
        return {**factories.place(organisation), "trial": question.code, "arm": "A", "allocated_by": "random"}


class TestLoads(EndpointTests):
    endpoint = "loads"
    model = Load

    def make(self, organisation: Organisation) -> Any:
        return factories.load(organisation)
