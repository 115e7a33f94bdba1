"""Moist air and the drying of a wall through its coat.

Temperatures are in degC, relative humidities in percent, pressures in Pa. Every function takes scalars or
arrays that broadcast against each other, and answers NaN where an input is NaN.

Sources: ASHRAE Handbook of Fundamentals (2017, SI), chapter 1, equations 5, 6 and 20 (the Hyland and Wexler
1983 curves); ISO 12572 (Schirmer's formula); ISO 13788; EN 15026.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import FloatArray

ZERO_CELSIUS = 273.15
#: Triple point of water, degC: the curves over ice and water meet here and not at 0 degC, so that the dew
#: point has no gap near freezing.
TRIPLE_POINT = 0.01
STANDARD_PRESSURE = 101325.0
#: Ratio of the molar masses of water and dry air (ASHRAE 2017, ch. 1, eq. 20).
MASS_RATIO = 0.621945
#: Gas constant of water vapour, J/(kg K), as rounded in ISO 12572.
VAPOUR_GAS_CONSTANT = 462.0
#: Vapour permeability of still air to which an sd value is referred, kg/(m s Pa) (ISO 13788).
STANDARD_AIR_PERMEABILITY = 2.0e-10
#: Still air that resists as much as the film at an inside face, m: permeability over the surface coefficient
#: of 2.5e-8 s/m (EN 15026, from memory).
ROOM_FILM_SD = 0.008

SECONDS_PER_DAY = 86400.0
GRAMS_PER_KILOGRAM = 1000.0

#: ASHRAE 2017, ch. 1, eq. 5: C1 to C6 multiply T**-1 to T**4, C7 multiplies ln T.
_ICE = (
    (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13),
    4.1635019,
)
#: ASHRAE 2017, ch. 1, eq. 6: C8 to C12, and C13 for ln T.
_WATER = ((-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0), 6.5459673)

#: Newton steps for the dew point; from the starting guess below, four already reach 1e-9 K.
_NEWTON_STEPS = 10
#: Magnus form as in ISO 13788, used only as a starting guess.
_MAGNUS_PRESSURE, _MAGNUS_SLOPE, _MAGNUS_OFFSET = 610.5, 17.269, 237.3


def saturation_pressure(t_c: npt.ArrayLike) -> FloatArray:
    """Saturation vapour pressure, Pa: over ice below the triple point (0.01 degC), else over water.

    ``t_c``: degC, valid from -100 to 200. Source: ASHRAE Handbook of Fundamentals (2017), ch. 1, eq. 5
    and 6, which agree with IAPWS-95 within 0.04 % between 0 and 30 degC.
    """
    pressure, _ = _log_saturation(np.asarray(t_c, dtype=float))
    return np.exp(pressure)


def vapour_pressure(t_c: npt.ArrayLike, rh_percent: npt.ArrayLike) -> FloatArray:
    """Vapour pressure, Pa, of air at ``t_c`` degC and ``rh_percent`` percent relative humidity."""
    return np.asarray(rh_percent, dtype=float) / 100.0 * saturation_pressure(t_c)


def dew_point(t_c: npt.ArrayLike, rh_percent: npt.ArrayLike) -> FloatArray:
    """Dew point (below 0.01 degC: frost point), degC; NaN where the humidity is not above zero.

    Found by Newton's method on the logarithm of the saturation pressure, so that
    ``saturation_pressure(dew_point(t, rh)) == vapour_pressure(t, rh)`` to rounding.
    """
    pressure = vapour_pressure(t_c, rh_percent)
    with np.errstate(divide="ignore", invalid="ignore"):
        target = np.log(np.where(pressure > 0, pressure, np.nan))
    alpha = target - np.log(_MAGNUS_PRESSURE)
    dew = np.asarray(_MAGNUS_OFFSET * alpha / (_MAGNUS_SLOPE - alpha), dtype=float)
    for _ in range(_NEWTON_STEPS):
        log_pressure, slope = _log_saturation(dew)
        dew = dew - (log_pressure - target) / slope
    return dew


def humidity_ratio(
    t_c: npt.ArrayLike, rh_percent: npt.ArrayLike, pressure: npt.ArrayLike = STANDARD_PRESSURE
) -> FloatArray:
    """Humidity ratio, kg of water per kg of dry air (ASHRAE 2017, ch. 1, eq. 20; ideal gases).

    ``pressure``: total pressure, Pa. Real-gas values are about 0.5 % higher.
    """
    vapour = vapour_pressure(t_c, rh_percent)
    return MASS_RATIO * vapour / (np.asarray(pressure, dtype=float) - vapour)


def dew_point_margin(air_t: npt.ArrayLike, air_rh: npt.ArrayLike, surface_t: npt.ArrayLike) -> FloatArray:
    """How far a surface stays above the dew point of the air before it, K; below zero it sweats."""
    return np.asarray(surface_t, dtype=float) - dew_point(air_t, air_rh)


def vapour_permeability_of_air(t_c: npt.ArrayLike, pressure: npt.ArrayLike = STANDARD_PRESSURE) -> FloatArray:
    """Vapour permeability of still air, kg/(m s Pa), at ``t_c`` degC and total ``pressure`` Pa.

    Schirmer's formula as in ISO 12572: 0.083 p0 / (R T p) (T / 273)**1.81 kg/(m h Pa).
    """
    kelvin = np.asarray(t_c, dtype=float) + ZERO_CELSIUS
    ratio = STANDARD_PRESSURE / np.asarray(pressure, dtype=float)
    per_hour = 0.083 * ratio / (VAPOUR_GAS_CONSTANT * kelvin) * (kelvin / 273.0) ** 1.81
    return per_hour / 3600.0


def drying_flux(
    t_wall: npt.ArrayLike,
    rh_wall: npt.ArrayLike,
    t_room: npt.ArrayLike,
    rh_room: npt.ArrayLike,
    sd_m: npt.ArrayLike,
    film_sd_m: npt.ArrayLike = ROOM_FILM_SD,
) -> FloatArray:
    """Vapour that passes from a wall to its room through coats of ``sd_m`` metres, g/(m2 day).

    Steady flow in one dimension: permeability times the difference of vapour pressure over the resistance of
    coats and film, with the permeability 2e-10 kg/(m s Pa) to which sd values refer (ISO 13788). Negative
    where the room wets the wall. Liquid that a capillary coat carries to its face comes on top.
    """
    difference = vapour_pressure(t_wall, rh_wall) - vapour_pressure(t_room, rh_room)
    resistance = np.asarray(sd_m, dtype=float) + np.asarray(film_sd_m, dtype=float)
    per_second = STANDARD_AIR_PERMEABILITY * difference / resistance
    return np.asarray(per_second * SECONDS_PER_DAY * GRAMS_PER_KILOGRAM)


def _log_saturation(t_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Logarithm of the saturation pressure (Pa) and its derivative (1/K)."""
    kelvin = t_c + ZERO_CELSIUS
    water = _curve(kelvin, *_WATER)
    frozen = t_c <= TRIPLE_POINT
    if not frozen.any():
        return water
    ice = _curve(kelvin, *_ICE)
    return np.where(frozen, ice[0], water[0]), np.where(frozen, ice[1], water[1])


def _curve(
    kelvin: FloatArray, coefficients: tuple[float, ...], logarithmic: float
) -> tuple[FloatArray, FloatArray]:
    # The powers run from -1 up: a polynomial and its derivative by Horner's scheme, over the temperature.
    value, slope = np.zeros_like(kelvin), np.zeros_like(kelvin)
    for place, coefficient in reversed(tuple(enumerate(coefficients))):
        value = value * kelvin + coefficient
        slope = slope * kelvin + (place - 1) * coefficient
    return logarithmic * np.log(kelvin) + value / kelvin, (logarithmic + slope / kelvin) / kelvin
