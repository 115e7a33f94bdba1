"""`manage.py issue_token`: give a program a key to one organisation."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from portfolio.domain.tokens import TokenRefused, issue_token
from portfolio.models import Organisation, User


class Command(BaseCommand):
    help = "Issue a token for the API. The key goes to standard output, once; only its hash is kept."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", help="the member it acts for")
        parser.add_argument("--organisation", required=True, metavar="SLUG")
        parser.add_argument("--name", required=True, help="what it is for, to know it by later")
        parser.add_argument("--days", type=int, help="how long it serves; without it, until it is revoked")

    def handle(
        self,
        *args: Any,
        username: str,
        organisation: str,
        name: str,
        days: int | None,
        **options: Any,
    ) -> None:
        user = User.objects.filter(username=username).first()
        if user is None:
            raise CommandError(f"There is nobody with the username {username!r}.")
        owner = Organisation.objects.filter(slug=organisation).first()
        if owner is None:
            raise CommandError(f"There is no organisation {organisation!r}.")
        expires_at = None if days is None else timezone.now() + dt.timedelta(days=days)
        try:
            _, key = issue_token(user=user, organisation=owner, name=name, expires_at=expires_at)
        except TokenRefused as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stderr.write("Keep this key now, it can't be shown again. Send it as: Authorization: Bearer KEY")
        self.stdout.write(key)
