"""A house's page: its walls drawn, the same in a table, its own readings and events in sentences."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from django.urls import reverse
from django.utils.safestring import SafeString

from inspections.analysis.records import CANONICAL_UNIT
from inspections.models import Reading
from inspections.queries.pages import Areas, House, Stretch
from inspections.vocabulary import Quantity, Unit
from inspections.web.present import coats, dates, hatches, portfolio, radon, sentences, units, walls, words
from portfolio.models import Event
from portfolio.vocabulary import Adjoins


@dataclass(frozen=True, slots=True)
class WallFigure:
    """One wall's drawing with its caption."""

    name: str
    size: str
    plan: SafeString
    desk: SafeString
    phone: SafeString


@dataclass(frozen=True, slots=True)
class SectionRow:
    """One section in the table beneath the drawing."""

    href: str
    code: str
    wall: str
    size: str
    made_of: str
    coats: str
    verdict: str
    probability: str
    flagged: bool
    due: str
    overdue: bool


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """A hatch and what it stands for."""

    swatch: SafeString
    text: str


@dataclass(frozen=True, slots=True)
class HousePage:
    """Everything a house's page says."""

    name: str
    facts: str
    summary: str
    figures: list[WallFigure]
    patterns: SafeString
    legend: list[LegendEntry]
    rows: list[SectionRow]
    needed: list[portfolio.Row]
    readings: list[str]
    events: list[str]


def present(
    house: House,
    readings: Sequence[tuple[Reading, int]],
    events: Iterable[Event],
    areas: Areas,
    today: dt.date,
    system: str,
) -> HousePage:
    """The page of one house. ``readings``: the latest of each quantity, and how many there are."""
    panels = [portfolio.panel(stretch, today) for stretch in house.stretches]
    laid = walls.lay_out(panels)
    shown = portfolio.present([house], [], areas, today, system)
    return HousePage(
        name=words.house_name(house.building),
        facts=_facts(house),
        summary=portfolio.house_summary(house, today),
        figures=_figures(laid, system),
        patterns=hatches.definitions(),
        legend=legend(panels),
        rows=[_row(stretch, today, system) for stretch in _in_drawn_order(house.stretches, laid)],
        needed=shown.needed,
        readings=[reading_sentence(reading, count, system) for reading, count in readings],
        events=[event_sentence(event, system) for event in events],
    )


def _facts(house: House) -> str:
    building = house.building
    address = [
        part for part in (building.street, building.locality, building.region, building.postal_code) if part
    ]
    built = [f"built {building.year_built}"] if building.year_built else []
    return ", ".join([part for part in address if part != str(building)] + built)


def drawn(house: House, today: dt.date, system: str) -> list[WallFigure]:
    """The house's walls."""
    return _figures(walls.lay_out([portfolio.panel(stretch, today) for stretch in house.stretches]), system)


def _figures(laid: Sequence[walls.Wall], system: str) -> list[WallFigure]:
    if not laid:
        return []
    desk, phone = walls.desk_frame(laid), walls.phone_frame(laid)
    return [
        WallFigure(
            name=_wall_title(wall),
            size=_wall_size(wall, system),
            plan=walls.key_plan(wall.compass),
            desk=walls.draw_wall(wall, desk, "desk", system, with_scale=i == 0),
            phone=walls.draw_wall(wall, phone, "phone", system, with_scale=i == 0),
        )
        for i, wall in enumerate(laid)
    ]


def _wall_size(wall: walls.Wall, system: str) -> str:
    length, height = (units.amount(size, units.METRES, system) for size in (wall.length, wall.height))
    return f"{length}{units.NO_BREAK}long, {height}{units.NO_BREAK}high"


def wall_of(stretch: Stretch, neighbours: Iterable[Stretch], today: dt.date, system: str) -> WallFigure:
    """The wall that a section is part of, small, with the section marked."""
    own = portfolio.panel(stretch, today)
    panels = [portfolio.panel(one, today) for one in neighbours]
    on_it = [replace(panel, here=panel.code == own.code) for panel in panels if panel.wall == own.wall]
    wall = walls.lay_out(on_it)[0]
    drawing = walls.draw_wall(wall, walls.small_frame(wall), "desk", system, with_scale=True)
    return WallFigure(
        _wall_title(wall), _wall_size(wall, system), walls.key_plan(wall.compass), drawing, drawing
    )


def _wall_title(wall: walls.Wall) -> str:
    """A section without a wall's name stands alone under its code."""
    nameless = wall.name == wall.placed[0].panel.code
    return f"Section {wall.name}" if nameless else words.wall_title(wall.name)


def legend(panels: Iterable[walls.Panel]) -> list[LegendEntry]:
    """The masonry and the hatches that this house's drawing uses, in words."""
    shown = list(panels)
    stone = [key for key in hatches.MASONRY if any(panel.substrate == key for panel in shown)]
    coat = [key for key in hatches.FAMILIES if any(key in panel.coats for panel in shown)]
    return [LegendEntry(hatches.swatch(f"m-{key}"), hatches.MASONRY[key]) for key in stone] + [
        LegendEntry(hatches.swatch(f"h-{key}"), hatches.FAMILIES[key]) for key in coat
    ]


def _in_drawn_order(stretches: Sequence[Stretch], laid: Sequence[walls.Wall]) -> list[Stretch]:
    order = {place.panel.code: i for i, place in enumerate(p for wall in laid for p in wall.placed)}
    return sorted(stretches, key=lambda stretch: order[stretch.section.code])


def size_text(stretch: Stretch, system: str) -> str:
    """Such as "3.2 × 2.1 m, 1.4 m of it below ground"."""
    section = stretch.section
    if section.length_m is None or section.height_m is None:
        return "not measured"
    form = units.shown(units.METRES, system)
    long = units.number(form.value(section.length_m), 1)
    size = f"{long} × {units.amount(section.height_m, units.METRES, system)}"
    if section.below_grade_m is None:
        return size
    if section.below_grade_m < walls.AT_THE_FLOOR:
        return f"{size}, none of it below ground"
    return f"{size}, {units.amount(section.below_grade_m, units.METRES, system)} of it below ground"


def made_of_text(stretch: Stretch) -> str:
    """Such as "Rubble stone in lime, against soil"."""
    section = stretch.section
    mortar = (
        "" if section.bedding_mortar in ("unknown", "none") else f" in {section.get_bedding_mortar_display()}"
    )
    inside = section.adjoins == Adjoins.INTERIOR
    against = "between rooms" if inside else f"against {_article(section.get_adjoins_display())}"
    if section.adjoins == Adjoins.PARTY_WALL:
        beyond = "" if section.beyond in ("", "unknown") else f", {section.get_beyond_display()} beyond"
        against = f"party wall{beyond}"
    return f"{words.capital(section.get_substrate_display())}{mortar}, {against}"


def _article(place: str) -> str:
    return place if place == "soil" else f"the {place}"


def coats_text(stretch: Stretch, today: dt.date) -> str:
    """The coats in place, from the wall outward."""
    names = [words.coat_name(coat) for coat in coats.standing(stretch.treatments, today)]
    return ", then ".join(names) if names else "no coat"


def _row(stretch: Stretch, today: dt.date, system: str) -> SectionRow:
    section, assessment = stretch.section, stretch.assessment
    probability = assessment.result["probability"].get(assessment.verdict) if assessment else None
    drawn = portfolio.panel(stretch, today)
    return SectionRow(
        href=reverse("section", args=[section.pk]),
        code=section.code,
        wall=words.wall_name(section),
        size=size_text(stretch, system),
        made_of=made_of_text(stretch),
        coats=coats_text(stretch, today),
        verdict=drawn.verdict_name,
        probability=words.in_hundred(probability) if probability is not None else "",
        flagged=bool(stretch.flags),
        due=sentences.due_sentence(stretch.due, today),
        overdue=stretch.due is not None and stretch.due < today,
    )


def reading_sentence(reading: Reading, count: int, system: str) -> str:
    """Such as "Radon 96 Bq/m³ on 3 March 2024, the last of 4 readings."""
    beyond = {"<": "below ", ">": "above "}.get(reading.qualifier, "")
    value = units.amount(reading.value, canonical_unit(reading), system)
    day = dates.day(reading.taken_at.astimezone(reading.building.zone).date())
    last = f", the last of {count} readings" if count > 1 else ", the only reading"
    said = f"{words.capital(words.quantity_name(reading.quantity))} {beyond}{value} on {day}{last}."
    if reading.quantity != Quantity.RADON:
        return said
    return f"{said} {radon.comparison(reading.value, reading.qualifier, system)}".rstrip()


def canonical_unit(reading: Reading) -> str:
    canonical = CANONICAL_UNIT[reading.quantity]
    return reading.unit if canonical == Unit.RELATIVE else canonical


def event_sentence(event: Event, system: str, *, with_place: bool = True) -> str:
    """Such as "3 March 2024, North wall: leak mended, 1.2 m², 340.00 EUR. Downpipe."""
    place = f", {words.wall_name(event.section)}" if event.section and with_place else ""
    parts = [event.get_kind_display()]
    if event.area_m2 is not None:
        parts.append(units.amount(event.area_m2, "m2", system))
    if event.cost is not None:
        parts.append(f"{event.cost} {event.currency}".strip())
    said = f"{dates.day(event.happened_on)}{place}: {', '.join(parts)}."
    return f"{said} {words.sentence(event.note)}".rstrip()
