"""Files that people send: of bounded size, kept whole under the SHA-256 of their bytes."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import BinaryIO

from django.conf import settings

from portfolio.domain.refusals import Invalid


def bounded(file: BinaryIO, most_bytes: int) -> BinaryIO:
    """The file from its beginning; raises `Invalid` where it is empty or too large."""
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    if not size:
        raise Invalid([("file", "The file is empty; choose it again.")])
    if size > most_bytes:
        raise Invalid(
            [("file", f"The file has {size / 2**20:.0f} MiB; at most {most_bytes // 2**20} are taken.")]
        )
    return file


def place_of(folder: str, digest: str, ending: str) -> Path:
    """Where a file with this SHA-256 is kept."""
    return Path(settings.MEDIA_ROOT, folder, digest[:2], digest[2:4], f"{digest}.{ending}")


def write_once(place: Path, content: bytes) -> None:
    """Write a file whole or not at all. One that is there has the same bytes: they are its name."""
    if place.exists():
        return
    place.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=place.parent, prefix=".", delete=False) as part:
        try:
            part.write(content)
            part.flush()
            os.fsync(part.fileno())
            os.replace(part.name, place)
        except BaseException:
            os.unlink(part.name)
            raise
