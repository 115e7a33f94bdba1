"""That the tests run on the services they were told to, and that a worker is reached over a real broker."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import redis
from celery import Celery
from django.core.cache import cache
from django.db import connection

ROOT = Path(__file__).parent.parent
START_SECONDS = 60


@pytest.mark.django_db
def test_the_tests_run_on_the_database_that_was_asked_for() -> None:
    asked = os.environ.get("DATABASE_URL", "sqlite").partition(":")[0]
    vendor = {"postgres": "postgresql", "postgresql": "postgresql", "sqlite": "sqlite"}[asked]
    with connection.cursor() as cursor:
        cursor.execute("SELECT version()" if vendor == "postgresql" else "SELECT sqlite_version()")
        assert cursor.fetchone()[0].startswith("PostgreSQL" if vendor == "postgresql" else "3.")


@pytest.mark.services
@pytest.mark.skipif("REDIS_URL" not in os.environ, reason="REDIS_URL is not set: the cache is in the process")
def test_the_cache_is_kept_in_redis() -> None:
    cache.set("kept", "in redis", timeout=60)
    with redis.Redis.from_url(os.environ["REDIS_URL"]) as client:
        assert list(client.scan_iter("*kept"))
    cache.delete("kept")


@pytest.fixture
def worker(redis_url: str, tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A Celery worker of this project in a process of its own, with Redis as its broker."""
    environment = os.environ | {
        "REDIS_URL": redis_url,
        "DATABASE_URL": f"sqlite:///{tmp_path}/worker.sqlite3",
    }
    command = [sys.executable, "-m", "celery", "-A", "portfolio", "worker", "--pool=solo", "--loglevel=error"]
    with subprocess.Popen(command, cwd=ROOT, env=environment) as process:
        yield process
        process.terminate()
        process.wait(timeout=START_SECONDS)


@pytest.mark.services
def test_a_worker_answers_over_redis(worker: subprocess.Popen[bytes], redis_url: str) -> None:
    with Celery(broker=redis_url) as outside:
        deadline = time.monotonic() + START_SECONDS
        answers: list[dict[str, dict[str, str]]] = []
        while not answers and worker.poll() is None and time.monotonic() < deadline:
            answers = outside.control.ping(timeout=1)
    assert [list(answer.values()) for answer in answers] == [[{"ok": "pong"}]]
