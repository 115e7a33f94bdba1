"""Raising and rendering the mails of a day: ``python -m tests.benchmarks.telling [MAILS]``.

On the database that ``DATABASE_URL`` names, which ends up full; an empty SQLite file in a folder of its own
where it names none. Each mail tells of three walls, with their assessments, readings and pictures.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

WALLS_A_MAIL = 3
READINGS_A_WALL = 60


def run(mails: int) -> dict[str, float]:
    """Seconds of the processor for raising all reminders, and for rendering every mail as bytes."""
    import datetime as dt

    from django.conf import settings
    from django.utils import timezone

    from inspections.domain.telling import claiming
    from inspections.domain.telling.raising import raise_all
    from inspections.models import Reminder
    from inspections.web.mails.letter import write
    from portfolio.models import User

    settings.EMAIL_HOST, settings.DEFAULT_FROM_EMAIL = "mail.example.org", "walls@example.org"
    _fill(mails)
    now = timezone.now()
    taken = {}
    start = time.process_time()
    assert raise_all(now) == mails * WALLS_A_MAIL
    taken["raise"] = time.process_time() - start
    start = time.process_time()
    assert raise_all(now) == 0
    taken["raise again"] = time.process_time() - start
    Reminder.objects.update(due_at=now)
    people = list(User.objects.filter(reminders__isnull=False).distinct())
    claimed = [claiming.claim(person, now + dt.timedelta(seconds=1), urgent=False) for person in people]
    start = time.process_time()
    size = sum(len(write(mail, now).message().as_bytes()) for mail in claimed if mail)
    taken["render"] = time.process_time() - start
    taken["KiB a mail"] = size / mails / 1024
    return taken


def _fill(mails: int) -> None:
    import datetime as dt

    from inspections.models import Assessment, Plan, Reading, Visit
    from portfolio.models import Building, Membership, Organisation, Section, User
    from tests.api.factories import result_of

    organisation = Organisation.objects.create(slug="kiln-row", name="Kiln Row (invented)")
    users = User.objects.bulk_create(
        User(username=f"person{number}", email=f"person{number}@example.org") for number in range(mails)
    )
    Membership.objects.bulk_create(
        Membership(user=user, organisation=organisation, role="inspector") for user in users
    )
    today = dt.datetime.now(dt.UTC).date()
    for number, user in enumerate(users):
        house = Building.objects.create(organisation=organisation, code=f"H{number}", name=f"House {number}")
        walls = Section.objects.bulk_create(
            Section(building=house, code=f"S{nth}", wall="N") for nth in range(WALLS_A_MAIL)
        )
        days = [dt.date(2010, 1, 1) + dt.timedelta(days=90 * nth) for nth in range(READINGS_A_WALL)]
        visits = Visit.objects.bulk_create(Visit(building=house, day=day, inspector="GH") for day in days)
        Reading.objects.bulk_create(
            Reading(
                building=house, section=wall, visit=visit, quantity="deep_moisture", unit="relative",
                value=40 + nth / 3, entered_value=str(40 + nth / 3),
                taken_at=dt.datetime.combine(visit.day, dt.time(10), dt.UTC),
            )
            for wall in walls
            for nth, visit in enumerate(visits)
        )  # fmt: skip
        Assessment.objects.bulk_create(
            Assessment(
                section=wall, as_of=today, model_version="test", verdict="trapped_water",
                trapped_probability=0.8, result=result_of(wall, today, "trapped_water", 0.8),
            )
            for wall in walls
        )  # fmt: skip
        Plan.objects.bulk_create(
            Plan(building=house, section=wall, due_on=today, reason="policy", person=user) for wall in walls
        )


def main(mails: int) -> None:
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    for what, amount in run(mails).items():
        print(f"{what}: {amount:.2f}")


if __name__ == "__main__":
    with TemporaryDirectory() as scratch:
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portfolio.settings")
        os.environ.setdefault("DATABASE_URL", f"sqlite:///{Path(scratch)}/benchmark.sqlite3")
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
