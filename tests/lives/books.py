"""Small record books, written by hand: sections, coats, areas and mendings, as the analysis takes them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, fields

import numpy as np

from inspections.analysis.failures import Areas, Coats, Lives, Mended, lives
from inspections.analysis.records import YEAR

EPOCH = dt.date(1970, 1, 1)
#: Every coat of these books has this area, m², so that 0.1 is one square metre.
AREA = 10.0
THRESHOLD = 0.10


def day(text: str) -> float:
    """The number of a day written as 2015-04-01."""
    return float((dt.date.fromisoformat(text) - EPOCH).days)


def years(first: str, last: str) -> float:
    return (day(last) - day(first)) / YEAR


@dataclass
class Book:
    """Coats of one section each, with what was read on them: hollow and fallen area, m²; None: not read."""

    coats: list[dict[str, object]] = field(default_factory=list)
    areas: list[tuple[int, float, bool, float, float]] = field(default_factory=list)
    mended: list[tuple[int, float, float]] = field(default_factory=list)

    def coat(
        self,
        applied: str,
        visits: dict[str, tuple[float | None, float | None]],
        *,
        removed: str | None = None,
        reason: str = "",
        found: bool = False,
        earliest: str | None = None,
        mended: dict[str, float] | None = None,
        sacrificial: bool = False,
    ) -> Book:
        section = len(self.coats)
        self.coats.append(
            {
                "section": section,
                "earliest": day(earliest or applied),
                "begun": day(applied),
                "ended": day(removed) if removed else np.inf,
                "removed": removed is not None,
                "failed": reason == "failed",
                "found": found,
                "area": AREA,
                "planned": reason == "planned",
                "sacrificial": sacrificial,
            }
        )
        for when, (hollow, fallen) in visits.items():
            for is_hollow, area in ((True, hollow), (False, fallen)):
                if area is not None:
                    self.areas.append((section, day(when), is_hollow, area, area))
        self.mended += [(section, day(when), area) for when, area in (mended or {}).items()]
        return self

    def systems(self) -> Coats:
        """The coats as the analysis takes them."""
        return Coats(*(np.array([coat[field.name] for coat in self.coats]) for field in fields(Coats)))

    def lives(self, threshold: float = THRESHOLD) -> Lives:
        coats = self.systems()
        columns = [np.array(column) for column in zip(*self.areas, strict=True)] or [np.zeros(0)] * 5
        section, when, hollow, low, high = columns
        areas = Areas(section.astype(int), when, hollow.astype(bool), low, high)
        gone = np.array(self.mended).reshape(-1, 3)
        return lives(coats, areas, Mended(gone[:, 0].astype(int), gone[:, 1], gone[:, 2]), threshold)
