"""The latest level of each area of many sections, against the rule said plainly over all readings."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from inspections.models import Reading, Visit
from inspections.queries.pages import AreaLevel, latest_areas
from portfolio.models import Section
from tests.api import factories
from tests.support.cast import Cast

FIRST = dt.datetime(2023, 5, 1, 9, tzinfo=dt.UTC)
AREAS = ("hollow_area", "spall_area", "salt_area")


def surveyed(cast: Cast) -> Section:
    """A section read on three days: twice a day, once only as a bound, and once what was wrong."""
    wall = factories.section(cast.organisation)
    visits = [
        Visit.objects.create(
            building=wall.building, day=FIRST.date() + dt.timedelta(days=one), inspector="GH"
        )
        for one in range(3)
    ]
    for day, quantity, value, further in (
        (0, "hollow_area", 0.1, {}),
        (1, "hollow_area", 0.2, {}),
        (1, "hollow_area", 0.7, {"height_mm": 1500}),
        (2, "hollow_area", 0.9, {"qualifier": ">"}),
        (0, "salt_area", 2.0, {}),
        (2, "salt_area", 9.0, {"voided_at": timezone.now(), "void_reason": "another wall"}),
        (2, "crack_width", 1.0, {}),
    ):
        Reading.objects.create(
            **{"building": wall.building, "section": wall, "visit": visits[day], "quantity": quantity}
            | {"taken_at": FIRST + dt.timedelta(days=day), "value": value, "entered_value": str(value)}
            | {"unit": "mm" if quantity == "crack_width" else "m2"}
            | further
        )
    return wall


def plainly(section: Section) -> dict[str, AreaLevel]:
    """All of the section's readings, one after the other."""
    levels: dict[str, AreaLevel] = {}
    own = [one for one in Reading.objects.filter(section=section) if not one.qualifier and not one.voided_at]
    for quantity in AREAS:
        of = [(one.visit.day, one.value) for one in own if one.quantity == quantity]
        if of:
            last = max(day for day, _ in of)
            levels[quantity] = AreaLevel(last, sum(value for day, value in of if day == last))
    return levels


def test_each_area_is_summed_over_its_own_last_day(cast: Cast) -> None:
    walls = [surveyed(cast), surveyed(cast)]
    bare = factories.section(cast.organisation)
    found = latest_areas(cast.organisation, [*walls, bare])
    assert found == {wall.pk: plainly(wall) for wall in walls}
    assert found[walls[0].pk]["hollow_area"] == AreaLevel(dt.date(2023, 5, 2), 0.2 + 0.7)
    assert found[walls[0].pk]["salt_area"].day == dt.date(2023, 5, 1)


def test_another_organisation_s_sections_tell_nothing(cast: Cast) -> None:
    wall = surveyed(cast)
    assert latest_areas(cast.other_organisation, [wall]) == {}
