from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.domain.lasting import failure_rates
from inspections.domain.lasting_lists import LISTS, Asked
from inspections.management.results import add_options, day_of, give, organisation_of
from inspections.vocabulary import coat_fields


class Command(BaseCommand):
    help = (
        "Which coats fail, how often and how soon, in groups; JSON. With --list: how often at each age, the "
        "groups beside each other at like ages or on like walls, what becomes of coats, or how far all that "
        "rests on planned removals and on visits made because of a wall's state."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_options(parser)
        parser.add_argument("--by", required=True, metavar="FIELD[,FIELD]", help="such as binder,substrate")
        parser.add_argument("--list", choices=sorted(LISTS), help="this list of the API instead")

    def handle(self, *args: Any, **options: Any) -> None:
        organisation = organisation_of(options)
        try:
            by = coat_fields(options["by"])
        except ValueError as error:
            raise CommandError(f"--by: {error}") from None
        if options["list"]:
            as_of, rows = LISTS[options["list"]](Asked(organisation, by, day_of(options)))
            give({"as_of": as_of.isoformat(), "results": rows}, options, self.stdout)
            self.stderr.write(f"{len(rows):,} rows of {organisation}.")
            return
        found = failure_rates(organisation, by, day_of(options))
        give(found.as_json(), options, self.stdout)
        coats = sum(group.coats for group in found.groups)
        self.stderr.write(f"{coats:,} coats of {organisation} in {len(found.groups):,} groups.")
