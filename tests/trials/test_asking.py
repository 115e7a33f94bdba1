"""Asking for a trial's answer: by command and by API, with the records behind them."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from inspections.models import Trial
from portfolio.models import Organisation
from tests.api.client import Program, assert_problem, schema_of, validator
from tests.support.cast import Cast
from tests.trials.books import QUESTION, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, ask, pairs

pytestmark = pytest.mark.django_db
PATH = "trials/T1/comparison/"


@pytest.fixture
def loaded(cast: Cast, tmp_path: Path) -> Organisation:
    """Six pairs that all point one way, loaded from a folder."""
    folder = write_folder(tmp_path / "book", QUESTION, *build(pairs(SLOW, FAST)))
    call_command("load_records", str(folder), organisation=cast.organisation.slug, verbosity=0)
    return cast.organisation


@pytest.fixture
def analyst(cast: Cast) -> Program:
    return Program(cast.analyst, cast.organisation)


def command(code: str, **options: str) -> tuple[dict[str, object], str]:
    out, said = io.StringIO(), io.StringIO()
    call_command("compare_trial", code, stdout=out, stderr=said, **options)
    return json.loads(out.getvalue()) if out.getvalue() else {}, said.getvalue()


def test_the_command_gives_what_the_records_tell(loaded: Organisation, tmp_path: Path) -> None:
    answer, said = command("T1", organisation=loaded.slug, as_of="2019-01-01")
    by_hand = ask(pairs(SLOW, FAST)).as_json()
    assert answer["estimate"] == pytest.approx(by_hand["estimate"], rel=0.02)
    assert (answer["p_value"], answer["conclusion"]) == (2 / 64, "difference")
    assert set(answer) == set(by_hand)
    assert said.strip() == answer["statement"]
    file = tmp_path / "answer.json"
    command("T1", organisation=loaded.slug, as_of="2019-01-01", output=str(file))
    assert json.loads(file.read_text()) == answer


def test_the_command_says_what_is_wrong(loaded: Organisation) -> None:
    Trial.objects.create(organisation=loaded, code="T2", outcome="affected_area_rate")
    for code, options, text in (
        ("T9", {}, "no trial 'T9'"),
        ("T2", {}, "started_on"),
        ("T1", {"as_of": "last year"}, "--as-of: 'last year' is not a date"),
        ("T1", {"output": "/no/such/folder/x.json"}, "can't be written"),
    ):
        with pytest.raises(CommandError, match=text):
            command(code, organisation=loaded.slug, **options)
    with pytest.raises(CommandError, match="no organisation 'nobody'"):
        command("T1", organisation="nobody")


def test_the_api_answers_the_same(loaded: Organisation, analyst: Program) -> None:
    given = json.loads(analyst.get(f"{PATH}?as_of=2019-01-01").content)
    assert given == command("T1", organisation=loaded.slug, as_of="2019-01-01")[0]
    validator(schema_of("trials/{code}/comparison/")).validate(given)
    by_id = json.loads(analyst.get(f"trials/{Trial.objects.get().pk}/comparison/?as_of=2019-01-01").content)
    assert by_id == given


def test_the_api_refuses_as_it_does_everywhere(loaded: Organisation, cast: Cast, analyst: Program) -> None:
    outsider = Program(cast.outsider, cast.other_organisation)
    assert_problem(outsider.get(PATH), 404)
    assert_problem(analyst.get("trials/T9/comparison/"), 404)
    for query, name in (("colour=red", "colour"), ("as_of=soon", "as_of"), ("as_of=", "as_of")):
        problem = assert_problem(analyst.get(f"{PATH}?{query}"), 400)
        assert [error["parameter"] for error in problem["errors"]] == [name]
    assert_problem(analyst.ask("POST", PATH), 405)
    Trial.objects.update(outcome="surface_moisture")
    answer = analyst.get(PATH)
    assert answer.status_code == 200  # The coats are the same.
    Trial.objects.update(started_on=None, planned_end_on=None)
    assert "started_on" in assert_problem(analyst.get(PATH), 409)["detail"]


def test_an_empty_or_voided_trial(cast: Cast, analyst: Program) -> None:
    trial = Trial.objects.create(
        organisation=cast.organisation, code="T1", outcome="affected_area_rate", started_on="2018-04-01"
    )
    assert json.loads(analyst.get(PATH).content)["conclusion"] == "cannot_tell"
    trial.voided_at = "2024-01-01T00:00:00Z"
    trial.save(update_fields=["voided_at"])
    assert_problem(analyst.get(PATH), 404)
