"""Loads that take long, are cut off, or find the database busy."""

from __future__ import annotations

import threading
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.core.management import call_command
from django.db import OperationalError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inspections.models import Reading, Upload
from inspections.records import uploads
from inspections.vocabulary import UploadState
from portfolio.models import Building, Change, Section
from tests.folders.sending import (
    BOOK,
    check,
    load,
    page_of,
    readings,
)
from tests.support.cast import Cast, client_of

if TYPE_CHECKING:
    from pytest_django import Settings

pytestmark = pytest.mark.django_db


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if a single row were many."""
    monkeypatch.setattr(uploads, "ROWS_AT_ONCE", 1)


@pytest.fixture
def nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the process were killed before its thread began."""
    monkeypatch.setattr(uploads, "_run_beside", lambda pk: None)


def test_many_rows_are_worked_on_beside_the_request(
    manager: Client, slow: None, nobody: None, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks() as callbacks:
        upload = check(manager, BOOK)
    assert len(callbacks) == 1
    answer = manager.get(reverse("upload", args=[upload.pk]))
    assert answer["Refresh"] == "3"
    assert "being checked" in answer.content.decode()
    assert uploads.run(upload.pk)
    answer = manager.get(reverse("upload", args=[upload.pk]))
    assert "Refresh" not in answer
    assert "nothing is saved yet" in answer.content.decode()


def test_work_that_was_cut_off_is_taken_up_again(
    manager: Client, slow: None, nobody: None, django_capture_on_commit_callbacks: Any
) -> None:
    upload = check(manager, BOOK)
    # A process claims it and is killed.
    Upload.objects.update(claimed_at=timezone.now())
    assert not uploads.run(upload.pk)
    with django_capture_on_commit_callbacks() as callbacks:
        page_of(manager, upload)
    assert callbacks == []
    Upload.objects.update(claimed_at=timezone.now() - uploads.GONE - timedelta(seconds=1))
    with django_capture_on_commit_callbacks() as callbacks:
        page_of(manager, upload)
    assert len(callbacks) == 1
    call_command("run_due")
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED
    load(manager, upload)
    assert upload.state == UploadState.LOADING
    call_command("run_due")
    assert Section.objects.count() == 1
    upload.refresh_from_db()
    assert (upload.state, upload.claimed_at) == (UploadState.LOADED, None)


def test_a_load_whose_end_was_not_noted_is_done_once(manager: Client, slow: None, nobody: None) -> None:
    """Killed between the load and the note of it: the second time finds nothing to change."""
    upload = check(manager, BOOK)
    uploads.run(upload.pk)
    load(manager, upload)
    state, _ = uploads._work(Upload.objects.get(pk=upload.pk))
    assert state == UploadState.LOADED
    assert uploads.run(upload.pk)
    assert (Building.objects.count(), Change.objects.count()) == (1, 0)


def test_an_error_of_ours_is_told_and_a_busy_database_waited_for(
    manager: Client, slow: None, nobody: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload = check(manager, BOOK)

    def busy(*_: Any, **__: Any) -> None:
        raise OperationalError("database is locked")

    monkeypatch.setattr(uploads, "load_folder", busy)
    with pytest.raises(OperationalError):
        uploads.run(upload.pk)
    upload.refresh_from_db()
    assert (upload.state, upload.claimed_at) == (UploadState.CHECKING, None)

    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("a secret of the machine")

    monkeypatch.setattr(uploads, "load_folder", broken)
    assert uploads.run(upload.pk)
    text = page_of(manager, upload)
    assert "Stopped" in text
    assert "secret" not in text


def test_a_broker_hears_of_it(
    manager: Client,
    slow: None,
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:
    settings.REDIS_URL = "redis://elsewhere"
    told: list[Any] = []
    monkeypatch.setattr("portfolio.celery.app.send_task", lambda *args, **_: told.append(args))
    with django_capture_on_commit_callbacks(execute=True):
        upload = check(manager, BOOK)
    assert told == [("inspections.tasks.run_upload", [str(upload.pk)])]
    from inspections.tasks import run_upload

    assert run_upload.name == told[0][0]
    run_upload(str(upload.pk))
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED


@pytest.mark.django_db(transaction=True)
def test_the_one_process_loads_thousands_of_rows_by_itself(cast: Cast) -> None:
    client = client_of(cast.manager)
    upload = check(client, {**BOOK, "readings.csv": readings(6_000)})
    _wait_for_threads()
    upload.refresh_from_db()
    assert upload.state == UploadState.CHECKED, upload.report
    load(client, upload)
    _wait_for_threads()
    upload.refresh_from_db()
    assert upload.state == UploadState.LOADED, upload.report
    assert Reading.objects.count() == 6_000


def _wait_for_threads() -> None:
    for thread in threading.enumerate():
        if thread.name.startswith("upload "):
            thread.join(60)


def test_what_nobody_loads_is_thrown_away_in_time(manager: Client, media: Path) -> None:
    old = check(manager, BOOK)
    Upload.objects.update(sent_at=timezone.now() - uploads.KEPT - timedelta(hours=1))
    new = check(manager, BOOK)
    assert [upload.pk for upload in Upload.objects.all()] == [new.pk]
    assert [path.name for path in (media / "uploads").iterdir()] == [str(new.pk)]
    assert old.pk != new.pk
