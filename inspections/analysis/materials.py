"""How much a coat holds back: vapour resistance and capillarity by binder and kind.

A coat's resistance is given as sd in metres: the still air that resists as much. What was measured on the
coat comes first (``sd_m``, then ``mu`` times thickness); otherwise these tables stand in, each with a range.

Where the numbers come from, by the letters beside them:
I  EN ISO 10456 (2007), tables 3 and 4 (dry and wet column), from memory;
S  SBI-anvisning 178 (1993), resistances at 2e-10 kg/(m s Pa);
M  measured examples of a German database of old building materials and of a university set;
W  working ranges of practice for parge coats where no test exists, from memory;
C  common practice, no source.
EN ISO 10456 gives one 10/6 for all mortars of lime and of cement; that hides the very difference that matters
here, so mortars follow W and M.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from inspections.analysis.records import Coat

MILLIMETRES = 1000.0


@dataclass(frozen=True, slots=True)
class Range:
    """A typical value between a low and a high one."""

    low: float
    typical: float
    high: float

    def times(self, other: Range) -> Range:
        """Product of two ranges of positive numbers."""
        return Range(self.low * other.low, self.typical * other.typical, self.high * other.high)


#: Vapour resistance factor mu of mortars and plasters.
MORTAR_MU: dict[str, Range] = {
    "lime_putty": Range(6, 9, 12),  # W; old lime plaster 9 (M)
    "CL 90": Range(6, 9, 12),  # W
    "CL 80": Range(6, 9, 12),  # W
    "CL 70": Range(6, 10, 15),  # W
    "DL 85": Range(6, 10, 15),  # C, as CL 70
    "NHL 2": Range(8, 11, 15),  # W, lower end
    "NHL 3.5": Range(8, 13, 18),  # W
    "NHL 5": Range(10, 16, 22),  # W, upper end
    "HL 2": Range(8, 13, 20),  # C: may contain cement (EN 459-1)
    "HL 3.5": Range(10, 16, 25),  # C
    "HL 5": Range(12, 20, 35),  # C
    "FL A": Range(8, 11, 15),  # C, as NHL 2
    "FL B": Range(8, 13, 20),  # C, as NHL 3.5
    "FL C": Range(10, 16, 25),  # C, as NHL 5
    "natural_cement": Range(12, 20, 30),  # C, between NHL 5 and Portland cement
    "cement_lime": Range(12, 18, 25),  # W for 1:1:6; mineral render 17 (M)
    "portland_cement": Range(20, 35, 60),  # W for 1:3; screed 58 (M)
    "gypsum": Range(4, 8, 10),  # I: 10/4
    "clay": Range(5, 8, 10),  # C: DIN 18947, 5/10
}
#: A mortar of which nothing is known may be any of the above.
UNKNOWN_MORTAR_MU = Range(6, 15, 60)
#: Strength, MPa, from which an unknown mortar is taken for cement, and up to which for lime: EN 998-1 classes
#: CS IV (6 and more) and CS I (up to 2.5).
CEMENT_STRENGTH, LIME_STRENGTH = 6.0, 2.5

#: sd, m, of a paint of the usual thickness.
PAINT_SD: dict[str, Range] = {
    "silicate": Range(0.02, 0.10, 0.20),  # S 0.2; EN 1062-1 class V1 below 0.14
    "portland_cement": Range(0.05, 0.10, 0.30),  # S: cement paint 0.1
    "acrylic": Range(0.10, 0.40, 1.0),  # I 0.1, S 0.5 (emulsion paint)
    "alkyd": Range(1.5, 3.0, 6.0),  # I and S 3
    "epoxy": Range(5.0, 15.0, 50.0),  # S: chlorinated rubber 10; C
    "bitumen": Range(10.0, 50.0, 100.0),  # I: mu 50 000, at 0.2 to 2 mm
    "polyethylene": Range(20.0, 50.0, 150.0),  # I
}
LIMEWASH_SD = Range(0.005, 0.03, 0.10)  # S 0.1; thin washes C
UNKNOWN_PAINT_SD = Range(0.10, 0.50, 3.0)  # from emulsion to gloss paint (I, S)

#: sd, m, of layers that are known by kind; ``""`` is any other binder.
KIND_SD: dict[str, dict[str, Range]] = {
    "sealer": {
        "silicate": Range(0.02, 0.10, 0.30),  # C: repellents and water glass leave the pores open
        "": Range(0.10, 1.0, 10.0),  # C
    },
    "vapour_retarder": {
        "bitumen": Range(20.0, 100.0, 500.0),  # I mu 50 000; S: roofing felt 100
        "acrylic": Range(0.5, 2.0, 10.0),  # C: retarding paint, class II to III
        "": Range(20.0, 50.0, 150.0),  # I: polyethylene 0.15 mm 50, 0.25 mm 100
    },
    # C: studded sheet of 0.5 to 1 mm polyethylene. The gap behind it may be vented; that is not in an sd.
    "drainage_board": {"": Range(50.0, 100.0, 300.0)},
    "lining": {
        "gypsum": Range(0.05, 0.10, 0.15),  # I: board of 12.5 mm at mu 10/4
        "polyethylene": Range(20.0, 50.0, 150.0),  # I
        "": Range(0.05, 0.20, 3.0),  # C
    },
    # Joints and bores lie beside the way from the wall's face to the room, not across it.
    "repointing": {"": Range(0.0, 0.0, 0.3)},  # C
    "injection": {"": Range(0.0, 0.0, 0.1)},  # C
    "other": {"": Range(0.02, 0.20, 3.0)},  # C
}
#: mu of insulation of which only the thickness is known, from mineral wool (1) by foams (60) to extruded
#: polystyrene (150) (I).
INSULATION_MU = Range(1.0, 40.0, 150.0)

#: Thickness, mm, where none was recorded (C; two lime coats make 15 to 25 mm).
USUAL_THICKNESS: dict[str, Range] = {
    "parge_coat": Range(10, 20, 30),
    "plaster": Range(10, 15, 25),
    "insulation": Range(25, 50, 100),
}
#: What a recorded number may be off by. An sd or a mu tested elsewhere, or a thickness gauged at the edge, is
#: rarely nearer than this (C; round robins of ISO 12572 cup tests scatter by about a quarter, from memory).
RECORDED_MU = Range(0.75, 1.0, 1.35)
RECORDED_THICKNESS = Range(0.8, 1.0, 1.25)

_MORTARS = frozenset({"parge_coat", "plaster"})


@dataclass(frozen=True, slots=True)
class _Openness:
    share: float
    reason: str


_LIME = _Openness(1.0, "air lime draws water to its face: 5 to 20 kg/(m2 h^0.5)")
_WEAK = _Openness(0.8, "weakly hydraulic lime draws water nearly as air lime does: 3 to 12 kg/(m2 h^0.5)")
_MIDDLE = _Openness(0.6, "moderately hydraulic lime still draws water to its face: 3 to 8 kg/(m2 h^0.5)")
_STRONG = _Openness(0.4, "strongly hydraulic lime draws little: about 2 to 4 kg/(m2 h^0.5)")
_GAUGED = _Openness(0.25, "cement in the lime closes pores: 1 to 4 kg/(m2 h^0.5)")
_CEMENT = _Openness(0.1, "Portland cement mortar draws little: 0.3 to 2 kg/(m2 h^0.5)")
_FILM = _Openness(0.0, "a film or a sheet carries no liquid")
_UNKNOWN = _Openness(0.4, "binder unknown: taken between lime and cement")

#: How far a mortar of this binder carries liquid by capillarity; the uptakes are W and M, the shares ours.
_MORTAR_OPEN: dict[str, _Openness] = {
    **dict.fromkeys(("lime_putty", "CL 90", "CL 80", "CL 70", "DL 85"), _LIME),
    "clay": _Openness(0.9, "clay draws water to its face until it softens"),
    "gypsum": _Openness(0.7, "gypsum draws water to its face, and dissolves"),
    **dict.fromkeys(("NHL 2", "FL A"), _WEAK),
    **dict.fromkeys(("NHL 3.5", "FL B", "HL 2"), _MIDDLE),
    **dict.fromkeys(("NHL 5", "FL C", "HL 3.5", "natural_cement"), _STRONG),
    **dict.fromkeys(("HL 5", "cement_lime"), _GAUGED),
    "portland_cement": _CEMENT,
    "silicate": _Openness(0.8, "silicate binds without closing the pores"),
    **dict.fromkeys(("acrylic", "alkyd", "epoxy", "bitumen", "polyethylene"), _FILM),
}
_PAINT_OPEN: dict[str, _Openness] = {
    "silicate": _Openness(0.8, "silicate paint leaves the pores open"),
    "portland_cement": _Openness(0.4, "cement paint is thin and porous"),
    "acrylic": _Openness(0.1, "emulsion paint passes vapour and next to no liquid"),
    **dict.fromkeys(("lime_putty", "CL 90", "CL 80", "CL 70", "DL 85"), _LIME),
    "clay": _Openness(0.9, "clay paint is thin and porous"),
}
_KIND_OPEN: dict[str, _Openness] = {
    "limewash": _Openness(1.0, "limewash is thin and porous"),
    "sealer": _Openness(0.05, "a sealer is meant to stop liquid"),
    "vapour_retarder": _FILM,
    "drainage_board": _FILM,
    "insulation": _Openness(0.0, "insulation breaks the capillary way"),
    "lining": _Openness(0.0, "a lining stands off the wall"),
    "injection": _Openness(1.0, "an injection lies in the wall, not over its face"),
}
#: Pointing covers the joints only; the stones beside it stay as they were.
_BARE_SHARE = 0.5


def coat_sd(coat: Coat) -> tuple[float, float, float]:
    """Typical, low and high sd of one coat, m.

    From ``coat.sd_m`` where given, else ``coat.mu`` times thickness, else the tables of this module by kind
    and binder; an unknown thickness is the usual one, with its range.
    """
    found = _recorded(coat) or _tabled(coat)
    return found.typical, found.low, found.high


def stack_sd(coats: Iterable[Coat], day: float) -> tuple[float, float, float]:
    """Typical, low and high sum of sd, m, of the coats that stand on the room side on ``day``.

    Coats put on later, removed by then or on the outside don't count, nor do patches, which take a coat's
    place in a spot and cover nothing else. The low and the high sums are bounds, as if all erred together.
    """
    standing = [
        coat_sd(coat)
        for coat in coats
        if coat.applied <= day < coat.removed and coat.face != "outside" and coat.purpose != "patch"
    ]
    typical, low, high = (sum(column) for column in zip((0.0, 0.0, 0.0), *standing, strict=True))
    return typical, low, high


def liquid_open(coat: Coat) -> float:
    """How far a coat carries liquid to its face by capillarity: from 0 (not at all) to 1 (as air lime does).

    Our own scale on measured uptakes; :func:`liquid_reason` says why.
    """
    return _openness(coat).share


def liquid_reason(coat: Coat) -> str:
    """Why :func:`liquid_open` gives what it gives, in a few words."""
    return _openness(coat).reason


def _recorded(coat: Coat) -> Range | None:
    if coat.sd_m >= 0:
        return Range(coat.sd_m, coat.sd_m, coat.sd_m).times(RECORDED_MU)
    if coat.mu > 0:
        thickness = _thickness(coat)
        if thickness is not None:
            return Range(coat.mu, coat.mu, coat.mu).times(RECORDED_MU).times(thickness)
    return None


def _tabled(coat: Coat) -> Range:
    thickness = _thickness(coat)
    if coat.kind in _MORTARS and thickness is not None:
        return _mortar_mu(coat).times(thickness)
    if coat.kind == "insulation" and thickness is not None:
        return INSULATION_MU.times(thickness)
    if coat.kind == "limewash":
        return LIMEWASH_SD
    if coat.kind == "paint":
        return LIMEWASH_SD if _PAINT_OPEN.get(coat.binder) is _LIME else _paint_sd(coat.binder)
    if coat.kind == "sealer" and coat.binder in PAINT_SD and coat.binder not in KIND_SD["sealer"]:
        return PAINT_SD[coat.binder]
    if coat.kind == "other" and thickness is not None and coat.binder in MORTAR_MU:
        return _mortar_mu(coat).times(thickness)
    by_binder = KIND_SD.get(coat.kind, KIND_SD["other"])
    return by_binder.get(coat.binder, by_binder[""])


def _mortar_mu(coat: Coat) -> Range:
    if coat.binder in MORTAR_MU:
        return MORTAR_MU[coat.binder]
    if coat.binder in PAINT_SD:
        # A trowelled coat bound with resin: as tight as the densest mortar at least (common practice).
        return Range(MORTAR_MU["portland_cement"].typical, 100.0, 500.0)
    if coat.strength_mpa >= CEMENT_STRENGTH:
        return MORTAR_MU["portland_cement"]
    if coat.strength_mpa <= LIME_STRENGTH:
        return MORTAR_MU["NHL 2"]
    return UNKNOWN_MORTAR_MU


def _paint_sd(binder: str) -> Range:
    return PAINT_SD.get(binder, UNKNOWN_PAINT_SD)


def _thickness(coat: Coat) -> Range | None:
    """Thickness in m; None where none was recorded and none is usual."""
    if coat.thickness_mm > 0:
        metres = coat.thickness_mm / MILLIMETRES
        return Range(metres, metres, metres).times(RECORDED_THICKNESS)
    usual = USUAL_THICKNESS.get(coat.kind)
    per_metre = Range(1 / MILLIMETRES, 1 / MILLIMETRES, 1 / MILLIMETRES)
    return None if usual is None else usual.times(per_metre)


def _openness(coat: Coat) -> _Openness:
    if coat.kind in _KIND_OPEN:
        return _KIND_OPEN[coat.kind]
    if coat.kind == "paint":
        return _PAINT_OPEN.get(coat.binder, _FILM if coat.binder in PAINT_SD else _UNKNOWN)
    mortar = _MORTAR_OPEN.get(coat.binder, _unknown_mortar(coat))
    if coat.kind == "repointing":
        share = _BARE_SHARE + (1 - _BARE_SHARE) * mortar.share
        return _Openness(share, f"pointing leaves the stones bare; in the joints, {mortar.reason}")
    return mortar


def _unknown_mortar(coat: Coat) -> _Openness:
    if np.isnan(coat.strength_mpa):
        return _UNKNOWN
    if coat.strength_mpa >= CEMENT_STRENGTH:
        return _CEMENT
    return _WEAK if coat.strength_mpa <= LIME_STRENGTH else _UNKNOWN
