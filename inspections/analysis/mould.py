"""Mould index of a surface from its logged climate (Hukka and Viitanen 1999; Ojanen et al. 2010).

The index runs from 0 (none) over 1 (first growth, seen under a microscope) and 3 (seen by eye, under a
tenth of the surface) to 6 (dense all over). It is of a clean surface at the temperature and humidity given,
and tells of risk, not of what is there.

Sources: Hukka and Viitanen (1999), Wood Sci. Technol. 33, 475; Ojanen et al. (2010), ASHRAE Buildings XI;
constants from two public implementations that agree. ASHRAE Standard 160 accepts an index below 3 (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.records import FloatArray

#: Index under which ASHRAE Standard 160 accepts a surface: no growth to be seen by eye.
ACCEPTED = 3.0
#: Hours of dry weather over which an index falls at once, and from which it falls again, with the rates a day
#: (Hukka and Viitanen 1999, eq. 5).
FIRST_HOURS, LATER_HOURS = 6.0, 24.0
FIRST_DECLINE, LATER_DECLINE = 0.032, 0.016
_HOURS = 24.0


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """A class of materials: growth factor below and from index 1, limits, least humidity, share of
    decline."""

    before: float
    after: float
    a: float
    b: float
    c: float
    least_humidity: float
    decline: float


#: Ojanen et al. (2010), tables 1 to 3; the share of decline by class from memory.
VERY_SENSITIVE = Sensitivity(1.0, 2.0, 1.0, 7.0, 2.0, 80.0, 1.0)
SENSITIVE = Sensitivity(0.578, 0.386, 0.3, 6.0, 1.0, 80.0, 0.5)
MEDIUM_RESISTANT = Sensitivity(0.072, 0.097, 0.0, 5.0, 1.5, 85.0, 0.25)
RESISTANT = Sensitivity(0.033, 0.014, 0.0, 3.0, 1.0, 85.0, 0.1)


def critical_humidity(t_c: npt.ArrayLike, material: Sensitivity = VERY_SENSITIVE) -> FloatArray:
    """Relative humidity, percent, from which mould grows at ``t_c`` degC (Hukka and Viitanen 1999, eq. 1)."""
    t = np.asarray(t_c, dtype=float)
    curve = -0.00267 * t**3 + 0.160 * t**2 - 3.13 * t + 100.0
    return np.where(t <= 20.0, np.maximum(curve, material.least_humidity), material.least_humidity)


def mould_index(
    t_c: npt.ArrayLike,
    rh_percent: npt.ArrayLike,
    material: Sensitivity = MEDIUM_RESISTANT,
    step_hours: float = 1.0,
    start: float = 0.0,
) -> FloatArray:
    """Index (n,) after each step of a surface's temperature, degC, and relative humidity, percent, both (n,).

    Explicit steps, which the model's authors take by the hour. The default is of lime, cement and concrete;
    a paper-faced board is :data:`SENSITIVE`. An unknown step (NaN) leaves the index as it is.
    """
    t, rh = np.asarray(t_c, dtype=float), np.asarray(rh_percent, dtype=float)
    critical = critical_humidity(t, material)
    grows = (t > 0) & (t < 50) & (rh >= critical)
    unknown = np.isnan(t) | np.isnan(rh)
    warm, damp = np.where(grows, t, 1.0), np.where(grows, rh, 100.0)
    daily = 1 / (7 * np.exp(-0.68 * np.log(warm) - 13.9 * np.log(damp) + 66.02))
    over = np.where(grows, (critical - rh) / (critical - 100.0), 0.0)
    highest = material.a + material.b * over - material.c * over**2
    days = step_hours / _HOURS
    index, dry = start, 0.0
    found = np.empty(len(t))
    columns = zip(grows.tolist(), unknown.tolist(), daily.tolist(), highest.tolist(), strict=True)
    for step, (growing, missing, rate, limit) in enumerate(columns):
        if growing:
            dry = 0.0
            first = material.before if index < 1 else material.after
            index += days * rate * first * max(1 - np.exp(2.3 * (index - limit)), 0.0)
        elif not missing:
            dry += step_hours
            decline = FIRST_DECLINE if dry <= FIRST_HOURS else LATER_DECLINE if dry > LATER_HOURS else 0.0
            index = max(index - days * decline * material.decline, 0.0)
        found[step] = index
    return found
