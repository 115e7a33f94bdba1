"""From the true state of a look to what the instruments show, with their errors, ends and steps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.simulation.book import Book

from .climate import STEP, FloatArray
from .kit import HouseKit
from .life import Life
from .plan import SUBSTRATES
from .rounds import INSPECTORS, IntArray, Looks, Moment
from .style import Style
from .water import SORPTION

BoolArray = npt.NDArray[np.bool_]
#: Units of US customary houses, with what turns the canonical value into them.
CUSTOMARY: dict[str, tuple[str, Callable[[FloatArray], FloatArray]]] = {
    "m2": ("ft2", lambda value: value / 0.3048**2),
    "degC": ("degF", lambda value: 1.8 * value + 32),
    "mm": ("in", lambda value: value / 25.4),
    "Bq_per_m3": ("pCi_per_L", lambda value: value / 37),
}
#: Decimals that a unit is written with.
DECIMALS = {"m2": 2, "ft2": 1, "degC": 1, "degF": 1, "mm": 1, "in": 3, "percent_rh": 1, "percent_mass": 2}


@dataclass(frozen=True, slots=True)
class Columns:
    """What every row of readings needs of its look, as plain lists for speed."""

    building: list[str]
    section: list[str]
    taken_at: list[str]
    inspector: list[str]


@dataclass
class Reader:
    """Reads every look of a portfolio into the book."""

    rng: np.random.Generator
    style: Style
    life: Life
    looks: Looks
    moment: Moment
    kits: list[HouseKit]
    book: Book

    def __post_init__(self) -> None:
        plan, looks, rng = self.life.plan, self.looks, self.rng
        n = len(plan.sections)
        seconds = (looks.day * 1440 + looks.minute) * 60
        self.columns = Columns(
            building=[plan.houses[h].code for h in looks.house],
            section=[plan.sections[s].code for s in looks.section],
            taken_at=seconds.astype("datetime64[s]").astype(str).tolist(),
            inspector=[INSPECTORS[i] for i in looks.inspector],
        )
        self.area = np.array([section.area for section in plan.sections])
        self.customary = np.array([house.customary for house in plan.houses])[looks.house]
        first_look = np.zeros(len(looks), dtype=bool)
        first_look[np.unique(looks.visit, return_index=True)[1]] = True
        self.first_look = first_look
        self.bias = rng.normal(0.0, 1.0, len(INSPECTORS))[looks.inspector]
        self.rise = rng.normal(0.35, 0.35, n)  # how much wetter the foot is than the top, per half wall
        self.second = (looks.step / self.life.steps) >= np.array([kit.swap for kit in self.kits])[looks.house]
        self.coat_number = self._coat_numbers()

    def read_all(self) -> None:
        """Every quantity of every kit."""
        self._read_face()
        self._read_deep()
        self._read_in_wall()
        self._read_air()
        self._read_areas()
        self._read_the_rest()
        self._read_house()

    # Helpers -------------------------------------------------------------------------------------

    def _noise(self) -> FloatArray:
        return self.rng.standard_normal(len(self.looks))

    def _per_section(self, values: FloatArray) -> FloatArray:
        return values[self.looks.section]

    def _has(self, quantity: str, chance: float = 1.0) -> BoolArray:
        by_house = np.array([quantity in kit.quantities for kit in self.kits])
        return by_house[self.looks.house] & (self.rng.random(len(self.looks)) < chance)

    def _coat_numbers(self) -> IntArray:
        """Which of its section's coatings each look falls on."""
        starts = [np.array([c.start for c in section.coatings]) for section in self.life.plan.sections]
        return np.array(
            [
                np.searchsorted(starts[s], step, side="right") - 1
                for s, step in zip(self.looks.section.tolist(), self.looks.step.tolist(), strict=True)
            ]
        )

    def _profile(self, height: FloatArray) -> FloatArray:
        """Wetness at a height relative to the wall's mean."""
        top = np.array([section.height_m for section in self.life.plan.sections])[self.looks.section]
        return np.clip(1 + self._per_section(self.rise) * (1 - 2 * height / (1000 * top)), 0.2, 1.9)

    def _write(
        self,
        rows: BoolArray,
        quantity: str,
        value: FloatArray,
        unit: str,
        *,
        qualifier: npt.NDArray[np.str_] | None = None,
        height: FloatArray | None = None,
        depth: FloatArray | None = None,
        instrument: list[str] | None = None,
        replicate: int = 1,
        whole_house: bool = False,
        slips: bool = True,
    ) -> None:
        """Append the looks of ``rows``; values are canonical and turn into the house's units here."""
        index = np.flatnonzero(rows & np.isfinite(value))
        if not len(index):
            return
        marks = np.full(len(rows), "") if qualifier is None else qualifier
        if slips:
            odds = self.rng.random(len(rows))
            value = np.where((odds < self.style.slip_share) & (marks == ""), value * 10, value)
        c = self.columns
        append = self.book.tables["readings"].append
        for customary in (False, True):
            chosen = index[self.customary[index] == customary]
            name, turn = CUSTOMARY.get(unit, (unit, _same)) if customary else (unit, _same)
            shown = np.round(turn(value[chosen]), DECIMALS.get(name, 1)).tolist()
            for i, number in zip(chosen.tolist(), shown, strict=True):
                append(
                    {
                        "building": c.building[i],
                        "section": "" if whole_house else c.section[i],
                        "taken_at": c.taken_at[i],
                        "quantity": quantity,
                        "value": number,
                        "unit": name,
                        "qualifier": str(marks[i]),
                        "height_mm": "" if height is None else int(height[i]),
                        "depth_mm": "" if depth is None else int(depth[i]),
                        "instrument": "" if instrument is None else instrument[i],
                        "inspector": c.inspector[i],
                        "replicate": replicate if replicate > 1 else "",
                    }
                )

    def _write_meter(
        self,
        rows: BoolArray,
        quantity: str,
        relative: FloatArray,
        height: FloatArray,
        depth: FloatArray,
        replicate: int = 1,
    ) -> None:
        """A moisture meter's reading, on the scale and within the range of the one in use that day."""
        for number in (0, 1):
            for h, kit in enumerate(self.kits):
                meter = kit.meters[number]
                mine = rows & (self.looks.house == h) & (self.second == bool(number))
                shown = meter.offset + meter.gain * relative
                shown = np.maximum(np.round(shown / meter.resolution) * meter.resolution, 0.0)
                over = shown >= meter.maximum
                self._write(
                    mine,
                    quantity,
                    np.where(over, meter.maximum, shown),
                    meter.scale,
                    qualifier=np.where(over, ">", ""),
                    height=height,
                    depth=depth,
                    instrument=[meter.code] * len(rows),
                    replicate=replicate,
                )

    def _write_hygrometer(
        self, rows: BoolArray, quantity: str, percent: FloatArray, **place: FloatArray | bool
    ) -> None:
        """A hygrometer's reading: biased, noisy, and at an end where its scale ends."""
        bias = np.array([kit.hygrometer_bias for kit in self.kits])[self.looks.house]
        end = np.array([kit.hygrometer_end for kit in self.kits])[self.looks.house]
        drift = np.array([kit.hygrometer_drift for kit in self.kits])[self.looks.house]
        years = self.looks.step * STEP / 365.25
        shown = percent + bias + drift * years + 1.0 * self._noise()
        over = shown >= end
        codes = [self.kits[h].hygrometer for h in self.looks.house]
        self._write(
            rows,
            quantity,
            np.where(over, end, np.maximum(shown, 5.0)),
            "percent_rh",
            qualifier=np.where(over, ">", ""),
            instrument=codes,
            **place,  # type: ignore[arg-type]
        )

    # Quantities ----------------------------------------------------------------------------------

    def _read_face(self) -> None:
        m, s, rng, n = self.moment, self.style, self.rng, len(self.area)
        substrate = np.array([SUBSTRATES[section.substrate][2] for section in self.life.plan.sections])
        base = np.maximum(rng.normal(32.0, s.meter_offset_sd, n), 10.0)
        gain = substrate * rng.lognormal(0.0, s.meter_gain_sd, n)
        most = int(self.coat_number.max()) + 1
        coat_step = rng.normal(0.0, s.coat_step, (n, most))
        coat_step[:, 0] = 0.0
        swing = s.season_swing * rng.lognormal(0.0, 0.4, n)
        hygroscopic = 9 * np.minimum(m.salt, 2.0) * np.clip((m.room_rh - 60) / 30, 0.0, 1.0)
        common = (
            self._per_section(base)
            + coat_step[self.looks.section, self.coat_number]
            + self._per_section(swing) * m.season
            + s.wander * m.walk
            + s.sweat_signal * m.sweat
            + hygroscopic
            + self.bias
        )
        shows = s.deep_at_face * np.where(m.free > 0, 0.3, 1.0)
        wet = self._per_section(gain)
        repeats = np.array([kit.repeats for kit in self.kits])[self.looks.house]
        creep = self._per_section(s.creep * rng.lognormal(0.0, 0.3, n) * (rng.random(n) < 0.95))
        for position in range(3):
            height = np.array([(*k.heights, -1, -1)[position] for k in self.kits], dtype=float)[
                self.looks.house
            ]
            damp = s.face_signal * np.minimum(m.face, 1.0) + shows * m.fill**2 + creep * m.held
            place = self._per_section(rng.normal(0.0, 2.5, n))
            clean = common + place + wet * damp * self._profile(height)
            rows = self._has("surface_moisture", 0.98) & (height > 0)
            for replicate in (1, 2, 3):
                rows &= repeats >= replicate
                noisy = clean + s.face_noise * (0.5 + np.maximum(clean, 0.0) / 60) * self._noise()
                self._write_meter(rows, "surface_moisture", noisy, height, np.zeros(len(rows)), replicate)

    def _read_deep(self) -> None:
        m, s, rng, n = self.moment, self.style, self.rng, len(self.area)
        base = np.maximum(rng.normal(28.0, s.meter_offset_sd, n), 8.0)
        gain = rng.lognormal(0.0, s.meter_gain_sd, n)
        depth = np.array([float(kit.depth) for kit in self.kits])[self.looks.house]
        for position in range(2):
            height = np.array([(*k.heights, -1, -1)[position] for k in self.kits], dtype=float)[
                self.looks.house
            ]
            clean = (
                self._per_section(base)
                + self._per_section(gain)
                * (s.deep_signal * m.fill + 1.5 * s.creep * m.held)
                * self._profile(height)
                + 0.4 * s.season_swing * m.season
                + self.bias
            )
            noisy = clean + 0.9 * s.face_noise * (0.5 + np.maximum(clean, 0.0) / 60) * self._noise()
            self._write_meter(
                self._has("deep_moisture", 0.9) & (height > 0), "deep_moisture", noisy, height, depth
            )

    def _read_in_wall(self) -> None:
        m, n = self.moment, len(self.area)
        depth = np.array([float(kit.depth) for kit in self.kits])[self.looks.house]
        height = np.full(len(self.looks), 900.0)
        hole = self._per_section(self.rng.normal(0.0, 1.5, n))
        within = 100 * (1 - np.exp(-m.fill * self._profile(height) / SORPTION))
        self._write_hygrometer(
            self._has("in_wall_humidity", 0.92), "in_wall_humidity", within + hole, height=height, depth=depth
        )
        self._write_degrees(self._has("in_wall_temperature", 0.85), "in_wall_temperature", m.wall_t)

    def _write_degrees(
        self, rows: BoolArray, quantity: str, celsius: FloatArray, *, whole_house: bool = False
    ) -> None:
        codes = [self.kits[h].thermometer for h in self.looks.house]
        noisy = celsius + 0.4 * self._noise()
        self._write(rows, quantity, noisy, "degC", instrument=codes, whole_house=whole_house, slips=False)

    def _read_air(self) -> None:
        m = self.moment
        by_section = np.array([kit.air_by_section for kit in self.kits])[self.looks.house]
        for whole_house in (False, True):
            rows = (~by_section & self.first_look) if whole_house else by_section
            self._write_degrees(
                rows & self._has("air_temperature", 0.97),
                "air_temperature",
                m.room_t,
                whole_house=whole_house,
            )
            self._write_hygrometer(
                rows & self._has("air_humidity", 0.97), "air_humidity", m.room_rh, whole_house=whole_house
            )
        self._write_degrees(self._has("surface_temperature", 0.9), "surface_temperature", m.face_t)
        self._write_degrees(
            self.first_look & self._has("outdoor_temperature"),
            "outdoor_temperature",
            m.outdoor_t,
            whole_house=True,
        )
        self._write_hygrometer(
            self.first_look & self._has("outdoor_humidity"),
            "outdoor_humidity",
            m.outdoor_rh,
            whole_house=True,
        )

    def _read_areas(self) -> None:
        m, s = self.moment, self.style
        area = self._per_section(self.area)
        sounded = (m.covered > 0) & (m.free == 0)
        bias = np.exp(0.1 * self.bias)
        hollow = area * m.hollow * bias * np.exp(s.hollow_error * self._noise())
        hollow += s.hollow_floor_m2 * self._noise()
        self._write_area(sounded & self._has("hollow_area", 0.88), "hollow_area", hollow, s.hollow_floor_m2)
        fallen = area * m.lost * np.exp(0.5 * s.hollow_error * self._noise()) + 0.01 * self._noise()
        self._write_area(sounded & self._has("spall_area", 0.95), "spall_area", fallen, 0.01)
        salt = area * m.salt_cover * np.exp(0.3 * self._noise()) + 0.03 * self._noise()
        self._write_area(self._has("salt_area", 0.8), "salt_area", salt, 0.05)

    def _write_area(self, rows: BoolArray, quantity: str, area: FloatArray, seen: float) -> None:
        """An area in m²; below what can be seen it is written as a bound, or as 0, by the book's habit."""
        below = area < seen
        low = max(round(seen, 2), 0.01) if self.style.below_as_bound else 0.0
        marks = np.where(below & self.style.below_as_bound, "<", "")
        self._write(rows, quantity, np.where(below, low, area), "m2", qualifier=marks)

    def _read_the_rest(self) -> None:
        m, rng, n = self.moment, self.rng, len(self.area)
        cracked = self._per_section(np.where(rng.random(n) < 0.25, rng.lognormal(-1.0, 0.6, n), np.nan))
        crack = np.maximum(cracked * (1 + 2 * m.hollow) + 0.05 * self._noise(), 0.05)
        self._write(self._has("crack_width", 0.7), "crack_width", crack, "mm", slips=False)
        open_joint = (m.covered == 0) | (m.lost * self._per_section(self.area) > 0.05)
        soft = np.maximum(np.round(m.soft * np.exp(0.2 * self._noise()) + 1.0 * self._noise()), 0.0)
        self._write(
            open_joint & self._has("mortar_soft_depth", 0.8), "mortar_soft_depth", soft, "mm", slips=False
        )
        has_timber = self._per_section(rng.random(n)) < 0.5
        touches = self._per_section(rng.uniform(2.0, 14.0, n))
        timber = 9 + 0.08 * (m.room_rh - 40) + touches * m.fill + 0.8 * self._noise()
        self._write(has_timber & self._has("timber_moisture", 0.8), "timber_moisture", timber, "percent_wme")
        dust = np.maximum(1.2 * m.salt * np.exp(0.25 * self._noise()), 0.02)
        self._write(
            self._has("hygroscopic_moisture", 0.1), "hygroscopic_moisture", dust, "percent_mass", slips=False
        )

    def _read_house(self) -> None:
        """Radon and the sump, of the house as a whole, once a visit."""
        houses = self.life.plan.houses
        radon = np.array([self.rng.lognormal(4.4, 0.6) if h.has_radon else np.nan for h in houses])
        value = radon[self.looks.house] * np.exp(0.25 * self._noise())
        rare = self.rng.random(len(self.looks)) < 0.4
        self._write(self.first_look & rare, "radon", value, "Bq_per_m3", whole_house=True, slips=False)
        sump = np.array([h.has_sump for h in houses])[self.looks.house]
        wet = self.life.climate.wet[self.looks.step, self.looks.section]
        starts = self.rng.poisson(8 * np.maximum(wet, 0.0)).astype(float)
        self._write(self.first_look & sump, "sump_starts", starts, "per_day", whole_house=True, slips=False)


def _same(value: FloatArray) -> FloatArray:
    return value
