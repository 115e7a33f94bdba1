"""A section's page: its verdict opened to the evidence, its trends, its coats, what to do next."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final
from uuid import UUID

from django.utils.safestring import SafeString

from inspections.analysis.results import HYPOTHESES
from inspections.analysis.strips import Strip
from inspections.domain.alike import Alike
from inspections.models import LIVE_FLAG_STATES, Assessment, Replay
from inspections.queries.pages import AreaLevel, Past, Stretch
from inspections.vocabulary import Verdict
from inspections.web.present import (
    argument,
    bars,
    coats,
    dates,
    house,
    ledger,
    measuring,
    replay,
    sentences,
    strips_svg,
    time_axis,
    units,
    verdict,
    words,
)
from inspections.web.present.sentences import Result
from portfolio.models import Building, Event, Treatment
from portfolio.vocabulary import EventKind


@dataclass(frozen=True, slots=True)
class Share:
    """One of the six explanations and how probable it is."""

    name: str
    text: str
    probability: float
    is_verdict: bool

    @property
    def drawn(self) -> SafeString:
        return bars.share(self.probability)


@dataclass(frozen=True, slots=True)
class TrendRow:
    """One quantity's rate with its interval, count and method."""

    quantity: str
    rate: str
    interval: str
    readings: int
    span: str
    p_value: str
    method: str
    alike: str


@dataclass(frozen=True, slots=True)
class Verdicts:
    """The verdict with its argument."""

    word: str
    sentence: str
    since: str
    course: str
    forecast: str
    from_when: str
    argument: argument.Argument
    shares: list[Share]
    sure: bool
    advice: list[str]
    ask: str
    trends: list[TrendRow]
    without_rate: str
    next_step: str
    needs_cautions: bool


@dataclass(frozen=True, slots=True)
class Drawn:
    """The strips in both sizes and what a reader needs beside them."""

    desk: SafeString
    phone: SafeString
    rules: list[str]
    notes: str


@dataclass(frozen=True, slots=True)
class SectionPage:
    """Everything a section's page says."""

    name: str
    code: str
    building: Building
    facts: list[str]
    due: str
    verdict: Verdicts | None
    live_flags: list[str]
    source_check: str
    here: house.WallFigure
    strips: Drawn | None
    replay: replay.Past | None
    coats: list[ledger.CoatRow]
    events: list[str]
    flags: list[str]
    actions: list[str]


def present(
    stretch: Stretch,
    neighbours: Sequence[Stretch],
    name: str,
    latest: dict[str, AreaLevel],
    strips: Sequence[Strip],
    past: Past,
    today: dt.date,
    system: str,
    looked_back: Replay | None = None,
    followed: Mapping[UUID, str] = MappingProxyType({}),
    alike: Mapping[str, Alike] = MappingProxyType({}),
) -> SectionPage:
    """The page of one section. ``latest``: last level of each area; ``strips``: as of the assessment.

    ``followed``: for each action what the readings say of it. ``alike``: rates drawn to those of sections
    alike, by quantity.
    """
    assessment = stretch.assessment
    live = [flag for flag in past.flags if flag.state in LIVE_FLAG_STATES]
    over = [flag for flag in past.flags if flag.state not in LIVE_FLAG_STATES]
    marks = rules(stretch.treatments, past.events)
    as_of = assessment.as_of if assessment else today
    return SectionPage(
        name=name,
        code=stretch.section.code,
        building=stretch.section.building,
        facts=[house.made_of_text(stretch), words.capital(house.size_text(stretch, system))],
        due=sentences.due_sentence(stretch.due, today),
        verdict=verdicts(
            stretch, latest, strips, today, system, alike, ledger.opened_lately(past.events, today)
        ),
        live_flags=ledger.flag_lines(live, today),
        source_check=ledger.source_check_sentence(past.events),
        here=house.wall_of(stretch, neighbours, today, system),
        strips=draw(
            strips,
            marks,
            assessment.result if assessment else None,
            as_of,
            system,
        ),
        replay=replay.present(looked_back, marks, as_of),
        coats=ledger.coat_rows(stretch.treatments, system),
        events=[house.event_sentence(event, system, with_place=False) for event in reversed(past.events)],
        flags=ledger.flag_lines(over, today),
        actions=ledger.action_lines(past.actions, followed),
    )


#: What to do first, by verdict. Common practice; it never goes past the source to the coat.
NEXT_STEP: Final[dict[str, str]] = {
    Verdict.TRAPPED_WATER: (
        "Find where the water comes from and mend that first. Then open a small place in the coat at the "
        "wettest spot to see how deep the mortar is soft. Don’t seal or recoat until both are known."
    ),
    Verdict.WATER_ENTRY: (
        "Look outside within the week: gutter, downpipe, paving, pipes, window well, neighbour. Read the "
        "face again a day or two after the next rain, and once more in dry weather."
    ),
    Verdict.CONDENSATION: (
        "The room’s air wets this face. Keep warm moist air out in summer, dry the room’s air, and read "
        "air and face temperature together; leave the coat alone."
    ),
    Verdict.SURFACE_WEAR: (
        "The wall is not wet. Patch what is loose when it suits, with a mortar no harder than the old one, "
        "and look for what wears it: salt, frost near the ground, knocks."
    ),
    Verdict.DRYING_OUT: (
        "Leave it open and let it dry. Read it again as planned; cover nothing before two seasons have "
        "shown it dry."
    ),
    Verdict.STABLE: "Nothing to do but look again when it is due.",
    verdict.UNDECIDED: (
        "Make that reading, and look at every source of water outside while you are there; leave the coat "
        "alone until the wall is understood."
    ),
    Verdict.INSUFFICIENT_DATA: (
        "Make a first full round: face and deep moisture at three heights, a hammer over the whole coat, "
        "air and face temperature, and a dated look at every source of water outside."
    ),
}
#: What to do first where a wall that is taken to hold water was opened lately. Common practice.
AFTER_OPENING: Final = (
    "Go by what was found there before what is said here. Find where the water comes from and mend that "
    "first; don’t seal or recoat until the opened place has been seen to dry."
)
_CAUTIOUS: Final = (Verdict.TRAPPED_WATER, Verdict.WATER_ENTRY, Verdict.SURFACE_WEAR, Verdict.CONDENSATION)


def verdicts(
    stretch: Stretch,
    latest: dict[str, AreaLevel],
    strips: Sequence[Strip],
    today: dt.date,
    system: str,
    alike: Mapping[str, Alike],
    opened: dt.date | None = None,
) -> Verdicts | None:
    """The verdict's part of the page, or None where the section was never assessed.

    ``opened``: when the wall was last opened to look, if that was lately.
    """
    if stretch.assessment is None:
        return None
    result: Result = stretch.assessment.result
    coat = coats.tightest(stretch.treatments, today)
    own, told = result["verdict"], verdict.shown(result, coat)
    return Verdicts(
        word=verdict.name(told),
        sentence=verdict.sentence(result, coat),
        since=sentences.since_sentence(result),
        course=sentences.course_sentence(result, coats.levels_since(coat, latest), system),
        forecast=sentences.forecast_sentence(result, _reached(strips)) if coat else "",
        from_when=_from_when(stretch.assessment, strips),
        argument=argument.of(result, told, system),
        shares=shares(result),
        sure=verdict.is_sure(result),
        advice=[measuring.request(item, system) for item in result.get("advice") or []],
        ask="At the next look." if own == Verdict.STABLE else "Measure next, to be surer.",
        trends=trend_rows(result, system, alike),
        without_rate=without_rate(result),
        next_step=_next_step(told, opened),
        needs_cautions=own in _CAUTIOUS or bool(stretch.flags),
    )


def _next_step(told: str, opened: dt.date | None) -> str:
    if told == Verdict.TRAPPED_WATER and opened is not None:
        return f"It was opened on {dates.day(opened)}. {AFTER_OPENING}"
    return NEXT_STEP[told]


def _reached(strips: Sequence[Strip]) -> dt.date | None:
    """The first visit that found the failure threshold reached under the present coat."""
    days = [strip.reached for strip in strips if strip.reached is not None]
    return dates.from_days(min(days)) if days else None


def shares(result: Result) -> list[Share]:
    """The six explanations, the likeliest first."""
    probability: dict[str, float] = result["probability"]
    ordered = sorted(HYPOTHESES, key=lambda name: -probability.get(name, 0.0))
    return [
        Share(
            words.verdict_name(name),
            words.in_hundred(probability.get(name, 0.0)),
            probability.get(name, 0.0),
            name == result["verdict"],
        )
        for name in ordered
    ]


def trend_rows(result: Result, system: str, alike: Mapping[str, Alike]) -> list[TrendRow]:
    """Every rate with what stands behind it."""
    trends: dict[str, dict[str, Any]] = result.get("trends") or {}
    return [
        _trend_row(quantity, trend, system, alike.get(quantity))
        for quantity, trend in trends.items()
        if trend["rate_per_year"] is not None
    ]


def without_rate(result: Result) -> str:
    """The quantities that were read too seldom for a rate, in a sentence."""
    seldom = [
        f"{words.quantity_name(quantity)} ({words.counted(trend['readings'], 'reading')})"
        for quantity, trend in (result.get("trends") or {}).items()
        if trend["rate_per_year"] is None
    ]
    return f"Read too seldom for a rate: {words.listed(seldom)}." if seldom else ""


def _trend_row(quantity: str, trend: dict[str, Any], system: str, alike: Alike | None) -> TrendRow:
    rate, interval = units.rate(trend["unit"], system, trend["rate_per_year"], trend["low"], trend["high"])
    first, last = (trend["first"] or "")[:4], (trend["last"] or "")[:4]
    return TrendRow(
        quantity=words.quantity_name(quantity),
        rate=f"{rate}{units.NO_BREAK}{units.label(trend['unit'], system)} a year",
        interval=interval or "no 95 % interval",
        readings=trend["readings"],
        span=first if first == last else f"{first}–{last}",
        p_value=p_text(trend["p_value"]),
        method=words.typeset(trend["method"]),
        alike=_alike_text(trend["unit"], system, alike),
    )


def _alike_text(unit: str, system: str, alike: Alike | None) -> str:
    if alike is None:
        return "too few alike"
    rate, interval = units.rate(unit, system, alike.rate, alike.low, alike.high)
    return f"{rate} ({interval}; {words.counted(alike.sections, 'section')})"


#: Below this a p-value is only said to be smaller.
LEAST_P = 0.001


def p_text(p_value: float | None) -> str:
    """Such as "0.03", "under 0.001"."""
    if p_value is None:
        return "not tested"
    if p_value < LEAST_P:
        return f"under {LEAST_P}"
    return units.number(p_value, 3 if p_value < 0.1 else 2)


# Strips ----------------------------------------------------------------------------------------------------

#: Events that can move a wall's readings and so are ruled through the strips.
_RULED: Final = (
    EventKind.LEAK_MENDED,
    EventKind.FLOOD,
    EventKind.SUMP_FAILURE,
    EventKind.REPAIR,
    EventKind.OPENING,
)


def rules(treatments: Iterable[Treatment], events: Iterable[Event]) -> list[time_axis.Rule]:
    """Coats put on and taken off, and events that matter, in time."""
    found = []
    for treatment in treatments:
        name = words.coat_name(treatment).removeprefix(f"{treatment.applied_on.year} ")
        off = dates.to_days(treatment.removed_on) if treatment.removed_on else math.inf
        on = dates.to_days(treatment.applied_on)
        found.append(time_axis.Rule(on, f"{name} {treatment.applied_on.year}", until=off))
        if treatment.removed_on:
            label = f"{name} off {treatment.removed_on.year}"
            found.append(time_axis.Rule(dates.to_days(treatment.removed_on), label))
    for event in events:
        if event.kind in _RULED:
            label = f"{event.get_kind_display()} {event.happened_on.year}"
            found.append(time_axis.Rule(dates.to_days(event.happened_on), label, treatment=False))
    return sorted(found, key=lambda rule: rule.time)


def draw(
    strips: Sequence[Strip],
    marks: Sequence[time_axis.Rule],
    result: Result | None,
    as_of: dt.date,
    system: str,
) -> Drawn | None:
    """The strips for desk and phone; None where nothing was read."""
    if not strips:
        return None
    fan, day = strips_svg.fan_of(result), dates.to_days(as_of)
    desk, phone = (
        strips_svg.draw(strips, marks, fan, day, sheet, system) for sheet in (time_axis.DESK, time_axis.PHONE)
    )
    named = [rule.name for rule in strips_svg.numbered(strips, marks, fan, day)]
    return Drawn(desk, phone, named, units.in_units(_notes(strips, fan is not None), system))


def _from_when(assessment: Assessment | None, strips: Sequence[Strip]) -> str:
    """The day of the assessment, and of the last reading that it could use."""
    if assessment is None:
        return ""
    judged = f"Judged as of {dates.day(assessment.as_of)}"
    times = [float(strip.points.time.max()) for strip in strips if len(strip.points)]
    if not times:
        return f"{judged}, without a reading."
    return f"{judged}; the last reading is of {dates.day(dates.from_days(max(times)))}."


def _notes(strips: Sequence[Strip], with_fan: bool) -> str:
    """What the marks mean, of those that were used."""
    kinds = {str(kind) for strip in strips for kind in strip.points.kind}
    heights = {
        _band(height) for strip in strips for height in strip.points.height_mm.tolist() if height == height
    }
    notes = ["Open marks are readings"]
    if len(heights) > 1:
        notes[0] += ": circles below 0.5 m, diamonds to 1.2 m, squares above"
    if kinds & {"above", "below"}:
        notes.append("an arrow is a reading beyond the scale’s end, or a sum of which a part was not read")
    if "aside" in kinds:
        notes.append("a cross was set aside as a slip")
    if any(strip.line for strip in strips):
        notes.append("the line is the level with its season taken out, in its 95 % band")
    if any(strip.season for strip in strips):
        notes.append("the faint line has the season in it")
    if any(strip.changes for strip in strips):
        notes.append("a tick on a strip’s upper edge is a new instrument")
    if with_fan:
        notes.append("the fan runs to the failure threshold, from its early to its late end")
    notes += [
        f"{words.quantity_name(strip.quantity)}: {words.typeset(strip.assumed)}"
        for strip in strips
        if strip.assumed
    ]
    return "; ".join(notes) + "."


def _band(height: float) -> int:
    return (height >= strips_svg.FOOT_MM) + (height >= strips_svg.TOP_MM)
