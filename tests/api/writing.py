"""What every endpoint must do that records are entered, corrected and voided at; test classes inherit it."""

from __future__ import annotations

import json
import uuid
from typing import Any, ClassVar

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from portfolio.models import Change, Organisation, Reassessment
from tests.api.base import EndpointTests
from tests.api.client import ROOT, Program, assert_problem, description, schema_of, validator
from tests.support.cast import Cast

NOBODYS = "00000000-0000-4000-8000-00000000abcd"


class VoidableTests(EndpointTests):
    """For records that are corrected, and voided rather than deleted. Needs a `change` besides."""

    of_a_record = "GET, HEAD, PUT, PATCH"
    #: One field with a new value that differs from what the factory gives, and its name in the history.
    change: ClassVar[dict[str, Any]]
    history_name: ClassVar[str] = ""
    #: Whether a house's assessment rests on it.
    is_assessed: ClassVar[bool] = True

    @pytest.fixture
    def manager(self, cast: Cast) -> Program:
        return Program(cast.manager, cast.organisation)

    def correct(self, program: Program, record: Any, tag: str = '"1"', **more: Any) -> HttpResponse:
        return program.send("PATCH", self.path_of(record), {**self.change, **more}, **{"if-match": tag})

    def void(
        self, program: Program, record: Any, tag: str = '"1"', reason: str = "entered twice"
    ) -> HttpResponse:
        return program.send("POST", f"{self.path_of(record)}void/", {"reason": reason}, **{"if-match": tag})

    # Who may correct ---------------------------------------------------------------------------------------

    def test_only_who_may_write_corrects_and_voids(self, cast: Cast, theirs: Any) -> None:
        ours = self.make(cast.organisation)
        analyst = Program(cast.analyst, cast.organisation)
        outsider = Program(cast.outsider, cast.other_organisation)
        for answer in (self.correct(analyst, ours), self.void(analyst, ours)):
            assert "analyst" in assert_problem(answer, 403)["detail"]
        for answer in (self.correct(outsider, ours), self.void(outsider, ours)):
            assert_problem(answer, 404)
        for path in (self.path_of(ours), f"{self.path_of(ours)}void/"):
            method = "POST" if path.endswith("void/") else "PATCH"
            answer = Client().generic(method, ROOT + path, "{}", "application/json")
            assert_problem(answer, 401)
        ours.refresh_from_db()
        assert (ours.revision, ours.voided_at) == (1, None)
        assert not Change.objects.exists()

    def test_every_writing_role_corrects(self, cast: Cast) -> None:
        for person in (cast.owner, cast.manager, cast.inspector):
            assert (
                self.correct(Program(person, cast.organisation), self.make(cast.organisation)).status_code
                == 200
            )

    # Which state is corrected ---------------------------------------------------------------------------

    def test_a_change_says_what_it_is_made_to(self, cast: Cast, manager: Program) -> None:
        ours = self.make(cast.organisation)
        for path, method, sent in (
            (self.path_of(ours), "PATCH", self.change),
            (self.path_of(ours), "PUT", self.change),
            (f"{self.path_of(ours)}void/", "POST", {"reason": "twice"}),
        ):
            assert "If-Match" in assert_problem(manager.send(method, path, sent), 428)["detail"]
            for tag in ('"7"', 'W/"1"', "1", '"1'):
                assert_problem(manager.send(method, path, sent, **{"if-match": tag}), 412)
        assert self.correct(manager, ours, '"7", "1"').status_code == 200
        assert_problem(self.correct(manager, ours), 412)
        assert self.void(manager, ours, "*").status_code == 200

    def test_a_correction_keeps_the_old_value_beside_the_new(self, cast: Cast, manager: Program) -> None:
        ours = self.make(cast.organisation)
        answer = self.correct(manager, ours, change_reason="measured again")
        assert answer.status_code == 200, answer.content
        assert answer["ETag"] == '"2"'
        given = json.loads(answer.content)
        validator(schema_of(f"{self.endpoint}/{{id}}/")).validate(given)
        ((name, value),) = self.change.items()
        assert given[name] == value
        assert json.loads(manager.get(self.path_of(ours)).content) == given
        (change,) = Change.objects.of(cast.organisation).filter(record_id=ours.pk)
        assert (change.by, change.reason) == (cast.manager, "measured again")
        old, new = change.fields[self.history_name or name]
        assert old != new

    def test_a_correction_to_the_same_is_none(self, cast: Cast, manager: Program) -> None:
        ours = self.make(cast.organisation)
        self.correct(manager, ours)
        assert self.correct(manager, ours, '"2"')["ETag"] == '"2"'
        assert Change.objects.filter(record_id=ours.pk).count() == 1

    def test_no_other_field_is_taken(self, cast: Cast, manager: Program) -> None:
        ours = self.make(cast.organisation)
        for name in ("colour", "entered_at", "revision", "voided_at"):
            problem = assert_problem(self.correct(manager, ours, **{name: "red"}), 400)
            assert [error["field"] for error in problem["errors"]] == [name]
        assert_problem(self.correct(manager, ours, id=NOBODYS), 409)
        for sent in ([], "text", None, {"note": {"a": 1}}, {"note": ["a"]}):
            answer = manager.send("PATCH", self.path_of(ours), sent, **{"if-match": '"1"'})
            assert_problem(answer, 400)

    def test_corrections_cost_no_more_queries_among_many(self, cast: Cast, manager: Program) -> None:
        counts = []
        for _ in range(3):
            record = self.make(cast.organisation)
            with CaptureQueriesContext(connection) as queries:
                self.correct(manager, record)
            counts.append(len(queries))
        assert counts[0] == counts[-1]

    # Voiding ------------------------------------------------------------------------------------------------

    def test_a_voided_record_stays_with_its_reason(self, cast: Cast, manager: Program) -> None:
        ours = self.make(cast.organisation)
        assert_problem(self.void(manager, ours, reason=""), 400)
        answer = self.void(manager, ours)
        assert (answer.status_code, answer["ETag"]) == (200, '"2"'), answer.content
        given = json.loads(answer.content)
        assert given["voided_at"]
        assert given["void_reason"] == "entered twice"
        assert str(ours.pk) not in {row["id"] for row in manager.results(f"{self.endpoint}/")}
        assert manager.get(self.path_of(ours)).status_code == 200
        assert "voided" in assert_problem(self.void(manager, ours, '"2"'), 409)["detail"]
        assert_problem(self.correct(manager, ours, '"2"'), 409)
        (change,) = Change.objects.of(cast.organisation).filter(record_id=ours.pk)
        assert change.fields["void_reason"] == ["", "entered twice"]

    def test_what_was_voided_is_only_listed_where_asked_for(self, analyst: Program, ours: list[Any]) -> None:
        self.model.objects.filter(pk=ours[0].pk).update(voided_at="2024-05-01T00:00Z", void_reason="twice")
        gone = str(ours[0].pk)
        assert gone not in {row["id"] for row in analyst.results(self.list_path)}
        assert gone not in {row["id"] for row in analyst.results(f"{self.list_path}?voided=false")}
        assert {row["id"] for row in analyst.results(f"{self.list_path}?voided=true")} == {gone}
        assert json.loads(analyst.get(self.path_of(ours[0])).content)["void_reason"] == "twice"

    def test_nothing_is_deleted(self, cast: Cast, manager: Program) -> None:
        ours = self.make(cast.organisation)
        assert_problem(manager.send("DELETE", self.path_of(ours), None, **{"if-match": '"1"'}), 405)
        assert self.model.objects.filter(pk=ours.pk).exists()

    def test_the_house_waits_to_be_assessed_anew(self, cast: Cast, manager: Program) -> None:
        ours = self.make(cast.organisation)
        houses = set(ours.building_ids())
        assert bool(houses) == self.is_assessed
        self.correct(manager, ours)
        assert set(Reassessment.objects.values_list("building_id", flat=True)) >= houses
        Reassessment.objects.all().delete()
        self.void(manager, ours, '"2"')
        assert set(Reassessment.objects.values_list("building_id", flat=True)) == houses


class RecordEndpointTests(VoidableTests):
    """For records that people enter. Needs a `payload` besides, and names its parent and a required field."""

    of_the_list = "GET, HEAD, POST"

    #: A field that names a parent by id, the way to it from a record, and a field that may not be left out.
    parent: ClassVar[tuple[str, str] | None]
    required: ClassVar[str]

    def payload(self, organisation: Organisation) -> dict[str, Any]:
        raise NotImplementedError

    def enter(self, program: Program, payload: dict[str, Any]) -> HttpResponse:
        return program.send("POST", f"{self.endpoint}/", payload)

    def count(self) -> int:
        return self.model.objects.count()

    def test_only_who_may_write_enters(self, cast: Cast) -> None:
        payload, before = self.payload(cast.organisation), self.count()
        assert_problem(self.enter(Program(cast.analyst, cast.organisation), payload), 403)
        body = json.dumps(payload)
        assert_problem(Client().post(f"{ROOT}{self.endpoint}/", body, "application/json"), 401)
        assert self.count() == before
        assert self.enter(Program(cast.inspector, cast.organisation), payload).status_code == 201

    def test_an_entered_record_is_given_back(self, cast: Cast, manager: Program) -> None:
        payload = {"id": str(uuid.uuid4()), **self.payload(cast.organisation)}
        answer = self.enter(manager, payload)
        assert (answer.status_code, answer["ETag"]) == (201, '"1"'), answer.content
        assert answer["Location"].endswith(f"{ROOT}{self.endpoint}/{payload['id']}/")
        given = json.loads(answer.content)
        validator(schema_of(f"{self.endpoint}/{{id}}/")).validate(given)
        assert {name: given[name] for name in payload} == payload
        assert given["entered_by"] == "manager"
        assert json.loads(manager.get(answer["Location"]).content) == given
        record = self.model.objects.of(cast.organisation).get(pk=payload["id"])
        assert set(Reassessment.objects.values_list("building_id", flat=True)) == set(record.building_ids())

    def test_what_is_sent_is_as_described(self, cast: Cast) -> None:
        path = f"{ROOT}{self.endpoint}/"
        for method, where in (("post", path), ("put", f"{path}{{id}}/")):
            schema = description()["paths"][where][method]["requestBody"]["content"]["application/json"][
                "schema"
            ]
            validator(schema).validate(self.payload(cast.organisation))

    def test_an_id_is_made_where_none_is_sent(self, cast: Cast, manager: Program) -> None:
        answer = self.enter(manager, self.payload(cast.organisation))
        assert answer.status_code == 201
        assert uuid.UUID(json.loads(answer.content)["id"])

    def test_the_same_again_gives_the_first(self, cast: Cast, manager: Program) -> None:
        payload = {"id": str(uuid.uuid4()), **self.payload(cast.organisation)}
        first = self.enter(manager, payload)
        before = (self.count(), Reassessment.objects.count())
        again = self.enter(manager, payload)
        assert (again.status_code, again.content) == (200, first.content)
        assert (self.count(), Reassessment.objects.count()) == before

    def test_a_late_repeat_changes_nothing_of_a_correction(self, cast: Cast, manager: Program) -> None:
        payload = {"id": str(uuid.uuid4()), **self.payload(cast.organisation)}
        self.enter(manager, payload)
        record = self.model.objects.get(pk=payload["id"])
        corrected = self.correct(manager, record)
        assert corrected.status_code == 200, corrected.content
        again = self.enter(manager, payload)
        assert (again.status_code, again.content) == (200, corrected.content)

    def test_another_payload_under_the_same_id_is_at_odds(self, cast: Cast, manager: Program) -> None:
        payload = {"id": str(uuid.uuid4()), **self.payload(cast.organisation)}
        first = self.enter(manager, payload)
        assert_problem(self.enter(manager, {**payload, **self.change}), 409)
        assert manager.get(first["Location"]).content == first.content

    def test_an_id_of_another_organisation_is_taken(self, cast: Cast, manager: Program, theirs: Any) -> None:
        payload = {**self.payload(cast.organisation), "id": str(theirs.pk)}
        problem = assert_problem(self.enter(manager, payload), 409)
        assert "other values" not in problem["detail"]
        theirs.refresh_from_db()
        assert theirs.revision == 1

    def test_a_bad_id_and_an_unknown_field_are_named(self, cast: Cast, manager: Program) -> None:
        payload = self.payload(cast.organisation)
        for name, value in (("id", "1"), ("id", 1), ("colour", "red"), ("entered_by", "owner")):
            problem = assert_problem(self.enter(manager, {**payload, name: value}), 400)
            assert [error["field"] for error in problem["errors"]] == [name]

    def test_a_missing_field_is_named(self, cast: Cast, manager: Program) -> None:
        payload = self.payload(cast.organisation)
        for sent in ({**payload, self.required: ""}, {**payload, self.required: None}):
            problem = assert_problem(self.enter(manager, sent), 400)
            assert self.required in [error["field"] for error in problem["errors"]]
        del payload[self.required]
        assert_problem(self.enter(manager, payload), 400)
        assert_problem(self.enter(manager, {}), 400)

    def test_another_organisations_parent_does_not_exist(
        self, cast: Cast, manager: Program, theirs: Any
    ) -> None:
        if self.parent is None:
            return
        field, way = self.parent
        parent = theirs
        for step in way.split("__"):
            parent = getattr(parent, step)
        payload, before = self.payload(cast.organisation), self.count()
        code = field.removesuffix("_id")
        others = {"building"} if code == "section" else set()
        by_id = {name: value for name, value in payload.items() if name not in {code, *others}}
        problem = assert_problem(self.enter(manager, {**by_id, field: str(parent.pk)}), 400)
        assert "does not exist" in problem["errors"][0]["detail"]
        problem = assert_problem(self.enter(manager, {**payload, code: parent.code}), 400)
        assert "does not exist" in problem["errors"][0]["detail"]
        ours = self.make(cast.organisation)
        answer = manager.send("PATCH", self.path_of(ours), {field: str(parent.pk)}, **{"if-match": '"1"'})
        assert_problem(answer, 400)
        assert self.count() == before + 1

    def test_a_parent_is_named_by_id_as_well(self, cast: Cast, manager: Program) -> None:
        if self.parent is None:
            return
        field, way = self.parent
        parent = self.make(cast.organisation)
        for step in way.split("__"):
            parent = getattr(parent, step)
        code = field.removesuffix("_id")
        others = {"building"} if code == "section" else set()
        payload = self.payload(cast.organisation)
        sent = {name: value for name, value in payload.items() if name not in {code, *others}}
        answer = self.enter(manager, {**sent, field: str(parent.pk)})
        assert answer.status_code in (201, 409), answer.content
        if answer.status_code == 201:
            assert json.loads(answer.content)[code] == parent.code

    def test_a_taken_key_is_told_with_its_record(self, cast: Cast, manager: Program) -> None:
        payload = self.payload(cast.organisation)
        first = json.loads(self.enter(manager, payload).content)
        answer = self.enter(manager, payload)
        if self.has_key:
            assert first["id"] in assert_problem(answer, 409)["detail"]
        else:
            assert answer.status_code == 201

    #: Whether a record is told from others by more than its id.
    has_key: ClassVar[bool] = True

    def test_a_whole_correction_empties_what_it_leaves_out(self, cast: Cast, manager: Program) -> None:
        payload = self.payload(cast.organisation)
        entered = json.loads(self.enter(manager, {**payload, **self.change}).content)
        record = self.model.objects.get(pk=entered["id"])
        (name,) = self.change
        sent = {key: value for key, value in payload.items() if key != name}
        if name in payload:
            sent[name] = payload[name]
        answer = manager.send("PUT", self.path_of(record), sent, **{"if-match": '"1"'})
        assert answer.status_code == 200, answer.content
        assert json.loads(answer.content)[name] != self.change[name]
