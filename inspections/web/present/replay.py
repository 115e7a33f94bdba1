"""What would have been said of a section at each past visit: a ribbon, a sentence, and the looks in rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

from django.utils.safestring import SafeString

from inspections.analysis.alarms import LIMITS, is_open
from inspections.models import Replay
from inspections.vocabulary import Verdict
from inspections.web.present import calibrated, dates, replay_svg, time_axis, words

#: Of a past that changed more often than this only the latest turns are told in the sentence.
MOST_TURNS: Final = 4


@dataclass(frozen=True, slots=True)
class LookRow:
    """One look in the table."""

    day: str
    verdict: str
    trapped: str


@dataclass(frozen=True, slots=True)
class Past:
    """The replay's part of a section's page."""

    sentence: str
    hindsight: str
    desk: SafeString
    phone: SafeString
    rules: list[str]
    legend: list[tuple[SafeString, str]]
    rows: list[LookRow]
    made: str


def present(replay: Replay | None, marks: Sequence[time_axis.Rule], until: dt.date) -> Past | None:
    """The past of a section, or None where nobody has looked back on it yet or nothing was read."""
    if replay is None or not replay.looks:
        return None
    told, end = course(replay.looks), dates.to_days(until)
    desk, phone = (
        replay_svg.draw(replay.looks, marks, end, sheet, told) for sheet in (time_axis.DESK, time_axis.PHONE)
    )
    first = dates.to_days(_day(replay.looks[0]))
    named = [rule.name for rule in time_axis.within(marks, (first, end))]
    return Past(
        sentence=" ".join([told, *flags(replay.looks)]),
        hindsight=hindsight(replay),
        desk=desk,
        phone=phone,
        rules=named,
        legend=replay_svg.legend(replay.looks),
        rows=[_row(look) for look in reversed(replay.looks)],
        made=f"Model {calibrated.made([replay.model_version])}.",
    )


def _day(look: dict[str, Any]) -> dt.date:
    return dt.date.fromisoformat(look["as_of"])


def _row(look: dict[str, Any]) -> LookRow:
    return LookRow(
        dates.day(_day(look)),
        _name(look["verdict"]),
        words.in_hundred(look["probability"][Verdict.TRAPPED_WATER]),
    )


def _name(verdict: str) -> str:
    """What a look said; that it could not say is said without telling few readings from undecided ones."""
    return "no verdict" if verdict == Verdict.INSUFFICIENT_DATA else words.verdict_name(verdict)


def course(looks: Sequence[dict[str, Any]]) -> str:
    """The past in a sentence: which verdict from which visit on, and for how many visits."""
    turns = [(verdict, list(own)) for verdict, own in groupby(looks, key=lambda look: look["verdict"])]
    if len(turns) == 1:
        verdict, own = turns[0]
        if len(own) == 1:
            return f"At the one visit, on {dates.day(_day(own[0]))}: {_name(verdict)}."
        return f"The same at all {len(own)} visits since {dates.day(_day(own[0]))}: {_name(verdict)}."
    parts = [
        f"{_name(verdict)} from {dates.day(_day(own[0]))} ({words.counted(len(own), 'visit')})"
        for verdict, own in turns[-MOST_TURNS:]
    ]
    text = "; then ".join(parts)
    if len(turns) > MOST_TURNS:
        return f"The verdict changed {len(turns) - 1} times in {len(looks)} visits. Of late: {text}."
    return f"{words.capital(text)}."


def flags(looks: Sequence[dict[str, Any]]) -> list[str]:
    """For each kind of flag that would have been open at some look, since when and until when it last was."""
    told = []
    for verdict, limits in LIMITS.items():
        opened: dt.date | None = None
        closed: dt.date | None = None
        was_open = False
        for look in looks:
            state = is_open(was_open, look["probability"][verdict], look["verdict"] == verdict, limits)
            if state and not was_open:
                opened, closed = _day(look), None
            elif was_open and not state:
                closed = _day(look)
            was_open = state
        if opened:
            end = f"closed on {dates.day(closed)}" if closed else "be open still"
            name = words.verdict_name(verdict)
            told.append(f"Unanswered, a flag for {name} would have opened on {dates.day(opened)} and {end}.")
    return told


def hindsight(replay: Replay) -> str:
    """That nobody could have read this on those days, where readings were entered afterwards."""
    if not replay.entered_later:
        return ""
    whole = "All" if replay.entered_later == replay.readings else f"{replay.entered_later} of"
    return (
        f"{whole} {words.counted(replay.readings, 'reading')} of this section were entered more than a week "
        "after they were taken: this is hindsight, and nobody could have read it on those days."
    )
