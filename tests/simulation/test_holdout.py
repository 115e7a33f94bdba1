"""The hold-out books: the same from the same seed, in the contract's columns, honest and not easy."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

from inspections.analysis.records import CANONICAL_UNIT, BuildingRecord
from tests.simulation.baseline import rising_face
from tests.simulation.book import CLASSES, TABLES, TRUTH_COLUMNS, Book, day_number, to_records
from tests.simulation.holdout import simulate

SEEDS = range(12)


@pytest.fixture(scope="module")
def books() -> list[Book]:
    return [simulate(seed) for seed in SEEDS]


def test_a_seed_gives_one_book():
    assert simulate(3, houses=3, years=6) == simulate(3, houses=3, years=6)
    assert simulate(3, houses=3, years=6) != simulate(4, houses=3, years=6)


def test_rows_hold_the_columns_of_the_contract(books: list[Book]):
    book = books[0]
    for name, columns in TABLES.items():
        for row in book.tables[name]:
            assert set(row) <= set(columns), name
    assert all(tuple(row) == TRUTH_COLUMNS for row in book.truth)
    assert {str(row["quantity"]) for row in book.tables["readings"]} <= set(CANONICAL_UNIT)


def test_keys_are_unique_and_belong_to_a_section(books: list[Book]):
    for book in books[:5]:
        sections = {(row["building"], row["code"]) for row in book.tables["sections"]}
        key = ("building", "section", "taken_at", "quantity", "height_mm", "depth_mm", "instrument")
        readings = [tuple(row.get(name, "") for name in key) for row in book.tables["readings"]]
        coats = [
            (row["building"], row["section"], row["layer"], row["applied_on"])
            for row in book.tables["treatments"]
        ]
        assert len(set(readings)) == len(readings)
        assert len(set(coats)) == len(coats)
        assert {(row["building"], row["section"]) for row in book.tables["readings"] + book.truth} <= sections


def test_a_coat_ends_after_it_began(books: list[Book]):
    for book in books:
        for row in book.tables["treatments"]:
            assert str(row.get("applied_earliest", "")) <= str(row["applied_on"])
            assert str(row.get("removed_on", "9999")) >= str(row["applied_on"])


def test_size_and_dates(books: list[Book]):
    for book in books:
        assert 20 <= len(book.tables["sections"]) <= 40
        rows = Counter((row["building"], row["section"]) for row in book.truth)
        assert set(rows.values()) <= {3, 4, 5}
        assert all(str(row["onset"]) <= str(row["date"]) for row in book.truth)


def test_about_one_section_date_in_ten_holds_water(books: list[Book]):
    truth = Counter(str(row["truth"]) for book in books for row in book.truth)
    share = {name: truth[name] / truth.total() for name in CLASSES}
    assert 0.07 <= share["trapped_water"] <= 0.14
    assert 0.6 <= share["stable"] <= 0.8
    assert all(share[name] > 0.01 for name in CLASSES)


def test_a_rising_line_ranks_well_and_finds_few(books: list[Book]):
    score, held = baseline(books)
    assert 0.86 <= roc_auc_score(held, score) <= 0.95
    assert 0.2 <= np.mean(score[held] > 0.95) <= 0.45


def baseline(books: list[Book]) -> tuple[np.ndarray, np.ndarray]:
    """What a rising line says at each row of truth, and whether it is of trapped water."""
    score, held = [], []
    for book in books:
        sections = by_code(to_records(book))
        for row in book.truth:
            day = day_number(dt.date.fromisoformat(str(row["date"])))
            section = sections[str(row["building"]), str(row["section"])]
            score.append(rising_face(section.readings.until(day)))
            held.append(row["truth"] == "trapped_water")
    return np.array(score), np.array(held)


def by_code(houses: list[BuildingRecord]) -> dict[tuple[str, str], object]:
    return {(house.code, section.code): section for house in houses for section in house.sections}
