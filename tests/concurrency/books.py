"""Record folders of any size, for loads that take long enough to be met by others. All of it is invented."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

HOUSES, WALLS = 10, 4
METER = "M1"
#: All readings are after this moment, a few each minute, so that no two have the same key.
START = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)


def write_big_book(folder: Path, readings: int, *, corrected: bool = False) -> Path:
    """A folder with so many readings; ``corrected`` changes every third of them and adds a tenth more."""
    folder.mkdir(parents=True)
    _write(folder / "buildings.csv", _buildings())
    _write(folder / "sections.csv", _sections())
    _write(folder / "instruments.csv", _instruments())
    _write(folder / "readings.csv", _readings(readings, corrected))
    return folder


def _write(path: Path, lines: Iterator[str]) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.writelines(f"{line}\n" for line in lines)


def _buildings() -> Iterator[str]:
    yield "code,name,street,locality,region,postal_code,country,timezone,year_built"
    for house in range(HOUSES):
        yield f"H{house},House {house} (invented),,Lower Sandal,,,,UTC,1890"


def _sections() -> Iterator[str]:
    yield (
        "building,code,wall,start_m,length_m,height_m,below_grade_m,substrate,bedding_mortar,adjoins,beyond"
    )
    for house in range(HOUSES):
        for wall in range(WALLS):
            yield f"H{house},S{wall},north,{3 * wall},3,2,1.5,brick,lime,soil,"


def _instruments() -> Iterator[str]:
    yield "code,kind,scale,minimum,maximum,resolution,repeatability"
    yield f"{METER},moisture_meter,relative,0,100,1,4"


def _readings(count: int, corrected: bool) -> Iterator[str]:
    yield (
        "building,section,taken_at,quantity,value,unit,qualifier,height_mm,depth_mm,instrument,inspector,note"
    )
    for number in range(count + count // 10 if corrected else count):
        house, wall = number % HOUSES, number // HOUSES % WALLS
        at = START + dt.timedelta(minutes=number)
        value = 20 + number % 50 + (1 if corrected and number % 3 == 0 else 0)
        yield (
            f"H{house},S{wall},{at:%Y-%m-%dT%H:%M:%SZ},surface_moisture,{value},relative,,300,,{METER},GH,"
        )
