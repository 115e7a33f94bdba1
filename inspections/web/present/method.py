"""The page that explains how a verdict is made, and how well it does on simulated walls."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from django.utils.safestring import SafeString

from inspections.analysis.alarms import FALSE_OPENINGS
from inspections.analysis.openings import FEWEST, SOFT_MM, WET_MASS, Share
from inspections.analysis.recalibration import LEAST, Recalibration, log_odds
from inspections.analysis.records import FloatArray
from inspections.domain.openings import OpeningLedger, Suggestion
from inspections.web.present import calibrated, dates, plots_svg, units, words

FILE: Final = Path(__file__).with_name("evidence.json")
#: Generators of the calibration, and the one that it never sees, as the page calls them.
NAMES: Final = {
    "physical": "a water balance",
    "phenomenal": "regimes and curves",
    "blind": "a bucket",
    "profile": "cells by height and depth",
    "chance": "storms and stores of water",
    "holdout": "two zones and a grid of cells, never calibrated on",
}


@dataclass(frozen=True, slots=True)
class GeneratorRow:
    """How the verdict does on one make of simulated walls."""

    name: str
    count: str
    auc: str
    found: str
    false: str
    early: str


@dataclass(frozen=True, slots=True)
class FlagRow:
    """The limits of one kind of flag, and its false openings."""

    name: str
    limits: str
    rate: str
    false_share: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """The figures, and the sentences beside them."""

    reliability: SafeString
    reliability_said: str
    lead: SafeString
    lead_said: str
    operating: SafeString
    kits: list[tuple[SafeString, str]]
    adds: SafeString
    generators: list[GeneratorRow]
    flags: list[FlagRow]
    bound: str
    model: str
    section_dates: str


@cache
def evidence() -> Evidence:
    """The packaged evidence, drawn; made once a process, since it never changes in one."""
    told: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
    by_years = {row["years"]: row["share"] for row in told["lead"]["called"]}
    return Evidence(
        reliability=plots_svg.reliability(told["reliability"]),
        reliability_said=(
            f"{told['section_dates']:,} judgements in bands of ten in 100, with 95 % limits; on the dashed "
            "line what is stated comes true. In tenths of equal count the two lie "
            f"{told['error'] * 100:.1f} in 100 apart on average."
        ),
        lead=plots_svg.lead(told["lead"]["called"]),
        lead_said=(
            f"Of {told['lead']['walls']} walls that held water when the first hundredth of their coat had "
            f"fallen, {words.in_hundred(by_years[0.0])} had been called by then, "
            f"{words.in_hundred(by_years[1.0])} a year before and {words.in_hundred(by_years[4.0])} four "
            "years before; visits twice a year or so."
        ),
        operating=plots_svg.operating(told["kits"]),
        kits=[
            (plots_svg.curve_swatch(i), f"{words.capital(kit['kit'])} (AUC {kit['auc']:.3f})")
            for i, kit in enumerate(told["kits"])
        ],
        adds=plots_svg.adds(told["adds"]),
        generators=[_generator(row) for row in told["generators"]],
        flags=[_flag(row) for row in told["flags"]],
        bound=units.number(FALSE_OPENINGS, 0),
        model=told["model"],
        section_dates=f"{told['section_dates']:,}",
    )


def _generator(row: dict[str, Any]) -> GeneratorRow:
    return GeneratorRow(
        name=words.capital(NAMES[row["name"]]),
        count=f"{row['section_dates']:,}",
        auc=f"{row['auc']:.3f}",
        found=words.in_hundred(row["found"]),
        false=f"{row['false'] * 100:.1f} in 100",
        early=words.in_hundred(row["early"]),
    )


def _flag(row: dict[str, Any]) -> FlagRow:
    return FlagRow(
        name=words.verdict_name(row["verdict"]),
        limits=f"from {words.in_hundred(row['opens'])}, under {words.in_hundred(row['closes'])}",
        rate=(
            f"{row['rate']:.2f} ({row['low']:.2f} to {row['high']:.2f}; "
            f"{row['section_years']:,} section-years)"
        ),
        false_share=words.in_hundred(row["false_share"]),
    )


# The opening ledger ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SuggestedRow:
    """A wall to open, with the address of its page."""

    section: Any
    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Ledger:
    """What opened walls say, in sentences, and which to open next."""

    sentences: list[str]
    #: What they changed in the probabilities, drawn where anything is changed.
    changed: str
    drawn: SafeString | None
    basis: str
    rule: str
    suggestions: list[SuggestedRow]


def ledger(found: OpeningLedger, system: str) -> Ledger:
    """The opening ledger in words."""
    return Ledger(
        sentences=_ledger_sentences(found),
        changed=_changed(found.taught),
        drawn=_drawn(found.taught) if found.taught.changes else None,
        basis=calibrated.Made("", found.taught.openings if found.taught.changes else 0).basis,
        rule=(
            f"An opened wall counts as wet from {units.number(WET_MASS, 0)} % of moisture by mass on, salt’s "
            "own share taken off, or, where nothing was weighed, from "
            f"{units.amount(SOFT_MM, 'mm', system)} of soft mortar. "
            "Write the opening down as an event, and the readings of its samples within two weeks."
        ),
        suggestions=[_suggested(one) for one in found.suggestions],
    )


def _ledger_sentences(found: OpeningLedger) -> list[str]:
    truth = found.truth
    if not truth.opened and not found.untold:
        return ["No wall has been opened yet, or none is written down: nothing here was confirmed."]
    told = []
    if truth.opened:
        told.append(
            f"Openings that tell: {truth.opened}. Of these walls {truth.held} held water, where the "
            f"probabilities given beforehand add up to {units.number(truth.expected, 1)}."
        )
    if found.told:
        latest, held = found.told[-1]
        told.append(f"The latest, on {dates.day(latest.day)}, was {'wet' if held else 'dry'}.")
    if found.untold:
        told.append(
            f"Not counted: {words.counted(found.untold, 'opening')} where nothing was measured in the opened "
            "place, or whose wall had not been looked at before."
        )
    if truth.sensitivity is None or truth.false_calls is None:
        told.append(
            "Too few openings yet to say how many wet walls are called and how many dry ones falsely: at "
            f"least {FEWEST} walls that were called and {FEWEST} that were not, some of them drawn at random."
        )
    else:
        told.append(
            f"Of the walls that hold water {_share(truth.sensitivity)} are called; of those that don’t, "
            f"{_share(truth.false_calls)} are called all the same (weighted by how they were chosen to be "
            "opened)."
        )
    return told


#: Probabilities that the sentence gives as examples, and between which the curve is drawn.
_EXAMPLES: Final = (0.1, 0.5, 0.9)
_DRAWN: Final = np.linspace(0.005, 0.995, 100)


def _moved(taught: Recalibration, stated: FloatArray) -> FloatArray:
    return np.asarray(1 / (1 + np.exp(-log_odds(stated) - taught.gain(stated))))


def _changed(taught: Recalibration) -> str:
    """What the openings change, in words."""
    if taught.openings < LEAST:
        return (
            f"They change no probability yet: from {words.spelt(LEAST)} on they do, since before that one "
            "odd wall would move all others."
        )
    held = words.spelt(taught.held) if taught.held else "none"
    counted = (
        f"Of {words.counted(taught.openings, 'opened wall')} {held} held water, where the model alone had "
        f"promised {units.number(taught.expected, 1)}."
    )
    if not taught.changes:
        return f"{counted} That is as promised, and changes nothing."
    examples = words.listed(
        [
            f"{words.in_hundred(stated)} by the model alone is now {words.in_hundred(moved)}"
            for stated, moved in zip(_EXAMPLES, _moved(taught, np.array(_EXAMPLES)), strict=True)
        ]
    )
    return (
        f"{counted} All probabilities of trapped water follow: what is {examples}. The others share the rest "
        f"as before. In log-odds the shift is {units.number(taught.shift.value, 2)} (95 % interval "
        f"{units.number(taught.shift.low, 2)} to {units.number(taught.shift.high, 2)}), the slope "
        f"{units.number(taught.slope.value, 2)} ({units.number(taught.slope.low, 2)} to "
        f"{units.number(taught.slope.high, 2)}). Few openings move little, many have their way."
    )


def _drawn(taught: Recalibration) -> SafeString:
    stated = [float(value) for value in _DRAWN]
    moved = [float(value) for value in _moved(taught, _DRAWN)]
    return plots_svg.recalibrated(list(zip(stated, moved, strict=True)))


def _share(share: Share) -> str:
    return f"{words.in_hundred(share.value)} (95 % interval {share.low * 100:.0f} to {share.high * 100:.0f})"


def _suggested(one: Suggestion) -> SuggestedRow:
    why = "drawn at random, to keep the count honest" if one.at_random else "most is learnt of this wall"
    return SuggestedRow(
        section=one.section,
        name=f"{words.wall_name(one.section)}, {words.house_name(one.section.building)}",
        reason=f"{words.in_hundred(one.probability)} that it holds water; {why}",
    )
