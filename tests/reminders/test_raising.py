"""Who is told of what, and when: at each stage once, and the higher up the longer it waits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from inspections.domain.telling.raising import raise_all, raise_dangers, raise_reminders
from inspections.models import Flag, Plan, Reminder, TellingRules
from inspections.vocabulary import Delivery, Stage
from portfolio.models import Building, Organisation
from tests.api import factories
from tests.reminders.houses import DAY, NOW, TODAY, due, person_of, told
from tests.support.cast import Cast

EVERYBODY = ("inspector", "manager", "owner")


def who(stage: str) -> tuple[str, ...]:
    rows = Reminder.objects.filter(stage=stage).order_by("person__username")
    return tuple(rows.values_list("person__username", flat=True))


class TestPlans:
    @pytest.mark.parametrize(
        ("days", "stage", "people_told"),
        [
            (8, None, ()),
            (7, "before", ("inspector",)),
            (1, "before", ("inspector",)),
            (0, "on", ("inspector",)),
            (-6, "on", ("inspector",)),
            (-7, "after", ("inspector", "manager")),
            (-29, "after", ("inspector", "manager")),
            (-30, "later", EVERYBODY),
            (-3000, "later", EVERYBODY),
        ],
    )
    def test_reach_grows_with_the_wait(
        self, people: Cast, days: int, stage: str | None, people_told: tuple[str, ...]
    ) -> None:
        due(people.organisation, days)
        assert raise_all(NOW) == len(people_told)
        assert told() == [(name, stage, "due") for name in people_told]
        assert raise_all(NOW) == 0

    def test_each_stage_comes_once_as_time_goes_by(self, people: Cast) -> None:
        due(people.organisation, 10)
        raised = [raise_all(NOW + day * DAY) for day in range(42)]
        assert {day: count for day, count in enumerate(raised) if count} == {3: 1, 10: 1, 17: 2, 40: 3}

    def test_a_postponed_one_is_due_when_it_was_put_off_to(self, people: Cast) -> None:
        due(people.organisation, -5, postponed_to=TODAY + 5 * DAY, postponed_reason="frost")
        raise_all(NOW)
        assert Reminder.objects.get().day == TODAY + 5 * DAY
        assert who("before") == ("inspector",)

    def test_a_day_that_is_reckoned_anew_is_no_new_thing_to_tell(self, people: Cast) -> None:
        plan = due(people.organisation, 5)
        for day in range(14):
            raise_all(NOW + day * DAY)
            Plan.objects.filter(pk=plan.pk).update(due_on=TODAY + (day + 5) * DAY)
        assert who("before") == ("inspector",)
        assert Reminder.objects.count() == 1

    def test_an_inspection_that_was_made_begins_anew(self, people: Cast) -> None:
        plan = due(people.organisation, 0)
        raise_all(NOW)
        Plan.objects.filter(pk=plan.pk).update(due_on=TODAY + 180 * DAY)
        raise_all(NOW + 173 * DAY)
        assert told() == [("inspector", "before", "due"), ("inspector", "on", "due")]

    def test_it_is_due_by_the_houses_own_day(self, people: Cast) -> None:
        """At noon in UTC it is the next day in Kiritimati (UTC+14), and still the same in Honolulu."""
        ahead = factories.building(people.organisation, timezone="Pacific/Kiritimati")
        behind = factories.building(people.organisation, timezone="Pacific/Honolulu")
        for house in (ahead, behind):
            factories.plan(people.organisation, building=house, section=None, due_on=TODAY + DAY)
        raise_all(NOW)
        assert {row.building: row.stage for row in Reminder.objects.all()} == {ahead: "on", behind: "before"}

    def test_where_nobody_holds_the_role_the_next_one_up_is_told(self, people: Cast) -> None:
        organisation = Organisation.objects.create(slug="one", name="One (invented)")
        landlord = person_of(organisation, "owner")
        due(organisation, 0)
        raise_reminders(organisation, NOW)
        assert [row.person for row in Reminder.objects.all()] == [landlord]

    @pytest.mark.parametrize("voided", ["section", "building"])
    def test_what_was_voided_is_not_told(self, people: Cast, voided: str) -> None:
        plan = due(people.organisation, 0)
        type(getattr(plan, voided)).objects.update(voided_at=NOW)
        assert raise_all(NOW) == 0

    def test_the_organisations_rules_hold(self, people: Cast) -> None:
        TellingRules.objects.create(organisation=people.organisation, before_days=20, before_reach="owner")
        due(people.organisation, 20)
        raise_all(NOW)
        assert who("before") == EVERYBODY
        TellingRules.objects.update(is_on=False)
        due(people.organisation, 0)
        assert raise_all(NOW) == 0

    def test_nobody_of_another_organisation_is_told(self, people: Cast) -> None:
        due(people.other_organisation, -100)
        raise_all(NOW)
        assert who("later") == ("outsider",)
        assert Reminder.objects.get().organisation == people.other_organisation


def flag_of(people: Cast, opened: int, chance: float = 0.7, **fields: Any) -> Flag:
    """A flag opened so many days ago."""
    found = factories.assessment(people.organisation, trapped=chance, as_of=TODAY)
    return Flag.objects.create(
        section=found.section,
        verdict=found.verdict,
        opened_on=TODAY - opened * DAY,
        opened_by=found,
        **fields,
    )


def assess(flag: Flag, chance: float) -> None:
    found = flag.section.assessments.get(current=True)
    found.result["probability"]["trapped_water"] = chance
    found.as_of += DAY
    found.save()


class TestFlags:
    def test_a_new_one_is_told_and_one_left_unanswered_again_higher_up(self, people: Cast) -> None:
        flag = flag_of(people, 0)
        assert [raise_all(NOW + day * DAY) for day in range(9)] == [2, 0, 0, 0, 0, 0, 0, 3, 0]
        assert (who("opened"), who("unanswered")) == (("inspector", "manager"), EVERYBODY)
        assert {row.subject_id for row in Reminder.objects.all()} == {flag.pk}

    def test_an_old_one_is_told_as_unanswered_alone(self, people: Cast) -> None:
        flag_of(people, 100)
        raise_all(NOW)
        assert (who("opened"), who("unanswered")) == ((), EVERYBODY)

    @pytest.mark.parametrize("state", ["acknowledged", "dismissed", "closed"])
    def test_an_answered_one_is_not(self, people: Cast, state: str) -> None:
        closed = {"closed_on": TODAY} if state == "closed" else {}
        flag_of(people, 10, state=state, reason="looked", **closed)
        assert raise_all(NOW) == 0

    def test_it_is_worse_when_the_odds_against_it_fall_to_a_third(self, people: Cast) -> None:
        """Odds against: 0.6 → 2/3; 0.8 → 1/4 (more than a third of it), 0.82 → 0.2195 (less)."""
        flag = flag_of(people, 0, 0.6)
        raise_all(NOW)
        for chance, worse in ((0.8, 0), (0.82, 2), (0.83, 0), (0.7, 0), (0.94, 2)):
            assess(flag, chance)
            assert raise_all(NOW) == worse, chance

    def test_a_confirmed_one_that_gets_worse_is_told(self, people: Cast) -> None:
        flag = flag_of(people, 0, 0.6)
        raise_all(NOW)
        Flag.objects.update(state="confirmed", reason="seen")
        assess(flag, 0.95)
        raise_all(NOW)
        assert who("worse") == ("inspector", "manager")


def read(people: Cast, quantity: str, value: float, *, hours: float = 0, **fields: Any) -> Any:
    """A reading of a house as a whole, so many hours before now."""
    house = fields.pop("building", None) or factories.building(people.organisation)
    taken = NOW - dt.timedelta(hours=hours)
    visit = factories.visit(
        people.organisation, building=house, day=taken.date(), inspector=str(factories.number())
    )
    where = factories.section(people.organisation, building=house)
    reading = factories.reading(
        people.organisation, section=where, quantity=quantity, value=value, taken_at=taken, **fields
    )
    reading.section, reading.visit = None, visit
    reading.save()
    return reading


class TestDangers:
    """Radon from 4 pCi/L on, which is 148 Bq/m³ (US EPA, A Citizen's Guide to Radon, EPA 402/K-12/002)."""

    @pytest.mark.parametrize(
        ("value", "qualifier", "is_told"),
        [(147.9, "", 0), (148.0, "", 3), (900.0, "", 3), (200.0, ">", 3), (100.0, ">", 0), (200.0, "<", 0)],
    )
    def test_radon(self, people: Cast, value: float, qualifier: str, is_told: int) -> None:
        read(people, "radon", value, qualifier=qualifier)
        assert raise_dangers(NOW) == is_told
        assert set(Reminder.objects.values_list("urgent", "due_at")) <= {(True, NOW)}
        assert raise_all(NOW) == 0

    def test_a_reading_of_long_ago_or_a_voided_one_is_not_told(self, people: Cast) -> None:
        read(people, "radon", 900.0, hours=24 * 15)
        read(people, "radon", 900.0, voided_at=NOW)
        assert raise_dangers(NOW) == 0

    @pytest.mark.parametrize(
        ("starts", "levels", "is_told"),
        [
            (0, [100, 110], 3),
            (0, [100, 109], 0),
            (0, [110, 100], 0),
            (0, [100], 0),
            (0, [], 0),
            (1, [100, 300], 0),
        ],
    )
    def test_a_sump_that_stands_still_in_rising_water(
        self, people: Cast, starts: int, levels: list[float], is_told: int
    ) -> None:
        house = factories.building(people.organisation)
        for nth, level in enumerate(levels):
            read(people, "water_level", level, hours=10 - nth, building=house)
        read(people, "water_level", 900, hours=1)
        read(people, "sump_starts", starts, building=house)
        assert raise_dangers(NOW) == is_told

    def test_levels_of_two_places_are_not_mixed(self, people: Cast) -> None:
        house = factories.building(people.organisation)
        for hours, level, point in ((9, 100, "pit"), (8, 300, "well"), (7, 100, "pit"), (6, 300, "well")):
            read(people, "water_level", level, hours=hours, building=house, point=point)
        read(people, "sump_starts", 0, building=house)
        assert raise_dangers(NOW) == 0


def test_rows_are_the_same_whoever_raises_them_first(people: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two schedulers that have both looked before either has written."""
    from inspections.domain.telling import raising

    due(people.organisation, -40)
    usual: Callable[..., Any] = raising._reminders

    def overtaken(*arguments: Any) -> list[Reminder]:
        rows = list(usual(*arguments))
        monkeypatch.setattr(raising, "_reminders", usual)
        assert raise_all(NOW) == 3
        return rows

    monkeypatch.setattr(raising, "_reminders", overtaken)
    assert raise_all(NOW) == 0
    assert Reminder.objects.filter(stage=Stage.LATER, state=Delivery.DUE).count() == 3


def test_many_walls_cost_no_more_queries_than_few(
    people: Cast, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    house = factories.building(people.organisation)
    for _ in range(30):
        wall = factories.section(people.organisation, building=house)
        Plan.objects.create(building=house, section=wall, due_on=TODAY, reason="policy")
    with django_assert_max_num_queries(20):
        raise_reminders(people.organisation, NOW)
    assert Building.objects.count() == 1
    assert Reminder.objects.count() == 30


class TestWhoGoes:
    def test_of_the_inspectors_only_who_is_to_go_is_told(self, people: Cast) -> None:
        other = person_of(people.organisation, "inspector")
        due(people.organisation, -7, person=other)
        raise_all(NOW)
        assert who("after") == ("manager", other.username)

    def test_who_is_to_go_is_told_whatever_their_role(self, people: Cast) -> None:
        due(people.organisation, 0, person=people.owner)
        raise_all(NOW)
        assert who("on") == ("owner",)

    def test_who_has_left_is_not(self, people: Cast) -> None:
        due(people.organisation, 0, person=people.outsider)
        raise_all(NOW)
        assert who("on") == ("inspector",)
