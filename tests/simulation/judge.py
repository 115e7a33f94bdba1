"""Judge the verdict on simulated walls that it was not calibrated on: ``python -m tests.simulation.judge``.

Prints, for each generator and all together: the ranking of sections by the probability of trapped water
(AUC), the share of trapped section-dates called and of others called falsely, both while under 1 % of the
coat has fallen, how often entry and trapped water are told apart, and the calibration error; and the same by
kit. Beside it stands what a rising line through the face readings achieves.
"""

from __future__ import annotations

import argparse
import datetime as dt
import importlib
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np

from inspections.analysis.assessment import judge
from inspections.analysis.records import BuildingRecord
from tests.simulation.baseline import rising_face
from tests.simulation.book import CLASSES, Book, Row, day_number, to_records
from tests.simulation.calibrate import FIRST_SEED, GENERATORS
from tests.simulation.evaluate import Items, by_kit, evaluate, join, kit_name, match

#: The generators of the calibration with other seeds, and one that it never uses.
JUDGED = (*GENERATORS, "holdout")
#: Level at which a spreadsheet's rising line is called.
SIGNIFICANT = 0.05


#: Days that lie at least between two visits where a house is taken to be visited but once a year.
YEARLY = 270


def thinned(house: BuildingRecord) -> BuildingRecord:
    """The house as if it had been visited once a year: the readings of other days are left out."""
    days = np.unique(np.concatenate([np.floor(section.readings.time) for section in house.sections]))
    kept: list[float] = []
    for day in days.tolist():
        if not kept or day - kept[-1] >= YEARLY or day - kept[-1] <= 1:
            kept.append(day)
    sections = tuple(
        replace(section, readings=section.readings.where(np.isin(np.floor(section.readings.time), kept)))
        for section in house.sections
    )
    own = house.readings.where(np.isin(np.floor(house.readings.time), kept))
    return replace(house, sections=sections, readings=own)


def judged(book: Book, portfolio: int, dates_a_house: int, *, yearly: bool = False) -> tuple[Items, Items]:
    """The items of one book by the assessment, and by the rising line (its p-value turned into a score)."""
    wanted = _chosen(book.truth, dates_a_house, np.random.default_rng(portfolio))
    assessments: list[dict[str, object]] = []
    lines: list[dict[str, object]] = []
    kits: dict[tuple[str, str], str] = {}
    kept = {(str(row["building"]), str(row["section"]), str(row["date"])): row for row in wanted}
    for whole in to_records(book):
        house = thinned(whole) if yearly else whole
        for date in sorted({key[2] for key in kept if key[0] == house.code}):
            as_of = dt.date.fromisoformat(date)
            wanted_here = {key[1] for key in kept if key[0] == house.code and key[2] == date}
            assessments += [row for row in _verdicts(house, as_of) if row["section"] in wanted_here]
            lines += [line for line in _lines(house, as_of) if line["section"] in wanted_here]
        for section in house.sections:
            quantities = set(section.readings.quantity.tolist()) | set(house.readings.quantity.tolist())
            kits[house.code, section.code] = kit_name(quantities)
    rows = list(kept.values())
    return match(portfolio, assessments, rows, kits), match(portfolio, lines, rows, kits)


def _chosen(truth: list[Row], dates_a_house: int, rng: np.random.Generator) -> list[Row]:
    dates: dict[str, set[str]] = defaultdict(set)
    for row in truth:
        dates[str(row["building"])].add(str(row["date"]))
    chosen = {
        house: set(rng.choice(sorted(own), min(dates_a_house, len(own)), replace=False))
        for house, own in sorted(dates.items())
    }
    return [row for row in truth if str(row["date"]) in chosen[str(row["building"])]]


def _verdicts(house: BuildingRecord, as_of: dt.date) -> list[dict[str, object]]:
    """What the verdict's model says, in the shape of an assessment; rates and forecasts are not asked for."""
    day = float(day_number(as_of))
    return [
        {
            "building": house.code,
            "section": own.section.code,
            "as_of": as_of.isoformat(),
            "verdict": own.verdict,
            "probability": own.posterior.probability,
        }
        for own in judge(house.until(day), day)[1]
    ]


def _lines(house: BuildingRecord, as_of: dt.date) -> list[dict[str, object]]:
    """What a line through the face readings says, in the shape of an assessment."""
    day = float(day_number(as_of))
    found: list[dict[str, object]] = []
    for section in house.until(day).sections:
        rise = rising_face(section.readings)
        score = (1 + rise) / 2
        probability = dict.fromkeys(CLASSES, (1 - score) / 5) | {"trapped_water": score}
        verdict = "trapped_water" if rise > 1 - SIGNIFICANT else "stable"
        found.append(
            {
                "building": house.code,
                "section": section.code,
                "as_of": as_of.isoformat(),
                "verdict": verdict,
                "probability": probability,
            }
        )
    return found


def judged_portfolio(
    generator: str, seed: int, dates_a_house: int, yearly: bool = False
) -> tuple[Items, Items]:
    """Simulate one portfolio and judge it."""
    book = importlib.import_module(f"tests.simulation.{generator}").simulate(seed)
    return judged(book, seed, dates_a_house, yearly=yearly)


def judged_portfolios(
    generator: str, seeds: range, dates_a_house: int = 3, jobs: int = 2, yearly: bool = False
) -> tuple[Items, Items]:
    """Many portfolios, by ``jobs`` processes."""
    if seeds.stop > FIRST_SEED:
        raise ValueError(f"seeds from {FIRST_SEED} on are for calibration")
    n = len(seeds)
    with ProcessPoolExecutor(jobs) as pool:
        parts = list(pool.map(judged_portfolio, [generator] * n, seeds, [dates_a_house] * n, [yearly] * n))
    return join([ours for ours, _ in parts]), join([line for _, line in parts])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--portfolios", type=int, default=30, help="portfolios of each generator")
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--dates", type=int, default=3, help="dates at which each house is read")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--yearly", action="store_true", help="as if each house were visited once a year")
    options = parser.parse_args()
    everything = []
    for i, generator in enumerate(JUDGED):
        seeds = range(options.first, options.first + options.portfolios)
        ours, line = judged_portfolios(generator, seeds, options.dates, options.jobs, options.yearly)
        print(f"== {generator}: {len(ours)} section-dates of {options.portfolios} portfolios")
        print(evaluate(ours))
        print("a rising line through the face readings:")
        print(evaluate(line))
        everything.append(replace(ours, portfolio=ours.portfolio + 100_000 * i))
    whole = join(everything)
    print(f"== all together: {len(whole)} section-dates")
    print(evaluate(whole))
    for kit, score in by_kit(whole).items():
        print(f"-- kit: {kit}")
        print(score)


if __name__ == "__main__":
    main()
