from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.domain.lasting import failure_rates
from inspections.management.results import add_options, day_of, give, organisation_of
from inspections.vocabulary import coat_fields


class Command(BaseCommand):
    help = "Which coats fail, how often and how soon, in groups; JSON."

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_options(parser)
        parser.add_argument("--by", required=True, metavar="FIELD[,FIELD]", help="such as binder,substrate")

    def handle(self, *args: Any, **options: Any) -> None:
        organisation = organisation_of(options)
        try:
            by = coat_fields(options["by"])
        except ValueError as error:
            raise CommandError(f"--by: {error}") from None
        found = failure_rates(organisation, by, day_of(options))
        give(found.as_json(), options, self.stdout)
        coats = sum(group.coats for group in found.groups)
        self.stderr.write(f"{coats:,} coats of {organisation} in {len(found.groups):,} groups.")
