"""Rows of one table: checked one by one, each with its place, into values of the model."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterator, Mapping
from random import SystemRandom

from inspections.records.cells import suggestion
from inspections.records.faults import Fault, Faults, Problem, shown
from inspections.records.places import Places
from inspections.records.rules import Values
from inspections.records.tables import Table

SMALLEST_RUN = 500
LONGEST_RUN = 100_000
RANDOM = SystemRandom()


def faults_of_columns(table: Table, named: Collection[str]) -> Iterator[tuple[str, str]]:
    """What is wrong with the columns that a table comes with: the column, and the problem."""
    known = [column.name for column in table.columns]
    if named and not set(known) & set(named):
        yield "", f"no column has a known name; the first line names them: {', '.join(known)}"
        return
    seen: set[str] = set()
    for name in named:
        if name in seen:
            yield name, "the column is there twice; leave one out"
        elif name not in known:
            yield name, f"unknown column {shown(name)}{suggestion(name, known)}"
        seen.add(name)
    for column in table.columns:
        if not column.optional and column.name not in seen:
            yield column.name, "the column is missing; add it to the header (its cells may be empty)"


def fresh_ids() -> Iterator[uuid.UUID]:
    """Random UUIDs in ascending runs, so that an index on them is filled page by page."""
    size = SMALLEST_RUN
    while True:
        # Sorted as numbers, which is many times quicker than as UUIDs.
        for number in sorted(RANDOM.getrandbits(128) for _ in range(size)):
            yield uuid.UUID(int=number, version=4)
        size = min(2 * size, LONGEST_RUN)


class RowChecker:
    """Checks rows of ``table`` that have the columns ``present``; what is wrong goes to ``faults``."""

    def __init__(
        self, table: Table, present: Collection[str], places: Places, faults: Faults, file: str = ""
    ) -> None:
        self.table = table
        self.places = places
        self.faults = faults
        self.file = file or table.file
        self._ids = fresh_ids()
        self._columns = [(c.name, c.read, c.required, c.empty) for c in table.columns if c.name in present]
        self._absent = {c.name: c.empty for c in table.columns if c.name not in present}

    def check(self, row: Mapping[str, str], line: int) -> Values | None:
        """The row's values with its ``id``, or None where something is wrong. Cells are trimmed text."""
        values: Values = dict(self._absent)
        before = self.faults.total
        for name, read, required, empty in self._columns:
            cell = row[name]
            if cell:
                try:
                    values[name] = read(cell)
                except Problem as problem:
                    self._fault(line, name, problem)
            elif required:
                self._fault(line, name, "is missing; the cell may not be empty")
            else:
                values[name] = empty
        self._apply_rules(values, line, before)
        identify = self.table.identify
        if identify is None:
            values["id"] = next(self._ids)
        elif all(name in values for name in self.table.code_columns):
            values["id"] = identify(self.places, values)
        return values if self.faults.total == before else None

    def _apply_rules(self, values: Values, line: int, before: int) -> None:
        for rule in self.table.rules:
            if self.faults.total > before and not all(name in values for name in rule.needs):
                continue
            try:
                rule.check(values, self.places)
            except Problem as problem:
                self._fault(line, rule.column, problem)

    def _fault(self, line: int, column: str, problem: Problem | str) -> None:
        self.faults.add(Fault(self.file, line, column, str(problem)))
