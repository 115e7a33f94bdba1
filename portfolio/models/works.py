"""What was done to a wall, and what happened to it."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint, Value
from django.db.models.functions import Coalesce

from portfolio.models.base import Record, only, ordered, positive
from portfolio.models.places import Building, Section
from portfolio.vocabulary import Binder, DrainsTo, EventKind, Face, Purpose, RemovalReason, TreatmentKind

#: Stands for "no row" where an empty foreign key is itself a key value.
NO_ROW = uuid.UUID(int=0)


def or_none(field: str) -> Coalesce:
    """An expression under which an empty foreign key equals another empty one, on every engine."""
    return Coalesce(field, Value(NO_ROW, output_field=models.UUIDField()))


def or_minus_one(field: str) -> Coalesce:
    """An expression under which an empty number (never negative) equals another empty one."""
    return Coalesce(field, Value(-1.0, output_field=models.FloatField()))


class Treatment(Record):
    """One layer put on a section at a date. Layers are numbered outward from the wall."""

    SCOPE: ClassVar[str] = "section__building__organisation"

    section = models.ForeignKey(Section, on_delete=models.CASCADE, related_name="treatments")
    layer = models.PositiveSmallIntegerField()
    applied_on = models.DateField()
    applied_earliest = models.DateField(
        null=True, blank=True, help_text="Given where the date of application is only known as a range."
    )
    found = models.BooleanField(default=False, help_text="Stood already when the section came under care.")
    kind = models.CharField(max_length=20, choices=TreatmentKind)
    binder = models.CharField(max_length=20, choices=Binder, default=Binder.UNKNOWN)
    mix = models.CharField(max_length=100, blank=True)
    thickness_mm = models.FloatField(null=True, blank=True)
    mu = models.FloatField(null=True, blank=True, help_text="Vapour resistance factor.")
    sd_m = models.FloatField(
        null=True, blank=True, help_text="Equivalent air layer; where given, overrides mu."
    )
    face = models.CharField(max_length=10, choices=Face, default="", blank=True)
    area_m2 = models.FloatField(null=True, blank=True)
    purpose = models.CharField(max_length=12, choices=Purpose, default="", blank=True)
    drains_to = models.CharField(max_length=10, choices=DrainsTo, default="", blank=True)
    strength_mpa = models.FloatField(null=True, blank=True)
    applied_by = models.CharField(max_length=200, blank=True)
    cost = models.DecimalField(max_digits=14, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    removed_on = models.DateField(null=True, blank=True)
    removal_reason = models.CharField(max_length=10, choices=RemovalReason, default="", blank=True)

    class Meta(Record.Meta):
        ordering = ("section__building__code", "section__code", "applied_on", "layer")
        constraints = (
            UniqueConstraint(fields=("section", "layer", "applied_on"), name="treatment_key"),
            ordered("applied_on", "removed_on", "treatment"),
            ordered("applied_earliest", "applied_on", "treatment"),
            positive("thickness_mm", "treatment", or_zero=True),
            positive("mu", "treatment", or_zero=True),
            positive("sd_m", "treatment", or_zero=True),
            positive("area_m2", "treatment", or_zero=True),
            positive("strength_mpa", "treatment", or_zero=True),
            positive("cost", "treatment", or_zero=True),
            only("kind", TreatmentKind.values, "treatment"),
            only("binder", Binder.values, "treatment"),
            only("face", ["", *Face.values], "treatment"),
            only("purpose", ["", *Purpose.values], "treatment"),
            only("drains_to", ["", *DrainsTo.values], "treatment"),
            only("removal_reason", ["", *RemovalReason.values], "treatment"),
            CheckConstraint(
                condition=Q(removal_reason="") | Q(removed_on__isnull=False),
                name="treatment_removal_reason_dated",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_binder_display()} {self.get_kind_display()}, {self.applied_on:%Y}"


class Event(Record):
    """What happened to a wall (or a whole house, without a section) without being a reading."""

    SCOPE: ClassVar[str] = "building__organisation"

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="events")
    section = models.ForeignKey(
        Section, null=True, blank=True, on_delete=models.CASCADE, related_name="events"
    )
    happened_on = models.DateField()
    kind = models.CharField(max_length=20, choices=EventKind)
    layer = models.PositiveSmallIntegerField(null=True, blank=True)
    area_m2 = models.FloatField(null=True, blank=True)
    cost = models.DecimalField(max_digits=14, decimal_places=2, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    note = models.TextField(blank=True)

    class Meta(Record.Meta):
        ordering = ("building__code", "happened_on", "kind", "id")
        constraints = (
            UniqueConstraint(
                "building",
                or_none("section"),
                "happened_on",
                "kind",
                Coalesce("layer", Value(-1, output_field=models.SmallIntegerField())),
                name="event_key",
            ),
            only("kind", EventKind.values, "event"),
            positive("area_m2", "event", or_zero=True),
            positive("cost", "event", or_zero=True),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.happened_on}"
