"""Loading what a person sent by the page: checked first, then, if they say so, loaded.

Each upload is a row beside its folder of files. Few rows are worked on at once, while the person waits; many
by a worker where there is a broker, else by a thread of this process. Whoever works on it says so in the row
every few seconds. Where nobody has for a while (the process was killed, the message lost), the next look at
the page or `manage.py run_due` takes it up again: a load is all or nothing, and a second one changes nothing.
"""

from __future__ import annotations

import datetime as dt
import logging
import threading
import time
import uuid
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.db import OperationalError, connections, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.text import slugify

from inspections.models import Upload
from inspections.records.faults import RecordsRefused
from inspections.records.loading import LoadReport, load_folder
from inspections.records.unpacking import Sent, remove, rows_in, unpack
from inspections.vocabulary import UploadState
from portfolio.domain.due import ask_for_assessment
from portfolio.models import Building, Organisation, User

#: A person waits for so few; they take a second or two.
ROWS_AT_ONCE: Final = 5_000
#: Who works on an upload says so this often; who has said nothing for so long is gone.
SAYS_SO: Final = dt.timedelta(seconds=5)
GONE: Final = dt.timedelta(minutes=2)
#: How long the one process's own thread waits before it tries a busy database again, in seconds.
PAUSES: Final = (0.5, 2, 8, 30)
#: Files that nobody loads are thrown away after so long.
KEPT: Final = dt.timedelta(days=7)
WORKING: Final = (UploadState.CHECKING, UploadState.LOADING)
NEXT: Final = {UploadState.CHECKING: UploadState.CHECKED, UploadState.LOADING: UploadState.LOADED}
TASK: Final = "inspections.tasks.run_upload"
FOLDER: Final = "uploads"
STOPPED: Final = "An error on our side stopped it; it has been noted, and nothing was changed."

log = logging.getLogger(__name__)


# What a person does --------------------------------------------------------------------------------------


def receive(*, organisation: Organisation, user: User, sent: Sequence[Sent]) -> Upload:
    """Keep what was sent and have it checked; raises `Invalid` if it can't be a folder of records."""
    throw_old_away()
    pk, name = uuid.uuid4(), _name_of(sent)
    folder = _folder(pk) / name
    folder.mkdir(parents=True)
    try:
        left = unpack(sent, folder)
        upload = Upload.objects.create(
            id=pk,
            organisation=organisation,
            by=user,
            name=name,
            rows=rows_in(folder),
            report={"left": left},
        )
    except BaseException:
        remove(_folder(pk))
        raise
    _start(upload)
    return upload


def confirm(upload: Upload) -> None:
    """Load what was checked. Asked twice, it is done once."""
    checked = Upload.objects.filter(pk=upload.pk, state=UploadState.CHECKED)
    if checked.update(state=UploadState.LOADING, claimed_at=None, step=""):
        _start(upload)


def take_up(upload: Upload) -> None:
    """Go on with the work if whoever was at it is gone."""
    if _waiting().filter(pk=upload.pk).exists():
        _start(upload, at_once=False)


# The work ------------------------------------------------------------------------------------------------


def run_waiting() -> int:
    """Do the work of every upload that nobody is at; how many there were."""
    waiting = list(_waiting().values_list("pk", flat=True))
    return sum(run(pk) for pk in waiting)


def run(pk: uuid.UUID) -> bool:
    """Check or load one upload, unless somebody else is at it or it is done."""
    if not _waiting().filter(pk=pk).update(claimed_at=timezone.now()):
        return False
    upload = Upload.objects.select_related("organisation", "by").get(pk=pk)
    try:
        state, report = _work(upload)
    except OperationalError:
        # The database is busy or away: whoever comes next tries again.
        Upload.objects.filter(pk=pk).update(claimed_at=None)
        raise
    except Exception:
        log.exception("Upload %s was stopped by an error.", pk)
        state, report = UploadState.FAILED, {"stopped": STOPPED}
    # Only if nobody else, who took this process for gone, was quicker.
    done = Upload.objects.filter(pk=pk, state=upload.state)
    done.update(state=state, report={**upload.report, **report}, claimed_at=None, step="")
    if state != UploadState.CHECKED:
        remove(_folder(pk))
    return True


def _work(upload: Upload) -> tuple[UploadState, dict[str, Any]]:
    state = UploadState(upload.state)
    try:
        report = load_folder(
            _folder(upload.pk) / upload.name,
            upload.organisation.slug,
            user=upload.by,
            dry_run=state == UploadState.CHECKING,
            progress=_Progress(upload),
        )
    except RecordsRefused as refused:
        return UploadState.REFUSED, _refused(refused)
    if state == UploadState.LOADING:
        houses = Building.objects.of(upload.organisation).standing()
        ask_for_assessment(houses.values_list("pk", flat=True))
    return NEXT[state], _reported(report)


def _refused(refused: RecordsRefused) -> dict[str, Any]:
    # Of a file, its name alone: where it lies on this machine is nobody's concern.
    errors = [{**asdict(fault), "file": Path(fault.file).name} for fault in refused.errors]
    return {"errors": errors, "total": refused.total}


def _reported(report: LoadReport) -> dict[str, Any]:
    return {"files": {name: asdict(counts) for name, counts in report.files.items()}}


class _Progress:
    """Writes into the row how far the work is, now and then."""

    def __init__(self, upload: Upload) -> None:
        self.pk = upload.pk
        self.said_at = timezone.now()

    def __call__(self, what: str, rows: int) -> None:
        now = timezone.now()
        if now - self.said_at < SAYS_SO:
            return
        self.said_at = now
        # Others may be writing; then it is said the next time.
        with suppress(OperationalError):
            Upload.objects.filter(pk=self.pk).update(claimed_at=now, step=f"{what}: {rows:,} rows")


# Where and when --------------------------------------------------------------------------------------------


def _start(upload: Upload, *, at_once: bool | None = None) -> None:
    if upload.rows < ROWS_AT_ONCE if at_once is None else at_once:
        run(upload.pk)
    elif settings.REDIS_URL:
        # Only where there is a broker: every start would wait for it.
        from portfolio.celery import app

        transaction.on_commit(partial(app.send_task, TASK, [str(upload.pk)], retry=False), robust=True)
    else:
        transaction.on_commit(partial(_run_beside, upload.pk))


def _run_beside(pk: uuid.UUID) -> None:
    threading.Thread(target=_run_alone, args=(pk,), name=f"upload {pk}", daemon=True).start()


def _run_alone(pk: uuid.UUID) -> None:
    for pause in (0, *PAUSES):
        time.sleep(pause)
        try:
            run(pk)
            return
        except OperationalError:
            log.warning("Upload %s waits for the database.", pk)
        finally:
            connections.close_all()


def _waiting() -> Any:
    free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=timezone.now() - GONE)
    return Upload.objects.filter(free, state__in=WORKING)


def throw_old_away() -> None:
    """Remove uploads that nobody came back to, with their files."""
    old = Upload.objects.filter(sent_at__lt=timezone.now() - KEPT).exclude(state__in=WORKING)
    for pk in list(old.values_list("pk", flat=True)):
        remove(_folder(pk))
    old.delete()


def _folder(pk: uuid.UUID) -> Path:
    return Path(settings.MEDIA_ROOT, FOLDER, str(pk))


def _name_of(sent: Sequence[Sent]) -> str:
    """What the history calls it: the zip's name, or that it was sent."""
    name = Path(sent[0].name or "") if len(sent) == 1 else Path()
    return (name.suffix.lower() == ".zip" and slugify(name.stem)[:80]) or "sent-files"
