"""When what the verdict names began, as far as the readings show it."""

from __future__ import annotations

import numpy as np

from inspections.analysis.features import SectionFeatures
from inspections.analysis.levels import Level
from inspections.analysis.records import YEAR, FloatArray, Happening
from inspections.analysis.regression import SeasonalFit
from inspections.analysis.series import since

#: Series that show the beginning of each verdict, the most telling first.
_SHOWN_BY = {
    "trapped_water": ("deep_moisture", "surface_moisture", "hollow_area"),
    "water_entry": ("surface_moisture", "deep_moisture"),
    "surface_wear": ("spall_area", "hollow_area"),
}
#: Fewest visits that can show a bend.
_FEWEST = 6
#: How much better than a level line a bend must fit: 99 % point of chi-squared with two degrees of freedom.
_BEND_GAIN = 9.21


def onset(
    verdict: str, levels: dict[str, Level], features: SectionFeatures, events: tuple[Happening, ...]
) -> float:
    """Day on which the verdict's state began, NaN if not seen.

    The bend of the first telling series that has one; drying out began with the coat or the flood. Water that
    was there before the first reading shows no bend: its coat's first day is given, if it is known.
    """
    if verdict == "drying_out":
        wet = [event.time for event in events if event.kind in {"flood", "sump_failure"}]
        days = [day for day in (features.coat_start, *wet) if np.isfinite(day)]
        return max(days, default=np.nan)
    for quantity in _SHOWN_BY[verdict]:
        fit = features.fits.get(quantity)
        if fit is None or fit.n < _FEWEST:
            continue
        day = bend(since(levels[quantity], features.coat_start).time, fit)
        if np.isfinite(day):
            return day
    return features.coat_start if np.isfinite(features.coat_start) else np.nan


def bend(time: FloatArray, fit: SeasonalFit) -> float:
    """The day from which the season-removed level rises, by least squares over all visits; else NaN.

    The level is flat before the bend and a line after it. Residuals are those of ``fit``, with its straight
    line put back; shapes (n,).
    """
    years = (time - time[-1]) / YEAR
    level = fit.residual + fit.rate * years
    flat = float(((level - level.mean()) ** 2).sum())
    best, day = flat, np.nan
    for start in range(len(time) - 3):
        ramp = np.maximum(years - years[start], 0.0)
        centred = ramp - ramp.mean()
        slope = float(centred @ level) / float(centred @ centred)
        left = flat - slope * float(centred @ level)
        if slope > 0 and left < best:
            best, day = left, float(time[start])
    return day if (flat - best) / fit.noise**2 > _BEND_GAIN else np.nan
