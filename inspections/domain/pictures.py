"""A sent picture made fit to keep: known by its content, bounded, upright, and bare of all it told besides.

What is kept is a JPEG of the pixels alone. The place, the camera, comments and every other embedded text are
left behind; only the time at which it was taken is handed on.
"""

from __future__ import annotations

import datetime as dt
import io
import struct
import zlib
from dataclasses import dataclass
from typing import BinaryIO, Final

from PIL import ExifTags, Image, UnidentifiedImageError

from portfolio.domain.refusals import Invalid

CONTENT_TYPE: Final = "image/jpeg"
FORMATS: Final = ("JPEG", "PNG", "WEBP")
#: Of the sent file. A phone's 50-megapixel JPEG stays under it.
MOST_BYTES: Final = 25 * 1024 * 1024
#: What is kept and decoded at most: 12 megapixels as phones make them (4080 × 3060), 36 MB of memory.
MOST_PIXELS: Final = 12_500_000
#: A baseline JPEG of up to so many pixels is decoded at half its width and height, never as a whole.
MOST_PIXELS_HALVED: Final = 4 * MOST_PIXELS
MOST_MEGAPIXELS: Final = f"at most {MOST_PIXELS_HALVED / 1e6:.0f} megapixels are taken"
#: A progressive JPEG has about ten; thousands of empty ones are an attack on the decoder's time.
MOST_SCANS: Final = 64
START_OF_SCAN: Final = b"\xff\xda"
THUMBNAIL_PX: Final = 400
QUALITY, THUMBNAIL_QUALITY = 90, 80

#: What Pillow raises for files that are cut off, damaged or made to harm.
BROKEN: Final = (
    OSError,
    SyntaxError,
    ValueError,
    ArithmeticError,
    TypeError,
    LookupError,
    EOFError,
    MemoryError,
    struct.error,
    zlib.error,
)
BOMBS: Final = (Image.DecompressionBombError, Image.DecompressionBombWarning)
#: From the orientation that EXIF states (CIPA DC-008, tag 274) to upright.
TURNS: Final = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it is kept; ``taken`` is the camera's local time, with its offset if it knew one."""

    content: bytes
    thumbnail: bytes
    width: int
    height: int
    taken: dt.datetime | None


def prepare(file: BinaryIO) -> Picture:
    """Read a sent picture in bounded memory; raises `Invalid` naming ``file`` if it can't be kept."""
    try:
        with Image.open(file, formats=FORMATS) as image:
            _bound(image, file)
            image.load()
            orientation, taken = _told_besides(image)
            upright = _upright(image, orientation)
        content = _encoded(upright, QUALITY)
        width, height = upright.size
        upright.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
        return Picture(content, _encoded(upright, THUMBNAIL_QUALITY), width, height, taken)
    except UnidentifiedImageError as error:
        raise _refusal("This is no picture that can be read here; send a JPEG, PNG or WebP file.") from error
    except BOMBS as error:
        raise _refusal(f"The picture is far too large; {MOST_MEGAPIXELS}. Make it smaller.") from error
    except BROKEN as error:
        raise _refusal("The picture is damaged or cut off; send the original file again.") from error


def thumbnail_of(file: BinaryIO) -> bytes:
    """The thumbnail of a picture that is kept."""
    with Image.open(file, formats=("JPEG",)) as image:
        image.draft(None, (THUMBNAIL_PX, THUMBNAIL_PX))
        image.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
        image.info = {}
        return _encoded(image, THUMBNAIL_QUALITY)


def _bound(image: Image.Image, file: BinaryIO) -> None:
    """Refuse what would take too much memory or time to decode, before any of it is."""
    pixels = image.width * image.height
    is_jpeg = image.format in ("JPEG", "MPO")
    if is_jpeg and _scans(file) > MOST_SCANS:
        raise _refusal("The JPEG is made of too many scans; save it anew as an ordinary JPEG.")
    if pixels <= MOST_PIXELS:
        return
    if pixels > MOST_PIXELS_HALVED:
        raise _refusal(f"The picture has {pixels / 1e6:.0f} megapixels; {MOST_MEGAPIXELS}. Make it smaller.")
    if not is_jpeg or "progressive" in image.info:
        raise _refusal(
            f"The picture has {pixels / 1e6:.1f} megapixels; only an ordinary (not progressive) JPEG may "
            f"have more than {MOST_PIXELS / 1e6:.1f}. Make it smaller, or send the camera's own JPEG."
        )
    image.draft(None, (image.width // 2, image.height // 2))
    if image.width * image.height > MOST_PIXELS * 1.01:
        raise _refusal("The JPEG can't be read at a smaller size; make it smaller first.")


def _scans(file: BinaryIO) -> int:
    """How many scans a JPEG has: within the coded data, the marker's two bytes never stand together."""
    place = file.tell()
    file.seek(0)
    count = file.read(MOST_BYTES).count(START_OF_SCAN)
    file.seek(place)
    return count


def _told_besides(image: Image.Image) -> tuple[int, dt.datetime | None]:
    """Orientation and time from EXIF; where that is broken, the picture itself may still be good."""
    try:
        exif = image.getexif()
        details = exif.get_ifd(ExifTags.IFD.Exif)
        orientation = exif.get(ExifTags.Base.Orientation)
        taken = _time(
            details.get(ExifTags.Base.DateTimeOriginal), details.get(ExifTags.Base.OffsetTimeOriginal)
        )
    except BROKEN:
        return 1, None
    return (orientation if isinstance(orientation, int) else 1), taken


def _time(text: object, offset: object) -> dt.datetime | None:
    if not isinstance(text, str):
        return None
    bare, zone = text.strip("\0 "), offset.strip("\0 ") if isinstance(offset, str) else ""
    for written, layout in ((bare + zone, "%Y:%m:%d %H:%M:%S%z"), (bare, "%Y:%m:%d %H:%M:%S")):
        try:
            return dt.datetime.strptime(written, layout)
        except ValueError:
            continue
    return None


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    """The pixels alone, in RGB, what is transparent on white, turned upright."""
    if image.has_transparency_data:
        opaque = image.convert("RGBA")
        flat = Image.new("RGB", image.size, "white")
        flat.paste(opaque, mask=opaque.getchannel("A"))
    else:
        flat = image.convert("RGB")
    turn = TURNS.get(orientation)
    if turn is not None:
        flat = flat.transpose(turn)
    # Some of what stands here (a comment, for one) would be written out again.
    flat.info = {}
    return flat


def _encoded(image: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()


def _refusal(text: str) -> Invalid:
    return Invalid([("file", text)])
