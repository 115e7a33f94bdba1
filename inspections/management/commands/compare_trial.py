from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.domain.comparing import compare_trial
from inspections.management.results import add_options, day_of, give, organisation_of
from inspections.queries.trials import trial_by_code
from portfolio.domain.refusals import Refusal


class Command(BaseCommand):
    help = "Say what a trial taught: the difference between its arms, and how far it can be trusted."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("code", metavar="CODE", help="the trial's code")
        add_options(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        organisation = organisation_of(options)
        trial = trial_by_code(organisation, options["code"])
        if trial is None:
            raise CommandError(f"{organisation} has no trial {options['code']!r}.")
        try:
            comparison = compare_trial(trial, as_of=day_of(options))
        except Refusal as refusal:
            raise CommandError(str(refusal)) from None
        give(comparison.as_json(), options, self.stdout)
        self.stderr.write(comparison.statement)
