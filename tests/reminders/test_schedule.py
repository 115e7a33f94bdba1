"""One schedule, kept by beat and workers or by one process; and a start that surprises nobody."""

from __future__ import annotations

import datetime as dt
import io
import logging
import os
import subprocess
import sys
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from inspections.domain import renewing
from inspections.domain.assess import reassess, reassess_due
from inspections.domain.renewing import ask_for_old_assessments
from inspections.management.commands import run_due
from inspections.models import Assessment, Mail, Reminder
from portfolio.celery import app
from portfolio.domain import due as asking
from portfolio.domain.due import ask_for_assessment
from portfolio.models import Reassessment
from tests.api import factories
from tests.reminders.houses import due
from tests.support.cast import Cast

ROOT = Path(__file__).parents[2]


def test_every_task_of_the_schedule_is_there_and_has_words_for_what_it_did() -> None:
    app.loader.import_default_modules()
    tasks = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert tasks <= set(app.tasks)
    assert {task.rpartition(".")[2] for task in tasks} == set(run_due.SAID)


def test_one_process_does_all_of_it(people: Cast, mailoutbox: list[Any]) -> None:
    due(people.organisation, 0)
    wall = factories.section(people.organisation)
    ask_for_assessment([wall.building.pk])
    said = io.StringIO()
    call_command("run_due", stderr=said)
    assert "Assessed 1 house anew.\n" in said.getvalue()
    assert "Raised " in said.getvalue()
    assert Assessment.objects.filter(section=wall, current=True).exists()
    assert mailoutbox == []
    Reminder.objects.update(due_at=timezone.now())
    for _ in range(2):
        call_command("run_due", stderr=said)
    assert said.getvalue().count("Sent ") == 1
    assert Mail.objects.count() == len(mailoutbox) >= 1


def test_what_fails_keeps_nothing_else_from_being_done(
    people: Cast, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    wall = factories.section(people.organisation)
    ask_for_assessment([wall.building.pk])
    app.loader.import_default_modules()
    monkeypatch.setattr(app.tasks["inspections.tasks.run_uploads"], "run", lambda: 1 / 0)
    with caplog.at_level(logging.ERROR), pytest.raises(CommandError, match="uploads"):
        call_command("run_due", stderr=io.StringIO())
    assert Assessment.objects.filter(section=wall).exists()


def test_in_a_loop_each_is_done_in_its_own_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """A night of looks, one a minute: what has its hour is done once, at its hour (2:30 in UTC)."""
    now = dt.datetime(2026, 3, 5, 22, 0, tzinfo=dt.UTC)
    done: list[tuple[str, dt.datetime]] = []

    def sleep(seconds: float) -> None:
        nonlocal now
        now += dt.timedelta(minutes=1)
        if now.hour == 6:
            raise KeyboardInterrupt

    monkeypatch.setattr(run_due.time, "sleep", sleep)
    monkeypatch.setattr(run_due.timezone, "now", lambda: now)
    monkeypatch.setattr(type(app), "now", lambda self: now)
    monkeypatch.setattr(run_due.Command, "_run", lambda self, name, **_: done.append((name, now)) or True)
    with pytest.raises(KeyboardInterrupt):
        call_command("run_due", loop=True)
    nightly = [moment for name, moment in done if name == "nightly"]
    assert [(moment.hour, moment.minute) for moment in nightly] == [(2, 30)]
    assert sum(name == "mails" for name, _ in done) == 8 * 60
    assert sum(name == "raise" for name, _ in done) == 8 * 12


class TestOldAssessments:
    def test_those_of_a_week_ago_are_asked_for_and_once(self, cast: Cast) -> None:
        houses = [factories.section(cast.organisation).building for _ in range(3)]
        factories.building(cast.organisation)
        for house in houses:
            reassess(house)
        now = timezone.now()
        assert ask_for_old_assessments(now) == 0
        Assessment.objects.filter(section__building=houses[0]).update(made_at=now - renewing.OLD)
        Assessment.objects.filter(section__building=houses[1]).update(model_version="older")
        assert (ask_for_old_assessments(now), ask_for_old_assessments(now)) == (2, 0)
        assert {row.building for row in Reassessment.objects.all()} == set(houses[:2])
        assert reassess_due() == 2
        assert ask_for_old_assessments(now) == 0

    def test_a_broker_is_told_in_chunks(
        self, cast: Cast, settings: Any, django_capture_on_commit_callbacks: Any
    ) -> None:
        settings.REDIS_URL = "redis://nowhere"
        houses = [factories.building(cast.organisation).pk for _ in range(asking.CHUNK + 1)]
        with mock.patch.object(app, "send_task") as send, django_capture_on_commit_callbacks(execute=True):
            ask_for_assessment(houses)
        assert sorted(len(call.args[1][0]) for call in send.call_args_list) == [1, asking.CHUNK]


@pytest.mark.parametrize(
    ("environment", "said"),
    [
        ({"EMAIL_HOST": "mail.example.org"}, "EMAIL_FROM"),
        ({"EMAIL_HOST": "mail.example.org", "EMAIL_FROM": "walls"}, "EMAIL_FROM"),
        ({"WYTHE_MAIL_SECONDS": "0"}, "WYTHE_MAIL_SECONDS"),
        ({"EMAIL_PORT": "smtp"}, "EMAIL_PORT"),
    ],
)
def test_half_a_setting_stops_the_start(environment: dict[str, str], said: str) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=ROOT, env={**os.environ, **environment}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode != 0
    assert said in done.stderr
