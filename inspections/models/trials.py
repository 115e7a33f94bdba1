"""Trials: a question asked of several sections, and which section got which arm, and why."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import UniqueConstraint

from inspections.vocabulary import AllocatedBy
from portfolio.models import Organisation, Record, Scoped, Section
from portfolio.models.base import not_empty, only, ordered


class Trial(Record):
    """A question asked of several sections, with the outcome that answers it."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="trials")
    code = models.CharField(max_length=50)
    question = models.TextField(blank=True)
    outcome = models.CharField(max_length=40, help_text="affected_area_rate, or a quantity's name.")
    started_on = models.DateField(null=True, blank=True)
    planned_end_on = models.DateField(null=True, blank=True)

    class Meta(Record.Meta):
        ordering = ("code",)
        constraints = (
            UniqueConstraint(fields=("organisation", "code"), name="trial_key"),
            not_empty("code", "trial"),
            not_empty("outcome", "trial"),
            ordered("started_on", "planned_end_on", "trial"),
        )

    def __str__(self) -> str:
        return self.question or self.code

    def building_ids(self) -> list[uuid.UUID]:
        """None: no assessment rests on a trial."""
        return []


class Allocation(Record):
    """One section's arm in a trial, and how it came by it."""

    SCOPE: ClassVar[str] = "trial__organisation"

    trial = models.ForeignKey(Trial, on_delete=models.CASCADE, related_name="allocations")
    section = models.ForeignKey(Section, on_delete=models.CASCADE, related_name="allocations")
    arm = models.CharField(max_length=100)
    allocated_by = models.CharField(max_length=12, choices=AllocatedBy)
    block = models.CharField(max_length=50, default="", blank=True)
    sequence = models.PositiveIntegerField(null=True, blank=True)
    note = models.TextField(default="", blank=True)

    class Meta(Record.Meta):
        ordering = ("trial__code", "section__building__code", "section__code")
        constraints = (
            UniqueConstraint(fields=("trial", "section"), name="allocation_key"),
            not_empty("arm", "allocation"),
            only("allocated_by", AllocatedBy.values, "allocation"),
        )

    def __str__(self) -> str:
        return f"{self.section} has {self.arm} in {self.trial.code}"

    def building_ids(self) -> list[uuid.UUID]:
        """None: no assessment rests on a trial."""
        return []


class LentSheet(Scoped):
    """An evidence sheet lent to somebody without an account, for a time or until it is taken back."""

    for_whom = models.CharField(max_length=200)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta(Scoped.Meta):
        abstract = True


class SharedSheet(LentSheet):
    """A trial's sheet."""

    SCOPE: ClassVar[str] = "trial__organisation"

    trial = models.ForeignKey(Trial, on_delete=models.CASCADE, related_name="shared_sheets")

    class Meta(LentSheet.Meta):
        abstract = False
        ordering = ("trial__code", "made_at", "id")
        constraints = (not_empty("for_whom", "sharedsheet"),)

    def __str__(self) -> str:
        return f"{self.trial.code} for {self.for_whom}"


class SharedCoatSheet(LentSheet):
    """The sheet of a kind of coat over all of an organisation's walls, and of one that is set beside it."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="shared_sheets")
    coat = models.CharField(max_length=80, help_text="Kind and binder, with a comma between them.")
    beside = models.CharField(max_length=80, default="", blank=True)

    class Meta(LentSheet.Meta):
        abstract = False
        ordering = ("organisation__slug", "made_at", "id")
        constraints = (not_empty("for_whom", "sharedcoatsheet"), not_empty("coat", "sharedcoatsheet"))

    def __str__(self) -> str:
        return f"{self.coat} for {self.for_whom}"
