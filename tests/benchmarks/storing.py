"""Loading, reading and a page of the API, on the database that ``DATABASE_URL`` names, which ends up full.

``python -m tests.benchmarks.storing SIZES`` prints the results as JSON; ``tests.benchmarks`` starts it.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

from tests.benchmarks import assessing, planning
from tests.benchmarks.comparing import Result, Sizes, medians, times_faster, times_slower

TABLE = "inspections_reading"
PAGE = 100


def run(sizes: Sizes) -> list[Result]:
    from django.db import connection

    engine = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}[connection.vendor]
    loading = _loading(engine, sizes)
    _gather_statistics()
    return [
        loading,
        *_reading(engine, sizes),
        _asking(engine, sizes),
        planning.run(engine, sizes),
        *assessing.run(engine, sizes.assessed, sizes.repeats),
    ]


# Loading -----------------------------------------------------------------------------------------------


def _loading(engine: str, sizes: Sizes) -> Result:
    """A folder into an organisation of its own, and then the very same rows once more by the driver alone."""
    from inspections.records import load_folder
    from tests.concurrency.books import write_big_book

    ours, bare = [], []
    with TemporaryDirectory() as scratch:
        folder = write_big_book(Path(scratch) / "book", sizes.readings)
        for repeat in range(sizes.repeats):
            with _timed(ours):
                load_folder(folder, f"load-{repeat}")
            rows, names = _taken_out(f"load-{repeat}")
            assert len(rows) == sizes.readings
            with _timed(bare):
                _insert(rows, names)
    beside, goal = {
        "SQLite": ("bare executemany of the same rows, keys and foreign keys checked", "within 2 times"),
        "PostgreSQL": ("COPY of the same rows into the same indexed table", "within 1.5 times"),
    }[engine]
    work = f"{engine}: load a checked CSV of {sizes.readings:,} readings"
    return times_slower(work, median(ours), beside, median(bare), goal)


@contextmanager
def _timed(into: list[float]) -> Iterator[None]:
    start = time.perf_counter()
    yield
    into.append(time.perf_counter() - start)


def _taken_out(slug: str) -> tuple[list[Sequence[Any]], list[str]]:
    """The readings of an organisation as the driver gives them, after they were deleted; and the columns."""
    from django.db import connection

    of = (
        "WHERE building_id IN (SELECT b.id FROM portfolio_building b "
        "JOIN portfolio_organisation o ON o.id = b.organisation_id WHERE o.slug = %s)"
    )
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {TABLE} {of}", [slug])
        names = [column[0] for column in cursor.description]
        rows = [tuple(row) for row in cursor.fetchall()]
        cursor.execute(f"DELETE FROM {TABLE} {of}", [slug])
    return rows, names


def _insert(rows: list[Sequence[Any]], names: list[str]) -> None:
    from django.db import connection, transaction

    columns = ", ".join(names)
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            places = ", ".join("?" * len(names))
            cursor.connection.executemany(f"INSERT INTO {TABLE} ({columns}) VALUES ({places})", rows)
        else:
            with cursor.copy(f"COPY {TABLE} ({columns}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)


# Reading -----------------------------------------------------------------------------------------------


def _reading(engine: str, sizes: Sizes) -> list[Result]:
    """A house, and all houses, as the analysis takes them; beside three bare columns, made arrays."""
    from inspections.queries.series import building_record, building_records
    from portfolio.models import Building, Organisation

    organisation = Organisation.objects.get(slug="load-0")
    building = Building.objects.of(organisation).order_by("code").first()
    assert building is not None
    took = medians(
        {
            "house": lambda: building_record(building),
            "house, bare": lambda: arrays([building.pk]),
            "portfolio": lambda: list(building_records(organisation)),
            "portfolio, bare": lambda: [
                arrays([pk]) for pk in Building.objects.of(organisation).values_list("pk", flat=True)
            ],
        },
        sizes.repeats,
    )
    beside = "cursor.fetchall of section, time and value, made arrays"
    goal = "within 2 times the fastest path"
    return [
        times_slower(f"{engine}: {scope}'s record as arrays", took[name], beside, took[f"{name}, bare"], goal)
        for name, scope in (("house", "a house"), ("portfolio", "a portfolio"))
    ]


def arrays(buildings: list[Any]) -> list[Any]:
    """Section, time and value of the readings of a house: only what the driver makes of them."""
    import numpy as np
    from django.db import connection

    key = buildings[0].hex if connection.vendor == "sqlite" else buildings[0]
    sql = (
        "SELECT section_id, taken_at, value FROM inspections_reading "
        "WHERE building_id = %s AND voided_at IS NULL ORDER BY section_id, taken_at"
    )
    with connection.cursor() as cursor:
        # As the fastest path in the baselines: no dates, no UUIDs.
        cursor.execute(sql, [key])
        section, taken_at, value = zip(*cursor.fetchall(), strict=True)
    return [np.asarray(section), np.asarray(taken_at), np.fromiter(value, float, len(value))]


# Asking ------------------------------------------------------------------------------------------------


def _asking(engine: str, sizes: Sizes) -> Result:
    """A page of readings by the API, and by the framework's own generic list of the same records."""
    from django.urls import resolve
    from rest_framework.test import APIRequestFactory

    from portfolio.domain.tokens import issue_token
    from portfolio.models import Membership, Organisation, User

    organisation = Organisation.objects.get(slug="load-0")
    user = User.objects.create_user("benchmark")
    Membership.objects.create(user=user, organisation=organisation, role="analyst")
    _, key = issue_token(user=user, organisation=organisation, name="benchmark")
    headers = {"authorization": f"Bearer {key}", "host": "localhost"}
    ask = APIRequestFactory().get
    path = f"/api/v1/readings/?page_size={PAGE}"
    ours, stock = resolve("/api/v1/readings/").func, _stock_list(organisation)

    def answer(view: Any) -> bytes:
        for _ in range(sizes.requests):
            response = view(ask(path, headers=headers)).render()
            assert response.status_code == 200
        return bytes(response.content)

    assert json.loads(answer(ours))["results"] == json.loads(answer(stock))["results"]

    took = medians({"ours": lambda: answer(ours), "stock": lambda: answer(stock)}, sizes.repeats)
    return times_faster(
        f"{engine}: {sizes.requests} pages of {PAGE} readings by the API",
        took["ours"],
        "the framework's own list with the same answer: model serializer, two filters, numbered pages",
        took["stock"],
        "at least 2.5 times",
    )


def _gather_statistics() -> None:
    """What PostgreSQL does by itself within a minute, where that is not switched off."""
    from django.db import connection

    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


def _stock_list(organisation: Any) -> Any:
    from django_filters.rest_framework import DjangoFilterBackend
    from rest_framework.generics import ListAPIView
    from rest_framework.pagination import PageNumberPagination
    from rest_framework.renderers import JSONRenderer

    from inspections.api.serializers import ReadingSerializer
    from inspections.models import Reading
    from portfolio.api.authentication import TokenAuthentication

    class Pages(PageNumberPagination):
        page_size_query_param = "page_size"

    class StockList(ListAPIView[Any]):
        authentication_classes = (TokenAuthentication,)
        permission_classes = ()
        throttle_classes = ()
        renderer_classes = (JSONRenderer,)
        pagination_class = Pages
        filter_backends = (DjangoFilterBackend,)
        filterset_fields = ("quantity", "unit")
        serializer_class = ReadingSerializer
        queryset = Reading.objects.filter(building__organisation=organisation, voided_at=None).select_related(
            "building", "section", "instrument", "visit", "entered_by"
        )

    return StockList.as_view()


if __name__ == "__main__":
    import django

    django.setup()
    print(json.dumps([asdict(result) for result in run(Sizes(**json.loads(sys.argv[1])))]))
