"""Fills the database that ``DATABASE_URL`` names with people who each have something to look at today.

``python -m tests.reminders.filled REMINDERS PEOPLE [WEBHOOK_ADDRESS SECRET]``. All of it is invented.
"""

from __future__ import annotations

import sys

SLUG = "kiln-row"


def house_name(number: int) -> str:
    """By which a house is known in whatever is told of it."""
    return f"Kiln {number:05} house"


def fill(reminders: int, people: int, webhook: str = "", secret: str = "") -> None:
    from django.utils import timezone

    from inspections.models import Plan, Webhook
    from portfolio.models import Building, Membership, Organisation, User

    organisation = Organisation.objects.create(slug=SLUG, name="Kiln Row (invented)")
    users = User.objects.bulk_create(
        User(username=f"person{number}", email=f"person{number}@example.org") for number in range(people)
    )
    Membership.objects.bulk_create(
        Membership(user=user, organisation=organisation, role="inspector") for user in users
    )
    houses = Building.objects.bulk_create(
        Building(organisation=organisation, code=f"H{number:05}", name=house_name(number))
        for number in range(reminders)
    )
    today = timezone.now().date()
    Plan.objects.bulk_create(
        Plan(building=house, due_on=today, reason="policy", person=users[number % people])
        for number, house in enumerate(houses)
    )
    if webhook:
        Webhook.objects.create(organisation=organisation, url=webhook, secret=secret)


if __name__ == "__main__":
    import django

    django.setup()
    fill(int(sys.argv[1]), int(sys.argv[2]), *sys.argv[3:5])
