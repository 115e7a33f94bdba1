"""Sheets over the API: the same files as the pages give."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
import pytest
from django.core.management import call_command
from django.http import HttpResponse

from inspections.models import Trial
from tests.api.client import Program, assert_problem
from tests.support.cast import Cast
from tests.trials.books import QUESTION, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, pairs

pytestmark = pytest.mark.django_db


@pytest.fixture
def analyst(cast: Cast, tmp_path: Path) -> Program:
    folder = write_folder(tmp_path / "book", QUESTION, *build(pairs(SLOW[:3], FAST[:3])))
    call_command("load_records", str(folder), organisation=cast.organisation.slug, verbosity=0)
    return Program(cast.analyst, cast.organisation)


def words_of(response: HttpResponse) -> str:
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    return str(pypdfium2.PdfDocument(response.content)[0].get_textpage().get_text_range())


def test_a_trials_sheet(cast: Cast, analyst: Program) -> None:
    for key in ("T1", Trial.objects.get().pk):
        assert "Which coat lasts longer (invented)?" in words_of(analyst.get(f"trials/{key}/sheet/"))
    assert_problem(analyst.get("trials/T9/sheet/"), 404)
    assert_problem(analyst.get("trials/T1/sheet/?colour=red"), 400)
    assert_problem(Program(cast.outsider, cast.other_organisation).get("trials/T1/sheet/"), 404)
    Trial.objects.update(started_on=None, planned_end_on=None)
    assert "started_on" in assert_problem(analyst.get("trials/T1/sheet/"), 409)["detail"]


def test_the_sheet_of_a_coat(cast: Cast, analyst: Program) -> None:
    assert "NHL 2 lime parge coat: how long" in words_of(analyst.get("coat-sheet/?coat=parge_coat,NHL 2"))
    for query, name in (
        ("", "coat"), ("?coat=luck", "coat"), ("?coat=parge_coat,clay&beside=x", "beside"), ("?by=kind", "by")
    ):  # fmt: skip
        problem = assert_problem(analyst.get(f"coat-sheet/{query}"), 400)
        assert name in [error["parameter"] for error in problem["errors"]]
    assert_problem(analyst.get("coat-sheet/?coat=paint,acrylic"), 409)
    outsider = Program(cast.outsider, cast.other_organisation)
    assert_problem(outsider.get("coat-sheet/?coat=parge_coat,NHL 2"), 409)
