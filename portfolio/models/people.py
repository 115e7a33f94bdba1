"""Organisations, the people in them, and the tokens that programs use."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import CheckConstraint, Q, UniqueConstraint

from portfolio.models.base import Scoped, only
from portfolio.vocabulary import Role, Units


class Organisation(Scoped):
    """An owner or manager of houses. Everything else belongs to exactly one."""

    SCOPE: ClassVar[str] = "id"

    slug = models.SlugField(max_length=100, unique=True)
    name = models.CharField(max_length=200)
    is_invented = models.BooleanField(default=False, help_text="Demo data: every page says so.")
    failure_threshold = models.FloatField(
        default=0.10, help_text="The affected share of a coat's area at which it has failed."
    )
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta(Scoped.Meta):
        ordering = ("slug",)
        constraints = (
            CheckConstraint(
                condition=Q(failure_threshold__gt=0) & Q(failure_threshold__lte=1),
                name="organisation_failure_threshold_share",
            ),
        )

    def __str__(self) -> str:
        return self.name


class User(AbstractUser):
    """A person who signs in. What they may do is said by their memberships."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    units = models.CharField(max_length=2, choices=Units, default=Units.SI)
    timezone = models.CharField(max_length=64, default="UTC")

    class Meta(AbstractUser.Meta):
        ordering = ("username",)


class Membership(Scoped):
    """One person's role in one organisation."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships")
    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=10, choices=Role)

    class Meta(Scoped.Meta):
        ordering = ("organisation__slug", "user__username")
        constraints = (
            UniqueConstraint(fields=("user", "organisation"), name="membership_once"),
            only("role", Role.values, "membership"),
        )

    def __str__(self) -> str:
        return f"{self.user}, {self.role} of {self.organisation}"


class Token(Scoped):
    """A program's key to one organisation. Only its SHA-256 is kept; the key is shown once."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="tokens")
    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=100)
    digest = models.CharField(max_length=64, unique=True)
    entered_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta(Scoped.Meta):
        ordering = ("organisation__slug", "name")

    def __str__(self) -> str:
        return self.name
