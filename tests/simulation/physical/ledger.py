"""The book's slower tables: houses, sections, what was put on them, and what happened to them."""

from __future__ import annotations

import numpy as np

from tests.simulation.book import Book, iso_day

from .climate import STEP
from .coats import Layer
from .life import Life
from .plan import TOWN, Coating, Event, Section
from .style import Style


def write_ledger(rng: np.random.Generator, style: Style, life: Life, start_day: int, book: Book) -> None:
    """Write buildings, sections, treatments and events."""
    for house in life.plan.houses:
        book.add(
            "buildings",
            code=house.code,
            name=f"House {house.code} (invented)",
            street=house.street,
            locality=TOWN,
            country=house.country,
            timezone=house.timezone,
            year_built=house.year_built,
        )
    for section in life.plan.sections:
        _write_section(life, section, book)
        if section.outside_coat:
            _write_outside_coat(rng, life, section, start_day, book)
        for coating in section.coatings:
            if coating.start < life.steps:
                _write_coating(rng, style, life, section, coating, start_day, book)
    _write_events(rng, life, start_day, book)


def _write_section(life: Life, section: Section, book: Book) -> None:
    book.add(
        "sections",
        building=life.plan.houses[section.house].code,
        code=section.code,
        wall=section.wall,
        start_m=section.start_m,
        length_m=section.length_m,
        height_m=section.height_m,
        below_grade_m=section.below_grade_m,
        substrate=section.substrate,
        bedding_mortar=section.bedding_mortar,
        adjoins=section.adjoins,
        beyond=section.beyond,
    )


def _write_coating(
    rng: np.random.Generator,
    style: Style,
    life: Life,
    section: Section,
    coating: Coating,
    start_day: int,
    book: Book,
) -> None:
    building = life.plan.houses[section.house].code
    applied = start_day + coating.start * STEP
    if coating.system is None:
        if rng.random() < 0.3 and coating.start > 0:
            _write_repointing(building, section, applied, book)
        return
    if coating.start == 0:
        applied -= rng.uniform(5, 35) * 365 if coating.found else rng.uniform(20, 6 * 365)
    earliest = applied - rng.uniform(1, 20) * 365 if coating.found and rng.random() < 0.5 else np.nan
    removed = start_day + coating.stop * STEP if coating.stop is not None else np.inf
    for number, layer in enumerate(coating.system.layers, start=1):
        row = _layer_row(rng, style, layer, found=coating.found)
        if layer.recipe.drains:
            row["drains_to"] = coating.drains_to
        book.add(
            "treatments",
            building=building,
            section=section.code,
            layer=number,
            applied_on=iso_day(applied),
            applied_earliest=iso_day(earliest),
            removed_on=iso_day(removed),
            removal_reason=coating.reason,
            found="yes" if coating.found else "",
            area_m2=round(section.area, 2) if rng.random() < 0.4 else "",
            purpose="sacrificial" if layer.recipe.wears >= 2 and rng.random() < 0.1 else "",
            **row,
        )


def _layer_row(rng: np.random.Generator, style: Style, layer: Layer, *, found: bool) -> dict[str, object]:
    """What the record says of a layer: of one that was found it knows less."""
    knows = 0.4 if found else 1.0
    recipe, row = layer.recipe, dict[str, object]()
    row["kind"] = recipe.kind
    row["binder"] = recipe.binder if rng.random() < 0.6 + 0.4 * knows else "unknown"
    row["mix"] = recipe.mix if rng.random() < knows else ""
    if layer.thickness_mm and rng.random() < style.thickness_known:
        row["thickness_mm"] = max(round(layer.thickness_mm * rng.lognormal(0.0, 0.08)), 1)
    if rng.random() < style.sd_known * knows:
        error = rng.lognormal(0.0, 0.15)
        if layer.thickness_mm and rng.random() < 0.6:
            row["mu"] = round(layer.mu * error, 1)
        else:
            row["sd_m"] = round(layer.sd * error, 3)
    return row


def _write_outside_coat(
    rng: np.random.Generator, life: Life, section: Section, start_day: int, book: Book
) -> None:
    """A bitumen coat on the far side; numbered from the wall, as a layer of its own face."""
    book.add(
        "treatments",
        building=life.plan.houses[section.house].code,
        section=section.code,
        layer=1,
        applied_on=iso_day(start_day - rng.uniform(8, 40) * 365),
        kind="sealer",
        binder="bitumen",
        face="outside",
        found="yes",
    )


def _write_patch(life: Life, section: Section, event: Event, start_day: int, book: Book) -> None:
    book.add(
        "treatments",
        building=life.plan.houses[section.house].code,
        section=section.code,
        layer=1,
        applied_on=iso_day(start_day + event.step * STEP),
        kind="parge_coat",
        binder="NHL 3.5",
        mix="1:2.5",
        area_m2=max(round(event.area_share * section.area, 2), 0.01),
        purpose="patch",
    )


def _write_repointing(building: str, section: Section, applied: float, book: Book) -> None:
    book.add(
        "treatments",
        building=building,
        section=section.code,
        layer=1,
        applied_on=iso_day(applied),
        kind="repointing",
        binder="lime_putty",
        mix="1:3",
    )


def _write_events(rng: np.random.Generator, life: Life, start_day: int, book: Book) -> None:
    seen = set()
    for event in sorted(life.events, key=lambda event: (event.step, event.house, event.section, event.kind)):
        section = life.plan.sections[event.section] if event.section >= 0 else None
        key = (event.house, event.section, event.step, event.kind)
        if key in seen:
            continue
        seen.add(key)
        if section and event.kind == "repair" and rng.random() < 0.5:
            _write_patch(life, section, event, start_day, book)
        book.add(
            "events",
            building=life.plan.houses[event.house].code,
            section=section.code if section else "",
            happened_on=iso_day(start_day + event.step * STEP),
            kind=event.kind,
            layer=1 if event.on_coat else "",
            area_m2=round(event.area_share * section.area, 2) if section and event.area_share > 0 else "",
            note=event.note,
        )
