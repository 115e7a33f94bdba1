"""What a load did or would do, in words: file by file, and what is wrong by file, line and column."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from inspections.models import Load, Upload
from inspections.vocabulary import UploadState
from inspections.web.present import dates, words


@dataclass(frozen=True, slots=True)
class FileRow:
    """One file's rows."""

    file: str
    new: str
    changed: str
    unchanged: str


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One thing that is wrong, and where."""

    file: str
    line: str
    column: str
    problem: str


@dataclass(frozen=True, slots=True)
class Shown:
    """An upload as its page tells it."""

    pk: UUID
    name: str
    heading: str
    lead: str
    step: str
    files: list[FileRow]
    faults: list[FaultRow]
    more: str
    left: str
    is_working: bool
    may_be_loaded: bool


HEADINGS = {
    UploadState.CHECKING: "The files are being checked",
    UploadState.CHECKED: "Checked: nothing is saved yet",
    UploadState.LOADING: "The files are being loaded",
    UploadState.LOADED: "Loaded",
    UploadState.REFUSED: "Refused: nothing was saved",
    UploadState.FAILED: "Stopped: nothing was saved",
}
WORKING = "You may leave this page; the work goes on, and its result will be here."


def present(upload: Upload) -> Shown:
    """The upload in words."""
    state, report = UploadState(upload.state), upload.report
    files = [_file_row(name, counts) for name, counts in report.get("files", {}).items()]
    errors = report.get("errors", [])
    hidden = report.get("total", 0) - len(errors)
    left = report.get("left", [])
    changes = sum(c["new"] + c["changed"] for c in report.get("files", {}).values())
    return Shown(
        pk=upload.pk,
        name=upload.name,
        heading=HEADINGS[state],
        lead=_lead(state, report, changes),
        step=words.sentence(upload.step) if upload.step else "",
        files=files if state in (UploadState.CHECKED, UploadState.LOADED) else [],
        faults=[_fault_row(error) for error in errors],
        more=f"And {hidden:,} more." if hidden > 0 else "",
        left=f"Left alone, being no file of records: {', '.join(left)}." if left else "",
        is_working=state in (UploadState.CHECKING, UploadState.LOADING),
        may_be_loaded=state == UploadState.CHECKED and changes > 0,
    )


def _lead(state: UploadState, report: Mapping[str, Any], changes: int) -> str:
    if state in (UploadState.CHECKING, UploadState.LOADING):
        return WORKING
    if state == UploadState.REFUSED:
        total = report["total"]
        return f"{words.counted(total, 'thing is', 'things are')} wrong. Mend the files and send them again."
    if state == UploadState.FAILED:
        return str(report.get("stopped", ""))
    if not changes:
        return "Every row stands in the records already, just as it is in the files."
    if state == UploadState.CHECKED:
        return "This is what loading would do. What is changed keeps its old value in the history."
    return "What was changed keeps its old value in the history. The houses are assessed anew shortly."


def _file_row(name: str, counts: Mapping[str, int]) -> FileRow:
    return FileRow(f"{name}.csv", f"{counts['new']:,}", f"{counts['changed']:,}", f"{counts['unchanged']:,}")


def _fault_row(error: Mapping[str, Any]) -> FaultRow:
    line = f"{error['line']:,}" if error["line"] else ""
    return FaultRow(error["file"], line, error["column"], words.sentence(error["problem"]))


def lines(loads: Iterable[Load], zone: dt.tzinfo) -> list[str]:
    """Past loads, each in a sentence."""
    return [_line(load, zone) for load in loads]


def _line(load: Load, zone: dt.tzinfo) -> str:
    counts = [c for c in load.counts.values() if isinstance(c, dict)]
    new, changed = (sum(int(c.get(name, 0)) for c in counts) for name in ("new", "changed"))
    by = f" by {load.by}" if load.by else ""
    when = dates.day(load.started_at.astimezone(zone).date())
    return f"{when}{by}, from {load.source}: {new:,} rows new, {changed:,} changed."
