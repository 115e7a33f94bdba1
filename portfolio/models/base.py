"""What every record has in common: a client's UUID, when it was entered, voiding, and its scope."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.conf import settings
from django.db import models
from django.db.models import CheckConstraint, Exists, F, OuterRef, Q

if TYPE_CHECKING:
    from portfolio.models.people import Organisation


class ScopedQuerySet(models.QuerySet[Any]):
    """The one place where records are scoped to an organisation."""

    def of(self, organisation: Organisation) -> Self:
        """Only the records of ``organisation``; another's do not exist."""
        return self.filter(**{self.model.SCOPE: organisation.pk})

    def one_by_one(self, organisation: Organisation) -> Self:
        """The same records, each asked for its organisation: for the first few in an index's own order.

        SQLite takes a join for a reason to fetch and sort all that the organisation has.
        """
        parent, _, path = self.model.SCOPE.partition("__")
        parents = self.model._meta.get_field(parent).related_model._default_manager
        return self.filter(Exists(parents.filter(pk=OuterRef(f"{parent}_id"), **{path: organisation.pk})))

    def standing(self) -> Self:
        """Only the records that nobody has voided."""
        return self.filter(voided_at__isnull=True)


class Scoped(models.Model):
    """A model that belongs to an organisation by the path ``SCOPE``."""

    SCOPE: ClassVar[str] = "organisation"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)

    objects = ScopedQuerySet.as_manager()

    class Meta:
        abstract = True
        base_manager_name = "objects"


class Record(Scoped):
    """A record that people enter: it is corrected or voided beside its history, never deleted."""

    entered_at = models.DateTimeField(auto_now_add=True)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    changed_at = models.DateTimeField(auto_now=True)
    revision = models.PositiveIntegerField(
        default=1, help_text="Counts the record's changes; its entity tag."
    )
    voided_at = models.DateTimeField(null=True, blank=True)
    void_reason = models.CharField(max_length=500, blank=True)

    class Meta(Scoped.Meta):
        abstract = True

    def building_ids(self) -> list[uuid.UUID]:
        """The houses whose assessment rests on this record: the one it is of, by its path of scope."""
        at: Any = self
        for step in self.SCOPE.split("__")[:-1]:
            at = getattr(at, step)
        return [at.pk]


def only(field: str, words: Iterable[str], model: str) -> CheckConstraint:
    """A database check that ``field`` holds one of ``words``."""
    return CheckConstraint(condition=Q(**{f"{field}__in": list(words)}), name=f"{model}_{field}_word")


def positive(field: str, model: str, *, or_zero: bool = False) -> CheckConstraint:
    """A database check that ``field``, where given, is above zero (or not below it)."""
    test = Q(**{f"{field}__{'gte' if or_zero else 'gt'}": 0})
    return CheckConstraint(condition=Q(**{f"{field}__isnull": True}) | test, name=f"{model}_{field}_positive")


def ordered(earlier: str, later: str, model: str) -> CheckConstraint:
    """A database check that ``earlier`` is not after ``later`` where both are given."""
    unknown = Q(**{f"{earlier}__isnull": True}) | Q(**{f"{later}__isnull": True})
    return CheckConstraint(
        condition=unknown | Q(**{f"{earlier}__lte": F(later)}), name=f"{model}_{later}_order"
    )


def not_empty(field: str, model: str) -> CheckConstraint:
    """A database check that a key text is not empty."""
    return CheckConstraint(condition=~Q(**{field: ""}), name=f"{model}_{field}_given")
