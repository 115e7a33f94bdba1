"""Records to read, each with parents of its own, so that a query made for every row would be seen."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from itertools import count
from typing import Any

from inspections.analysis import results
from inspections.models import (
    Action,
    Allocation,
    Assessment,
    CalibrationCheck,
    Flag,
    Instrument,
    Load,
    LogSeries,
    LogValue,
    Mail,
    Photo,
    Plan,
    Policy,
    Reading,
    Reminder,
    Replay,
    Trial,
    Visit,
    Webhook,
    WebhookCall,
)
from portfolio.models import Building, Change, Event, Organisation, Paper, Section, Treatment, User

_numbers = count(1)
DAY = dt.date(2024, 3, 1)
MOMENT = dt.datetime(2024, 3, 1, 9, 30, tzinfo=dt.UTC)


def number() -> int:
    """A number that no other record of the test run has."""
    return next(_numbers)


def person() -> User:
    return User.objects.create(username=f"person{number()}")


def building(organisation: Organisation, **fields: Any) -> Building:
    given = {"code": f"H{number():05}", "name": "Kiln House (invented)", "entered_by": person(), **fields}
    return Building.objects.create(organisation=organisation, **given)


def section(organisation: Organisation, **fields: Any) -> Section:
    given = {
        "code": f"S{number():05}",
        "wall": "N",
        "length_m": 2.5,
        "height_m": 2.0,
        "entered_by": person(),
        **fields,
    }
    if "building" not in given:
        given["building"] = building(organisation)
    return Section.objects.create(**given)


def place(organisation: Organisation) -> dict[str, str]:
    """A new section as rows name it."""
    where = section(organisation)
    return {"building": where.building.code, "section": where.code}


def treatment(organisation: Organisation, **fields: Any) -> Treatment:
    given = {
        "layer": 1,
        "applied_on": DAY,
        "kind": "parge_coat",
        "binder": "NHL 3.5",
        "cost": "120.50",
        "currency": "EUR",
        "entered_by": person(),
        **fields,
    }
    if "section" not in given:
        given["section"] = section(organisation)
    return Treatment.objects.create(**given)


def event(organisation: Organisation, **fields: Any) -> Event:
    where = section(organisation)
    given = {"building": where.building, "section": where, "happened_on": DAY, "kind": "flood", **fields}
    return Event.objects.create(entered_by=person(), **given)


def change(organisation: Organisation, **fields: Any) -> Change:
    given = {
        "model": "section",
        "record_id": section(organisation).pk,
        "fields": {"length_m": [2.0, 2.5]},
        "reason": "measured again",
        **fields,
    }
    return Change.objects.create(organisation=organisation, by=person(), **given)


def instrument(organisation: Organisation, **fields: Any) -> Instrument:
    given = {
        "code": f"M{number():05}",
        "kind": "moisture_meter",
        "scale": "relative",
        "maximum": 100,
        **fields,
    }
    return Instrument.objects.create(organisation=organisation, entered_by=person(), **given)


def calibration_check(organisation: Organisation, **fields: Any) -> CalibrationCheck:
    given = {"checked_on": DAY, "reference": 50.0, "shown": 51.0, **fields}
    return CalibrationCheck.objects.create(instrument=instrument(organisation), entered_by=person(), **given)


def visit(organisation: Organisation, **fields: Any) -> Visit:
    given = {"day": DAY, "inspector": "GH", "person": person(), **fields}
    if "building" not in given:
        given["building"] = building(organisation)
    return Visit.objects.create(entered_by=person(), **given)


def reading(organisation: Organisation, **fields: Any) -> Reading:
    """A reading in inches, so that the value as entered and the canonical one differ."""
    where = fields.pop("section", None) or section(organisation)
    given = {
        "taken_at": MOMENT,
        "quantity": "crack_width",
        "value": 12.7,
        "entered_value": "0.50",
        "unit": "in",
        "height_mm": 900,
        **fields,
    }
    return Reading.objects.create(
        building=where.building,
        section=where,
        visit=visit(organisation, building=where.building, inspector=f"GH{number()}"),
        instrument=instrument(organisation),
        entered_by=person(),
        **given,
    )


def log_series(organisation: Organisation, **fields: Any) -> LogSeries:
    where = section(organisation)
    given = {"quantity": "air_humidity", "unit": "percent_rh", **fields}
    return LogSeries.objects.create(
        building=where.building,
        section=where,
        instrument=instrument(organisation),
        entered_by=person(),
        **given,
    )


def log_value(series: LogSeries) -> LogValue:
    return LogValue.objects.create(series=series, at=MOMENT + dt.timedelta(hours=number()), value=61.5)


def photo(organisation: Organisation, **fields: Any) -> Photo:
    where = fields.pop("section", None) or section(organisation)
    given = {
        "building": where.building,
        "section": where,
        "visit": visit(organisation, building=where.building),
        "taken_at": MOMENT,
        "sha256": hashlib.sha256(str(number()).encode()).hexdigest(),
        "content_type": "image/jpeg",
        "width": 4000,
        "height": 3000,
        "bytes": 2_500_000,
        **fields,
    }
    return Photo.objects.create(entered_by=person(), **given)


def load(organisation: Organisation, **fields: Any) -> Load:
    given = {"source": "book", "counts": {"readings": {"added": 3}}, **fields}
    return Load.objects.create(organisation=organisation, by=person(), **given)


def trial(organisation: Organisation, **fields: Any) -> Trial:
    given = {"code": f"T{number():05}", "outcome": "affected_area_rate", "started_on": DAY, **fields}
    return Trial.objects.create(organisation=organisation, entered_by=person(), **given)


def allocation(organisation: Organisation, **fields: Any) -> Allocation:
    given = {"arm": "A", "allocated_by": "random", **fields}
    return Allocation.objects.create(
        trial=trial(organisation), section=section(organisation), entered_by=person(), **given
    )


def result_of(where: Section, as_of: dt.date, verdict: str, trapped: float) -> dict[str, Any]:
    """A whole result, made by the analysis' own classes."""
    others = [name for name in results.HYPOTHESES if name != "trapped_water"]
    assessment = results.SectionAssessment(
        building=where.building.code,
        section=where.code,
        as_of=as_of,
        verdict=verdict,
        probability={"trapped_water": trapped, **dict.fromkeys(others, (1 - trapped) / len(others))},
        log_odds=results.LogOdds(against="water_entry", prior=-1.2, total=0.9),
        since=dt.date(2019, 4, 1),
        evidence=(results.Evidence("deep_moisture", 2.1, "Deep moisture rose 4.1 a year."),),
        trends={
            "deep_moisture": results.TrendResult(
                4.1, 3.0, 5.2, 0.0004, 22, dt.date(2011, 5, 2), as_of, "relative", "seasonal slope"
            )
        },
        forecast=None,
        advice=(results.Advice("in_wall_humidity", "would tell held water from a dry wall"),),
        next_inspection=dt.date(2026, 3, 1),
    )
    return assessment.as_json()


def assessment(
    organisation: Organisation,
    *,
    where: Section | None = None,
    as_of: dt.date = DAY,
    verdict: str = "trapped_water",
    trapped: float = 0.7,
    current: bool = True,
) -> Assessment:
    where = where or section(organisation)
    return Assessment.objects.create(
        section=where,
        as_of=as_of,
        model_version="test",
        verdict=verdict,
        trapped_probability=trapped,
        current=current,
        result=result_of(where, as_of, verdict, trapped),
    )


def replay(organisation: Organisation, **fields: Any) -> Replay:
    where = fields.pop("section", None) or section(organisation)
    told = result_of(where, DAY, "trapped_water", 0.7)
    look = {name: told[name] for name in ("as_of", "verdict", "probability")}
    given = {"looks": [look], "digests": ["0" * 32], "readings": 22, "entered_later": 3, **fields}
    return Replay.objects.create(section=where, made_at=MOMENT, model_version="test", **given)


def flag(organisation: Organisation, **fields: Any) -> Flag:
    found = assessment(organisation)
    given = {"verdict": found.verdict, "opened_on": DAY, "answered_by": person(), **fields}
    return Flag.objects.create(section=found.section, opened_by=found, **given)


def action(organisation: Organisation, **fields: Any) -> Action:
    cause = flag(organisation)
    given = {"kind": "strip", "done_on": DAY, "photo": photo(organisation, section=cause.section), **fields}
    return Action.objects.create(section=cause.section, flag=cause, entered_by=person(), **given)


def plan(organisation: Organisation, **fields: Any) -> Plan:
    where = section(organisation)
    given = {"building": where.building, "section": where, "due_on": DAY, "reason": "policy", **fields}
    return Plan.objects.create(**given)


def policy(organisation: Organisation, **fields: Any) -> Policy:
    return Policy.objects.create(organisation=organisation, **fields)


def paper(organisation: Organisation, **fields: Any) -> Paper:
    given = {"kind": "violation", "title": "Loose coping over the areaway", "due_on": DAY, **fields}
    if "building" not in given:
        where = section(organisation)
        given |= {"building": where.building, "section": where}
    return Paper.objects.create(entered_by=person(), **given)


def _told(organisation: Organisation) -> dict[str, Any]:
    about = plan(organisation)
    return {
        "subject": "plan",
        "subject_id": about.pk,
        "day": about.due_on,
        "stage": "on",
        "building": about.building,
        "section": about.section,
        "raised_at": MOMENT + dt.timedelta(seconds=number()),
        "due_at": MOMENT,
    }


def reminder(organisation: Organisation, **fields: Any) -> Reminder:
    somebody = person()
    mail = Mail.objects.create(
        person=somebody,
        day=DAY,
        address="person@example.org",
        state="failed",
        claim=uuid.uuid4(),
        claimed_at=MOMENT,
        error="The mail server refused it.",
    )
    given = {**_told(organisation), "person": somebody, "mail": mail, "state": "failed", **fields}
    return Reminder.objects.create(organisation=organisation, **given)


def webhook(organisation: Organisation, **fields: Any) -> Webhook:
    given = {"url": "https://walls.example.org/told", "secret": "5" * 64, **fields}
    return Webhook.objects.create(organisation=organisation, entered_by=person(), **given)


def webhook_call(organisation: Organisation, **fields: Any) -> WebhookCall:
    given = {**_told(organisation), "webhook": webhook(organisation), **fields}
    return WebhookCall.objects.create(**given)
