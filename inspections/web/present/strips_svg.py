"""Trend strips, one under another over one time axis, like a recorder's paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np
from django.utils.safestring import SafeString

from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.strips import ABOVE, ASIDE, BELOW, READ, Strip
from inspections.web.present import dates, units, words
from inspections.web.present.svg import Point, add, canvas, markup, nice_ticks, picture, polyline, short
from inspections.web.present.time_axis import (
    ROW,
    Rule,
    Sheet,
    draw_rules,
    draw_years,
    label_rows,
    scale,
    within,
)


@dataclass(frozen=True, slots=True)
class Fan:
    """The forecast of the affected share: when it reaches the threshold, in days; None lies beyond reach."""

    threshold: float
    early: float | None
    expected: float | None
    late: float | None


#: Height of letters, px, and their average width over it for the system's bold sans serif (from memory).
LETTER, BOLD = 13.0, 0.62
#: A forecast is drawn at most this share of the record's length (but at least two years) ahead.
AHEAD_SHARE, AHEAD_LEAST_YEARS = 0.35, 2.0
#: Room before the first and after the last reading, as a share of the record's length.
MARGIN_SHARE = 0.015
#: Heights that a wall's readings are told apart by, mm: foot, middle, top.
FOOT_MM, TOP_MM = 500.0, 1200.0
#: Quantities that can't lie below nought.
_FROM_NOUGHT = {"hollow_area", "spall_area", "salt_area", "affected_area_fraction", "crack_width", "radon",
                "mortar_soft_depth", "sump_starts", "dehumidifier_water", "rain"}  # fmt: skip


def fan_of(result: dict[str, Any] | None) -> Fan | None:
    """The fan of a stored result's forecast; None where there is none, or the threshold lies behind."""
    forecast = (result or {}).get("forecast")
    if not forecast or not forecast.get("early"):
        return None
    if forecast["expected"] and forecast["expected"] <= (result or {})["as_of"]:
        return None
    early, expected, late = (dates.parse(forecast[key]) for key in ("early", "expected", "late"))
    return Fan(
        forecast["threshold"], *(dates.to_days(day) if day else None for day in (early, expected, late))
    )


def span_of(strips: Sequence[Strip], as_of: float, fan: Fan | None) -> tuple[float, float]:
    """First and last day of the time axis: first reading to the day judged, and some of the forecast."""
    first = min((float(strip.points.time.min()) for strip in strips if len(strip.points)), default=as_of)
    margin = max((as_of - first) * MARGIN_SHARE, YEAR / 12)
    last = as_of + margin
    if fan:
        ahead = max((as_of - first) * AHEAD_SHARE, AHEAD_LEAST_YEARS * YEAR)
        reach = max(end for end in (fan.early, fan.expected, fan.late, as_of) if end)
        last = max(last, min(as_of + ahead, reach + YEAR / 2))
    return first - margin, last


def draw(
    strips: Sequence[Strip],
    rules: Sequence[Rule],
    fan: Fan | None,
    as_of: float,
    sheet: Sheet,
    system: str,
) -> SafeString:
    """All strips as one drawing with a name and a description that says how each ends."""
    span = span_of(strips, as_of, fan)
    x = scale(span, (sheet.left, sheet.width - sheet.right))
    shown_rules = within(rules, span)
    rows = label_rows(shown_rules, x, sheet)
    head = 24.0 + ROW * (max(rows, default=-1) + 1)
    height = head + len(strips) * (sheet.strip + sheet.gap) + 30
    root = canvas(sheet.width, height, "strips desk" if sheet.named else "strips phone")
    picture(root, "Readings over time, one quantity a strip", describe(strips, system))
    bottom = height - 26
    draw_years(root, x, span, head, bottom)
    draw_rules(root, shown_rules, rows, x, bottom, sheet)
    for i, strip in enumerate(strips):
        top = head + sheet.gap + i * (sheet.strip + sheet.gap) - 8
        _Drawn(root, strip, x, (top, top + sheet.strip), sheet, system, as_of).all(fan)
    return markup(root)


def numbered(strips: Sequence[Strip], rules: Sequence[Rule], fan: Fan | None, as_of: float) -> list[Rule]:
    """The rules that the drawing shows, in the order in which a phone's drawing numbers them."""
    return within(rules, span_of(strips, as_of, fan))


def describe(strips: Sequence[Strip], system: str) -> str:
    """Each strip's count and last reading, for those who can't see the drawing."""
    parts = []
    for strip in strips:
        kept = strip.points.kind != ASIDE
        if kept.any():
            value = units.amount(float(strip.points.value[kept][-1]), strip.unit, system)
            count = words.counted(int(kept.sum()), "reading")
            parts.append(f"{words.capital(words.quantity_name(strip.quantity))}: {count}, the last {value}.")
    return " ".join(parts)


# One strip -------------------------------------------------------------------------------------------------


class _Drawn:
    """One strip being drawn between ``edges`` (top, bottom), on a scale of its own."""

    def __init__(
        self,
        root: Element,
        strip: Strip,
        x: Callable[[float], float],
        edges: tuple[float, float],
        sheet: Sheet,
        system: str,
        as_of: float,
    ) -> None:
        self.root, self.strip, self.x, self.edges, self.sheet = root, strip, x, edges, sheet
        self.form = units.shown(strip.unit, system)
        self.change = self.form.change if strip.unit == units.KELVIN else self.form.value
        self.system, self.as_of = system, as_of
        self.domain = self._domain()
        self.y = scale(self.domain, (edges[1], edges[0]))

    def all(self, fan: Fan | None) -> None:
        self._frame()
        if self.strip.season is not None:
            season = self.strip.season
            self._path(season.time, season.value, "season")
        if self.strip.line is not None:
            self._band()
        if fan is not None and self.strip.quantity == "affected_area_fraction":
            self._fan(fan)
        self._threshold()
        self._changes()
        self._points()

    def _domain(self) -> tuple[float, float]:
        """The range of what was read and drawn; what was set aside doesn't stretch it."""
        kept = self.strip.points.kind != ASIDE
        seen = [self.strip.points.value[kept]]
        if self.strip.season is not None:
            seen.append(self.strip.season.value)
        if self.strip.line is not None:
            seen.append(self.strip.line.mean)
        if self.strip.threshold is not None:
            seen.append(np.array([self.strip.threshold]))
        values = self.change(np.concatenate(seen)) if any(map(len, seen)) else np.zeros(1)  # type: ignore[arg-type]
        low, high = float(np.min(values)), float(np.max(values))
        pad = (high - low) * 0.08 or max(abs(high) * 0.1, 0.5 * 10.0**-self.form.decimals)
        bottom = 0.0 if self.strip.quantity in _FROM_NOUGHT else low - pad
        return bottom, high + pad

    def _frame(self) -> None:
        top, bottom = self.edges
        left, right = self.sheet.left, self.sheet.width - self.sheet.right
        name = words.capital(words.quantity_name(self.strip.quantity))
        unit = units.label(self.strip.unit, self.system)
        # A name too long for a phone's paper stands above its unit.
        said = f"{name}, {unit}{self._threshold_name()}"
        two = len(said) * LETTER * BOLD > right - left
        title = add(self.root, "text", f"{name}, ", x=left, y=top - (21 if two else 7), class_="strip-name")
        place = {"x": left, "dy": 14.0} if two else {}
        add(title, "tspan", unit, class_="strip-unit", **place)
        add(self.root, "path", d=f"M{short(left)} {short(top)}V{short(bottom)}H{short(right)}", class_="axis")
        ticks = nice_ticks(*self.domain)
        places = _places_of(ticks)
        for tick in ticks:
            add(self.root, "path", d=f"M{short(left)} {short(self.y(tick))}H{short(right)}", class_="grid")
            add(self.root, "text", units.number(tick, places), x=left - 6, y=self.y(tick) + 4,
                text_anchor="end", class_="tick")  # fmt: skip

    def _place(self, value: float) -> float:
        """The height of a stored value, kept within the strip."""
        return min(max(self.y(float(self.change(value))), self.edges[0]), self.edges[1])

    def _xy(self, time: FloatArray, value: FloatArray) -> list[Point]:
        return [(self.x(t), self._place(v)) for t, v in zip(time.tolist(), value.tolist(), strict=True)]

    def _path(self, time: FloatArray, value: FloatArray, class_: str) -> None:
        add(self.root, "path", d=polyline(self._xy(time, value)), class_=class_)

    def _band(self) -> None:
        line = self.strip.line
        assert line is not None
        outline = self._xy(line.time, line.high) + self._xy(line.time, line.low)[::-1]
        add(self.root, "path", d=polyline(outline, close=True), class_="band")
        self._path(line.time, line.mean, "line")

    def _fan(self, fan: Fan) -> None:
        kept = self.strip.points.kind != ASIDE
        level = float(self.strip.points.value[kept][-1]) if kept.any() else 0.0
        foot = (self.x(self.as_of), self._place(level))
        right = self.sheet.width - self.sheet.right
        goal = self._place(fan.threshold)
        early, late = (self._reach(foot, end, goal, right) for end in (fan.early, fan.late))
        corner = [(right, goal)] if (fan.early and self.x(fan.early) < right <= late[0]) else []
        add(self.root, "path", d=polyline([foot, early, *corner, late], close=True), class_="fan")
        middle = self._reach(foot, fan.expected, goal, right)
        add(self.root, "path", d=polyline([foot, middle]), class_="fan-middle")

    def _reach(self, foot: Point, end: float | None, goal: float, right: float) -> Point:
        """Where a forecast line ends: at the threshold, or at the paper's edge on its way there."""
        if end is None:
            return right, foot[1]
        x = max(self.x(end), foot[0] + 1)
        if x <= right:
            return x, goal
        return right, foot[1] + (goal - foot[1]) * (right - foot[0]) / (x - foot[0])

    def _threshold_name(self) -> str:
        if self.strip.threshold is None:
            return ""
        margin = self.strip.quantity == "dew_point_margin"
        if self.sheet.named:
            return "dashed: the face sweats below" if margin else "dashed: failed from here"
        return "dashed: sweats" if margin else "dashed: failed"

    def _threshold(self) -> None:
        if self.strip.threshold is None:
            return
        y, right = self._place(self.strip.threshold), self.sheet.width - self.sheet.right
        add(self.root, "path", d=f"M{short(self.sheet.left)} {short(y)}H{short(right)}", class_="threshold")
        place = {"x": right, "y": self.edges[0] - 7, "text_anchor": "end"}
        add(self.root, "text", self._threshold_name(), class_="threshold-name", **place)

    def _changes(self) -> None:
        top = self.edges[0]
        for change in self.strip.changes:
            x = short(self.x(change.time))
            add(self.root, "path", d=f"M{x} {short(top - 5)}v12", class_="instrument")

    def _points(self) -> None:
        """One path for all marks of a kind: small and open; an arrow beyond the scale; a cross set aside."""
        marks: dict[str, list[str]] = {}
        points = self.strip.points
        for time, value, kind, height in zip(
            points.time.tolist(),
            points.value.tolist(),
            points.kind.tolist(),
            points.height_mm.tolist(),
            strict=True,
        ):
            shape = _mark(self.x(time), self._place(value), kind, height)
            marks.setdefault(kind, []).append(shape)
        for kind, shapes in marks.items():
            add(self.root, "path", d="".join(shapes), class_=f"mark mark-{kind}")


def _mark(x: float, y: float, kind: str, height: float) -> str:
    at = f"M{short(x)} {short(y)}"
    if kind == ABOVE:
        return f"{at}v-9m-3 3.5l3 -3.5 3 3.5"
    if kind == BELOW:
        return f"{at}v9m-3 -3.5l3 3.5 3 -3.5"
    if kind == ASIDE:
        return f"{at}m-3 -3l6 6m0 -6l-6 6"
    assert kind == READ
    if height >= TOP_MM:
        return f"{at}m-2.2 -2.2h4.4v4.4h-4.4z"
    if height >= FOOT_MM:
        return f"{at}m0 -3l3 3 -3 3 -3 -3z"
    return f"{at}m-2.4 0a2.4 2.4 0 1 0 4.8 0a2.4 2.4 0 1 0 -4.8 0"


def _places_of(ticks: Sequence[float]) -> int:
    """Decimals that tell the ticks apart."""
    return next(
        (places for places in range(5) if all(abs(round(tick, places) - tick) < 1e-9 for tick in ticks)), 4
    )
