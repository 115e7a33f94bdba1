"""Names of walls, coats, verdicts and probabilities as a page says them."""

from __future__ import annotations

from typing import Final

from inspections.analysis.wording import capital as capital
from inspections.analysis.wording import listed as listed
from inspections.analysis.wording import spelt as spelt
from inspections.vocabulary import Quantity, Verdict
from portfolio.models import Building, Section, Treatment
from portfolio.vocabulary import COAT_KINDS as COAT_KINDS
from portfolio.vocabulary import Binder, TreatmentKind

COMPASS: Final = {
    "n": "North", "e": "East", "s": "South", "w": "West",
    "ne": "North-east", "nw": "North-west", "se": "South-east", "sw": "South-west",
}  # fmt: skip
_NAMELESS = {Binder.UNKNOWN, Binder.OTHER, Binder.NONE, ""}

#: Quantities that a page shows and the vocabulary does not hold, since they are computed.
COMPUTED: Final = {
    "dew_point_margin": "dew-point margin",
    "affected_area_fraction": "affected share of the coat",
    "affected_area": "affected area",
}


def sentence(text: str) -> str:
    """What somebody wrote as a note, begun with a capital and ended with a stop if it has none."""
    text = capital(text.strip())
    return text if not text or text.endswith((".", "!", "?", ")")) else f"{text}."


def typeset(text: str) -> str:
    """A sentence with the page's apostrophes."""
    return text.replace("'", "’")


def wall_name(section: Section) -> str:
    """Such as "North wall", from whatever was written down; the section's code where nothing was."""
    written = section.wall.strip()
    return wall_title(written) if written else f"Section {section.code}"


def wall_title(written: str) -> str:
    """A wall's name as a heading: "n", "north" and "North wall" all give "North wall"."""
    name = COMPASS.get(written.lower(), capital(written))
    return name if "wall" in name.lower() else f"{name} wall"


def compass_point(wall: str) -> str:
    """The letter N, E, S or W that a wall's name gives, or ""."""
    first = wall.strip().lower().split(" ")[0].split("-")[0]
    whole = {name.lower(): key.upper() for key, name in COMPASS.items() if len(key) == 1}
    return first.upper() if first in ("n", "e", "s", "w") else whole.get(first, "")


def section_name(section: Section, alone_on_wall: bool) -> str:
    """The wall's name, with the section's code where the wall has more than one."""
    name = wall_name(section)
    return name if alone_on_wall or not section.wall.strip() else f"{name} ({section.code})"


def house_name(building: Building) -> str:
    """What people call the house."""
    return str(building)


def quantity_name(quantity: str) -> str:
    """A quantity's plain name."""
    if quantity in Quantity.values:
        return str(Quantity(quantity).label)
    return COMPUTED.get(quantity, quantity.replace("_", " "))


def verdict_name(verdict: str) -> str:
    """A verdict's plain name."""
    return str(Verdict(verdict).label)


def coat_name(treatment: Treatment) -> str:
    """Such as "2016 cement coat": year, binder and kind, leaving out what is unknown."""
    kind = "coat" if treatment.kind == TreatmentKind.PARGE_COAT else treatment.get_kind_display()
    binder = "" if treatment.binder in _NAMELESS else treatment.get_binder_display()
    if treatment.kind == TreatmentKind.LIMEWASH:
        binder = ""
    return " ".join(part for part in (_coat_year(treatment), binder, kind) if part)


def _coat_year(treatment: Treatment) -> str:
    earliest, applied = treatment.applied_earliest, treatment.applied_on
    if earliest and earliest.year != applied.year:
        return f"{earliest.year}–{applied.year}"
    return str(applied.year)


#: The least probability at which each phrase is used. Our own words, ordered; no standard is followed.
_PHRASES: Final = (
    (0.99, "almost certainly"),
    (0.90, "very likely"),
    (0.70, "likely"),
    (0.50, "more likely than not"),
    (0.30, "possibly"),
    (0.10, "less likely"),
    (0.01, "unlikely"),
)


def likelihood(probability: float) -> str:
    """A probability in words."""
    return next((phrase for least, phrase in _PHRASES if probability >= least), "very unlikely")


def in_hundred(probability: float) -> str:
    """Such as "93 in 100"; never 0 or 100, which a probability of this kind can't be."""
    count = round(probability * 100)
    if count >= 100:
        return "over 99 in 100"
    return f"{count} in 100" if count >= 1 else "under 1 in 100"


def counted(count: int, one: str, many: str = "") -> str:
    """Such as "1 reading", "22 readings"."""
    return f"{count} {one if count == 1 else many or one + 's'}"
