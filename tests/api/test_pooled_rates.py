"""Rates beside those of sections alike: the page's numbers, for programs."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inspections.domain.alike import drawn_rates
from inspections.queries.alike import likeness_of
from portfolio.models import Section, Treatment
from tests.api import factories
from tests.api.client import ROOT, Program, assert_problem, validator
from tests.support.cast import Cast

LIST = "pooled-rates/"
#: Each section's own rate in the factories' result is 4.1 a year, 3.0 to 5.2; these are added.
GROUP = ("low", "high", "sections", "houses", "mean", "mean_error", "between_sd", "house_sd")
SHIFTS = (-1.0, -0.5, 0.0, 0.2, 0.7, 1.5)


@pytest.fixture
def sections(cast: Cast) -> list[Section]:
    """Six sections with one coat, three to a house, and one with another coat."""
    found: list[Section] = []
    for number, shift in enumerate((*SHIFTS, 0.0)):
        house = found[-1].building if number % 3 else None
        wall = factories.section(cast.organisation, **({"building": house} if house else {}))
        made = factories.assessment(cast.organisation, where=wall)
        for name in ("rate_per_year", "low", "high"):
            made.result["trends"]["deep_moisture"][name] += shift
        made.result["trends"]["deep_moisture"]["unit"] = "percent_wme"
        made.save()
        binder = "NHL 2" if number == len(SHIFTS) else "portland_cement"
        Treatment.objects.create(
            section=wall, layer=1, kind="parge_coat", binder=binder, applied_on=dt.date(2015, 1, 1)
        )
        found.append(wall)
    return found


@pytest.fixture
def analyst(cast: Cast) -> Program:
    return Program(cast.analyst, cast.organisation)


def test_own_and_pooled_rates_with_their_group(cast: Cast, analyst: Program, sections: list[Section]) -> None:
    rows = {row["section_id"]: row for row in analyst.results(LIST)}
    assert set(rows) == {str(one.pk) for one in sections}
    for row in rows.values():
        validator({"$ref": "#/components/schemas/PooledRates"}).validate(row)
    keys = [one.pk for one in sections]
    told = drawn_rates(cast.organisation, likeness_of(cast.organisation, keys, dt.date(2025, 1, 1)))
    for key in keys:
        alike = told[key].get("deep_moisture")
        pooled = rows[str(key)]["rates"]["deep_moisture"]["pooled"]
        assert pooled == (alike and {"rate_per_year": alike.rate} | {n: getattr(alike, n) for n in GROUP})
    first, odd = (rows[str(keys[i])] for i in (0, -1))
    assert first["group"] == {"kind": "parge_coat", "binder": "portland_cement", "adjoins": "soil"}
    rate = first["rates"]["deep_moisture"]
    assert rate["own"]["rate_per_year"] == pytest.approx(3.1)
    assert rate["own"]["rate_per_year"] < rate["pooled"]["rate_per_year"] < rate["pooled"]["mean"]
    assert (rate["pooled"]["sections"], rate["pooled"]["houses"]) == (6, 2)
    assert odd["rates"]["deep_moisture"]["pooled"] is None
    assert odd["rates"]["deep_moisture"]["own"]["rate_per_year"] == pytest.approx(4.1)


def test_pages_filters_and_csv(analyst: Program, sections: list[Section]) -> None:
    first = json.loads(analyst.get(f"{LIST}?page_size=4").content)
    rest = json.loads(analyst.get(first["next"].split(ROOT)[1]).content)
    whole = analyst.results(LIST)
    assert first["results"] + rest["results"] == whole
    assert rest["next"] is None
    assert [row["section_id"] for row in analyst.results(f"{LIST}?binder=NHL 2")] == [str(sections[-1].pk)]
    house = sections[0].building.code
    assert len(analyst.results(f"{LIST}?building={house}")) == 3
    assert len(analyst.results(f"{LIST}?adjoins=street")) == 0
    lines = list(csv.DictReader(io.StringIO(analyst.get(f"{LIST}?format=csv").content.decode())))
    assert len(lines) == len(whole)
    for line, row in zip(lines, whole, strict=True):
        assert line["group.binder"] == row["group"]["binder"]
        pooled = row["rates"]["deep_moisture"]["pooled"]
        assert line["rates.deep_moisture.pooled.mean"] == (str(pooled["mean"]) if pooled else "")


def test_a_page_asks_as_often_however_many_it_holds(analyst: Program, sections: list[Section]) -> None:
    counts = []
    for size in (1, 7):
        with CaptureQueriesContext(connection) as queries:
            analyst.get(f"{LIST}?page_size={size}")
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_who_reads_and_what_is_refused(cast: Cast, analyst: Program, sections: list[Section]) -> None:
    assert Program(cast.outsider, cast.other_organisation).results(LIST) == []
    assert_problem(Client().get(ROOT + LIST), 401)
    for query in ("colour=red", "binder=gold", "cursor=x", "page_size=0"):
        assert_problem(analyst.get(f"{LIST}?{query}"), 400)
    assert_problem(analyst.ask("POST", LIST), 405)
