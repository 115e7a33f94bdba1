"""What would have been said at each past visit: kept, and computed again only where the past has changed."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from django.core.management import call_command
from django.utils import timezone

from inspections.domain import assess, replays
from inspections.models import Reading, Replay
from inspections.records.loading import load_folder
from portfolio.models import Building, Event, Organisation, Section
from tests.simulation.book import write_book
from tests.simulation.physical import simulate

pytestmark = pytest.mark.django_db


@pytest.fixture
def organisation(tmp_path: Path) -> Organisation:
    book = simulate(11, houses=2, years=3)
    book.truth.clear()
    write_book(book, tmp_path)
    load_folder(tmp_path, "larch-row")
    return Organisation.objects.get(slug="larch-row")


@pytest.fixture
def building(organisation: Organisation) -> Building:
    return Building.objects.of(organisation).first()


def test_each_look_is_what_a_replay_of_that_day_says(organisation: Organisation, building: Building) -> None:
    replays.replay(building)
    kept = {row.section.code: row for row in Replay.objects.of(organisation).select_related("section")}
    days = sorted({look["as_of"] for row in kept.values() for look in row.looks})
    assert len(days) > 3
    for day in (days[0], days[len(days) // 2], days[-1]):
        told = assess.assess_organisation(organisation, as_of=dt.date.fromisoformat(day))
        said = {one.section: one.as_json() for one in told if one.building == building.code}
        for code, row in kept.items():
            for look in row.looks:
                if look["as_of"] == day:
                    assert look == {name: said[code][name] for name in ("as_of", "verdict", "probability")}


def test_only_what_changed_is_computed_again(building: Building) -> None:
    looks = replays.replay(building)
    assert looks == len({digest for row in Replay.objects.all() for digest in row.digests}) > 3
    before = list(Replay.objects.order_by("pk").values_list("looks", flat=True))
    assert replays.replay(building) == 0
    assert list(Replay.objects.order_by("pk").values_list("looks", flat=True)) == before
    last = Reading.objects.filter(building=building, section__isnull=False).latest("taken_at")
    Reading.objects.filter(pk=last.pk).update(value=last.value + 1)
    assert replays.replay(building) == 1
    Event.objects.create(building=building, happened_on=last.taken_at.date(), kind="flood", entered_by=None)
    assert replays.replay(building) == 1
    first = Reading.objects.filter(building=building, section__isnull=False).earliest("taken_at")
    Reading.objects.filter(pk=first.pk).update(value=first.value + 1)
    assert replays.replay(building) == looks


def test_counts_what_was_entered_later_than_it_was_taken(building: Building) -> None:
    section = Section.objects.filter(building=building).first()
    own = Reading.objects.filter(section=section)
    replays.replay(building)
    row = Replay.objects.get(section=section)
    assert row.entered_later == row.readings == own.count() > 0
    for reading in own:
        Reading.objects.filter(pk=reading.pk).update(entered_at=reading.taken_at + dt.timedelta(days=1))
    replays.replay(building)
    assert Replay.objects.get(section=section).entered_later == 0


def test_houses_are_looked_back_on_once_after_each_assessment(organisation: Organisation) -> None:
    assert replays.replay_due() == 0, "nothing was assessed yet"
    list(assess.assess_organisation(organisation))
    assert replays.replay_due(at_most=1) == 1
    assert replays.replay_due() == 1
    assert replays.replay_due() == 0
    gone = Section.objects.of(organisation).first()
    Section.objects.filter(pk=gone.pk).update(voided_at=timezone.now())
    list(assess.assess_organisation(organisation))
    call_command("run_due")
    assert replays.replay_due() == 0, "a voided section keeps no house waiting"
