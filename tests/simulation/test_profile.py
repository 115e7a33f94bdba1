"""The books of walls as columns: the same from a seed, in the contract's columns, honest and not easy."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

from inspections.analysis.records import CANONICAL_UNIT
from tests.simulation.baseline import rising_face
from tests.simulation.book import CLASSES, TABLES, TRUTH_COLUMNS, Book, day_number, to_records
from tests.simulation.profile import places, simulate
from tests.simulation.profile.climate import weather
from tests.simulation.profile.column import Column

SEEDS = range(3)


@pytest.fixture(scope="module")
def books() -> list[Book]:
    return [simulate(seed) for seed in SEEDS]


def test_a_seed_gives_one_book(books: list[Book]):
    assert simulate(0) == books[0]
    assert books[0] != books[1]


def test_rows_hold_the_columns_of_the_contract(books: list[Book]):
    for book in books:
        for name, columns in TABLES.items():
            for row in book.tables[name]:
                assert set(row) <= set(columns), name
        assert all(tuple(row) == TRUTH_COLUMNS for row in book.truth)
        assert {str(row["quantity"]) for row in book.tables["readings"]} <= set(CANONICAL_UNIT)


def test_keys_are_unique_and_belong_to_a_section(books: list[Book]):
    keys = {
        "readings": ("building", "section", "taken_at", "quantity", "height_mm", "depth_mm", "instrument"),
        "treatments": ("building", "section", "layer", "applied_on"),
        "events": ("building", "section", "happened_on", "kind", "layer"),
        "instruments": ("code",),
    }
    for book in books:
        sections = {(row["building"], row["code"]) for row in book.tables["sections"]}
        for name, key in keys.items():
            rows = [tuple(row.get(column, "") for column in key) for row in book.tables[name]]
            assert len(set(rows)) == len(rows), name
        of_walls = book.tables["readings"] + book.tables["treatments"] + book.truth
        assert {(row["building"], row["section"]) for row in of_walls} == sections
        known = {row["code"] for row in book.tables["instruments"]} | {""}
        assert {row["instrument"] for row in book.tables["readings"]} <= known


def test_a_coat_ends_after_it_began(books: list[Book]):
    for book in books:
        for row in book.tables["treatments"]:
            assert str(row.get("applied_earliest", "")) <= str(row["applied_on"])
            assert str(row.get("removed_on", "9999")) >= str(row["applied_on"])


def test_size_and_dates(books: list[Book]):
    for book in books:
        assert 48 <= len(book.tables["sections"]) <= 72
        rows = Counter((row["building"], row["section"]) for row in book.truth)
        assert set(rows.values()) <= {3, 4, 5}
        assert all(str(row["onset"]) <= str(row["date"]) for row in book.truth)
        assert all(0 <= float(str(row["lost_fraction"])) <= 1 for row in book.truth)


def test_kits_and_censored_readings(books: list[Book]):
    quantities, qualifiers = Counter(), Counter()
    for book in books:
        for house in book.tables["buildings"]:
            rows = [row for row in book.tables["readings"] if row["building"] == house["code"]]
            quantities[len({row["quantity"] for row in rows})] += 1
            qualifiers.update(str(row.get("qualifier", "")) for row in rows)
    assert quantities[4] >= 3  # the least kit: face, air twice, fallen area
    assert max(quantities) >= 9
    assert qualifiers["<"] > 50
    assert qualifiers[">"] > 50


def test_shares_of_the_truth(books: list[Book]):
    truth = Counter(str(row["truth"]) for book in books for row in book.truth)
    share = {name: truth[name] / truth.total() for name in CLASSES}
    assert 0.06 <= share["trapped_water"] <= 0.16
    assert 0.5 <= share["stable"] <= 0.8
    assert all(share[name] > 0.01 for name in CLASSES)


def test_truth_may_be_asked_for_other_days():
    day = day_number(dt.date(2015, 6, 1))
    book = simulate(2, houses=1, truth_days=[day])
    assert {row["date"] for row in book.truth} == {"2015-06-01"}


def test_a_rising_line_ranks_trapped_water_but_does_not_settle_it(books: list[Book]):
    score, held = [], []
    for book in books:
        sections = {(house.code, wall.code): wall for house in to_records(book) for wall in house.sections}
        for row in book.truth:
            day = day_number(dt.date.fromisoformat(str(row["date"])))
            score.append(rising_face(sections[str(row["building"]), str(row["section"])].readings.until(day)))
            held.append(row["truth"] == "trapped_water")
    assert 0.65 <= roc_auc_score(held, score) <= 0.93


# The walls themselves ------------------------


@pytest.fixture
def column() -> Column:
    """Walls of three houses without water from anywhere and without a way out to anywhere."""
    rng = np.random.default_rng(1)
    plan = places.draw_plan(rng, 3)
    column = Column(rng, plan, weather(rng, plan))
    column.soil, column.splash, column.open_air = 0 * column.soil, 0 * column.splash, 0 * column.open_air
    column.climate.foot[:], column.sd[:], column.suck[:], column.gone[:] = 0.0, 1e9, 0.0, 0.0
    column.covered[:] = 1.0
    column.w = rng.uniform(0.1, 0.3, column.w.shape)
    column.w[:, 0] = 0.03  # the footing takes up the cube of this
    return column


def test_a_closed_wall_keeps_its_water(column: Column):
    """What moves within the wall is neither made nor lost, and it evens out."""
    before = (column.w * column.capacity).sum(axis=(1, 2))
    uneven = column.w[:, 1:].std(axis=(1, 2))
    for week in range(201, 211):
        column.step(week)
    np.testing.assert_allclose((column.w * column.capacity).sum(axis=(1, 2)), before, rtol=1e-3)
    assert np.all(column.w[:, 1:].std(axis=(1, 2)) < uneven)


def test_a_tight_coat_keeps_the_water_that_an_open_one_lets_go(column: Column):
    tight, open_ = (column.w.copy() for _ in range(2))
    for sd, w in ((50.0, tight), (0.05, open_)):
        column.w, column.sd[:] = w, sd
        for week in range(201, 253):
            column.step(week)
    lost = ((tight - open_) * column.capacity).sum(axis=(1, 2))
    assert np.all(lost > 0)
    assert np.median(lost) > 1.0 * places.HEIGHTS  # a kilogram a square metre in the year, at the least
