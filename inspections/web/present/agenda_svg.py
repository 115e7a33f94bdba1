"""What is due, drawn: each house a line, each round a mark as large as it has looks, and today's rule."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

from django.utils.safestring import SafeString

from inspections.web.present import dates
from inspections.web.present.svg import add, canvas, markup, picture, short
from inspections.web.present.time_axis import scale

#: Days shown before and after today; what is longer overdue stands at the edge.
BEHIND, AHEAD = 60, 185
#: More lines than are taken in at a glance are left to the list.
MOST_HOUSES = 14
TOP, FOOT = 30.0, 10.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A round on its day, or papers; ``count`` of its looks."""

    day: dt.date
    count: int
    is_paper: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """One house and its marks."""

    name: str
    marks: list[Mark]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The paper, px: where days begin, a line's height, and how far above it names stand if not beside."""

    width: float
    left: float
    row: float
    kind: str
    above: float = 0.0


_SHEETS: Final = (
    _Sheet(width=1120, left=250, row=34, kind="desk"),
    _Sheet(width=358, left=12, row=52, kind="phone", above=18),
)


def draw(lines: Sequence[Line], today: dt.date, described: str) -> SafeString:
    """The drawing for a desk and the one for a phone."""
    parts = [_draw(lines[:MOST_HOUSES], today, described, sheet) for sheet in _SHEETS]
    return SafeString("".join(parts))


def _draw(lines: Sequence[Line], today: dt.date, described: str, sheet: _Sheet) -> str:
    low, high = dates.to_days(today) - BEHIND, dates.to_days(today) + AHEAD
    x = scale((low, high), (sheet.left + 14, sheet.width - 14))
    bottom = TOP + sheet.row * len(lines)
    root = canvas(sheet.width, bottom + FOOT, f"strips agenda {sheet.kind}")
    picture(root, "What falls due, house by house", described)
    _draw_months(root, x, today, (TOP - 8, bottom), sheet)
    for i, line in enumerate(lines):
        _draw_line(root, line, TOP + sheet.row * (i + 1) - 14, x, today, sheet)
    place = x(dates.to_days(today))
    add(root, "path", d=f"M{short(place)} {short(TOP - 8)}V{short(bottom)}", class_="rule")
    add(root, "text", "today", x=place, y=12, text_anchor="middle", class_="strip-name")
    return markup(root)


def _draw_months(
    root: Element, x: Callable[[float], float], today: dt.date, ends: tuple[float, float], sheet: _Sheet
) -> None:
    first = (today - dt.timedelta(days=BEHIND)).replace(day=1)
    for number in range(1, 9):
        month = dt.date(first.year + (first.month - 1 + number) // 12, (first.month - 1 + number) % 12 + 1, 1)
        if (month - today).days > AHEAD:
            break
        place = x(dates.to_days(month))
        add(root, "path", d=f"M{short(place)} {short(ends[0])}V{short(ends[1])}", class_="year")
        if abs((month - today).days) > 12:
            name = f"{month:%B}" if sheet.kind == "desk" else f"{month:%b}"
            add(root, "text", name, x=place, y=12, text_anchor="middle", class_="tick")


def _draw_line(
    root: Element, line: Line, y: float, x: Callable[[float], float], today: dt.date, sheet: _Sheet
) -> None:
    add(root, "path", d=f"M{short(sheet.left)} {short(y)}H{short(sheet.width)}", class_="grid")
    add(
        root,
        "text",
        line.name,
        x=0.0,
        y=y + 4.5 - (sheet.above + 4 if sheet.above else 0),
        class_="agenda-name",
    )
    for mark in line.marks:
        days = (mark.day - today).days
        if days > AHEAD:
            continue
        place = x(dates.to_days(today) + max(days, -BEHIND))
        _draw_mark(root, mark, place, y, late=days < 0)


def _draw_mark(root: Element, mark: Mark, x: float, y: float, *, late: bool) -> None:
    """A square for looks, its area as their count; a square on its corner for papers."""
    side = 7.0 + 2.6 * math.sqrt(mark.count)
    name = "late" if late else "coming"
    box = {"x": x - side / 2, "y": y - side / 2, "width": side, "height": side}
    turned = f"rotate(45 {short(x)} {short(y)})" if mark.is_paper else None
    add(root, "rect", class_=f"errand {name}", transform=turned, **box)
    if mark.count > 1:
        add(root, "text", str(mark.count), x=x + side / 2 + 3, y=y - side / 2 + 5, class_="tick")
