"""Instruments, visits and what was read, seen and logged on them."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint

from inspections.vocabulary import InstrumentKind, Qualifier, Quantity, Unit, UploadState, VisitReason
from portfolio.models import Building, Organisation, Record, Scoped, Section
from portfolio.models.base import not_empty, only, ordered, positive
from portfolio.models.works import or_minus_one, or_none


class Instrument(Record):
    """A meter or gauge; its limits are in the unit of its scale."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="instruments")
    code = models.CharField(max_length=50)
    kind = models.CharField(max_length=20, choices=InstrumentKind)
    scale = models.CharField(max_length=20, choices=Unit, blank=True)
    minimum = models.FloatField(null=True, blank=True)
    maximum = models.FloatField(null=True, blank=True)
    resolution = models.FloatField(null=True, blank=True)
    repeatability = models.FloatField(null=True, blank=True)

    class Meta(Record.Meta):
        ordering = ("code",)
        constraints = (
            UniqueConstraint(fields=("organisation", "code"), name="instrument_key"),
            not_empty("code", "instrument"),
            only("kind", InstrumentKind.values, "instrument"),
            only("scale", ["", *Unit.values], "instrument"),
            ordered("minimum", "maximum", "instrument"),
            positive("resolution", "instrument", or_zero=True),
            positive("repeatability", "instrument", or_zero=True),
        )

    def __str__(self) -> str:
        return self.code

    def building_ids(self) -> list[uuid.UUID]:
        """Every house that was read with it."""
        return list(Reading.objects.filter(instrument=self).values_list("building_id", flat=True).distinct())


class CalibrationCheck(Record):
    """What an instrument showed when it was held against a known reference."""

    SCOPE: ClassVar[str] = "instrument__organisation"

    instrument = models.ForeignKey(Instrument, on_delete=models.CASCADE, related_name="checks")
    checked_on = models.DateField()
    reference = models.FloatField(help_text="The reference's value, in the instrument's scale.")
    shown = models.FloatField(help_text="What the instrument showed.")
    against = models.CharField(max_length=200, blank=True, help_text="What it was held against.")
    note = models.TextField(blank=True)

    class Meta(Record.Meta):
        ordering = ("instrument__code", "checked_on", "reference")
        constraints = (
            UniqueConstraint(fields=("instrument", "checked_on", "reference"), name="calibrationcheck_key"),
        )

    def __str__(self) -> str:
        return f"{self.instrument} on {self.checked_on}"

    def building_ids(self) -> list[uuid.UUID]:
        return self.instrument.building_ids()


class Visit(Record):
    """One person in one building on one day."""

    SCOPE: ClassVar[str] = "building__organisation"

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="visits")
    day = models.DateField(help_text="The local day.")
    inspector = models.CharField(max_length=100, blank=True, help_text="Initials or a name, as written down.")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="visits"
    )
    reason = models.CharField(max_length=10, choices=VisitReason, default=VisitReason.PLAN)
    note = models.TextField(blank=True)

    class Meta(Record.Meta):
        ordering = ("-day", "building__code", "inspector")
        constraints = (
            UniqueConstraint(fields=("building", "day", "inspector"), name="visit_key"),
            only("reason", VisitReason.values, "visit"),
        )

    def __str__(self) -> str:
        return f"{self.building.code} on {self.day}"


class Reading(Record):
    """One value of one quantity at one place and time. The entry is kept beside its canonical value."""

    SCOPE: ClassVar[str] = "building__organisation"

    # Found by the unique key, which begins with it: one index less to fill while others wait.
    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="readings", db_index=False)
    section = models.ForeignKey(
        Section, null=True, blank=True, on_delete=models.CASCADE, related_name="readings", db_index=False
    )
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="readings")
    instrument = models.ForeignKey(
        Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="readings", db_index=False
    )
    taken_at = models.DateTimeField()
    quantity = models.CharField(max_length=24, choices=Quantity)
    value = models.FloatField(
        help_text="In the quantity's canonical unit, or the moisture meter's own scale."
    )
    entered_value = models.CharField(max_length=40, help_text="As entered.")
    unit = models.CharField(max_length=12, choices=Unit, help_text="As entered.")
    qualifier = models.CharField(max_length=1, choices=Qualifier, default="", blank=True)
    height_mm = models.FloatField(null=True, blank=True)
    depth_mm = models.FloatField(null=True, blank=True)
    point = models.CharField(max_length=50, default="", blank=True)
    replicate = models.PositiveSmallIntegerField(default=1)
    duration_h = models.FloatField(null=True, blank=True)
    note = models.TextField(default="", blank=True)

    class Meta(Record.Meta):
        ordering = ("taken_at", "id")
        constraints = (
            UniqueConstraint(
                "building",
                or_none("section"),
                "taken_at",
                "quantity",
                or_minus_one("height_mm"),
                or_minus_one("depth_mm"),
                or_none("instrument"),
                "point",
                "replicate",
                name="reading_key",
            ),
            only("quantity", Quantity.values, "reading"),
            only("unit", Unit.values, "reading"),
            only("qualifier", Qualifier.values, "reading"),
            positive("height_mm", "reading", or_zero=True),
            positive("depth_mm", "reading", or_zero=True),
            positive("duration_h", "reading", or_zero=True),
            CheckConstraint(condition=Q(replicate__gte=1), name="reading_replicate_counts"),
        )
        indexes = (
            models.Index(fields=("section", "quantity", "taken_at"), name="reading_series"),
            models.Index(fields=("taken_at", "id"), name="reading_times"),
        )

    def __str__(self) -> str:
        return f"{self.quantity} {self.qualifier}{self.entered_value} {self.unit}"


class LogSeries(Record):
    """What one channel of a data logger recorded at one place."""

    SCOPE: ClassVar[str] = "building__organisation"

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="log_series")
    section = models.ForeignKey(
        Section, null=True, blank=True, on_delete=models.CASCADE, related_name="log_series"
    )
    instrument = models.ForeignKey(
        Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="log_series"
    )
    quantity = models.CharField(max_length=24, choices=Quantity)
    unit = models.CharField(max_length=12, choices=Unit, help_text="As recorded.")
    height_mm = models.FloatField(null=True, blank=True)
    depth_mm = models.FloatField(null=True, blank=True)
    point = models.CharField(max_length=50, default="", blank=True)
    source = models.CharField(max_length=200, blank=True, help_text="The file and column it came from.")

    class Meta(Record.Meta):
        ordering = ("building__code", "quantity", "id")
        verbose_name_plural = "log series"
        constraints = (
            UniqueConstraint(
                "building",
                or_none("section"),
                "quantity",
                or_minus_one("height_mm"),
                or_minus_one("depth_mm"),
                or_none("instrument"),
                "point",
                name="logseries_key",
            ),
            only("quantity", Quantity.values, "logseries"),
            only("unit", Unit.values, "logseries"),
        )

    def __str__(self) -> str:
        return f"{self.quantity} at {self.building.code}"


class LogValue(models.Model):
    """One moment of a logger's series, in the unit it was recorded in."""

    series = models.ForeignKey(LogSeries, on_delete=models.CASCADE, related_name="values", db_index=False)
    at = models.DateTimeField()
    value = models.FloatField()

    class Meta:
        ordering = ("series", "at")
        constraints = (UniqueConstraint(fields=("series", "at"), name="logvalue_key"),)

    def __str__(self) -> str:
        return f"{self.value} at {self.at}"


class Photo(Record):
    """A photo, kept once under its SHA-256 and shown only to its organisation."""

    SCOPE: ClassVar[str] = "building__organisation"

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="photos")
    section = models.ForeignKey(
        Section, null=True, blank=True, on_delete=models.CASCADE, related_name="photos"
    )
    visit = models.ForeignKey(Visit, null=True, blank=True, on_delete=models.SET_NULL, related_name="photos")
    taken_at = models.DateTimeField()
    sha256 = models.CharField(max_length=64)
    content_type = models.CharField(max_length=50)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    bytes = models.PositiveBigIntegerField()
    caption = models.CharField(max_length=500, blank=True)

    class Meta(Record.Meta):
        ordering = ("taken_at", "id")
        constraints = (
            UniqueConstraint("building", or_none("section"), "sha256", name="photo_key"),
            CheckConstraint(condition=Q(sha256__regex=r"^[0-9a-f]{64}$"), name="photo_sha256_hex"),
        )

    def __str__(self) -> str:
        return self.caption or f"photo of {self.taken_at:%Y-%m-%d}"


class Load(Scoped):
    """One run of putting records in: who, when, from where, and how it ended."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="loads")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    started_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    source = models.CharField(max_length=500)
    counts = models.JSONField(default=dict)

    class Meta(Scoped.Meta):
        ordering = ("-started_at", "id")

    def __str__(self) -> str:
        return f"{self.source} at {self.started_at:%Y-%m-%d %H:%M}"


class Upload(Scoped):
    """Files of records that a person sent: kept until they are loaded, so that the work survives a restart.

    What came of it is in ``report``; a load that was done is a `Load` besides.
    """

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="uploads")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    sent_at = models.DateTimeField(auto_now_add=True)
    name = models.CharField(max_length=100)
    rows = models.PositiveBigIntegerField()
    state = models.CharField(max_length=10, choices=UploadState, default=UploadState.CHECKING)
    claimed_at = models.DateTimeField(
        null=True, blank=True, help_text="When the process that works on it last said so."
    )
    step = models.CharField(max_length=100, blank=True)
    report = models.JSONField(default=dict)

    class Meta(Scoped.Meta):
        ordering = ("-sent_at", "id")
        constraints = (only("state", UploadState.values, "upload"),)

    def __str__(self) -> str:
        return f"{self.name}, {self.get_state_display()}"
