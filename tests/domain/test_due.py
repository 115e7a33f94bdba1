"""A house whose records changed is assessed anew: once, and never inside the request that did it."""

from __future__ import annotations

import io
import logging
from collections.abc import Sequence
from unittest import mock

import pytest
from django.core.management import CommandError, call_command

from inspections.domain import assess
from inspections.domain.assess import assess_organisation, reassess, reassess_due
from inspections.models import Assessment
from inspections.tasks import reassess_buildings
from portfolio import celery
from portfolio.domain.due import ask_for_assessment
from portfolio.models import Building, Reassessment
from tests.api import factories
from tests.support.cast import Cast


@pytest.fixture
def house(cast: Cast) -> Building:
    return factories.section(cast.organisation).building


def current() -> int:
    return Assessment.objects.filter(current=True).count()


def test_what_is_due_is_done_once(house: Building) -> None:
    assert reassess_due() == 0
    ask_for_assessment([house.pk, house.pk])
    ask_for_assessment([house.pk])
    assert (Reassessment.objects.count(), current()) == (2, 0)
    assert (reassess_due(), reassess_due()) == (1, 0)
    assert (Reassessment.objects.count(), current()) == (0, 1)


def test_the_next_assess_takes_it_too(cast: Cast, house: Building) -> None:
    ask_for_assessment([house.pk])
    list(assess_organisation(cast.organisation))
    assert not Reassessment.objects.exists()


def test_a_replay_leaves_it(cast: Cast, house: Building) -> None:
    ask_for_assessment([house.pk])
    list(assess_organisation(cast.organisation, as_of=factories.DAY))
    assert Reassessment.objects.exists()


def test_what_is_asked_meanwhile_stays_asked(house: Building, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = assess.assess_buildings

    def assessing(*arguments: object) -> object:
        ask_for_assessment([house.pk])
        return usual(*arguments)  # type: ignore[arg-type]

    ask_for_assessment([house.pk])
    monkeypatch.setattr(assess, "assess_buildings", assessing)
    reassess(house)
    assert Reassessment.objects.count() == 1


def test_results_from_older_records_do_not_replace_newer(
    house: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one process assesses, another does so from records at least as new, and stores first."""
    usual = assess.assess_buildings

    def overtaken(*arguments: object) -> object:
        monkeypatch.setattr(assess, "assess_buildings", usual)
        reassess(house)
        Assessment.objects.update(model_version="newer")
        return usual(*arguments)  # type: ignore[arg-type]

    ask_for_assessment([house.pk])
    monkeypatch.setattr(assess, "assess_buildings", overtaken)
    reassess(house)
    assert Assessment.objects.get().model_version == "newer"


def test_one_house_that_fails_keeps_no_other_waiting(
    cast: Cast, house: Building, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    other = factories.section(cast.organisation).building
    usual = assess.records_of

    def failing(buildings: Sequence[Building]) -> object:
        if house in buildings:
            raise ArithmeticError("no number")
        return usual(buildings)

    monkeypatch.setattr(assess, "records_of", failing)
    ask_for_assessment([house.pk, other.pk])
    with caplog.at_level(logging.ERROR):
        reassess_due()
    assert str(house.pk) in caplog.text
    assert [row.building for row in Reassessment.objects.all()] == [house]
    assert Assessment.objects.get().section.building == other


def test_a_voided_house_waits_for_nothing(house: Building) -> None:
    ask_for_assessment([house.pk])
    Building.objects.update(voided_at=factories.MOMENT)
    assert reassess_due() == 0
    assert not Reassessment.objects.exists()


class TestBroker:
    def test_without_one_nothing_is_sent(
        self, house: Building, settings: object, django_capture_on_commit_callbacks: object
    ) -> None:
        settings.REDIS_URL = ""  # type: ignore[attr-defined]
        with django_capture_on_commit_callbacks() as callbacks:  # type: ignore[operator]
            ask_for_assessment([house.pk])
        assert not callbacks

    def test_with_one_it_is_told_after_the_commit(
        self, house: Building, settings: object, django_capture_on_commit_callbacks: object
    ) -> None:
        settings.REDIS_URL = "redis://nowhere"  # type: ignore[attr-defined]
        with mock.patch.object(celery.app, "send_task") as send:
            with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
                ask_for_assessment([house.pk])
                send.assert_not_called()
            send.assert_called_once_with(reassess_buildings.name, [[str(house.pk)]], retry=False)

    def test_the_task_does_what_is_due_and_no_more(self, house: Building) -> None:
        reassess_buildings([str(house.pk)])
        assert current() == 0
        ask_for_assessment([house.pk])
        reassess_buildings([str(house.pk)])
        assert current() == 1
        house.delete()
        reassess_buildings(["00000000-0000-4000-8000-000000000000"])


class TestCommand:
    def test_does_what_waits_and_says_so(self, house: Building) -> None:
        said = io.StringIO()
        ask_for_assessment([house.pk])
        call_command("run_due", stderr=said)
        assert said.getvalue() == "Assessed 1 house anew.\nLooked back on 1 house.\n"
        call_command("run_due", stderr=said)
        assert said.getvalue() == "Assessed 1 house anew.\nLooked back on 1 house.\n"

    def test_a_pause_is_a_time(self) -> None:
        with pytest.raises(CommandError, match="above 0"):
            call_command("run_due", pause=0.0)
