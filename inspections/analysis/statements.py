"""What each kind of reading shows, in a plain sentence with its numbers.

Areas and lengths are in canonical units here; the pages turn them into the reader's.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from inspections.analysis.coats import coat_area, standing
from inspections.analysis.drying import drying_capacity
from inspections.analysis.features import SHORT_MARGIN, SectionFeatures
from inspections.analysis.levels import Level
from inspections.analysis.margins import MEASURED
from inspections.analysis.materials import liquid_open, stack_sd
from inspections.analysis.recalibration import Recalibration
from inspections.analysis.records import SectionRecord
from inspections.analysis.regression import SeasonalFit
from inspections.analysis.results import TrendResult
from inspections.analysis.series import PreparedBuilding, since

#: Two-sided 95 % point of the normal distribution.
NORMAL_95 = 1.959964
#: Share of air lime's capillarity from which a coat's liquid transport is worth a word. Ours.
CAPILLARY = 0.25
#: Visits that the words "of late" cover.
LATELY = 4

Trends = Mapping[str, TrendResult]
Writer = Callable[[PreparedBuilding, SectionRecord, SectionFeatures, Trends], str]


def statement(
    group: str,
    prepared: PreparedBuilding,
    section: SectionRecord,
    features: SectionFeatures,
    trends: Trends,
) -> str:
    """One or two sentences on what the readings of ``group`` show of the section.

    Rates are those of ``trends``, wherever they have an interval, so that a page gives one number only.
    """
    writer = _WRITERS[group]
    text = writer(prepared, section, features, trends)
    aside = prepared.aside[section.code]
    count = int((aside.quantity == group).sum())
    if count:
        text += f" {count} {'reading was' if count == 1 else 'readings were'} set aside."
    return text


#: Log-odds that are hardly worth a word: a twentieth more or less.
SLIGHT = 0.05


def of_openings(recalibration: Recalibration, gain: float) -> str:
    """What the owner's own openings change; ``gain``: what they add to the log-odds of trapped water."""
    counted = (
        f"Of {recalibration.openings} walls of yours that were opened {recalibration.held} held water, where "
        f"{recalibration.expected:.1f} were to be expected from what the model had said."
    )
    if abs(gain) < SLIGHT:
        return f"{counted} For a wall like this that changes hardly anything."
    more = "more" if gain > 0 else "less"
    return f"{counted} So trapped water counts as {more} likely here than by the model alone."


def _rate(fit: SeasonalFit, trend: TrendResult | None) -> tuple[float, float, float]:
    """The rate and its 95 % interval: as reported, else by the regression."""
    if trend and trend.rate_per_year is not None and trend.low is not None and trend.high is not None:
        return trend.rate_per_year, trend.low, trend.high
    reach = NORMAL_95 * fit.rate_error
    return fit.rate, fit.rate - reach, fit.rate + reach


def _moved(name: str, fit: SeasonalFit, trend: TrendResult | None) -> str:
    if fit.n < 3:
        return f"{name} was read {_times(fit.n)}, too few for a rate"
    rate, low, high = _rate(fit, trend)
    if low > 0 or high < 0:
        verb = "rose" if rate > 0 else "fell"
        ends = sorted((abs(low), abs(high)))
        return f"{name} {verb} {abs(rate):.2g} a year ({ends[0]:.2g} to {ends[1]:.2g}, {_visits(fit.n)})"
    return f"{name} shows no clear rise or fall ({low:+.2g} to {high:+.2g} a year, {_visits(fit.n)})"


def _visits(count: int) -> str:
    return f"{count} {'visit' if count == 1 else 'visits'}"


def _share(percent: float) -> str:
    """Two significant digits; a whole number from 10 on."""
    return f"{percent:.2g} %" if percent < 10 else f"{percent:.0f} %"


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _rank(value: float) -> str:
    if not np.isfinite(value) or abs(value) < 1:
        return ""
    return f" and stands {'above' if value > 0 else 'below'} the other walls of the house"


def _meter_changed(prepared: PreparedBuilding, quantity: str, level: Level) -> str:
    steps = [
        step
        for step in prepared.steps
        if step.quantity == quantity and step.after in level.instrument and np.isfinite(step.error)
    ]
    if not steps:
        return ""
    step = steps[-1]
    return (
        f" A change of meter moved the scale by {step.size:+.2g} ± {step.error:.1g} and was taken out"
        f" (from {step.sections} {'wall' if step.sections == 1 else 'walls'})."
    )


def _face(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, trends: Trends
) -> str:
    level = prepared.levels[section.code]["surface_moisture"]
    fit = features.fits.get("surface_moisture")
    if fit is None:
        return "Face moisture has not been read since the present coat was put on."
    text = _moved("Face moisture", fit, trends.get("surface_moisture")) + _rank(features["face_rank"]) + "."
    winter, _ = fit.season
    if fit.n >= 6 and abs(winter) > 1.5 * fit.noise:
        text += f" It is highest in {'winter' if winter > 0 else 'summer'}."
    return text + _meter_changed(prepared, "surface_moisture", level)


def _deep(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, trends: Trends
) -> str:
    level = prepared.levels[section.code]["deep_moisture"]
    fit = features.fits.get("deep_moisture")
    if fit is None:
        return "Deep moisture has not been read since the present coat was put on."
    text = _moved("Deep moisture", fit, trends.get("deep_moisture")) + _rank(features["deep_rank"])
    face = features.fits.get("surface_moisture")
    if face is not None and face.n > 2:
        _, deep_low, _ = _rate(fit, trends.get("deep_moisture"))
        _, face_low, _ = _rate(face, trends.get("surface_moisture"))
        if fit.n > 2 and deep_low > 0 >= face_low:
            text += " while the face did not"
    return text + "." + _meter_changed(prepared, "deep_moisture", level)


def _in_wall(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, _trends: Trends
) -> str:
    fit = features.fits.get("in_wall_humidity")
    if fit is None:
        return "In-wall humidity has not been read since the present coat was put on."
    level = prepared.levels[section.code]["in_wall_humidity"]
    last = since(level, features.coat_start)
    beyond = int((~np.isfinite(last.high[-LATELY:])).sum())
    text = f"In-wall humidity stands near {min(fit.level, 100.0):.0f} % RH"
    if beyond:
        text += f", beyond the meter's scale at {beyond} of the last {_visits(min(LATELY, len(last)))}"
    reach = NORMAL_95 * fit.rate_error
    if abs(fit.rate) > reach:
        text += f", {'rising' if fit.rate > 0 else 'falling'} {abs(fit.rate):.1f} a year"
    return text + f" ({_visits(fit.n)})."


def _area(name: str, quantity: str) -> Writer:
    def write(
        prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, _trends: Trends
    ) -> str:
        level = since(prepared.levels[section.code][quantity], features.coat_start)
        if not len(level):
            return f"{name} has not been surveyed since the present coat was put on."
        day = float(level.time[-1])
        share = coat_area(section, day)
        latest, first = float(level.value[-1]), float(level.value[0])
        censored = not np.isfinite(level.low[-1])
        if latest <= 0 or censored:
            return f"{name}: none that the survey could tell, at {_visits(len(level))}."
        text = f"{name} is {latest:.2g} m² ({_share(100 * latest / share)} of the coat)"
        fit = features.fits[quantity]
        if fit.n > 2 and fit.rate > NORMAL_95 * fit.rate_error:
            text += f" and growing; it was {first:.2g} m² when first surveyed"
        elif fit.n > 2:
            text += " and not clearly growing"
        return text + f" ({_visits(len(level))})."

    return write


def _air(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, _trends: Trends
) -> str:
    margin = features.margins.margin
    short = int((margin < SHORT_MARGIN).sum())
    text = f"The face stood {np.median(margin):.1f} K above the air's dew point at the middle visit"
    text += f", and within {SHORT_MARGIN:.1f} K of it at {short} of {len(margin)}."
    follows = features["face_follows_margin"]
    if np.isfinite(follows) and follows < -1:
        text += " The face is wet when that margin is short."
    elif features["face_follows_air"] > 1.5 and np.median(margin) > 2 * SHORT_MARGIN:
        text += " The face follows the air's humidity although it stays above the dew point, as salts do."
    assumed = sorted({str(words) for words in features.margins.assumed} - {MEASURED})
    if assumed:
        text += f" Where none was read: {'; '.join(assumed)}."
    return text + _drying(section, features)


def _drying(section: SectionRecord, features: SectionFeatures) -> str:
    """What the coats would let a wet wall give off into this room, for whoever chooses the next coat."""
    margins = features.margins
    day = float(np.floor(margins.time[-1]))
    coats = standing(section, day)
    found = drying_capacity(
        stack_sd(coats, day), margins.surface_temperature, margins.air_temperature, margins.air_humidity
    )
    if not coats or found is None:
        return ""
    text = f" If the wall behind is wet, its coats pass about {_grams(found.typical)} g/m² of vapour a day"
    text += (
        f" ({_grams(found.low)} to {_grams(found.high)} by what such coats resist, {_visits(found.visits)}),"
    )
    text += f" {_share(100 * found.share)} of a bare wall's"
    if min(liquid_open(coat) for coat in coats) >= CAPILLARY:
        text += "; liquid that they draw to the face comes on top"
    return text + "."


def _grams(amount: float) -> str:
    return f"{amount:.0f}" if abs(amount) >= 10 else f"{amount:.2g}"


def _mortar(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, _trends: Trends
) -> str:
    fit = features.fits["mortar_soft_depth"]
    deep = max(0.0, fit.level)
    return f"Mortar is soft to {deep:.0f} mm deep where the probe could reach ({_visits(fit.n)})."


def _timber(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, _trends: Trends
) -> str:
    fit = features.fits["timber_moisture"]
    return f"Timber in the wall reads {fit.level:.0f} % WME ({_visits(fit.n)})."


def _dust(
    prepared: PreparedBuilding, section: SectionRecord, features: SectionFeatures, _trends: Trends
) -> str:
    fit = features.fits["hygroscopic_moisture"]
    damp = max(0.0, fit.level)
    return f"Drilled dust takes up {damp:.1f} % of its mass from air at 75 % RH ({_visits(fit.n)})."


_WRITERS: dict[str, Writer] = {
    "surface_moisture": _face,
    "deep_moisture": _deep,
    "in_wall_humidity": _in_wall,
    "hollow_area": _area("Hollow area", "hollow_area"),
    "spall_area": _area("Fallen area", "spall_area"),
    "salt_area": _area("Salt-stained area", "salt_area"),
    "air_humidity": _air,
    "mortar_soft_depth": _mortar,
    "timber_moisture": _timber,
    "hygroscopic_moisture": _dust,
}
