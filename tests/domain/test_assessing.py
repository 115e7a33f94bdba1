"""Storing assessments, and the flags and plans that follow from them."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction
from django.utils import timezone

from inspections.analysis.alarms import LIMITS
from inspections.analysis.results import LogOdds, SectionAssessment
from inspections.domain import assess
from inspections.domain.flags import REST_AFTER_DISMISSAL
from inspections.models import Assessment, Flag, Plan, Reading
from inspections.records.loading import load_folder
from inspections.vocabulary import FlagState
from portfolio.models import Building, Organisation
from tests.simulation.book import write_book
from tests.simulation.physical import simulate

pytestmark = pytest.mark.django_db


@pytest.fixture
def organisation(tmp_path: Path) -> Organisation:
    book = simulate(11, houses=2, years=6)
    book.truth.clear()
    write_book(book, tmp_path)
    load_folder(tmp_path, "larch-row")
    return Organisation.objects.get(slug="larch-row")


@pytest.fixture
def building(organisation: Organisation) -> Building:
    return Building.objects.of(organisation).first()


def told(building: Building, monkeypatch: pytest.MonkeyPatch, chance: float, verdict: str = "") -> None:
    """Reassess as if the analysis gave every section this probability of trapped water."""
    rest = (1 - chance) / 5
    names = ("water_entry", "condensation", "surface_wear", "drying_out", "stable")
    probability = {"trapped_water": chance} | dict.fromkeys(names, rest)
    likeliest = verdict or ("trapped_water" if chance > rest else "stable")

    def assessed(record: Any, as_of: dt.date, *_: object) -> list[SectionAssessment]:
        return [
            SectionAssessment(
                building=record.code,
                section=section.code,
                as_of=as_of,
                verdict=likeliest,
                probability=probability,
                log_odds=LogOdds("stable", 0.0, 0.0),
                since=None,
                evidence=(),
                trends={},
                forecast=None,
                advice=(),
                next_inspection=as_of + dt.timedelta(days=90),
            )
            for section in record.sections
        ]

    monkeypatch.setattr(
        assess, "assess_buildings", lambda records, *given: [assessed(record, *given) for record in records]
    )
    assess.reassess(building)


def live_flags(building: Building) -> int:
    return Flag.objects.filter(section__building=building, closed_on__isnull=True).count()


def test_assessing_stores_one_current_assessment_a_section(organisation: Organisation) -> None:
    for _ in range(2):
        results = list(assess.assess_organisation(organisation))
        stored = Assessment.objects.of(organisation).filter(current=True)
        assert stored.count() == len(results) > 0
        assert Assessment.objects.of(organisation).count() == len(results)
    by_section = {row.section.code: row for row in stored.select_related("section")}
    for result in results:
        assert by_section[result.section].result == result.as_json()
        assert by_section[result.section].model_version


def test_a_replay_stores_nothing(organisation: Organisation) -> None:
    assert list(assess.assess_organisation(organisation, as_of=dt.date(2012, 6, 1)))
    assert not Assessment.objects.exists()
    assert not Flag.objects.exists()
    assert not Plan.objects.exists()


def test_a_replay_looks_no_further_than_its_day(organisation: Organisation) -> None:
    middle = Reading.objects.order_by("taken_at")[Reading.objects.count() // 2].taken_at.date()
    before = [result.as_json() for result in assess.assess_organisation(organisation, as_of=middle)]
    Reading.objects.filter(taken_at__date__gt=middle + dt.timedelta(days=1)).delete()
    after = [result.as_json() for result in assess.assess_organisation(organisation, as_of=middle)]
    assert before == after


def test_a_flag_opens_stays_and_closes_at_levels_that_lie_apart(
    building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    sections = building.sections.count()
    between = (LIMITS["trapped_water"].opens + LIMITS["trapped_water"].closes) / 2
    for chance, live in ((between, 0), (0.9, sections), (between, sections), (0.9, sections), (0.05, 0)):
        told(building, monkeypatch, chance)
        assert live_flags(building) == live
    assert Flag.objects.filter(state=FlagState.CLOSED).count() == sections


def test_a_confirmed_flag_is_not_closed_by_readings(
    building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    told(building, monkeypatch, 0.9)
    Flag.objects.update(state=FlagState.CONFIRMED, reason="opened the wall; it ran")
    told(building, monkeypatch, 0.01)
    assert set(Flag.objects.values_list("state", flat=True)) == {FlagState.CONFIRMED}


def test_a_dismissed_flag_rests(building: Building, monkeypatch: pytest.MonkeyPatch) -> None:
    told(building, monkeypatch, 0.9)
    Flag.objects.update(state=FlagState.DISMISSED, reason="the meter was on foil", answered_at=timezone.now())
    told(building, monkeypatch, 0.9)
    assert not Flag.objects.exclude(state=FlagState.DISMISSED).exists()
    Flag.objects.update(answered_at=timezone.now() - REST_AFTER_DISMISSAL - dt.timedelta(days=2))
    told(building, monkeypatch, 0.9)
    assert Flag.objects.filter(state=FlagState.OPENED).count() == building.sections.count()


def test_the_database_holds_one_live_flag_a_section_and_verdict(
    building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    told(building, monkeypatch, 0.9)
    flag = Flag.objects.first()
    with pytest.raises(IntegrityError), transaction.atomic():
        Flag.objects.create(section=flag.section, verdict=flag.verdict, opened_on=flag.opened_on)


def test_each_section_and_the_house_are_planned_once_in_step_with_what_is_told(
    building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(2):
        told(building, monkeypatch, 0.9)
    plans = Plan.objects.filter(building=building)
    assert plans.count() == building.sections.count() + 1
    planned = dict(plans.filter(section__isnull=False).values_list("section_id", "due_on"))
    stored = Assessment.objects.filter(section__building=building, current=True)
    assert planned == dict(stored.values_list("section_id", "next_inspection"))
    assert all(one.result["next_inspection"] == one.next_inspection.isoformat() for one in stored)


def test_the_command_writes_json_and_says_what_it_did(
    organisation: Organisation, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("assess", organisation="larch-row", as_of="2012-06-01")
    out, err = capsys.readouterr()
    results = json.loads(out)
    assert f"Assessed {len(results)} sections" in err
    order = [(result["building"], result["section"]) for result in results]
    assert order == sorted(order)
    call_command("assess", organisation="larch-row", as_of="2012-06-01", output=str(tmp_path / "then.json"))
    assert json.loads((tmp_path / "then.json").read_text()) == results
    assert "NaN" not in out


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"organisation": "nobody"}, "nobody"),
        ({"organisation": "larch-row", "as_of": "June"}, "--as-of"),
        ({"organisation": "larch-row", "as_of": "2012-06-01", "output": "/nowhere/x.json"}, "--output"),
    ],
)
def test_what_the_command_refuses(organisation: Organisation, options: dict[str, str], named: str) -> None:
    with pytest.raises(CommandError, match=named):
        call_command("assess", **options)


def test_another_organisation_s_walls_are_not_assessed(organisation: Organisation) -> None:
    other = Organisation.objects.create(slug="mill-lane", name="Mill Lane (invented)")
    assert list(assess.assess_organisation(other)) == []
