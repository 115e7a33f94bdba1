"""What the pages and the calendar show of who is told of what, always within the reader's organisations."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from uuid import UUID

from django.db.models import F, Q, QuerySet

from inspections.models import Action, MailSettings, Plan, Reminder, Webhook, WebhookCall
from inspections.vocabulary import Delivery
from portfolio import queries
from portfolio.models import Membership, Organisation, User


def delivery_log(organisation: Organisation) -> QuerySet[Reminder]:
    """Everything that anybody of the organisation was, or is to be, told; the latest first."""
    rows: QuerySet[Reminder] = Reminder.objects.of(organisation)
    return rows.select_related("person", "mail", "building", "section__building").order_by("-raised_at", "id")


def in_doubt(organisation: Organisation, claimed_before: dt.datetime) -> QuerySet[Reminder]:
    """What somebody should know of: failed, perhaps sent, or claimed for too long."""
    stuck = Q(state=Delivery.CLAIMED, mail__claimed_at__lt=claimed_before)
    return delivery_log(organisation).filter(Q(state__in=(Delivery.FAILED, Delivery.UNCERTAIN)) | stuck)


def failing_calls(organisation: Organisation, claimed_before: dt.datetime) -> QuerySet[WebhookCall]:
    """Calls that were not answered, or that nobody has finished."""
    stuck = Q(state=Delivery.CLAIMED, claimed_at__lt=claimed_before)
    calls: QuerySet[WebhookCall] = WebhookCall.objects.of(organisation)
    failing = calls.filter(Q(state=Delivery.FAILED) | stuck)
    return failing.select_related("webhook", "building", "section__building").order_by("-raised_at", "id")


def members(organisation: Organisation) -> list[Membership]:
    """Everybody of the organisation with how they want to be written to, by name."""
    found = Membership.objects.of(organisation).select_related("user__mail_settings")
    return list(found.order_by("user__username"))


def webhooks(organisation: Organisation) -> QuerySet[Webhook]:
    found: QuerySet[Webhook] = Webhook.objects.of(organisation).order_by("entered_at", "id")
    return found


def find_webhook(organisation: Organisation, pk: UUID) -> Webhook | None:
    found: Webhook | None = Webhook.objects.of(organisation).filter(pk=pk).first()
    return found


def latest_calls(webhook: Webhook, most: int) -> list[WebhookCall]:
    """What a program was told last."""
    calls = WebhookCall.objects.filter(webhook=webhook).select_related("building", "section__building")
    return list(calls.order_by("-raised_at", "id")[:most])


def person_of_calendar(digest: str) -> User | None:
    """Whose calendar the address with this digest is."""
    found = MailSettings.objects.filter(calendar_digest=digest, user__is_active=True)
    one = found.select_related("user").first()
    return one.user if one else None


def due_of(person: User, until: dt.date) -> list[Plan]:
    """Every inspection due until a day in the person's organisations, by day and house."""
    plans = Plan.objects.filter(
        Q(section__isnull=True) | Q(section__voided_at__isnull=True),
        building__organisation__in=_ids_of(person),
        building__voided_at__isnull=True,
    )
    due = plans.filter(falls_on__lte=until).select_related("building", "section__building", "paper")
    return list(due.order_by("falls_on", "building__code", F("section__code").asc(nulls_first=True)))


def follow_ups_of(person: User, since: dt.date, until: dt.date) -> list[Action]:
    """Every look at whether some work has helped, in the person's organisations."""
    actions = Action.objects.standing().filter(
        section__building__organisation__in=_ids_of(person),
        section__building__voided_at__isnull=True,
        follow_up_on__range=(since, until),
    )
    return list(actions.select_related("section__building").order_by("follow_up_on", "id"))


def _ids_of(person: User) -> Collection[UUID]:
    return list(queries.organisations_of(person).values_list("pk", flat=True))
