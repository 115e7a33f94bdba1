"""Who changed what, when, from which value, and why."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from portfolio.models.base import Scoped
from portfolio.models.people import Organisation
from portfolio.models.places import Building


class Change(Scoped):
    """One change of one record: for each changed field its old and its new value."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="changes")
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")
    model = models.CharField(max_length=40, help_text="The record's kind, such as section or reading.")
    record_id = models.UUIDField()
    fields = models.JSONField(help_text="Field name to [old value, new value].")
    reason = models.CharField(max_length=500, blank=True)

    class Meta(Scoped.Meta):
        ordering = ("-at", "id")
        indexes = (models.Index(fields=("record_id", "at"), name="change_of_record"),)

    def __str__(self) -> str:
        return f"{self.model} {self.record_id} at {self.at:%Y-%m-%d %H:%M}"


class Reassessment(models.Model):
    """A house whose records changed, and that waits to be assessed anew. Rows are only added and taken."""

    building = models.ForeignKey(Building, on_delete=models.CASCADE, related_name="reassessments")
    asked_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("asked_at", "id")

    def __str__(self) -> str:
        return f"{self.building} since {self.asked_at:%Y-%m-%d %H:%M}"
