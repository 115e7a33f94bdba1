"""Line work of masonry and hatches of coats, as SVG patterns in centimetres, and their meaning in words."""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element

from django.utils.safestring import SafeString

from inspections.web.present.svg import add, canvas, markup, polyline
from portfolio.vocabulary import Binder, Substrate, TreatmentKind

LIME, CEMENT, PAINT, MEMBRANE, OTHER = "lime", "cement", "paint", "membrane", "other"

#: Each family of coats and what its hatch looks like, for the legend.
FAMILIES: Final[dict[str, str]] = {
    LIME: "lime, clay or gypsum: fine dots",
    CEMENT: "cement: close cross-hatch",
    PAINT: "paint or sealer: broken lines",
    MEMBRANE: "membrane or board: heavy lines",
    OTHER: "other or unknown binder: slanting lines",
}
MASONRY: Final[dict[str, str]] = {str(value): str(label) for value, label in Substrate.choices}

_MEMBRANE_KINDS = {TreatmentKind.VAPOUR_RETARDER, TreatmentKind.DRAINAGE_BOARD, TreatmentKind.LINING,
                   TreatmentKind.INSULATION}  # fmt: skip
_PAINT_KINDS = {TreatmentKind.PAINT, TreatmentKind.SEALER}
_CEMENTS = {Binder.PORTLAND_CEMENT, Binder.CEMENT_LIME, Binder.NATURAL_CEMENT}
_MEMBRANES = {Binder.BITUMEN, Binder.POLYETHYLENE}
_PAINTS = {Binder.ACRYLIC, Binder.ALKYD, Binder.EPOXY, Binder.SILICATE}
_UNNAMED = {Binder.NONE, Binder.OTHER, Binder.UNKNOWN}


def family(kind: str, binder: str) -> str:
    """The hatch family of a coat. A limewash is lime whatever its binder says."""
    if kind in _MEMBRANE_KINDS or binder in _MEMBRANES:
        return MEMBRANE
    if kind == TreatmentKind.LIMEWASH:
        return LIME
    if kind in _PAINT_KINDS or binder in _PAINTS:
        return PAINT
    if binder in _CEMENTS:
        return CEMENT
    return OTHER if binder in _UNNAMED else LIME


def definitions() -> SafeString:
    """A drawing of no size that holds every pattern; a page includes it once, before it uses them."""
    root = canvas(1, 1, "patterns", width=0, height=0, aria_hidden="true")
    holder = add(root, "defs")
    for name, draw in _PATTERNS.items():
        draw(holder, name)
    return markup(root)


def _pattern(holder: Element, name: str, width: float, height: float) -> Element:
    return add(
        holder,
        "pattern",
        id=name,
        width=width,
        height=height,
        patternUnits="userSpaceOnUse",
        class_=f"pattern {name}",
    )


# Rubble: one tile of irregular stones, drawn so that its edges meet (cm).
_STONES: Final = (
    ((2, 3), (24, 1), (33, 8), (30, 19), (11, 22), (1, 14)),
    ((37, 2), (62, 3), (66, 15), (52, 21), (35, 17)),
    ((70, 4), (87, 2), (89, 18), (78, 24), (69, 16)),
    ((3, 26), (14, 25), (31, 23), (34, 37), (19, 44), (4, 40)),
    ((37, 22), (50, 25), (53, 38), (38, 42)),
    ((56, 24), (67, 20), (76, 28), (88, 23), (88, 41), (70, 44), (57, 40)),
    ((1, 46), (17, 48), (20, 58), (3, 59)),
    ((23, 47), (37, 45), (55, 42), (68, 47), (64, 58), (24, 58)),
    ((72, 47), (88, 44), (89, 57), (71, 59)),
)  # fmt: skip


def _rubble(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 90, 60)
    for stone in _STONES:
        add(tile, "path", d=polyline(((float(x), float(y)) for x, y in stone), close=True))


def _courses(
    holder: Element, name: str, courses: tuple[tuple[float, tuple[float, ...]], ...], width: float
) -> None:
    """Courses of stated height, each with its upright joints at the stated places."""
    tile = _pattern(holder, name, width, sum(height for height, _ in courses))
    top = 0.0
    for height, joints in courses:
        add(tile, "path", d=f"M0 {top:g}H{width:g}")
        for joint in joints:
            add(tile, "path", d=f"M{joint:g} {top:g}v{height:g}")
        top += height


def _brick(holder: Element, name: str) -> None:
    """Running bond: a course of 7.5 cm and a brick of 22.5 cm with its joint, common metric sizes."""
    _courses(holder, name, ((7.5, (0.0,)), (7.5, (11.25,))), 22.5)


def _block(holder: Element, name: str) -> None:
    _courses(holder, name, ((20.0, (0.0,)), (20.0, (20.0,))), 40.0)


def _coursed(holder: Element, name: str) -> None:
    _courses(holder, name, ((22.0, (6.0, 48.0)), (16.0, (26.0, 60.0, 84.0)), (26.0, (14.0, 66.0))), 90.0)


def _mixed(holder: Element, name: str) -> None:
    _courses(holder, name, ((24.0, (4.0, 44.0)), (7.5, (0.0, 22.5, 45.0, 67.5)), (18.0, (30.0, 72.0)),
                            (7.5, (11.0, 33.5, 56.0, 78.5))), 90.0)  # fmt: skip


def _poured(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 60, 60)
    for x, y in ((8, 10), (27, 6), (48, 14), (16, 30), (39, 27), (54, 41), (6, 49), (30, 52)):
        add(tile, "path", d=f"M{x} {y}l3 -4 3 4z")
    add(tile, "path", d="M0 59.5H60")


def _unknown(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 40, 40)
    add(tile, "path", d="M6 10h10M26 30h10")


def _dots(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 8, 8)
    for x, y in ((2, 2), (6, 6)):
        add(tile, "circle", cx=x, cy=y, r="0.75")


def _cross(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 8, 8)
    add(tile, "path", d="M0 0L8 8M8 0L0 8")


def _broken(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 24, 12)
    add(tile, "path", d="M0 3h13M12 9h12")


def _heavy(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 16, 16)
    add(tile, "path", d="M4 0v16M12 0v16")


def _slanting(holder: Element, name: str) -> None:
    tile = _pattern(holder, name, 14, 14)
    add(tile, "path", d="M-2 16L16 -2")


_PATTERNS: Final = {
    "m-rubble_stone": _rubble,
    "m-coursed_stone": _coursed,
    "m-brick": _brick,
    "m-concrete_block": _block,
    "m-poured_concrete": _poured,
    "m-mixed": _mixed,
    "m-unknown": _unknown,
    "h-lime": _dots,
    "h-cement": _cross,
    "h-paint": _broken,
    "h-membrane": _heavy,
    "h-other": _slanting,
}


def swatch(pattern: str) -> SafeString:
    """A small square of a pattern, for the legend."""
    root = canvas(90, 45, "swatch", width=48, height=24, aria_hidden="true")
    add(root, "rect", width=90, height=45, fill=f"url(#{pattern})", class_="edge")
    return markup(root)
