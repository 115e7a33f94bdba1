from __future__ import annotations

from pathlib import Path

import pytest

from tests.records.books import Tables, good_book, write_book


@pytest.fixture
def tables() -> Tables:
    return good_book()


@pytest.fixture
def folder(tmp_path: Path, tables: Tables) -> Path:
    """The good book as a folder."""
    return write_book(tmp_path / "book", tables)
