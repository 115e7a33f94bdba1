"""The bucket simulator gives books in the contract's shape, as hard as they are meant to be."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import rankdata

from tests.simulation.baseline import rising_face
from tests.simulation.blind import simulate
from tests.simulation.book import (
    CLASSES,
    TABLES,
    TRUTH_COLUMNS,
    Book,
    day_number,
    read_book,
    to_records,
    write_book,
)

SEEDS = range(8)


@pytest.fixture(scope="module")
def books() -> list[Book]:
    return [simulate(seed) for seed in SEEDS]


def test_a_seed_gives_one_book() -> None:
    first, again, other = simulate(5, houses=3), simulate(5, houses=3), simulate(6, houses=3)
    assert first == again
    assert first.tables["readings"] != other.tables["readings"]


def test_tables_hold_the_contracts_columns_and_no_key_twice(books: list[Book]) -> None:
    for name, rows in books[0].tables.items():
        assert set().union(*rows) <= set(TABLES[name])
    assert all(set(row) == set(TRUTH_COLUMNS) for row in books[0].truth)
    keys = Counter(
        tuple(
            row.get(name)
            for name in ("building", "section", "taken_at", "quantity", "height_mm", "depth_mm", "instrument")
        )
        for row in books[0].tables["readings"]
    )
    assert max(keys.values()) == 1


def test_a_written_book_reads_back_the_same(tmp_path: Path) -> None:
    book = simulate(3, houses=2)
    write_book(book, tmp_path)
    for written, made in zip(read_book(tmp_path), to_records(book), strict=True):
        for one, other in zip(written.sections, made.sections, strict=True):
            assert repr(one.coats) == repr(
                other.coats
            )  # by text, since an unknown number isn't equal to itself
            np.testing.assert_array_equal(one.readings.value, other.readings.value)
            np.testing.assert_array_equal(one.readings.time, other.readings.time)


def test_one_section_date_in_ten_holds_water_and_every_class_is_there(books: list[Book]) -> None:
    truth = Counter(row["truth"] for book in books for row in book.truth)
    share = {name: truth[name] / sum(truth.values()) for name in CLASSES}
    assert 0.07 < share["trapped_water"] < 0.14
    assert min(share.values()) > 0.02
    assert 0.5 < share["stable"] < 0.8


def test_truth_is_asked_in_the_later_two_thirds_and_began_before(books: list[Book]) -> None:
    for book in books:
        dates = {str(row["date"]) for row in book.truth}
        assert 3 <= len(dates) <= 5
        seen = sorted(str(row["taken_at"])[:10] for row in book.tables["readings"])
        first, last = (dt.date.fromisoformat(day).toordinal() for day in (seen[0], seen[-1]))
        earliest = dt.date.fromisoformat(min(dates)).toordinal()
        assert (earliest - first) / (last - first) > 0.28
        assert all(str(row["onset"]) <= str(row["date"]) for row in book.truth)


def test_a_rising_line_on_the_face_ranks_well_and_calls_few(books: list[Book]) -> None:
    """The figures of a first, simple look, so that the books are neither a riddle nor a gift."""
    rise, held = [], []
    for book in books:
        sections = {
            (house.code, section.code): section for house in to_records(book) for section in house.sections
        }
        for row in book.truth:
            day = day_number(dt.date.fromisoformat(str(row["date"])))
            section = sections[str(row["building"]), str(row["section"])]
            rise.append(rising_face(section.readings.until(day)))
            held.append(row["truth"] == "trapped_water")
    rank, trapped = rankdata(rise), np.array(held)
    count = trapped.sum()
    auc = (rank[trapped].sum() - count * (count + 1) / 2) / (count * (~trapped).sum())
    assert 0.86 < auc < 0.95
    assert 0.2 < np.mean(np.array(rise)[trapped] > 0.95) < 0.45
