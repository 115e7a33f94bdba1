from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.domain.assess import reassess_due
from inspections.domain.replays import replay_due
from inspections.records.uploads import run_waiting

#: Quick enough for somebody who waits to see what their readings say, and no load worth the name.
USUAL_PAUSE_S = 15.0
#: Houses looked back on in one round of the loop, so that a large load's past keeps nothing else waiting.
HOUSES_A_ROUND = 5


class Command(BaseCommand):
    help = (
        "Do the work that waits: check and load what was sent by the page, assess the houses whose records "
        "changed, and work out what would have been said of them at each past visit. With --loop, again "
        "and again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--loop", action="store_true", help="keep looking for work until it is stopped")
        parser.add_argument(
            "--pause", type=float, default=USUAL_PAUSE_S, metavar="SECONDS", help="between two looks"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["pause"] <= 0:
            raise CommandError("--pause: say a number of seconds above 0.")
        self._run(options["loop"])
        while options["loop"]:
            time.sleep(options["pause"])
            self._run(in_loop=True)

    def _run(self, in_loop: bool) -> None:
        if sent := run_waiting():
            self.stderr.write(f"Worked on {sent} upload{'' if sent == 1 else 's'}.")
        if houses := reassess_due():
            self.stderr.write(f"Assessed {houses} house{'' if houses == 1 else 's'} anew.")
        if houses := replay_due(at_most=HOUSES_A_ROUND if in_loop else None):
            self.stderr.write(f"Looked back on {houses} house{'' if houses == 1 else 's'}.")
