"""Drying capacity of coats and the pressure of standing water."""

import numpy as np
import pytest

from inspections.analysis.drying import drying_capacity, thrust, water_pressure


@pytest.mark.parametrize(
    ("sd", "flux"),
    [(0.01, 614), (0.20, 53), (0.30, 36), (0.6, 18), (1.0, 11), (0.5, 22), (3, 3.7), (50, 0.22)],
)
def test_wet_wall_at_fourteen_degrees(sd, flux):
    """Computed table: 14 degC throughout, the room at 60 %, a film of 8 mm of still air."""
    found = drying_capacity((sd, sd, sd), np.array([14.0]), np.array([14.0]), np.array([60.0]))
    # Printed to two figures.
    assert found.typical == pytest.approx(flux, rel=0.035)
    assert found.low == found.typical == found.high


def test_range_is_of_the_coats_and_share_of_a_bare_wall():
    room = np.full(6, 18.0), np.array([45, 50, 55, 60, 65, np.nan])
    found = drying_capacity((0.2, 0.1, 0.5), np.full(6, 14.0), *room)
    assert found.low < found.typical < found.high
    assert found.visits == 5
    bare = drying_capacity((0.0, 0.0, 0.0), np.full(6, 14.0), *room)
    assert found.typical / bare.typical == pytest.approx(found.share)


def test_a_humid_room_wets_a_cold_wall():
    found = drying_capacity((0.2, 0.1, 0.5), np.array([12.0]), np.array([25.0]), np.array([80.0]))
    assert found.typical < 0
    assert found.low <= found.typical <= found.high


def test_no_room_air_no_number():
    assert drying_capacity((0.2, 0.1, 0.5), np.array([12.0]), np.array([np.nan]), np.array([60.0])) is None


@pytest.mark.parametrize(("head", "force"), [(1.0, 4.9), (1.5, 11.0), (2.0, 19.6), (2.4, 28.3)])
def test_standing_water(head, force):
    # Half of 9.81 kN/m3 times the head squared.
    assert thrust(head) == pytest.approx(force, abs=0.06)
    assert water_pressure(head) == pytest.approx(9.81 * head)
    assert water_pressure(-1) == 0
