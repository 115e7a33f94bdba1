"""Who is told of what, when, and what became of it: reminders, mails, webhooks, and how people want them."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint

from inspections.vocabulary import Delivery, Stage, Subject
from portfolio.models import Building, Organisation, Scoped, Section
from portfolio.models.base import only
from portfolio.vocabulary import Role

#: An hour of the morning at which mail is read; ours.
USUAL_HOUR = 7
REACHES = [(role.value, role.label) for role in (Role.INSPECTOR, Role.MANAGER, Role.OWNER)]


def days(default: int) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(default=default, validators=[MaxValueValidator(365)])


def reach(role: Role) -> models.CharField:
    return models.CharField(max_length=10, choices=REACHES, default=role)


class TellingRules(Scoped):
    """How an organisation wants its people to be told: how early, how late, and how far up.

    A reach names the highest role that is told; those under it are told too. Days and reaches are ours.
    """

    organisation = models.OneToOneField(Organisation, on_delete=models.CASCADE, related_name="telling_rules")
    is_on = models.BooleanField(default=True, help_text="Whether anybody is told of anything.")
    before_days = days(7)
    before_reach = reach(Role.INSPECTOR)
    on_reach = reach(Role.INSPECTOR)
    after_days = days(7)
    after_reach = reach(Role.MANAGER)
    later_days = days(30)
    later_reach = reach(Role.OWNER)
    flag_reach = reach(Role.MANAGER)
    unanswered_days = days(7)
    unanswered_reach = reach(Role.OWNER)
    danger_reach = reach(Role.OWNER)
    revision = models.PositiveIntegerField(default=1)

    class Meta(Scoped.Meta):
        verbose_name_plural = "telling rules"
        constraints = (
            CheckConstraint(
                condition=Q(later_days__gt=models.F("after_days")) & Q(after_days__gt=0),
                name="tellingrules_days_order",
            ),
        )

    def __str__(self) -> str:
        return f"how {self.organisation} is told"


class MailSettings(models.Model):
    """How one person wants to be written to. Their time zone is with the person."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, primary_key=True, on_delete=models.CASCADE, related_name="mail_settings"
    )
    wants_mail = models.BooleanField(default=True)
    hour = models.PositiveSmallIntegerField(
        default=USUAL_HOUR, validators=[MaxValueValidator(23)], help_text="Of their own day."
    )
    calendar_digest = models.CharField(
        max_length=64, null=True, unique=True, help_text="SHA-256 of the secret of their calendar's address."
    )
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "mail settings"
        constraints = (CheckConstraint(condition=Q(hour__lte=23), name="mailsettings_hour_of_day"),)

    def __str__(self) -> str:
        return f"{self.user}: {self.hour}:00"


class Mail(models.Model):
    """One mail to one person. Of the daily ones there is one row for a person and day, whatever happens."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="mails")
    day = models.DateField(help_text="The person's own.")
    urgent = models.BooleanField(default=False)
    address = models.EmailField()
    state = models.CharField(max_length=10, choices=Delivery)
    claim = models.UUIDField(help_text="Whoever claimed it last; nobody else may go on with it.")
    claimed_at = models.DateTimeField()
    handed_at = models.DateTimeField(
        null=True, blank=True, help_text="When it was about to be given to the mail server."
    )
    sent_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("-claimed_at", "id")
        constraints = (
            UniqueConstraint(fields=("person", "day"), condition=Q(urgent=False), name="mail_one_a_day"),
            only("state", Delivery.values, "mail"),
        )
        indexes = (models.Index(fields=("state", "claimed_at"), name="mail_claims"),)

    def __str__(self) -> str:
        return f"{self.person} on {self.day}"


class Told(Scoped):
    """Something of which a receiver is told, once at each stage."""

    subject = models.CharField(max_length=10, choices=Subject)
    subject_id = models.UUIDField()
    day = models.DateField(help_text="That it is due on, was opened on or was read on.")
    stage = models.CharField(max_length=12, choices=Stage)
    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="+")
    section = models.ForeignKey(Section, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    detail = models.JSONField(default=dict, help_text="What was known when it was raised.")
    raised_at = models.DateTimeField()
    due_at = models.DateTimeField(help_text="When it may be told, or tried again.")
    state = models.CharField(max_length=10, choices=Delivery, default=Delivery.DUE)
    attempts = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta(Scoped.Meta):
        abstract = True


class Reminder(Told):
    """One person, to be told of one thing at one stage."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="reminders")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="reminders")
    urgent = models.BooleanField(default=False, help_text="Sent at once rather than with the day's mail.")
    mail = models.ForeignKey(Mail, null=True, blank=True, on_delete=models.SET_NULL, related_name="reminders")
    again = models.BooleanField(default=False, help_text="An earlier mail with it perhaps arrived.")
    handed_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta(Told.Meta):
        ordering = ("-raised_at", "id")
        constraints = (
            UniqueConstraint(fields=("subject_id", "day", "stage", "person"), name="reminder_key"),
            only("state", Delivery.values, "reminder"),
            only("stage", Stage.values, "reminder"),
            only("subject", Subject.values, "reminder"),
        )
        indexes = (
            models.Index(fields=("state", "due_at"), name="reminder_due"),
            models.Index(fields=("person", "state"), name="reminder_of_person"),
        )

    def __str__(self) -> str:
        return f"{self.person}: {self.get_stage_display()}, {self.day}"


class Webhook(Scoped):
    """An address of a program that wants to be told, and the secret that signs what it is told."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="webhooks")
    url = models.URLField(max_length=500)
    secret = models.CharField(max_length=64, help_text="Shown once; what is sent is signed with it.")
    is_on = models.BooleanField(default=True)
    of_plans = models.BooleanField(default=True)
    of_flags = models.BooleanField(default=True)
    of_dangers = models.BooleanField(default=True)
    entered_at = models.DateTimeField(auto_now_add=True)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    revision = models.PositiveIntegerField(default=1)

    class Meta(Scoped.Meta):
        ordering = ("entered_at", "id")

    def __str__(self) -> str:
        return self.url


class WebhookCall(Told):
    """One program, to be told of one thing at one stage. Tried until it answers, under the same id."""

    SCOPE: ClassVar[str] = "webhook__organisation"

    webhook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="calls")
    claim = models.UUIDField(null=True, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True)
    status = models.PositiveSmallIntegerField(null=True, blank=True, help_text="What it answered last.")
    error = models.CharField(max_length=500, blank=True)

    class Meta(Told.Meta):
        ordering = ("-raised_at", "id")
        constraints = (
            UniqueConstraint(fields=("subject_id", "day", "stage", "webhook"), name="webhookcall_key"),
            only("state", Delivery.values, "webhookcall"),
            only("stage", Stage.values, "webhookcall"),
            only("subject", Subject.values, "webhookcall"),
        )
        indexes = (models.Index(fields=("state", "due_at"), name="webhookcall_due"),)

    def __str__(self) -> str:
        return f"{self.webhook}: {self.get_stage_display()}, {self.day}"
