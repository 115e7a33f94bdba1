"""Many processes that each write small records, one after another, until they are told to stop.

``python -m tests.concurrency.writers WRITERS FOLDER`` prints a line for each writer that is ready. A file
named ``stop`` in the folder ends them; each then leaves one of JSON there: the records that were
acknowledged, what went wrong, and the longest that it had to wait, in seconds.
"""

from __future__ import annotations

import datetime as dt
import json
import multiprocessing
import sys
import time
import traceback
import uuid
from pathlib import Path

#: Before the readings of every load, so that keys never meet.
YEAR_BEFORE = dt.datetime(2019, 1, 1, tzinfo=dt.UTC)
PAUSE = 0.02


def main(writers: int, folder: Path) -> None:
    import django

    django.setup()
    context = multiprocessing.get_context("fork")
    processes = [context.Process(target=_write_until, args=(number, folder)) for number in range(writers)]
    for process in processes:
        process.start()
    for process in processes:
        process.join()


def _write_until(number: int, folder: Path) -> None:
    # One write of a whole line, since all of them share the pipe.
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    written: list[str] = []
    errors: list[str] = []
    longest = 0.0
    while not (folder / "stop").exists() or not written:
        start = time.perf_counter()
        try:
            written.append(str(_write(number, len(written))))
        except Exception:
            errors.append(traceback.format_exc())
            break
        longest = max(longest, time.perf_counter() - start)
        time.sleep(PAUSE)
    report = {"written": written, "errors": errors, "longest": longest}
    (folder / f"{number}.json").write_text(json.dumps(report))


def _write(number: int, nth: int) -> uuid.UUID:
    """One person's reading, on a visit that all writers share, and a count that all of them raise."""
    from django.db import transaction
    from django.db.models import F

    from inspections.models import Reading, Visit
    from portfolio.models import Building, Section

    section = Section.objects.select_related("building").get(building__code="H0", code="S0")
    at = YEAR_BEFORE + dt.timedelta(days=nth, minutes=number)
    with transaction.atomic():
        visit, _ = Visit.objects.get_or_create(
            building=section.building, day=at.date(), inspector="all of us"
        )
        reading = Reading.objects.create(
            building=section.building,
            section=section,
            visit=visit,
            taken_at=at,
            quantity="air_humidity",
            value=60.0,
            entered_value="60",
            unit="percent_rh",
            point=f"writer {number}",
        )
        Building.objects.filter(pk=section.building.pk).update(revision=F("revision") + 1)
    return reading.pk


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
