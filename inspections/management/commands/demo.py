"""Show the product on invented houses: set them up, say how to get in, and serve."""

from __future__ import annotations

import os
import socket
import threading
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import OperationalError, connection

from inspections.demo import PASSPHRASE, PEOPLE, SLUG, DemoRefused, refuse_others, set_up
from inspections.domain.replays import replay_due
from inspections.management.terminal import progress_on
from inspections.records import RecordsRefused

HOST, PORT = "127.0.0.1", 8000

WAY_IN = """
{name}: {houses} houses, {sections} sections of wall. Everything in it is invented.

  Pages    {address}/
  Sign in  as {usernames}
           with the passphrase: {passphrase}

  API      {address}/api/v1/, described at {address}/api/v1/schema/
           A key of your own, shown once:
             python manage.py issue_token analyst --organisation {slug} --name "trying it out"
           Which walls hold water:
             curl -H "Authorization: Bearer KEY" "{address}/api/v1/assessments/?verdict=trapped_water"
"""


class Command(BaseCommand):
    help = (
        "Set up a portfolio of invented houses, assess it, say how to sign in, and serve it on this machine."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=PORT, help=f"of {HOST}; {PORT} if left out")
        parser.add_argument("--no-serve", action="store_true", help="end after saying how to get in")

    def handle(self, *args: Any, port: int, no_serve: bool, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(
                "The demonstration's passphrase is known to everybody; run it without WYTHE_PRODUCTION."
            )
        if not no_serve:
            _refuse_taken(port)
        try:
            self._set_up(f"http://{HOST}:{port}")
        except (DemoRefused, RecordsRefused) as refusal:
            raise CommandError(str(refusal)) from None
        except OperationalError as error:
            raise CommandError(
                f"The database can't be used: {str(error).strip()}. Look at DATABASE_URL."
            ) from error
        if not no_serve:
            self._serve(port)

    def _set_up(self, address: str) -> None:
        refuse_others()
        self._tell("Preparing the database …")
        call_command("migrate", interactive=False, verbosity=0)
        with progress_on(self.stderr) as progress:
            done = set_up(self._tell, progress)
        self._tell(
            WAY_IN.format(
                name=done.organisation.name,
                houses=done.houses,
                sections=done.sections,
                address=address,
                usernames=", ".join(person.username for person in PEOPLE),
                passphrase=PASSPHRASE,
                slug=SLUG,
            )
        )

    def _tell(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()

    def _serve(self, port: int) -> None:
        """Django's own server, with its remark about production left out: this never is."""
        threading.Thread(target=_look_back, name="look back", daemon=True).start()
        os.environ["DJANGO_RUNSERVER_HIDE_WARNING"] = "true"
        call_command("runserver", f"{HOST}:{port}", use_reloader=False, skip_checks=True)


def _look_back() -> None:
    """Work out the past of every wall while the pages are already served."""
    try:
        replay_due()
    finally:
        connection.close()


def _refuse_taken(port: int) -> None:
    """Say so before anything is set up if the port can't be had."""
    if not 0 < port < 65536:
        raise CommandError(f"--port: {port} is no port; say a number from 1024 to 65535.")
    with socket.socket() as one:
        one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            one.bind((HOST, port))
        except OSError as error:
            raise CommandError(
                f"Port {port} can't be used ({error.strerror}); choose another: "
                f"python manage.py demo --port {port + 1 if port < 65535 else PORT}"
            ) from None
