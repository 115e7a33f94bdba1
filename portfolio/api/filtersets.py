"""What each list of what stands there can be asked for."""

from __future__ import annotations

from portfolio.api.filters import (
    Day,
    Filters,
    Identifier,
    Moment,
    OfBuilding,
    OfSection,
    RecordFilters,
    Text,
    Whole,
    Word,
    YesNo,
    span,
)
from portfolio.vocabulary import (
    Adjoins,
    BeddingMortar,
    Beyond,
    Binder,
    DrainsTo,
    EventKind,
    Face,
    Purpose,
    RemovalReason,
    Role,
    Substrate,
    TreatmentKind,
)


class OrganisationFilters(Filters):
    slug = Text()


class MembershipFilters(Filters):
    user = Text(field_name="user__username")
    user_id = Identifier(field_name="user_id")
    role = Word(Role.choices)


class BuildingFilters(RecordFilters):
    code = Text()
    name = Text()
    street = Text()
    locality = Text()
    region = Text()
    postal_code = Text()
    country = Text()
    timezone = Text()
    year_built = Whole()
    built_after = Whole(field_name="year_built", lookup_expr="gte", help_text="From that year on.")
    built_before = Whole(field_name="year_built", lookup_expr="lt", help_text="Before that year.")


class SectionFilters(RecordFilters):
    building = Text(field_name="building__code", help_text="The building's code.")
    building_id = Identifier(field_name="building_id")
    code = Text()
    wall = Text()
    substrate = Word(Substrate.choices)
    bedding_mortar = Word(BeddingMortar.choices)
    adjoins = Word(Adjoins.choices)
    beyond = Word(Beyond.choices)


class TreatmentFilters(OfSection, RecordFilters):
    layer = Whole()
    kind = Word(TreatmentKind.choices)
    binder = Word(Binder.choices)
    mix = Text()
    face = Word(Face.choices)
    purpose = Word(Purpose.choices)
    drains_to = Word(DrainsTo.choices)
    applied_by = Text()
    found = YesNo()
    removed = YesNo(field_name="removed_on", lookup_expr="isnull", exclude=True)
    removal_reason = Word(RemovalReason.choices)
    applied_on = Day()
    applied_after, applied_before = span(Day, "applied_on")
    removed_after, removed_before = span(Day, "removed_on")


class EventFilters(OfBuilding, RecordFilters):
    kind = Word(EventKind.choices)
    layer = Whole()
    happened_on = Day()
    happened_after, happened_before = span(Day, "happened_on")


class ChangeFilters(Filters):
    model = Text(help_text="The record's kind, such as section or reading.")
    record_id = Identifier()
    by = Text(field_name="by__username")
    at_after, at_before = span(Moment, "at")
