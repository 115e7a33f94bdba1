"""The verdicts of the past, as they would have been given at each visit from what was known then.

A look at a visit sees :meth:`BuildingRecord.until` of its day and nothing later. Since a house's whole record
bears on each look (meters and neighbours are shared), a look is named by a digest of all that it saw: where
the digest is known already, nothing is computed again.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass, replace
from hashlib import blake2b

import numpy as np

from inspections.analysis.assessment import judge, model_version
from inspections.analysis.records import (
    READING_FIELDS,
    BuildingRecord,
    FloatArray,
    Readings,
    SectionRecord,
    no_readings,
)

#: Visits so few days apart are one round of the house, looked back on from its last day.
ROUND_DAYS = 7


@dataclass(frozen=True, slots=True)
class Look:
    """One section's verdict as of the end of a day, and the probability of each hypothesis."""

    as_of: dt.date
    verdict: str
    probability: dict[str, float]


def rounds(record: BuildingRecord) -> list[float]:
    """The days on which the house's sections were read, the last day of each round, in time."""
    times = [np.floor(section.readings.time) for section in record.sections]
    days = np.unique(np.concatenate(times)) if times else np.zeros(0)
    ends = np.append(np.diff(days) > ROUND_DAYS, True)[: len(days)]
    return [float(day) for day in days[ends]]


def look_back(record: BuildingRecord, day: float) -> dict[str, Look]:
    """The verdict on each section that had been read by local day ``day``, by the section's code."""
    as_of = dt.date(1970, 1, 1) + dt.timedelta(days=int(day))
    known = record.until(day)
    read = {section.code for section in known.sections if len(section.readings)}
    return {
        own.section.code: Look(as_of, own.verdict, own.posterior.probability)
        for own in judge(known, day)[1]
        if own.section.code in read
    }


def digests(record: BuildingRecord, days: Collection[float]) -> list[str]:
    """For each of ``days`` (in time) a digest of all that a look at its end sees, and of the model's version.

    Readings are taken in as time goes on, so that the whole costs one pass over them.
    """
    running = blake2b(digest_size=16)
    running.update(repr((model_version(), record.code, record.year_built, record.country)).encode())
    owners = [("", record.readings), *((section.code, section.readings) for section in record.sections)]
    found, seen = [], -np.inf
    used: set[str] = set()
    for day in days:
        for code, readings in owners:
            rows = _between(readings, seen, day)
            if rows:
                running.update(repr((code, rows)).encode())
                used.update(map(str, rows[READING_FIELDS.index("instrument")]))
        seen = day
        whole = running.copy()
        whole.update(repr(_facts(record, day, used)).encode())
        found.append(whole.hexdigest())
    return found


def _between(readings: Readings, after: float, until: float) -> list[list[object]]:
    """The columns of the readings of the local days after ``after``, up to and with ``until``."""
    first, last = np.searchsorted(np.floor(readings.time), [after, until], side="right")
    if first == last:
        return []
    return [_plain(getattr(readings, name)[first:last]) for name in READING_FIELDS]


def _plain(column: FloatArray) -> list[object]:
    return list(column.tolist())


def _facts(record: BuildingRecord, day: float, used: set[str]) -> tuple[object, ...]:
    """What is known by ``day`` beside the readings."""
    sections: list[SectionRecord] = [
        replace(section, readings=no_readings()).until(day) for section in record.sections
    ]
    bare = [
        tuple(getattr(section, name) for name in section.__slots__ if name != "readings")
        for section in sections
    ]
    instruments = [record.instruments.get(code) for code in sorted(used)]
    return bare, [event for event in record.events if event.time <= day], instruments
