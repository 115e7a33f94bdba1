"""Invented portfolios of any size: simulated houses, copied under codes of their own."""

from __future__ import annotations

from tests.simulation import blind, physical
from tests.simulation.book import Book

SEED = 9001
#: Houses that are simulated; the others are copies of them.
DIFFERENT = 60


def even(sections: int) -> Book:
    """Houses of some eight sections, each read some sixty times within four years."""
    return _copied(blind.simulate(SEED, houses=DIFFERENT, years=4), sections)


def realistic(sections: int) -> Book:
    """Houses of five sections looked after for ten years: some hundred readings a section."""
    return _copied(physical.simulate(SEED, houses=DIFFERENT, years=10), sections)


def _copied(book: Book, sections: int) -> Book:
    """The first houses that have so many sections together, the book's houses taken again and again."""
    houses = [row["code"] for row in book.tables["buildings"]]
    rows = {name: _by_house(book, name) for name in ("sections", "treatments", "events", "readings")}
    of_code = {row["code"]: row for row in book.tables["buildings"]}
    copies = Book()
    copies.tables["instruments"] = book.tables["instruments"]
    number = 0
    while len(copies.tables["sections"]) < sections:
        house, code = houses[number % len(houses)], f"H{number:05d}"
        copies.add("buildings", **of_code[house] | {"code": code, "name": f"Invented house {number}"})
        for name, by_house in rows.items():
            copies.tables[name] += [row | {"building": code} for row in by_house.get(house, [])]
        number += 1
    return copies


def _by_house(book: Book, name: str) -> dict[object, list[dict[str, object]]]:
    found: dict[object, list[dict[str, object]]] = {}
    for row in book.tables[name]:
        found.setdefault(row["building"], []).append(row)
    return found
