"""What is written down of a section, line by line: coats, flags, actions, checks and readings as entered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from django.urls import reverse

from inspections.models import Action, Flag, Reading
from inspections.vocabulary import FlagState, Qualifier
from inspections.web.present import dates, house, sentences, units, words
from portfolio.models import Event, Treatment
from portfolio.vocabulary import EventKind, Units

#: Days for which an opened place still tells how the wall is. Ours.
OPENING_TELLS: Final = 730


@dataclass(frozen=True, slots=True)
class CoatRow:
    """One treatment as it was put on, and whether it still stands."""

    name: str
    layer: int
    make_up: str
    applied: str
    removed: str
    cost: str
    #: Where it is written down that it came off; empty once it has.
    removal: str


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading as entered."""

    when: str
    quantity: str
    value: str
    place: str
    instrument: str
    inspector: str
    note: str


def coat_rows(treatments: Iterable[Treatment], system: str) -> list[CoatRow]:
    """Everything that was put on, in time."""
    return [
        CoatRow(
            name=words.capital(words.coat_name(one).removeprefix(f"{one.applied_on.year} ")),
            layer=one.layer,
            make_up=_make_up(one, system),
            applied=("found, " if one.found else "") + _applied(one),
            removed=_removed(one),
            cost=f"{one.cost} {one.currency}".strip() if one.cost is not None else "",
            removal="" if one.removed_on else reverse("remove-treatment", args=[one.pk]),
        )
        for one in treatments
    ]


def _applied(one: Treatment) -> str:
    if one.applied_earliest and one.applied_earliest != one.applied_on:
        return f"between {dates.day(one.applied_earliest)} and {dates.day(one.applied_on)}"
    return dates.day(one.applied_on)


def _make_up(one: Treatment, system: str) -> str:
    parts = [one.mix] if one.mix else []
    if one.thickness_mm is not None:
        parts.append(f"{units.amount(one.thickness_mm, 'mm', system)} thick")
    if one.sd_m is not None:
        parts.append(f"sd {units.number(one.sd_m, 2)}{units.NO_BREAK}m")
    elif one.mu is not None:
        parts.append(f"µ {units.number(one.mu, 0)}")
    if one.applied_by:
        parts.append(f"by {one.applied_by}")
    return ", ".join(parts)


def _removed(one: Treatment) -> str:
    if not one.removed_on:
        return "in place"
    reason = f" ({one.get_removal_reason_display()})" if one.removal_reason else ""
    return f"off {dates.day(one.removed_on)}{reason}"


def flag_lines(flags: Iterable[Flag], today: dt.date) -> list[str]:
    """Live flags and past ones, each as a sentence with its reason."""
    lines = []
    for flag in flags:
        name = words.capital(words.verdict_name(flag.verdict))
        reason = words.sentence(flag.reason)
        if flag.state in (FlagState.CLOSED, FlagState.DISMISSED):
            ended = f", {(flag.closed_on and dates.day(flag.closed_on)) or ''}".rstrip(", ")
            text = f"Flag opened {dates.day(flag.opened_on)}, {flag.get_state_display()}{ended}."
        else:
            text = sentences.flag_sentence(flag.state, flag.opened_on, today)
        lines.append(f"{name}. {text} {reason}".rstrip())
    return lines


def action_lines(actions: Iterable[Action], followed: Mapping[UUID, str]) -> list[str]:
    """What was done, with its cost and whether it worked; ``followed``: what the readings say of it."""
    lines = []
    for action in actions:
        cost = f", {action.cost} {action.currency}".rstrip() if action.cost is not None else ""
        text = f"{dates.day(action.done_on)}: {action.get_kind_display()}{cost}."
        if action.note:
            text += f" {words.sentence(action.note)}"
        if action.outcome:
            text += f" Follow-up: {words.sentence(action.outcome)}"
        elif action.follow_up_on:
            text += f" To be looked at again {dates.day(action.follow_up_on)}."
        if action.pk in followed:
            text += f" The readings: {followed[action.pk]}"
        lines.append(text)
    return lines


def source_check_sentence(events: Iterable[Event]) -> str:
    """When the sources of water were last looked at."""
    checks = [event.happened_on for event in events if event.kind == EventKind.SOURCE_CHECK]
    if not checks:
        return "No check of the sources is written down for this wall."
    return f"The sources were last checked on {dates.day(max(checks))}."


def opened_lately(events: Iterable[Event], today: dt.date) -> dt.date | None:
    """The day on which the wall was last opened to look, if that still tells how it is."""
    days = [event.happened_on for event in events if event.kind == EventKind.OPENING]
    last = max(days, default=None)
    return last if last is not None and (today - last).days <= OPENING_TELLS else None


def reading_rows(readings: Iterable[Reading], zone: dt.tzinfo, system: str) -> list[ReadingRow]:
    """Readings as entered, beside their value in the reader's units where that differs."""
    return [_reading_row(reading, zone, system) for reading in readings]


def _reading_row(reading: Reading, zone: dt.tzinfo, system: str) -> ReadingRow:
    local = reading.taken_at.astimezone(zone)
    sign = {Qualifier.ABOVE: "above ", Qualifier.BELOW: "below "}.get(Qualifier(reading.qualifier), "")
    places = [
        units.amount(value, "mm", system, decimals=0 if system == Units.SI else 1) + f" {what}"
        for value, what in ((reading.height_mm, "up"), (reading.depth_mm or None, "deep"))
        if value is not None
    ]
    if reading.point:
        places.append(f"at {reading.point}")
    return ReadingRow(
        when=f"{dates.day(local.date())}, {local:%H:%M}",
        quantity=words.quantity_name(reading.quantity),
        value=sign + units.amount(reading.value, house.canonical_unit(reading), system),
        place=", ".join(places),
        instrument=reading.instrument.code if reading.instrument else "",
        inspector=reading.visit.inspector,
        note=reading.note,
    )
