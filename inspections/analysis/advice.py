"""What to do next: the reading that would most change an unsure verdict, and when to look again."""

from __future__ import annotations

import datetime as dt

import numpy as np

from inspections.analysis.features import READ_GROUPS, SectionFeatures
from inspections.analysis.records import FloatArray
from inspections.analysis.results import HYPOTHESES, INSUFFICIENT, Advice

#: A verdict at least this probable needs no further reading to be acted on.
SURE = 0.9
#: Readings that an ordinary round can add, with what each would tell. Timber is left out: few walls hold any.
REASONS = {
    "surface_moisture": "would tell a wet face from a dry one; read it at the same marks each time",
    "deep_moisture": "would tell water held behind the coat from a wall that is dry inside",
    "in_wall_humidity": "would tell held water from a dry wall behind this coat",
    "hollow_area": "would show whether the coat is letting go behind a sound face; sound it with a hammer",
    "spall_area": "would show whether the face is being lost, and how fast",
    "salt_area": "would tell water that evaporates at the face from water that stays behind it",
    "air_humidity": "with air and face temperature would tell condensation from water in the wall",
    "mortar_soft_depth": "shows what the wall itself has lost; probe marked joints where the coat is off",
    "hygroscopic_moisture": "of drilled dust would tell salt that draws moisture from water in the wall",
}
#: Months from the last visit to the next by verdict: common practice, half a year for a wall in doubt and a
#: year for one at rest, sooner where water is at work.
MONTHS = {
    "trapped_water": 3,
    "water_entry": 3,
    "condensation": 6,
    "surface_wear": 6,
    "drying_out": 3,
    "stable": 12,
    INSUFFICIENT: 3,
}
#: Share of the time left (to its early end) that may pass before the next look: the P-F interval rule of
#: reliability-centred maintenance (SAE JA1012), half.
SHARE_OF_TIME_LEFT = 0.5
#: No visit sooner than this after the last, in days: a wall does not change faster (common practice).
SOONEST = 28
_DAYS_A_MONTH = 365.2425 / 12


def advise(
    features: SectionFeatures, probability: dict[str, float], verdict: str, against: str, value: FloatArray
) -> tuple[Advice, ...]:
    """The one reading that would most change an unsure verdict.

    ``value`` (groups, K, K) is the mean absolute log-odds that a group of readings adds between two
    hypotheses on the walls of the calibration. Readings not yet had come first; where all are there, the most
    telling is asked for again.
    """
    likeliest = max(HYPOTHESES, key=lambda name: probability[name])
    if _looks_salty(features):
        return (Advice("hygroscopic_moisture", REASONS["hygroscopic_moisture"]),)
    if verdict == "trapped_water" and probability[verdict] >= SURE:
        return (Advice("mortar_soft_depth", REASONS["mortar_soft_depth"]),)
    if verdict != INSUFFICIENT and probability[likeliest] >= SURE:
        return ()
    first, second = (
        HYPOTHESES.index(verdict if verdict in HYPOTHESES else likeliest),
        HYPOTHESES.index(against),
    )
    worth = {
        group: float(value[READ_GROUPS.index(group), first, second])
        for group in READ_GROUPS
        if group in REASONS
    }
    unread = {group: gain for group, gain in worth.items() if not is_read(features, group)}
    best = max(unread or worth, key=lambda group: worth[group])
    again = "" if unread else "once more, in the other season, "
    return (Advice(best, again + REASONS[best]),)


def is_read(features: SectionFeatures, group: str) -> bool:
    """Whether the section has any reading of ``group`` under its present coat."""
    if group == "air_humidity":
        return len(features.margins) > 0
    return group in features.fits


def _looks_salty(features: SectionFeatures) -> bool:
    """A face that follows the air's humidity while it stays well above the dew point."""
    return (
        not is_read(features, "hygroscopic_moisture")
        and features["face_follows_air"] > 1.5
        and features["margin_low"] > 1.5
    )


def next_inspection(
    verdict: str, last_visit: dt.date | None, as_of: dt.date, early: dt.date | None
) -> dt.date:
    """The day the section is next due: the verdict's interval after its last visit, or sooner.

    Half the time left to the early end of the forecast shortens it. A section never visited is due at once.
    """
    if last_visit is None:
        return as_of
    days = MONTHS[verdict] * _DAYS_A_MONTH
    if early is not None and early > last_visit:
        days = min(days, SHARE_OF_TIME_LEFT * (early - last_visit).days)
    return last_visit + dt.timedelta(days=int(np.ceil(max(days, SOONEST))))
