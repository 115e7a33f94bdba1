"""Weibull lives of many groups at once, against the fit of each group for itself."""

import numpy as np
import pytest

from inspections.analysis.lifetimes import Interval
from inspections.analysis.many_lives import fit_weibulls
from inspections.analysis.weibull import fit_weibull
from tests.analysis.lives import INF, coats, some_lives

NOTHING = Interval(None, None, None)


def alike(many, one):
    """Whether two fits are one but for rounding."""
    assert (many.coats, many.failures, many.level, many.method) == (
        one.coats,
        one.failures,
        one.level,
        one.method,
    )
    assert many.clustering == pytest.approx(one.clustering, rel=1e-8)
    assert known(many.log_likelihood) == pytest.approx(known(one.log_likelihood), abs=1e-8, nan_ok=True)
    for name in ("shape", "scale", "median"):
        for end in ("low", "estimate", "high"):
            ours, theirs = (known(getattr(getattr(fit, name), end)) for fit in (many, one))
            assert ours == pytest.approx(theirs, rel=1e-6, nan_ok=True)


def known(value):
    return np.nan if value is None else value


@pytest.mark.parametrize("level", [0.95, 0.8])
def test_each_group_has_its_own_fit(level):
    """Any censoring, entered late or not, in houses or alone; a few large groups among many small ones."""
    random = np.random.default_rng(5)
    groups = [
        some_lives(seed, int(random.integers(5, 30)), exact=seed % 5 / 5, truncated=seed % 2 == 0)
        for seed in range(80)
    ]
    groups += [some_lives(seed, 400) for seed in range(3)]
    for many, one in zip(fit_weibulls(groups, level), groups, strict=True):
        alike(many, fit_weibull(one, level))


def test_groups_that_tell_little_among_others():
    groups = [
        coats(np.linspace(5, 12, 40), np.full(40, INF)),
        some_lives(3, 30),
        coats([0.0], [INF]),
        coats([5.5] + [4.0] * 8, [5.5] + [INF] * 8),
        coats([8.0, *np.linspace(3, 15, 30)], [9.0] + [INF] * 30),
        coats([], []),
    ]
    fits = fit_weibulls(groups)
    for many, one in zip(fits, groups, strict=True):
        alike(many, fit_weibull(one))
    assert fits[2].scale == fits[5].scale == NOTHING
    assert (fits[0].scale.estimate, fits[3].shape.estimate, fits[4].scale.high) == (None, None, None)


def test_no_group_and_no_level():
    assert fit_weibulls([]) == []
    with pytest.raises(ValueError, match="between 0 and 1"):
        fit_weibulls([some_lives(1)], 95)
