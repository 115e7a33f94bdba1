"""What is set aside, and what must not be."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis import cleaning
from inspections.analysis.records import Instrument, no_readings
from tests.analysis.houses import joined, readings

METER = Instrument("M1", "moisture_meter", "relative", 0, 100, 1)
TIMES = 15000 + np.arange(12) * 90.0


class TestRange:
    def test_beyond_the_range_is_set_aside_with_the_reason(self):
        kept, aside, reasons = cleaning.set_aside(readings(TIMES[:3], [40, 140, 50]), {"M1": METER})
        assert (len(kept), aside.value.tolist(), reasons.tolist()) == (2, [140], [cleaning.OUT_OF_RANGE])

    @pytest.mark.parametrize(
        ("scale", "quantity", "unit", "minimum", "maximum", "inside", "outside"),
        # A thermometer of 14 to 140 degF reads -10 to 60 degC; the others are by definition of the unit.
        [
            ("degF", "air_temperature", "degC", 14, 140, [-10, 59.9], [-10.5, 60.5]),
            ("degC", "air_temperature", "degC", -10, 60, [-10, 60], [-11, 61]),
            ("in", "crack_width", "mm", 0, 0.4, [0, 10.16], [10.2]),
            ("ft2", "hollow_area", "m2", 0, 100, [9.29], [9.3]),
            ("pCi_per_L", "radon", "Bq_per_m3", 0.1, 100, [3.7, 3700], [3.6, 3701]),
            ("in_per_day", "rain", "mm_per_day", 0, 10, [254], [255]),
            ("", "air_temperature", "degC", 0, 50, [0, 50], [51]),
        ],
    )
    def test_limits_are_in_the_unit_of_the_scale(
        self, scale, quantity, unit, minimum, maximum, inside, outside
    ):
        instruments = {"M1": Instrument("M1", "thermometer", scale, minimum, maximum)}
        values = np.array([*inside, *outside], dtype=float)
        found = cleaning.out_of_range(
            readings(15000 + np.arange(len(values)), values, quantity=quantity, unit=unit), instruments
        )
        assert found.tolist() == [False] * len(inside) + [True] * len(outside)

    def test_limits_of_one_scale_say_nothing_of_another(self):
        """A hygrometer of 0 to 100 % also shows the air's temperature, down to minus five."""
        instruments = {"M1": Instrument("M1", "hygrometer", "percent_rh", 0, 100)}
        cold = readings([15000.0], [-5.0], quantity="air_temperature", unit="degC")
        assert not cleaning.out_of_range(cold, instruments).any()

    def test_unknown_instruments_and_limits_set_nothing_aside(self):
        odd = readings(TIMES, np.linspace(-1e6, 1e6, 12))
        assert not cleaning.out_of_range(odd, {}).any()
        assert not cleaning.out_of_range(odd, {"M1": Instrument("M1", "moisture_meter", "relative")}).any()


class TestSlips:
    @pytest.mark.parametrize("place", range(12))
    @pytest.mark.parametrize("factor", [0.1, 10])
    def test_a_slip_is_found_wherever_it_stands(self, place, factor):
        value = 40 + 5 * np.sin(np.arange(12))
        value[place] *= factor
        found = cleaning.slips(readings(TIMES, value))
        last_and_up = place == 11 and factor == 10
        assert found.tolist() == [i == place and not last_and_up for i in range(12)]

    def test_a_sudden_leak_is_not_a_slip(self):
        value = np.where(np.arange(12) < 6, 8.0, 85.0)
        assert not cleaning.slips(readings(TIMES, value)).any()
        assert not cleaning.slips(readings(TIMES[:7], value[:7])).any()

    def test_a_visit_that_moved_as_a_whole_is_not_a_slip(self):
        heights = [300.0, 1000.0, 1700.0]
        value = np.full((12, 3), 10.0) + np.arange(3)
        value[6] *= 9
        found = cleaning.slips(readings(np.repeat(TIMES, 3), value.ravel(), height_mm=np.tile(heights, 12)))
        assert not found.any()

    def test_an_area_that_grows_tenfold_and_stays_is_not_a_slip(self):
        value = [0.05, 0.05, 0.06, 0.06, 0.07, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5]
        area = {"quantity": "spall_area", "unit": "m2"}
        assert not cleaning.slips(readings(TIMES, value, **area)).any()
        value[5:] = [0.7, 0.08, 0.08, 0.09, 0.09, 0.1, 0.1]
        assert np.flatnonzero(cleaning.slips(readings(TIMES, value, **area))).tolist() == [5]

    def test_few_readings_say_nothing(self):
        assert not cleaning.slips(readings(TIMES[:4], [40, 41, 4, 42])).any()

    def test_scales_and_quantities_are_never_mixed(self):
        mixed = joined(
            readings(TIMES, np.full(12, 4.0), unit="percent_mass"),
            readings(TIMES + 0.1, np.full(12, 60.0)),
            readings(TIMES[:1], [0.4], quantity="deep_moisture"),
        )
        assert not cleaning.slips(mixed).any()

    @given(st.integers(0, 10**6), st.floats(0.05, 0.3))
    def test_ordinary_scatter_is_kept(self, seed, spread):
        value = 30 * np.exp(np.random.default_rng(seed).normal(0, spread, 30))
        assert not cleaning.slips(readings(15000 + np.arange(30) * 60.0, value)).any()

    @given(st.integers(0, 10**6), st.floats(0.01, 100), st.integers(-10000, 10000))
    def test_unit_and_time_origin_change_nothing(self, seed, scale, days):
        random = np.random.default_rng(seed)
        value = 30 * np.exp(random.normal(0, 0.2, 12))
        value[random.integers(0, 12)] *= 10
        one = cleaning.slips(readings(TIMES, value))
        assert cleaning.slips(readings(TIMES + days, value * scale)).tolist() == one.tolist()


def test_nothing_read_nothing_aside():
    kept, aside, reasons = cleaning.set_aside(no_readings(), {"M1": METER})
    assert (len(kept), len(aside), len(reasons)) == (0, 0, 0)
