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

from inspections.analysis.assessment import judge, model_version, verdict_of
from inspections.analysis.recalibration import Recalibration
from inspections.analysis.records import (
    READING_FIELDS,
    BuildingRecord,
    FloatArray,
    Readings,
    SectionRecord,
    no_readings,
)
from inspections.analysis.verdict import recalibrated

#: Visits so few days apart are one round of the house, looked back on from its last day.
ROUND_DAYS = 7


@dataclass(frozen=True, slots=True)
class Look:
    """What the model alone says of a section as of the end of a day: the probability of each hypothesis.

    ``visits``: days on which the section was read under its coat of then.
    """

    as_of: dt.date
    probability: dict[str, float]
    visits: int

    def told(self, recalibration: Recalibration) -> tuple[str, dict[str, float]]:
        """The verdict and the probabilities with what openings known by then had taught."""
        moved = recalibrated(self.probability, recalibration)
        return verdict_of(moved, self.visits), moved


def rounds(record: BuildingRecord) -> list[float]:
    """The days on which the house's sections were read, the last day of each round, in time.

    A round also ends before a wall is opened, so that what was said until then can be compared with it.
    """
    times = [np.floor(section.readings.time) for section in record.sections]
    days = np.unique(np.concatenate(times)) if times else np.zeros(0)
    opened = np.sort([e.time for section in record.sections for e in section.events if e.kind == "opening"])
    after = np.diff(np.searchsorted(opened, days, side="right")) > 0
    ends = np.append((np.diff(days) > ROUND_DAYS) | after, True)[: len(days)]
    return [float(day) for day in days[ends]]


def look_back(record: BuildingRecord, day: float) -> dict[str, Look]:
    """What is said of each section that had been read by local day ``day``, by the section's code."""
    as_of = dt.date(1970, 1, 1) + dt.timedelta(days=int(day))
    known = record.until(day)
    read = {section.code for section in known.sections if len(section.readings)}
    return {
        own.section.code: Look(as_of, own.posterior.probability, own.visits)
        for own in judge(known, day)[1]
        if own.section.code in read
    }


def digests(record: BuildingRecord, days: Collection[float]) -> list[str]:
    """For each of ``days`` (in time) a digest of all that a look at its end sees, and of the model's version.

    What openings taught is no part of it: it is applied to what a look says.

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
