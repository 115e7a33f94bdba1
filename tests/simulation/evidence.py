"""The figures of the page that explains the method: ``python -m tests.simulation.evidence``.

Simulated portfolios with seeds that no calibration uses, each wall looked at twice a year, give how long
before the coat falls a wall is called, how far stated probabilities come true, what each kit finds at how
many false calls, and what each kind of reading adds. Written as one small file, which the page draws.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

from inspections.analysis.alarms import CALL, LIMITS
from inspections.analysis.assessment import model_version
from inspections.analysis.calibration import MODEL
from inspections.analysis.features import FEATURES, GROUPS, READ_GROUPS
from inspections.analysis.records import FloatArray
from inspections.analysis.results import HYPOTHESES
from tests.simulation.calibrate import FIRST_SEED, GENERATORS, probabilities
from tests.simulation.evaluate import EARLY, auc
from tests.simulation.looks import A_YEAR, BoolArray, Watched, judgement, watched_portfolios
from tests.simulation.table import Table, joined

JUDGED = (*GENERATORS, "holdout")
TRAPPED = HYPOTHESES.index("trapped_water")
#: Kits by what they add to the one before: the names stand on the page.
LEAST = ("surface_moisture", "spall_area", "air_humidity")
KITS = {
    "face, fallen area and the room’s air": LEAST,
    "the same, and a hammer": (*LEAST, "hollow_area", "salt_area"),
    "the same, and a deep reading": (*LEAST, "hollow_area", "salt_area", "deep_moisture"),
    "everything": READ_GROUPS,
}
#: Shares of others falsely called at which the finds are told.
FALSE = (0.002, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.2)
BINS = 10
#: Half-years before the first hundredth of a coat has fallen.
BEFORE = tuple(range(16, -1, -1))
TARGET = Path(__file__).parents[2] / "inspections" / "web" / "present" / "evidence.json"


def only(table: Table, groups: tuple[str, ...]) -> Table:
    """The table with every reading hidden that is not of ``groups``."""
    vectors = table.vectors.copy()
    for group in READ_GROUPS:
        if group not in groups:
            vectors[:, [FEATURES.index(name) for name in GROUPS[group]]] = np.nan
    return Table(vectors, table.truth, table.lost, table.portfolio, table.visits)


def found_at(score: FloatArray, held: BoolArray, false: float) -> float:
    """Of the walls that hold water, the share that scores above all but ``false`` of the others."""
    return float((score[held] > np.quantile(score[~held], 1 - false)).mean())


def reliability(score: FloatArray, held: BoolArray) -> list[dict[str, float]]:
    """Bands of ten in 100: mean stated probability, share that came true with its 95 % limits, and count.

    The limits are Wilson's (1927) for a share; looks at one wall are alike, so that they are too narrow.
    """
    rows = []
    band = np.minimum((score * BINS).astype(int), BINS - 1)
    for part in (np.flatnonzero(band == i) for i in range(BINS)):
        if not len(part):
            continue
        n, seen, z = len(part), float(held[part].mean()), 1.96
        middle = (seen + z**2 / (2 * n)) / (1 + z**2 / n)
        half = z / (1 + z**2 / n) * np.sqrt(seen * (1 - seen) / n + z**2 / (4 * n**2))
        low, high = max(middle - half, 0.0), min(middle + half, 1.0)
        rows.append({"stated": float(score[part].mean()), "seen": seen, "low": low, "high": high, "count": n})
    return rows


def calibration_error(score: FloatArray, held: BoolArray) -> float:
    """Expected calibration error over ten bins of equal count (Naeini et al. 2015)."""
    parts = np.array_split(np.argsort(score, kind="stable"), BINS)
    off = [abs(float(score[part].mean()) - float(held[part].mean())) for part in parts]
    return float(np.average(off, weights=[len(part) for part in parts]))


def lead_times(walls: list[Watched]) -> list[float]:
    """For each wall whose coat loses its first hundredth while it holds water: years from the call to then.

    Negative where it was called afterwards, -inf where never; a call counts from the look on from which it
    held without a break until the hundredth had fallen, or the first after it.
    """
    found = []
    for wall in walls:
        fallen = np.flatnonzero(wall.lost >= EARLY)
        if not len(fallen) or fallen[0] == 0 or wall.truth[fallen[0]] != TRAPPED:
            continue
        at, called = int(fallen[0]), wall.verdict == TRAPPED
        if called[at]:
            before = np.flatnonzero(~called[:at])
            first = int(before[-1]) + 1 if len(before) else 0
        else:
            later = np.flatnonzero(called[at:])
            first = at + int(later[0]) if len(later) else -1
        found.append((at - first) / A_YEAR if first >= 0 else -np.inf)
    return found


def table_of(walls: list[Watched]) -> Table:
    """Every look at these walls as a row of a table."""
    return Table(
        vectors=np.concatenate([wall.vectors for wall in walls]),
        truth=np.concatenate([wall.truth for wall in walls]),
        lost=np.concatenate([wall.lost for wall in walls]),
        portfolio=np.zeros(sum(len(wall.truth) for wall in walls)),
        visits=np.concatenate([np.arange(1, len(wall.truth) + 1) for wall in walls]),
    )


def figures(walls: dict[str, list[Watched]]) -> dict[str, Any]:
    """All that the page draws and says, from walls by generator."""
    tables = {name: table_of(own) for name, own in walls.items()}
    whole = joined(tables.values())
    chance = {kit: probabilities(MODEL, only(whole, groups))[:, TRAPPED] for kit, groups in KITS.items()}
    held = whole.truth == TRAPPED
    everything = chance["everything"]
    leads = np.array([lead for own in walls.values() for lead in lead_times(own)])
    return {
        "model": model_version(),
        "section_dates": len(whole),
        "held": int(held.sum()),
        "error": calibration_error(everything, held),
        "reliability": reliability(everything, held),
        "kits": [
            {
                "kit": kit,
                "auc": auc(score, held),
                "found": [{"false": false, "found": found_at(score, held, false)} for false in FALSE],
            }
            for kit, score in chance.items()
        ],
        "called": {
            "found": float((everything[held] >= CALL).mean()),
            "false": float((everything[~held] >= CALL).mean()),
        },
        "generators": [_of_generator(name, table) for name, table in tables.items()],
        "lead": {
            "walls": len(leads),
            "called": [
                {"years": half / A_YEAR, "share": float((leads >= half / A_YEAR).mean())} for half in BEFORE
            ],
        },
        "adds": _what_each_adds(whole),
        "flags": [
            {
                "verdict": verdict,
                "opens": limits.opens,
                "closes": limits.closes,
                **_flagged([wall for own in walls.values() for wall in own], verdict),
            }
            for verdict, limits in LIMITS.items()
        ],
    }


def _of_generator(name: str, table: Table) -> dict[str, Any]:
    score, held = probabilities(MODEL, table)[:, TRAPPED], table.truth == TRAPPED
    early = held & (table.lost < EARLY)
    return {
        "name": name,
        "section_dates": len(table),
        "auc": auc(score, held),
        "found": float((score[held] >= CALL).mean()),
        "false": float((score[~held] >= CALL).mean()),
        "early": float((score[early] >= CALL).mean()),
    }


def _what_each_adds(table: Table) -> list[dict[str, Any]]:
    """For each kind of reading, on the walls that had it: finds at one false call in a hundred.

    Without it and with it, beside the rest of the least kit and beside all the rest.
    """
    rows = []
    for group in READ_GROUPS:
        own = [FEATURES.index(name) for name in GROUPS[group]]
        had = table.where(np.isfinite(table.vectors[:, own]).any(axis=1))
        held = had.truth == TRAPPED
        if held.sum() < 50:
            continue
        least = tuple(name for name in LEAST if name != group)
        others = tuple(name for name in READ_GROUPS if name != group)
        told = {"group": group, "walls": len(had), "held": int(held.sum())}
        for name, groups in (
            ("least", least),
            ("least_with", (*least, group)),
            ("rest", others),
            ("rest_with", READ_GROUPS),
        ):
            score = probabilities(MODEL, only(had, groups))[:, TRAPPED]
            told[name] = found_at(score, held, 0.01)
        rows.append(told)
    return rows


def _flagged(walls: list[Watched], verdict: str) -> dict[str, Any]:
    told = judgement(walls, verdict, LIMITS[verdict])
    low, high = told.limits_of_rate
    return {
        "section_years": round(told.section_years),
        "rate": told.rate,
        "low": low,
        "high": high,
        "false_share": told.false_share,
    }


def rounded(value: Any) -> Any:
    """The same with numbers to four places, so that the file is small and says no more than it knows."""
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [rounded(item) for item in value]
    return round(value, 4) if isinstance(value, float) else value


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--portfolios", type=int, default=3, help="portfolios of each generator")
    parser.add_argument("--first", type=int, default=401, help="first seed")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    if options.first + options.portfolios > FIRST_SEED:
        parser.error(f"seeds from {FIRST_SEED} on are for calibration")
    seeds = range(options.first, options.first + options.portfolios)
    walls = {name: watched_portfolios(name, seeds, options.jobs) for name in JUDGED}
    told = rounded(figures(walls))
    TARGET.write_text(json.dumps(told, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    print(f"wrote {TARGET.name}: {told['section_dates']} section-dates, {told['lead']['walls']} walls' leads")


if __name__ == "__main__":
    main()
