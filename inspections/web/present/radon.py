"""A radon reading beside the levels that two public bodies name. The local rule goes before either."""

from __future__ import annotations

from typing import Final

from inspections.domain.telling.dangers import RADON_ACTION
from inspections.vocabulary import Qualifier, Unit
from inspections.web.present import units

#: Bq/m³. World Health Organization, WHO Handbook on Indoor Radon (2009): national reference level, as a mean
#: of the year.
WHO_REFERENCE: Final = 100.0
EPA_ACTION: Final = RADON_ACTION

_TAIL: Final = "One reading is a glimpse of the year; where the local rule names a level, that one holds."


def comparison(value: float, qualifier: str, system: str) -> str:
    """Where a reading stands, Bq/m³; "" for a bound that does not tell."""
    who, epa = (units.amount(level, Unit.BQ_PER_M3, system) for level in (WHO_REFERENCE, EPA_ACTION))
    above_epa, above_who = value >= EPA_ACTION, value >= WHO_REFERENCE
    if (qualifier == Qualifier.ABOVE and not above_epa) or (qualifier == Qualifier.BELOW and above_who):
        return ""
    if above_epa:
        said = f"At or above the US EPA’s action level ({epa}) and the WHO’s reference level ({who})."
    elif above_who:
        said = f"At or above the WHO’s reference level ({who}), below the US EPA’s action level ({epa})."
    else:
        said = f"Below the WHO’s reference level ({who}) and the US EPA’s action level ({epa})."
    return f"{said} {_TAIL}"
