"""Invented pictures, made here, as cameras and attackers send them."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

from PIL import ExifTags, Image

#: A quarter of each colour, so that every turn and every mirroring shows: (left, top), (right, top) ...
CORNERS = {(0, 0): (200, 30, 30), (1, 0): (30, 180, 30), (0, 1): (30, 30, 200), (1, 1): (220, 220, 40)}
SECRET = "Larch Row, cellar key under the third pot"


def quarters(width: int = 160, height: int = 80) -> Image.Image:
    image = Image.new("RGB", (width, height))
    for (x, y), colour in CORNERS.items():
        image.paste(colour, (x * width // 2, y * height // 2, (x + 1) * width // 2, (y + 1) * height // 2))
    return image


def encoded(image: Image.Image, format: str = "JPEG", **options: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, format, **options)
    return out.getvalue()


def exif(
    *, orientation: int = 1, taken: str | None = None, offset: str | None = None, everything: bool = False
) -> Image.Exif:
    made = Image.Exif()
    made[ExifTags.Base.Orientation] = orientation
    details: dict[int, Any] = {}
    if taken is not None:
        details[ExifTags.Base.DateTimeOriginal] = taken
    if offset is not None:
        details[ExifTags.Base.OffsetTimeOriginal] = offset
    if everything:
        made[ExifTags.Base.Make] = SECRET
        details[ExifTags.Base.UserComment] = SECRET.encode()
        made[ExifTags.IFD.GPSInfo] = {1: "N", 2: (51.0, 28.0, 38.0), 3: "W", 4: (0.0, 0.0, 5.0)}
    made[ExifTags.IFD.Exif] = details
    return made


def camera_jpeg(**said: Any) -> bytes:
    """A JPEG as a phone makes it."""
    return encoded(quarters(), quality=92, exif=exif(**said))


def corners_of(image: Image.Image) -> dict[tuple[int, int], tuple[int, int, int]]:
    """The colours in the middle of each quarter."""
    width, height = image.size
    return {(x, y): image.getpixel((width * (1 + 2 * x) // 4, height * (1 + 2 * y) // 4)) for x, y in CORNERS}


def png_that_says(width: int, height: int) -> bytes:
    """A small PNG whose header states these sides, and whose data unpacks to far less."""
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    chunks = (b"IHDR", header), (b"IDAT", zlib.compress(bytes(100_000))), (b"IEND", b"")
    packed = (
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)


def jpeg_that_says(width: int, height: int) -> bytes:
    """A JPEG whose frame header states other sides than its data has."""
    content = bytearray(encoded(quarters()))
    at = content.index(b"\xff\xc0") + 5
    content[at : at + 4] = struct.pack(">HH", height, width)
    return bytes(content)


def jpeg_of_scans(count: int) -> bytes:
    """A progressive JPEG with its last scan repeated."""
    content = encoded(quarters(), progressive=True)
    last = content.rindex(b"\xff\xda")
    return content[:-2] + content[last:-2] * count + b"\xff\xd9"
