"""The figures of the method's page, drawn from the numbers that `tests.simulation.evidence` writes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from xml.etree.ElementTree import Element

from django.utils.safestring import SafeString

from inspections.web.present import words
from inspections.web.present.svg import Point, add, canvas, markup, picture, polyline, short
from inspections.web.present.time_axis import scale

Rows = Sequence[dict[str, Any]]

WIDE, HIGH = 358.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 12.0, 28.0, 46.0
#: Radius of a mark, px, and height of a row of the readings' figure.
MARK, ROW = 4.0, 40.0
_HUNDREDTHS: Final = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True, slots=True)
class _Paper:
    root: Element
    x: Callable[[float], float]
    y: Callable[[float], float]


def _paper(title: str, described: str, across: tuple[float, float], up: tuple[float, float]) -> _Paper:
    root = canvas(WIDE, HIGH, "plot")
    picture(root, title, described)
    return _Paper(root, scale(across, (LEFT, WIDE - RIGHT)), scale(up, (HIGH - BOTTOM, TOP)))


def _axes(
    paper: _Paper,
    across: Iterable[tuple[float, str]],
    up: Iterable[tuple[float, str]],
    names: tuple[str, str],
) -> None:
    left, right, foot = LEFT, WIDE - RIGHT, HIGH - BOTTOM
    for value, text in up:
        y = paper.y(value)
        add(paper.root, "path", d=f"M{short(left)} {short(y)}H{short(right)}", class_="grid")
        add(paper.root, "text", text, x=left - 6, y=y + 4.5, text_anchor="end", class_="tick")
    for value, text in across:
        x = paper.x(value)
        add(paper.root, "path", d=f"M{short(x)} {short(foot)}v5", class_="axis")
        add(paper.root, "text", text, x=x, y=foot + 19, text_anchor="middle", class_="tick")
    add(paper.root, "path", d=f"M{short(left)} {short(TOP)}V{short(foot)}H{short(right)}", class_="axis")
    add(paper.root, "text", names[0], x=(left + right) / 2, y=HIGH - 6, text_anchor="middle")
    add(paper.root, "text", names[1], x=2.0, y=14.0)


def _of_hundred(values: Iterable[float]) -> list[tuple[float, str]]:
    return [(value, f"{value * 100:g}") for value in values]


def _circle(x: float, y: float) -> str:
    arc, wide = f"a{MARK:g} {MARK:g} 0 1 0", 2 * MARK
    return f"M{short(x - MARK)} {short(y)}{arc} {wide:g} 0{arc} -{wide:g} 0"


def reliability(rows: Rows) -> SafeString:
    """What was stated against what came true, in bins of equal count, with 95 % limits."""
    said = "; ".join(
        f"{words.in_hundred(row['stated'])} stated, {words.in_hundred(row['seen'])} so" for row in rows
    )
    paper = _paper("Stated and come true", said, (0, 1), (0, 1))
    _axes(paper, _of_hundred(_HUNDREDTHS), _of_hundred(_HUNDREDTHS), ("stated, in 100", "held water, in 100"))
    diagonal: list[Point] = [(paper.x(end), paper.y(end)) for end in (0.0, 1.0)]
    add(paper.root, "path", d=polyline(diagonal), class_="threshold")
    for row in rows:
        x = paper.x(row["stated"])
        add(paper.root, "path", d=f"M{short(x)} {short(paper.y(row['low']))}V{short(paper.y(row['high']))}",
            class_="reach")  # fmt: skip
        add(paper.root, "path", d=_circle(x, paper.y(row["seen"])), class_="dot")
    return markup(paper.root)


def recalibrated(curve: Sequence[Point]) -> SafeString:
    """What the model alone states against what is said with the owner's openings, both shares."""
    said = "; ".join(
        f"{words.in_hundred(stated)} alone, {words.in_hundred(moved)} with them"
        for stated, moved in curve[9::20]
    )
    paper = _paper("By the model alone, and with your openings", said, (0, 1), (0, 1))
    names = ("by the model alone, in 100", "with your openings, in 100")
    _axes(paper, _of_hundred(_HUNDREDTHS), _of_hundred(_HUNDREDTHS), names)
    diagonal: list[Point] = [(paper.x(end), paper.y(end)) for end in (0.0, 1.0)]
    add(paper.root, "path", d=polyline(diagonal), class_="threshold")
    line = [(paper.x(stated), paper.y(moved)) for stated, moved in curve]
    add(paper.root, "path", d=polyline(line), class_="curve")
    return markup(paper.root)


def lead(rows: Rows) -> SafeString:
    """The share of walls that had been called, by years before the first hundredth of the coat had fallen."""
    years = [float(row["years"]) for row in rows]
    said = "; ".join(
        f"{row['years']:g} years before: {words.in_hundred(row['share'])}"
        for row in rows
        if row["years"] % 2 == 0
    )
    paper = _paper("Called before the coat falls", said, (max(years), min(years)), (0, 1))
    whole = [(year, f"{year:g}") for year in years if year % 2 == 0]
    _axes(
        paper,
        whole,
        _of_hundred(_HUNDREDTHS),
        ("years before 1 % of the coat has fallen", "called by then, in 100"),
    )
    line = [(paper.x(float(row["years"])), paper.y(float(row["share"]))) for row in rows]
    add(paper.root, "path", d=polyline(line), class_="curve")
    return markup(paper.root)


def operating(kits: Rows) -> SafeString:
    """For each kit the share found by the share of others falsely called, on a square-root scale."""
    said = "; ".join(
        f"{kit['kit']}: {words.in_hundred(point['found'])}"
        for kit in kits for point in kit["found"] if point["false"] == 0.01
    )  # fmt: skip
    most = max(point["false"] for kit in kits for point in kit["found"])
    paper = _paper("Found, by false calls", f"At one false call in 100: {said}", (0, most**0.5), (0, 1))
    ticks = [(value**0.5, f"{value * 100:g}") for value in (0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2)]
    _axes(paper, ticks, _of_hundred(_HUNDREDTHS), ("others called falsely, in 100", "found, in 100"))
    for i, kit in enumerate(kits):
        line = [(paper.x(point["false"] ** 0.5), paper.y(point["found"])) for point in kit["found"]]
        add(paper.root, "path", d=polyline(line), class_=f"curve curve-{i}")
    return markup(paper.root)


def curve_swatch(number: int) -> SafeString:
    """The stroke of one curve, for the legend."""
    root = canvas(40, 12, "plot swatch", width=40, height=12, aria_hidden="true")
    add(root, "path", d="M0 6H40", class_=f"curve curve-{number}")
    return markup(root)


def adds(rows: Rows) -> SafeString:
    """For each kind of reading what is found without it and with it, beside the least kit and beside all."""
    high = TOP + ROW * len(rows) + BOTTOM
    root = canvas(WIDE, high, "plot")
    said = "; ".join(
        f"{words.quantity_name(row['group'])}: {words.in_hundred(row['least'])} to "
        f"{words.in_hundred(row['least_with'])} beside the least kit, {words.in_hundred(row['rest'])} to "
        f"{words.in_hundred(row['rest_with'])} beside all else"
        for row in rows
    )
    picture(root, "What each kind of reading adds", said)
    x = scale((0.0, 1.0), (LEFT - 30, WIDE - RIGHT))
    foot = TOP + ROW * len(rows)
    for value, text in _of_hundred(_HUNDREDTHS):
        add(root, "path", d=f"M{short(x(value))} {short(TOP - 10)}V{short(foot)}", class_="grid")
        add(root, "text", text, x=x(value), y=foot + 18, text_anchor="middle", class_="tick")
    add(root, "text", "found at one false call in 100, in 100", x=WIDE / 2, y=high - 6, text_anchor="middle")
    for i, row in enumerate(rows):
        top = TOP + i * ROW
        add(
            root,
            "text",
            words.capital(words.quantity_name(row["group"])),
            x=x(0.0),
            y=top + 6,
            class_="part-name",
        )
        for y, without, with_it, kind in (
            (top + 15, row["least"], row["least_with"], "least"),
            (top + 24, row["rest"], row["rest_with"], "rest"),
        ):
            add(
                root,
                "path",
                d=f"M{short(x(without))} {short(y)}H{short(x(with_it))}",
                class_=f"gain gain-{kind}",
            )
            add(root, "path", d=f"M{short(x(without))} {short(y - 4)}v8", class_="from")
            add(root, "path", d=_circle(x(with_it), y), class_=f"dot dot-{kind}")
    return markup(root)
