"""The picture of a trend as a small PNG, since few programs for mail show any other kind of drawing."""

from __future__ import annotations

import datetime as dt
import io
import math
from dataclasses import dataclass
from functools import cache
from statistics import median
from typing import Final

from PIL import Image, ImageDraw, ImageFont

#: Pixels as it is shown; it is drawn at twice that for fine screens.
WIDTH, HEIGHT, SCALE = 560, 190, 2
PAPER, INK, SOFT, HAIR, WATER, BAND, PERSON = (
    "#faf7f0",
    "#211d18",
    "#5d5549",
    "#cdc4b4",
    "#0b5d64",
    "#b9d3d2",
    "#98301c",
)
#: Of each side, pixels as shown.
LEFT, RIGHT, TOP, BOTTOM = 58, 24, 14, 30
#: Large enough to be read where a phone shows the picture at two thirds.
TEXT: Final = 16
COLOURS: Final = 32
#: Of the axis, so that its numbers do not crowd.
MOST_STEPS: Final = 3
_YEAR: Final = 365.2425


@dataclass(frozen=True, slots=True)
class Trend:
    """A rate a year with its interval, in the points' unit, over the readings from ``first`` to ``last``."""

    rate: float
    low: float | None
    high: float | None
    first: dt.date
    last: dt.date


@cache
def _font() -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(TEXT * SCALE)


def draw(
    points: list[tuple[dt.date, float]], *, trend: Trend | None = None, threshold: float | None = None
) -> bytes:
    """Readings as open marks over time, the rate as a line within its interval, the threshold dashed."""
    return _Strip(points, trend, threshold).png()


class _Strip:
    def __init__(
        self, points: list[tuple[dt.date, float]], trend: Trend | None, threshold: float | None
    ) -> None:
        self.points, self.trend, self.threshold = points, trend, threshold
        self.first, self.last = points[0][0], points[-1][0]
        self.marks, self.places = _scale(
            [value for _, value in points] + ([threshold] if threshold is not None else [])
        )
        self.low, self.high = self.marks[0], self.marks[-1]
        self.image = Image.new("RGB", (WIDTH * SCALE, HEIGHT * SCALE), PAPER)
        self.draw = ImageDraw.Draw(self.image)

    def png(self) -> bytes:
        if self.trend:
            self._line(self.trend)
            self._cut()
        self._axes()
        if self.threshold is not None:
            self._dashed(self.y(self.threshold))
        for day, value in self.points:
            self._mark(self.x(day), self.y(value))
        small = self.image.quantize(COLOURS, dither=Image.Dither.NONE)
        out = io.BytesIO()
        small.save(out, "PNG", optimize=True)
        return out.getvalue()

    def x(self, day: dt.date) -> float:
        span = max((self.last - self.first).days, 1)
        return (LEFT + (WIDTH - LEFT - RIGHT) * (day - self.first).days / span) * SCALE

    def y(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return (HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * share) * SCALE

    def _axes(self) -> None:
        for value in self.marks:
            y = self.y(value)
            self.draw.line([(LEFT * SCALE, y), ((WIDTH - RIGHT) * SCALE, y)], HAIR, SCALE)
            text = f"{value:.{self.places}f}"
            self.draw.text(((LEFT - 8) * SCALE, y), text, SOFT, _font(), anchor="rm")
        years = range(self.first.year + 1, self.last.year + 1)
        step = max(1, len(years) // 8 + 1)
        base = (HEIGHT - BOTTOM) * SCALE
        for year in years:
            x = self.x(dt.date(year, 1, 1))
            self.draw.line([(x, base), (x, base + 4 * SCALE)], INK, SCALE)
            if (self.last.year - year) % step == 0:
                self.draw.text((x, base + 6 * SCALE), str(year), SOFT, _font(), anchor="ma")
        self.draw.line([(LEFT * SCALE, base), ((WIDTH - RIGHT) * SCALE, base)], INK, SCALE)

    def _line(self, trend: Trend) -> None:
        """Through the middle of the readings that the rate rests on; the interval turns about it."""
        own = [(day, value) for day, value in self.points if trend.first <= day <= trend.last]
        if len(own) < 2:
            return
        middle = median(day.toordinal() for day, _ in own)
        level = median(value for _, value in own)

        def at(day: dt.date, rate: float) -> tuple[float, float]:
            return self.x(day), self.y(level + rate * (day.toordinal() - middle) / _YEAR)

        ends = own[0][0], own[-1][0]
        if trend.low is not None and trend.high is not None:
            centre = (self.x(dt.date.fromordinal(round(middle))), self.y(level))
            for end in ends:
                self.draw.polygon([centre, at(end, trend.low), at(end, trend.high)], BAND)
        self.draw.line([at(end, trend.rate) for end in ends], WATER, 2 * SCALE)

    def _cut(self) -> None:
        """Take away what a line draws above and below the axis."""
        for top, bottom in ((0, TOP), (HEIGHT - BOTTOM, HEIGHT)):
            self.draw.rectangle([(0, top * SCALE), (WIDTH * SCALE, bottom * SCALE)], PAPER)

    def _dashed(self, y: float) -> None:
        for x in range(LEFT * SCALE, (WIDTH - RIGHT) * SCALE, 10 * SCALE):
            self.draw.line([(x, y), (x + 6 * SCALE, y)], PERSON, SCALE)

    def _mark(self, x: float, y: float) -> None:
        r = 3 * SCALE
        self.draw.ellipse([(x - r, y - r), (x + r, y + r)], PAPER, INK, SCALE)


def _scale(values: list[float]) -> tuple[list[float], int]:
    """Round numbers that take in all values, from nought where that is near, and the decimals they need."""
    low, high = min(values), max(values)
    if 0 <= low < 0.5 * high:
        low = 0.0
    width = max(high - low, 1e-6)
    size = 10.0 ** math.floor(math.log10(width / 2))
    step = next(size * factor for factor in (1, 2, 5, 10) if width / (size * factor) <= MOST_STEPS)
    first, last = math.floor(low / step), max(math.ceil(high / step), math.floor(low / step) + 1)
    places = max(0, -math.floor(math.log10(step)))
    return [round(nth * step, places) for nth in range(first, last + 1)], places
