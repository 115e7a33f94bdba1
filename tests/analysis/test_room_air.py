"""Dew between layers and mould from what was read and logged: against the methods fed by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from inspections.analysis import condensing as c
from inspections.analysis.layers_dew import MASONRY, Dew, Missing, dew_in_layers
from inspections.analysis.logs import Log
from inspections.analysis.materials import coat_sd
from inspections.analysis.mould import MEDIUM_RESISTANT, SENSITIVE, mould_index
from inspections.analysis.mould_risk import mould_behind, mould_on_face
from inspections.analysis.psychrometrics import saturation_pressure
from inspections.analysis.records import (
    YEAR,
    Coat,
    FloatArray,
    Readings,
    SectionRecord,
    no_readings,
    readings_from_columns,
)
from inspections.analysis.usual_year import usual_year

#: Every second Monday of four years from 4 January 2021 on.
START = float((dt.date(2021, 1, 4) - dt.date(1970, 1, 1)).days)
DAYS = START + 14.0 * np.arange(104)
TODAY = DAYS[-1] + 1
INSULATION = Coat(1, "insulation", START - 100, thickness_mm=60, mu=3.0, binder="none")
CEMENT = Coat(1, "parge_coat", START - 100, binder="portland_cement", thickness_mm=20)


def season(mean: float, swing: float, coldest: float = 20.0) -> FloatArray:
    return mean - swing * np.cos(2 * np.pi * (DAYS - START + 3 - coldest) / YEAR)


def readings(quantities: dict[str, FloatArray], depth: float = 150.0, days: FloatArray = DAYS) -> Readings:
    n, k = len(days), len(quantities)
    value = np.concatenate(list(quantities.values()))
    return readings_from_columns(
        {
            "time": np.tile(days, k),
            "quantity": np.repeat(list(quantities), n),
            "value": value,
            "low": value,
            "high": value,
            "unit": [""] * n * k,
            "height_mm": np.full(n * k, 900.0),
            "depth_mm": np.full(n * k, depth),
            "instrument": [""] * n * k,
            "point": [""] * n * k,
            "inspector": ["AB"] * n * k,
        }
    )


def wall(coats: tuple[Coat, ...], in_wall: FloatArray, humid: FloatArray | None = None) -> SectionRecord:
    quantities = {"in_wall_temperature": in_wall} | ({} if humid is None else {"in_wall_humidity": humid})
    return SectionRecord("S", substrate="brick", coats=coats, readings=readings(quantities))


ROOM = readings({"air_temperature": season(20, 1), "air_humidity": season(60, -8)})


def test_a_usual_year_is_the_cosine_that_was_read() -> None:
    found = usual_year(DAYS, season(12, 5))
    assert found.months is not None
    middle = np.cumsum(c.MONTH_DAYS) - np.array(c.MONTH_DAYS) / 2
    assert found.months == pytest.approx(12 - 5 * np.cos(2 * np.pi * (middle - 20) / YEAR), abs=0.2)
    few = usual_year(DAYS[:26:3], season(12, 5)[:26:3])
    assert few.months == pytest.approx(found.months, abs=0.2)


def test_a_month_with_enough_days_speaks_for_itself() -> None:
    july = START + 180.0 + np.arange(20)
    found = usual_year(np.append(DAYS, july), np.append(season(12, 5), np.full(20, 30.0)))
    assert found.months is not None
    assert found.months[6] > 25 > 20 > found.months[7]


def test_a_year_with_a_quarter_unread_is_none() -> None:
    summer = np.array([str(day.astype("datetime64[D]"))[5:7] in {"06", "07", "08"} for day in DAYS])
    found = usual_year(DAYS[~summer], season(12, 5)[~summer])
    assert (found.months, found.missing) == (None, ("summer",))
    assert usual_year(DAYS[:3], DAYS[:3]).months is None


def test_dew_is_what_the_monthly_method_gives_for_the_layers() -> None:
    """By hand: 90 mm of brick, then insulation, between the two usual years."""
    section = wall((INSULATION,), season(8, 5), season(85, 5))
    found = dew_in_layers(section, ROOM, TODAY, {})
    assert isinstance(found, Dew)
    conductivity, mu = MASONRY["brick"]
    layers = [
        c.Layer(0.09 / conductivity, mu.typical * 0.09),
        c.Layer(0.06 / 0.04, coat_sd(INSULATION)[0]),
    ]
    months = {
        name: usual_year(DAYS, values).months
        for name, values in (
            ("wall", season(8, 5)),
            ("humid", season(85, 5)),
            ("room", season(20, 1)),
            ("air", season(60, -8)),
        )
    }
    pairs = [list(zip(months[a], months[b], strict=True)) for a, b in (("wall", "humid"), ("room", "air"))]
    twin = c.condensing(layers, *pairs, outer=0.0)
    assert found.held == pytest.approx(twin.stock.sum(axis=1))
    assert found.held.max() > 5
    assert (found.least <= found.held).all()
    assert (found.held <= found.most).all()
    (plane,) = [one for one in found.planes if one.behind is None]
    assert plane.before == INSULATION
    assert plane.stock.max() <= found.held.max()
    assert found.depth_mm == 150
    assert found.masonry_m == pytest.approx(0.09)


def test_a_wall_warmer_than_the_room_air_s_dew_point_stays_dry_and_dries_to_the_room() -> None:
    found = dew_in_layers(wall((CEMENT,), season(17, 1), season(97, 1)), ROOM, TODAY, {})
    assert isinstance(found, Dew)
    assert found.is_dry
    assert found.dries == found.cases
    assert (found.passing > 0).all()
    cold = dew_in_layers(wall((CEMENT,), season(6, 3), season(97, 1)), ROOM, TODAY, {})
    assert isinstance(cold, Dew)
    assert (cold.passing < 0).any()


def test_a_humidity_beyond_the_scale_is_a_range_and_one_never_read_is_taken_as_wet() -> None:
    read = wall((INSULATION,), season(8, 5), season(98, 0))
    beyond = replace(read.readings, high=np.where(read.readings.quantity == "in_wall_humidity", np.inf, 50.0))
    beyond = replace(beyond, high=np.where(beyond.quantity == "in_wall_humidity", np.inf, beyond.value))
    found = dew_in_layers(replace(read, readings=beyond), ROOM, TODAY, {})
    plain = dew_in_layers(read, ROOM, TODAY, {})
    never = dew_in_layers(wall((INSULATION,), season(8, 5)), ROOM, TODAY, {})
    assert isinstance(found, Dew)
    assert isinstance(plain, Dew)
    assert isinstance(never, Dew)
    assert (found.cases, plain.cases, never.cases) == (6, 6, 3)
    assert found.most.max() > plain.most.max()
    assert found.most.max() == pytest.approx(never.most.max())
    assert not never.wall_humidity_read


def test_what_is_missing_is_named() -> None:
    bare = dew_in_layers(wall((), season(8, 5)), ROOM, TODAY, {})
    assert bare == Missing(no_coats=True)
    unread = dew_in_layers(wall((CEMENT,), season(8, 5)), no_readings(), TODAY, {})
    assert isinstance(unread, Missing)
    assert [name for name, _ in unread.lacking] == ["air_temperature", "air_humidity"]
    logged = {
        name: (DAYS, values)
        for name, values in (("air_temperature", season(20, 1)), ("air_humidity", season(60, -8)))
    }
    from_logs = dew_in_layers(wall((CEMENT,), season(8, 5)), no_readings(), TODAY, logged)
    assert isinstance(from_logs, Dew)


def test_nothing_later_than_the_day_counts() -> None:
    early = DAYS[60]
    whole = wall((INSULATION,), np.where(early < DAYS, 30.0, season(8, 5)), season(85, 5))
    then = dew_in_layers(whole, ROOM, early, {})
    cut = dew_in_layers(whole.until(early), ROOM.until(early), early, {})
    assert isinstance(then, Dew)
    assert isinstance(cut, Dew)
    assert then.held == pytest.approx(cut.held)


# Mould -----------------------------------------------------------------------------------------------------


def log(value: float, hours: int = 60 * 24, every: int = 3) -> Log:
    hour = 450_000.0 + np.arange(0, hours + 1, every)
    return Log(hour, np.floor(hour / 24), np.full(len(hour), value))


def test_mould_behind_a_coat_is_the_index_of_its_climate() -> None:
    found = mould_behind(log(20.0), log(90.0))
    assert found is not None
    assert (found.behind, found.known, found.humid) == (True, 1.0, 1.0)
    for name, material in (("medium resistant", MEDIUM_RESISTANT), ("sensitive", SENSITIVE)):
        twin = mould_index(np.full(60 * 24, 20.0), np.full(60 * 24, 90.0), material)
        assert found.index[name] == pytest.approx(twin[23::24])
    assert (np.diff(found.day) == 1).all()


def test_a_cold_face_sees_the_room_s_vapour_at_its_own_warmth() -> None:
    found = mould_on_face(log(12.0), log(20.0), log(55.0))
    assert found is not None
    humidity = 55.0 * float(saturation_pressure(20.0)) / float(saturation_pressure(12.0))
    twin = mould_index(np.full(60 * 24, 12.0), np.full(60 * 24, humidity), SENSITIVE)
    assert humidity > 80
    assert found.index["sensitive"][-1] == pytest.approx(twin[-1])
    dry = mould_on_face(log(19.0), log(20.0), log(55.0))
    assert dry is not None
    assert max(values.max() for values in dry.index.values()) == 0


def test_too_short_or_too_gappy_a_log_says_nothing() -> None:
    assert mould_behind(log(20.0, hours=20 * 24), log(90.0, hours=20 * 24)) is None
    whole = log(20.0)
    assert mould_behind(whole.where(whole.day % 10 < 4), log(90.0)) is None
    assert mould_behind(whole.where(np.arange(len(whole)) % 40 == 0), log(90.0)) is None
    assert mould_behind(Log(*(np.zeros(0),) * 3), log(90.0)) is None
