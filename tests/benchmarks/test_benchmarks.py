"""That the benchmarks run, on sizes that say nothing; what they measure is for people to read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.comparing import Result, medians, table, times_faster, times_slower

ROOT = Path(__file__).parent.parent.parent


@pytest.mark.services
def test_they_run(postgres_url: str) -> None:
    """On both engines: the ways that are compared have to agree first, which each of them checks."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", "--tiny"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    heading, rule, *rows = done.stdout.splitlines()
    assert heading.count("|") == rule.count("|") == 7
    assert [row.count("|") for row in rows] == [7] * 32


def test_ratios_are_the_right_way_round() -> None:
    assert times_slower("work", 3.0, "bare", 2.0, "within 2 times").ratio == "1.5 times the time"
    assert times_faster("work", 0.5, "slow", 2.0, "twice").ratio == "4 times as fast"
    row = table([Result("work", 0.5, "slow", 2.0, "4 times as fast", "twice")]).splitlines()[-1]
    assert row == "| work | 500 ms | slow | 2.00 s | 4 times as fast | twice |"


def test_the_first_run_of_several_is_not_counted() -> None:
    calls: list[str] = []
    taken = medians({"one": lambda: calls.append("one"), "other": lambda: calls.append("other")}, 3)
    assert calls == ["one", "other"] * 4
    assert set(taken) == {"one", "other"}
