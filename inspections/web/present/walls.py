"""A house's walls unrolled side by side, to scale: first where everything stands, then the drawing.

Lengths are metres in the layout and centimetres in the drawing, so that the masonry is to scale too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final
from xml.etree.ElementTree import Element

from django.utils.safestring import SafeString

from inspections.web.present import units, words
from inspections.web.present.svg import Point, add, canvas, markup, picture, polyline
from portfolio.vocabulary import Units

#: Assumed where a section's size was not measured; such a section is drawn with a broken outline.
ASSUMED_LENGTH_M = 2.0
ASSUMED_HEIGHT_M = 2.0
#: Sections stand one above the other where they share more than this part of the shorter one's length;
#: less is a slip of the tape, and they stand beside each other.
STACKED_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Panel:
    """One section as it is drawn: its size and place (m), its make-up, and what is said of it."""

    code: str
    wall: str
    verdict: str
    verdict_name: str
    probability: float | None = None
    start: float | None = None
    length: float | None = None
    height: float | None = None
    below_grade: float | None = None
    substrate: str = "unknown"
    coats: tuple[str, ...] = ()
    flagged: bool = False
    href: str = ""
    label: str = ""
    here: bool = False


@dataclass(frozen=True, slots=True)
class Placed:
    """A panel with its place on the wall: ``left`` and ``foot`` (above the floor), ``wide``, ``high``; m."""

    panel: Panel
    left: float
    foot: float
    wide: float
    high: float

    @property
    def measured(self) -> bool:
        return self.panel.length is not None and self.panel.height is not None

    @property
    def ground(self) -> float | None:
        """The ground's height above the floor."""
        return None if self.panel.below_grade is None else self.foot + self.panel.below_grade


@dataclass(frozen=True, slots=True)
class Wall:
    """One wall with its sections in place."""

    name: str
    compass: str
    placed: tuple[Placed, ...]

    @property
    def length(self) -> float:
        return max(place.left + place.wide for place in self.placed)

    @property
    def height(self) -> float:
        return max(place.foot + place.high for place in self.placed)

    @property
    def top(self) -> float:
        """The height of whatever is highest: the wall or the ground outside."""
        return max([self.height, *(place.ground for place in self.placed if place.ground is not None)])


def lay_out(panels: Iterable[Panel]) -> list[Wall]:
    """Walls in the order N, E, S, W, then by name; each one's sections from its left end on."""
    by_wall: dict[str, list[Panel]] = {}
    for panel in panels:
        by_wall.setdefault(panel.wall, []).append(panel)
    walls = [Wall(name, words.compass_point(name), _place(own)) for name, own in by_wall.items()]
    return sorted(walls, key=lambda wall: ("NESW".find(wall.compass) if wall.compass else 9, wall.name))


def _place(panels: Sequence[Panel]) -> tuple[Placed, ...]:
    """Sections at their measured starts; where none is known, after the one before."""
    lower_first = sorted(
        panels, key=lambda p: (p.start is None, p.start or 0.0, -(p.below_grade or 0.0), p.code)
    )
    placed: list[Placed] = []
    for panel in lower_first:
        wide, high = panel.length or ASSUMED_LENGTH_M, panel.height or ASSUMED_HEIGHT_M
        right_end = max((other.left + other.wide for other in placed), default=0.0)
        left = right_end if panel.start is None else panel.start
        under = [other for other in placed if _stacked(other, left, wide)]
        beside = [other for other in placed if other not in under]
        left = max([left, *(o.left + o.wide for o in beside if o.left <= left < o.left + o.wide)])
        foot = max((other.foot + other.high for other in under), default=0.0)
        placed.append(Placed(panel, left, foot, wide, high))
    shift = min(place.left for place in placed)
    return tuple(replace(place, left=place.left - shift) for place in placed)


def _stacked(other: Placed, left: float, wide: float) -> bool:
    shared = min(other.left + other.wide, left + wide) - max(other.left, left)
    return shared > STACKED_SHARE * min(other.wide, wide)


# Drawing ---------------------------------------------------------------------------------------------------

CM = 100.0
#: A wall's drawing at most, px a metre: a brick's course is then five pixels.
PX_PER_M = 72.0
#: The longest wall gets no wider than this on a desk, px, so that it still fits where the page is narrower.
WIDEST = 860.0
#: A desk's row, px; a gap between two drawings in it, px; and the scale, px a metre, below which a house's
#: walls are rather broken into two rows than all put in one.
ROW, GAP, LEAST_IN_ONE_ROW = 1104.0, 16.0, 54.0
#: A wall beside a text: its width at most, and its letters, px.
BESIDE, SMALL_LETTER = 360.0, 13.5
#: A ground line this near to the floor is not drawn, m.
AT_THE_FLOOR = 0.05
#: What a phone leaves for a drawing, px, and the heights of letters there and at a desk, px.
PHONE = 350.0
SMALLEST_LETTER, DESK_LETTER = 13.5, 15.0
#: Room left around a wall, cm.
MARGIN_CM = 14.0
#: Average width of a letter over its height, for the system's sans serif (from memory).
LETTER = 0.56


@dataclass(frozen=True, slots=True)
class Frame:
    """What the drawings of one house share, so that they stand at one scale.

    ``width``: of the view box, cm; None is each wall's own. ``letter``: height of letters, cm. ``scale``: px
    a cm; None leaves the size to the page's column.
    """

    width: float | None
    letter: float
    scale: float | None


def desk_frame(walls: Sequence[Wall]) -> Frame:
    """Walls side by side: all in one row where that leaves them large enough to read."""
    scale = min(PX_PER_M / CM, WIDEST / _longest(walls))
    whole = sum(wall.length * CM + 2 * MARGIN_CM for wall in walls) or 1.0
    one_row = (ROW - GAP * (len(walls) - 1)) / whole
    if one_row * CM >= LEAST_IN_ONE_ROW:
        scale = min(scale, one_row)
    return Frame(None, DESK_LETTER / scale, scale)


def small_frame(wall: Wall) -> Frame:
    """One wall beside a text."""
    scale = min(PX_PER_M / CM, BESIDE / _longest([wall]))
    return Frame(None, SMALL_LETTER / scale, scale)


def phone_frame(walls: Sequence[Wall]) -> Frame:
    """Walls one under another, the longest as wide as the column, with letters that stay readable."""
    width = _longest(walls)
    return Frame(width, SMALLEST_LETTER * width / PHONE, None)


def _longest(walls: Sequence[Wall]) -> float:
    return max((wall.length for wall in walls), default=1.0) * CM + 2 * MARGIN_CM


def draw_wall(
    wall: Wall, shared: Frame, kind: str, system: str = Units.SI, *, with_scale: bool = False
) -> SafeString:
    """One wall as an SVG group of links; ``kind`` is desk or phone."""
    floor = MARGIN_CM + wall.top * CM
    # At a desk every drawing leaves room for the scale bar, so that the floors of a row stand on one line.
    has_room = with_scale or shared.scale is not None
    height = floor + 12.0 + (shared.letter * 2.0 if has_room else 0.0)
    own = wall.length * CM + 2 * MARGIN_CM
    size: dict[str, object] = {}
    if shared.scale is not None:
        size = {"width": f"{own * shared.scale:.0f}", "height": f"{height * shared.scale:.0f}"}
    name = words.wall_title(wall.name)
    root = canvas(shared.width or own, height, f"wall {kind}", role="group", aria_label=name, **size)
    for place in wall.placed:
        _draw_section(root, place, floor, shared.letter)
    _draw_lines(root, wall, floor, own)
    if with_scale:
        _draw_scale(root, MARGIN_CM, floor + 12.0, shared.letter, system)
    return markup(root)


def _draw_section(root: Element, place: Placed, floor: float, letter: float) -> None:
    panel = place.panel
    x, y = MARGIN_CM + place.left * CM, floor - (place.foot + place.high) * CM
    wide, high = place.wide * CM, place.high * CM
    current = "page" if panel.here else None
    link = add(root, "a", href=panel.href, class_="section", aria_label=panel.label, aria_current=current)
    add(link, "rect", x=x, y=y, width=wide, height=high, class_="paper")
    add(link, "rect", x=x, y=y, width=wide, height=high, fill=f"url(#m-{panel.substrate})")
    for i, coat in enumerate(panel.coats):
        shape = polyline(_torn(x, y, wide, high, 0.62 - 0.14 * i), close=True)
        add(link, "path", d=shape, class_="coat-ground")
        add(link, "path", d=shape, fill=f"url(#h-{coat})", class_="coat")
    _draw_bar(link, panel, x, y + high, wide, letter)
    _draw_plate(link, panel, (x + wide / 2, _clear_of_ground(place, y, letter)), wide, letter)
    if panel.flagged:
        add(link, "path", d=f"M{x + 8:.1f} {y + 46:.1f}V{y + 8:.1f}l26 9 -26 9", class_="pennant")
    edge = "edge" if place.measured else "edge assumed"
    add(link, "rect", x=x, y=y, width=wide, height=high, class_=edge)


def _clear_of_ground(place: Placed, top: float, letter: float) -> float:
    """The height of a label's middle: in the larger part of the section, above or below the ground line."""
    usable = place.high * CM - letter * 0.5
    below = place.panel.below_grade
    if below is None or not 0 < below < place.high:
        return top + usable / 2
    above = (place.high - below) * CM
    return top + above / 2 if above > usable - above else top + (above + usable) / 2


#: The broken edge of a coat, as steps along the tear and across it.
_TEAR: Final = (
    (0.0, 0.0),
    (0.14, 0.06),
    (0.22, -0.04),
    (0.41, 0.05),
    (0.55, -0.05),
    (0.72, 0.05),
    (0.86, -0.03),
)


def _torn(x: float, y: float, wide: float, high: float, reach: float) -> list[Point]:
    """A coat with its upper right corner broken away, to show the masonry. ``reach``: share it covers."""
    start, end = (x + wide * reach, y), (x + wide, y + high * (0.86 - reach))
    along, across = (end[0] - start[0], end[1] - start[1]), (end[1] - start[1], start[0] - end[0])
    tear = [
        (start[0] + a * along[0] + b * across[0], start[1] + a * along[1] + b * across[1]) for a, b in _TEAR
    ]
    inside = [(min(max(px, x), x + wide), min(max(py, y), y + high)) for px, py in tear]
    return [(x, y), *inside, end, (x + wide, y + high), (x, y + high)]


def _draw_bar(link: Element, panel: Panel, x: float, foot: float, wide: float, letter: float) -> None:
    """The bar at the foot: as long as the verdict is probable, against the section's whole length."""
    thick = letter * 0.42
    middle = foot - thick / 2
    share = 1.0 if panel.probability is None else panel.probability
    add(link, "rect", x=x, y=foot - thick, width=wide, height=thick, class_="bar-ground")
    add(
        link,
        "path",
        d=f"M{x:.1f} {middle:.1f}h{wide * share:.1f}",
        stroke_width=thick,
        class_=f"bar bar-{panel.verdict}",
    )


def _draw_plate(link: Element, panel: Panel, middle: Point, wide: float, letter: float) -> None:
    """The section's code and verdict, on a label plate; upright where the section is too narrow for it."""
    x, y = middle
    lines = wrapped(panel.verdict_name, wide * 0.9 / (letter * LETTER))
    lines_wide = max(len(line) for line in [*lines, panel.code]) * letter * LETTER
    turn = lines_wide > wide * 1.02
    if turn:
        lines = [panel.verdict_name]
        lines_wide = max(len(panel.verdict_name), len(panel.code)) * letter * LETTER
    rows = [(panel.code, "plate-code"), *((line, "verdict") for line in lines)]
    step = letter * 1.2
    high = step * len(rows) + letter * 0.3
    group = add(link, "g", transform=f"rotate(-90 {x:.1f} {y:.1f})" if turn else None, aria_hidden="true")
    add(group, "rect", x=x - lines_wide / 2 - letter * 0.35, y=y - high / 2, width=lines_wide + letter * 0.7,
        height=high, class_="plate")  # fmt: skip
    for i, (text, kind) in enumerate(rows):
        baseline = y - high / 2 + step * (i + 0.88)
        add(group, "text", text, x=x, y=baseline, font_size=letter, text_anchor="middle", class_=kind)


def wrapped(text: str, room: float) -> list[str]:
    """The text in lines of at most ``room`` letters, as far as its words allow."""
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _draw_lines(root: Element, wall: Wall, floor: float, own: float) -> None:
    """Floor line, heavy with its ground; ground line outside, broken, stepping where it differs."""
    add(root, "path", d=f"M0 {floor:.1f}H{own:.1f}", class_="floor")
    marks = "".join(f"M{x:.1f} {floor:.1f}l-6 9" for x in _steps(8.0, own, 12.0))
    add(root, "path", d=marks, class_="floor-ground")
    levels = ground_levels(wall)
    if levels:
        steps = [(MARGIN_CM + x * CM, floor - level * CM) for x, level in levels]
        ends = [(0.0, steps[0][1]), *steps, (own, steps[-1][1])]
        add(root, "path", d=polyline(ends), class_="ground")
        for start, x in ((0.0, ends[0]), (own - MARGIN_CM, ends[-1])):
            add(
                root,
                "path",
                d="".join(f"M{start + 3 + i * 4:.1f} {x[1]:.1f}l-3 5" for i in range(3)),
                class_="earth",
            )


def _steps(first: float, end: float, step: float) -> list[float]:
    return [first + i * step for i in range(int((end - first) // step) + 1)]


def ground_levels(wall: Wall) -> list[Point]:
    """Corners of the ground line (along the wall, above the floor), m; of stacked sections the lower."""
    levels: list[Point] = []
    for place in sorted(wall.placed, key=lambda p: (p.left, p.foot)):
        upper = any(
            other.foot < place.foot and _stacked(other, place.left, place.wide) for other in wall.placed
        )
        if place.ground is None or place.ground < AT_THE_FLOOR or upper:
            continue
        if levels:
            levels.append((place.left, levels[-1][1]))
        levels += [(place.left, place.ground), (place.left + place.wide, place.ground)]
    return levels


def _draw_scale(root: Element, x: float, y: float, letter: float, system: str) -> None:
    """A scale bar of one metre, or three feet, in parts."""
    parts, part = (3, units.FOOT_M * CM) if system == Units.US else (2, 50.0)
    thick = letter * 0.3
    for i in range(parts):
        kind = "scale-full" if i % 2 == 0 else "scale-empty"
        add(root, "rect", x=x + i * part, y=y + letter * 0.4, width=part, height=thick, class_=kind)
    words_ = "3 ft" if system == Units.US else "1 m"
    add(
        root,
        "text",
        words_,
        x=x + parts * part + letter * 0.4,
        y=y + letter * 0.85,
        font_size=letter,
        class_="plate-code",
    )


# Small drawings --------------------------------------------------------------------------------------------

STRIP_PX_PER_M = 15.0
STRIP_GAP = 14.0
#: Letters under the small drawing, px: a long house is made narrower by the phone, and they with it.
STRIP_LETTER = 14.5


def draw_strip(walls: Sequence[Wall], description: str) -> SafeString:
    """A house's walls in one row, to one small scale, with their coats' hatches and their verdicts' bars."""
    top = max((wall.height for wall in walls), default=0.0) * STRIP_PX_PER_M + 4
    width = sum(wall.length * STRIP_PX_PER_M + STRIP_GAP for wall in walls) or 1.0
    height = top + 18
    root = canvas(width, height, "strip", width=f"{width:.0f}", height=f"{height:.0f}")
    picture(root, description)
    x = 1.0
    for wall in walls:
        for place in wall.placed:
            _draw_small(root, place, x, top)
        end = x + wall.length * STRIP_PX_PER_M
        add(root, "path", d=f"M{x - 1:.1f} {top:.1f}H{end + 1:.1f}", class_="floor")
        add(
            root,
            "text",
            wall.compass,
            x=(x + end) / 2,
            y=top + 15,
            font_size=STRIP_LETTER,
            text_anchor="middle",
            class_="plate-code",
        )
        x = end + STRIP_GAP
    return markup(root)


def _draw_small(root: Element, place: Placed, x: float, top: float) -> None:
    left, y = x + place.left * STRIP_PX_PER_M, top - (place.foot + place.high) * STRIP_PX_PER_M
    wide, high = place.wide * STRIP_PX_PER_M, place.high * STRIP_PX_PER_M
    for coat in place.panel.coats:
        add(root, "rect", x=left, y=y, width=wide, height=high, fill=f"url(#h-{coat})", class_="coat")
    add(root, "rect", x=left, y=y + high - 4, width=wide, height=4, class_="bar-ground")
    add(
        root,
        "path",
        d=f"M{left:.1f} {y + high - 2:.1f}h{wide:.1f}",
        stroke_width=4,
        class_=f"bar bar-{place.panel.verdict}",
    )
    edge = "edge outlined" if place.panel.here else "edge"
    add(root, "rect", x=left, y=y, width=wide, height=high, class_=edge)
    if place.panel.flagged:
        add(root, "path", d=f"M{left + 3:.1f} {y + 13:.1f}v-10l8 3 -8 3", class_="pennant")


#: Ends of each side of the key plan's square, from its upper left corner.
_SIDES: Final = {"N": "M4 9H20", "E": "M20 9V25", "S": "M4 25H20", "W": "M4 9V25"}


def key_plan(compass: str) -> SafeString:
    """The house from above with one wall drawn heavy and north marked; nothing where the side is unknown."""
    if compass not in _SIDES:
        return SafeString("")
    root = canvas(24, 30, "key-plan", width=24, height=30)
    picture(root, "Key plan", f"{words.COMPASS[compass.lower()]} side; north is up")
    add(root, "rect", x=4, y=9, width=16, height=16, class_="edge")
    add(root, "path", d=_SIDES[compass], class_="side")
    add(root, "path", d="M12 7V1M9.5 3.5L12 0.8 14.5 3.5", class_="north")
    return markup(root)


def bar_swatch(verdict: str) -> SafeString:
    """A verdict's bar, for the legend."""
    root = canvas(48, 16, "swatch", width=48, height=16, aria_hidden="true")
    add(root, "path", d="M0 8H48", stroke_width=6, class_=f"bar bar-{verdict}")
    return markup(root)
