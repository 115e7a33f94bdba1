"""Kinds of records that have no file of their own: entered one by one, with the same checks as the files."""

from __future__ import annotations

from inspections.models import Action, CalibrationCheck, LogSeries, Photo, Visit
from inspections.records import rules
from inspections.records.cells import at_least_zero, day, identifier, money, number, text, word
from inspections.records.faults import Problem
from inspections.records.places import Places
from inspections.records.rules import Rule, Values
from inspections.records.standing import StandingPlaces
from inspections.records.tables import Table, choice, code, column, needed, note
from inspections.vocabulary import ActionKind, Quantity, Unit, VisitReason
from portfolio.models import Paper
from portfolio.vocabulary import PaperKind, PaperState


def _person(values: Values, places: Places) -> None:
    assert isinstance(places, StandingPlaces)
    values["person_id"] = places.person(values["person"]) if values["person"] else None


def _visit(values: Values, places: Places) -> None:
    assert isinstance(places, StandingPlaces)
    if values["visit_id"] is not None and places.visit(values["visit_id"]) != values["building_id"]:
        raise Problem("is a visit to another building; name one to this")


def _flag(values: Values, places: Places) -> None:
    assert isinstance(places, StandingPlaces)
    if values["flag_id"] is not None and places.flag(values["flag_id"]) != values["section_id"]:
        raise Problem("is a flag of another section; name one of this")


def _photo(values: Values, places: Places) -> None:
    assert isinstance(places, StandingPlaces)
    if values["photo_id"] is not None and places.photo(values["photo_id"]) != values["building_id"]:
        raise Problem("is a photo of another building; name one of this")


VISITS = Table(
    "visits",
    Visit,
    (
        code("building", "building_id", path="building__code"),
        column("day", day, required=True),
        column("inspector", text(100), empty=""),
        column("person", text(150), "person_id", path="person__username", empty=""),
        choice("reason", VisitReason.values, VisitReason.PLAN.value),
        note(),
    ),
    key=("building_id", "day", "inspector"),
    key_column="day",
    rules=(rules.IN_A_BUILDING, Rule("person", ("person",), _person)),
)

CALIBRATION_CHECKS = Table(
    "calibration_checks",
    CalibrationCheck,
    (
        code("instrument", "instrument_id", path="instrument__code"),
        column("checked_on", day, required=True),
        column("reference", number, required=True),
        column("shown", number, required=True),
        note(200, "against"),
        note(),
    ),
    key=("instrument_id", "checked_on", "reference"),
    key_column="checked_on",
    rules=(rules.WITH_AN_INSTRUMENT,),
)

LOG_SERIES = Table(
    "log_series",
    LogSeries,
    (
        code("building", "building_id", path="building__code"),
        column("section", text(50), "section_id", path="section__code", empty=""),
        needed("quantity", Quantity.values),
        column("unit", word(Unit.values), required=True),
        column("height_mm", at_least_zero),
        column("depth_mm", at_least_zero),
        column("instrument", text(50), "instrument_id", path="instrument__code", empty=""),
        column("point", text(50), empty=""),
        note(200, "source"),
    ),
    key=("building_id", "section_id", "quantity", "height_mm", "depth_mm", "instrument_id", "point"),
    key_column="quantity",
    rules=(rules.IN_A_BUILDING, rules.ON_A_SECTION, rules.WITH_AN_INSTRUMENT, rules.FITTING_UNIT),
)

#: What is known of a photo beside the picture; that comes by its upload.
PHOTOS = Table(
    "photos",
    Photo,
    (
        code("building", "building_id", path="building__code"),
        column("section", text(50), "section_id", path="section__code", empty=""),
        column("visit_id", identifier),
        column("taken_at", str, required=True),
        note(500, "caption"),
    ),
    # Its picture is the rest of its key, and stays as it is.
    key=(),
    key_column="taken_at",
    rules=(
        rules.IN_A_BUILDING,
        rules.ON_A_SECTION,
        rules.TAKEN_AT,
        Rule("visit_id", ("visit_id", "building_id"), _visit),
    ),
)

ACTIONS = Table(
    "actions",
    Action,
    (
        code("building", "section_id", path="section__building__code"),
        code("section", "section_id", path="section__code"),
        column("flag_id", identifier),
        needed("kind", ActionKind.values),
        column("done_on", day, required=True),
        column("cost", money),
        column("currency", text(3), empty=""),
        column("photo_id", identifier),
        column("follow_up_on", day),
        note(None, "outcome"),
        note(),
    ),
    key=(),
    key_column="done_on",
    rules=(
        rules.IN_A_BUILDING,
        rules.ON_A_SECTION,
        rules.in_order("done_on", "follow_up_on"),
        Rule("flag_id", ("flag_id", "section_id"), _flag),
        Rule("photo_id", ("photo_id", "building_id"), _photo),
    ),
)


def _closing(values: Values, places: Places) -> None:
    closed = values["state"] == PaperState.CLOSED
    if closed and values["closed_on"] is None:
        raise Problem("is missing; write the day on which it was closed")
    if not closed and values["closed_on"] is not None:
        raise Problem(f"is for a paper whose state is {PaperState.CLOSED.value}; leave it empty")


#: What is known of a paper beside its document; that comes by its upload.
PAPERS = Table(
    "papers",
    Paper,
    (
        code("building", "building_id", path="building__code"),
        column("section", text(50), "section_id", path="section__code", empty=""),
        needed("kind", PaperKind.values),
        column("title", text(200), required=True),
        note(100, "reference"),
        note(200, "issued_by"),
        column("issued_on", day),
        column("due_on", day),
        choice("state", PaperState.values, PaperState.OPEN.value),
        column("closed_on", day),
        note(),
    ),
    key=(),
    key_column="title",
    rules=(
        rules.IN_A_BUILDING,
        rules.ON_A_SECTION,
        rules.in_order("issued_on", "due_on"),
        rules.in_order("issued_on", "closed_on"),
        Rule("closed_on", ("state", "closed_on"), _closing),
    ),
)
