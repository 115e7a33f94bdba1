"""What really loads where; the imports as written are checked by `lint-imports`."""

import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from django.urls import URLResolver, get_resolver
from django.utils.module_loading import import_string

ROOT = Path(__file__).parent.parent

ANALYSIS = """
import pkgutil, inspections.analysis as analysis
for module in pkgutil.walk_packages(analysis.__path__, analysis.__name__ + "."):
    __import__(module.name)
"""
SET_UP = """
import os, django
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portfolio.settings")
os.environ["DATABASE_URL"] = "sqlite://:memory:"
django.setup()
from django.test import Client
ask = Client(headers={"host": "localhost"}).get
"""
PAGE = f"{SET_UP}assert ask('/sign-in/').status_code == 200"
PORTFOLIO = f"{SET_UP}import inspections.web.views, inspections.web.folders, inspections.web.entry.visits"
SHEETS = f"{SET_UP}import inspections.web.sheets, inspections.web.lent_sheets"
API = f"{SET_UP}assert ask('/api/v1/').status_code == 401"
CHECK = f"{SET_UP}from django.core.management import call_command; call_command('check')"
# Each adds to every start; scipy.stats alone about a third of a second to whatever computes.
HEAVY = ["pandas", "scipy.stats", "matplotlib", "statsmodels", "sklearn", "fpdf", "fontTools"]
COMPUTES = [*HEAVY, "scipy", "celery"]
FRAMEWORK = ["django", "rest_framework", "celery", "redis", "psycopg", "portfolio"]


@cache
def loaded_by(code: str) -> frozenset[str]:
    """The names of all modules that a new interpreter holds after running the code."""
    report = f"{code}\nimport sys\nprint(*sorted(sys.modules), sep='\\n')"
    done = subprocess.run(
        [sys.executable, "-c", report], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return frozenset(done.stdout.split())


@pytest.mark.parametrize("forbidden", [FRAMEWORK, HEAVY])
def test_the_analysis_loads_neither_framework_nor_heavy_libraries(forbidden: list[str]) -> None:
    modules = loaded_by(ANALYSIS)
    assert "inspections.analysis" in modules
    assert modules.isdisjoint(forbidden)


@pytest.mark.parametrize(
    ("code", "forbidden"),
    [
        (PAGE, [*COMPUTES, "numpy", "rest_framework", "inspections.api", "inspections.records"]),
        (PORTFOLIO, COMPUTES),
        (SHEETS, HEAVY),
        (API, [*COMPUTES, "numpy"]),
        (CHECK, [*COMPUTES, "numpy"]),
    ],
    ids=["sign-in", "pages", "sheets", "API", "check"],
)
def test_a_request_loads_only_what_it_needs(code: str, forbidden: list[str]) -> None:
    modules = loaded_by(code)
    assert {"django.core", "inspections.models"} < modules
    assert modules.isdisjoint(forbidden)


def test_every_page_that_is_imported_later_can_be() -> None:
    pages = [view for view in _views(get_resolver("portfolio.pages")) if hasattr(view, "path")]
    assert len(pages) > 10
    for view in pages:
        assert callable(import_string(view.path))


def _views(resolver: URLResolver) -> Iterator[Any]:
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            yield from _views(pattern)
        else:
            yield pattern.callback


def test_a_forbidden_import_would_be_seen() -> None:
    assert not loaded_by("import scipy.stats").isdisjoint(HEAVY)
