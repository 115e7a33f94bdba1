"""Moist air against ASHRAE's tables, IAPWS-based figures and PsychroLib."""

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis import psychrometrics as air

psychrolib.SetUnitSystem(psychrolib.SI)

temperatures = st.floats(-30, 50)
humidities = st.floats(1, 100)


@pytest.mark.parametrize(
    ("t_c", "pascal"),
    # ASHRAE Handbook of Fundamentals (2017), ch. 1, table 3.
    [(-20, 103.24), (-5, 401.74), (5, 872.6), (25, 3169.7), (50, 12351.3), (100, 101418)],
)
def test_saturation_pressure_agrees_with_the_ashrae_table(t_c, pascal):
    assert air.saturation_pressure(t_c) == pytest.approx(pascal, rel=3e-4)


@pytest.mark.parametrize(
    ("t_c", "pascal"),
    # IAPWS-95 as computed by CoolProp 8.0.0.
    [(0.02, 612.10), (5, 872.58), (10, 1228.20), (15, 1705.79), (20, 2339.32), (25, 3169.93), (30, 4246.97)],
)
def test_saturation_pressure_agrees_with_iapws(t_c, pascal):
    assert air.saturation_pressure(t_c) == pytest.approx(pascal, rel=5e-4)


@pytest.mark.parametrize(
    ("t_c", "ratio"),
    # ASHRAE Handbook of Fundamentals (2017), ch. 1, table 2. It holds for real moist air, whose saturation
    # pressure is 0.4 % (at 5 degC) to 0.55 % (at 50 degC) higher; near 50 degC W grows 1.14 times as fast.
    [(-20, 0.0006373), (-5, 0.0024863), (5, 0.005425), (25, 0.020173), (50, 0.086863)],
)
def test_humidity_ratio_agrees_with_the_ashrae_table(t_c, ratio):
    assert air.humidity_ratio(t_c, 100) == pytest.approx(ratio, rel=0.0065)


@pytest.mark.parametrize(
    ("t_c", "rh", "dew"),
    # Dew points computed by CoolProp 8.0.0 (IAPWS-based).
    [
        (5, 95, 4.267),
        (10, 80, 6.713),
        (12, 90, 10.413),
        (15, 50, 4.674),
        (18, 60, 10.130),
        (20, 50, 9.274),
        (20, 65, 13.229),
        (25, 70, 19.152),
        (30, 60, 21.391),
    ],
)
def test_dew_point_agrees_with_iapws(t_c, rh, dew):
    assert air.dew_point(t_c, rh) == pytest.approx(dew, abs=0.004)


@given(temperatures, humidities)
def test_agrees_with_psychrolib(t_c, rh):
    assert air.saturation_pressure(t_c) == pytest.approx(psychrolib.GetSatVapPres(t_c), rel=1e-9)
    assert air.vapour_pressure(t_c, rh) == pytest.approx(
        psychrolib.GetVapPresFromRelHum(t_c, rh / 100), rel=1e-9
    )
    # PsychroLib stops its own iteration at 0.001 K, and floors the humidity ratio at 1e-7.
    assert air.dew_point(t_c, rh) == pytest.approx(
        psychrolib.GetTDewPointFromRelHum(t_c, rh / 100), abs=0.003
    )
    assert air.humidity_ratio(t_c, rh) == pytest.approx(
        psychrolib.GetHumRatioFromRelHum(t_c, rh / 100, 101325), rel=1e-9, abs=2e-7
    )


@given(temperatures, humidities)
def test_dew_point_inverts_saturation(t_c, rh):
    dew = air.dew_point(t_c, rh)
    # The two curves differ by 3e-5 at the triple point; a pressure in that gap belongs to both.
    assert air.saturation_pressure(dew) == pytest.approx(air.vapour_pressure(t_c, rh), rel=1e-4)
    assert dew <= t_c + 1e-6


def test_dew_point_is_vectorised_and_unknown_without_vapour():
    dew = air.dew_point(np.array([[20.0], [np.nan]]), np.array([50.0, 0.0]))
    assert dew.shape == (2, 2)
    assert np.isfinite(dew[0, 0])
    assert np.isnan(dew[0, 1])
    assert np.isnan(dew[1]).all()


def test_margin_is_zero_at_the_dew_point_and_grows_with_the_surface():
    margin = air.dew_point_margin(20, 65, np.array([13.227, 15.227, 11.227]))
    assert margin == pytest.approx([0, 2, -2], abs=0.002)


def test_permeability_of_air_agrees_with_iso_12572():
    # ISO 12572 (Schirmer): 1.937e-10 at 20 degC, 1.953e-10 at 23 degC.
    assert air.vapour_permeability_of_air(np.array([20.0, 23.0])) == pytest.approx(
        [1.937e-10, 1.953e-10], rel=3e-4
    )
    assert air.vapour_permeability_of_air(20, 89875) / air.vapour_permeability_of_air(20) == pytest.approx(
        101325 / 89875
    )


@pytest.mark.parametrize(
    ("sd_m", "grams"),
    # Computed by hand from ISO 13788's permeability: a film of water behind the coat, 14 degC, room at 60 %.
    [(0.0, 1380), (0.01, 614), (0.20, 53), (0.30, 36), (0.6, 18), (1.0, 11), (3.0, 3.7), (50, 0.22)],
)
def test_drying_through_a_coat(sd_m, grams):
    assert air.drying_flux(14, 100, 14, 60, sd_m) == pytest.approx(grams, rel=0.025)


def test_a_humid_room_wets_a_cold_wall():
    assert air.drying_flux(10, 80, 22, 70, 0.2) < 0
