"""A trial drawn: the arms side by side, differences on an axis, and what a plan could come to show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from django.utils.safestring import SafeString

from inspections.analysis.records import YEAR
from inspections.analysis.trial_walls import LOSS
from inspections.web.present import dates, units
from inspections.web.present.figures import LETTER, Dot, Figure, on_page
from inspections.web.present.svg import Point, nice_ticks

Scale = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Paper:
    """How wide a drawing is, px, how many panels stand side by side, and the class that shows or hides it."""

    width: float
    columns: int
    class_: str


DESK: Final = Paper(1120, 3, "strips trial desk")
PHONE: Final = Paper(358, 1, "strips trial phone")
#: Height of a panel's field, of what stands above and below it, and room for its numbers at the left, px.
FIELD, ABOVE, BELOW, LEFT, GAP = 132.0, 40.0, 34.0, 46.0, 26.0
#: A coat that has failed three times over is drawn up to there: what matters is told apart below.
MOST_THRESHOLDS = 3.0
#: Average width of a bold letter over its height, for the system's sans serif (from memory).
BOLD_WIDTH = 0.62
#: Arms that are drawn apart; more repeat them.
STYLES = 4


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
    diamond: bool = False


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing for a desk, and one for a phone."""

    desk: SafeString
    phone: SafeString


def drawn(figure: Callable[[Paper], Figure], more: str = "") -> Drawn:
    """A figure on both papers."""
    return Drawn(*(on_page(figure(paper), f"{paper.class_} {more}".strip()) for paper in (DESK, PHONE)))


# Side by side ----------------------------------------------------------------------------------------------


def side_by_side(
    panels: Sequence[Panel],
    outcome: str,
    threshold: float,
    paper: Paper,
    *,
    title: str,
    told: str,
    field: float = FIELD,
) -> Figure:
    """A panel for each block, all on one scale: what each wall's coat did since it went on."""
    columns = min(paper.columns, len(panels))
    rows = -(-len(panels) // columns)
    wide = (paper.width - GAP * (columns - 1)) / columns
    figure = Figure(title, told, paper.width, rows * (ABOVE + field + BELOW))
    frame = _frame(panels, outcome, threshold)
    for number, panel in enumerate(panels):
        left = number % columns * (wide + GAP)
        top = number // columns * (ABOVE + field + BELOW)
        _panel(figure, panel, frame, (left, top, wide, field), outcome, threshold)
    return figure


def legend(arms: Sequence[str], *, marked: bool = True) -> list[tuple[str, SafeString]]:
    """Each arm's name with a sample of its line, and of its mark where the figure has marks."""
    samples = (sample(number, arm, marked=marked) for number, arm in enumerate(arms))
    return [(arm, on_page(figure, "swatch trial")) for arm, figure in zip(arms, samples, strict=True)]


def sample(number: int, name: str, *, marked: bool = True) -> Figure:
    """A short piece of the line that is drawn for the arm of this number."""
    figure = Figure(f"The line of {name}", "", 48, 14)
    figure.line(f"course-{number % STYLES}", (2, 7), (46, 7))
    if marked:
        _mark(figure, number, 24, 7)
    return figure


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
    figure: Figure,
    panel: Panel,
    frame: tuple[float, float, float],
    place: tuple[float, float, float, float],
    outcome: str,
    threshold: float,
) -> None:
    left, top, wide, field = place
    last, low, high = frame
    base = top + ABOVE + field
    x = scale((0.0, last), (left + LEFT, left + wide - 6))
    y = scale((low, high), (base, top + ABOVE))
    figure.text("strip-name", left, top + 15, panel.name)
    figure.text("tick", left + LEFT + 4, top + ABOVE - 6, panel.begun)
    for tick in nice_ticks(low, high, 3):
        figure.line("grid", (x(0), y(tick)), (x(last), y(tick)))
        figure.text("tick", x(0) - 6, y(tick) + 4, _tick(tick, outcome), "end")
    if outcome == LOSS and threshold <= high:
        figure.line("half", (x(0), y(threshold)), (x(last), y(threshold)))
    figure.line("treated", (x(0), top + ABOVE - 20), (x(0), base))
    figure.line("axis", (x(0), base), (x(last), base))
    *others, end = _whole_years(last, wide)
    for year in others:
        figure.text("tick", x(year), base + 18, f"{year:.0f}", "middle")
    figure.text("tick", min(x(end) + 22, left + wide), base + 18, f"{end:.0f} years", "end")
    for year in (*others, end):
        figure.line("axis", (x(year), base), (x(year), base + 4))
    for course in panel.courses:
        _course(figure, course, x, y, high, outcome)


def _tick(value: float, outcome: str) -> str:
    return f"{units.number(100 * value, 0)} %" if outcome == LOSS else units.number(value, 1)


def _course(figure: Figure, course: Course, x: Scale, y: Scale, high: float, outcome: str) -> None:
    values = list(zip(course.years, course.line, strict=True))
    if outcome == LOSS:
        values.insert(0, (0.0, 0.0))
    within = _up_to(values, high)
    style = f"{'faint' if course.faint else 'course'}-{course.arm % STYLES}"
    figure.line(style, *((x(year), y(value)) for year, value in within))
    if values[-1][1] > high:
        at, top = x(within[-1][0]), y(high)
        figure.line("bound", (at - 4, top + 5), (at, top), (at + 4, top + 5))
        if not course.faint:
            figure.text("tick", at + 11, top + 12, f"to {_tick(values[-1][1], outcome)}")
    if course.faint:
        return
    for year, value, bound in zip(course.years, course.seen, course.bound, strict=True):
        if np.isfinite(value) and value <= high:
            if bound:
                _arrow(figure, x(year), y(value))
            else:
                _mark(figure, course.arm, x(year), y(value))


def _up_to(values: Sequence[Point], high: float) -> list[Point]:
    """The course up to where it first leaves the paper at the top."""
    kept: list[Point] = []
    for year, value in values:
        if value > high and kept:
            before, level = kept[-1]
            return [*kept, (before + (year - before) * (high - level) / (value - level), high)]
        kept.append((year, min(value, high)))
    return kept


def _mark(figure: Figure, arm: int, x: float, y: float) -> None:
    """Arms by their mark: a disc, an open square, a triangle, a ring."""
    style = arm % STYLES
    if style == 1:
        for name, half in (("point", 3.6), ("ground", 2.3)):
            figure.area(
                name, [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
            )
    elif style == 2:
        figure.area("point", [(x, y - 4), (x + 4, y + 3), (x - 4, y + 3)])
    else:
        figure.shapes.append(Dot((x, y), "point", 3.6))
        if style == 3:
            figure.shapes.append(Dot((x, y), "ground", 2.3))


def _arrow(figure: Figure, x: float, y: float) -> None:
    """A survey that saw only a part: at least so much."""
    figure.line("bound", (x, y), (x, y - 8))
    figure.line("bound", (x - 3, y - 5), (x, y - 8), (x + 3, y - 5))


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
) -> Figure:
    """Values with their intervals over one axis, nought marked; ``sides`` name what lies left and right.

    ``worth`` dashes a size on both sides; ``reach`` bounds the axis, and what goes beyond it is cut by an
    arrow.
    """
    phone = paper.columns == 1
    longest = max((len(row.name) for row in rows), default=0)
    left = 8.0 if phone else max(260.0, 16.0 + longest * LETTER * BOLD_WIDTH)
    right = paper.width - (8.0 if phone else 250.0)
    pitch, head = (58.0, 62.0) if phone else (34.0, 46.0)
    base = head + pitch * len(rows)
    told = " ".join(f"{row.name}: {row.text}." for row in rows)
    figure = Figure(title, told, paper.width, base + 34)
    span = reach or _span(rows, worth)
    x = scale((-span, span), (left, right))
    figure.line("axis", (left, base), (right, base))
    figure.line("treated", (x(0.0), head - 20), (x(0.0), base + 4))
    for value in sorted({sign * tick for tick in nice_ticks(0.0, span, 2) for sign in (-1, 1)}):
        figure.line("axis", (x(value), base), (x(value), base + 4))
        figure.text("tick", x(value), base + 20, axis(value), "middle")
    for value in (-worth, worth) if worth is not None else ():
        figure.line("worth", (x(value), head - 8), (x(value), base))
    if phone:
        figure.text("strip-name", left, 14, f"← {sides[0]}")
        figure.text("strip-name", right, 34, f"{sides[1]} →", "end")
    else:
        figure.text("strip-name", x(0.0) - 8, 16, f"← {sides[0]}", "end")
        figure.text("strip-name", x(0.0) + 8, 16, f"{sides[1]} →")
    for number, row in enumerate(rows):
        y = head + pitch * (number + 0.5) + (10 if phone else 0)
        _names(figure, row, y, left, right, phone)
        _values(figure, row, x, y, left, right)
    return figure


def _span(rows: Sequence[Row], worth: float | None) -> float:
    ends = [abs(end) for row in rows for end in (row.value, row.low, row.high) if end is not None]
    return max([*ends, (worth or 0.0) * 1.3, 1e-9]) * 1.06


def _names(figure: Figure, row: Row, y: float, left: float, right: float, phone: bool) -> None:
    if phone:
        figure.text("strip-name", left, y - 14, row.name)
        figure.text("tick", right, y - 14, row.text, "end")
    else:
        figure.text("strip-name", left - 12, y + 4, row.name, "end")
        figure.text("tick", right + 12, y + 4, row.text)


def _values(figure: Figure, row: Row, x: Scale, y: float, left: float, right: float) -> None:
    style = "whisker-strong" if row.strong else "whisker"
    at = min(max(x(row.value), left), right)
    if row.low is not None and row.high is not None:
        first, last = max(x(row.low), left), min(x(row.high), right)
        if row.diamond:
            figure.area("point", [(first, y), (at, y - 8), (last, y), (at, y + 8)])
            return
        figure.line(style, (first, y), (last, y))
        for end, beyond, inward in ((first, x(row.low) < left, 5.0), (last, x(row.high) > right, -5.0)):
            if beyond:
                figure.line(style, (end + inward, y - 4), (end, y), (end + inward, y + 4))
            else:
                figure.line(style, (end, y - 4), (end, y + 4))
    figure.shapes.append(Dot((at, y), "point" if row.strong else "estimate", 5.0 if row.strong else 4.0))


# Before it starts ------------------------------------------------------------------------------------------


def could_show(
    points: Sequence[tuple[int, float]], own: int, worth: float, paper: Paper, name: Callable[[float], str]
) -> Figure:
    """The least difference that would show, by pairs; the trial's own number is the full dot."""
    left, top, base = LEFT + 14, 26.0, 186.0
    width = min(paper.width, 640.0)
    right = width - 12
    told = " ".join(f"{pairs} pairs: {name(size)}." for pairs, size in points)
    figure = Figure("The least difference a year that would show, by pairs of walls", told, width, base + 40)
    high = max([size for _, size in points] + [worth]) * 1.1
    x = scale((0.0, float(points[-1][0])), (left, right))
    y = scale((0.0, high), (base, top))
    figure.text("strip-name", 0.0, 14, "Least difference a year that would show")
    for tick in nice_ticks(0.0, high, 3):
        figure.line("grid", (left, y(tick)), (right, y(tick)))
        figure.text("tick", left - 6, y(tick) + 4, name(tick), "end")
    figure.line("axis", (left, base), (right, base))
    figure.line("worth", (left, y(worth)), (right, y(worth)))
    figure.text("tick", left + 6, y(worth) - 5, "worth having")
    figure.line("course-0", *((x(pairs), y(size)) for pairs, size in points))
    for pairs, size in points:
        _mark(figure, 0 if pairs == own else 3, x(pairs), y(size))
    for tick in nice_ticks(0.0, float(points[-1][0]), 6)[1:]:
        figure.text("tick", x(tick), base + 18, f"{tick:.0f}", "middle")
    figure.text("tick", right, base + 36, "pairs of walls", "end")
    return figure


def scale(domain: tuple[float, float], target: tuple[float, float]) -> Scale:
    """From a range of values to one of the paper, px."""
    low, high = domain
    wide = (high - low) or 1.0
    return lambda value: target[0] + (value - low) / wide * (target[1] - target[0])


def years_since(begun: float, time: Sequence[float]) -> list[float]:
    """Years from the coat to each day."""
    return [(day - begun) / YEAR for day in time]


def coat_on(begun: float) -> str:
    """When the coats went on, as a panel says it."""
    return f"coats on, {dates.day(dates.from_days(begun))}"
