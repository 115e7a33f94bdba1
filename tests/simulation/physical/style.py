"""How one invented portfolio is built, supplied, looked after and read: one draw of wide ranges.

The ranges are the author's, from memory and common practice unless a source is named; they are wide on
purpose, since what is calibrated here must hold on walls that no one has simulated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Style:
    """One portfolio's habits. Shares are probabilities; moisture-meter figures are in scale units of 100."""

    first_year: int
    #: Full years of record before the truth is first asked for, and the day of the year of each asking.
    first_asked: int
    asked_month: int
    asked_day: int
    #: The supply of liquid water to a soil wall, median in g/m² a day, and its spread (sd of the log).
    supply_g: float
    supply_spread: float
    #: Share of coat systems that pass little (cement, oil paint, bitumen, sheets).
    dense_share: float
    #: Share of densely coated soil walls that were full of water before they were closed.
    sealed_wet_share: float
    #: New leaks per section and year; the chance that a leak seen at a visit is mended within the year.
    leak_rate: float
    mend_chance: float
    #: Share of sections whose coat wears or loosens on a dry wall.
    wear_share: float
    #: Chance of a flood per house and year.
    flood_rate: float
    unheated_share: float
    #: Median new loosening on a full wall, share of the area a year.
    debond_rate: float
    salt_scale: float
    #: Between walls: sd of the face meter's offset, sd of the log of its gain.
    meter_offset_sd: float
    meter_gain_sd: float
    #: How many units of a full wall's deep water show at the face, through a dense coat.
    deep_at_face: float
    #: Units of a fully wet face, and of one that sweats.
    face_signal: float
    sweat_signal: float
    season_swing: float
    face_noise: float
    #: Sd of a slow random walk of the face reading that has nothing to do with water, units per root year.
    wander: float
    deep_signal: float
    hollow_error: float
    hollow_floor_m2: float
    slip_share: float
    swap_share: float
    new_scale_share: float
    #: Sd of the offset of a new meter, and of that which a new coat brings.
    meter_step: float
    coat_step: float
    #: Chance per half-year that a coat of which much has come loose is patched or stripped.
    recoat_rate: float
    #: Units a year by which salts behind a tight coat on a full wall raise what a meter shows.
    creep: float
    #: Shares of houses gone round once, and three or four times a year; the rest twice.
    #: Day of the year of the first round, and the share of houses whose face meter peaks in summer.
    first_round: float
    summer_peak_share: float
    yearly_share: float
    often_share: float
    visit_jitter_days: float
    missed_share: float
    #: Weights of the four kits, from the least to the full.
    kits: tuple[float, float, float, float]
    #: Share of houses with US customary units.
    customary_share: float
    #: Whether an area below what can be seen is written ``<`` rather than 0.
    below_as_bound: bool
    #: Share of coats whose measured resistance is in the record; share with a known thickness.
    sd_known: float
    thickness_known: float
    found_share: float


def draw_style(rng: np.random.Generator) -> Style:
    """One portfolio's habits."""

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    def about(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    return Style(
        first_year=int(rng.integers(2006, 2014)),
        first_asked=int(rng.integers(4, 7)),
        asked_month=int(rng.integers(1, 13)),
        asked_day=int(rng.integers(1, 29)),
        supply_g=about(6.0, 11.0),
        supply_spread=between(0.4, 0.8),
        dense_share=between(0.25, 0.5),
        sealed_wet_share=between(0.03, 0.15),
        leak_rate=about(0.0004, 0.02),
        mend_chance=between(0.1, 0.5),
        wear_share=between(0.08, 0.25),
        flood_rate=about(0.0005, 0.03),
        unheated_share=between(0.15, 0.5),
        debond_rate=about(0.02, 0.07),
        salt_scale=about(0.1, 0.4),
        meter_offset_sd=between(5.0, 12.0),
        meter_gain_sd=between(0.1, 0.35),
        deep_at_face=about(8.0, 20.0),
        face_signal=between(20.0, 45.0),
        sweat_signal=between(4.0, 12.0),
        season_swing=about(7.0, 18.0),
        face_noise=between(0.7, 2.8),
        wander=about(0.05, 0.25),
        deep_signal=between(20.0, 50.0),
        hollow_error=between(0.12, 0.3),
        hollow_floor_m2=between(0.02, 0.05),
        slip_share=about(0.0003, 0.003),
        swap_share=between(0.1, 0.35),
        new_scale_share=between(0.1, 0.4),
        meter_step=between(0.5, 3.0),
        coat_step=between(0.3, 1.5),
        creep=between(0.8, 2.0),
        recoat_rate=about(0.04, 0.2),
        first_round=between(35.0, 85.0),
        summer_peak_share=between(0.1, 0.5),
        yearly_share=between(0.0, 0.2),
        often_share=between(0.0, 0.2),
        visit_jitter_days=between(6.0, 25.0),
        missed_share=between(0.02, 0.15),
        kits=tuple(rng.dirichlet([3.0, 3.0, 3.0, 4.0]).tolist()),  # type: ignore[arg-type]
        customary_share=between(0.0, 1.0),
        below_as_bound=bool(rng.random() < 0.5),
        sd_known=between(0.1, 0.6),
        thickness_known=between(0.5, 1.0),
        found_share=between(0.2, 0.6),
    )
