"""What must change no life: the order of rows, the origin of time, the numbers of sections, the unit."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from inspections.analysis.failures import Areas, Lives, lives
from tests.lives.simulated import THRESHOLD, Plan, Simulated, simulate


@pytest.fixture(params=[1, 2, 3])
def book(request: pytest.FixtureRequest) -> Simulated:
    return simulate(Plan(coats=60, noise=1.5), request.param)


def found(book: Simulated) -> Lives:
    return lives(book.coats, book.areas, book.mended, THRESHOLD)


def same(one: Lives, other: Lives, order: np.ndarray | slice = slice(None)) -> None:
    for field in fields(Lives):
        first, second = getattr(one, field.name), getattr(other, field.name)[order]
        if first.dtype.kind == "f":
            np.testing.assert_allclose(first, second, rtol=1e-9, atol=1e-9, err_msg=field.name)
        else:
            assert first.tolist() == second.tolist(), field.name


def test_the_order_of_rows(book: Simulated) -> None:
    order = np.random.default_rng(0).permutation(len(book.areas.day))
    shuffled = Areas(*(getattr(book.areas, field.name)[order] for field in fields(Areas)))
    same(found(book), found(replace(book, areas=shuffled)))


def test_the_origin_of_time(book: Simulated) -> None:
    days = 12_345.0
    coats = replace(
        book.coats,
        earliest=book.coats.earliest + days,
        begun=book.coats.begun + days,
        ended=book.coats.ended + days,
    )
    areas = replace(book.areas, day=book.areas.day + days)
    same(found(book), found(replace(book, coats=coats, areas=areas)))


def test_how_sections_are_numbered(book: Simulated) -> None:
    number = np.random.default_rng(0).permutation(len(book.coats)) * 3
    order = np.argsort(number)
    columns = {
        field.name: getattr(book.coats, field.name)[order]
        for field in fields(book.coats)
        if field.name != "section"
    }
    coats = replace(book.coats, section=number[order], **columns)
    areas = replace(book.areas, section=number[book.areas.section])
    same(found(book), found(replace(book, coats=coats, areas=areas)), np.argsort(order))


def test_the_unit_of_area(book: Simulated) -> None:
    foot = 0.3048**-2
    coats = replace(book.coats, area=book.coats.area * foot)
    areas = replace(book.areas, low=book.areas.low * foot, high=book.areas.high * foot)
    same(found(book), found(replace(book, coats=coats, areas=areas)))


def test_a_later_day_only_tells_more(book: Simulated) -> None:
    """What is known at an earlier day is no narrower: a coat sound then may fail later, never earlier."""
    whole = found(book)
    until = float(np.median(book.areas.day))
    kept = book.areas.day <= until
    then = Areas(*(getattr(book.areas, field.name)[kept] for field in fields(Areas)))
    began = book.coats.begun < until
    ended = np.where(book.coats.ended <= until, book.coats.ended, np.inf)
    gone = np.isfinite(ended)
    coats = replace(
        book.coats, ended=ended, removed=book.coats.removed & gone, failed=book.coats.failed & gone
    )
    early = found(replace(book, coats=coats, areas=then))
    sure = began & np.isinf(early.high) & np.isinf(whole.high) & whole.at_risk & early.at_risk
    assert (whole.low[sure] >= early.low[sure] - 1e-9).all()
