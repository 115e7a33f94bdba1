"""A whole portfolio: houses, sections, coats, events, readings, and the truth beside them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from inspections.analysis.records import YEAR
from tests.simulation.book import Book, iso_day
from tests.simulation.phenomenal.coats import Layer
from tests.simulation.phenomenal.house import House, draw_house
from tests.simulation.phenomenal.latent import Latent, draw_latent
from tests.simulation.phenomenal.observe import draw_wall, observe_house, observe_section
from tests.simulation.phenomenal.regimes import CoatSpell, History, draw_history
from tests.simulation.phenomenal.truth import end_of_record, truth_rows

#: Marks this generator's stream of random numbers apart from any other's with the same seed.
STREAM = 77_013

SUBSTRATES = ("rubble_stone", "coursed_stone", "brick", "mixed", "unknown", "concrete_block")
MORTARS = ("lime", "clay", "natural_cement", "cement_lime", "unknown")


def simulate(
    seed: int, *, houses: int = 12, years: float = 12, truth_days: Sequence[int] | None = None
) -> Book:
    """A book of ``houses`` houses of three to seven sections, each followed for about ``years`` (6 to 15).

    The same arguments give the same book, and a house doesn't depend on how many follow it. ``truth_days``
    asks for the truth on other days than its own (days since 1970-01-01); the record is the same.
    """
    book = Book()
    for number in range(houses):
        rng = np.random.default_rng([STREAM, seed, number])
        house = draw_house(rng, f"P{seed % 100_000:05d}-{number + 1:02d}", years)
        _add_house(book, house)
        for index in range(int(rng.integers(3, 8))):
            _add_section(rng, book, house, f"S{index + 1:02d}", truth_days)
        observe_house(rng, house, book)
    return book


def _add_house(book: Book, house: House) -> None:
    number = house.code.rsplit("-", 1)[1]
    book.add(
        "buildings",
        code=house.code,
        name=f"Invented house {number}",
        street=f"{int(number)} Quern Row",
        locality="Quarrow Mills (invented)",
        timezone=house.timezone,
        country="US" if house.timezone.startswith("America") else "",
        year_built=house.year_built,
    )
    for meter in (*house.surface_meters, *house.deep_meters, house.hygrometer):
        book.add(
            "instruments",
            code=meter.code,
            kind=meter.kind,
            scale=meter.scale,
            minimum=0,
            maximum=meter.maximum,
            resolution=meter.resolution,
            repeatability="",
        )
    for kind, day, note in _house_events(house):
        book.add("events", building=house.code, section="", happened_on=iso_day(day), kind=kind, note=note)


def _house_events(house: House) -> list[tuple[str, float, str]]:
    """What befell the whole house while it was looked after; of the heavy rains every fifth is noted."""
    air = house.climate
    happened = [("flood", air.flood_day, ""), ("other", air.floor_sealed, "Floor sealed.")]
    happened += [("heavy_rain", float(day), "") for day in air.rain_days[::5]]
    first, last = house.visits[0], end_of_record(house.visits)
    return [event for event in happened if first <= event[1] < last]


def _add_section(
    rng: np.random.Generator, book: Book, house: House, code: str, truth_days: Sequence[int] | None
) -> None:
    history = draw_history(rng, house)
    latent = draw_latent(rng, house, history)
    length, height = round(rng.uniform(1.5, 6.0), 1), round(rng.uniform(1.8, 2.4), 2)
    wall = draw_wall(rng, house, length * height)
    book.add(
        "sections",
        building=house.code,
        code=code,
        wall=str(rng.choice(["north", "east", "south", "west"])),
        start_m=round(rng.uniform(0, 6), 1),
        length_m=length,
        height_m=height,
        below_grade_m=round(rng.uniform(0.2, 1) * height, 2) if history.adjoins != "interior" else 0,
        substrate=str(rng.choice(SUBSTRATES, p=[0.35, 0.15, 0.3, 0.1, 0.05, 0.05])),
        bedding_mortar=str(rng.choice(MORTARS, p=[0.6, 0.1, 0.1, 0.1, 0.1])),
        adjoins=history.adjoins,
        beyond=str(rng.choice(["heated", "unheated", "vacant", "unknown"]))
        if history.adjoins == "party_wall"
        else "",
    )
    for coat in history.coats:
        _add_coat(rng, book, house, code, coat, wall.area_m2)
    _add_events(rng, book, house, code, history, latent, wall.area_m2)
    observe_section(rng, house, code, wall, history, latent, book)
    book.truth.extend(truth_rows(house, code, history, latent, truth_days))


def _add_coat(
    rng: np.random.Generator,
    book: Book,
    house: House,
    section: str,
    coat: CoatSpell,
    area: float,
) -> None:
    """The rows of one coat system; one that is painted over stays on until the paint comes off."""
    last = end_of_record(house.visits)
    if coat.start >= last:
        return
    removed = iso_day(coat.off) if coat.off < last else ""
    for number, layer in enumerate(coat.system.layers, coat.first_layer):
        given = rng.random()
        book.add(
            "treatments",
            building=house.code,
            section=section,
            layer=number,
            kind=layer.type.kind,
            binder=_binder(rng, layer, coat.found),
            mix=layer.mix if not coat.found else "",
            thickness_mm=layer.thickness_mm if rng.random() < 0.8 else "",
            applied_on=iso_day(coat.start),
            removed_on=removed,
            removal_reason=coat.reason if removed else "",
            mu=round(layer.sd_m / (layer.thickness_mm / 1000), 1) if given < 0.2 else "",
            sd_m=round(layer.sd_m, 3) if 0.2 <= given < 0.35 else "",
            applied_earliest=iso_day(coat.start - rng.uniform(1, 8) * YEAR)
            if coat.found and rng.random() < 0.4
            else "",
            found="yes" if coat.found else "",
            face="room",
            area_m2=round(area, 2) if rng.random() < 0.3 else "",
            purpose="permanent",
            drains_to=layer.drains_to,
            strength_mpa=round(layer.strength_mpa, 1)
            if rng.random() < 0.2 and layer.strength_mpa > 0
            else "",
        )


def _binder(rng: np.random.Generator, layer: Layer, found: bool) -> str:
    return "unknown" if found and rng.random() < 0.06 else layer.binder


def _add_events(
    rng: np.random.Generator,
    book: Book,
    house: House,
    section: str,
    history: History,
    latent: Latent,
    area: float,
) -> None:
    """What was noted of the wall; some is forgotten, and sources are checked now and then."""
    last = end_of_record(house.visits)
    happened = [(day, kind) for day, kind in history.events if kind == "repair" or rng.random() < 0.85]
    if rng.random() < 0.3:
        happened.append((float(rng.uniform(house.visits[0], last)), "source_check"))
    for day, kind in happened:
        if day >= last or kind == "flood":
            continue
        before = max(int(np.searchsorted(house.grid, day)) - 1, 0)
        mended = area * float(latent.hollow[before] + latent.fallen[before])
        book.add(
            "events",
            building=house.code,
            section=section,
            happened_on=iso_day(day),
            kind=kind,
            area_m2=round(mended, 2) if kind == "repair" else "",
        )
