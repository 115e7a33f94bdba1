"""Programs that write at the same moment, over HTTP: one is served, the rest are told, nothing is doubled."""

from __future__ import annotations

import json
import socket
import time
import urllib.error
import urllib.request
import uuid
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from tests.support.databases import Database, empty_database

WRITERS = 16
START_SECONDS = 60
PREPARE = """
from portfolio.domain.tokens import issue_token
from portfolio.models import Membership, Organisation, User
house = Organisation.objects.create(slug="mill-lane", name="Mill Lane (invented)")
user = User.objects.create(username="owner")
Membership.objects.create(user=user, organisation=house, role="owner")
print(issue_token(user=user, organisation=house, name="a program")[1])
"""


class Site:
    """The API as it is served, by two processes of four threads each."""

    def __init__(self, database: Database, port: int, key: str) -> None:
        self.database = database
        self._root = f"http://127.0.0.1:{port}/api/v1/"
        self._headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}

    def send(self, method: str, path: str, payload: Any, **headers: str) -> int:
        request = urllib.request.Request(
            self._root + path, json.dumps(payload).encode(), {**self._headers, **headers}, method=method
        )
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            with error:
                return error.code

    def at_once(self, method: str, path: str, payloads: list[Any], **headers: str) -> Counter[int]:
        with ThreadPoolExecutor(len(payloads)) as pool:
            return Counter(pool.map(lambda payload: self.send(method, path, payload, **headers), payloads))

    def count(self, table: str) -> int:
        return int(self.database.rows(f"SELECT COUNT(*) FROM {table}")[0][0])


@pytest.fixture
def site(db: None, tmp_path: Path) -> Iterator[Site]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with empty_database(tmp_path) as database:
        key = database.manage("shell", "--no-imports", "-c", PREPARE).strip()
        served = (
            "-m",
            "gunicorn",
            "portfolio.wsgi",
            "--workers=2",
            "--threads=4",
            f"--bind=127.0.0.1:{port}",
        )
        with database.start(*served) as server:
            try:
                _wait_for(port)
                yield Site(database, port, key)
            finally:
                server.terminate()
                server.communicate()


def _wait_for(port: int) -> None:
    deadline = time.monotonic() + START_SECONDS
    while True:
        try:
            socket.create_connection(("127.0.0.1", port)).close()
            return
        except OSError:
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.1)


def test_of_writers_at_once_each_is_answered_and_nothing_is_doubled(site: Site) -> None:
    house = {"id": str(uuid.uuid4()), "code": "H1", "timezone": "UTC"}
    assert site.at_once("POST", "buildings/", [house] * WRITERS) == {201: 1, 200: WRITERS - 1}
    assert site.count("portfolio_building") == 1

    others = [{"id": str(uuid.uuid4()), "code": "H2", "timezone": "UTC"} for _ in range(WRITERS)]
    assert site.at_once("POST", "buildings/", others) == {201: 1, 409: WRITERS - 1}
    assert site.count("portfolio_building") == 2

    names = [{"name": f"House {number} (invented)"} for number in range(WRITERS)]
    answers = site.at_once("PATCH", f"buildings/{house['id']}/", names, **{"If-Match": '"1"'})
    assert answers == {200: 1, 412: WRITERS - 1}
    assert site.count("portfolio_change") == 1

    reading = {"building": "H1", "taken_at": "2024-03-01T10:00", "quantity": "radon", "unit": "Bq_per_m3"}
    rows = [{**reading, "value": 80, "inspector": "GH", "point": f"P{number}"} for number in range(20)]
    assert site.at_once("POST", "readings/bulk/", [rows] * WRITERS) == {200: WRITERS}
    assert site.count("inspections_reading") == len(rows)
    assert site.count("inspections_visit") == 1

    singles = [
        {**reading, "id": str(uuid.uuid4()), "value": 90, "inspector": "IM", "point": f"Q{number}"}
        for number in range(WRITERS)
    ]
    assert site.at_once("POST", "readings/", singles) == {201: WRITERS}
    assert site.count("inspections_visit") == 2
