"""Files that a browser sends, CSV files or one zip of them, written into a folder that can be loaded.

Only names of the contract are written, always under that very name: whatever path a zip or a browser states,
nothing of it reaches the disk. All sizes are bounded, and counted while unpacking rather than believed.
"""

from __future__ import annotations

import os
import shutil
import struct
import zipfile
import zlib
from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath
from typing import IO, Any, Final, Protocol

from inspections.records.faults import printable
from inspections.records.tables import FILES
from portfolio.domain.refusals import Invalid

#: Of everything that is unpacked together; a million readings are about 100 MB.
MOST_BYTES: Final = 256 * 1024 * 1024
#: What a zip may list; a record folder has ten files.
MOST_ENTRIES: Final = 1_000
#: Of a zip's list of contents: entries with names of ordinary length.
MOST_DIRECTORY_BYTES: Final = 256 * 1024
CHUNK: Final = 1024 * 1024
KNOWN: Final = tuple(table.file for table in FILES)

#: What is raised for zips that are cut off, damaged or made to harm.
BROKEN: Final = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    LookupError,
    RuntimeError,
    ValueError,
)

# The end of a zip as APPNOTE 6.3 has it (sections 4.3.15 and 4.3.16).
END, END_BYTES, LONGEST_COMMENT = b"PK\x05\x06", 22, 65_535
END_64, END_64_BYTES = b"PK\x06\x07", 20


class Sent(Protocol):
    """A file as a browser sent it."""

    name: str | None
    file: IO[Any]


def unpack(sent: Sequence[Sent], folder: Path) -> list[str]:
    """Write the files of records into the folder; gives the names of those left alone. Raises `Invalid`."""
    if not sent:
        raise _refusal("Choose the files first: CSV files of records, or a zip of them.")
    zips = [one for one in sent if _name(one).lower().endswith(".zip")]
    if zips and len(sent) > 1:
        raise _refusal("Send one zip alone, or CSV files without a zip.")
    left = _unzip(zips[0].file, folder) if zips else _copy_all(sent, folder)
    if not any(folder.iterdir()):
        raise _refusal(f"None of the files is one of records; those are named {', '.join(KNOWN)}.")
    return left


def rows_in(folder: Path) -> int:
    """About how many rows the files have: their lines."""
    return sum(_lines(path) for path in folder.iterdir())


def _lines(path: Path) -> int:
    with path.open("rb") as file:
        return sum(chunk.count(b"\n") for chunk in iter(lambda: file.read(CHUNK), b""))


def _name(one: Sent) -> str:
    return one.name or ""


def _refusal(text: str) -> Invalid:
    return Invalid([("files", text)])


# CSV files ----------------------------------------------------------------------------------------------


def _copy_all(sent: Iterable[Sent], folder: Path) -> list[str]:
    left, room = [], MOST_BYTES
    for one in sent:
        name = _name(one)
        if name in KNOWN:
            room = _copy(one.file, folder, name, room)
        else:
            left.append(printable(name))
    return left


def _copy(source: IO[bytes], folder: Path, name: str, room: int) -> int:
    """Write one file and give the room that is left."""
    target = folder / name
    if target.exists():
        raise _refusal(f"{name} is there twice; send it once.")
    with target.open("wb") as out:
        while chunk := source.read(CHUNK):
            room -= len(chunk)
            if room < 0:
                raise _refusal(
                    f"The files hold more than {MOST_BYTES // 2**20} MiB together; "
                    "send them in parts, or use manage.py load_records."
                )
            out.write(chunk)
    return room


# A zip -----------------------------------------------------------------------------------------------------


def _unzip(file: IO[bytes], folder: Path) -> list[str]:
    _refuse_large_directory(file)
    try:
        with zipfile.ZipFile(file) as archive:
            return _unpack_entries(archive, folder)
    except BROKEN as error:
        raise _refusal("The zip is damaged or of a kind that can't be read; pack it anew.") from error


def _unpack_entries(archive: zipfile.ZipFile, folder: Path) -> list[str]:
    left, room = [], MOST_BYTES
    entries = [entry for entry in archive.infolist() if not entry.filename.endswith("/")]
    if len(entries) > MOST_ENTRIES:
        raise _refusal(f"The zip holds {len(entries):,} files; a folder of records has {len(KNOWN)}.")
    for entry in entries:
        path = PurePosixPath(entry.filename)
        if path.is_absolute() or ".." in path.parts or "\\" in entry.filename:
            raise _refusal(f"The zip names a place outside itself: {printable(entry.filename)}.")
        if path.name not in KNOWN or "__MACOSX" in path.parts:
            left.append(printable(entry.filename))
            continue
        if entry.flag_bits & 0x1:
            raise _refusal("The zip is locked with a password; pack it without one.")
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise _refusal("The zip is packed in an uncommon way; pack it anew as an ordinary zip.")
        with archive.open(entry) as source:
            room = _copy(source, folder, path.name, room)
    return left


def _refuse_large_directory(file: IO[bytes]) -> None:
    """Look at the zip's end before its list of contents is read into memory, which may be a million names."""
    size = file.seek(0, os.SEEK_END)
    file.seek(max(0, size - END_BYTES - END_64_BYTES - LONGEST_COMMENT))
    tail = file.read()
    file.seek(0)
    at = tail.find(END)
    # A second end, or one of the long form, would let the list be read from elsewhere.
    if at < 0 or tail.count(END) > 1 or len(tail) < at + END_BYTES or END_64 in tail:
        raise _refusal("This is no ordinary zip; pack the CSV files anew.")
    if int.from_bytes(tail[at + 12 : at + 16], "little") > MOST_DIRECTORY_BYTES:
        raise _refusal(f"The zip lists too many files; a folder of records has {len(KNOWN)}.")


def remove(folder: Path) -> None:
    """Remove a folder with all that is in it, if it is there."""
    shutil.rmtree(folder, ignore_errors=True)
