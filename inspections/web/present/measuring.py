"""What to measure next, as one would ask it of somebody with a meter and a hammer."""

from __future__ import annotations

from typing import Final

from inspections.vocabulary import Quantity
from inspections.web.present import units, words

#: How each reading is made, in a few words. Common practice.
HOW: Final[dict[str, str]] = {
    Quantity.SURFACE_MOISTURE: "read the face with the moisture meter, at the same marks as before",
    Quantity.DEEP_MOISTURE: "read the moisture deep in the wall, with long probes or in a drilled hole",
    Quantity.IN_WALL_HUMIDITY: "read the humidity inside the wall, in a closed hole that was left to settle",
    Quantity.HOLLOW_AREA: "tap the whole coat with a hammer and measure what sounds hollow",
    Quantity.SPALL_AREA: "measure how much of the face has fallen",
    Quantity.SALT_AREA: "measure how much of the face shows salt",
    Quantity.AIR_HUMIDITY: "read the room’s air and the temperature of the face together",
    Quantity.MORTAR_SOFT_DEPTH: "probe by hand how deep the mortar is soft, where the coat is off",
    Quantity.HYGROSCOPIC_MOISTURE: "have a little drilled dust weighed after a stay in air at 75 % humidity",
}
_AGAIN: Final = "once more, in the other season, "
_VERBS: Final = ("would ", "shows ")


def request(item: dict[str, str], system: str) -> str:
    """Such as "Tap the whole coat with a hammer …: that would show whether the coat is letting go."

    ``item``: the quantity and the reason of a stored advice, which are one sentence.
    """
    reason = words.typeset(units.in_units(item["reason"].rstrip("."), system))
    again = reason.startswith(_AGAIN)
    reason = reason.removeprefix(_AGAIN)
    starts = [reason.index(verb) for verb in _VERBS if verb in reason]
    if item["quantity"] not in HOW or not starts:
        return f"{words.capital(words.quantity_name(item['quantity']))} {reason}."
    why = reason[min(starts) :].partition(";")[0]
    when = ", once more and in the other season" if again else ""
    return f"{words.capital(HOW[item['quantity']])}{when}. That {why}."
