"""Small pieces for drawing: elements by ElementTree, so that every drawing is well-formed and escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.etree.ElementTree import Element, SubElement, tostring

from django.utils.safestring import SafeString, mark_safe

Point = tuple[float, float]


def short(value: float) -> str:
    """A coordinate to a tenth of a unit."""
    return f"{value:.1f}".removesuffix(".0").replace("-0", "0") if abs(value) < 0.05 else _trim(value)


def _trim(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def add(parent: Element, tag: str, text: str = "", /, **attributes: object) -> Element:
    """Append an element. ``class_`` is ``class``, underscores are hyphens, None is left out."""
    named = {
        name.rstrip("_").replace("_", "-"): short(value) if isinstance(value, float) else str(value)
        for name, value in attributes.items()
        if value is not None
    }
    element = SubElement(parent, tag, named)
    if text:
        element.text = text
    return element


def canvas(wide: float, high: float, class_: str, /, **attributes: object) -> Element:
    """An ``svg`` element of this view box."""
    box = f"0 0 {short(wide)} {short(high)}"
    return add(Element("holder"), "svg", viewBox=box, class_=class_, focusable="false", **attributes)


def picture(root: Element, title: str, description: str = "") -> None:
    """Make a drawing without links a picture with a name."""
    root.set("role", "img")
    root.set("aria-label", f"{title}. {description}" if description else title)


def markup(root: Element) -> SafeString:
    """The drawing for a template. ElementTree has escaped every text and attribute."""
    return mark_safe(tostring(root, encoding="unicode", short_empty_elements=True))


def polyline(points: Iterable[Point], *, close: bool = False) -> str:
    """Path data through the points."""
    body = "L".join(f"{short(x)} {short(y)}" for x, y in points)
    return f"M{body}{'Z' if close else ''}" if body else ""


def nice_ticks(low: float, high: float, wanted: int = 3) -> Sequence[float]:
    """Round values (1, 2 or 5 times a power of ten apart) within the range, about ``wanted`` of them."""
    span = high - low
    if span <= 0:
        return [low]
    raw = span / max(wanted, 1)
    power = 10.0 ** _floor_log10(raw)
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw * 0.999)
    first = -(-low // step) * step
    count = int((high - first) / step + 1e-9) + 1
    return [round(first + i * step, 10) for i in range(count)]


def _floor_log10(value: float) -> int:
    exponent = 0
    while 10.0 ** (exponent + 1) <= value:
        exponent += 1
    while 10.0**exponent > value:
        exponent -= 1
    return exponent
