from __future__ import annotations

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from portfolio.domain.people import MemberRefused, add_member
from portfolio.models import Organisation, User
from portfolio.vocabulary import Role


def _password(username: str) -> str | None:
    """Ask twice on a terminal; elsewhere take the first line of standard input."""
    if User.objects.filter(username=username).exists():
        return None
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first = getpass.getpass(f"Password for {username}: ")
    if first != getpass.getpass("Once more: "):
        raise CommandError("The two passwords differ; nothing was saved.")
    return first


class Command(BaseCommand):
    help = "Give a person a role in an organisation; asks for a password where the account is new."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--role", required=True, choices=Role.values)

    def handle(self, *args: Any, **options: Any) -> None:
        slug, username = options["organisation"], options["username"]
        organisation = Organisation.objects.filter(slug=slug).first()
        if organisation is None:
            raise CommandError(f"There is no organisation {slug!r}; load its records first: load_records.")
        try:
            member = add_member(
                organisation=organisation,
                username=username,
                role=Role(options["role"]),
                password=_password(username),
            )
        except MemberRefused as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(f"{username} is now {member.get_role_display()} of {organisation}.")
