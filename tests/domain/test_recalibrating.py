"""What openings teach, from the records to assessments, the past, the ledger and the other houses."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from django.core.management import call_command
from django.utils import timezone

from inspections.analysis.assessment import model_version
from inspections.analysis.recalibration import LEAST
from inspections.domain import assess, renewing, replays
from inspections.domain.recalibrating import openings_of
from inspections.models import Assessment, Replay
from inspections.records.loading import load_folder
from portfolio.models import Building, Event, Organisation, Reassessment
from tests.simulation.book import write_book
from tests.simulation.physical import simulate

pytestmark = pytest.mark.django_db


@pytest.fixture
def organisation(tmp_path: Path) -> Organisation:
    """Two houses in which ten walls were opened, whose mortar all was found soft."""
    book = simulate(11, houses=2, years=3)
    book.truth.clear()
    days = sorted(str(row["taken_at"])[:10] for row in book.tables["readings"])
    middle = dt.date.fromisoformat(days[len(days) // 2])
    walls = [(row["building"], row["code"]) for row in book.tables["sections"]][:10]
    for number, (building, section) in enumerate(walls):
        day = middle + dt.timedelta(days=number)
        book.add("events", building=building, section=section, happened_on=day.isoformat(), kind="opening")
        book.add(
            "readings",
            building=building,
            section=section,
            taken_at=f"{day}T15:00",
            quantity="mortar_soft_depth",
            value=30,
            unit="mm",
            inspector="IM",
        )
    write_book(book, tmp_path)
    load_folder(tmp_path, "larch-row")
    return Organisation.objects.get(slug="larch-row")


def last_opening(organisation: Organisation) -> dt.date:
    return Event.objects.of(organisation).filter(kind="opening").latest("happened_on").happened_on


def test_assessments_use_the_openings_known_by_the_day_and_no_later(
    organisation: Organisation, tmp_path: Path
) -> None:
    openings = openings_of(organisation)
    end = last_opening(organisation)
    counts = [openings.taught(end - dt.timedelta(days=back)).openings for back in range(11)]
    assert counts == [*range(10, 0, -1), 0]
    changing = [openings.taught(end - dt.timedelta(days=back)).changes for back in range(11)]
    assert changing == [count >= LEAST for count in counts]
    before = end - dt.timedelta(days=11 - LEAST)
    early = [one.as_json() for one in assess.assess_organisation(organisation, as_of=before)]
    call_command(
        "assess", organisation="larch-row", as_of=end.isoformat(), output=str(tmp_path / "late.json")
    )
    late = json.loads((tmp_path / "late.json").read_text())
    Event.objects.of(organisation).filter(kind="opening", happened_on__gt=before).delete()
    assert [one.as_json() for one in assess.assess_organisation(organisation, as_of=before)] == early
    assert not [item for one in early for item in one["evidence"] if item["quantity"] == "openings"]
    for one in late:
        total = one["log_odds"]["prior"] + sum(item["weight"] for item in one["evidence"])
        assert total == pytest.approx(one["log_odds"]["total"], abs=1e-9)
    assert [item for one in late for item in one["evidence"] if item["quantity"] == "openings"]


def test_the_kept_past_says_the_same_and_keeps_what_the_model_alone_said(organisation: Organisation) -> None:
    fresh = openings_of(organisation)
    for house in Building.objects.of(organisation):
        assert replays.replay(house) > 3
    kept = openings_of(organisation)
    assert [(wall.section, alone) for wall, alone in kept.walls] == [
        (wall.section, alone) for wall, alone in fresh.walls
    ]
    end = last_opening(organisation)
    rows = Replay.objects.of(organisation).select_related("section__building")
    day = max(look["as_of"] for row in rows for look in row.looks)
    assert day > end.isoformat()
    said = {
        (one.building, one.section): one.as_json()
        for one in assess.assess_organisation(organisation, as_of=dt.date.fromisoformat(day))
    }
    moved = 0
    for row in rows:
        for look, alone in zip(row.looks, row.alone, strict=True):
            if look["as_of"] == day:
                told = said[row.section.building.code, row.section.code]
                assert look == {name: told[name] for name in ("as_of", "verdict", "probability")}
            moved += look["probability"] != alone["probability"]
            assert look["as_of"] > end.isoformat() or look["probability"] == alone["probability"] or moved
    assert moved
    assert rows[0].model_version == model_version(kept.taught(timezone.localdate()))
    assert replays.replay(rows[0].section.building) == 0, "nothing is computed anew"


def test_stored_results_carry_what_made_them_and_other_houses_are_asked(organisation: Organisation) -> None:
    list(assess.assess_organisation(organisation))
    version = model_version(openings_of(organisation).taught(timezone.localdate()))
    assert version.startswith(f"{model_version()}, 10 openings, +")
    assert set(Assessment.objects.values_list("model_version", flat=True)) == {version}
    assert renewing.ask_for_old_assessments(timezone.now()) == 0
    opened = Event.objects.of(organisation).filter(kind="opening").earliest("happened_on")
    Event.objects.filter(pk=opened.pk).update(voided_at=timezone.now())
    Reassessment.objects.create(building=opened.building)
    houses = Building.objects.of(organisation).count()
    assert assess.reassess_due() == 1
    assert Reassessment.objects.count() == houses - 1
    assert renewing.ask_for_old_assessments(timezone.now()) == 0, "they wait already"
    assess.reassess_due()
    assert not Reassessment.objects.exists()
    assert len(set(Assessment.objects.filter(current=True).values_list("model_version", flat=True))) == 1
    Event.objects.filter(kind="opening").update(voided_at=timezone.now())
    assert renewing.ask_for_old_assessments(timezone.now()) == houses
