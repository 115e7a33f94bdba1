"""Somebody else changes the same series while a load is between its check and its saving."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from inspections.models import LogSeries, LogValue
from inspections.records import Place, RecordsRefused, load_log, load_rows
from inspections.records.log_values import LogValueStage
from portfolio.models import Building, Change
from tests.logs.houses import SLUG, kiln_house, refused, run, values
from tests.records.state import everything

pytestmark = pytest.mark.django_db

PLAIN = "time,RH\n2016-01-11 08:00:00Z,61.5\n2016-01-11 08:10:00Z,62\n"


@pytest.fixture
def building(tmp_path: Path) -> Building:
    return kiln_house(tmp_path / "book")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(PLAIN)
    return path


def meanwhile(monkeypatch: pytest.MonkeyPatch, act: Callable[[], object], *, always: bool = False) -> None:
    """Let ``act`` happen right after the first check, or after each."""
    match = LogValueStage.match
    left = [act] if not always else None

    def check(stage: LogValueStage) -> None:
        match(stage)
        if left is None:
            act()
        elif left:
            left.pop()()

    monkeypatch.setattr(LogValueStage, "match", check)


def test_a_series_that_came_meanwhile_is_joined(
    building: Building, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def others() -> None:
        series = LogSeries.objects.create(building=building, quantity="air_humidity", unit="percent_rh")
        LogValue.objects.create(series=series, at="2016-01-11T08:10:00Z", value=62.0)

    meanwhile(monkeypatch, others)
    assert "1 values new, 0 changed, 1 unchanged" in run(file)
    assert values() == [("2016-01-11T08:00", 61.5), ("2016-01-11T08:10", 62.0)]


def test_the_history_has_the_value_that_was_really_there(
    building: Building, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(file)
    LogValue.objects.filter(value=62).update(value=70)
    meanwhile(monkeypatch, lambda: LogValue.objects.filter(value=70).update(value=71))
    run(file)
    assert Change.objects.get().fields == {"value at 2016-01-11T08:10:00Z": [71.0, 62.0]}


def test_who_is_overtaken_again_and_again_is_told(
    building: Building, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(file)
    LogValue.objects.filter(value=62).update(value=70)
    others = LogValue.objects.exclude(value=61.5)
    meanwhile(monkeypatch, lambda: others.update(value=others.get().value + 1), always=True)
    with pytest.raises(RecordsRefused, match="somebody else kept changing the same records meanwhile"):
        load_log(file, SLUG, Place("K1"), time="time", columns={"air_humidity": "RH"})
    assert values()[1][1] == 73.0
    assert not Change.objects.exists()


def test_rows_in_memory_are_logged_as_those_of_a_file(building: Building) -> None:
    row = {"building": "K1", "section": "W1", "quantity": "in_wall_humidity", "unit": "percent_rh"}
    row |= {
        "height_mm": 300,
        "depth_mm": None,
        "instrument": "HY",
        "taken_at": "2016-01-11T08:00Z",
        "value": 88.5,
    }
    report = load_rows({"logs": [row]}, SLUG, source="notebook")
    assert report.files["logs"].new == 1
    assert values("in_wall_humidity") == [("2016-01-11T08:00", 88.5)]


def test_a_refused_file_leaves_no_table_behind(building: Building, file: Path) -> None:
    file.write_text(PLAIN.replace("62", "x"))
    before = everything()
    for _ in range(2):
        assert refused(file) == [
            "log.csv:3: RH: 'x' is not a number; write digits with a decimal point, such as 3.5"
        ]
    file.write_text(PLAIN)
    run(file)
    assert everything() != before
