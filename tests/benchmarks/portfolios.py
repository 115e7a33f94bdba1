"""Invented portfolios of any size: simulated houses, copied under codes of their own."""

from __future__ import annotations

import csv
from collections import defaultdict
from itertools import count
from pathlib import Path

from tests.simulation import blind, physical
from tests.simulation.book import TABLES, Book, Row

SEED = 9001
#: Houses that are simulated; the others are copies of them.
DIFFERENT = 60


def write_even(folder: Path, sections: int) -> int:
    """Houses of some eight sections, each read some sixty to seventy times within four years."""
    return _write(blind.simulate(SEED, houses=DIFFERENT, years=4), folder, sections)


def write_realistic(folder: Path, sections: int) -> int:
    """Houses of five sections, looked after for ten years: some 120 readings a section."""
    return _write(physical.simulate(SEED, houses=DIFFERENT, years=10), folder, sections)


def _write(book: Book, folder: Path, sections: int) -> int:
    """A record folder of the first houses that have so many sections together; how many readings it holds.

    The book's houses are taken again and again, a copy at a time, so that no size is held in memory.
    """
    houses = [str(row["code"]) for row in book.tables["buildings"]]
    rows = {name: _by_house(book, name) for name in TABLES}
    copies, wanted = [], sections
    for number in count():
        if wanted <= 0:
            break
        house = houses[number % len(houses)]
        copies.append((f"H{number:05d}", house))
        wanted -= len(rows["sections"][house])
    folder.mkdir(parents=True)
    for name, columns in TABLES.items():
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
            writer.writeheader()
            # Instruments are the organisation's.
            writer.writerows(rows[name][""])
            for code, house in copies:
                own = {"code" if name == "buildings" else "building": code}
                writer.writerows(row | own for row in rows[name][house])
    return sum(len(rows["readings"][house]) for _, house in copies)


def _by_house(book: Book, name: str) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = defaultdict(list)
    for row in book.tables[name]:
        found[str(row["code"] if name == "buildings" else row.get("building", ""))].append(row)
    return found
