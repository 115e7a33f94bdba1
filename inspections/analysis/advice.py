"""What to read next: the reading that would most change an unsure verdict."""

from __future__ import annotations

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
