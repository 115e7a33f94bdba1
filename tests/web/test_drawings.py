"""Drawings: where sections stand, what is drawn of them, and that every drawing is well-formed."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree.ElementTree import Element, fromstring

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis.strips import InstrumentChange, Line, Points, Strip
from inspections.web.present import bars, hatches, strips_svg, svg, time_axis, walls
from portfolio.vocabulary import Binder, Substrate, TreatmentKind

CSS = Path(walls.__file__).parents[2] / "static" / "wythe" / "wythe.css"


def panel(code: str = "N1", **changes: object) -> walls.Panel:
    facts: dict[str, object] = {
        "code": code, "wall": "N", "verdict": "stable", "verdict_name": "stable", "probability": 0.8,
        "start": 0.0, "length": 3.0, "height": 2.0, "below_grade": 1.2, "substrate": "brick", "href": "/x/",
        "label": f"{code}, stable",
    }  # fmt: skip
    return walls.Panel(**(facts | changes))  # type: ignore[arg-type]


def drawn(wall: walls.Wall, **options: bool) -> Element:
    return fromstring(walls.draw_wall(wall, walls.desk_frame([wall]), "desk", **options))


# Layout ----------------------------------------------------------------------------------------------------


def test_walls_go_round_from_north_and_nameless_ones_come_last() -> None:
    laid = walls.lay_out(
        [panel(str(i), wall=wall) for i, wall in enumerate(["W", "chimney", "south", "North"])]
    )
    assert [wall.name for wall in laid] == ["North", "south", "W", "chimney"]


def test_sections_without_a_start_stand_after_the_one_before() -> None:
    (wall,) = walls.lay_out([panel("A"), panel("B", start=None, length=2.0), panel("C", start=None)])
    assert [(place.panel.code, place.left) for place in wall.placed] == [("A", 0.0), ("B", 3.0), ("C", 5.0)]
    assert wall.length == 8.0


def test_a_slip_of_the_tape_puts_no_section_on_top_of_another() -> None:
    (wall,) = walls.lay_out([panel("A", length=3.13), panel("B", start=3.0)])
    assert [(place.left, place.foot) for place in wall.placed] == [(0.0, 0.0), (3.13, 0.0)]


def test_sections_at_one_place_stand_one_above_the_other_the_deeper_one_below() -> None:
    (wall,) = walls.lay_out([panel("top", height=1.0, below_grade=0.0), panel("foot", height=1.2)])
    assert [(place.panel.code, place.foot) for place in wall.placed] == [("foot", 0.0), ("top", 1.2)]
    assert wall.height == 2.2


def test_the_ground_line_steps_where_the_ground_does() -> None:
    (wall,) = walls.lay_out([panel("A"), panel("B", start=3.0, below_grade=0.4)])
    assert walls.ground_levels(wall) == [(0.0, 1.2), (3.0, 1.2), (3.0, 1.2), (3.0, 0.4), (6.0, 0.4)]


def test_no_ground_line_where_the_depth_is_unknown_or_nought() -> None:
    (wall,) = walls.lay_out([panel("A", below_grade=None), panel("B", start=3.0, below_grade=0.0)])
    assert walls.ground_levels(wall) == []


@given(
    st.lists(
        st.tuples(
            st.none() | st.floats(0, 30), st.none() | st.floats(0.2, 15), st.none() | st.floats(0.2, 4)
        ),
        min_size=1,
        max_size=8,
    )
)
def test_every_section_is_placed_within_its_wall(
    sizes: list[tuple[float | None, float | None, float | None]],
) -> None:
    panels = [panel(str(i), start=a, length=b, height=c) for i, (a, b, c) in enumerate(sizes)]
    (wall,) = walls.lay_out(panels)
    assert sorted(place.panel.code for place in wall.placed) == sorted(one.code for one in panels)
    assert min(place.left for place in wall.placed) == 0.0
    assert all(place.left + place.wide <= wall.length + 1e-9 for place in wall.placed)
    fromstring(walls.draw_wall(wall, walls.phone_frame([wall]), "phone"))


# Walls -----------------------------------------------------------------------------------------------------


def test_a_section_is_drawn_to_scale_with_link_bar_and_flag() -> None:
    (wall,) = walls.lay_out([panel(flagged=True, coats=("cement",))])
    root = drawn(wall)
    link = root.find("a[@href='/x/']")
    assert link is not None
    assert link.get("aria-label") == "N1, stable"
    edge = link.find("rect[@class='edge']")
    assert edge is not None
    assert (edge.get("width"), edge.get("height")) == ("300", "200")
    bar = link.find("path[@class='bar bar-stable']")
    assert bar is not None
    assert bar.get("d", "").endswith("h240.0")  # 0.8 of three metres
    assert link.find("path[@class='pennant']") is not None
    assert [path.get("fill") for path in link.iter("path") if path.get("fill")] == ["url(#h-cement)"]


def test_an_unmeasured_section_has_a_broken_outline() -> None:
    (wall,) = walls.lay_out([panel(length=None)])
    assert drawn(wall).find("a/rect[@class='edge assumed']") is not None


def test_the_scale_bar_is_in_the_readers_units() -> None:
    (wall,) = walls.lay_out([panel()])
    for system, said, length in (("si", "1 m", 100.0), ("us", "3 ft", 91.44)):
        root = fromstring(walls.draw_wall(wall, walls.desk_frame([wall]), "desk", system, with_scale=True))
        assert said in [text.text for text in root.iter("text")]
        parts = [rect for rect in root.iter("rect") if "scale" in rect.get("class", "")]
        assert sum(float(part.get("width", 0)) for part in parts) == pytest.approx(length, abs=0.2)


def test_drawings_of_one_house_share_one_scale() -> None:
    laid = walls.lay_out([panel("A", length=6.0), panel("B", wall="E", length=2.5)])
    desk, phone = walls.desk_frame(laid), walls.phone_frame(laid)
    scales, widths = set(), set()
    for wall in laid:
        root = fromstring(walls.draw_wall(wall, desk, "desk"))
        box = [float(number) for number in root.get("viewBox", "").split()]
        scales.add(round(float(root.get("width", 0)) / box[2], 2))
        widths.add(fromstring(walls.draw_wall(wall, phone, "phone")).get("viewBox", "").split()[2])
    assert len(scales) == len(widths) == 1


def test_names_are_escaped() -> None:
    laid = walls.lay_out([panel("<b>&", label='"<b>')])
    markup = walls.draw_strip(laid, "<script>") + walls.draw_wall(laid[0], walls.desk_frame(laid), "desk")
    assert "<script>" not in markup
    assert "<b>" not in markup


@pytest.mark.parametrize(
    ("room", "lines"), [(20.0, ["not enough readings"]), (10.0, ["not enough", "readings"])]
)
def test_a_verdict_is_broken_between_its_words(room: float, lines: list[str]) -> None:
    assert walls.wrapped("not enough readings", room) == lines


def test_every_kind_binder_and_masonry_has_a_hatch_that_is_defined() -> None:
    defined = {pattern.get("id") for pattern in fromstring(hatches.definitions()).iter("pattern")}
    families = {f"h-{hatches.family(kind, binder)}" for kind in TreatmentKind for binder in Binder}
    assert families | {f"m-{name}" for name in Substrate.values} == defined
    assert {f"h-{name}" for name in hatches.FAMILIES} == families


@pytest.mark.parametrize(
    ("kind", "binder", "family"),
    [
        ("parge_coat", "NHL 3.5", "lime"),
        ("parge_coat", "portland_cement", "cement"),
        ("limewash", "unknown", "lime"),
        ("paint", "alkyd", "paint"),
        ("sealer", "bitumen", "membrane"),
        ("vapour_retarder", "polyethylene", "membrane"),
        ("parge_coat", "unknown", "other"),
    ],
)
def test_hatches_follow_the_binder(kind: str, binder: str, family: str) -> None:
    assert hatches.family(kind, binder) == family


# Strips ----------------------------------------------------------------------------------------------------

DAY = 18_000.0


def strip(**changes: object) -> Strip:
    time = DAY + np.arange(4) * 180.0
    points = Points(
        time,
        np.array([1.0, 2.0, 3.0, 900.0]),
        np.array(["read", "above", "below", "aside"]),
        np.full(4, np.nan),
    )
    line = Line(time, np.ones(4), np.zeros(4), np.full(4, 2.0))
    facts: dict[str, object] = {"quantity": "hollow_area", "unit": "m2", "points": points, "line": line}
    return Strip(**(facts | changes))  # type: ignore[arg-type]


def picture_of(strips: list[Strip], **options: object) -> Element:
    facts: dict[str, object] = {
        "rules": [],
        "fan": None,
        "as_of": DAY + 540,
        "sheet": time_axis.DESK,
        "system": "si",
    }
    return fromstring(strips_svg.draw(strips, **(facts | options)))  # type: ignore[arg-type]


def test_each_kind_of_reading_has_its_own_mark_and_a_slip_does_not_stretch_the_scale() -> None:
    root = picture_of([strip()])
    classes = {path.get("class") for path in root.iter("path")}
    assert {
        "mark mark-read",
        "mark mark-above",
        "mark mark-below",
        "mark mark-aside",
        "line",
        "band",
    } <= classes
    ticks = [text.text for text in root.iter("text") if text.get("class") == "tick"]
    assert "900" not in ticks


def test_a_drawing_has_a_name_and_tells_its_last_readings() -> None:
    root = picture_of([strip()])
    assert root.get("role") == "img"
    assert "Hollow area: 3 readings, the last 3.00\u00a0m²." in root.get("aria-label", "")


def test_treatments_are_named_at_a_desk_and_numbered_on_a_phone() -> None:
    rules = [time_axis.Rule(DAY + 100, "lime coat 2019"), time_axis.Rule(DAY + 101, "cement coat 2019")]
    desk = [text.text for text in picture_of([strip()], rules=rules).iter("text")]
    assert {"lime coat 2019", "cement coat 2019"} <= set(desk)
    phone = [text.text for text in picture_of([strip()], rules=rules, sheet=time_axis.PHONE).iter("text")]
    assert {"1", "2"} <= set(phone)
    assert "lime coat 2019" not in phone
    assert strips_svg.numbered([strip()], rules, None, DAY + 540) == rules


def test_a_coat_from_before_the_first_reading_is_named_at_the_edge_while_it_stood() -> None:
    rules = [
        time_axis.Rule(DAY - 900, "cement coat 1990", until=np.inf),
        time_axis.Rule(DAY - 999, "lime coat 1980", until=DAY - 900),
    ]
    assert [rule.name for rule in strips_svg.numbered([strip()], rules, None, DAY + 540)] == [
        "← cement coat 1990"
    ]


def test_there_is_no_fan_to_a_threshold_that_lies_behind() -> None:
    forecast = {"threshold": 0.1, "early": "2020-01-01", "expected": "2021-01-01", "late": None}
    assert strips_svg.fan_of({"as_of": "2022-01-01", "forecast": forecast}) is None
    assert strips_svg.fan_of({"as_of": "2020-06-01", "forecast": forecast}) is not None


def test_names_of_rules_at_one_time_do_not_overlap() -> None:
    rules = [time_axis.Rule(DAY + 100 + i, f"cement coat {i}") for i in range(4)]
    texts = [
        text for text in picture_of([strip()], rules=rules).iter("text") if text.get("class") == "rule-name"
    ]
    assert len({text.get("y") for text in texts}) == 4


def test_the_forecast_fans_out_to_the_threshold() -> None:
    share = strip(quantity="affected_area_fraction", unit="share", threshold=0.1, line=None)
    fan = strips_svg.Fan(0.1, DAY + 900, DAY + 1200, None)
    classes = [path.get("class") for path in picture_of([share, strip()], fan=fan).iter("path")]
    assert classes.count("fan") == classes.count("fan-middle") == 1
    assert "threshold" in classes


def test_a_new_instrument_is_a_tick() -> None:
    changed = strip(changes=(InstrumentChange(DAY + 200, "M1", "M2"),))
    assert any(path.get("class") == "instrument" for path in picture_of([changed]).iter("path"))


def test_a_strip_in_american_units_is_drawn_in_them() -> None:
    cold = strip(quantity="air_temperature", unit="degC", line=None)
    assert "°F" in [text.text for text in picture_of([cold], system="us").iter("tspan")]


@given(
    st.lists(
        st.tuples(st.floats(-1e5, 1e5), st.sampled_from(["read", "above", "below", "aside"])), max_size=12
    ),
    st.sampled_from([time_axis.DESK, time_axis.PHONE]),
)
def test_any_readings_give_a_drawing_without_nan(
    rows: list[tuple[float, str]], sheet: time_axis.Sheet
) -> None:
    points = Points(
        DAY + np.arange(len(rows)) * 90.0,
        np.array([value for value, _ in rows], dtype=float),
        np.array([kind for _, kind in rows], dtype=np.str_),
        np.full(len(rows), np.nan),
    )
    root = picture_of([strip(points=points, line=None)], sheet=sheet)
    assert not any(
        "nan" in value or "inf" in value for node in root.iter("path") for value in node.attrib.values()
    )


# Small pieces ----------------------------------------------------------------------------------------------


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6))
def test_ticks_are_round_and_within(low: float, span: float) -> None:
    ticks = svg.nice_ticks(low, low + span)
    assert 1 <= len(ticks) <= 8
    assert all(
        low - 1e-6 * max(1, abs(low)) <= tick <= low + span + 1e-6 * max(1, abs(low)) for tick in ticks
    )


@given(st.floats(-1e5, 1e5))
def test_coordinates_are_short_and_true(value: float) -> None:
    assert float(svg.short(value)) == pytest.approx(value, abs=0.0501)


def test_bars_point_to_the_side_that_they_speak_for() -> None:
    right, left = (fromstring(bars.diverging(share)).find("rect") for share in (1.0, -0.5))
    assert right is not None
    assert left is not None
    assert float(right.get("x", 0)) == 120.0
    assert float(left.get("x", 0)) + float(left.get("width", 0)) == 120.0


# Colours: WCAG 2.2, relative luminance and contrast ratio as defined there; 1.4.3 asks 4.5 of text, 1.4.11
# asks 3 of marks.


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def palettes() -> list[dict[str, str]]:
    blocks = re.findall(r":root \{(.*?)\}", CSS.read_text(), re.S)
    return [dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", block)) for block in blocks[:2]]


@pytest.mark.parametrize("palette", palettes(), ids=["light", "dark"])
def test_text_and_marks_stand_out_from_paper(palette: dict[str, str]) -> None:
    for name in ("ink", "soft", "press", "person", "water"):
        assert contrast(palette[name], palette["paper"]) >= 4.5, name
        assert contrast(palette[name], palette["leaf"]) >= 4.5, name
    assert contrast(palette["line"], palette["paper"]) >= 3.0


def test_the_contrast_of_black_and_white_is_that_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
