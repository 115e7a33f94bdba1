"""Changes of instrument on simulated houses, where the true jump is known."""

import numpy as np
import pytest

from inspections.analysis.levels import levels_by_scale
from inspections.analysis.records import YEAR, BuildingRecord, SectionRecord
from inspections.analysis.steps import instrument_steps, remove_steps
from inspections.analysis.trends import season_of, seasonal_kendall
from tests.analysis.houses import joined, readings

CHANGE = 16000.0


def house(seed, sections=6, jump=8.0, rate=0.5, years=8, late=(), unit_after="relative"):
    """A house of which the meter M1 gave way to M2 on ``CHANGE``; in sections ``late`` a year later."""
    random = np.random.default_rng(seed)
    n = years * 4
    time = np.floor(CHANGE + (np.arange(n) - n / 2 + 0.5) / 4 * YEAR)
    weather = 4 * np.cos(2 * np.pi * time / YEAR) + random.normal(0, 1, n)
    records = []
    for number in range(sections):
        new = time >= CHANGE + (YEAR if number in late else 0)
        value = random.uniform(30, 60) + rate * (time - CHANGE) / YEAR + weather + random.normal(0, 2, n)
        value = value + jump * new
        meter = np.where(new, "M2", "M1")
        unit = np.where(new, unit_after, "relative")
        records.append(
            SectionRecord(f"S{number}", readings=readings(time, value, instrument=meter, unit=unit))
        )
    return BuildingRecord("H1", tuple(records))


def test_a_jump_is_found_with_its_error():
    (step,) = instrument_steps(house(1), "surface_moisture")
    assert step.size == pytest.approx(8, abs=3 * step.error)
    assert (step.before, step.after, step.sections) == ("M1", "M2", 6)
    assert 0.3 < step.error < 2
    assert step.method == "step beside season and trend"


def test_coverage_of_the_error():
    """Of 150 houses, 95 % of the jumps lie within two errors: weather that sections share counts once."""
    hits = sum(
        abs(step.size - 8) < 2 * step.error
        for seed in range(150)
        for step in instrument_steps(house(seed), "surface_moisture")
    )
    # Three standard errors of a share of 0.95 in 150 are 0.053.
    assert hits / 150 > 0.95 - 0.053


def test_a_trend_is_not_a_step():
    (step,) = instrument_steps(house(2, jump=0.0, rate=6.0), "surface_moisture")
    assert abs(step.size) < 3 * step.error


def test_a_change_of_scale_is_not_a_step():
    assert instrument_steps(house(3, unit_after="percent_mass"), "surface_moisture") == []


def test_sections_that_changed_later_have_a_step_of_their_own():
    steps = instrument_steps(house(4, late=(4, 5)), "surface_moisture")
    assert [step.sections for step in steps] == [4, 2]
    assert steps[1].time == pytest.approx(steps[0].time + YEAR, abs=50)


def test_the_step_is_taken_out_and_never_passes_for_a_trend():
    building = house(5, jump=20.0, rate=0.0)
    steps = instrument_steps(building, "surface_moisture")
    for section in building.sections:
        level = levels_by_scale(section.readings)["relative"]
        clean = remove_steps(level, steps)
        raw = seasonal_kendall(level.time, level.value, season_of(level.time))
        rate = seasonal_kendall(clean.time, clean.value, season_of(clean.time))
        assert raw.rate_per_year > 2
        assert abs(rate.rate_per_year) < 3 * np.hypot((rate.high - rate.low) / 4, clean.rate_sd)
        # The latest meter is the measure: its readings stand.
        new = level.instrument == "M2"
        assert np.array_equal(clean.value[new], level.value[new])
        assert clean.offset_sd[new].max() == 0
        assert clean.offset_sd[~new] == pytest.approx(np.full((~new).sum(), steps[0].error))


def test_each_section_gets_its_own_step_only():
    building = house(6, late=(4, 5))
    steps = instrument_steps(building, "surface_moisture")
    for number, step in ((0, steps[0]), (5, steps[1])):
        level = levels_by_scale(building.sections[number].readings)["relative"]
        moved = remove_steps(level, steps).value - level.value
        assert moved[level.instrument == "M1"] == pytest.approx(step.size)


def test_too_few_days_leave_an_open_error():
    short = SectionRecord("S0", readings=readings([15000, 15100], [10, 20], instrument=["M1", "M2"]))
    (step,) = instrument_steps(BuildingRecord("H1", (short,)), "surface_moisture")
    assert (step.size, step.error) == (0, np.inf)
    level = remove_steps(levels_by_scale(short.readings)["relative"], [step])
    assert level.rate_sd == np.inf
    assert level.value.tolist() == [10, 20]


def test_unnamed_instruments_make_no_step():
    blank = joined(readings([15000], [10], instrument=""), readings([15100], [20], instrument="M1"))
    building = BuildingRecord("H1", (SectionRecord("S0", readings=blank),))
    assert instrument_steps(building, "surface_moisture") == []


@pytest.mark.parametrize("scale", [0.1, 7.0])
def test_unit_and_time_origin_change_nothing(scale):
    (one,) = instrument_steps(house(8), "surface_moisture")
    moved = [
        SectionRecord(
            section.code,
            readings=readings(
                section.readings.time + 500,
                scale * section.readings.value,
                instrument=section.readings.instrument,
            ),
        )
        for section in reversed(house(8).sections)
    ]
    (other,) = instrument_steps(BuildingRecord("H1", tuple(moved)), "surface_moisture")
    assert (other.size, other.error) == pytest.approx((scale * one.size, scale * one.error), rel=1e-5)
    assert other.time == one.time + 500
