"""What was typed, handed to the records' own functions; what they refuse, said beside the fields."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction

from inspections.models import Reading
from inspections.records.bulk import enter_readings
from inspections.records.entering import correct_row, enter_row
from inspections.records.faults import RecordsRefused
from inspections.records.tables import Table
from inspections.web.entry.access import Opened
from inspections.web.entry.forms import RowForm
from inspections.web.entry.visit import Row
from portfolio.domain.refusals import Invalid, Refusal
from portfolio.models import Section

NOTHING_TYPED = "Nothing was typed: write at least one value, or go on without."
#: The cells that a reading is entered with, beside those of its visit.
READING_CELLS = (
    "quantity", "height_mm", "depth_mm", "point", "replicate", "instrument", "unit",
    "value", "qualifier", "note",
)  # fmt: skip


def save_readings(
    found: Opened[Any], rows: Sequence[Row], of_visit: Mapping[str, str], standing: Sequence[Reading]
) -> list[str]:
    """Enter a section's readings, all or none; what is wrong goes to its row, the rest is returned.

    The same rows again change nothing; other values at the same places correct the first ones.
    """
    filled = [row for row in rows if row.filled]
    if not filled:
        return [NOTHING_TYPED]
    others = {one.visit.inspector for one in standing} - {of_visit["inspector"]}
    if others:
        who = ", ".join(sorted(name or "somebody without initials" for name in others))
        return [f"{who} entered readings of this wall at this very minute; begin the visit at another."]
    sent = [{**of_visit, **{name: row.cells[name] for name in READING_CELLS}} for row in filled]
    try:
        enter_readings(
            organisation=found.organisation, user=found.user, rows=sent, source="readings by a visit’s form"
        )
    except RecordsRefused as refused:
        general = []
        for fault in refused.errors:
            if 1 <= fault.line <= len(filled):
                filled[fault.line - 1].errors.append(_named(fault.column, fault.problem))
            else:
                general.append(fault.problem)
        return general
    except Refusal as refused:
        return [str(refused)]
    return []


def enter(found: Opened[Any], table: Table, form: RowForm, fixed: Mapping[str, object]) -> Any | None:
    """Enter the form's record; None, and the form says why, where it is refused."""
    return _tried(
        form,
        lambda: enter_row(
            table=table,
            organisation=found.organisation,
            user=found.user,
            row={**fixed, **form.row()},
            record_id=form.cleaned_data["id"],
        )[0],
    )


def correct(found: Opened[Any], table: Table, form: RowForm, reason: str) -> Any | None:
    """Correct the opened record by the form; None, and the form says why, where it is refused."""
    return _tried(
        form,
        lambda: correct_row(
            table=table,
            record=found.record,
            organisation=found.organisation,
            user=found.user,
            row=form.row(),
            reason=reason,
        ),
    )


def place_cells(section: Section) -> dict[str, str]:
    """A section as rows name it."""
    return {"building": section.building.code, "section": section.code}


def _tried(form: RowForm, act: Any) -> Any | None:
    try:
        with transaction.atomic():
            return act()
    except Invalid as refused:
        for name, text in refused.errors:
            form.add_error(name if name in form.fields else None, _sentence(text))
    except Refusal as refused:
        form.add_error(None, str(refused))
    return None


def _named(column: str, problem: str) -> str:
    return _sentence(problem) if column == "value" else f"{column.replace('_mm', '')}: {_sentence(problem)}"


def _sentence(problem: str) -> str:
    text = problem[:1].upper() + problem[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
