"""The figures of what lasts: a small curve for each group, and spans side by side."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Final

from inspections.analysis.lifetimes import Interval
from inspections.analysis.rates import FailureRates, GroupRates, Survival
from inspections.domain.lasting import WhatLasts
from inspections.web.present import lasting, lasting_checks, units, words
from inspections.web.present.figures import LETTER, Figure
from inspections.web.present.svg import Point, nice_ticks

#: Curves on one page; more groups stand in the table alone.
MOST_PANELS = 24


@dataclass(frozen=True, slots=True)
class Sheet:
    """The paper, px: how wide, how many curves stand side by side, and where a span's name stands."""

    width: float
    columns: int
    names: float


DESK: Final = Sheet(width=1120, columns=3, names=300)
PHONE: Final = Sheet(width=358, columns=1, names=0)
_GAP, _LEFT, _RIGHT, _TOP, _PLOT, _BOTTOM = 36.0, 46.0, 14.0, 44.0, 130.0, 42.0
#: A curve is drawn as long as its interval is narrower than this share; beyond it nothing is known.
TELLING = 0.75
#: Average width of a letter over its height, for the system's sans serif (from memory).
_LETTER_WIDTH = 0.56


def survival(rates: FailureRates, sheet: Sheet) -> Figure | None:
    """One small curve a group, all to one scale; None where no group has a curve."""
    groups = [group for group in rates.groups if group.survival][:MOST_PANELS]
    if not groups:
        return None
    columns = min(sheet.columns, len(groups)) if sheet.columns > 1 else 1
    wide = (sheet.width - (sheet.columns - 1) * _GAP) / sheet.columns
    high = _TOP + _PLOT + _BOTTOM
    rows = math.ceil(len(groups) / columns)
    last = max((points[-1].years for group in groups if (points := _telling(group))), default=0.0)
    until = max(5.0, math.ceil(last / 5) * 5.0)
    described = " ".join(_described(group) for group in groups)
    figure = Figure("The share of coats still good at each age", described, sheet.width, rows * high)
    for place, group in enumerate(groups):
        corner = (place % columns * (wide + _GAP), place // columns * high)
        _panel(figure, group, corner, wide, until)
    return figure


def _telling(group: GroupRates) -> list[Survival]:
    """The curve as far as anything is known of it."""

    def tells(point: Survival) -> bool:
        return point.low is not None and point.high is not None and point.high - point.low < TELLING

    return list(takewhile(tells, group.survival))


def _described(group: GroupRates) -> str:
    name, points = words.capital(lasting.group_name(group.group)), _telling(group)
    if not points:
        return f"{name}: too little is known for a curve."
    point = points[min(len(points), 10) - 1]
    share = units.number(point.survival * 100, 0)
    return f"{name}: {share} in 100 last longer than {words.counted(round(point.years), 'year')}."


def _panel(figure: Figure, group: GroupRates, corner: Point, wide: float, until: float) -> None:
    left, right = corner[0] + _LEFT, corner[0] + wide - _RIGHT
    top, bottom = corner[1] + _TOP, corner[1] + _TOP + _PLOT

    def at(years: float, share: float) -> Point:
        return left + years / until * (right - left), bottom - share * (bottom - top)

    figure.text("strip-name", corner[0], corner[1] + 15, _cut(lasting.group_name(group.group), wide))
    failed = "none failed" if not group.failures else f"{group.failures} failed"
    figure.text("said", corner[0], corner[1] + 33, f"{words.counted(group.coats, 'coat')}, {failed}")
    for share in (0.0, 0.5, 1.0):
        figure.line("grid", at(0, share), at(until, share))
        label = f"{share * 100:.0f}{units.NO_BREAK}%" if share == 1 else f"{share * 100:.0f}"
        figure.text("tick", left - 5, at(0, share)[1] + 4, label, "end")
    for year in nice_ticks(0, until, 5):
        figure.text("tick", at(year, 0)[0], bottom + 16, units.number(year, 0), "middle")
    figure.text("tick", right, bottom + 32, "years since it was put on", "end")
    points = _telling(group)
    figure.line("axis", at(0, 1), at(0, 0), at(until, 0))
    if not points:
        figure.text("tick", left + 8, at(0, 0.25)[1], "too little is known for a curve")
        return
    upper = [at(point.years, point.high or 0.0) for point in points]
    lower = [at(point.years, point.low or 0.0) for point in reversed(points)]
    figure.area("band", [at(0, 1), *upper, *lower])
    figure.line("line", at(0, 1), *(at(point.years, point.survival) for point in points))
    half = group.median_life.years
    if half is not None and half <= points[-1].years:
        figure.line("half", at(0, 0.5), at(half, 0.5), at(half, 0))
        near = half > until * 0.6
        x, y = at(half, 0.5)
        figure.text("half-name", x + (-5 if near else 5), y - 6 if not near else bottom - 6,
                    f"half by {units.number(half, 0)}", "end" if near else "start")  # fmt: skip


def _cut(name: str, wide: float) -> str:
    room = int(wide / (LETTER * _LETTER_WIDTH * 1.1))
    return name if len(name) <= room else f"{name[: room - 1].rstrip()}…"


@dataclass(frozen=True, slots=True)
class Span:
    """One row of a figure of spans: its name, its interval, and what is said beside it."""

    name: str
    interval: Interval
    said: str


def spans(
    title: str, unit: str, rows: Sequence[Span], sheet: Sheet, mark: float | None = None
) -> Figure | None:
    """Estimates as marks with their intervals, one row each, on one scale from nought; None without any.

    ``mark`` is a value that a dashed line stands at.
    """
    shown = [row for row in rows if row.interval.estimate is not None][:MOST_PANELS]
    if not shown:
        return None
    beside = sheet.names > 0
    step, head = (30.0, 8.0) if beside else (56.0, 8.0)
    left, right = (sheet.names, sheet.width - 230.0) if beside else (8.0, sheet.width - 12.0)
    bottom = head + step * len(shown)
    most = _reach([row.interval for row in shown])
    described = " ".join(f"{words.capital(row.name)}: {row.said}." for row in shown)
    figure = Figure(title, described, sheet.width, bottom + 44)

    def at(value: float) -> float:
        return left + min(max(value, 0.0), most) / most * (right - left)

    for tick in nice_ticks(0, most, 4):
        figure.line("grid", (at(tick), head), (at(tick), bottom))
        text = f"{tick:g}"
        figure.text("tick", at(tick), bottom + 17, text, "middle")
    figure.text("tick", right, bottom + 35, unit, "end")
    figure.line("axis", (left, head), (left, bottom), (right, bottom))
    if mark is not None and mark <= most:
        figure.line("half", (at(mark), head), (at(mark), bottom))
    for place, row in enumerate(shown):
        y = head + step * (place + (0.5 if beside else 0.72))
        low, high = row.interval.low, row.interval.high
        if low is not None or high is not None:
            figure.line("span", (at(low or 0.0), y), (at(most if high is None else high), y))
        figure.dot(at(row.interval.estimate or 0.0), y)
        if beside:
            figure.text("said", left - 12, y + 4, _cut(row.name, sheet.names), "end")
            figure.text("said", right + 14, y + 4, row.said)
        else:
            figure.text("said", left, y - 14, _cut(f"{row.name}: {row.said}", sheet.width))
    return figure


def _reach(intervals: Sequence[Interval]) -> float:
    """The end of the scale: all estimates, and intervals as far as three times the largest of them."""
    largest = max(one.estimate or 0.0 for one in intervals)
    ends = [min(one.high, 3 * largest) for one in intervals if one.high is not None and largest > 0]
    return max([largest * 1.1, *ends]) or 1.0


def ages(answer: WhatLasts, sheet: Sheet) -> Figure | None:
    """Failures of each group as if all had been watched at the same ages."""
    told = [
        (one, Interval(one.rate.per_100_section_years, one.rate.low, one.rate.high))
        for one in answer.ages.alike
    ]
    shown = [Span(lasting.group_name(one.group), rate, lasting.span(rate)) for one, rate in told]
    return spans("Failures at the same ages", "failures in 100 years of standing", shown, sheet)


def walls(answer: WhatLasts, sheet: Sheet) -> Figure | None:
    """How many times as long each group lasts as the reference, on like walls."""
    alike = answer.alike
    if alike is None:
        return None
    by = list(answer.rates.groups[0].group)
    shown = [
        Span(lasting.group_name(dict(zip(by, group, strict=True))), found, lasting.span(found))
        for group, found in alike.times.items()
    ]
    reference = lasting.group_name(dict(zip(by, alike.reference, strict=True)))
    return spans("How long coats last on like walls", f"times as long as {reference}", shown, sheet, 1.0)


def checks(answer: WhatLasts, sheet: Sheet) -> Figure | None:
    """The age that half outlive, as recorded and found in other ways."""
    shown = [
        Span(
            f"{lasting.group_name(one.rates.group)}, {lasting_checks.CASES[one.case]}",
            half,
            lasting.lived(half),
        )
        for one in lasting_checks.telling(answer.checks)
        for half in [one.rates.weibull.median]
    ]
    return spans("The age that half outlive, found in other ways", "years", shown, sheet)


def figure(name: str, answer: WhatLasts, sheet: Sheet, system: str) -> Figure | None:
    """The figure of this name."""
    if name == "survival":
        return survival(answer.rates, sheet)
    if name in _BESIDE:
        return _BESIDE[name](answer, sheet)
    if name == "loss":
        shown = [
            Span(lasting.group_name(loss.group), lasting.times(loss.rate_per_year, 100), row.rate)
            for loss, row in zip(answer.losses, map(lasting.loss_row, answer.losses), strict=True)
        ]
        return spans("Area lost in a year", "% of the coat in a year", shown, sheet)
    # A scale can't hold two currencies: the figure is of the one that most coats were paid in.
    currencies = Counter[str | None]()
    for cost in answer.costs:
        currencies[cost.currency] += cost.coats
    usual = currencies.most_common(1)[0][0] if currencies else None
    own = [cost for cost in answer.costs if cost.currency == usual]
    shown = [
        Span(row.name, lasting.times(cost.per_year, lasting.per_area(system)), row.per_year)
        for cost, row in zip(own, (lasting.cost_row(cost, system) for cost in own), strict=True)
    ]
    unit = f"{usual or 'money'} for each {lasting.area_unit(system)} and year of service"
    return spans("What a year of service costs", unit, shown, sheet)


_BESIDE: Final = {"ages": ages, "walls": walls, "checks": checks}
