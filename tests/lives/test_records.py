"""From stored records to groups of coats: what is read, what is left out, and what a command says."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections.analysis.failures import FAILED, REMOVED, STANDING, lives
from inspections.analysis.records import YEAR
from inspections.domain.lasting import deterioration_rates, failure_rates, life_checks
from inspections.domain.lasting_lists import LISTS, Asked
from inspections.models import Allocation, Instrument, Reading, Trial, Visit
from inspections.queries.coat_walls import dampness
from inspections.queries.lives import CoatBook, coat_book
from inspections.vocabulary import coat_fields
from portfolio.models import Building, Event, Organisation, Section, Treatment
from tests.lives.simulated import Plan, simulate
from tests.lives.stored import store
from tests.support.cast import Cast

AS_OF = dt.date(2020, 1, 1)
PUT_ON = dt.date(2010, 6, 1)


def years(first: dt.date, last: dt.date) -> float:
    return (last - first).days / YEAR


@pytest.fixture
def section(cast: Cast) -> Section:
    building = Building.objects.create(
        organisation=cast.organisation, code="K1", timezone="Pacific/Auckland", locality="Marlow Bend"
    )
    return Section.objects.create(
        building=building, code="W1", length_m=5.0, height_m=2.0, substrate="brick", adjoins="soil"
    )


def coat(section: Section, **fields: Any) -> Treatment:
    given = {"layer": 1, "applied_on": PUT_ON, "kind": "parge_coat", "binder": "NHL 2", **fields}
    return Treatment.objects.create(section=section, **given)


def read(
    section: Section, day: dt.date, *, hollow: float | None, fallen: float | None, **fields: Any
) -> None:
    visit, _ = Visit.objects.get_or_create(building=section.building, day=day, inspector="GH")
    moment = dt.datetime.combine(day, dt.time(10), section.building.zone)
    for quantity, value in (("hollow_area", hollow), ("spall_area", fallen)):
        if value is not None:
            Reading.objects.create(
                building=section.building,
                section=section,
                visit=visit,
                taken_at=moment,
                quantity=quantity,
                value=value,
                entered_value=str(value),
                unit="m2",
                **fields,
            )


def book(cast: Cast, **asked: Any) -> CoatBook:
    return coat_book(cast.organisation, **{"as_of": AS_OF, **asked})


def test_a_coat_with_its_areas_and_what_was_mended(cast: Cast, section: Section) -> None:
    coat(section)
    read(section, dt.date(2012, 6, 1), hollow=0.5, fallen=0.1)
    Event.objects.create(
        building=section.building, section=section, happened_on="2012-07-01", kind="repair", area_m2=0.6
    )
    read(section, dt.date(2014, 6, 1), hollow=0.5, fallen=0.2)
    found = book(cast).lives
    assert found.state.tolist() == [FAILED]
    assert found.low[0] == pytest.approx(years(PUT_ON, dt.date(2012, 6, 1)))
    assert found.high[0] == pytest.approx(years(PUT_ON, dt.date(2014, 6, 1)))


def test_a_patch_and_its_repair_are_one_piece_of_work(cast: Cast, section: Section) -> None:
    coat(section)
    read(section, dt.date(2012, 6, 1), hollow=0.4, fallen=0.0)
    day = dt.date(2012, 7, 1)
    where = {"building": section.building, "section": section}
    Event.objects.create(**where, happened_on=day, kind="repair", area_m2=0.4, cost=90, currency="EUR")
    coat(section, layer=2, purpose="patch", applied_on=day, area_m2=0.4, cost=90, currency="EUR")
    read(section, dt.date(2014, 6, 1), hollow=0.5, fallen=0.0)
    found = book(cast)
    assert found.lives.state.tolist() == [STANDING]
    assert found.lives.lost[0] == pytest.approx(0.09)
    assert found.payments.amount.tolist() == [90.0]


def test_the_coats_own_area_comes_before_the_walls(cast: Cast, section: Section) -> None:
    coat(section, area_m2=4.0)
    read(section, dt.date(2014, 6, 1), hollow=0.5, fallen=0.0)
    assert book(cast).lives.state.tolist() == [FAILED]


def test_without_an_area_nothing_is_known_of_the_share(cast: Cast, section: Section) -> None:
    Section.objects.update(length_m=None)
    coat(section)
    read(section, dt.date(2014, 6, 1), hollow=0.5, fallen=0.0)
    found = book(cast).lives
    assert found.state.tolist() == [STANDING]
    assert found.years[0] == 0


def test_as_of_uses_nothing_later(cast: Cast, section: Section) -> None:
    coat(section, removed_on="2016-06-01", removal_reason="failed")
    coat(section, applied_on="2016-06-10")
    read(section, dt.date(2012, 6, 1), hollow=0.0, fallen=0.1)
    read(section, dt.date(2014, 6, 1), hollow=1.5, fallen=0.1)
    seen = dt.date(2012, 6, 1)
    for day, states in (
        (dt.date(2010, 5, 31), []),
        (seen - dt.timedelta(1), [STANDING]),
        (seen, [STANDING]),
        (dt.date(2014, 5, 31), [STANDING]),
        (dt.date(2014, 6, 1), [FAILED]),
        (dt.date(2016, 6, 10), [FAILED, STANDING]),
    ):
        assert book(cast, as_of=day).lives.state.tolist() == states
    assert book(cast, as_of=seen).lives.years[0] == pytest.approx(years(PUT_ON, seen))
    # Taken off as failed the day after: not known yet on the day before.
    Reading.objects.all().delete()
    assert book(cast, as_of=dt.date(2016, 5, 31)).lives.state.tolist() == [STANDING]
    assert book(cast, as_of=dt.date(2016, 6, 1)).lives.state.tolist() == [FAILED]


def test_what_is_voided_or_another_organisations_is_left_out(cast: Cast, section: Section) -> None:
    coat(section)
    read(section, dt.date(2014, 6, 1), hollow=2.0, fallen=0.0)
    assert coat_book(cast.other_organisation).lives.state.tolist() == []
    Reading.objects.filter(quantity="hollow_area").update(voided_at=dt.datetime.now(dt.UTC))
    assert book(cast).lives.state.tolist() == [STANDING]
    Section.objects.update(voided_at=dt.datetime.now(dt.UTC))
    assert book(cast).lives.state.tolist() == []


def test_repeats_and_readings_beyond_the_scale_are_no_area(cast: Cast, section: Section) -> None:
    coat(section)
    meter = Instrument.objects.create(
        organisation=cast.organisation, code="G1", kind="camera", scale="ft2", minimum=0, maximum=20
    )
    read(section, dt.date(2012, 6, 1), hollow=0.6, fallen=0.0)
    read(section, dt.date(2012, 6, 1), hollow=0.6, fallen=None, replicate=2)
    read(section, dt.date(2013, 6, 1), hollow=2.0, fallen=0.0, instrument=meter)
    found = book(cast).lives
    assert found.state.tolist() == [STANDING]
    assert found.low[0] == pytest.approx(years(PUT_ON, dt.date(2012, 6, 1)))


def test_the_organisations_own_threshold(cast: Cast, section: Section) -> None:
    coat(section)
    read(section, dt.date(2012, 6, 1), hollow=2.0, fallen=0.0)
    Organisation.objects.filter(pk=cast.organisation.pk).update(failure_threshold=0.25)
    cast.organisation.refresh_from_db()
    assert book(cast).lives.state.tolist() == [STANDING]


def test_groups(cast: Cast, section: Section) -> None:
    coat(section, mix="", removed_on="2014-01-01", removal_reason="planned")
    coat(section, applied_on="2014-01-01", binder="lime_putty", mix="1:3")
    trial = Trial.objects.create(
        organisation=cast.organisation, code="T1", outcome="radon", started_on="2014-01-01"
    )
    Allocation.objects.create(trial=trial, section=section, arm="A", allocated_by="random")
    by = ("binder", "mix", "substrate", "building", "locality", "found", "trial", "arm")
    assert book(cast, by=by).group == [
        ("NHL 2", None, "brick", "K1", "Marlow Bend", "no", None, None),
        ("lime_putty", "1:3", "brick", "K1", "Marlow Bend", "no", "T1", "A"),
    ]
    assert book(cast).lives.state.tolist() == [REMOVED, STANDING]


def test_the_innermost_layers_purpose_says_how_a_coat_fails(cast: Cast, section: Section) -> None:
    coat(section, purpose="sacrificial")
    coat(section, layer=2, kind="limewash", binder="CL 90")
    read(section, dt.date(2012, 6, 1), hollow=5.0, fallen=0.5)
    assert book(cast).lives.state.tolist() == [STANDING]
    assert "1 is sacrificial" in failure_rates(cast.organisation, as_of=AS_OF).groups[0].note
    Treatment.objects.filter(layer=1).update(purpose="permanent")
    Treatment.objects.filter(layer=2).update(purpose="sacrificial")
    assert book(cast).lives.state.tolist() == [FAILED]


def test_only_the_chosen_coats(cast: Cast, section: Section) -> None:
    coat(section, removed_on="2014-01-01", cost=100, currency="EUR")
    coat(section, applied_on="2014-01-01", binder="lime_putty", cost=200, currency="EUR")
    chosen = Treatment.objects.filter(binder="lime_putty")
    found = book(cast, by=("binder",), chosen=chosen)
    assert found.group == [("lime_putty",)]
    assert len(found.lives.state) == len(found.coats) == len(found.house) == 1
    assert found.payments.amount.tolist() == [200.0]


def test_under_five_coats_keep_every_key(cast: Cast, section: Section) -> None:
    coat(section)
    group = failure_rates(cast.organisation, as_of=AS_OF).as_json()["groups"][0]
    assert group == {
        "group": {"binder": "NHL 2"},
        "coats": 1,
        "section_years": 0.0,
        "failures": 0,
        "rate": {"per_100_section_years": None, "low": None, "high": None},
        "survival": [],
        "median_life": {"years": None, "low": None, "high": None},
        "weibull": {
            "shape": {"estimate": None, "low": None, "high": None},
            "scale": {"estimate": None, "low": None, "high": None},
            "median": {"estimate": None, "low": None, "high": None},
        },
        "note": "Too few: under five coats tell no rate. "
        "1 was never sounded and measured in full, and adds no years.",
    }


def test_no_coats_at_all(cast: Cast) -> None:
    found = failure_rates(cast.organisation).as_json()
    assert found["groups"] == []
    assert found["test"]["p_value"] is None
    assert deterioration_rates(cast.organisation)[1] == ()


def test_stored_books_give_what_the_arrays_give_in_few_queries(cast: Cast) -> None:
    simulated = simulate(Plan(coats=60, planned=0.2), 5)
    store(simulated, cast.organisation)
    as_of = dt.date(2030, 1, 1)
    with CaptureQueriesContext(connection) as queries:
        found = coat_book(cast.organisation, ("binder", "trial"), as_of)
    assert len(queries) <= 10
    direct = lives(simulated.coats, simulated.areas, simulated.mended, 0.10)
    for name in ("entry", "low", "high", "years", "lost", "watched"):
        np.testing.assert_allclose(getattr(found.lives, name), getattr(direct, name), err_msg=name)
    result = failure_rates(cast.organisation, as_of=as_of).as_json()
    json.dumps(result, allow_nan=False)
    names = [group["group"]["binder"] for group in result["groups"]]
    assert names == ["NHL 3.5", "lime_putty", "portland_cement"]
    assert sum(group["coats"] for group in result["groups"]) == int(direct.at_risk.sum())
    assert sum(group["section_years"] for group in result["groups"]) == pytest.approx(direct.years.sum())
    for group in result["groups"]:
        rate, shape = group["rate"], group["weibull"]["shape"]
        assert rate["low"] < rate["per_100_section_years"] < rate["high"]
        assert shape["low"] < shape["estimate"] < shape["high"]
        curve = [point["survival"] for point in group["survival"]]
        assert curve == sorted(curve, reverse=True)
        assert [point["years"] for point in group["survival"]] == [one + 1.0 for one in range(len(curve))]
    assert result["test"]["df"] == 2
    _, losses = deterioration_rates(cast.organisation, as_of=as_of)
    for loss in losses:
        assert loss.rate_per_year.low < loss.rate_per_year.estimate < loss.rate_per_year.high


def damp(section: Section, day: dt.date, value: float, **fields: Any) -> Reading:
    visit, _ = Visit.objects.get_or_create(building=section.building, day=day, inspector="GH")
    given = {"quantity": "surface_moisture", "unit": "relative", "height_mm": 900.0, **fields}
    return Reading.objects.create(
        building=section.building,
        section=section,
        visit=visit,
        taken_at=dt.datetime.combine(day, dt.time(10), section.building.zone),
        value=value,
        entered_value=str(value),
        **given,
    )


def test_how_damp_a_wall_was_before_its_coat(cast: Cast, section: Section) -> None:
    """Ranked among the walls of its house that were read on that day at that height, coated or not."""
    others = [
        Section.objects.create(building=section.building, code=f"W{one}", length_m=5.0, height_m=2.0)
        for one in (2, 3)
    ]
    coat(section)
    coat(others[0], found=True)
    before = PUT_ON - dt.timedelta(200)
    for wall, value in zip((section, *others), (61.0, 40.0, 50.0), strict=True):
        damp(wall, before, value)
        # What was read afterwards, of another quantity, or at other heights of each tells nothing.
        damp(wall, PUT_ON + dt.timedelta(300), 99.0 - value)
    damp(section, before, 3.0, height_mm=100.0)
    known = dampness(cast.organisation, book(cast))
    assert known[0] == pytest.approx(0.869, abs=1e-3)
    assert np.isnan(known[1])
    # As of a day before the readings, and of another organisation, nothing is known.
    assert np.isnan(dampness(cast.other_organisation, book(cast))).all()
    # A reading beyond the scale is the wettest, whatever its number.
    Reading.objects.filter(section=others[0], visit__day=before).update(value=5.0, qualifier=">")
    assert dampness(cast.organisation, book(cast))[0] == pytest.approx(0.0, abs=1e-9)
    Reading.objects.filter(section=others[1]).update(voided_at=dt.datetime.now(dt.UTC))
    assert np.isnan(dampness(cast.organisation, book(cast))).all()


def test_why_a_visit_was_made_and_a_coat_taken_off(cast: Cast, section: Section) -> None:
    coat(section, removed_on="2016-06-01", removal_reason="planned", thickness_mm=15)
    coat(section, applied_on="2016-06-10", removed_on="2018-06-01", removal_reason="")
    coat(section, applied_on="2018-06-10", removed_on="2019-06-01", removal_reason="damage")
    read(section, dt.date(2012, 6, 1), hollow=0.2, fallen=0.1)
    read(section, dt.date(2014, 6, 1), hollow=0.3, fallen=0.1)
    Visit.objects.filter(day="2014-06-01").update(reason="flag", revision=2)
    found = book(cast)
    assert found.coats.planned.tolist() == [True, True, False]
    assert found.areas.prompted.tolist() == [False, False, True, True]
    assert found.thickness.tolist()[0] == 15
    assert np.isnan(found.thickness[1:]).all()
    checks = {one.case: one for one in life_checks(cast.organisation, (), AS_OF)[1]}
    assert checks["removals_failed"].touched == 2
    assert checks["planned_visits"].touched == 2
    # Another reason is another answer.
    Visit.objects.update(reason="plan", revision=3)
    checks = {one.case: one for one in life_checks(cast.organisation, (), AS_OF)[1]}
    assert "no visit is marked" in checks["planned_visits"].note


def test_rounds_are_those_of_the_house_whichever_coats_are_asked_for(cast: Cast, section: Section) -> None:
    """A visit to one of four walls is no round, though it is to all of the chosen coats."""
    walls = [section]
    for one in range(2, 5):
        walls.append(
            Section.objects.create(building=section.building, code=f"W{one}", length_m=5.0, height_m=2.0)
        )
    for one in walls:
        coat(one, binder="NHL 2" if one == section else "lime_putty")
        read(one, dt.date(2012, 6, 1), hollow=0.2, fallen=0.1)
    read(section, dt.date(2013, 6, 1), hollow=0.2, fallen=0.1)
    chosen = Treatment.objects.filter(binder="NHL 2")
    checks = {one.case: one for one in life_checks(cast.organisation, (), AS_OF, chosen)[1]}
    assert checks["planned_visits"].touched == 2


@pytest.mark.parametrize("name", sorted(LISTS))
def test_the_command_gives_the_lists_of_the_api(cast: Cast, tmp_path: Path, name: str) -> None:
    store(simulate(Plan(coats=36), 7), cast.organisation)
    out = tmp_path / "list.json"
    options = ["--organisation=larch-row", "--by=binder", f"--list={name}", "--as-of=2030-01-01"]
    call_command("failure_rates", *options, f"--output={out}")
    found = json.loads(out.read_text())
    asked = Asked(cast.organisation, ("binder",), dt.date(2030, 1, 1))
    assert found == {"as_of": "2030-01-01", "results": LISTS[name](asked)[1]}
    assert found["results"]


def test_the_command_writes_the_file(cast: Cast, section: Section, tmp_path: Path) -> None:
    coat(section)
    out = tmp_path / "rates.json"
    call_command(
        "failure_rates",
        "--organisation=larch-row",
        "--by=binder,kind",
        "--as-of=2015-01-01",
        f"--output={out}",
    )
    found = json.loads(out.read_text())
    assert (found["as_of"], found["threshold"]) == ("2015-01-01", 0.1)
    assert found["groups"][0]["group"] == {"binder": "NHL 2", "kind": "parge_coat"}


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--organisation=nobody", "--by=binder"], "There is no organisation 'nobody'"),
        (
            ["--organisation=larch-row", "--by=colour"],
            "--by: 'colour' is nothing that coats are grouped by; there",
        ),
        (["--organisation=larch-row", "--by=binder,binder"], "--by: Name each field once."),
        (["--organisation=larch-row", "--by="], "--by: '' is nothing that coats are grouped by"),
        (["--organisation=larch-row", "--by=binder", "--as-of=soon"], "--as-of: 'soon' is not a date"),
        (["--organisation=larch-row", "--by=binder", "--output=/nowhere/at/all"], "can't be written"),
    ],
)
def test_the_command_says_what_is_wrong(cast: Cast, options: list[str], message: str) -> None:
    with pytest.raises(CommandError, match=message.replace("(", r"\(")):
        call_command("failure_rates", *options)


def test_fields_may_be_spaced() -> None:
    assert coat_fields("binder, substrate") == ("binder", "substrate")


def test_an_answer_is_kept_until_a_record_changes(cast: Cast, section: Section) -> None:
    layer = coat(section)
    read(section, dt.date(2012, 6, 1), hollow=0.1, fallen=0.0)
    first = failure_rates(cast.organisation, as_of=AS_OF)
    with CaptureQueriesContext(connection) as queries:
        assert failure_rates(cast.organisation, as_of=AS_OF) == first
    assert all("COUNT" in query["sql"] for query in queries)
    # A correction, a new reading, a voided one and another threshold each make it anew.
    Reading.objects.filter(quantity="hollow_area").update(value=2.0, revision=2)
    assert failure_rates(cast.organisation, as_of=AS_OF).groups[0].failures == 1
    Treatment.objects.filter(pk=layer.pk).update(binder="NHL 5", revision=2)
    assert failure_rates(cast.organisation, as_of=AS_OF).groups[0].group == {"binder": "NHL 5"}
    read(section, dt.date(2011, 6, 1), hollow=0.0, fallen=0.0)
    again = failure_rates(cast.organisation, as_of=AS_OF)
    assert again.groups[0].section_years > first.groups[0].section_years - 1
    cast.organisation.failure_threshold = 0.5
    cast.organisation.save()
    assert failure_rates(cast.organisation, as_of=AS_OF).groups[0].failures == 0
    # Other questions have other answers.
    assert failure_rates(cast.organisation, ("kind",), AS_OF).groups[0].group == {"kind": "parge_coat"}
    nothing = Treatment.objects.filter(binder="clay")
    assert failure_rates(cast.organisation, as_of=AS_OF, chosen=nothing).groups == ()
    assert failure_rates(cast.other_organisation, as_of=AS_OF).groups == ()
