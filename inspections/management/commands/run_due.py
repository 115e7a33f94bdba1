from __future__ import annotations

import datetime as dt
import logging
import time
from argparse import ArgumentParser
from typing import Any

from celery.schedules import maybe_schedule
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from portfolio.celery import app

#: Quick enough for somebody who waits to see what their readings say, and no load worth the name.
USUAL_PAUSE_S = 15.0
#: What is said of each task of the schedule that found something to do: before and after the count.
SAID = {
    "run_uploads": ("Worked on", "upload", ""),
    "reassess_waiting": ("Assessed", "house", " anew"),
    "look_back": ("Looked back on", "house", ""),
    "ask_for_old_assessments": ("Asked for", "house", " to be assessed anew"),
    "raise_reminders": ("Raised", "reminder", ""),
    "send_mails": ("Sent", "mail", ""),
    "call_webhooks": ("Called", "webhook", ""),
}

log = logging.getLogger(__name__)


class Command(BaseCommand):
    help = (
        "Do the work that waits: load what was sent by the page, assess the houses whose records changed, "
        "work out what would have been said at each past visit, and tell people and programs what falls due. "
        "With --loop, again and again, each in its own time."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--loop", action="store_true", help="keep looking for work until it is stopped")
        parser.add_argument(
            "--pause", type=float, default=USUAL_PAUSE_S, metavar="SECONDS", help="between two looks"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["pause"] <= 0:
            raise CommandError("--pause: say a number of seconds above 0.")
        app.loader.import_default_modules()
        # The same schedule that beat reads; what has its hour waits for it where this goes on running.
        last = dict.fromkeys(app.conf.beat_schedule, timezone.now())
        failed = [
            name
            for name in last
            if not (options["loop"] and _has_its_hour(name))
            and not self._run(name, whole=not options["loop"])
        ]
        while options["loop"]:
            time.sleep(options["pause"])
            for name, then in last.items():
                if _is_due(name, then):
                    last[name] = timezone.now()
                    self._run(name)
        if failed:
            raise CommandError(f"Stopped by an error, which was noted: {', '.join(failed)}.")

    def _run(self, name: str, *, whole: bool = False) -> bool:
        """One task of the schedule, here and now; one that fails keeps no other from being done.

        ``whole``: all of its work, however long others then wait.
        """
        entry = app.conf.beat_schedule[name]
        try:
            count = app.tasks[entry["task"]](**({} if whole else entry.get("kwargs", {})))
        except Exception:
            log.exception("%s was stopped by an error", name)
            return False
        if count:
            did, noun, more = SAID[entry["task"].rpartition(".")[2]]
            self.stderr.write(f"{did} {count} {noun}{'' if count == 1 else 's'}{more}.")
        return True


def _has_its_hour(name: str) -> bool:
    return not isinstance(app.conf.beat_schedule[name]["schedule"], (int, float))


def _is_due(name: str, then: dt.datetime) -> bool:
    return bool(maybe_schedule(app.conf.beat_schedule[name]["schedule"]).is_due(then)[0])
