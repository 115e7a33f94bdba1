"""What every endpoint must do; each endpoint's test class inherits it."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any, ClassVar

import pytest
from django.db import connection
from django.db.models import Model
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.api.urls import router
from portfolio.api.base import Records
from portfolio.models import Organisation
from tests.api.client import ROOT, Program, assert_problem, schema_of, validator
from tests.support.cast import Cast

WRITES = ("POST", "PUT", "PATCH", "DELETE")
READING = "GET, HEAD"


def viewset_of(endpoint: str) -> type[Records]:
    return next(viewset for prefix, viewset, _ in router.registry if prefix == endpoint)


class EndpointTests:
    """Inherit, name the endpoint and its model, and say how to make one record of an organisation."""

    endpoint: ClassVar[str]
    model: ClassVar[type[Model]]
    #: The methods that the list and each record take.
    of_the_list: ClassVar[str] = READING
    of_a_record: ClassVar[str] = READING

    def make(self, organisation: Organisation) -> Any:
        raise NotImplementedError

    # What the tests stand on -----------------------------------------------------------------------------

    @pytest.fixture
    def ours(self, cast: Cast) -> list[Any]:
        return [self.make(cast.organisation) for _ in range(3)]

    @pytest.fixture
    def theirs(self, cast: Cast) -> Any:
        return self.make(cast.other_organisation)

    @pytest.fixture
    def analyst(self, cast: Cast) -> Program:
        return Program(cast.analyst, cast.organisation)

    @property
    def list_path(self) -> str:
        return f"{self.endpoint}/"

    def path_of(self, record: Any) -> str:
        return f"{self.endpoint}/{record.pk}/"

    def scoped(self, organisation: Organisation) -> set[str]:
        """The ids of all that the organisation has."""
        return {str(pk) for pk in self.model.objects.of(organisation).values_list("pk", flat=True)}

    def list_queries(self, program: Program) -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            program.results(self.list_path)
        return len(queries)

    # Who may read ------------------------------------------------------------------------------------------

    def test_anonymous_is_refused(self, ours: list[Any]) -> None:
        for path in (self.list_path, self.path_of(ours[0])):
            response = Client().get(ROOT + path)
            assert_problem(response, 401)
            assert response["WWW-Authenticate"].startswith("Bearer")

    def test_every_member_reads(self, cast: Cast, ours: list[Any]) -> None:
        for member in cast.members:
            program = Program(member, cast.organisation)
            assert {row["id"] for row in program.results(self.list_path)} == self.scoped(cast.organisation)
            assert json.loads(program.get(self.path_of(ours[0])).content)["id"] == str(ours[0].pk)

    def test_what_is_another_organisations_does_not_exist(
        self, cast: Cast, ours: list[Any], theirs: Any
    ) -> None:
        outsider = Program(cast.outsider, cast.other_organisation)
        assert_problem(outsider.get(self.path_of(ours[0])), 404)
        seen = {row["id"] for row in outsider.results(self.list_path)}
        assert str(theirs.pk) in seen
        assert seen.isdisjoint(str(record.pk) for record in ours)

    def test_an_unknown_id_is_not_found(self, analyst: Program) -> None:
        for key in ("00000000-0000-4000-8000-000000000000", "no-such-thing", "%00"):
            assert_problem(analyst.get(f"{self.endpoint}/{key}/"), 404)

    def test_no_other_method_is_taken(self, cast: Cast, ours: list[Any]) -> None:
        owner = Program(cast.owner, cast.organisation)
        for path, taken in (
            (self.list_path, self.of_the_list),
            (self.path_of(ours[0]), self.of_a_record),
        ):
            for method in {*WRITES, "OPTIONS"} - set(taken.split(", ")):
                response = owner.ask(method, path)
                assert_problem(response, 405)
                assert response["Allow"] == taken

    # What can be asked ----------------------------------------------------------------------------------

    def test_an_unknown_parameter_is_refused_and_named(self, analyst: Program, ours: list[Any]) -> None:
        for path in (self.list_path, self.path_of(ours[0])):
            problem = assert_problem(analyst.get(f"{path}?colour=red"), 400)
            assert [error["parameter"] for error in problem["errors"]] == ["colour"]
            assert "format" in problem["errors"][0]["detail"]

    def test_every_described_parameter_is_known(self, analyst: Program, ours: list[Any]) -> None:
        """Each filter is really filtered by: with a value of its kind it answers, and never fails."""
        for name, field in viewset_of(self.endpoint).filterset_class.base_filters.items():
            value = _a_value_for(field)
            response = analyst.get(f"{self.list_path}?{name}={value}")
            assert response.status_code == 200, (name, value, response.content)
            assert_problem(analyst.get(f"{self.list_path}?{name}="), 400)
            assert_problem(analyst.get(f"{self.list_path}?{name}={value}&{name}={value}"), 400)

    def test_pages_hold_every_row_once_in_every_order(self, analyst: Program, ours: list[Any]) -> None:
        for name in viewset_of(self.endpoint).orderings:
            for ordering in (name, f"-{name}"):
                whole = [row["id"] for row in analyst.results(f"{self.list_path}?ordering={ordering}")]
                pages = list(_pages(analyst, f"{self.list_path}?ordering={ordering}&page_size=1"))
                assert [row["id"] for page in pages for row in page["results"]] == whole
                back = list(_pages(analyst, pages[-1]["previous"], "previous")) if len(pages) > 1 else []
                assert [page["results"] for page in back] == [page["results"] for page in pages[-2::-1]]

    def test_the_reverse_order_is_the_order_reversed(self, analyst: Program, ours: list[Any]) -> None:
        for name in viewset_of(self.endpoint).orderings:
            forth = [row["id"] for row in analyst.results(f"{self.list_path}?ordering={name}")]
            back = [row["id"] for row in analyst.results(f"{self.list_path}?ordering=-{name}")]
            assert forth == back[::-1]

    def test_three_rows_cost_no_more_queries_than_one(self, cast: Cast, analyst: Program) -> None:
        self.make(cast.organisation)
        for_one = self.list_queries(analyst)
        self.make(cast.organisation)
        self.make(cast.organisation)
        assert self.list_queries(analyst) == for_one == 2, "who asks, and the page"

    # In which shape ------------------------------------------------------------------------------------

    def test_the_answers_are_as_described(self, analyst: Program, ours: list[Any]) -> None:
        page = json.loads(analyst.get(f"{self.list_path}?page_size=2").content)
        validator(schema_of(self.list_path)).validate(page)
        one = json.loads(analyst.get(self.path_of(ours[0])).content)
        schema = schema_of(f"{self.endpoint}/{{id}}/")
        validator(schema).validate(one)
        described = validator(schema).schema["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
        assert set(one) == set(described["properties"])

    def test_a_list_gives_each_record_as_it_is_given_alone(self, analyst: Program, ours: list[Any]) -> None:
        """Lists are read as columns, single records by their serializer: the same text for both."""
        for row in analyst.results(self.list_path):
            alone = json.loads(analyst.get(f"{self.endpoint}/{row['id']}/").content)
            assert json.dumps(row) == json.dumps(alone)
            assert len(row) > 1

    def test_the_list_is_given_as_csv(self, analyst: Program, ours: list[Any]) -> None:
        rows = analyst.results(self.list_path)
        for response in (
            analyst.get(f"{self.list_path}?format=csv"),
            analyst.get(self.list_path, accept="text/csv"),
        ):
            assert response.status_code == 200
            assert response["Content-Type"] == "text/csv; charset=utf-8"
            lines = list(csv.DictReader(io.StringIO(response.content.decode(), newline="")))
            assert [line["id"] for line in lines] == [row["id"] for row in rows]
            for line, row in zip(lines, rows, strict=True):
                assert {name: line[name] for name in row if isinstance(row[name], str)} == {
                    name: value for name, value in row.items() if isinstance(value, str)
                }

    def test_an_empty_list_as_csv_still_names_its_columns(self, cast: Cast, analyst: Program) -> None:
        line = analyst.get(f"{self.list_path}?format=csv&page_size=1").content.decode().splitlines()[0]
        assert line.split(",")[0] in ("id", "building")

    def test_a_record_carries_its_revision(self, analyst: Program, ours: list[Any]) -> None:
        response = analyst.get(self.path_of(ours[0]))
        if viewset_of(self.endpoint).is_tagged:
            assert response["ETag"] == ('"1"' if hasattr(ours[0], "revision") else response["ETag"])
            assert analyst.get(self.path_of(ours[0]))["ETag"] == response["ETag"]
        else:
            assert "ETag" not in response

    def test_answers_are_not_kept_by_caches(self, analyst: Program) -> None:
        assert analyst.get(self.list_path)["Cache-Control"] == "private, no-store"


def _pages(program: Program, url: str, towards: str = "next") -> Iterator[dict[str, Any]]:
    next_url: str | None = url
    while next_url:
        page = json.loads(program.get(next_url).content)
        yield page
        next_url = page[towards]


def _a_value_for(field: Any) -> str:
    """Any value that the filter takes."""
    if "choices" in field.extra:
        return str(field.extra["choices"][0][0]).replace(" ", "%20")
    return {
        "UUIDField": "00000000-0000-4000-8000-000000000000",
        "DecimalField": "0.5",
        "IntegerField": "1",
        "_IsoDate": "2024-03-01",
        "_IsoMoment": "2024-03-01T12:00:00Z",
    }.get(field.field_class.__name__, "anything")
