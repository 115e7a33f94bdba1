"""Figures that a page shows and that can be taken away: one description, drawn as SVG and as PNG.

On a page the classes are styled by the style sheet; a file carries the same styles with it, on white.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from pathlib import Path as FilePath
from xml.etree.ElementTree import Element, tostring

from django.utils.safestring import SafeString
from PIL import Image, ImageDraw, ImageFont

from inspections.web.present.svg import Point, add, canvas, markup, picture, polyline

#: Height of letters, px, on the page and in a file.
LETTER = 13.0
#: The letters of files, which the machine that opens them may lack.
FONTS = FilePath(__file__).parents[2] / "fonts"
REGULAR, BOLD = "DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf"
#: Pixels of a PNG for each of the figure's.
SCALE = 2


@dataclass(frozen=True, slots=True)
class Style:
    """How a class is drawn in a file: on the page the style sheet's colours hold."""

    stroke: str = ""
    fill: str = ""
    width: float = 1.0
    dash: tuple[int, ...] = ()
    bold: bool = False


INK, SOFT, HAIR, LINE, BAND, PERSON = "#211d18", "#5d5549", "#cdc4b4", "#8a8071", "#b9d3d2", "#98301c"
STYLES = {
    "axis": Style(LINE),
    "grid": Style(HAIR, width=0.6),
    "band": Style(fill=BAND),
    "line": Style(INK, width=1.8),
    "span": Style(SOFT, width=2.4),
    "half": Style(PERSON, width=1.3, dash=(7, 4)),
    "point": Style(fill=INK),
    "tick": Style(fill=SOFT),
    "strip-name": Style(fill=INK, bold=True),
    "said": Style(fill=INK),
    "half-name": Style(fill=PERSON),
    # Of trials: an arm's line and mark, and a value with its interval.
    "course-0": Style(INK, width=2.0),
    "course-1": Style(SOFT, width=2.0, dash=(7, 4)),
    "course-2": Style(INK, width=2.0, dash=(2, 3)),
    "course-3": Style(SOFT, width=2.0, dash=(10, 3)),
    "faint-0": Style(LINE, width=0.9),
    "faint-1": Style(LINE, width=0.9, dash=(5, 3)),
    "faint-2": Style(LINE, width=0.9, dash=(2, 3)),
    "faint-3": Style(LINE, width=0.9, dash=(10, 3)),
    "treated": Style(INK, width=1.1),
    "bound": Style(INK, width=1.2),
    "worth": Style(LINE, dash=(4, 4)),
    "whisker": Style(SOFT, width=2.0),
    "whisker-strong": Style(INK, width=3.0),
    "estimate": Style(fill=SOFT),
    "ground": Style(fill="#ffffff"),
}


@dataclass(frozen=True, slots=True)
class Path:
    """A line through points, or an area within them where ``closed``."""

    points: Sequence[Point]
    style: str
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Text:
    """Words at a place; ``anchor`` is start, middle or end."""

    at: Point
    words: str
    style: str
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled mark."""

    at: Point
    style: str = "point"
    radius: float = 4.0


@dataclass(slots=True)
class Figure:
    """Shapes on a sheet of paper, drawn in their order."""

    title: str
    description: str
    width: float
    height: float
    shapes: list[Path | Text | Dot] = field(default_factory=list)

    def line(self, style: str, *points: Point) -> None:
        self.shapes.append(Path(points, style))

    def area(self, style: str, points: Sequence[Point]) -> None:
        self.shapes.append(Path(points, style, closed=True))

    def text(self, style: str, x: float, y: float, words: str, anchor: str = "start") -> None:
        self.shapes.append(Text((x, y), words, style, anchor))

    def dot(self, x: float, y: float) -> None:
        self.shapes.append(Dot((x, y)))


def on_page(figure: Figure, class_: str) -> SafeString:
    """The figure within a page."""
    return markup(_drawn(figure, class_))


def as_svg(figure: Figure) -> bytes:
    """The figure as a file of its own."""
    root = _drawn(figure, "figure")
    root.set("xmlns", "http://www.w3.org/2000/svg")
    root.set("width", f"{figure.width:g}")
    root.set("height", f"{figure.height:g}")
    style = Element("style")
    style.text = "".join(_rule(name, one) for name, one in STYLES.items())
    style.text += f"text{{font:{LETTER:g}px sans-serif;stroke:none}}"
    paper = Element("rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    root[:0] = [style, paper]
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="utf-8")


def _rule(name: str, style: Style) -> str:
    parts = [f"fill:{style.fill or 'none'}", f"stroke:{style.stroke or 'none'}"]
    if style.stroke:
        parts.append(f"stroke-width:{style.width:g}")
    if style.dash:
        parts.append(f"stroke-dasharray:{' '.join(map(str, style.dash))}")
    weight = "font-weight:600" if style.bold else ""
    return f".{name}{{{';'.join(filter(None, [*parts, weight]))}}}"


def _drawn(figure: Figure, class_: str) -> Element:
    root = canvas(figure.width, figure.height, class_)
    picture(root, figure.title, figure.description)
    for shape in figure.shapes:
        if isinstance(shape, Path):
            add(root, "path", d=polyline(shape.points, close=shape.closed), class_=shape.style)
        elif isinstance(shape, Dot):
            add(root, "circle", cx=shape.at[0], cy=shape.at[1], r=shape.radius, class_=shape.style)
        else:
            anchor = None if shape.anchor == "start" else shape.anchor
            add(root, "text", shape.words, x=shape.at[0], y=shape.at[1], text_anchor=anchor,
                class_=shape.style)  # fmt: skip
    return root


def as_png(figure: Figure) -> bytes:
    """The figure as a picture, twice as fine."""
    size = int(figure.width * SCALE), int(figure.height * SCALE)
    image = Image.new("RGB", size, "white")
    draw = ImageDraw.Draw(image)
    for shape in figure.shapes:
        style = STYLES[shape.style]
        if isinstance(shape, Path):
            _path(draw, [(x * SCALE, y * SCALE) for x, y in shape.points], style, shape.closed)
        elif isinstance(shape, Dot):
            draw.circle((shape.at[0] * SCALE, shape.at[1] * SCALE), shape.radius * SCALE, style.fill)
        else:
            place = shape.at[0] * SCALE, shape.at[1] * SCALE
            anchor = {"start": "ls", "middle": "ms", "end": "rs"}[shape.anchor]
            draw.text(place, shape.words, style.fill, _letters(BOLD if style.bold else REGULAR), anchor)
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()


@cache
def _letters(name: str) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(FONTS / name, LETTER * SCALE)


def _path(draw: ImageDraw.ImageDraw, points: list[Point], style: Style, closed: bool) -> None:
    if closed:
        draw.polygon(points, style.fill)
        return
    width = max(1, round(style.width * SCALE))
    for first, last in pairwise(points):
        if style.dash:
            _dashed(draw, first, last, style, width)
        else:
            draw.line([first, last], style.stroke, width, joint="curve")


def _dashed(draw: ImageDraw.ImageDraw, first: Point, last: Point, style: Style, width: int) -> None:
    long, gap = (part * SCALE for part in style.dash)
    length = max(abs(last[0] - first[0]), abs(last[1] - first[1]))
    at = 0.0
    while at < length:
        start, end = at / length, min(at + long, length) / length
        draw.line(
            [
                (first[0] + (last[0] - first[0]) * part, first[1] + (last[1] - first[1]) * part)
                for part in (start, end)
            ],
            style.stroke,
            width,
        )
        at += long + gap
