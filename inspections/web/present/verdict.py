"""The verdict in words: what it is called, what it says of a wall, and how sure it is."""

from __future__ import annotations

from typing import Final

from inspections.analysis.results import FEW_VISITS
from inspections.vocabulary import Verdict
from inspections.web.present import words
from inspections.web.present.sentences import Result
from portfolio.models import Treatment

#: What "insufficient data" is called where there are readings, but no explanation is probable enough.
UNDECIDED: Final = "undecided"
#: From this probability on a verdict is told as it is, without first asking for the reading that would tell
#: most.
SURE: Final = 0.9
#: Below this a row says "possibly".
EVEN: Final = 0.5


def shown(result: Result, coat: Treatment | None) -> str:
    """The verdict as a page tells it: one of the vocabulary's, or :data:`UNDECIDED`."""
    if result["verdict"] != Verdict.INSUFFICIENT_DATA or visits(result, coat) < FEW_VISITS:
        return str(result["verdict"])
    return UNDECIDED


def visits(result: Result, coat: Treatment | None) -> int:
    """So many visits at least have read some one quantity under the present coat."""
    begun = "" if coat is None or coat.found else coat.applied_on.isoformat()
    trends = (result.get("trends") or {}).values()
    return max((trend["readings"] for trend in trends if (trend["first"] or "") >= begun), default=0)


def name(told: str) -> str:
    """The plain name of a verdict as told."""
    return UNDECIDED if told == UNDECIDED else words.verdict_name(told)


def ranked(result: Result) -> list[str]:
    """The six explanations, the likeliest first."""
    probability: dict[str, float] = result["probability"]
    return sorted(probability, key=lambda one: -probability[one])


def is_sure(result: Result) -> bool:
    """Whether the verdict is probable enough to be acted on without asking for more readings first."""
    return bool(result["probability"].get(result["verdict"], 0.0) >= SURE)


def is_called_early(result: Result) -> bool:
    """Whether another explanation is likelier: held water is called all the same, as a miss costs more."""
    return result["verdict"] not in (Verdict.INSUFFICIENT_DATA, ranked(result)[0])


def clause(told: str, coat: Treatment | None) -> str:
    """A verdict as the end of a sentence about a wall, naming the coat it speaks of."""
    behind = f"behind the {words.coat_name(coat)}" if coat else "in the wall"
    wearing = f"the {words.coat_name(coat)} is" if coat else "face and pointing are"
    return {
        Verdict.TRAPPED_WATER: f"water held {behind}",
        Verdict.WATER_ENTRY: "more water coming in, and it shows at the face",
        Verdict.CONDENSATION: "the face is wetted by the room’s air",
        Verdict.SURFACE_WEAR: f"{wearing} wearing, on a wall that is not wet",
        Verdict.DRYING_OUT: "giving off its water and drying",
        Verdict.STABLE: "stable",
        Verdict.INSUFFICIENT_DATA: "not enough readings to judge",
    }[Verdict(told)]


def claim(result: Result, coat: Treatment | None) -> str:
    """What a row says of its wall, with how likely it is wherever that is in doubt."""
    told = shown(result, coat)
    if told == UNDECIDED:
        first, second = ranked(result)[:2]
        return f"undecided between {_with_share(result, first)} and {_with_share(result, second)}"
    if is_called_early(result):
        likelier = _with_share(result, ranked(result)[0])
        return f"possibly {clause(told, coat)} ({_share(result, told)}), though {likelier} is likelier"
    if told == Verdict.INSUFFICIENT_DATA or is_sure(result):
        return clause(told, coat)
    doubt = "possibly " if result["probability"][told] < EVEN else ""
    return f"{doubt}{clause(told, coat)} ({_share(result, told)})"


def sentence(result: Result, coat: Treatment | None) -> str:
    """The verdict with its probability in words and as a number."""
    told = shown(result, coat)
    if told == UNDECIDED:
        return _undecided(result)
    if told == Verdict.INSUFFICIENT_DATA:
        return _first_day(result, coat)
    share = result["probability"][told]
    how_sure = f"{words.capital(words.likelihood(share))} ({words.in_hundred(share)})"
    text = f"{how_sure}: {clause(told, coat)}."
    if is_called_early(result):
        likelier = ranked(result)[0]
        text += (
            f" {words.capital(_with_share(result, likelier))} is likelier, but a wall that is missed costs "
            "more than a look."
        )
    return text


def _undecided(result: Result) -> str:
    first, second = ranked(result)[:2]
    return (
        "There are readings, but they fit no explanation well enough to call it. The likeliest two are "
        f"{_with_share(result, first)} and {_with_share(result, second)}.{_held(result, (first, second))}"
    )


def _first_day(result: Result, coat: Treatment | None) -> str:
    likeliest = ranked(result)[0]
    return (
        "Not enough readings to judge. From the coat, its age, the wall’s exposure and the little that was "
        f"read, the likeliest of the six is this: {clause(likeliest, coat)} ({_share(result, likeliest)})."
        f"{_held(result, (likeliest,))}"
    )


def _held(result: Result, said: tuple[str, ...]) -> str:
    """How likely held water is, where that has not been said: it is the explanation that costs most."""
    if Verdict.TRAPPED_WATER in said:
        return ""
    return f" Held water: {_share(result, Verdict.TRAPPED_WATER)}."


def _share(result: Result, verdict: str) -> str:
    return words.in_hundred(result["probability"][verdict])


def _with_share(result: Result, verdict: str) -> str:
    return f"{words.verdict_name(verdict)} ({_share(result, verdict)})"
