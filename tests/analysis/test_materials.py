"""Vapour resistance and capillarity of coats against standards' tables and simple truths."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.analysis.materials import coat_sd, liquid_open, liquid_reason, stack_sd
from inspections.analysis.psychrometrics import drying_flux
from inspections.analysis.records import Coat

KINDS = (
    *("parge_coat", "plaster", "limewash", "paint", "sealer", "vapour_retarder", "drainage_board"),
    *("insulation", "lining", "repointing", "injection", "other"),
)
BINDERS = (
    *("CL 90", "CL 80", "CL 70", "DL 85", "NHL 2", "NHL 3.5", "NHL 5", "HL 2", "HL 3.5", "HL 5"),
    *("FL A", "FL B", "FL C", "lime_putty", "natural_cement", "cement_lime", "portland_cement", "gypsum"),
    *("clay", "silicate", "acrylic", "alkyd", "epoxy", "bitumen", "polyethylene", "none", "other", "unknown"),
)


def coat(kind="parge_coat", binder="NHL 2", **facts):
    return Coat(layer=1, kind=kind, applied=0.0, binder=binder, **facts)


@pytest.mark.parametrize(
    ("layer", "metres"),
    [
        # EN ISO 10456 (2007), table 3 (from memory).
        (coat("paint", "alkyd"), 3),
        (coat("vapour_retarder", "polyethylene", thickness_mm=0.15), 50),
        (coat("paint", "acrylic"), 0.1),
        # SBI-anvisning 178 (1993), at 2e-10 kg/(m s Pa).
        (coat("paint", "acrylic"), 0.5),
        (coat("limewash", "lime_putty"), 0.1),
        (coat("paint", "silicate"), 0.2),
        (coat("paint", "portland_cement"), 0.1),
        (coat("vapour_retarder", "bitumen"), 100),
        # EN ISO 10456 (2007), table 4: gypsum plaster 10/4 at 15 mm.
        (coat("plaster", "gypsum", thickness_mm=15), 0.15),
        (coat("plaster", "gypsum", thickness_mm=15), 0.06),
        # Measured: old lime plaster mu 9, screed mu 58 (German database of old building materials).
        (coat("parge_coat", "lime_putty", thickness_mm=20), 0.18),
        (coat("parge_coat", "portland_cement", thickness_mm=20), 1.16),
    ],
)
def test_published_value_is_within_the_range(layer, metres):
    typical, low, high = coat_sd(layer)
    assert low <= metres <= high
    assert low < typical < high


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("binder", BINDERS)
def test_every_kind_and_binder_has_an_answer(kind, binder):
    typical, low, high = coat_sd(coat(kind, binder))
    assert 0 <= low <= typical <= high < np.inf
    assert 0 <= liquid_open(coat(kind, binder)) <= 1
    assert liquid_reason(coat(kind, binder))


def test_what_was_measured_comes_first():
    assert coat_sd(coat(sd_m=0.42, mu=99, thickness_mm=20))[0] == pytest.approx(0.42)
    assert coat_sd(coat(mu=12, thickness_mm=25))[0] == pytest.approx(0.30)
    assert coat_sd(coat("parge_coat", mu=12))[0] == pytest.approx(0.24)
    assert coat_sd(coat("paint", "alkyd", mu=12))[0] == pytest.approx(3)


@given(st.floats(1, 200), st.floats(1, 100))
def test_mu_times_thickness(mu, thickness):
    typical, low, high = coat_sd(coat(mu=mu, thickness_mm=thickness))
    assert typical == pytest.approx(mu * thickness / 1000)
    assert low < typical < high


def test_an_unknown_thickness_widens_the_range():
    known, unknown = coat_sd(coat(thickness_mm=20)), coat_sd(coat())
    assert known[0] == unknown[0]
    assert unknown[2] - unknown[1] > known[2] - known[1]


def test_lime_dries_a_wall_faster_than_cement():
    lime, cement = (coat_sd(coat(binder=binder))[0] for binder in ("lime_putty", "portland_cement"))
    assert drying_flux(14, 100, 14, 60, lime) > 3 * drying_flux(14, 100, 14, 60, cement)


def test_strength_tells_an_unknown_mortar():
    strong, weak, plain = (coat(binder="unknown", strength_mpa=mpa) for mpa in (12, 2, np.nan))
    assert coat_sd(strong)[0] > coat_sd(plain)[0] > coat_sd(weak)[0]
    assert liquid_open(strong) < liquid_open(plain) < liquid_open(weak)


def test_the_stack_holds_what_stands_on_the_room_side_that_day():
    parge = coat(sd_m=0.2)
    later = replace(parge, applied=100.0)
    gone = replace(parge, removed=50.0)
    outside = replace(parge, face="outside")
    patch = replace(parge, purpose="patch")
    coats = (parge, later, gone, outside, patch)
    assert stack_sd(coats, 60)[0] == pytest.approx(0.2)
    assert stack_sd(coats, 49.9)[0] == pytest.approx(0.4)
    assert stack_sd(coats, 50)[0] == pytest.approx(0.2)
    assert stack_sd(coats, 100)[0] == pytest.approx(0.4)
    assert stack_sd((), 0) == (0, 0, 0)


def test_openness_follows_the_binder():
    shares = [liquid_open(coat(binder=binder)) for binder in ("lime_putty", "NHL 2", "NHL 3.5", "NHL 5")]
    assert shares == sorted(shares, reverse=True)
    assert liquid_open(coat(binder="portland_cement")) < 0.2
    assert liquid_open(coat("paint", "epoxy")) == 0
    assert liquid_open(coat("limewash", "lime_putty")) == 1
    assert liquid_open(coat("repointing", "portland_cement")) >= 0.5
    assert "stones bare" in liquid_reason(coat("repointing", "NHL 2"))
