"""Small trials made by hand, and any trial as a folder of records."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from inspections.analysis.records import (
    YEAR,
    BuildingRecord,
    Coat,
    Happening,
    SectionRecord,
    readings_from_columns,
)
from inspections.analysis.trial_results import Question
from inspections.analysis.trial_walls import LOSS, Place

START = 16_000.0
#: Area of every wall, m².
AREA = 5.0
YEARS = 5
EPOCH = dt.date(1970, 1, 1)
END = EPOCH + dt.timedelta(days=int(START + YEARS * YEAR) + 30)
QUESTION = Question("T1", LOSS, START, START + 6 * YEAR)


@dataclass(frozen=True)
class Hand:
    """One wall by hand: what its coat loses a year, as a share, and how damp it read before."""

    arm: str
    rate: float = 0.0
    damp: float | None = 30.0
    house: str = "H1"
    block: str = ""
    by: str = "random"
    binder: str = "NHL 2"
    begun: float = START
    removed: float = np.inf
    reason: str = ""
    surveyed: bool = True
    below: float = 1.0
    adjoins: str = "soil"
    treated: bool = True
    events: tuple[Happening, ...] = ()
    mended: float = 0.0
    mended_at: float = np.inf


def build(walls: Sequence[Hand]) -> tuple[list[Place], dict[str, BuildingRecord]]:
    """The walls as places and houses; the walls of a house are called S1, S2 and so on over the whole."""
    places, sections = [], dict[str, list[SectionRecord]]()
    for number, wall in enumerate(walls, start=1):
        code = f"S{number:02}"
        places.append(Place(wall.house, code, wall.arm, wall.by, wall.block))
        sections.setdefault(wall.house, []).append(_section(code, wall))
    return places, {house: BuildingRecord(house, tuple(own)) for house, own in sections.items()}


def _section(code: str, wall: Hand) -> SectionRecord:
    rows: list[tuple[float, str, float, str]] = []
    if wall.damp is not None:
        rows += [(START - day, "deep_moisture", wall.damp, "relative") for day in (30.0, 210.0, 400.0, 580.0)]
    for year in range(1, YEARS + 1) if wall.surveyed else ():
        day = np.floor(wall.begun + year * YEAR)
        if day > wall.removed:
            break
        lost = wall.rate * (day - wall.begun) / YEAR * AREA - (wall.mended if day > wall.mended_at else 0.0)
        rows += [(day, "hollow_area", lost, "m2"), (day, "spall_area", 0.0, "m2")]
    columns: dict[str, Sequence[object]] = {
        "time": [row[0] + 0.4 for row in rows],
        "quantity": [row[1] for row in rows],
        **{name: [row[2] for row in rows] for name in ("value", "low", "high")},
        "unit": [row[3] for row in rows],
        **{name: [np.nan] * len(rows) for name in ("height_mm", "depth_mm")},
        **{name: [""] * len(rows) for name in ("instrument", "point", "inspector")},
    }
    coat = Coat(1, "parge_coat", wall.begun, wall.removed, wall.reason, binder=wall.binder)
    return SectionRecord(
        code,
        length_m=2.5,
        height_m=2.0,
        below_grade_m=wall.below,
        adjoins=wall.adjoins,
        substrate="rubble_stone",
        coats=(coat,) if wall.treated else (),
        events=wall.events,
        readings=readings_from_columns(columns),
    )


def write_folder(
    folder: Path, question: Question, places: Sequence[Place], houses: dict[str, BuildingRecord]
) -> Path:
    """The trial as a folder of records, to be loaded; the houses are invented, and their clocks UTC."""
    folder.mkdir(parents=True, exist_ok=True)

    def table(name: str, header: str, rows: Sequence[Sequence[object]]) -> None:
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file, lineterminator="\n").writerows([header.split(","), *rows])

    sections = [(house, own) for house in houses.values() for own in house.sections]
    meters = {one.code: one for house in houses.values() for one in house.instruments.values()}
    table(
        "buildings",
        "code,name,street,locality,region,postal_code,country,timezone,year_built",
        [[code, f"House {code} (invented)", "", "", "", "", "", "UTC", 1890] for code in houses],
    )
    table(
        "sections",
        "building,code,wall,start_m,length_m,height_m,below_grade_m,substrate,bedding_mortar,adjoins",
        [
            [house.code, own.code, "north", i * 3.0, own.length_m, own.height_m, own.below_grade_m,
             own.substrate, own.bedding_mortar, own.adjoins]
            for house in houses.values()
            for i, own in enumerate(house.sections)
        ],
    )  # fmt: skip
    table(
        "treatments",
        "building,section,layer,kind,binder,mix,thickness_mm,applied_on,removed_on,removal_reason,mu,sd_m",
        [
            [house.code, own.code, coat.layer, coat.kind, coat.binder, coat.mix, _cell(coat.thickness_mm),
             _day(coat.applied), _day(coat.removed), coat.removal_reason, "", ""]
            for house, own in sections
            for coat in own.coats
        ],
    )  # fmt: skip
    table(
        "instruments",
        "code,kind,scale,minimum,maximum,resolution,repeatability",
        [[m.code, m.kind, m.scale, m.minimum, m.maximum, m.resolution, m.repeatability]
         for m in meters.values()],
    )  # fmt: skip
    table(
        "readings",
        "building,section,taken_at,quantity,value,unit,qualifier,height_mm,depth_mm,instrument,inspector,note",
        [
            [house.code, own.code, _moment(r.time[i]), r.quantity[i], r.value[i], r.unit[i], "",
             _cell(r.height_mm[i]), _cell(r.depth_mm[i]), r.instrument[i], "AB", ""]
            for house, own in sections
            for r in [own.readings]
            for i in range(len(r))
        ],
    )  # fmt: skip
    table(
        "trials",
        "code,question,outcome,started_on,planned_end_on",
        [[question.code, "Which coat lasts longer (invented)?", question.outcome, _day(question.started),
          _day(question.planned_end)]],
    )  # fmt: skip
    table(
        "allocations",
        "trial,building,section,arm,allocated_by,note,block",
        [[question.code, one.building, one.section, one.arm, one.allocated_by, "", one.block]
         for one in places],
    )  # fmt: skip
    return folder


def _cell(value: float) -> object:
    return value if np.isfinite(value) else ""


def _day(day: float) -> str:
    return (EPOCH + dt.timedelta(days=int(day))).isoformat() if np.isfinite(day) else ""


def _moment(time: float) -> str:
    moment = dt.datetime(1970, 1, 1) + dt.timedelta(days=float(time))
    return moment.replace(microsecond=0).isoformat()
