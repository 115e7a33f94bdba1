"""The demonstration's files: as the simulation writes them, invented in every line that can say so."""

from __future__ import annotations

import csv
from collections import defaultdict
from itertools import pairwise
from pathlib import Path

import pytest

from inspections.demo.setting_up import RECORDS
from tests.simulation.book import TABLES
from tests.simulation.make_demo import SEED, write_demo

LARGEST_BYTES = 1_500_000
#: Columns of free text, in one of which every row that people would have written says that it is invented.
SAYS_SO = {
    "buildings": "region",
    "events": "note",
    "trials": "question",
    "allocations": "note",
}


def rows(name: str) -> list[dict[str, str]]:
    with (RECORDS / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_files_are_what_the_simulation_writes(tmp_path: Path) -> None:
    write_demo(SEED, tmp_path)
    written = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    committed = {path.name: path.read_bytes() for path in RECORDS.iterdir()}
    assert written.keys() == committed.keys() == {f"{name}.csv" for name in TABLES}
    assert [name for name in sorted(written) if written[name] != committed[name]] == []


def test_the_files_are_small() -> None:
    assert sum(path.stat().st_size for path in RECORDS.iterdir()) < LARGEST_BYTES


@pytest.mark.parametrize(("name", "column"), SAYS_SO.items())
def test_every_row_says_that_it_is_invented(name: str, column: str) -> None:
    assert rows(name)
    assert [row for row in rows(name) if "invented" not in row[column].lower()] == []


def test_whoever_put_a_coat_on_is_invented() -> None:
    names = {row["applied_by"] for row in rows("treatments")} - {""}
    assert names
    assert all("(invented)" in name for name in names)


def test_a_town_of_twelve_houses_and_sixty_sections_over_more_than_ten_years() -> None:
    assert len(rows("buildings")) == 12
    assert len({row["street"] for row in rows("buildings")}) == 12
    assert len(rows("sections")) == 60
    taken = sorted(row["taken_at"] for row in rows("readings"))
    assert taken[0] < "2015-12"
    assert "2026-08" < taken[-1] < "2026-11"


def test_sections_of_a_wall_lie_side_by_side() -> None:
    walls: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for row in rows("sections"):
        walls[row["building"], row["wall"]].append((float(row["start_m"]), float(row["length_m"])))
    assert any(len(wall) > 1 for wall in walls.values())
    for wall in map(sorted, walls.values()):
        assert wall[0][0] == 0
        for (start, length), (following, _) in pairwise(wall):
            assert following == pytest.approx(start + length, abs=0.01)


def test_trial_pairs_are_neighbours_on_one_wall_coated_on_one_day() -> None:
    sections = {row["code"]: row for row in rows("sections")}
    applied = defaultdict(set)
    for row in rows("treatments"):
        applied[row["section"]].add(row["applied_on"])
    pairs = defaultdict(list)
    for row in rows("allocations"):
        pairs[row["trial"], row["block"]].append(row)
    for pair in pairs.values():
        one, other = (sections[row["section"]] for row in pair)
        assert {row["arm"] for row in pair} == {pair[0]["arm"], pair[1]["arm"]}
        assert pair[0]["arm"] != pair[1]["arm"]
        for column in ("building", "wall", "adjoins"):
            assert one[column] == other[column]
        assert applied[one["code"]] & applied[other["code"]]


def test_what_a_house_lacks_from_before_it_came_under_care() -> None:
    readings = rows("readings")
    first = {
        house: min(r["taken_at"] for r in readings if r["building"] == house) for house in ("H011", "H012")
    }
    assert first["H011"] >= "2021-04-01"
    assert first["H012"] >= "2026-08-01"
    for row in rows("treatments"):
        if row["building"] in first and row["applied_on"] < first[row["building"]]:
            assert row["found"] == "yes" or row["applied_on"] >= "2021-04-01"
