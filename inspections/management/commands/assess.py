from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand

from inspections.domain.assess import assess_organisation
from inspections.management.results import add_options, day_of, give_rows, organisation_of
from inspections.management.terminal import progress_on


class Command(BaseCommand):
    help = "Assess every section of an organisation; without --as-of the results are stored."

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_options(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        organisation, as_of = organisation_of(options), day_of(options)

        def results() -> Iterator[dict[str, Any]]:
            with progress_on(self.stderr) as progress:
                for number, result in enumerate(assess_organisation(organisation, as_of=as_of), start=1):
                    if progress and number % SHOWN == 0:
                        progress("assessing sections", number)
                    yield result.as_json()

        count = give_rows(results(), options, self.stdout)
        self.stderr.write(f"Assessed {count} sections of {organisation}.")


#: Sections between two looks at the terminal.
SHOWN = 20
