from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from inspections.domain.assess import assess_organisation
from inspections.management.results import add_options, day_of, give, organisation_of


class Command(BaseCommand):
    help = "Assess every section of an organisation; without --as-of the results are stored."

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_options(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        organisation = organisation_of(options)
        results = [result.as_json() for result in assess_organisation(organisation, as_of=day_of(options))]
        give(results, options, self.stdout)
        self.stderr.write(f"Assessed {len(results)} sections of {organisation}.")
