"""From stored records to the coats of an organisation, and what became of each: a fixed number of queries.

Only what the failure rule asks for is read, in columns: layers with their places, areas by day, mendings.
Nothing that happened after ``as_of`` is used.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection
from django.db.models import CharField, Count, Q, QuerySet, Sum
from django.db.models.functions import Cast
from django.utils import timezone

from inspections.analysis.cleaning import range_in
from inspections.analysis.costs import INSTALLED, REMOVED, REPAIRED, Payments
from inspections.analysis.failures import (
    Areas,
    Coats,
    IntArray,
    Layers,
    Lives,
    Mended,
    coat_on,
    lives,
    systems,
)
from inspections.analysis.records import YEAR, FloatArray
from inspections.models import Action, Allocation, Instrument, Reading, Trial, Visit
from inspections.queries.series import day_number, instrument_of
from inspections.vocabulary import COAT_PATHS, ActionKind, Qualifier, Quantity, Unit, VisitReason
from portfolio.models import Building, Event, Organisation, Section, Treatment
from portfolio.vocabulary import EventKind, Purpose, RemovalReason

_AREAS = (Quantity.HOLLOW_AREA, Quantity.SPALL_AREA)
_MOISTURE = (Quantity.SURFACE_MOISTURE, Quantity.DEEP_MOISTURE)
_COLUMNS = (
    "key",
    "section_key",
    "house",
    "layer",
    "kind",
    "face",
    "purpose",
    "applied_on",
    "applied_earliest",
    "removed_on",
    "removal_reason",
    "found",
    "area_m2",
    "section__length_m",
    "section__height_m",
    "cost",
    "currency",
    "section__substrate",
    "section__adjoins",
    "thickness_mm",
)


@dataclass(frozen=True, slots=True)
class CoatBook:
    """An organisation's coats (n,), by section and time, as they stood at the end of ``as_of``.

    ``group`` has for each coat its values of the fields that were asked for; None where one is not given.
    ``exposure`` has for each its section's masonry and what lies behind it, ``thickness`` its innermost
    layer's in mm (NaN: not given), ``section`` its section's key. ``areas`` and ``mended`` are what the lives
    were found from, so that they can be found anew by another rule; ``whole`` are all coats of the
    organisation, with their houses, whichever of them are in the book.
    """

    as_of: dt.date
    threshold: float
    coats: Coats
    areas: Areas
    mended: Mended
    lives: Lives
    house: IntArray
    group: list[tuple[str | None, ...]]
    exposure: dict[str, list[str]]
    thickness: FloatArray
    section: list[str]
    payments: Payments
    whole: tuple[Coats, IntArray]


def today_of(organisation: Organisation) -> dt.date:
    """Today in whichever of the organisation's houses it is latest."""
    zones = Building.objects.of(organisation).standing().order_by().values_list("timezone", flat=True)
    now = timezone.now()
    return max((now.astimezone(ZoneInfo(zone)).date() for zone in zones.distinct()), default=now.date())


def state_of(organisation: Organisation) -> str:
    """What changes whenever a record does that the lives or their groups rest on: counts and revisions."""
    parts: list[Any] = [organisation.pk, organisation.failure_threshold]
    for model in (Building, Section, Treatment, Event, Visit, Instrument, Trial, Allocation, Action):
        parts += _count(model.objects.of(organisation))
    parts += _count(Reading.objects.of(organisation).filter(quantity__in=_AREAS))
    return " ".join(map(str, parts))


def moisture_state(organisation: Organisation) -> str:
    """What changes whenever a moisture reading does."""
    return str(_count(Reading.objects.of(organisation).filter(quantity__in=_MOISTURE)))


def _count(records: QuerySet[Any]) -> tuple[int, int]:
    found = records.order_by().aggregate(count=Count("pk"), revisions=Sum("revision"))
    return found["count"], found["revisions"] or 0


def coat_book(
    organisation: Organisation,
    by: Sequence[str] = (),
    as_of: dt.date | None = None,
    chosen: QuerySet[Treatment] | None = None,
) -> CoatBook:
    """The coats of ``organisation`` with their lives, or those whose innermost layer is ``chosen``."""
    as_of = as_of or today_of(organisation)
    rows = _layers(organisation, by, as_of)
    sections: dict[str, int] = {}
    table = _Table(rows, [sections.setdefault(row[1], len(sections)) for row in rows], as_of)
    inner, owner, ended = systems(table.layers)
    coats = table.coats(inner, ended)
    areas = _areas(organisation, sections, as_of)
    mended = _mended(organisation, table, sections, as_of)
    house = np.unique([rows[row][2] for row in inner], return_inverse=True)[1].astype(np.int64)
    book = CoatBook(
        as_of=as_of,
        threshold=organisation.failure_threshold,
        coats=coats,
        areas=areas,
        mended=mended,
        lives=lives(coats, areas, mended, organisation.failure_threshold),
        house=house,
        group=_groups(organisation, by, [rows[row] for row in inner]),
        exposure={
            name: [rows[row][_COLUMNS.index(f"section__{name}")] for row in inner]
            for name in ("substrate", "adjoins")
        },
        thickness=table.thickness[inner],
        section=[rows[row][1] for row in inner],
        payments=_payments(organisation, table, sections, owner, coats),
        whole=(coats, house),
    )
    if chosen is None:
        return book
    keys = set(chosen.annotate(key=Cast("pk", CharField())).values_list("key", flat=True))
    return _only(book, np.flatnonzero([rows[row][0] in keys for row in inner]))


def _only(book: CoatBook, kept: IntArray) -> CoatBook:
    """The book of some of its coats."""
    place = np.full(len(book.coats), -1, dtype=np.int64)
    place[kept] = np.arange(len(kept))
    paid = place[book.payments.coat] >= 0
    payments = Payments(
        place[book.payments.coat[paid]],
        *(getattr(book.payments, name)[paid] for name in ("day", "amount", "currency", "what")),
    )
    return replace(
        book,
        coats=Coats(*(getattr(book.coats, name)[kept] for name in Coats.__slots__)),
        lives=Lives(*(getattr(book.lives, name)[kept] for name in Lives.__slots__)),
        house=book.house[kept],
        group=[book.group[row] for row in kept.tolist()],
        exposure={name: [words[row] for row in kept.tolist()] for name, words in book.exposure.items()},
        thickness=book.thickness[kept],
        section=[book.section[row] for row in kept.tolist()],
        payments=payments,
    )


# Layers ----------------------------------------------------------------------------------------------------


def _layers(organisation: Organisation, by: Sequence[str], as_of: dt.date) -> list[tuple[Any, ...]]:
    standing = Treatment.objects.of(organisation).standing()
    here = standing.filter(section__voided_at=None, section__building__voided_at=None, applied_on__lte=as_of)
    keyed = here.annotate(
        key=Cast("pk", CharField()),
        section_key=Cast("section_id", CharField()),
        house=Cast("section__building_id", CharField()),
    )
    paths = [COAT_PATHS[name] for name in by if name in COAT_PATHS]
    ordered = keyed.order_by("section__building__code", "section__code", "applied_on", "layer")
    return list(
        ordered.values_list(*_COLUMNS, *(path for path in paths if path not in _COLUMNS), named=False)
    )


class _Table:
    """The rows of layers as arrays; what was taken off after ``as_of`` stands."""

    def __init__(self, rows: list[tuple[Any, ...]], section: list[int], as_of: dt.date) -> None:
        self.as_of = as_of
        self.section = np.array(section, dtype=np.int64)
        columns = list(zip(*rows, strict=True))[: len(_COLUMNS)] or [()] * len(_COLUMNS)
        column = dict(zip(_COLUMNS, columns, strict=True))
        gone = [day if day and day <= as_of else None for day in column["removed_on"]]
        self.applied = _days(column["applied_on"])
        self.removed = _days(gone, np.inf)
        self.earliest = np.fmin(_days(column["applied_earliest"]), self.applied)
        reasons = np.array(column["removal_reason"], dtype=np.str_)
        self.failed = np.isfinite(self.removed) & (reasons == RemovalReason.FAILED)
        # Why a coat came off that nobody gave a reason for is as open as why one came off by plan.
        self.planned = np.isfinite(self.removed) & np.isin(reasons, ("", RemovalReason.PLANNED))
        self.found = np.array(column["found"], dtype=bool)
        own = _numbers(column["area_m2"])
        wall = _numbers(column["section__length_m"]) * _numbers(column["section__height_m"])
        self.area = np.where(own > 0, own, np.where(wall > 0, wall, np.nan))
        self.own_area = np.nan_to_num(own)
        self.purpose = np.array(column["purpose"], dtype=np.str_)
        self.thickness = _numbers(column["thickness_mm"])
        self.cost = _numbers(column["cost"])
        self.currency = np.array(column["currency"], dtype=np.str_)
        self.layers = Layers(
            section=self.section,
            layer=np.array(column["layer"], dtype=np.int64),
            kind=np.array(column["kind"], dtype=np.str_),
            face=np.array(column["face"], dtype=np.str_),
            purpose=self.purpose,
            applied=self.applied,
            removed=self.removed,
        )

    def coats(self, inner: IntArray, ended: FloatArray) -> Coats:
        gone = np.isfinite(ended) & (self.removed[inner] <= ended)
        return Coats(
            section=self.section[inner],
            earliest=self.earliest[inner],
            begun=self.applied[inner],
            ended=ended,
            removed=gone,
            failed=gone & self.failed[inner],
            found=self.found[inner],
            area=self.area[inner],
            planned=gone & self.planned[inner],
            sacrificial=self.purpose[inner] == Purpose.SACRIFICIAL,
        )


def _days(days: Iterable[dt.date | None], unknown: float = np.nan) -> FloatArray:
    return np.array([unknown if day is None else day_number(day) for day in days], dtype=float)


def _numbers(values: Iterable[Any]) -> FloatArray:
    return np.array([np.nan if value is None else float(value) for value in values], dtype=float)


def _groups(
    organisation: Organisation, by: Sequence[str], rows: list[tuple[Any, ...]]
) -> list[tuple[str | None, ...]]:
    """For each innermost layer its values of the fields of ``by``."""
    extra = [COAT_PATHS[name] for name in by if name in COAT_PATHS and COAT_PATHS[name] not in _COLUMNS]
    at = {path: place for place, path in enumerate((*_COLUMNS, *extra))}
    trials = _trials(organisation) if {"trial", "arm"} & set(by) else {}

    def value(row: tuple[Any, ...], name: str) -> str | None:
        if name in COAT_PATHS:
            found = row[at[COAT_PATHS[name]]]
            return ("yes" if found else "no") if isinstance(found, bool) else found or None
        own = [one for one in trials.get(row[1], []) if one.began is None or row[7] >= one.began]
        return ", ".join(sorted({one.code if name == "trial" else one.arm for one in own})) or None

    return [tuple(value(row, name) for name in by) for row in rows]


class _Arm(NamedTuple):
    """A section's part in a trial. A coat put on before the trial began is none of its arms."""

    section: str
    began: dt.date | None
    code: str
    arm: str


def _trials(organisation: Organisation) -> dict[str, list[_Arm]]:
    allotted = Allocation.objects.of(organisation).standing().filter(trial__voided_at=None)
    keyed = allotted.annotate(key=Cast("section_id", CharField()))
    found: dict[str, list[_Arm]] = {}
    for row in keyed.values_list("key", "trial__started_on", "trial__code", "arm"):
        found.setdefault(row[0], []).append(_Arm(*row))
    return found


# What was read and mended ----------------------------------------------------------------------------------


def _areas(organisation: Organisation, sections: dict[str, int], as_of: dt.date) -> Areas:
    """Hollow and fallen areas; a repeat of a place on one day is not another area."""
    readings = Reading.objects.of(organisation).standing()
    areas = readings.filter(
        _within_range(organisation),
        quantity__in=_AREAS,
        section__isnull=False,
        replicate=1,
    )
    keyed = areas.order_by().annotate(
        section_key=Cast("section_id", CharField()), visit_key=Cast("visit_id", CharField())
    )
    rows = fetch(keyed.values_list("section_key", "visit_key", "quantity", "value", "qualifier"))
    days, prompted = visits_until(organisation, as_of)
    count = len(rows)
    section = np.fromiter((sections.get(row[0], -1) for row in rows), np.int64, count)
    day = np.fromiter((days.get(row[1], np.nan) for row in rows), float, count)
    hollow = np.fromiter((row[2] == Quantity.HOLLOW_AREA for row in rows), bool, count)
    value = np.fromiter((row[3] for row in rows), float, count)
    below = np.fromiter((row[4] == Qualifier.BELOW for row in rows), bool, count)
    above = np.fromiter((row[4] == Qualifier.ABOVE for row in rows), bool, count)
    asked = np.zeros(count, dtype=bool)
    if prompted:
        asked = np.fromiter((row[1] in prompted for row in rows), bool, count)
    kept = (section >= 0) & np.isfinite(day)
    low, high = np.where(below, 0.0, value), np.where(above, np.inf, value)
    return Areas(section, day, hollow, low, high, asked).of(kept)


def visits_until(organisation: Organisation, as_of: dt.date) -> tuple[dict[str, float], set[str]]:
    """The day of each visit up to ``as_of`` by its key, and those made for another reason than plan."""
    visits = Visit.objects.of(organisation).filter(day__lte=as_of).order_by()
    keyed = visits.annotate(key=Cast("pk", CharField()), written=Cast("day", CharField()))
    rows = fetch(keyed.values_list("key", "written", "reason"))
    days = np.array([row[1] for row in rows], dtype="datetime64[D]").astype(np.int64)
    prompted = {row[0] for row in rows if row[2] != VisitReason.PLAN}
    return dict(zip([row[0] for row in rows], days.astype(float).tolist(), strict=True)), prompted


def fetch(values: QuerySet[Any, tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """The rows of texts and numbers as the database gives them, a third of the time of the model layer's."""
    sql, parameters = values.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchall()


def _within_range(organisation: Organisation) -> Q:
    """Leaves out what lies beyond the range of an instrument that reads areas."""
    kept = Q()
    scales = Instrument.objects.of(organisation).standing().filter(scale__in=(Unit.M2, Unit.FT2))
    for row in scales:
        low, high = range_in(instrument_of(row), Unit.M2)
        beyond = Q(value__lt=low) if np.isfinite(low) else Q(pk__in=[])
        beyond |= Q(value__gt=high) if np.isfinite(high) else Q(pk__in=[])
        kept &= ~Q(beyond, instrument=row)
    return kept


def _mended(organisation: Organisation, table: _Table, sections: dict[str, int], as_of: dt.date) -> Mended:
    """Areas of repairs and patches; of both on one day on one section, the larger."""
    patches = (table.purpose == Purpose.PATCH) & (table.own_area > 0)
    rows = list(zip(table.section[patches], table.applied[patches], table.own_area[patches], strict=True))
    repairs = _repairs(organisation, as_of).filter(area_m2__gt=0).values_list("key", "happened_on", "area_m2")
    done: dict[tuple[int, float], float] = {}
    for key, day, area in repairs:
        if key in sections:
            where = sections[key], day_number(day)
            done[where] = done.get(where, 0.0) + area
    patched: dict[tuple[int, float], float] = {}
    for section, day, area in rows:
        where = int(section), float(day)
        patched[where] = patched.get(where, 0.0) + float(area)
    both = {where: max(done.get(where, 0.0), patched.get(where, 0.0)) for where in done | patched}
    places = np.array(list(both), dtype=float).reshape(-1, 2)
    return Mended(places[:, 0].astype(np.int64), places[:, 1], np.array(list(both.values()), dtype=float))


def _repairs(organisation: Organisation, as_of: dt.date) -> QuerySet[Any]:
    repairs = Event.objects.of(organisation).standing().filter(kind=EventKind.REPAIR, section__isnull=False)
    return repairs.filter(happened_on__lte=as_of).annotate(key=Cast("section_id", CharField()))


# What was paid ---------------------------------------------------------------------------------------------


def _payments(
    organisation: Organisation, table: _Table, sections: dict[str, int], owner: IntArray, coats: Coats
) -> Payments:
    """Costs of layers, repairs, patches and stripping, each with the coat that it was paid for.

    A layer put on within a year of the innermost was installed with it; a later one keeps it up. A patch, a
    repair and a patching action of one coat on one day are one piece of work, written down in several places.
    """
    paid = table.cost > 0
    rows = np.flatnonzero(paid & (owner >= 0))
    at_once = table.applied[rows] <= coats.begun[owner[rows]] + YEAR
    layers = [
        (int(owner[row]), float(table.applied[row]), str(table.currency[row]), what, float(table.cost[row]))
        for row, what in zip(rows.tolist(), np.where(at_once, INSTALLED, REPAIRED).tolist(), strict=True)
    ]
    patches = np.flatnonzero(paid & (table.purpose == Purpose.PATCH))
    work = [
        (int(table.section[row]), float(table.applied[row]), str(table.currency[row]), float(table.cost[row]))
        for row in patches.tolist()
    ]
    repairs = _repairs(organisation, table.as_of).filter(cost__gt=0)
    actions = Action.objects.of(organisation).standing().filter(cost__gt=0, done_on__lte=table.as_of)
    keyed = actions.annotate(key=Cast("section_id", CharField()))
    sources = [
        (REPAIRED, work),
        (REPAIRED, _work(repairs.values_list("key", "happened_on", "currency", "cost"), sections)),
        (REPAIRED, _work(_of_kind(keyed, ActionKind.PATCH), sections)),
        (REMOVED, _work(_of_kind(keyed, ActionKind.STRIP), sections)),
    ]
    done: dict[tuple[int, float, str, str], float] = {}
    for what, found in sources:
        own: dict[tuple[int, float, str, str], float] = {}
        section, day = (np.array([one[place] for one in found], dtype=float) for place in (0, 1))
        for coat, one in zip(coat_on(coats, section.astype(np.int64), day).tolist(), found, strict=True):
            if coat >= 0:
                key = coat, one[1], one[2], what
                own[key] = own.get(key, 0.0) + one[3]
        done |= {key: max(amount, done.get(key, 0.0)) for key, amount in own.items()}
    both = layers + [(*key, amount) for key, amount in done.items()]
    return Payments(
        np.array([one[0] for one in both], dtype=np.int64),
        np.array([one[1] for one in both], dtype=float),
        np.array([one[4] for one in both], dtype=float),
        np.array([one[2] for one in both], dtype=np.str_),
        np.array([one[3] for one in both], dtype=np.str_),
    )


def _of_kind(actions: QuerySet[Any], kind: ActionKind) -> QuerySet[Any, tuple[Any, ...]]:
    return actions.filter(kind=kind).values_list("key", "done_on", "currency", "cost")


def _work(rows: Iterable[tuple[Any, ...]], sections: dict[str, int]) -> list[tuple[int, float, str, float]]:
    return [
        (sections[key], day_number(day), currency, float(cost))
        for key, day, currency, cost in rows
        if key in sections
    ]
