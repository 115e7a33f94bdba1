"""The ribbon of a section's past: how probable each explanation was at each visit, one on top of another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from xml.etree.ElementTree import Element

import numpy as np
from django.utils.safestring import SafeString

from inspections.analysis.records import YEAR, FloatArray
from inspections.analysis.results import HYPOTHESES
from inspections.web.present import dates, words
from inspections.web.present.svg import add, canvas, markup, picture, polyline, short
from inspections.web.present.time_axis import (
    LARGEST,
    ROW,
    Rule,
    Sheet,
    draw_rules,
    draw_years,
    label_rows,
    scale,
    within,
)

Looks = Sequence[dict[str, Any]]

#: From the foot up: what holds water first, so that the dark part grows from the ground.
ORDER: Final = ("trapped_water", "water_entry", "condensation", "drying_out", "surface_wear", "stable")
#: Height of the ribbon, and room for the bar of the verdicts under it, px.
HEIGHT, FOOT = 150.0, 18.0
#: Parts that never reach this share are left out of the legend.
LEAST_SEEN: Final = 0.03
#: Least height of a part that its name fits into, px, and the letters' average width over their height.
LEAST_NAMED, AVERAGE = 22.0, 0.56


@dataclass(frozen=True, slots=True)
class _Ribbon:
    """Edges of the looks in days (n + 1,) and of the parts as shares (7, n), from the foot up."""

    edge: FloatArray
    share: FloatArray


def draw(looks: Looks, rules: Sequence[Rule], until: float, sheet: Sheet, described: str) -> SafeString:
    """The ribbon from the first look to day ``until``; each look holds until the next one."""
    ribbon = _ribbon(looks, until)
    margin = max((until - ribbon.edge[0]) * 0.015, YEAR / 12)
    span = (float(ribbon.edge[0]) - margin, until + margin)
    x = scale(span, (sheet.left, sheet.width - sheet.right))
    shown = within(rules, span)
    rows = label_rows(shown, x, sheet)
    top = 30.0 + ROW * (max(rows, default=-1) + 1)
    bottom = top + HEIGHT
    y = scale((0.0, 1.0), (bottom, top))
    root = canvas(
        sheet.width, bottom + FOOT + 26, "strips ribbon desk" if sheet.named else "strips ribbon phone"
    )
    picture(root, "What would have been said at each visit", described)
    draw_years(root, x, span, top, bottom + FOOT)
    _draw_shares(root, y, sheet)
    _draw_parts(root, ribbon, x, y)
    _draw_verdicts(root, looks, ribbon, x, bottom + FOOT / 2 + 3)
    draw_rules(root, shown, rows, x, bottom, sheet)
    _draw_names(root, ribbon, x, y)
    return markup(root)


def legend(looks: Looks) -> list[tuple[SafeString, str]]:
    """A swatch and a name for each part that can be seen at all, from the foot up."""
    seen = [name for name in ORDER if max(look["probability"][name] for look in looks) >= LEAST_SEEN]
    return [(_swatch(name), words.verdict_name(name)) for name in seen]


def _swatch(name: str) -> SafeString:
    root = canvas(26, 14, "swatch ribbon", width=26, height=14, aria_hidden="true")
    add(root, "rect", x=1, y=1, width=24, height=12, class_=f"part part-{name}")
    return markup(root)


def _ribbon(looks: Looks, until: float) -> _Ribbon:
    days = [dates.to_days(date) for look in looks if (date := dates.parse(look["as_of"]))]
    share = np.array([[look["probability"][name] for look in looks] for name in ORDER])
    heaped = np.vstack([np.zeros(len(looks)), np.cumsum(share, axis=0)])
    return _Ribbon(np.array([*days, max(until, days[-1] + 30.0)]), heaped)


def _draw_shares(root: Element, y: Callable[[float], float], sheet: Sheet) -> None:
    for share in (0.0, 0.5, 1.0):
        add(root, "path", d=f"M{short(sheet.left)} {short(y(share))}H{short(sheet.width - sheet.right)}",
            class_="grid")  # fmt: skip
        add(
            root,
            "text",
            f"{share * 100:.0f}",
            x=sheet.left - 6,
            y=y(share) + 4,
            text_anchor="end",
            class_="tick",
        )


def _draw_parts(
    root: Element, ribbon: _Ribbon, x: Callable[[float], float], y: Callable[[float], float]
) -> None:
    across = [x(edge) for edge in np.repeat(ribbon.edge, 2)[1:-1].tolist()]
    for i, name in enumerate(ORDER):
        low, high = ([y(value) for value in np.repeat(ribbon.share[k], 2).tolist()] for k in (i, i + 1))
        outline = [*zip(across, high, strict=True), *zip(across[::-1], low[::-1], strict=True)]
        add(root, "path", d=polyline(outline, close=True), class_=f"part part-{name}")


def _draw_verdicts(
    root: Element, looks: Looks, ribbon: _Ribbon, x: Callable[[float], float], y: float
) -> None:
    """The verdict that was given, as the bar at the wall's foot, and a tick at each visit."""
    first = 0
    for i in range(1, len(looks) + 1):
        if i == len(looks) or looks[i]["verdict"] != looks[first]["verdict"]:
            start, end = x(float(ribbon.edge[first])), x(float(ribbon.edge[i]))
            add(root, "path", d=f"M{short(start)} {short(y)}H{short(end)}", stroke_width=7,
                class_=f"bar bar-{looks[first]['verdict']}")  # fmt: skip
            first = i
    ticks = "".join(f"M{short(x(edge))} {short(y - 6)}v12" for edge in ribbon.edge[:-1].tolist())
    add(root, "path", d=ticks, class_="visit")


def _draw_names(
    root: Element, ribbon: _Ribbon, x: Callable[[float], float], y: Callable[[float], float]
) -> None:
    """Each part's name where there is most room for it, if there is enough anywhere."""
    for i, name in enumerate(ORDER):
        text = words.capital(words.verdict_name(name))
        place = _widest(ribbon, i, x, y)
        if place is None or place[1] - place[0] < len(text) * LARGEST * AVERAGE:
            continue
        left, right, middle = place
        add(root, "text", text, x=(left + right) / 2, y=middle + 4.5, text_anchor="middle",
            class_=f"part-name name-{name}")  # fmt: skip


def _widest(
    ribbon: _Ribbon, i: int, x: Callable[[float], float], y: Callable[[float], float]
) -> tuple[float, float, float] | None:
    """Left, right and middle height of the widest stretch in which part ``i`` leaves room for a name."""
    best: tuple[float, float, float] | None = None
    count = ribbon.share.shape[1]
    for start in range(count):
        low, high = 0.0, 1.0
        for end in range(start, count):
            low, high = max(low, ribbon.share[i, end]), min(high, ribbon.share[i + 1, end])
            if y(low) - y(high) < LEAST_NAMED:
                break
            left, right = x(float(ribbon.edge[start])), x(float(ribbon.edge[end + 1]))
            if best is None or right - left > best[1] - best[0]:
                best = (left, right, (y(low) + y(high)) / 2)
    return best


assert set(ORDER) == set(HYPOTHESES)
