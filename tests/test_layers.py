"""What really loads where; the imports as written are checked by `lint-imports`."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

ANALYSIS = """
import pkgutil, inspections.analysis as analysis
for module in pkgutil.walk_packages(analysis.__path__, analysis.__name__ + "."):
    __import__(module.name)
"""
REQUESTS = """
import os, django
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portfolio.settings")
django.setup()
from django.urls import get_resolver
get_resolver().url_patterns
"""
# scipy.stats alone adds about a third of a second to every start; the request path uses scipy.special.
HEAVY = ["pandas", "scipy.stats", "matplotlib", "statsmodels", "sklearn"]
FRAMEWORK = ["django", "rest_framework", "celery", "redis", "psycopg", "portfolio"]


def loaded_by(code: str) -> set[str]:
    """The names of all modules that a new interpreter holds after running the code."""
    report = f"{code}\nimport sys\nprint(*sorted(sys.modules), sep='\\n')"
    done = subprocess.run(
        [sys.executable, "-c", report], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.split())


@pytest.mark.parametrize("forbidden", [FRAMEWORK, HEAVY])
def test_the_analysis_loads_neither_framework_nor_heavy_libraries(forbidden: list[str]) -> None:
    modules = loaded_by(ANALYSIS)
    assert "inspections.analysis" in modules
    assert modules.isdisjoint(forbidden)


def test_the_request_path_loads_no_heavy_libraries() -> None:
    modules = loaded_by(REQUESTS)
    assert "portfolio.urls" in modules
    assert modules.isdisjoint(HEAVY)


def test_a_forbidden_import_would_be_seen() -> None:
    assert not loaded_by("import scipy.stats").isdisjoint(HEAVY)
