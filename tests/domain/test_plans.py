"""The rows of what is due: what brings them about, what settles them, and what leaves them alone."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inspections.domain import assess
from inspections.domain.answers import confirm_flag
from inspections.domain.assess import assess_organisation, reassess
from inspections.domain.postponing import postpone_plan
from inspections.models import Action, Flag, Plan, Policy, Reading, Visit
from inspections.queries.due import overdue, today_at
from inspections.vocabulary import Verdict
from portfolio.models import Building, Event, Reassessment, Section
from tests.api import factories
from tests.support.cast import Cast

TODAY = dt.date(2024, 6, 20)


@pytest.fixture(autouse=True)
def _noon(monkeypatch: pytest.MonkeyPatch) -> None:
    at(monkeypatch, dt.datetime(2024, 6, 20, 12, tzinfo=dt.UTC))


def at(monkeypatch: pytest.MonkeyPatch, moment: dt.datetime) -> None:
    monkeypatch.setattr(timezone, "now", lambda: moment)


@pytest.fixture
def policy(cast: Cast) -> Policy:
    """Three months whatever the verdict, so that nothing here hangs on how readings are judged."""
    months = {f"{verdict}_months": 3 for verdict in Verdict.values}
    return Policy.objects.create(organisation=cast.organisation, late_winter="", late_summer="", **months)


@pytest.fixture
def section(cast: Cast, policy: Policy) -> Section:
    own = factories.section(cast.organisation)
    # It came under care long before it was read.
    Section.objects.filter(pk=own.pk).update(entered_at=dt.datetime(2024, 1, 2, 12, tzinfo=dt.UTC))
    return own


def read(section: Section, day: dt.date) -> None:
    visit = Visit.objects.create(building=section.building, day=day, inspector=f"GH{factories.number()}")
    Reading.objects.create(
        building=section.building,
        section=section,
        visit=visit,
        taken_at=dt.datetime.combine(day, dt.time(12), section.building.zone),
        quantity="crack_width",
        value=0.4,
        entered_value="0.4",
        unit="mm",
    )


def planned(section: Section) -> Plan:
    reassess(section.building)
    return Plan.objects.get(section=section, paper=None)


def test_a_section_never_read_is_due_since_it_was_entered(section: Section) -> None:
    plan = planned(section)
    assert (plan.due_on, plan.reason, plan.last_on) == (dt.date(2024, 1, 2), "first", None)
    assert plan.minutes == 10


def test_a_visit_that_covers_it_settles_it(section: Section) -> None:
    other = factories.section(section.building.organisation, building=section.building)
    planned(section)
    read(section, TODAY)
    plan = planned(section)
    assert (plan.due_on, plan.reason, plan.last_on) == (dt.date(2024, 9, 20), "policy", TODAY)
    assert planned(other).reason == "first"
    assert Plan.objects.get(building=section.building, section=None).last_on == TODAY


def test_the_house_reports_a_flood(section: Section) -> None:
    read(section, dt.date(2024, 6, 1))
    flood = {"building": section.building, "happened_on": dt.date(2024, 6, 18), "kind": "flood"}
    factories.event(section.building.organisation, **flood, section=None)
    plan = planned(section)
    assert (plan.due_on, plan.reason) == (dt.date(2024, 7, 2), "event")
    assert Plan.objects.get(building=section.building, section=None).reason == "event"
    read(section, TODAY)
    assert planned(section).reason == "policy"


def test_a_flag_asks_for_a_look_until_it_is_answered(
    cast: Cast, section: Section, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(assess, "settle_flags", lambda *flags: None)
    read(section, TODAY)
    flag = Flag.objects.create(section=section, verdict="trapped_water", opened_on=TODAY)
    assert (planned(section).due_on, planned(section).reason) == (dt.date(2024, 7, 18), "flag")
    confirm_flag(flag=flag, organisation=cast.organisation, user=cast.owner, reason="it is wet behind")
    assert Reassessment.objects.filter(building=section.building).exists()
    assert planned(section).reason == "policy"


def test_work_is_followed_up(cast: Cast, section: Section) -> None:
    read(section, TODAY)
    days = {"done_on": dt.date(2024, 6, 1), "follow_up_on": dt.date(2024, 8, 1)}
    Action.objects.create(section=section, kind="patch", **days)
    assert (planned(section).due_on, planned(section).reason) == (dt.date(2024, 8, 1), "follow_up")


def test_the_policy_is_the_organisation_s_own(section: Section, policy: Policy) -> None:
    read(section, TODAY)
    Policy.objects.update(**{f"{verdict}_months": 1 for verdict in Verdict.values})
    assert planned(section).due_on == dt.date(2024, 7, 20)
    policy.delete()
    assert planned(section).due_on > dt.date(2024, 7, 20)


def test_papers_fall_due_until_they_are_closed(cast: Cast, section: Section) -> None:
    paper = factories.paper(cast.organisation, building=section.building, due_on=dt.date(2024, 7, 1))
    reassess(section.building)
    plan = Plan.objects.get(paper=paper)
    assert (plan.due_on, plan.reason, plan.minutes) == (dt.date(2024, 7, 1), "paper", None)
    type(paper).objects.filter(pk=paper.pk).update(state="closed", closed_on=TODAY)
    reassess(section.building)
    assert not Plan.objects.filter(paper=paper).exists()


class TestPostponing:
    def postponed(self, cast: Cast, section: Section, day: dt.date) -> Plan:
        return postpone_plan(
            plan=planned(section),
            organisation=cast.organisation,
            user=cast.owner,
            postponed_to=day,
            reason="no key",
        )

    def test_it_falls_on_the_later_day_and_stays_so(self, cast: Cast, section: Section) -> None:
        read(section, dt.date(2024, 3, 1))
        plan = self.postponed(cast, section, dt.date(2024, 7, 1))
        assert (plan.due_on, plan.falls_on) == (dt.date(2024, 6, 1), dt.date(2024, 7, 1))
        assert planned(section).falls_on == dt.date(2024, 7, 1)

    def test_the_visit_ends_it(self, cast: Cast, section: Section) -> None:
        read(section, dt.date(2024, 3, 1))
        self.postponed(cast, section, dt.date(2024, 12, 1))
        read(section, TODAY)
        plan = planned(section)
        assert (plan.falls_on, plan.postponed_reason) == (dt.date(2024, 9, 20), "")

    def test_so_does_what_is_more_urgent(self, cast: Cast, section: Section) -> None:
        read(section, dt.date(2024, 6, 1))
        self.postponed(cast, section, dt.date(2024, 12, 1))
        flood = {"building": section.building, "happened_on": dt.date(2024, 6, 18), "kind": "flood"}
        factories.event(cast.organisation, **flood, section=section)
        assert planned(section).falls_on == dt.date(2024, 7, 2)


def test_what_did_not_change_is_not_touched(section: Section, monkeypatch: pytest.MonkeyPatch) -> None:
    read(section, TODAY)
    before = planned(section).computed_at
    at(monkeypatch, dt.datetime(2024, 6, 21, 12, tzinfo=dt.UTC))
    assert planned(section).computed_at == before
    with CaptureQueriesContext(connection) as queries:
        reassess(section.building)
    written = [one["sql"] for one in queries if "inspections_plan" in one["sql"].split("WHERE")[0]]
    assert all(sql.startswith("SELECT") for sql in written)


def test_a_replay_tells_the_day_that_was_planned_then(cast: Cast, section: Section) -> None:
    read(section, dt.date(2024, 3, 1))
    read(section, TODAY)
    then = next(iter(assess_organisation(cast.organisation, as_of=dt.date(2024, 5, 1))))
    assert then.next_inspection == dt.date(2024, 6, 1)
    assert not Plan.objects.exists()


#: When clocks changed in 2024, in UTC, and the hours ahead of UTC from then on (IANA tz database).
OFFSETS = {
    "America/New_York": [("01-01T00", -5), ("03-10T07", -4), ("11-03T06", -5)],
    "Australia/Sydney": [("01-01T00", 11), ("04-06T16", 10), ("10-05T16", 11)],
}


@pytest.mark.parametrize("zone", OFFSETS)
def test_today_is_the_house_s_own_each_hour_of_a_year(monkeypatch: pytest.MonkeyPatch, zone: str) -> None:
    house = Building(timezone=zone)
    changes = [(dt.datetime.fromisoformat(f"2024-{at}:00+00:00"), hours) for at, hours in OFFSETS[zone]]
    for number in range(366 * 24):
        moment = changes[0][0] + dt.timedelta(hours=number)
        at(monkeypatch, moment)
        ahead = [hours for begins, hours in changes if begins <= moment][-1]
        assert today_at(house) == (moment + dt.timedelta(hours=ahead)).date()


@pytest.mark.parametrize("zone", OFFSETS)
def test_a_look_is_so_many_local_days_off_over_a_change_of_clocks(
    cast: Cast, section: Section, monkeypatch: pytest.MonkeyPatch, zone: str
) -> None:
    Building.objects.update(timezone=zone)
    section.building.refresh_from_db()
    house = section.building
    for begins in (dt.datetime.fromisoformat(f"2024-{at}:00+00:00") for at, _ in OFFSETS[zone][1:]):
        day = begins.astimezone(house.zone).date()
        Event.objects.all().delete()
        read(section, day - dt.timedelta(days=1))
        factories.event(cast.organisation, building=house, section=None, kind="flood", happened_on=day)
        midnight = dt.datetime.combine(day, dt.time(), house.zone).astimezone(dt.UTC)
        at(monkeypatch, midnight)
        assert planned(section).due_on == day + dt.timedelta(days=14)
        assert Plan.objects.get(section=section) not in overdue(cast.organisation)
        last_minute = dt.datetime.combine(day + dt.timedelta(days=15), dt.time(), house.zone)
        at(monkeypatch, last_minute.astimezone(dt.UTC) - dt.timedelta(minutes=1))
        assert Plan.objects.get(section=section) not in overdue(cast.organisation)
        at(monkeypatch, last_minute.astimezone(dt.UTC))
        assert Plan.objects.get(section=section) in overdue(cast.organisation)
