"""A small good book of records, as tables of text, and how to write it as a folder.

The house and its town are invented.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

Row = dict[str, str]
Tables = dict[str, list[Row]]


def _rows(header: str, *lines: str) -> list[Row]:
    names = header.split(",")
    return [dict(zip(names, line.split(","), strict=True)) for line in lines]


def good_book() -> Tables:
    """One house in a zone with summer time, two sections, and every file with every column."""
    tables = {
        "buildings": _rows(
            "code,name,street,locality,region,postal_code,country,timezone,year_built",
            "K1,Kiln House,1 Kiln Row,Marlow Bend,,,BE,Europe/Brussels,1894",
        ),
        "sections": _rows(
            "building,code,wall,start_m,length_m,height_m,below_grade_m,substrate,bedding_mortar,adjoins,beyond",
            "K1,W1,north,0,2.5,2,1.5,rubble_stone,lime,soil,",
            "K1,W2,north,2.5,3,2,0,brick,unknown,party_wall,heated",
        ),
        "treatments": _rows(
            "building,section,layer,kind,binder,mix,thickness_mm,applied_on,removed_on,removal_reason,mu,sd_m,"
            "applied_earliest,found,face,area_m2,purpose,drains_to,strength_mpa,applied_by,cost,currency",
            "K1,W1,1,parge_coat,NHL 3.5,1:3,20,2014-05-10,,,15,,,,room,5,permanent,,2.5,A mason,320.5,EUR",
            "K1,W2,1,paint,acrylic,,0,1990-06-01,2015-03-02,failed,,0.4,1985-01-01,yes,,,,,,,,",
        ),
        "events": _rows(
            "building,section,happened_on,kind,layer,area_m2,cost,currency,note",
            "K1,W1,2018-02-03,repair,1,0.25,80,EUR,patched",
            "K1,,2016-07-01,flood,,,,,",
        ),
        "instruments": _rows(
            "code,kind,scale,minimum,maximum,resolution,repeatability",
            "M1,moisture_meter,relative,0,100,1,4",
            "HY,hygrometer,percent_rh,5,98,0.1,2",
        ),
        "readings": _rows(
            "building,section,taken_at,quantity,value,unit,qualifier,height_mm,depth_mm,instrument,inspector,note,"
            "point,replicate,duration_h",
            "K1,W1,2015-08-11T10:05:00,surface_moisture,40,relative,,200,0,M1,GH,,,1,",
            "K1,W1,2015-08-11T10:05:00,surface_moisture,42,relative,,200,0,M1,GH,,a,2,",
            "K1,W1,2015-08-11T10:06:00,in_wall_humidity,98,percent_rh,>,900,80,HY,GH,scale ended,,,24",
            "K1,W1,2016-01-11T10:05:00+02:00,spall_area,1.5,ft2,,,,,AB,,,,",
            "K1,W2,2016-01-11T10:05,air_temperature,64.4,degF,,,,,AB,,,,",
            "K1,,2016-01-12T08:00:00Z,radon,3.1,pCi_per_L,<,,,,,,,,",
        ),
        "trials": _rows(
            "code,question,outcome,started_on,planned_end_on",
            "T1,Does B lose more than A?,affected_area_rate,2014-05-10,2024-05-10",
        ),
        "allocations": _rows(
            "trial,building,section,arm,allocated_by,note,block,sequence",
            "T1,K1,W1,A,random,,1,1",
            "T1,K1,W2,B,random,by lot,1,2",
        ),
    }
    tables["readings"][0]["note"] = 'a "soft", wet\nplace'
    return tables


def write_book(folder: Path, tables: Mapping[str, list[Row]], *, line_end: str = "\n") -> Path:
    """Write each table that is there; its columns are those of its first row."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), lineterminator=line_end)
            writer.writeheader()
            writer.writerows(rows)
    return folder


def read_folder(folder: Path) -> dict[str, bytes]:
    """Name to content of every file."""
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
