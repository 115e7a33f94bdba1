"""A good book damaged at random loads whole or is refused whole, and never ends in another exception."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
from django.db import transaction
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from inspections.records import RecordsRefused, export_folder, load_folder
from portfolio.models import Organisation
from tests.records.books import good_book, read_folder, write_book
from tests.records.state import everything

pytestmark = pytest.mark.django_db
FUZZ = settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
PLACE = re.compile(r"^(\w+)\.csv:(\d+): [^\n]+: [^\n]+$")
BOOK = good_book()
NAMES = sorted(BOOK)
AWKWARD_WORDS = """- 0 -0 -1 1e308 1e-400 1e999 nan inf 1,5 1_0 0x1 32768 2147483648 99999999999999999999 =1+1
    2015-03-29T02:30 2015-10-25T02:30 0001-01-01 9999-12-31 9999-12-31T23:59:59-14:00 2015-02-29 2015-01-02
    24:00 yes no < > relative percent_rh other none unknown UTC Europe K1 W1 W2 M1 \u202e \ufeff ﬁ é e\u0301
    \" , ;"""
AWKWARD = st.sampled_from([*AWKWARD_WORDS.split(), "", "", " ", "\n", "\r", "a\r\nb"])
CELLS = st.one_of(AWKWARD, st.text(max_size=60), st.integers().map(str), st.floats().map(repr))


@st.composite
def damaged_files(draw: st.DrawFn) -> dict[str, bytes]:
    """The good book's files after a few changes of cells, rows and bytes."""
    tables = {name: [dict(row) for row in rows] for name, rows in good_book().items()}
    for _ in range(draw(st.integers(0, 3))):
        rows = tables[draw(st.sampled_from(NAMES))]
        row = draw(st.sampled_from(rows))
        what = draw(st.sampled_from(["cell", "cell", "cell", "again", "gone"]))
        if what == "cell":
            row[draw(st.sampled_from(sorted(row)))] = draw(CELLS)
        elif what == "again":
            rows.append(dict(row))
        elif len(rows) > 1:
            rows.remove(row)
    files = {name: _as_csv(rows) for name, rows in tables.items()}
    if draw(st.integers(0, 3)) == 0:
        name = draw(st.sampled_from(NAMES))
        content = files[name]
        start = draw(st.integers(0, len(content)))
        end = draw(st.integers(start, min(len(content), start + 20)))
        files[name] = content[:start] + draw(st.binary(max_size=8)) + content[end:]
    if draw(st.integers(0, 5)) == 0:
        del files[draw(st.sampled_from(NAMES))]
    return files


def _as_csv(rows: list[dict[str, str]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8", "surrogatepass")


@FUZZ
@given(files=damaged_files(), onto=st.booleans())
def test_a_damaged_book_loads_whole_or_not_at_all(
    files: dict[str, bytes], onto: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("damaged")
    for name, content in files.items():
        (folder / f"{name}.csv").write_bytes(content)
    with transaction.atomic():
        if onto:
            load_folder(write_book(folder / "good", BOOK), "larch-row")
        before = everything()
        try:
            load_folder(folder, "larch-row")
        except RecordsRefused as refused:
            event("refused")
            assert everything() == before
            _check_places(refused, files)
        else:
            event("loaded")
            _check_that_it_comes_back(folder)
        transaction.set_rollback(True)


def _check_places(refused: RecordsRefused, files: dict[str, bytes]) -> None:
    assert refused.errors
    for error in refused.errors:
        place = PLACE.match(str(error))
        assert place, str(error)
        content = files[place[1]].decode(errors="replace")
        assert 1 <= int(place[2]) <= len(re.split(r"\r\n|\r|\n", content))


def _check_that_it_comes_back(folder: Path) -> None:
    loaded = everything(except_loads=True)
    load_folder(folder, "larch-row")
    assert everything(except_loads=True) == loaded
    export_folder(folder / "one", Organisation.objects.get(slug="larch-row"))
    load_folder(folder / "one", "larch-row")
    assert everything(except_loads=True) == loaded
    load_folder(folder / "one", "mill-lane")
    export_folder(folder / "two", Organisation.objects.get(slug="mill-lane"))
    assert read_folder(folder / "two") == read_folder(folder / "one")
