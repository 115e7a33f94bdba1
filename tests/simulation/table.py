"""From simulated books to a table of statistics and truths: what calibration and checking work on."""

from __future__ import annotations

import datetime as dt
import importlib
from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inspections.analysis.features import FEATURES, building_features
from inspections.analysis.records import FloatArray
from inspections.analysis.results import HYPOTHESES
from inspections.analysis.series import prepare
from tests.simulation.book import Book, day_number, to_records


@dataclass(frozen=True)
class Table:
    """One row a section and date: statistics (n, F), truth (n,) as an index of the hypotheses, and so on."""

    vectors: FloatArray
    truth: npt.NDArray[np.int64]
    lost: FloatArray
    portfolio: npt.NDArray[np.int64]
    visits: npt.NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.truth)

    def where(self, mask: npt.NDArray[np.bool_]) -> Table:
        """The rows that ``mask`` keeps."""
        return Table(
            self.vectors[mask], self.truth[mask], self.lost[mask], self.portfolio[mask], self.visits[mask]
        )


def joined(tables: Iterable[Table]) -> Table:
    """Tables one under another."""
    tables = list(tables)
    return Table(
        *(
            np.concatenate([getattr(table, name) for table in tables])
            for name in ("vectors", "truth", "lost", "portfolio", "visits")
        )
    )


def of_book(book: Book, portfolio: int, dates_a_house: int) -> Table:
    """The table of one book, at up to ``dates_a_house`` of its truth's dates for each house."""
    truth: dict[tuple[str, str], dict[str, dict[str, object]]] = defaultdict(dict)
    for row in book.truth:
        truth[str(row["building"]), str(row["date"])][str(row["section"])] = row
    dates: dict[str, list[str]] = defaultdict(list)
    for building, date in sorted(truth):
        dates[building].append(date)
    rng = np.random.default_rng(portfolio)
    rows: list[tuple[FloatArray, int, float, int]] = []
    for house in to_records(book):
        chosen = dates[house.code]
        if len(chosen) > dates_a_house:
            chosen = [chosen[i] for i in sorted(rng.choice(len(chosen), dates_a_house, replace=False))]
        for date in chosen:
            day = float(day_number(dt.date.fromisoformat(date)))
            record = house.until(day)
            visits = {item.code: len(np.unique(np.floor(item.readings.time))) for item in record.sections}
            for features in building_features(prepare(record), day):
                row = truth[house.code, date].get(features.section)
                if row is not None:
                    label = HYPOTHESES.index(str(row["truth"]))
                    rows.append(
                        (features.vector, label, float(str(row["lost_fraction"])), visits[features.section])
                    )
    return Table(
        vectors=np.array([row[0] for row in rows]).reshape(-1, len(FEATURES)),
        truth=np.array([row[1] for row in rows], dtype=np.int64),
        lost=np.array([row[2] for row in rows]),
        portfolio=np.full(len(rows), portfolio),
        visits=np.array([row[3] for row in rows], dtype=np.int64),
    )


def of_portfolio(generator: str, seed: int, dates_a_house: int = 3) -> Table:
    """Simulate portfolio ``seed`` with ``tests.simulation.<generator>`` and reduce it."""
    simulate = importlib.import_module(f"tests.simulation.{generator}").simulate
    return of_book(simulate(seed), seed, dates_a_house)


def of_portfolios(generator: str, seeds: Iterable[int], dates_a_house: int = 3, jobs: int = 2) -> Table:
    """Many portfolios, by ``jobs`` processes."""
    seeds = list(seeds)
    with ProcessPoolExecutor(jobs) as pool:
        return joined(
            pool.map(of_portfolio, [generator] * len(seeds), seeds, [dates_a_house] * len(seeds), chunksize=2)
        )
