"""Assessing a whole portfolio anew, step by step, on the database that ``DATABASE_URL`` names.

``python -m tests.benchmarks.assessing SECTIONS [realistic]`` does this alone and prints the table; `storing`
does it beside the rest.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any
from unittest import mock

from tests.benchmarks.comparing import Result, table, times_slower
from tests.benchmarks.portfolios import write_even, write_realistic

#: Each takes long enough to be told from the machine's other work.
MOST_REPEATS = 2
BESIDE = "cursor.fetchall of section, time and value of the same readings, made arrays, house by house"
GOAL = "under 60 times"


def run(engine: str, sections: int, repeats: int, realistic: bool = False) -> list[Result]:
    """Records to stored assessments, flags and plans; beside three bare columns of all readings as arrays."""
    from inspections.domain import assess
    from inspections.records import load_folder
    from portfolio.models import Building, Organisation
    from tests.benchmarks.storing import arrays

    slug = "realistic" if realistic else "even"
    with TemporaryDirectory() as scratch:
        write = write_realistic if realistic else write_even
        readings = write(Path(scratch) / slug, sections)
        load_folder(Path(scratch) / slug, slug)
    organisation = Organisation.objects.get(slug=slug)
    houses = list(Building.objects.of(organisation).values_list("pk", flat=True))
    bare: list[float] = []
    whole: list[float] = []
    steps: dict[str, list[float]] = {"records_of": [], "assess_buildings": [], "_store": []}
    for _ in range(min(repeats, MOST_REPEATS)):
        bare.append(_seconds(lambda: [arrays([house]) for house in houses]))
        taken = dict.fromkeys(steps, 0.0)
        with mock.patch.multiple(assess, **{name: _timed(assess, name, taken) for name in steps}):
            whole.append(_seconds(lambda: sum(1 for _ in assess.assess_organisation(organisation))))
        for name, seconds in taken.items():
            steps[name].append(seconds)
    what = f"{engine}: {sections:,} sections, {readings:,} readings" + (", ten years each" * realistic)
    said = {
        "records_of": "their records read as the analysis takes them",
        "assess_buildings": "assessed",
        "_store": "stored, with flags and plans",
    }
    theirs = median(bare)
    return [
        times_slower(f"{what}: assessed anew in all", median(whole), BESIDE, theirs, GOAL),
        *(
            times_slower(f"the same: {said[name]}", median(seconds), BESIDE, theirs, "none")
            for name, seconds in steps.items()
        ),
    ]


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _timed(module: Any, name: str, taken: dict[str, float]) -> Callable[..., Any]:
    usual = getattr(module, name)

    def timed(*arguments: Any) -> Any:
        start = time.perf_counter()
        try:
            return usual(*arguments)
        finally:
            taken[name] += time.perf_counter() - start

    return timed


if __name__ == "__main__":
    import os

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portfolio.settings")
    django.setup()
    from django.db import connection

    kinds = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}
    print(table(run(kinds[connection.vendor], int(sys.argv[1]), 1, "realistic" in sys.argv[2:])))
