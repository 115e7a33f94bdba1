"""Write the demonstration's records: ``python -m tests.simulation.make_demo --out inspections/demo/records``.

An invented owner of twelve invented houses in an invented river town, lived through by the physical simulator
and written down as its inspectors would have: nothing is set by hand to suit the rules of a verdict. What is
told to the simulator is in :mod:`tests.simulation.demo_plan`; what is added afterwards (names, costs, notes)
is in :mod:`tests.simulation.demo_ledger`.

:data:`SEED` is the first from 1 on for which the trials find their pairs of walls, every house was read, the
first of the trials allotted at random shows no difference before it began, the one allotted by judgement
leans as it was meant to, and each verdict is given at least twice, at the record's end and on two later days.
It is found with ``--search 1:99``, which prints the count of each verdict for each seed, and is to be looked
for again when the numbers of the verdict or the simulator change.
"""

from __future__ import annotations

import argparse
import datetime as dt
import shutil
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

from inspections.analysis.assessment import assess_building
from inspections.analysis.records import BuildingRecord
from inspections.analysis.results import HYPOTHESES, INSUFFICIENT
from tests.simulation.book import Book, to_records, write_book
from tests.simulation.demo_ledger import finish
from tests.simulation.demo_plan import (
    HOUSES,
    LAST_DAY,
    YEARS,
    Arranger,
    NoPairs,
    demo_style,
)
from tests.simulation.physical import simulate

SEED = 12

#: The verdicts must all be there on each of these days, so that the demonstration holds for some time; what
#: was flooded in its last summer dries out for good if nobody looks again.
LOOKED_AT = (LAST_DAY, dt.date(2027, 1, 1), dt.date(2027, 4, 1))
VERDICTS = (*HYPOTHESES, INSUFFICIENT)
#: How often each verdict must be given, so that none is lost by a small change of the model's numbers.
LEAST = 2
#: The two-sided 99 % point of Student's t for six differences of pairs (five degrees of freedom; from memory
#: of the tables). A trial leans as it was meant to if the favoured arm's walls were the drier on average.
FAIR_BELOW, LEANS_ABOVE = 4.03, 0.0


def make_book(seed: int) -> Book:
    """The demonstration's record book, as it is written."""
    arranger = Arranger(seed)
    book = simulate(seed, houses=HOUSES, years=YEARS, style=demo_style(seed), arrange=arranger.arrange)
    return finish(book, arranger.trials, seed)


def write_demo(seed: int, folder: Path) -> None:
    """Write the folder, without the truth, and put it in the place of what was there."""
    book = make_book(seed)
    book.truth = []
    with tempfile.TemporaryDirectory() as scratch:
        write_book(book, Path(scratch))
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.glob("*.csv"):
            old.unlink()
        for new in sorted(Path(scratch).glob("*.csv")):
            shutil.copyfile(new, folder / new.name)


# Choosing the seed ------------------------


def judged(houses: list[BuildingRecord], as_of: dt.date) -> dict[object, str]:
    """The verdict on each section on a day."""
    return {result.section: result.verdict for house in houses for result in assess_building(house, as_of)}


def before_difference(book: Book, trial: str) -> float:
    """Student's t of the pairs' differences of mean face moisture before the trial, second arm less first."""
    started = next(str(row["started_on"]) for row in book.tables["trials"] if row["code"] == trial)
    means: dict[object, dict[object, float]] = {}
    for row in book.tables["allocations"]:
        if row["trial"] == trial:
            values = [
                float(str(reading["value"]))
                for reading in book.tables["readings"]
                if reading["section"] == row["section"]
                and reading["quantity"] == "surface_moisture"
                and str(reading["taken_at"]) < started
            ]
            means.setdefault(row["block"], {})[row["arm"]] = float(np.mean(values))
    gaps = np.array([pair[max(pair)] - pair[min(pair)] for pair in means.values()])  # type: ignore[type-var]
    return float(gaps.mean() / (gaps.std(ddof=1) / np.sqrt(len(gaps))))


def search(first: int, last: int) -> None:
    """Print the counts of each verdict for each seed, and which seeds will do."""
    days = ", ".join(map(str, LOOKED_AT))
    print(f"Seed, t of T1 and T2 before, each verdict's count on {days}, share right on the first of them")
    for seed in range(first, last + 1):
        print(f"{seed:4}  {_told(seed)}", flush=True)


def _told(seed: int) -> str:
    try:
        book = make_book(seed)
    except NoPairs as error:
        return str(error)
    read = {str(row["building"]) for row in book.tables["readings"]}
    if never := sorted({str(row["code"]) for row in book.tables["buildings"]} - read):
        return f"{', '.join(never)}: never read"
    fair, unfair = before_difference(book, "T1"), before_difference(book, "T2")
    start = f"{fair:+.1f} {unfair:+.1f}"
    if abs(fair) > FAIR_BELOW or unfair < LEANS_ABOVE:
        return f"{start}  the trials don't begin as they were meant to"
    houses = to_records(book)
    found = [judged(houses, day) for day in LOOKED_AT]
    counts = [Counter(verdicts.values()) for verdicts in found]
    told = "  ".join(
        f"{verdict} " + "/".join(str(count[verdict]) for count in counts) for verdict in VERDICTS
    )
    will_do = all(count[verdict] >= LEAST for count in counts for verdict in VERDICTS)
    return f"{start}  {told}  {_share_right(book, found[0]):.2f}{'  WILL DO' if will_do else ''}"


def _share_right(book: Book, found: dict[object, str]) -> float:
    """Share of the verdicts at the record's end that are the truth, of those that were given."""
    truth = {row["section"]: row["truth"] for row in book.truth if row["date"] == LAST_DAY.isoformat()}
    right = [found[section] == truth[section] for section in found if found[section] != INSUFFICIENT]
    return float(np.mean(right))


def main() -> None:
    """Parse the arguments, and write the folder or search for seeds."""
    parser = argparse.ArgumentParser(description="Write the demonstration's records.")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--out", type=Path)
    parser.add_argument(
        "--search", metavar="FIRST:LAST", help="print each seed's verdicts, and write nothing"
    )
    options = parser.parse_args()
    if options.search:
        first, _, last = options.search.partition(":")
        search(int(first), int(last or first))
    elif options.out:
        write_demo(options.seed, options.out)
    else:
        parser.error("say --out FOLDER or --search FIRST:LAST")


if __name__ == "__main__":
    main()
