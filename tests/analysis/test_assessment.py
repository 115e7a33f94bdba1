"""The whole way from a house's record to its assessments, on simulated walls and on walls made by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from inspections.analysis import statements
from inspections.analysis.assessment import assess_building, assess_buildings, judge
from inspections.analysis.features import GROUPS, READ_GROUPS
from inspections.analysis.records import (
    READING_FIELDS,
    BuildingRecord,
    Coat,
    Readings,
    SectionRecord,
    no_readings,
    readings_from_columns,
)
from inspections.analysis.results import HYPOTHESES, INSUFFICIENT, SectionAssessment
from tests.analysis.houses import joined, readings
from tests.simulation import blind, chance, phenomenal, physical
from tests.simulation.book import to_records
from tests.simulation.physical import simulate

AS_OF = dt.date(2016, 6, 1)


@cache
def houses() -> tuple[BuildingRecord, ...]:
    return tuple(to_records(simulate(5, houses=4, years=12)))


def assessed(record: BuildingRecord, as_of: dt.date = AS_OF) -> list[SectionAssessment]:
    return assess_building(record, as_of)


def shuffled(record: Readings, rng: np.random.Generator) -> Readings:
    order = rng.permutation(len(record))
    return readings_from_columns({name: getattr(record, name)[order] for name in READING_FIELDS})


@pytest.fixture(params=range(4))
def house(request: pytest.FixtureRequest) -> BuildingRecord:
    return houses()[request.param]


def test_probabilities_and_log_odds_add_up(house: BuildingRecord) -> None:
    for result in assessed(house):
        assert set(result.probability) == set(HYPOTHESES)
        assert sum(result.probability.values()) == pytest.approx(1, abs=1e-12)
        named = result.verdict
        if named == INSUFFICIENT:
            named = max(HYPOTHESES, key=lambda name: result.probability[name])
        total = np.log(result.probability[named] / result.probability[result.log_odds.against])
        assert result.log_odds.total == pytest.approx(total, abs=1e-9)
        added = result.log_odds.prior + sum(item.weight for item in result.evidence)
        assert added == pytest.approx(result.log_odds.total, abs=1e-9)


def test_evidence_comes_strongest_first_and_in_words(house: BuildingRecord) -> None:
    for result in assessed(house):
        weights = [abs(item.weight) for item in result.evidence]
        assert weights == sorted(weights, reverse=True)
        assert all(item.statement.endswith(".") and "nan" not in item.statement for item in result.evidence)


def test_a_sentence_gives_the_same_rate_as_the_table(house: BuildingRecord) -> None:
    said = 0
    for result in assessed(house):
        for item in result.evidence:
            trend = result.trends.get(item.quantity)
            if " a year" not in item.statement or trend is None or trend.low is None or trend.high is None:
                continue
            if item.quantity not in {"surface_moisture", "deep_moisture"}:
                continue
            said += 1
            ends = sorted((abs(trend.low), abs(trend.high)))
            moved = trend.low > 0 or trend.high < 0
            form = "{:.2g} to {:.2g}".format(*ends) if moved else f"{trend.low:+.2g} to {trend.high:+.2g}"
            assert form in item.statement
    assert said > 3


def test_a_replay_uses_nothing_that_came_later(house: BuildingRecord) -> None:
    day = float((AS_OF - dt.date(1970, 1, 1)).days)
    assert assessed(house) == assessed(house.until(day))


def test_nothing_depends_on_the_order_of_rows(house: BuildingRecord) -> None:
    rng = np.random.default_rng(3)
    sections = tuple(
        replace(section, readings=shuffled(section.readings, rng), coats=section.coats[::-1])
        for section in house.sections
    )
    other = replace(house, sections=sections, readings=shuffled(house.readings, rng))
    for one, two in zip(assessed(house), assessed(other), strict=True):
        assert one.verdict == two.verdict
        assert one.probability == pytest.approx(two.probability, abs=1e-6)


def test_nothing_depends_on_the_codes_of_sections(house: BuildingRecord) -> None:
    renamed = tuple(replace(section, code=f"Z{i}") for i, section in enumerate(house.sections))
    for one, two in zip(assessed(house), assessed(replace(house, sections=renamed)), strict=True):
        assert two.probability == pytest.approx(one.probability, abs=1e-9)


def test_nothing_depends_on_the_meter_s_zero_and_gain(house: BuildingRecord) -> None:
    """A meter's number is relative: another zero and gain of the same meter change no verdict's ground.

    Only the place within the instrument's range may count, so the range moves with the readings. Slips are
    told by ratios, which a new zero changes: the gain alone is changed here.
    """
    gain = 2.5

    def scaled(record: Readings) -> Readings:
        ours = record.unit == "relative"
        return replace(
            record,
            value=np.where(ours, record.value * gain, record.value),
            low=np.where(ours, record.low * gain, record.low),
            high=np.where(ours, record.high * gain, record.high),
        )

    instruments = {
        code: replace(
            item, minimum=item.minimum * gain, maximum=item.maximum * gain, resolution=item.resolution * gain
        )
        if item.scale == "relative"
        else item
        for code, item in house.instruments.items()
    }
    sections = tuple(replace(section, readings=scaled(section.readings)) for section in house.sections)
    other = replace(house, sections=sections, instruments=instruments)
    for one, two in zip(assessed(house), assessed(other), strict=True):
        assert two.probability == pytest.approx(one.probability, abs=1e-6)


def test_the_time_origin_changes_nothing(house: BuildingRecord) -> None:
    """Four hundred years are a whole number of days and of weeks, and of seasons."""
    cycle = 146_097.0

    def later(record: Readings) -> Readings:
        return replace(record, time=record.time + cycle)

    sections = tuple(
        replace(
            section,
            readings=later(section.readings),
            coats=tuple(
                replace(coat, applied=coat.applied + cycle, removed=coat.removed + cycle)
                for coat in section.coats
            ),
            events=tuple(replace(event, time=event.time + cycle) for event in section.events),
        )
        for section in house.sections
    )
    other = replace(
        house,
        sections=sections,
        readings=later(house.readings),
        events=tuple(replace(event, time=event.time + cycle) for event in house.events),
    )
    moved = assess_building(other, AS_OF.replace(year=AS_OF.year + 400))
    for one, two in zip(assessed(house), moved, strict=True):
        assert two.probability == pytest.approx(one.probability, abs=1e-6)


def test_the_poorer_the_kit_the_less_certain() -> None:
    """On average over the walls of three makes whose depth was read: of one wall it may be the other way."""
    day = float((AS_OF - dt.date(1970, 1, 1)).days)

    def surest(record: BuildingRecord) -> list[float]:
        judged = judge(record, day)[1]
        return [max(own.posterior.probability.values()) for own in judged if own.section.code in deep]

    least = ["surface_moisture", "air_humidity", "air_temperature", "spall_area"]
    full, poor = [], []
    for make in (physical, blind, chance):
        for house in to_records(make.simulate(5, houses=8)):
            known = house.until(day)
            deep = [one.code for one in known.sections if "deep_moisture" in one.readings.quantity]
            sections = tuple(
                replace(one, readings=one.readings.where(np.isin(one.readings.quantity, least)))
                for one in known.sections
            )
            full += surest(known)
            poor += surest(replace(known, sections=sections))
    assert len(full) > 40
    assert np.mean(poor) < np.mean(full) - 0.02


# Walls made by hand -------------------------------------------------------------------------------------


DAYS = np.arange(12_800.0, 16_800.0, 182.0)
HAND_AS_OF = dt.date(1970, 1, 1) + dt.timedelta(days=16_900)


def hand_made(deep_rise: float, *, coat: Coat, hollow: float) -> BuildingRecord:
    """A house of three quiet walls and one, ``W0``, whose deep readings rise and whose coat sounds hollow."""
    rng = np.random.default_rng(8)
    season = 4 * np.cos(2 * np.pi * DAYS / 365.2425)
    years = (DAYS - DAYS[0]) / 365.2425

    def wall(code: str, rise: float, area: float) -> SectionRecord:
        noise = rng.normal(0, 1, (2, len(DAYS)))
        own = joined(
            readings(DAYS, 30 + season + noise[0], instrument="M"),
            readings(
                DAYS, 35 + rise * years + noise[1], quantity="deep_moisture", depth_mm=80, instrument="M"
            ),
            readings(DAYS, area * years, quantity="hollow_area", unit="m2", instrument=""),
            readings(DAYS, 0 * years, quantity="spall_area", unit="m2", instrument=""),
            readings(DAYS, 17 + 0 * years, quantity="air_temperature", unit="degC", instrument=""),
            readings(DAYS, 55 + 0 * years, quantity="air_humidity", unit="percent_rh", instrument=""),
        )
        return SectionRecord(
            code,
            length_m=3,
            height_m=2,
            below_grade_m=1.5,
            substrate="rubble_stone",
            bedding_mortar="lime",
            coats=(coat,),
            readings=own,
        )

    walls = [wall("W0", deep_rise, hollow)] + [wall(f"W{i}", 0.0, 0.0) for i in (1, 2, 3)]
    return BuildingRecord("H", tuple(walls))


CEMENT = Coat(layer=1, kind="parge_coat", applied=DAYS[0] - 30, binder="portland_cement", thickness_mm=25)
LIME = replace(CEMENT, binder="NHL 2")


def test_water_held_behind_a_cement_coat_is_called() -> None:
    result = assess_building(hand_made(3.0, coat=CEMENT, hollow=0.08), HAND_AS_OF)[0]
    assert result.verdict == "trapped_water"
    assert result.evidence[0].weight > 0
    assert result.trends["deep_moisture"].low > 0
    assert result.since is not None


def test_a_dense_coat_on_a_dry_wall_is_not() -> None:
    results = assess_building(hand_made(0.0, coat=CEMENT, hollow=0.0), HAND_AS_OF)
    assert [result.verdict for result in results] == ["stable"] * 4


def test_the_coat_s_resistance_is_in_the_prior() -> None:
    """The same readings speak more for trapped water behind the coat that passes less."""
    dense, open_ = (
        assess_building(hand_made(1.0, coat=coat, hollow=0.02), HAND_AS_OF)[0].probability["trapped_water"]
        for coat in (CEMENT, LIME)
    )
    assert dense > open_


def test_behind_a_drained_lining_wet_and_dry_carry_no_weight() -> None:
    lining = Coat(layer=1, kind="lining", applied=DAYS[0] - 30, binder="polyethylene", drains_to="drain")
    rising, level = (
        assess_building(hand_made(rise, coat=lining, hollow=0.0), HAND_AS_OF)[0] for rise in (3.0, 0.0)
    )
    assert rising.probability == pytest.approx(level.probability, abs=1e-9)
    weights = {item.quantity: item.weight for item in rising.evidence}
    assert weights["deep_moisture"] == weights["surface_moisture"] == 0


def test_without_readings_there_is_a_risk_and_a_next_step() -> None:
    bare = SectionRecord("W", length_m=3, height_m=2, below_grade_m=1.5, coats=(CEMENT,))
    lime = replace(bare, code="L", coats=(LIME,))
    results = assess_building(BuildingRecord("H", (bare, lime)), HAND_AS_OF)
    assert [result.verdict for result in results] == [INSUFFICIENT] * 2
    assert results[0].probability["trapped_water"] > results[1].probability["trapped_water"]
    assert all(result.advice for result in results)
    assert all(result.next_inspection == HAND_AS_OF for result in results)


def test_a_change_of_meter_does_not_pass_for_a_trend() -> None:
    """All four walls jump by 8 on the day the meter changes; the rate stays near nought."""
    house = hand_made(0.0, coat=CEMENT, hollow=0.0)
    change = DAYS[12]

    def jumped(section: SectionRecord) -> SectionRecord:
        own = section.readings
        late = (own.instrument == "M") & (own.time >= change)
        shift = np.where(late, 8.0, 0.0)
        names = np.where(late, "N", own.instrument)
        moved = replace(
            own, value=own.value + shift, low=own.low + shift, high=own.high + shift, instrument=names
        )
        return replace(section, readings=moved)

    other = replace(house, sections=tuple(map(jumped, house.sections)))
    for result in assess_building(other, HAND_AS_OF):
        assert result.verdict == "stable"
        assert abs(result.trends["surface_moisture"].rate_per_year) < 0.5


def test_every_group_of_readings_has_its_words() -> None:
    assert set(statements._WRITERS) == set(READ_GROUPS) == set(GROUPS) - {"prior"}


def test_houses_assessed_together_are_each_as_alone():
    """Of three simulators, a house without a reading among them: the same answers to 1e-9."""
    houses = [
        house
        for simulator in (physical, phenomenal, blind)
        for house in to_records(simulator.simulate(31, houses=2, years=7))
    ]
    unread = tuple(replace(one, readings=no_readings()) for one in houses[0].sections)
    houses.insert(2, replace(houses[0], sections=unread, readings=no_readings()))
    as_of = dt.date(2020, 6, 30)
    together = assess_buildings(houses, as_of)
    for house, found in zip(houses, together, strict=True):
        for one, alone in zip(found, assess_building(house, as_of), strict=True):
            assert_alike(one.as_json(), alone.as_json())


def assert_alike(one, other):
    assert type(one) is type(other)
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        for key in one:
            assert_alike(one[key], other[key])
    elif isinstance(one, list):
        assert len(one) == len(other)
        for mine, theirs in zip(one, other, strict=True):
            assert_alike(mine, theirs)
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=1e-9, abs=1e-9)
    else:
        assert one == other
