"""A trial's answer is worked out once, and anew as soon as a record changes that it rests on."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.urls import reverse

from inspections.domain import comparing
from inspections.domain.comparing import compare_trial
from inspections.domain.pooling import pool_trials
from inspections.models import Allocation, Reading, Trial
from inspections.records.entering import correct_row, enter_row, void_record
from inspections.records.tables import ALLOCATIONS, EVENTS, READINGS, SECTIONS, TREATMENTS, TRIALS, Table
from portfolio.domain.refusals import Conflict
from portfolio.models import Organisation, Section, Treatment
from tests.support.cast import Cast, client_of
from tests.trials.books import QUESTION, build, write_folder
from tests.trials.test_comparison import FAST, SLOW, pairs

pytestmark = pytest.mark.django_db

#: A day long after the trial's last survey.
AS_OF = dt.date(2020, 1, 1)


@pytest.fixture
def trial(cast: Cast, tmp_path: Path) -> Trial:
    folder = write_folder(tmp_path / "book", QUESTION, *build(pairs(SLOW[:2], FAST[:2])))
    call_command("load_records", str(folder), organisation=cast.organisation.slug, verbosity=0)
    return Trial.objects.get()


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The codes of the trials that were really worked out, each time."""
    codes: list[str] = []
    compare = comparing.compare

    def counted(question: Any, *args: Any) -> Any:
        codes.append(question.code)
        return compare(question, *args)

    monkeypatch.setattr(comparing, "compare", counted)
    return codes


def correct(table: Table, record: Any, **row: object) -> Callable[[Cast], None]:
    def change(cast: Cast) -> None:
        found = record() if callable(record) else record
        correct_row(
            table=table,
            record=found,
            organisation=cast.organisation,
            user=cast.owner,
            row=row,
            reason="misread",
        )

    return change


def lost() -> Reading:
    """The last survey of the first wall that lost a part."""
    return Reading.objects.filter(quantity="hollow_area", value__gt=0.3).order_by("-taken_at")[0]


def void(table: Table, found: Callable[[], Any]) -> Callable[[Cast], None]:
    def change(cast: Cast) -> None:
        void_record(
            table=table,
            record=found(),
            organisation=cast.organisation,
            user=cast.owner,
            reason="not of this wall",
        )

    return change


def enter(table: Table, **row: object) -> Callable[[Cast], None]:
    def change(cast: Cast) -> None:
        enter_row(table=table, organisation=cast.organisation, user=cast.owner, row=row)

    return change


def threshold(cast: Cast) -> None:
    Organisation.objects.filter(pk=cast.organisation.pk).update(failure_threshold=0.2)


SURVEY = {"quantity": "hollow_area", "value": "1.9", "unit": "m2", "inspector": "AB"}
CHANGES = {
    "a reading corrected": correct(READINGS, lost, value="2.4"),
    "a reading voided": void(READINGS, lost),
    "a reading more": enter(READINGS, building="H0", section="S01", taken_at="2019-06-01T10:00", **SURVEY),
    "a coat taken off": correct(
        TREATMENTS, lambda: Treatment.objects.order_by("pk")[0], removed_on="2017-01-01",
        removal_reason="failed",
    ),
    "a coat voided": void(TREATMENTS, lambda: Treatment.objects.order_by("pk")[0]),
    "a repair": enter(EVENTS, building="H0", section="S01", happened_on="2015-05-01", kind="repair",
                      layer="1", area_m2="0.8"),
    "a wall corrected": correct(SECTIONS, lambda: Section.objects.order_by("code")[0], length_m="4.5"),
    "a lot given back": void(ALLOCATIONS, lambda: Allocation.objects.order_by("section__code")[0]),
    "the trial's start": correct(TRIALS, Trial.objects.get, started_on="2010-01-01"),
    "the organisation's threshold": threshold,
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_a_change_is_seen_at_once(
    cast: Cast, trial: Trial, worked_out: list[str], change: Callable[[Cast], None]
) -> None:
    before = compare_trial(trial, as_of=AS_OF)
    assert compare_trial(trial, as_of=AS_OF).as_json() == before.as_json()
    assert worked_out == ["T1"]
    change(cast)
    changed = Trial.objects.select_related("organisation").get()
    after = compare_trial(changed, as_of=AS_OF)
    assert worked_out == ["T1", "T1"]
    cache.clear()
    assert after.as_json() == compare_trial(changed, as_of=AS_OF).as_json()


def test_another_day_is_another_answer_and_a_refusal_is_kept_too(trial: Trial, worked_out: list[str]) -> None:
    compare_trial(trial, as_of=AS_OF)
    compare_trial(trial, as_of=AS_OF - dt.timedelta(days=900))
    assert worked_out == ["T1"] * 2
    trial.started_on = None
    for _ in range(2):
        with pytest.raises(Conflict, match="started_on"):
            compare_trial(trial, as_of=AS_OF)
    assert worked_out == ["T1"] * 3


def test_pages_and_api_ask_for_it_once(cast: Cast, trial: Trial, worked_out: list[str]) -> None:
    client = client_of(cast.owner)
    for name in ("trial", "trial-sheet", "trials-together"):
        assert client.get(reverse(name, args=[trial.pk])).status_code == 200
    assert client.get(reverse("trial-comparison", args=["T1"])).status_code == 200
    pool_trials(trial)
    assert worked_out == ["T1"]


def test_it_is_given_again_in_a_twentieth_of_a_second(trial: Trial) -> None:
    compare_trial(trial)
    took = []
    for _ in range(5):
        begun = time.perf_counter()
        compare_trial(trial)
        took.append(time.perf_counter() - begun)
    assert min(took) < 0.05
