"""Reads the published tables in ``tests/data``."""

from pathlib import Path

import numpy as np
import numpy.typing as npt

DATA = Path(__file__).parent.parent / "data"


def table(name: str) -> dict[str, npt.NDArray[np.float64]]:
    """Columns of ``tests/data/NAME.csv`` by name; lines that start with # name the source."""
    lines = (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    header, *rows = [line.split(",") for line in lines if not line.startswith("#")]
    return dict(zip(header, np.array(rows, dtype=float).T, strict=True))
