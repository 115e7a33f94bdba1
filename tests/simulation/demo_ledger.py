"""The demonstration's book as its people would have kept it: names, costs, notes, and nothing too late.

Houses taken on late lose what was read before; their coats were found. All names and sums are invented.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter

import numpy as np
import numpy.typing as npt

from tests.simulation.book import Book, Row
from tests.simulation.demo_plan import LAST_DAY, TAKEN_ON, Trial

TOWN, REGION = "Ostle Landing", "Invented County"
#: House and address, by number.
PLACES = (
    ("Heron House", "3 Ferry Stairs"),
    ("Chandler’s House", "8 Ferry Stairs"),
    ("Ropewalk House", "21 Ropewalk Lane"),
    ("Saltbox", "24 Ropewalk Lane"),
    ("Toll House", "1 Eelbridge Street"),
    ("Cooper’s Corner", "17 Eelbridge Street"),
    ("Osier House", "40 Eelbridge Street"),
    ("Lamplighter’s", "5 Lantern Hill"),
    ("Miller’s End", "62 Weir Bank"),
    ("Pilot House", "66 Weir Bank"),
    ("The Granary", "9 Tannery Yard"),
    ("Kiln House", "12 Tannery Yard"),
)
#: Initials of the invented people who go round, by those that the simulator writes.
INSPECTORS = {"AB": "JQ", "CD": "IM", "EF": "TS", "GH": "WA"}
MASONS = ("R.T.", "B.K.", "M.O.", "J.Q.")
CURRENCY = "USD"

#: Invented prices of a square metre, by kind or by kind and binder.
PRICES = {
    "parge_coat": 95.0,
    "parge_coat portland_cement": 70.0,
    "parge_coat cement_lime": 78.0,
    "plaster": 65.0,
    "limewash": 11.0,
    "paint": 16.0,
    "sealer": 38.0,
    "vapour_retarder": 22.0,
    "drainage_board": 64.0,
    "insulation": 58.0,
    "lining": 72.0,
    "repointing": 120.0,
}
#: A visit of the mason, however little there is to do; a patch costs more by the square metre than a coat.
LEAST_COST, PATCH_FACTOR = 90.0, 2.0
#: Invented sums for what happened, lowest and highest.
EVENT_COSTS = {
    "leak_mended": (140.0, 1900.0),
    "source_check": (0.0, 120.0),
    "sump_failure": (180.0, 620.0),
    "opening": (60.0, 180.0),
    "flood": (300.0, 2400.0),
}
#: How many walls were drawn by lot to be opened, and how many because they looked bad to whoever went round,
#: of which so many held water; from when on.
DRAWN, SUSPECTED, RIGHTLY, DRAWN_FROM = 6, 5, 4, "2023"
#: The wall with a logger behind its coat, from when on, and how often it writes.
LOGGED, LOGGED_FROM, LOGS_A_DAY = ("H008", "S0038"), dt.date(2025, 11, 1), 4
#: What was written down of it, one of these each time.
NOTES = {
    "flood": (
        "The river came over the landing and stood a hand high on the cellar floor for a day",
        "Water from the street came down the cellar steps; pumped out the same evening",
    ),
    "heavy_rain": ("Rain for two days without a break; every gutter on the row ran over",),
    "sump_failure": ("The sump’s float had stuck and the pit ran over in the night",),
    "leak_mended": (
        "The downpipe was split behind its bracket; a new length put in",
        "Gutter joint above this stretch had opened; reset and sealed",
        "Paving outside fell towards the house; lifted and laid again with a fall away from it",
        "The window well’s drain was full of leaves; rodded through, and a grating put over it",
    ),
    "source_check": (
        "Gutter, downpipe and paving looked at with a hose; nothing found",
        "Followed the pipes through the cellar with a lamp; all dry to the hand",
    ),
    "repair": ("Loose places cut back to sound edges and made good",),
    "opening": ("A palm’s width of the coat taken out to look behind it, and made good",),
}


def finish(book: Book, trials: list[Trial], seed: int) -> Book:
    """The book with its names, its costs and notes, and its trials, cut to what was known at the end."""
    rng = np.random.default_rng([seed, 3])
    houses = {str(row["code"]): number for number, row in enumerate(book.tables["buildings"], start=1)}
    began = {code: TAKEN_ON.get(number, dt.date.min).isoformat() for code, number in houses.items()}
    _name_houses(book.tables["buildings"])
    _keep_readings(book, began)
    _keep_treatments(book, began)
    _keep_events(book, began)
    _price_treatments(rng, book)
    _open_walls(np.random.default_rng([seed, 4]), book)
    _describe_events(rng, book.tables["events"])
    _log_wall(np.random.default_rng([seed, 5]), book)
    for trial in trials:
        _write_trial(book, trial)
    return book


def _name_houses(rows: list[Row]) -> None:
    for row, (name, street) in zip(rows, PLACES, strict=True):
        row |= {"name": name, "street": street, "locality": TOWN, "region": REGION}


# What was known ------------------------


def _known(row: Row, day: object, began: dict[str, str]) -> bool:
    return began[str(row["building"])] <= str(day)[:10] <= LAST_DAY.isoformat()


def _keep_readings(book: Book, began: dict[str, str]) -> None:
    rows = [row for row in book.tables["readings"] if _known(row, row["taken_at"], began)]
    rows.sort(key=lambda row: (str(row["building"]), str(row["taken_at"]), str(row["section"])))
    seen = set()
    for row in rows:
        row["inspector"] = INSPECTORS[str(row["inspector"])]
        row["taken_at"] = str(row["taken_at"])[:16]
        if row["building"] not in seen:
            seen.add(row["building"])
            row["note"] = "First round of the house (invented)"
    book.tables["readings"] = rows


def _keep_treatments(book: Book, began: dict[str, str]) -> None:
    kept = []
    for row in book.tables["treatments"]:
        start = began[str(row["building"])]
        removed = str(row.get("removed_on") or "")
        if str(row["applied_on"]) > LAST_DAY.isoformat() or (removed and removed < start):
            continue
        if removed > LAST_DAY.isoformat():
            row |= {"removed_on": "", "removal_reason": ""}
        if str(row["applied_on"]) < start:
            row["found"] = "yes"
        kept.append(row)
    book.tables["treatments"] = kept


def _keep_events(book: Book, began: dict[str, str]) -> None:
    rows = book.tables["events"]
    book.tables["events"] = [row for row in rows if _known(row, row["happened_on"], began)]


# Costs and notes ------------------------


def _price_treatments(rng: np.random.Generator, book: Book) -> None:
    area = {
        row["code"]: float(str(row["length_m"])) * float(str(row["height_m"]))
        for row in book.tables["sections"]
    }
    for row in book.tables["treatments"]:
        if row.get("found"):
            continue
        kind = str(row["kind"])
        price = PRICES.get(f"{kind} {row['binder']}", PRICES.get(kind, PRICES["parge_coat"]))
        patch = row.get("purpose") == "patch"
        covered = float(str(row.get("area_m2") or area[row["section"]]))
        cost = price * (PATCH_FACTOR if patch else 1.0) * covered * rng.lognormal(0.0, 0.15)
        row["applied_by"] = f"{rng.choice(MASONS)} (invented)"
        row["cost"], row["currency"] = _money(max(cost, LEAST_COST)), CURRENCY


def _describe_events(rng: np.random.Generator, rows: list[Row]) -> None:
    for row in rows:
        kind = str(row["kind"])
        row["note"] = f"{rng.choice(NOTES[kind])} (invented)"
        if kind in EVENT_COSTS:
            cost = _money(float(rng.uniform(*EVENT_COSTS[kind])))
            row["cost"], row["currency"] = cost, CURRENCY


def _money(cost: float) -> str:
    return f"{5 * round(cost / 5)}.00"


# Openings ------------------------


def _open_walls(rng: np.random.Generator, book: Book) -> None:
    """Walls drawn by lot are opened on a visit, and suspected ones: most of these did hold water then, by the
    simulator's own truth, and all are those in which the probe was most often off its scale.

    At every opening the bedding mortar is probed. It is found soft as far in as water stood in the wall, and
    for how long, by the simulator's own truth.
    """
    visits: dict[tuple[str, str, str], int] = {}
    for row in book.tables["readings"]:
        if row.get("section") and str(row["taken_at"]) >= DRAWN_FROM:
            visit = (str(row["building"]), str(row["section"]), str(row["taken_at"])[:10])
            beyond = row["quantity"] == "in_wall_humidity" and row.get("qualifier") == ">"
            visits[visit] = visits.get(visit, 0) + int(beyond)
    drawn: dict[str, tuple[str, str, str]] = {}
    every = sorted(visits)
    for place in rng.permutation(len(every)).tolist():
        if len(drawn) < DRAWN:
            drawn.setdefault(every[place][1], every[place])
    counts = Counter({section: 0 for _, section, _ in every})
    for (_, section, _), beyond in visits.items():
        counts[section] += beyond
    last = {visit[1]: visit for visit in every}
    wettest = [last[section] for section, _ in counts.most_common() if section not in drawn]
    rightly = [visit for visit in wettest if _held_since(book, visit[1], visit[2])][:RIGHTLY]
    wrongly = [visit for visit in wettest if not _held_since(book, visit[1], visit[2])]
    drawn |= {visit[1]: visit for visit in rightly + wrongly[: SUSPECTED - len(rightly)]}
    for building, section, day in sorted(drawn.values(), key=lambda one: one[2]):
        book.add("events", building=building, section=section, happened_on=day, kind="opening", layer=1)
    book.tables["events"].sort(key=lambda row: str(row["happened_on"]))
    for row in book.tables["events"]:
        if row["kind"] == "opening" and row.get("section"):
            book.add(
                "readings",
                building=row["building"],
                section=row["section"],
                taken_at=f"{row['happened_on']}T15:30",
                quantity="mortar_soft_depth",
                value=_soft_mm(rng, book, row),
                unit="mm",
                inspector=INSPECTORS["CD"],
                note="In the opened place (invented)",
                point="opened",
            )


def _held_since(book: Book, section: str, day: str) -> dt.date | None:
    """Since when water stood in a wall on a day, by the simulator's truth; None where none did."""
    told = [row for row in book.truth if row["section"] == section and str(row["date"]) <= day]
    last = max(told, key=lambda row: str(row["date"]), default=None)
    if last is None or last["truth"] != "trapped_water" or not last.get("onset"):
        return None
    return dt.date.fromisoformat(str(last["onset"]))


def _soft_mm(rng: np.random.Generator, book: Book, event: Row) -> float:
    """How deep a probe goes into the mortar of an opened place, mm."""
    day = str(event["happened_on"])
    begun = _held_since(book, str(event["section"]), day)
    soft = 1.5
    if begun is not None:
        soft += 9.0 + 3.0 * (dt.date.fromisoformat(day) - begun).days / 365.25
    return round(float(soft * rng.lognormal(0.0, 0.3)), 1)


# A logger ------------------------


def _log_wall(rng: np.random.Generator, book: Book) -> None:
    """A year of a logger behind the coat of :data:`LOGGED`, about what its probe was read to show."""
    building, section = LOGGED
    days = np.arange((LAST_DAY - LOGGED_FROM).days * LOGS_A_DAY) / LOGS_A_DAY
    for quantity, unit, rough, most in (
        ("in_wall_temperature", "degF", 0.6, np.inf),
        ("in_wall_humidity", "percent_rh", 0.8, 100.0),
    ):
        rows = [
            row
            for row in book.tables["readings"]
            if row["section"] == section and row["quantity"] == quantity and str(row["taken_at"]) >= "2020"
        ]
        read = np.array([dt.date.fromisoformat(str(row["taken_at"])[:10]).toordinal() for row in rows])
        value = np.array([float(str(row["value"])) for row in rows])
        found, *_ = np.linalg.lstsq(_season(read - LOGGED_FROM.toordinal()), value, rcond=None)
        wander = np.zeros(len(days))
        for step in range(1, len(days)):
            wander[step] = 0.97 * wander[step - 1] + rng.normal(0.0, rough * 0.25)
        for day, logged in zip(days, _season(days) @ found + wander, strict=True):
            moment = dt.datetime.combine(LOGGED_FROM, dt.time()) + dt.timedelta(days=float(day))
            book.add(
                "logs",
                building=building,
                section=section,
                quantity=quantity,
                unit=unit,
                depth_mm=150,
                point="logger",
                taken_at=f"{moment:%Y-%m-%dT%H:%M}Z",
                value=round(float(min(logged, most)), 1),
            )


def _season(days: npt.NDArray[np.generic]) -> npt.NDArray[np.float64]:
    """An annual cosine's columns at days (n,)."""
    angle = 2 * np.pi * np.asarray(days, dtype=float) / 365.25
    return np.column_stack([np.ones(len(angle)), np.cos(angle), np.sin(angle)])


# Trials ------------------------


def _write_trial(book: Book, trial: Trial) -> None:
    house = {row["code"]: row["building"] for row in book.tables["sections"]}
    book.add(
        "trials",
        code=trial.code,
        question=trial.question,
        outcome="affected_area_rate",
        started_on=trial.begins.isoformat(),
        planned_end_on=trial.ends.isoformat(),
    )
    for allotted in trial.allotted:
        book.add(
            "allocations",
            trial=trial.code,
            building=house[allotted.section.code],
            section=allotted.section.code,
            arm=allotted.arm,
            allocated_by=trial.allocated_by,
            note=trial.note,
            block=allotted.block,
            sequence=allotted.sequence,
        )
