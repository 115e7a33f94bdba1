"""Rates drawn to those of the sections with the same coat and exposure."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from inspections.analysis.pooling import error_of, pooled_rates
from inspections.domain.alike import Alike, drawn_rates
from inspections.models import Assessment, Instrument
from inspections.queries.alike import likeness_of
from portfolio.models import Building, Organisation, Section, Treatment

pytestmark = pytest.mark.django_db

TODAY = dt.date(2025, 6, 1)
RATES = (0.2, 0.5, 0.1, 0.9, 0.4, 0.3)


def trend(rate: float, unit: str) -> dict[str, Any]:
    return {"rate_per_year": rate, "low": rate - 0.4, "high": rate + 0.4, "unit": unit, "readings": 20}


def walls(
    slug: str, shift: float = 0.0, binder: str = "portland_cement"
) -> tuple[Organisation, list[Section]]:
    organisation = Organisation.objects.create(slug=slug, name=slug)
    house = Building.objects.create(organisation=organisation, code="H1", timezone="UTC")
    sections = []
    for i, rate in enumerate(RATES):
        section = Section.objects.create(
            building=house, code=f"S{i}", wall="N", length_m=2.0 + i, height_m=2.0, adjoins="soil"
        )
        Treatment.objects.create(
            section=section, layer=1, kind="parge_coat", binder=binder, applied_on=dt.date(2015, 1, 1)
        )
        trends = {
            "in_wall_humidity": trend(rate + shift, "percent_rh"),
            "hollow_area": trend((rate + shift) * (2 + i) * 2, "m2"),
            "surface_moisture": trend(rate + shift, "relative"),
        }
        Assessment.objects.create(
            section=section,
            as_of=dt.date(2025, 1, 1),
            model_version="test",
            verdict="stable",
            trapped_probability=0.1,
            result={"trends": trends},
        )
        sections.append(section)
    return organisation, sections


def drawn(organisation: Organisation, section: Section) -> dict[str, Alike]:
    likeness = likeness_of(organisation, [section.pk], TODAY)
    return drawn_rates(organisation, likeness)[section.pk]


def test_as_the_analysis_pools_them() -> None:
    organisation, sections = walls("larch-row")
    walls("mill-lane", shift=5.0)
    found = drawn(organisation, sections[3])["in_wall_humidity"]
    rate = np.array(RATES)
    pooled = pooled_rates(rate, error_of(rate - 0.4, rate + 0.4))
    assert pooled is not None
    assert (found.rate, found.low, found.high) == pytest.approx(
        (pooled.rate[3], pooled.low[3], pooled.high[3])
    )
    assert found.sections == len(RATES)
    assert max(RATES) > found.rate > float(np.mean(RATES))


def test_areas_are_pooled_as_shares_of_the_section() -> None:
    organisation, sections = walls("larch-row")
    found = drawn(organisation, sections[3])["hollow_area"]
    rate, area = np.array(RATES), np.arange(2.0, 8.0) * 2
    pooled = pooled_rates(rate, error_of(rate - 0.4 / area, rate + 0.4 / area))
    assert pooled is not None
    assert found.rate == pytest.approx(pooled.rate[3] * area[3])


def test_scales_of_meters_are_never_mixed() -> None:
    organisation, sections = walls("larch-row")
    assert "surface_moisture" not in drawn(organisation, sections[0])
    Instrument.objects.create(
        organisation=organisation, code="M1", kind="moisture_meter", scale="relative", maximum=100
    )
    assert "surface_moisture" in drawn(organisation, sections[0])
    Instrument.objects.create(
        organisation=organisation, code="M2", kind="moisture_meter", scale="relative", maximum=999
    )
    assert "surface_moisture" not in drawn(organisation, sections[0])


def test_another_coat_or_exposure_is_not_alike() -> None:
    organisation, sections = walls("larch-row")
    for section in sections[:2]:
        section.treatments.update(binder="NHL 2")
    assert drawn(organisation, sections[3]) == {}
    sections[3].treatments.update(removed_on=TODAY)
    assert likeness_of(organisation, [sections[3].pk], TODAY) == {}
    assert drawn_rates(organisation, {}) == {}


def test_houses_alike_draw_together() -> None:
    organisation, sections = walls("larch-row")
    other = Building.objects.create(organisation=organisation, code="H2", timezone="UTC")
    for section in sections[3:]:
        section.building = other
        section.save()
    found = drawn(organisation, sections[3])["in_wall_humidity"]
    rate, house = np.array(RATES), np.array([1, 1, 1, 2, 2, 2])
    pooled = pooled_rates(rate, error_of(rate - 0.4, rate + 0.4), house)
    assert pooled is not None
    assert (found.rate, found.low, found.high) == pytest.approx(
        (pooled.rate[3], pooled.low[3], pooled.high[3])
    )
    assert (found.sections, found.houses, found.house_sd) == (6, 2, pytest.approx(pooled.house_sd))
