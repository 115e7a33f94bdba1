"""The long proof: ``python -m tests.reminders.soak [--sqlite | --postgresql]``.

1,000 reminders to 800 people: on PostgreSQL with a broker, two beats and four workers, of which twenty and
more are killed (-9) and whose broker is restarted twice; on SQLite with four processes. Prints what arrived.
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.reminders.processes import Report, Sizes, prove
from tests.support.databases import empty_database

GROWN_UP = Sizes(
    reminders=1000, people=800, schedulers=2, senders=4, kills=24, restarts=2, patience=900, delay=0.2
)
ONE_FILE = Sizes(reminders=1000, people=800, senders=4, kills=20, patience=900, delay=0.2)


def main(asked: list[str]) -> list[Report]:
    reports = []
    for name, on_sqlite, sizes in (("--postgresql", False, GROWN_UP), ("--sqlite", True, ONE_FILE)):
        if asked and name not in asked:
            continue
        with TemporaryDirectory() as scratch, empty_database(Path(scratch), on_sqlite=on_sqlite) as database:
            report = prove(database, Path(scratch), sizes)
        print(f"{'SQLite' if on_sqlite else 'PostgreSQL'}: {report}", flush=True)
        reports.append(report)
    return reports


if __name__ == "__main__":
    import django

    django.setup()
    sys.exit(any(report.faults for report in main(sys.argv[1:])))
