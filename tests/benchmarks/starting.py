"""Start-up and first request beside a bare project of the same framework, in new interpreters."""

from __future__ import annotations

import os
import subprocess
import sys
from functools import partial
from pathlib import Path

from tests.benchmarks.comparing import Result, Sizes, medians, times_slower

ROOT = Path(__file__).parent.parent.parent
ASK = """
from django.test import Client
assert Client().get("/sign-in/", headers={"host": "localhost"}).status_code == 200
"""
OURS = "import django; django.setup()" + ASK
API = """
import django; django.setup()
from django.test import Client
assert Client().get("/api/v1/", headers={"host": "localhost"}).status_code == 401
"""
BARE = (
    """
import sys, types
from django.conf import settings
settings.configure(
    SECRET_KEY="bare", ROOT_URLCONF="bare", ALLOWED_HOSTS=["localhost"], USE_TZ=True,
    DATABASES={"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:"}},
    INSTALLED_APPS=["django.contrib.auth", "django.contrib.contenttypes", "django.contrib.sessions",
                    "django.contrib.messages", "django.contrib.staticfiles", "rest_framework"],
    MIDDLEWARE=["django.middleware.security.SecurityMiddleware",
                "django.contrib.sessions.middleware.SessionMiddleware",
                "django.middleware.common.CommonMiddleware", "django.middleware.csrf.CsrfViewMiddleware",
                "django.contrib.auth.middleware.AuthenticationMiddleware"],
    TEMPLATES=[{"BACKEND": "django.template.backends.django.DjangoTemplates", "APP_DIRS": True}],
)
import django; django.setup()
from django.urls import path
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework import serializers, viewsets, routers
from rest_framework.renderers import JSONRenderer
class Page(APIView):
    renderer_classes = [JSONRenderer]
    permission_classes = []
    authentication_classes = []
    def get(self, request): return Response({})
bare = types.ModuleType("bare")
bare.urlpatterns = [path("sign-in/", Page.as_view())]
sys.modules["bare"] = bare
"""
    + ASK
)


def run(sizes: Sizes) -> list[Result]:
    codes = {"a page": OURS, "the API": API, "bare": BARE}
    took = medians({name: partial(_run, code) for name, code in codes.items()}, sizes.starts)
    return [
        times_slower(
            f"start-up and first request, of {name}",
            took[name],
            "a bare Django and its REST framework",
            took["bare"],
            "at most 1.2 times",
        )
        for name in ("a page", "the API")
    ]


def _run(code: str) -> None:
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "portfolio.settings",
        "DATABASE_URL": "sqlite://:memory:",
    }
    # As where it is installed: the project's own modules are compiled once too, not at every start.
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    if code is BARE:
        del environment["DJANGO_SETTINGS_MODULE"]
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, check=True)
