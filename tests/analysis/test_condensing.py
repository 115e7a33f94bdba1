"""Condensation within a wall, against a public worked case of the monthly method."""

import numpy as np
import pytest

from inspections.analysis import condensing as c

#: A test case of a public program for the Spanish building code (values recomputed): brick, light mortar,
#: expanded polystyrene, hollow brick, gypsum; outside to room.
LAYERS = [
    c.Layer(0.16491754, 1.1),
    c.Layer(0.02439024, 0.1),
    c.Layer(0.80, 0.6),
    c.Layer(0.06741573, 0.3),
    c.Layer(0.01754386, 0.06),
]
COLD, ROOM = (5.0, 96.0), (20.0, 55.0)


def test_temperatures_and_pressures():
    found = c.interface_temperatures(LAYERS, COLD[0], ROOM[0])
    assert found == pytest.approx([5.482, 7.470, 7.764, 17.409, 18.221, 18.433], abs=1e-3)
    assert c.iso_saturation(found) == pytest.approx(
        [901.65, 1034.14, 1055.12, 1987.36, 2091.71, 2119.64], abs=0.01
    )
    assert c.iso_saturation(np.array([0.01, 5, 10, 15, 20, 25, 30])) == pytest.approx(
        [610.94, 871.86, 1227.31, 1704.41, 2336.95, 3165.92, 4240.51], abs=0.01
    )


def test_condensate_of_a_month(monkeypatch):
    # The program doesn't split the insulation; splitting moves no plane here but is left out to compare.
    monkeypatch.setattr(c, "SPLIT_ABOVE", np.inf)
    found = c.condensing(LAYERS, [COLD], [ROOM], days=[30])
    planes = dict(zip(found.at.round(6).tolist(), found.flow[0].tolist(), strict=True))
    assert planes[1.1] == pytest.approx(15.865, abs=1e-3)
    assert planes[1.2] == pytest.approx(15.533, abs=1e-3)
    assert found.peak == pytest.approx(31.3975, abs=1e-3)
    assert not found.dries


def test_splitting_moves_next_to_nothing():
    assert c.condensing(LAYERS, [COLD], [ROOM], days=[30]).peak == pytest.approx(31.3975, rel=1e-4)


def test_temperature_factors():
    assert c.temperature_factor(LAYERS, inner=c.INSIDE_MOULD) == pytest.approx(0.8166, abs=5e-4)
    # The public case prints f_Rsi = 1 - U / 4 with U 0.80368578, for which R_si makes up the total.
    rest = 1 / 0.80368578 - sum(layer.resistance for layer in LAYERS) - c.INSIDE
    assert rest == pytest.approx(c.OUTSIDE, abs=1e-6)
    assert c.least_temperature_factor(COLD[0], ROOM[0], ROOM[1]) == pytest.approx(0.606, abs=5e-4)


def test_summer_dries_what_winter_left():
    winter, summer = (COLD, ROOM), ((22.0, 60.0), (22.0, 55.0))
    months = [winter] * 3 + [summer] * 9
    found = c.condensing(LAYERS, [m[0] for m in months], [m[1] for m in months])
    assert found.dries
    assert found.peak == pytest.approx(31.3975 * 90 / 30, rel=1e-3)
    assert found.flow.sum() == pytest.approx(0.0, abs=1e-9)
    assert np.all(found.stock >= 0)


def test_the_first_month_given_changes_nothing():
    winter, summer = (COLD, ROOM), ((22.0, 60.0), (22.0, 55.0))
    months = [summer] * 5 + [winter] * 4 + [summer] * 3
    days = [30.0] * 12
    one = c.condensing(LAYERS, [m[0] for m in months], [m[1] for m in months], days)
    turned = months[7:] + months[:7]
    other = c.condensing(LAYERS, [m[0] for m in turned], [m[1] for m in turned], days)
    assert other.peak == pytest.approx(one.peak)


def test_a_dry_wall_stays_dry():
    found = c.condensing(LAYERS, [(15.0, 60.0)] * 12, [(20.0, 45.0)] * 12)
    assert found.peak == 0
    assert found.dries
