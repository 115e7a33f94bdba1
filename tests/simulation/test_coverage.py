"""A small run of the evaluation of coverage; the whole is ``python -m tests.simulation.coverage``."""

import pytest

from tests.simulation.coverage import GENERATORS, LOSSES, passages, rates

#: Three standard errors of 0.95 among 80, beside the two points that a generator may be off.
LEAST = 0.95 - 0.073 - 0.02


@pytest.mark.parametrize("generator", GENERATORS)
def test_rates(generator):
    for coverage in rates(generator, 24, 2, 80):
        assert coverage.none == 0
        assert coverage.held / coverage.intervals > LEAST


@pytest.mark.parametrize("loss", LOSSES)
def test_first_passages(loss):
    coverage = passages(loss, 24, 2, 40)
    # Forty walls: three standard errors are 0.103.
    assert coverage.held / coverage.intervals > 0.95 - 0.103 - 0.02


def test_rows_are_markdown():
    row = passages("gamma increments", 12, 2, 2).as_row()
    assert row.count("|") == 8
