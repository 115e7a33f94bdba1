"""Dew-point margins, and what is said when the face was not read."""

import numpy as np
import pytest

from inspections.analysis import margins
from inspections.analysis.records import no_readings
from tests.analysis.houses import joined, readings

DAYS = np.array([15000.0, 15090, 15180, 15270, 15360])


def of(quantity, value, days=DAYS, **columns):
    unit = "percent_rh" if "humidity" in quantity else "degC"
    value = np.broadcast_to(np.asarray(value, dtype=float), np.shape(days))
    return readings(days, value, quantity=quantity, unit=unit, **columns)


ROOM = joined(of("air_temperature", 20.0), of("air_humidity", 65.0))


def test_margin_is_face_less_dew_point():
    # Air at 20 degC and 65 % has its dew point at 13.229 degC (CoolProp 8.0.0).
    found = margins.dew_point_margins(of("surface_temperature", [13.229, 15, 17, 12, 10]), ROOM)
    assert found.margin == pytest.approx([0, 1.771, 3.771, -1.229, -3.229], abs=0.004)
    assert set(found.assumed) == {margins.MEASURED}


def test_days_without_both_air_readings_have_no_margin():
    air = joined(of("air_temperature", 20.0), of("air_humidity", 65.0, DAYS[:2]))
    assert margins.dew_point_margins(of("surface_temperature", 15.0), air).time.tolist() == [15000, 15090]
    assert len(margins.dew_point_margins(no_readings(), no_readings())) == 0


def test_the_sections_own_air_comes_first():
    own = joined(of("air_humidity", 80.0, DAYS[:1]), of("surface_temperature", 15.0))
    found = margins.dew_point_margins(own, ROOM)
    assert found.air_humidity.tolist() == [80, 65, 65, 65, 65]


def test_an_unread_face_follows_the_sections_usual_drop():
    found = margins.dew_point_margins(of("surface_temperature", 17.0, DAYS[:4]), ROOM)
    assert found.surface_temperature[4] == pytest.approx(17)
    assert found.assumed.tolist() == [""] * 4 + [margins.FROM_OWN_VISITS]


def test_else_it_lies_between_room_and_outdoors():
    # ISO 13788: f_Rsi = (face - outside) / (room - outside).
    house = joined(ROOM, of("outdoor_temperature", 5.0, DAYS[:1]))
    found = margins.dew_point_margins(no_readings(), house)
    assert found.surface_temperature[0] == pytest.approx(5 + 0.8 * 15)
    assert found.assumed[0] == margins.FROM_OUTDOORS
    assert set(found.assumed[1:]) == {margins.FROM_GROUND}
    assert (found.surface_temperature[1:] < 20).all()


def test_repeats_of_a_day_count_once_and_readings_off_the_scale_not_at_all():
    wet = readings(DAYS[:1], [95.0], [95.0], [np.inf], quantity="air_humidity", unit="percent_rh")
    house = joined(of("air_temperature", 20.0), of("air_temperature", 22.0, DAYS + 0.3), wet)
    assert len(margins.dew_point_margins(no_readings(), house)) == 0
    found = margins.dew_point_margins(no_readings(), joined(house, of("air_humidity", 50.0, DAYS + 0.2)))
    assert found.air_temperature.tolist() == [21] * 5
