"""``python -m tests.benchmarks [--tiny]`` prints the ratios as a table in Markdown."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks import analysing, lasting, starting
from tests.benchmarks.comparing import FULL, TINY, Result, Sizes, table
from tests.support.databases import Database, empty_database


def main(sizes: Sizes) -> list[Result]:
    results: list[Result] = []
    with TemporaryDirectory() as scratch:
        for on_sqlite in (True, False):
            with empty_database(Path(scratch), on_sqlite=on_sqlite) as database:
                results += _stored(database, sizes)
    return results + starting.run(sizes) + analysing.run(sizes) + lasting.run(sizes)


def _stored(database: Database, sizes: Sizes) -> list[Result]:
    """In a process of its own, since settings hold one database."""
    with database.start("-m", "tests.benchmarks.storing", json.dumps(asdict(sizes))) as process:
        out, err = process.communicate()
    if process.returncode:
        raise SystemExit(err)
    return [Result(**result) for result in json.loads(out)]


if __name__ == "__main__":
    print(table(main(TINY if "--tiny" in sys.argv[1:] else FULL)))
