"""What stands there: organisations and people, buildings, sections, treatments, events, history."""

from portfolio.models.base import Record, Scoped, ScopedQuerySet
from portfolio.models.history import Change, Reassessment
from portfolio.models.papers import Paper
from portfolio.models.people import Membership, Organisation, Token, User
from portfolio.models.places import Building, Section
from portfolio.models.works import Event, Treatment

__all__ = [
    "Building",
    "Change",
    "Event",
    "Membership",
    "Organisation",
    "Paper",
    "Reassessment",
    "Record",
    "Scoped",
    "ScopedQuerySet",
    "Section",
    "Token",
    "Treatment",
    "User",
]
