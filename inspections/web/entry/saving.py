"""What was typed, handed to the records' own functions; what they refuse, said beside the fields."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from inspections.models import Reading
from inspections.queries.entry import Place, place_of
from inspections.records.bulk import enter_readings
from inspections.records.entering import correct_row, enter_row, kind_of
from inspections.records.faults import RecordsRefused
from inspections.records.tables import READINGS, Table
from inspections.web.entry.access import Opened
from inspections.web.entry.forms import ReasonForm, RowForm
from inspections.web.entry.visit import PLACE_CELLS, TYPED_CELLS, Row, place_text
from portfolio.domain import records
from portfolio.domain.refusals import Invalid, Refusal
from portfolio.models import Section

NOTHING_TYPED = "Nothing was typed: write at least one value, or go on without."
NOTHING_CHOSEN = "Choose what was read, and its unit."
TWICE = "This place is there twice; keep one of the two."
TAKEN_BACK = "A reading at this place and minute was taken back; begin the visit at another minute."
#: The cells that a reading is entered with, beside those of its visit.
READING_CELLS = (*PLACE_CELLS, *TYPED_CELLS, "instrument", "unit")


@dataclass(frozen=True, slots=True)
class Before:
    """What was entered of a section at the minute of a visit before its form was sent."""

    standing: Sequence[Reading]
    taken_back: Collection[Place]


def save_readings(
    found: Opened[Any], rows: Sequence[Row], of_visit: Mapping[str, str], before: Before
) -> list[str]:
    """Enter a section's readings, all or none; what is wrong goes to its row, the rest is returned.

    The same rows again change nothing; other values at the same places correct the first ones.
    """
    others = {one.visit.inspector for one in before.standing} - {of_visit["inspector"]}
    if others:
        who = ", ".join(sorted(name or "somebody without initials" for name in others))
        return [f"{who} entered readings of this wall at this very minute; begin the visit at another."]
    _note_faults(rows, before)
    filled = [row for row in rows if row.filled]
    if any(row.errors for row in rows):
        return []
    if not filled:
        return [NOTHING_TYPED]
    sent = [{**of_visit, **{name: row.cells[name] for name in READING_CELLS}} for row in filled]
    try:
        enter_readings(
            organisation=found.organisation, user=found.user, rows=sent, source="readings by a visit’s form"
        )
    except RecordsRefused as refused:
        return _note_refusal(refused, filled)
    except Refusal as refused:
        return [str(refused)]
    return []


def _note_faults(rows: Sequence[Row], before: Before) -> None:
    """What only the form can see: a value that was emptied, a place that is there twice or taken."""
    entered = {place_text(place_of(one)): one for one in before.standing}
    taken = {place_text(place) for place in before.taken_back}
    seen: set[tuple[str, ...]] = set()
    for row in rows:
        if not row.filled:
            if not row.free and (one := entered.get(row.place)):
                row.errors.append(
                    f"{one.entered_value} was entered here and stays. Write the right value, "
                    "or take the reading back at the visit’s end."
                )
        elif not row.quantity:
            row.errors.append(NOTHING_CHOSEN)
        elif row.place in seen:
            row.errors.append(TWICE)
        elif row.place in taken:
            row.errors.append(TAKEN_BACK)
        if row.filled:
            seen.add(row.place)


def _note_refusal(refused: RecordsRefused, filled: Sequence[Row]) -> list[str]:
    """Put each fault to its row; those of no row are returned."""
    general = []
    for fault in refused.errors:
        if 1 <= fault.line <= len(filled):
            filled[fault.line - 1].errors.append(_named(fault.column, fault.problem))
        else:
            general.append(_sentence(fault.problem))
    return general


def take_back(found: Opened[Reading], form: ReasonForm) -> bool:
    """Void a reading; it and the reason stay in the history. Taken back before, it stays so."""
    if found.record.voided_at is not None:
        return True
    try:
        records.void(
            kind=kind_of(READINGS),
            record=found.record,
            organisation=found.organisation,
            user=found.user,
            reason=form.cleaned_data["reason"],
        )
    except Refusal as refused:
        form.add_error(None, str(refused))
        return False
    return True


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
    if column == "value":
        return _sentence(problem)
    return f"{column.removesuffix('_mm').capitalize()}: {problem}."


def _sentence(problem: str) -> str:
    text = problem[:1].upper() + problem[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
