"""Houses and the stretches of their walls."""

from __future__ import annotations

from typing import ClassVar
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import UniqueConstraint

from portfolio.models.base import Record, not_empty, only, positive
from portfolio.models.people import Organisation
from portfolio.vocabulary import Adjoins, BeddingMortar, Beyond, Substrate


class Building(Record):
    """A house. Its time zone decides what day a reading belongs to."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="buildings")
    code = models.CharField(max_length=50)
    name = models.CharField(max_length=200, blank=True)
    street = models.CharField(max_length=200, blank=True)
    locality = models.CharField(max_length=100, blank=True)
    region = models.CharField(max_length=100, blank=True)
    postal_code = models.CharField(max_length=20, blank=True)
    country = models.CharField(max_length=100, blank=True)
    timezone = models.CharField(max_length=64, default="UTC")
    year_built = models.SmallIntegerField(null=True, blank=True)

    class Meta(Record.Meta):
        ordering = ("code",)
        constraints = (
            UniqueConstraint(fields=("organisation", "code"), name="building_key"),
            not_empty("code", "building"),
            not_empty("timezone", "building"),
        )

    def __str__(self) -> str:
        return self.name or self.street or self.code

    @property
    def zone(self) -> ZoneInfo:
        """The building's time zone."""
        return ZoneInfo(self.timezone)


class Section(Record):
    """A stretch of wall of one build and one exposure, looked at as a whole. Lengths in metres."""

    SCOPE: ClassVar[str] = "building__organisation"

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="sections")
    code = models.CharField(max_length=50)
    wall = models.CharField(max_length=100, blank=True)
    start_m = models.FloatField(
        null=True, blank=True, help_text="From the wall's left end, seen from inside."
    )
    length_m = models.FloatField(null=True, blank=True)
    height_m = models.FloatField(null=True, blank=True)
    below_grade_m = models.FloatField(null=True, blank=True)
    substrate = models.CharField(max_length=20, choices=Substrate, default=Substrate.UNKNOWN)
    bedding_mortar = models.CharField(max_length=20, choices=BeddingMortar, default=BeddingMortar.UNKNOWN)
    adjoins = models.CharField(max_length=20, choices=Adjoins, default=Adjoins.SOIL)
    beyond = models.CharField(max_length=20, choices=Beyond, default="", blank=True)

    class Meta(Record.Meta):
        ordering = ("building__code", "code")
        constraints = (
            UniqueConstraint(fields=("building", "code"), name="section_key"),
            not_empty("code", "section"),
            positive("length_m", "section"),
            positive("height_m", "section"),
            positive("start_m", "section", or_zero=True),
            positive("below_grade_m", "section", or_zero=True),
            only("substrate", Substrate.values, "section"),
            only("bedding_mortar", BeddingMortar.values, "section"),
            only("adjoins", Adjoins.values, "section"),
            only("beyond", ["", *Beyond.values], "section"),
        )

    def __str__(self) -> str:
        return f"{self.building.code} {self.code}"
