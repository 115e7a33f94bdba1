"""Reads the published tables in ``tests/data``."""

from contextlib import suppress
from pathlib import Path

import numpy as np
import numpy.typing as npt

DATA = Path(__file__).parent.parent / "data"


def table(name: str) -> dict[str, npt.NDArray[np.float64]]:
    """Columns of numbers of ``tests/data/NAME.csv`` by name; lines that start with # name the source."""
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    header, *rows = [line.split(",") for line in lines if not line.startswith("#")]
    columns = {}
    for title, column in zip(header, zip(*rows, strict=True), strict=True):
        with suppress(ValueError):
            columns[title] = np.array([float(cell) for cell in column])
    return columns
