"""A time axis with its years, and the rules that coats and events draw through whatever hangs on it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np

from inspections.analysis.records import YEAR
from inspections.web.present import dates
from inspections.web.present.svg import add, short


@dataclass(frozen=True, slots=True)
class Rule:
    """A vertical rule through all strips: a coat put on or taken off, or an event. ``time`` in days.

    ``until``: when the coat came off again; one that was on before the first reading is named at the edge.
    """

    time: float
    name: str
    treatment: bool = True
    until: float = -np.inf


@dataclass(frozen=True, slots=True)
class Sheet:
    """The paper: px, with ``named`` saying whether rules carry their names or only their numbers."""

    width: float
    left: float
    right: float
    strip: float
    gap: float
    named: bool


DESK: Final = Sheet(width=1120, left=58, right=20, strip=92, gap=34, named=True)
PHONE: Final = Sheet(width=358, left=44, right=8, strip=84, gap=34, named=False)
#: Room a rule's name is given: on paper, and where the column is narrow, letters are larger than on a desk.
LARGEST, AVERAGE = 16.0, 0.54
#: Height of one row of rules' names, px.
ROW = 17.0


def within(rules: Sequence[Rule], span: tuple[float, float]) -> list[Rule]:
    """The rules of this span, and at its edge the coats that were on before it."""
    before = [
        replace(rule, time=span[0], name=f"← {rule.name}")
        for rule in rules
        if rule.time < span[0] < rule.until
    ]
    return before + [rule for rule in rules if span[0] <= rule.time <= span[1]]


def scale(domain: tuple[float, float], target: tuple[float, float]) -> Callable[[float], float]:
    """The map of ``domain`` onto ``target``, linear."""
    low, high = domain
    wide = (high - low) or 1.0
    return lambda value: target[0] + (value - low) / wide * (target[1] - target[0])


def draw_years(
    root: Element, x: Callable[[float], float], span: tuple[float, float], top: float, bottom: float
) -> None:
    """A line for each year between ``top`` and ``bottom``, named as often as there is room."""
    first, last = dates.from_days(span[0]).year, dates.from_days(span[1]).year
    room = x(span[0] + YEAR) - x(span[0])
    step = next(step for step in (1, 2, 5, 10, 20, 50) if step * room >= 42 or step == 50)
    for year in range(first, last + 1):
        place = x(dates.to_days(dt.date(year, 1, 1)))
        if place < x(span[0]) - 0.5:
            continue
        named = year % step == 0
        add(root, "path", d=f"M{short(place)} {short(top)}V{short(bottom + (5 if named else 0))}",
            class_="year" if named else "year faint")  # fmt: skip
        if named:
            for y in (top - 4, bottom + 18):
                add(root, "text", str(year), x=place, y=y, text_anchor="middle", class_="tick")


def label_rows(rules: Sequence[Rule], x: Callable[[float], float], sheet: Sheet) -> list[int]:
    """The row in which each rule's name (or number) stands, so that none overlaps another."""
    ends: list[float] = []
    rows = []
    for i, rule in enumerate(rules):
        start, wide = _label_place(rule, i, x, sheet)
        row = next((r for r, end in enumerate(ends) if end <= start), len(ends))
        if row == len(ends):
            ends.append(0.0)
        ends[row] = start + wide + 10
        rows.append(row)
    return rows


def _label_place(rule: Rule, i: int, x: Callable[[float], float], sheet: Sheet) -> tuple[float, float]:
    wide = len(_label(rule, i, sheet)) * LARGEST * AVERAGE
    start = x(rule.time) + 4
    return (start if start + wide <= sheet.width else x(rule.time) - 4 - wide), wide


def _label(rule: Rule, i: int, sheet: Sheet) -> str:
    return rule.name if sheet.named else str(i + 1)


def draw_rules(
    root: Element,
    rules: Sequence[Rule],
    rows: Sequence[int],
    x: Callable[[float], float],
    bottom: float,
    sheet: Sheet,
) -> None:
    """The rules down to ``bottom``, each with its name (or number) in its row at the top."""
    for i, (rule, row) in enumerate(zip(rules, rows, strict=True)):
        kind = "rule" if rule.treatment else "rule event"
        top = 4.0 + row * ROW
        add(root, "path", d=f"M{short(x(rule.time))} {short(top)}V{short(bottom)}", class_=kind)
        start, _ = _label_place(rule, i, x, sheet)
        add(root, "text", _label(rule, i, sheet), x=start, y=top + 10, class_="rule-name")
