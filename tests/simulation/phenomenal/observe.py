"""From hidden paths to the rows of a visit: curves, nuisances, meters, people, rounding and slips."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import YEAR, FloatArray
from tests.simulation.book import Book
from tests.simulation.phenomenal.house import House, Meter
from tests.simulation.phenomenal.latent import Latent
from tests.simulation.phenomenal.regimes import History, coat_at

#: What a full wetting adds to a moisture meter, as a share of its scale.
SPAN = 0.42

#: Chance that the point of a moisture reading slips by one place.
SLIP = 0.001

#: Days in which a leaking wall forgets a rain.
RAIN_MEMORY = 14.0

DEEP_MM, IN_WALL_MM = 100, 60


@dataclass(frozen=True, slots=True)
class Wall:
    """How this stretch of wall looks to a meter: offsets in shares of the scale, the rest of a wetting."""

    face_offset: float
    deep_offset: float
    face_gain_dense: float
    face_gain_open: float
    deep_gain: float
    leak_gain: float
    face_season: float
    deep_season: float
    phase: float
    salts: float
    creep: float
    creep_start: float
    rain: float
    foot: float
    humidity_offset: float
    humidity_season: float
    noise: float
    profile: tuple[float, float]
    area_m2: float
    deep_height: int


def draw_wall(rng: np.random.Generator, house: House, area_m2: float) -> Wall:
    """The wall's own level is drawn wider than what water adds, so that no level means anything by itself."""
    creeps = rng.random() < 0.04
    return Wall(
        face_offset=float(np.clip(rng.normal(0.27, 0.14), 0.04, 0.7)),
        deep_offset=float(np.clip(rng.normal(0.27, 0.14), 0.04, 0.7)),
        face_gain_dense=rng.uniform(0.38, 0.8),
        face_gain_open=rng.uniform(0.7, 1.1),
        deep_gain=rng.uniform(0.5, 1.0),
        leak_gain=rng.uniform(0.8, 1.5),
        face_season=rng.lognormal(np.log(0.78), 0.2),
        deep_season=rng.lognormal(np.log(0.09), 0.5),
        phase=rng.normal(0.6, 0.12),
        salts=rng.uniform(0.05, 0.15) if rng.random() < 0.1 else 0.0,
        creep=rng.uniform(0.02, 0.06) if creeps else 0.0,
        creep_start=rng.uniform(house.visits[0], house.visits[len(house.visits) // 2]),
        rain=rng.uniform(0, 0.03),
        foot=rng.uniform(0, 0.25) if rng.random() < 0.5 else 0.0,
        humidity_offset=rng.normal(0, 0.9),
        humidity_season=rng.lognormal(np.log(2.5), 0.4),
        noise=house.noise * rng.lognormal(0, 0.25),
        profile=(rng.normal(-0.12, 0.15), rng.normal(-0.1, 0.1)),
        area_m2=area_m2,
        deep_height=int(rng.choice([300, 600, 900])),
    )


@dataclass(slots=True)
class Round:
    """The latent state of one section at each visit, and where its rows go."""

    house: House
    section: str
    wall: Wall
    book: Book
    rng: np.random.Generator
    stamp: list[str]
    state: dict[str, FloatArray]
    dense: np.ndarray
    coated: np.ndarray

    def seen(self) -> np.ndarray:
        """The visits at which a quantity wasn't left out."""
        return np.flatnonzero(self.rng.random(len(self.stamp)) >= self.house.missing)

    def write(self, visit: int, quantity: str, value: object, unit: str, **more: object) -> None:
        """One row of ``readings``."""
        house = self.house
        inspector = house.inspectors[house.inspector_of_visit[visit]].name
        row = {"section": self.section, "inspector": inspector, **more}
        self.book.add(
            "readings",
            building=house.code,
            taken_at=self.stamp[visit],
            quantity=quantity,
            value=value,
            unit=unit,
            **row,
        )


def time_stamps(visits: FloatArray) -> list[str]:
    """Local wall-clock times of visits, to the minute."""
    minutes = np.round(visits * 1440).astype("int64").astype("datetime64[m]")
    return [f"{minute}:00" for minute in minutes]


def observe_section(
    rng: np.random.Generator,
    house: House,
    section: str,
    wall: Wall,
    history: History,
    latent: Latent,
    book: Book,
) -> None:
    """Write every reading of one section."""
    round_ = _round(rng, house, section, wall, history, latent, book)
    _moisture(round_, "surface_moisture", house.surface_meters, house.heights_mm, "", _face(round_))
    if "deep_moisture" in house.kit:
        _moisture(round_, "deep_moisture", house.deep_meters, (wall.deep_height,), DEEP_MM, _deep(round_))
    if "in_wall_humidity" in house.kit:
        _in_wall_humidity(round_)
    if "hygroscopic_moisture" in house.kit:
        _hygroscopic(round_)
    _areas(round_)
    _soft_mortar(round_, history)
    if "surface_temperature" in house.kit:
        reading = round_.state["surface_temperature"] + rng.normal(0, 0.5, len(round_.stamp))
        _temperature(round_, "surface_temperature", reading, height_mm=house.heights_mm[0])
    if house.air_on_section:
        observe_air(round_)


def observe_house(rng: np.random.Generator, house: House, book: Book) -> None:
    """Write what is read of the house as a whole: section empty."""
    round_ = _empty_round(rng, house, "", book)
    if not house.air_on_section:
        observe_air(round_)
    for quantity in ("outdoor_temperature", "outdoor_humidity"):
        if quantity in house.kit:
            path = house.at(getattr(house.climate, quantity), house.visits)
            noisy = path + rng.normal(0, 1.0, len(path))
            if quantity == "outdoor_temperature":
                _temperature(round_, quantity, noisy)
            else:
                _humidity(round_, quantity, noisy)


def observe_air(round_: Round) -> None:
    """Room air; read on the section where the house does so."""
    house, rng = round_.house, round_.rng
    temperature = house.at(house.climate.room_temperature, house.visits)
    _temperature(round_, "air_temperature", temperature + rng.normal(0, 0.5, len(temperature)))
    humidity = house.at(house.climate.room_humidity, house.visits) + house.hygrometer.offset
    _humidity(round_, "air_humidity", humidity + 1.5 * rng.standard_t(5, len(humidity)))


def _empty_round(rng: np.random.Generator, house: House, section: str, book: Book) -> Round:
    wall = draw_wall(rng, house, 1.0)
    none = np.zeros(0)
    return Round(house, section, wall, book, rng, time_stamps(house.visits), {}, none, none)


def _round(
    rng: np.random.Generator,
    house: House,
    section: str,
    wall: Wall,
    history: History,
    latent: Latent,
    book: Book,
) -> Round:
    days = house.visits
    names = ("held", "leak", "drying", "sweat", "surface_temperature", "hollow", "fallen", "soft_mm")
    state = {name: house.at(getattr(latent, name), days) for name in names}
    coats = [coat_at(history, day) for day in days]
    return Round(
        house,
        section,
        wall,
        book,
        rng,
        time_stamps(days),
        state,
        dense=np.array([coat is not None and coat.system.dense for coat in coats]),
        coated=np.array([coat is not None for coat in coats]),
    )


# Curves: the mean of each moisture quantity at each visit, in shares of a wetting ------------------------


def _face(round_: Round) -> FloatArray:
    wall, state, house = round_.wall, round_.state, round_.house
    gain = np.where(round_.dense, wall.face_gain_dense, wall.face_gain_open)
    years = np.maximum(house.visits - wall.creep_start, 0) / YEAR
    room = house.at(house.climate.room_humidity, house.visits)
    return (
        gain * state["held"]
        + wall.leak_gain * state["leak"] * (0.8 + 0.4 * _rain(round_))
        + 0.6 * state["drying"]
        + 0.8 * state["sweat"]
        + wall.salts * np.maximum(room - 50, 0) / 20
        + wall.creep * years
        + wall.rain * _rain(round_)
        + gain * wall.face_season * (1 - 0.3 * state["held"]) * _season(round_)
    )


def _deep(round_: Round) -> FloatArray:
    wall, state = round_.wall, round_.state
    return (
        wall.deep_gain * state["held"]
        + 0.5 * state["leak"]
        + 0.5 * state["drying"]
        + wall.deep_season * (1 - 0.6 * state["held"]) * _season(round_, 0.12)
    )


def _season(round_: Round, lag: float = 0.0) -> FloatArray:
    return np.cos(2 * np.pi * (round_.house.visits / YEAR - round_.wall.phase - lag))


def _rain(round_: Round) -> FloatArray:
    """What is left of past rain at each visit; 1 just after a single heavy one."""
    since = round_.house.visits[:, None] - round_.house.climate.rain_days[None, :]
    return np.where(since >= 0, np.exp(-np.maximum(since, 0) / RAIN_MEMORY), 0).sum(axis=1)


# Meters ------------------------


def _moisture(
    round_: Round,
    quantity: str,
    meters: tuple[Meter, ...],
    heights: tuple[int, ...],
    depth: int | str,
    mean: FloatArray,
) -> None:
    """Rows of a moisture meter: height profile, lean, drift, heavy tails, scale ends, rounding and slips."""
    house, wall, rng = round_.house, round_.wall, round_.rng
    offset = wall.face_offset if quantity == "surface_moisture" else wall.deep_offset
    which = np.searchsorted([meter.first_day for meter in meters], house.visits, side="right") - 1
    lean = np.array([person.lean for person in house.inspectors])[house.inspector_of_visit]
    shared = wall.noise * 0.35 * rng.standard_t(4, len(house.visits))
    own_level = rng.normal(0, 0.05, len(heights))
    sealed = np.clip((house.visits - house.climate.floor_sealed) / YEAR, 0, 1)
    for place, height in enumerate(heights):
        at_foot = wall.foot * sealed if place == 0 and quantity == "surface_moisture" else 0 * sealed
        step = place - (len(heights) - 1) / 2
        shape = 1 + step * wall.profile[0]
        level = offset + lean + shared + own_level[place] + step * wall.profile[1]
        for visit in round_.seen():
            meter = meters[which[visit]]
            steady = level[visit] * meter.maximum + meter.offset + house.at(meter.drift, house.visits[visit])
            exact = steady + SPAN * (shape * mean[visit] + at_foot[visit]) * meter.gain
            for replicate in range(1, house.replicates + 1):
                noisy = exact + meter.maximum * wall.noise * 0.8 * rng.standard_t(4)
                value, qualifier = _as_read(noisy, meter)
                if rng.random() < SLIP:
                    value, qualifier = value * (10.0 if rng.random() < 0.5 else 0.1), ""
                round_.write(
                    visit,
                    quantity,
                    round(value, 2),
                    meter.scale,
                    qualifier=qualifier,
                    height_mm=height,
                    depth_mm=depth,
                    instrument=meter.code,
                    replicate=replicate if house.replicates > 1 else "",
                )


def _as_read(exact: float, meter: Meter) -> tuple[float, str]:
    """The number on the display, and ``>`` or ``<`` where the scale ended."""
    if exact >= meter.maximum:
        return meter.maximum, ">"
    if exact <= 0:
        return 0.0, "<"
    return float(round(exact / meter.resolution) * meter.resolution), ""


def _in_wall_humidity(round_: Round) -> None:
    """A logistic curve of all the water in the wall; the probe ends at 98 %."""
    wall, state, rng = round_.wall, round_.state, round_.rng
    water = state["held"] + 0.5 * state["leak"] + 0.7 * state["drying"]
    curve = 62 + 38 / (1 + np.exp(-(7 * (water - 0.33) + wall.humidity_offset)))
    values = curve + wall.humidity_season * _season(round_, 0.1) + 1.6 * rng.standard_t(4, len(water))
    _humidity(round_, "in_wall_humidity", values, height_mm=wall.deep_height, depth_mm=IN_WALL_MM)


def _humidity(round_: Round, quantity: str, values: FloatArray, **place: object) -> None:
    meter = round_.house.hygrometer
    for visit in round_.seen():
        value, qualifier = _as_read(float(values[visit]), meter)
        round_.write(
            visit,
            quantity,
            round(value, 1),
            "percent_rh",
            qualifier=qualifier,
            instrument=meter.code,
            **place,
        )


def _temperature(round_: Round, quantity: str, values: FloatArray, **place: object) -> None:
    for visit in round_.seen():
        value = float(values[visit])
        if round_.house.imperial:
            round_.write(visit, quantity, round(1.8 * value + 32, 1), "degF", **place)
        else:
            round_.write(visit, quantity, round(value, 1), "degC", **place)


def _hygroscopic(round_: Round) -> None:
    """Drilled dust at 75 % RH, a few times in a record: what salts hold."""
    rng, level = round_.rng, 0.4 + 9 * round_.wall.salts
    for visit in np.flatnonzero(rng.random(len(round_.stamp)) < 0.12):
        value = level * rng.lognormal(0, 0.3)
        place = {"height_mm": round_.wall.deep_height, "depth_mm": 20}
        round_.write(int(visit), "hygroscopic_moisture", round(value, 2), "percent_mass", **place)


# Areas ------------------------


def _areas(round_: Round) -> None:
    state, wall, kit = round_.state, round_.wall, round_.house.kit
    _area(round_, "spall_area", state["fallen"] * wall.area_m2, 0.12)
    if "hollow_area" in kit:
        _area(round_, "hollow_area", state["hollow"] * wall.area_m2, 0.22)
    if "salt_area" in kit:
        wet = np.maximum(state["leak"], 0.6 * state["drying"]) + 0.25 * state["held"]
        salts = wall.area_m2 * (0.08 * wet * np.where(round_.dense, 0.3, 1.0) + 0.25 * wall.salts)
        _area(round_, "salt_area", salts * round_.rng.lognormal(-0.3, 0.7, len(wet)), 0.3)


def _area(round_: Round, quantity: str, true_m2: FloatArray, spread: float) -> None:
    """An outline drawn and measured; under the limit it is passed over, as 0 or as less than the limit."""
    house, rng = round_.house, round_.rng
    thorough = np.array([person.thoroughness for person in house.inspectors])[house.inspector_of_visit]
    for visit in round_.seen():
        if not round_.coated[visit]:
            continue
        area = true_m2[visit] * thorough[visit] * rng.lognormal(0, spread)
        value, qualifier = round(area / house.area_step) * house.area_step, ""
        if area < house.area_limit:
            value, qualifier = (0.0, "") if rng.random() < 0.7 else (house.area_limit, "<")
        if house.imperial:
            round_.write(visit, quantity, round(value / 0.3048**2, 2), "ft2", qualifier=qualifier)
        else:
            round_.write(visit, quantity, round(value, 2), "m2", qualifier=qualifier)


def _soft_mortar(round_: Round, history: History) -> None:
    """Probed at the first visit after a coat is off."""
    for day, kind in history.events:
        after = np.flatnonzero(round_.house.visits >= day)
        if kind == "opening" and len(after):
            visit = int(after[0])
            depth = max(round_.state["soft_mm"][visit] + round_.rng.normal(0, 1.0), 0)
            round_.write(visit, "mortar_soft_depth", round(depth), "mm", height_mm=round_.wall.deep_height)
