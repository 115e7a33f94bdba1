"""The books of chance walls: the same from the same seed, in the contract's columns, lawful and not easy."""

from __future__ import annotations

import datetime as dt
from collections import Counter

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

from inspections.analysis.records import CANONICAL_UNIT, YEAR
from tests.simulation.baseline import rising_face
from tests.simulation.book import (
    CLASSES,
    CONVERSIONS,
    TABLES,
    TRUTH_COLUMNS,
    Book,
    Row,
    day_number,
    read_book,
    to_records,
    write_book,
)
from tests.simulation.chance import simulate
from tests.simulation.chance.coats import Patches
from tests.simulation.chance.weather import _thaw, reservoir, wandering

SEEDS = range(3)
METER_SCALES = ("relative", "percent_wme", "percent_mass")


@pytest.fixture(scope="module")
def books() -> list[Book]:
    return [simulate(seed) for seed in SEEDS]


def place(row: Row) -> tuple[object, object]:
    return row["building"], row["section"]


# The book ------------------------


def test_a_seed_gives_one_book():
    first, again, other = (simulate(seed, houses=2, years=5) for seed in (3, 3, 4))
    assert first == again
    assert first != other


def test_rows_hold_the_columns_of_the_contract(books: list[Book]):
    for book in books:
        for name, columns in TABLES.items():
            for row in book.tables[name]:
                assert set(row) <= set(columns), name
        assert all(tuple(row) == TRUTH_COLUMNS for row in book.truth)
        for row in book.tables["readings"]:
            known = CANONICAL_UNIT[str(row["quantity"])]
            assert row["unit"] == known or row["unit"] in CONVERSIONS or row["unit"] in METER_SCALES


def test_keys_are_unique_and_belong_to_a_section(books: list[Book]):
    keys = {
        "readings": ("building", "section", "taken_at", "quantity", "height_mm", "depth_mm", "instrument"),
        "treatments": ("building", "section", "layer", "applied_on"),
        "events": ("building", "section", "happened_on", "kind", "layer"),
        "instruments": ("code",),
    }
    for book in books:
        for name, key in keys.items():
            rows = [tuple(row.get(part, "") for part in key) for row in book.tables[name]]
            assert len(set(rows)) == len(rows), name
        sections = {(row["building"], row["code"]) for row in book.tables["sections"]}
        of_house = {(house, "") for house, _ in sections}
        assert {place(row) for row in book.tables["treatments"] + book.truth} <= sections
        assert {place(row) for row in book.tables["readings"] + book.tables["events"]} <= sections | of_house
        instruments = {row["code"] for row in book.tables["instruments"]} | {None}
        assert {row.get("instrument") for row in book.tables["readings"]} <= instruments


def test_a_coat_ends_after_it_began_and_the_next_comes_after(books: list[Book]):
    for book in books:
        ends: dict[tuple[object, ...], str] = {}
        for row in sorted(book.tables["treatments"], key=lambda row: str(row["applied_on"])):
            assert str(row.get("applied_earliest", "")) <= str(row["applied_on"])
            assert str(row.get("removed_on", "9999")) >= str(row["applied_on"])
            key = (*place(row), row["layer"])
            assert ends.get(key, "") <= str(row["applied_on"])
            ends[key] = str(row.get("removed_on", "9999"))


def test_a_book_survives_its_folder(books: list[Book], tmp_path):
    write_book(books[0], tmp_path)
    there, back = to_records(books[0]), read_book(tmp_path)
    assert [house.code for house in back] == [house.code for house in there]
    assert sum(len(section.readings) for house in back for section in house.sections) == sum(
        len(section.readings) for house in there for section in house.sections
    )


def test_size_dates_and_asked_days(books: list[Book]):
    for book in books:
        assert 48 <= len(book.tables["sections"]) <= 72
        rows = Counter(place(row) for row in book.truth)
        assert set(rows.values()) <= {3, 4, 5}
        assert all(str(row["onset"]) <= str(row["date"]) for row in book.truth)
        assert all(0 <= float(str(row["lost_fraction"])) <= 1 for row in book.truth)
    asked = [day_number(dt.date(2023, 5, 15)), day_number(dt.date(1990, 5, 15))]
    told = simulate(1, houses=2, years=8, truth_days=asked).truth
    assert {row["date"] for row in told} == {"2023-05-15"}


# What is in it ------------------------


def test_all_that_was_meant_to_happen_happens(books: list[Book]):
    rows = [row for book in books for row in book.tables["readings"]]
    assert {row.get("qualifier") for row in rows} >= {"<", ">"}
    assert {row["unit"] for row in rows} >= {"degC", "degF", "m2", "ft2", *METER_SCALES}
    kits = {
        "deep_moisture",
        "in_wall_humidity",
        "hollow_area",
        "spall_area",
        "salt_area",
        "mortar_soft_depth",
    }
    assert {row["quantity"] for row in rows} >= kits
    coats = [row for book in books for row in book.tables["treatments"]]
    assert 0.2 < np.mean(["thickness_mm" in row for row in coats]) < 0.8
    assert {row.get("found") for row in coats} == {"yes", None}
    assert {row.get("removal_reason") for row in coats} >= {"failed", "planned", None}
    events = {row["kind"] for book in books for row in book.tables["events"]}
    assert events >= {"repair", "leak_mended", "flood", "heavy_rain", "source_check"}


def test_shares_of_the_truth(books: list[Book]):
    truth = Counter(str(row["truth"]) for book in books for row in book.truth)
    share = {name: truth[name] / truth.total() for name in CLASSES}
    assert 0.05 <= share["trapped_water"] <= 0.16
    assert 0.5 <= share["stable"] <= 0.8
    assert all(share[name] > 0.015 for name in CLASSES)


def test_a_rising_line_ranks_well_and_finds_few(books: list[Book]):
    score, held = [], []
    for book in books:
        houses = to_records(book)
        sections = {(house.code, section.code): section for house in houses for section in house.sections}
        for row in book.truth:
            day = day_number(dt.date.fromisoformat(str(row["date"])))
            score.append(rising_face(sections[str(row["building"]), str(row["section"])].readings.until(day)))
            held.append(row["truth"] == "trapped_water")
    assert 0.68 <= roc_auc_score(held, score) <= 0.95
    assert np.mean(np.array(score)[held] > 0.95) <= 0.6


# The processes ------------------------


def test_a_wandering_process_has_its_spread_and_memory():
    # Of an Ornstein-Uhlenbeck process the autocorrelation at lag h is exp(-h / tau) (Gardiner, from memory).
    path = wandering(np.random.default_rng(1), 200_000, 1, 20.0, 3.0)[:, 0]
    assert path.std() == pytest.approx(3.0, rel=0.05)
    assert np.corrcoef(path[:-20], path[20:])[0, 1] == pytest.approx(np.exp(-1), abs=0.04)


def test_a_reservoir_gives_off_exponentially_what_it_took():
    rain = np.zeros((4000, 1))
    rain[1000] = 50.0
    out = reservoir(rain - rain.mean(), np.array([120.0]))[:, 0]
    out = out - out[:1000].mean()
    assert out[1120] / out[1000] == pytest.approx(np.exp(-1), rel=0.05)


def test_snow_melts_once():
    falls = np.array([[5.0], [3.0], [0.0], [0.0], [0.0], [0.0]])
    could = np.array([[0.0], [1.0], [2.0], [4.0], [4.0], [4.0]])
    naive, lying = [], 0.0
    for fell, melts in zip(falls[:, 0], could[:, 0], strict=True):
        melted = min(lying + fell, melts)
        lying += fell - melted
        naive.append(melted)
    assert _thaw(falls, could)[:, 0] == pytest.approx(naive)


def test_patches_come_loose_as_their_frailty_says():
    # A gamma frailty of shape a and mean 1 leaves (1 + L / a) ** -a standing at a clock of L (Vaupel 1979).
    patches = Patches(np.random.default_rng(2), 400)
    for section in range(400):
        patches.renew(section)
    patches.run(np.full(400, 0.5), np.zeros(400))
    hollow, fallen = patches.shares()
    assert np.all(fallen == 0)
    assert 1 - hollow.mean() == pytest.approx((1 + 0.5 / 0.8) ** -0.8, abs=0.015)
    patches.run(np.zeros(400), np.full(400, 100.0))
    later, fallen = patches.shares()
    assert later.max() < 1e-9
    assert fallen == pytest.approx(hollow)


def test_care_lasts_as_long_as_asked():
    book = simulate(2, houses=2, years=6)
    days = [day_number(dt.date.fromisoformat(str(row["taken_at"])[:10])) for row in book.tables["readings"]]
    assert max(days) - min(days) <= 6.5 * YEAR
