"""What stands on a section, when its story began, and what that says before anything is read."""

from __future__ import annotations

import numpy as np

from inspections.analysis.materials import liquid_open, stack_sd
from inspections.analysis.records import YEAR, Coat, Happening, SectionRecord

#: Layers that carry less than this share of the stack's resistance do not begin a new coat.
NEW_COAT_SHARE = 0.3
#: Years in which new lime, a flood or an uncovered wall gives off its water (common practice: a month for
#: each 5 mm of plaster, a year for each 100 mm of solid wall).
DRYING_YEARS = 3.0


def standing(section: SectionRecord, as_of: float) -> tuple[Coat, ...]:
    """The room-side coats in place on ``as_of``, innermost first."""
    coats = (
        coat
        for coat in section.coats
        if coat.applied <= as_of < coat.removed and coat.face != "outside" and coat.purpose != "patch"
    )
    return tuple(sorted(coats, key=lambda coat: (coat.layer, coat.applied)))


def coat_start(section: SectionRecord, as_of: float) -> float:
    """The day from which the present coat's story is told; -inf where it was found or never begun.

    A thin layer over an older coat (limewash over a parge coat) does not begin a new story; a layer that adds
    much of the resistance does. A wall stripped bare begins one too.
    """
    coats = [coat for coat in standing(section, as_of) if coat.kind not in {"repointing", "injection"}]
    if not coats:
        removed = [coat.removed for coat in section.coats if coat.removed <= as_of]
        return max(removed, default=-np.inf)
    whole = stack_sd(coats, as_of)[0]
    main = [coat for coat in coats if stack_sd((coat,), as_of)[0] >= NEW_COAT_SHARE * whole] or coats
    latest = max(main, key=lambda coat: coat.applied)
    return -np.inf if latest.found else latest.applied


def prior_statistics(
    section: SectionRecord, as_of: float, house_events: tuple[Happening, ...]
) -> dict[str, float]:
    """What is known of a section before any reading: coats, exposure, substrate, and what happened lately."""
    coats = standing(section, as_of)
    resistance = stack_sd(coats, as_of)[0]
    start = coat_start(section, as_of)
    oldest = min((coat.applied for coat in coats), default=np.nan)
    begun = start if np.isfinite(start) else oldest
    age = (as_of - begun) / YEAR if np.isfinite(begun) else np.nan
    wet_work = [
        (as_of - coat.applied) / YEAR
        for coat in coats
        if liquid_open(coat) > 0.3
        and coat.kind in {"parge_coat", "plaster", "limewash", "repointing"}
        and not coat.found
    ]
    events = section.events + house_events
    bare_since = max((coat.removed for coat in section.coats if coat.removed <= as_of), default=-np.inf)
    height = section.height_m
    return {
        "resistance": float(np.log10(max(resistance, 0.01))),
        "open_to_liquid": min((liquid_open(coat) for coat in coats), default=1.0),
        "coated": float(bool(coats)),
        "age": float(np.log1p(max(age, 0.0))) if np.isfinite(age) else np.nan,
        "found": float(any(coat.found for coat in coats)),
        "drained": float(is_drained(coats)),
        "below_grade": float(np.clip(section.below_grade_m / height, 0, 1)) if height > 0 else np.nan,
        "soil": float(section.adjoins in {"soil", "garden"}),
        "street": float(section.adjoins == "street"),
        "party_wall": float(section.adjoins == "party_wall"),
        "interior": float(section.adjoins == "interior"),
        "rubble": float(section.substrate in {"rubble_stone", "mixed"}),
        "brick": float(section.substrate == "brick"),
        "concrete": float(section.substrate in {"concrete_block", "poured_concrete"}),
        "lime_bedding": float(section.bedding_mortar in {"lime", "clay"}),
        "recent_lime": _fading(min(wet_work, default=np.inf)),
        "recent_water": _fading(_years_since(events, {"flood", "sump_failure"}, as_of)),
        "recent_mending": _fading(_years_since(events, {"leak_mended"}, as_of)),
        "uncovered": _fading((as_of - bare_since) / YEAR),
    }


def is_drained(coats: tuple[Coat, ...]) -> bool:
    """Whether a lining or drainage board with a proven way out for the water stands on the wall."""
    return any(
        coat.kind in {"lining", "drainage_board"} and coat.drains_to in {"drain", "sump"} for coat in coats
    )


def _fading(years: float) -> float:
    return float(np.exp(-years / (DRYING_YEARS / 2))) if np.isfinite(years) else 0.0


def _years_since(events: tuple[Happening, ...], kinds: set[str], as_of: float) -> float:
    return min(((as_of - event.time) / YEAR for event in events if event.kind in kinds), default=np.inf)


def coat_area(section: SectionRecord, as_of: float) -> float:
    """The coated area in m²: the treatment's own, else the section's length times height (else one)."""
    given = [coat.area_m2 for coat in standing(section, as_of) if coat.area_m2 > 0]
    area = given[0] if given else section.length_m * section.height_m
    return float(area) if area > 0 else 1.0
