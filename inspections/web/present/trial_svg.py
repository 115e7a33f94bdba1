"""A trial drawn: the arms side by side, their difference on an axis, and how alike the walls were before."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np
from django.utils.safestring import SafeString

from inspections.analysis.records import YEAR
from inspections.analysis.trial_walls import LOSS
from inspections.web.present import dates, units
from inspections.web.present.svg import add, canvas, markup, nice_ticks, picture, polyline, short

Scale = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Paper:
    """A drawing's width in px, how many panels stand side by side, and the class that shows or hides it."""

    width: float
    columns: int
    class_: str


DESK: Final = Paper(1120, 3, "trial desk")
PHONE: Final = Paper(358, 1, "trial phone")
#: Height of a panel's field, of what stands above and below it, and room for its numbers at the left, px.
FIELD, ABOVE, BELOW, LEFT, GAP = 132.0, 40.0, 34.0, 46.0, 26.0
#: A coat that has failed three times over is drawn up to there: what matters is told apart below.
MOST_THRESHOLDS = 3.0
#: Marks of the arms in their order: a disc, a square, a triangle, a cross.
_MARKS: Final = (
    "m-3.4 0a3.4 3.4 0 1 0 6.8 0a3.4 3.4 0 1 0 -6.8 0",
    "m-3.2 -3.2h6.4v6.4h-6.4z",
    "m0 -4l4 7h-8z",
    "m-3.4 -3.4l6.8 6.8m0 -6.8l-6.8 6.8",
)
#: Standard deviations that the axis of the walls before reaches to.
_REACH = 3.0


@dataclass(frozen=True, slots=True)
class Course:
    """One wall's course: years since its coat, what was seen, and the line; (n,) each. Arms are numbers."""

    arm: int
    years: Sequence[float]
    seen: Sequence[float]
    line: Sequence[float]
    bound: Sequence[bool]
    faint: bool = False


@dataclass(frozen=True, slots=True)
class Panel:
    """The walls of one block, with its name and the day that the coats went on."""

    name: str
    begun: str
    courses: Sequence[Course]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of dots: a name, a value with its interval (None: there is none), and what is said of it."""

    name: str
    value: float
    low: float | None
    high: float | None
    text: str = ""
    strong: bool = False


# Side by side ----------------------------------------------------------------------------------------------


def side_by_side(
    panels: Sequence[Panel],
    outcome: str,
    threshold: float,
    paper: Paper,
    title: str,
    told: str,
    *,
    tall: bool = False,
) -> SafeString:
    """A panel for each block, all on one scale: what each wall's coat did since it went on."""
    field = FIELD * (1.8 if tall else 1.0)
    columns = min(paper.columns, len(panels))
    rows = -(-len(panels) // columns)
    wide = (paper.width - GAP * (columns - 1)) / columns
    root = canvas(paper.width, rows * (ABOVE + field + BELOW), paper.class_)
    picture(root, title, told)
    frame = _frame(panels, outcome, threshold)
    for number, panel in enumerate(panels):
        left = number % columns * (wide + GAP)
        top = number // columns * (ABOVE + field + BELOW)
        _panel(root, panel, frame, (left, top, wide, field), outcome, threshold)
    return markup(root)


def legend(arms: Sequence[str]) -> list[tuple[str, SafeString]]:
    """Each arm's name with a sample of its line."""
    found = []
    for number, arm in enumerate(arms):
        root = canvas(48, 14, "swatch trial", width=48.0, height=14.0, aria_hidden="true")
        add(root, "path", d="M2 7H46", class_=f"course arm-{number % 4}")
        add(root, "path", d=f"M24 7{_MARKS[number % 4]}", class_=f"dot arm-{number % 4}")
        found.append((arm, markup(root)))
    return found


def _frame(panels: Sequence[Panel], outcome: str, threshold: float) -> tuple[float, float, float]:
    """Last year, and lowest and highest value of all panels."""
    courses = [course for panel in panels for course in panel.courses]
    values = [value for course in courses for value in (*course.seen, *course.line) if np.isfinite(value)]
    years = [year for course in courses for year in course.years]
    low, high = min(values, default=0.0), max(values, default=1.0)
    if outcome == LOSS:
        low, high = 0.0, min(max(high, threshold / 4), MOST_THRESHOLDS * threshold)
    room = (high - low or 1.0) * 0.08
    return max(years, default=1.0) * 1.02, low - (0 if outcome == LOSS else room), high + room


def _panel(
    root: Element,
    panel: Panel,
    frame: tuple[float, float, float],
    place: tuple[float, float, float, float],
    outcome: str,
    threshold: float,
) -> None:
    left, top, wide, field = place
    last, low, high = frame
    x = _scale((0.0, last), (left + LEFT, left + wide - 6))
    y = _scale((low, high), (top + ABOVE + field, top + ABOVE))
    add(root, "text", panel.name, x=left, y=top + 15, class_="panel-name")
    add(root, "text", panel.begun, x=left + LEFT + 4, y=top + ABOVE - 6, class_="tick")
    for tick in nice_ticks(low, high, 3):
        add(root, "path", d=f"M{short(x(0))} {short(y(tick))}H{short(x(last))}", class_="grid")
        text = units.number(100 * tick if outcome == LOSS else tick, 0 if outcome == LOSS else 1)
        label = f"{text} %" if outcome == LOSS else text
        add(root, "text", label, x=x(0) - 6, y=y(tick) + 4, text_anchor="end", class_="tick")
    if outcome == LOSS and threshold <= high:
        add(root, "path", d=f"M{short(x(0))} {short(y(threshold))}H{short(x(last))}", class_="threshold")
    base = top + ABOVE + field
    add(root, "path", d=f"M{short(x(0))} {short(top + ABOVE - 20)}V{short(base)}", class_="rule")
    add(root, "path", d=f"M{short(x(0))} {short(base)}H{short(x(last))}", class_="axis")
    for year in _whole_years(last, wide):
        add(root, "path", d=f"M{short(x(year))} {short(base)}v4", class_="axis")
        if year != _whole_years(last, wide)[-1]:
            add(root, "text", f"{year:.0f}", x=x(year), y=base + 18, text_anchor="middle", class_="tick")
    end = _whole_years(last, wide)[-1]
    at = min(x(end) + 22, left + wide)
    add(root, "text", f"{end:.0f} years", x=at, y=base + 18, text_anchor="end", class_="tick")
    for course in panel.courses:
        _course(root, course, x, y, high, outcome)


def _course(root: Element, course: Course, x: Scale, y: Scale, high: float, outcome: str) -> None:
    values = list(zip(course.years, course.line, strict=True))
    if outcome == LOSS:
        values.insert(0, (0.0, 0.0))
    within = _up_to(values, high)
    style, faint = course.arm % 4, " faint" if course.faint else ""
    add(
        root,
        "path",
        d=polyline((x(year), y(value)) for year, value in within),
        class_=f"course arm-{style}{faint}",
    )
    if values[-1][1] > high:
        at, top = x(within[-1][0]), y(high)
        add(root, "path", d=f"M{short(at)} {short(top)}m-4 5l4 -5 4 5", class_="course")
        scale = 100 if outcome == LOSS else 1
        text = f"to {units.number(scale * values[-1][1], 0)}{' %' if outcome == LOSS else ''}"
        add(root, "text", text, x=at + 11, y=top + 12, class_="tick")
    marks = [
        f"M{short(x(year))} {short(y(value))}" + ("v-8m-3 3l3 -3 3 3" if bound else _MARKS[style])
        for year, value, bound in zip(course.years, course.seen, course.bound, strict=True)
        if np.isfinite(value) and value <= high
    ]
    if not course.faint:
        add(root, "path", d="".join(marks), class_=f"dot arm-{style}")


def _up_to(values: Sequence[tuple[float, float]], high: float) -> list[tuple[float, float]]:
    """The course up to where it first leaves the paper at the top."""
    kept: list[tuple[float, float]] = []
    for year, value in values:
        if value > high and kept:
            before, level = kept[-1]
            return [*kept, (before + (year - before) * (high - level) / (value - level), high)]
        kept.append((year, min(value, high)))
    return kept


def _whole_years(last: float, wide: float) -> list[float]:
    step = next(one for one in (1, 2, 5, 10, 20, 50) if last / one * 34 <= wide or one == 50)
    return [float(year) for year in range(0, int(last) + 1, step)][1:] or [round(last, 1)]


# Dots on an axis -------------------------------------------------------------------------------------------


def dots(
    rows: Sequence[Row],
    paper: Paper,
    *,
    title: str,
    sides: tuple[str, str],
    worth: float | None = None,
    reach: float | None = None,
    axis: Callable[[float], str] = lambda value: units.number(value, 0),
) -> SafeString:
    """Values with their intervals over one axis, nought marked; ``sides`` name what lies left and right.

    ``worth`` dashes a size on both sides; ``reach`` bounds the axis, and what goes beyond it is cut by an
    arrow.
    """
    phone = paper.columns == 1
    left = 8.0 if phone else 260.0
    right = paper.width - (8.0 if phone else 250.0)
    pitch, head = (58.0, 62.0) if phone else (34.0, 46.0)
    height = head + pitch * len(rows) + 34
    root = canvas(paper.width, height, paper.class_.replace("trial", "trial dots"))
    picture(root, title, " ".join(f"{row.name}: {row.text}." for row in rows))
    span = reach or _span(rows, worth)
    x = _scale((-span, span), (left, right))
    base = head + pitch * len(rows)
    _axis(root, x, span, (head, base), axis, worth)
    first = {"x": left, "y": 14} if phone else {"x": x(0.0) - 8, "y": 16, "text_anchor": "end"}
    second = {"x": right, "y": 34, "text_anchor": "end"} if phone else {"x": x(0.0) + 8, "y": 16}
    add(root, "text", f"← {sides[0]}", class_="side", **first)
    add(root, "text", f"{sides[1]} →", class_="side", **second)
    for number, row in enumerate(rows):
        _dot(root, row, x, head + pitch * (number + 0.5) + (10 if phone else 0), (left, right, phone))
    return markup(root)


def _span(rows: Sequence[Row], worth: float | None) -> float:
    ends = [abs(end) for row in rows for end in (row.value, row.low, row.high) if end is not None]
    return max([*ends, (worth or 0.0) * 1.3, 1e-9]) * 1.06


def _axis(
    root: Element,
    x: Scale,
    span: float,
    edges: tuple[float, float],
    axis: Callable[[float], str],
    worth: float | None,
) -> None:
    top, base = edges
    add(root, "path", d=f"M{short(x(-span))} {short(base)}H{short(x(span))}", class_="axis")
    add(root, "path", d=f"M{short(x(0.0))} {short(top - 20)}V{short(base + 4)}", class_="centre")
    for tick in nice_ticks(0.0, span, 2):
        for value in {tick, -tick}:
            add(root, "path", d=f"M{short(x(value))} {short(base)}v4", class_="axis")
            add(root, "text", axis(value), x=x(value), y=base + 20, text_anchor="middle", class_="tick")
    if worth is not None:
        for value in (-worth, worth):
            add(root, "path", d=f"M{short(x(value))} {short(top - 8)}V{short(base)}", class_="worth")


def _dot(root: Element, row: Row, x: Scale, y: float, place: tuple[float, float, bool]) -> None:
    left, right, phone = place
    if phone:
        add(root, "text", row.name, x=left, y=y - 14, class_="row-name")
        add(root, "text", row.text, x=right, y=y - 14, text_anchor="end", class_="tick")
    else:
        add(root, "text", row.name, x=left - 12, y=y + 4, text_anchor="end", class_="row-name")
        add(root, "text", row.text, x=right + 12, y=y + 4, class_="tick")
    strong = " strong" if row.strong else ""
    if row.low is not None and row.high is not None:
        ends = (max(x(row.low), left), min(x(row.high), right))
        path = f"M{short(ends[0])} {short(y)}H{short(ends[1])}"
        path += f"M{short(ends[0])} {short(y)}l5 -4m-5 4l5 4" if x(row.low) < left else _stop(ends[0], y)
        path += f"M{short(ends[1])} {short(y)}l-5 -4m5 4l-5 4" if x(row.high) > right else _stop(ends[1], y)
        add(root, "path", d=path, class_=f"whisker{strong}")
    at = min(max(x(row.value), left), right)
    add(root, "path", d=f"M{short(at)} {short(y)}{_MARKS[0]}", class_=f"estimate{strong}")


def _stop(x: float, y: float) -> str:
    return f"M{short(x)} {short(y - 4)}v8"


def _scale(domain: tuple[float, float], target: tuple[float, float]) -> Scale:
    low, high = domain
    wide = (high - low) or 1.0
    return lambda value: target[0] + (value - low) / wide * (target[1] - target[0])


def years_since(begun: float, time: Sequence[float]) -> list[float]:
    """Years from the coat to each day."""
    return [(day - begun) / YEAR for day in time]


def coat_on(begun: float) -> str:
    """When the coats went on, as a panel says it."""
    return f"coats on, {dates.day(dates.from_days(begun))}"


# Before it starts ------------------------------------------------------------------------------------------


def could_show(
    points: Sequence[tuple[int, float]], own: int, worth: float, paper: Paper, name: Callable[[float], str]
) -> SafeString:
    """The least difference that would show, by pairs; the trial's own number is the full dot."""
    left, top, base = LEFT + 14, 26.0, 186.0
    width = min(paper.width, 640.0)
    root = canvas(width, base + 40, f"{paper.class_} narrow")
    right = width - 12
    told = " ".join(f"{pairs} pairs: {name(size)}." for pairs, size in points)
    picture(root, "The least difference a year that would show, by pairs of walls", told)
    high = max([size for _, size in points] + [worth]) * 1.1
    x = _scale((0.0, float(points[-1][0])), (left, right))
    y = _scale((0.0, high), (base, top))
    add(root, "text", "Least difference a year that would show", x=0.0, y=14, class_="panel-name")
    for tick in nice_ticks(0.0, high, 3):
        add(root, "path", d=f"M{short(left)} {short(y(tick))}H{short(right)}", class_="grid")
        add(root, "text", name(tick), x=left - 6, y=y(tick) + 4, text_anchor="end", class_="tick")
    add(root, "path", d=f"M{short(left)} {short(base)}H{short(right)}", class_="axis")
    add(root, "path", d=f"M{short(left)} {short(y(worth))}H{short(right)}", class_="worth")
    add(root, "text", "worth having", x=right, y=y(worth) - 5, text_anchor="end", class_="tick")
    add(root, "path", d=polyline((x(pairs), y(size)) for pairs, size in points), class_="course")
    for pairs, size in points:
        mark = f"M{short(x(pairs))} {short(y(size))}{_MARKS[0]}"
        add(root, "path", d=mark, class_=f"dot arm-{0 if pairs == own else 1}")
    for tick in nice_ticks(0.0, float(points[-1][0]), 6)[1:]:
        add(root, "text", f"{tick:.0f}", x=x(tick), y=base + 18, text_anchor="middle", class_="tick")
    add(root, "text", "pairs of walls", x=right, y=base + 36, text_anchor="end", class_="tick")
    return markup(root)
