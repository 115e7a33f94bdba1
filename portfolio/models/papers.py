"""The paper that goes with a house: each with a date by which something is due, a document and a state."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.db.models import CheckConstraint, Q

from portfolio.models.base import Record, not_empty, only, ordered
from portfolio.models.places import Building, Section
from portfolio.vocabulary import PaperKind, PaperState


class Paper(Record):
    """A violation, a permit, an authority's inspection, or leave to work from a neighbour's side."""

    SCOPE: ClassVar[str] = "building__organisation"

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="papers")
    section = models.ForeignKey(
        Section, null=True, blank=True, on_delete=models.CASCADE, related_name="papers"
    )
    kind = models.CharField(max_length=24, choices=PaperKind)
    title = models.CharField(max_length=200, help_text="What it is about.")
    reference = models.CharField(max_length=100, blank=True, help_text="Its number with whoever issued it.")
    issued_by = models.CharField(max_length=200, blank=True)
    issued_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True, help_text="By when something must be done about it.")
    state = models.CharField(max_length=12, choices=PaperState, default=PaperState.OPEN)
    closed_on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)
    sha256 = models.CharField(max_length=64, blank=True, help_text="Of the document; empty without one.")
    content_type = models.CharField(max_length=50, blank=True)
    bytes = models.PositiveBigIntegerField(null=True, blank=True)

    class Meta(Record.Meta):
        ordering = ("building__code", "due_on", "id")
        constraints = (
            not_empty("title", "paper"),
            only("kind", PaperKind.values, "paper"),
            only("state", PaperState.values, "paper"),
            ordered("issued_on", "due_on", "paper"),
            ordered("issued_on", "closed_on", "paper"),
            CheckConstraint(
                condition=Q(state=PaperState.CLOSED, closed_on__isnull=False)
                | (~Q(state=PaperState.CLOSED) & Q(closed_on__isnull=True)),
                name="paper_closed_dated",
            ),
            CheckConstraint(condition=Q(sha256__regex=r"^([0-9a-f]{64})?$"), name="paper_sha256_hex"),
        )

    def __str__(self) -> str:
        return self.title

    def building_ids(self) -> list[uuid.UUID]:
        """None: no assessment rests on a paper."""
        return []
