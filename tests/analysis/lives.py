"""Lives for the tests: published ones as :class:`Lifetimes`, random ones, and the likelihood said plainly."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from inspections.analysis.lifetimes import Lifetimes
from tests.analysis.published import DATA, table

INF = np.inf


def coats(low, high, entry=None, cluster=None):
    """Coats, each in a house of its own unless said otherwise."""
    n = len(low)
    return Lifetimes(
        np.zeros(n) if entry is None else entry, low, high, np.arange(n) if cluster is None else cluster
    )


def repeated(low, high, count):
    """Coats of a table that gives how many of each there are."""
    times = np.asarray(count, dtype=int)
    return coats(np.repeat(np.asarray(low, float), times), np.repeat(np.asarray(high, float), times))


def words(name, column):
    """A column of words of a published table."""
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    header, *rows = [line.split(",") for line in lines if not line.startswith("#")]
    return np.array([row[header.index(column)] for row in rows])


def cosmesis():
    """Breast cosmesis, months (Finkelstein and Wolfe 1985), and whether each had chemotherapy too."""
    data = table("cosmesis")
    return coats(data["left"], data["right"]), (words("cosmesis", "arm") == "RadChem").astype(int)


def freireich():
    """Remission, weeks (Freireich et al. 1963), and whether each was given the placebo."""
    data = table("freireich_6mp")
    high = np.where(data["relapse"] == 1, data["weeks"], INF)
    return coats(data["weeks"], high), (words("freireich_6mp", "arm") == "placebo").astype(int)


def part_cracks():
    data = table("part_cracks")
    return repeated(data["start"], data["end"], data["count"])


def turbine_wheels():
    data = table("turbine_wheels")
    hours, none = data["hours100"], np.zeros(len(data["hours100"]))
    low, high = np.append(none, hours), np.append(hours, np.full(len(hours), INF))
    return repeated(low, high, np.append(data["cracked"], data["not_cracked"]))


def right_censored(time, failed, count=None):
    high = np.where(np.asarray(failed) == 1, time, INF)
    return repeated(time, high, np.ones(len(time)) if count is None else count)


@st.composite
def lives(draw, least=1, most=30, truncated=True, grid=8):
    """Lives on a grid that makes ties: exact, left-, right- and interval-censored, some entered late."""
    n = draw(st.integers(least, most))
    places = st.integers(0, grid)
    low, high, entry = np.zeros(n), np.zeros(n), np.zeros(n)
    for i in range(n):
        first, width = draw(places), draw(st.integers(0, 3))
        low[i] = first + (width == 0 and first == 0)
        high[i] = INF if draw(st.booleans()) and draw(st.booleans()) else low[i] + width
        late = draw(st.integers(0, grid)) if truncated else 0
        entry[i] = late if late < low[i] else 0.0
    return coats(low, high, entry, np.arange(n) % max(n // 3, 1))


def some_lives(seed, n=60, truncated=True, exact=0.2, shape=1.8, scale=14.0):
    """Weibull lives seen at uneven visits, some to the day, some entered late."""
    random = np.random.default_rng(seed)
    time, watch = scale * random.weibull(shape, n), random.uniform(3, 25, n)
    width, share = random.uniform(0.5, 4, n), random.uniform(0, 1, n)
    low = np.maximum(time - share * width, 0.0)
    high = time + (1 - share) * width
    known = random.random(n) < exact
    low, high = np.where(known, time, low), np.where(known, time, high)
    sound = high > watch
    low, high = np.where(sound, np.minimum(low, watch), low), np.where(sound, INF, high)
    entry = np.where(random.random(n) < 0.4 * truncated, low * random.random(n) * 0.8, 0.0)
    return coats(low, high, entry, np.arange(n) // 3)
