"""What stands there, with the writing that the tables of record files describe."""

from __future__ import annotations

from inspections.api.entering import Entered
from inspections.records.tables import BUILDINGS, EVENTS, SECTIONS, TREATMENTS
from portfolio.api import viewsets as stands


class BuildingViewSet(Entered, stands.BuildingViewSet):
    """Houses."""

    table = BUILDINGS


class SectionViewSet(Entered, stands.SectionViewSet):
    """Stretches of wall of one build and one exposure."""

    table = SECTIONS


class TreatmentViewSet(Entered, stands.TreatmentViewSet):
    """What was put on a section: one layer at one date."""

    table = TREATMENTS


class EventViewSet(Entered, stands.EventViewSet):
    """What happened to a wall or a house without being a reading."""

    table = EVENTS
