"""Which tests come first, and which need to run on one engine only."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

#: Tests of pure computation, and tests that start programs on databases which they name themselves: the same
#: whatever database and cache the tests run on, unless they ask for the tests' own database all the same.
ONCE = (
    "tests/analysis/",
    "tests/benchmarks/",
    "tests/compose/",
    "tests/lives/test_costs.py",
    "tests/lives/test_failures.py",
    "tests/lives/test_invariance.py",
    "tests/lives/test_judge.py",
    "tests/reminders/test_processes.py",
    "tests/simulation/",
    "tests/test_layers.py",
    "tests/test_migrating.py",
    "tests/trials/",
)
#: Tests that take longest, most of it waiting for programs that they have started, the longest first: whoever
#: begins with them has something else to do meanwhile, and nobody waits for them in the end.
LONG = (
    "tests/reminders/test_processes.py",
    "tests/compose/test_compose.py",
    "tests/benchmarks/",
    "tests/test_migrating.py",
    "tests/demo/test_command.py",
    "tests/concurrency/",
    "tests/test_layers.py",
)
DATABASE_FIXTURES = {"db", "transactional_db", "live_server", "client", "cast"}


def arrange(items: list[pytest.Item]) -> None:
    """Put long tests first, and mark those that are the same on every engine."""
    items.sort(key=lambda item: _place(item, LONG))
    for item in items:
        if _place(item, ONCE) < len(ONCE) and not _has_database(item):
            item.add_marker("once")


def _place(item: pytest.Item, names: Sequence[str]) -> int:
    """Which of the ``names`` an item's name begins with; their number where none is."""
    return next((place for place, name in enumerate(names) if item.nodeid.startswith(name)), len(names))


def _has_database(item: pytest.Item) -> bool:
    """Whether a test uses the tests' own database."""
    asks = item.get_closest_marker("django_db") or DATABASE_FIXTURES & set(getattr(item, "fixturenames", ()))
    return bool(asks) or hasattr(getattr(item, "cls", None), "databases")
