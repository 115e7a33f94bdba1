"""What is made of a sent picture, and what is refused."""

from __future__ import annotations

import datetime as dt
import io
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from inspections.domain.pictures import MOST_PIXELS, Picture, prepare
from portfolio.domain.refusals import Invalid
from tests.photos import pictures

#: Pillow warns of what it passes over in broken EXIF.
told_by_pillow = pytest.mark.filterwarnings("ignore::UserWarning:PIL")
#: JPEG shifts colours a little.
NEAR = 25


def made(content: bytes) -> Picture:
    return prepare(io.BytesIO(content))


def opened(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


def refused(content: bytes) -> str:
    with pytest.raises(Invalid) as caught:
        made(content)
    ((field, text),) = caught.value.errors
    assert field == "file"
    return text


def assert_same_corners(image: Image.Image) -> None:
    for corner, colour in pictures.corners_of(image).items():
        wanted = pictures.CORNERS[corner]
        assert max(abs(a - b) for a, b in zip(colour, wanted, strict=True)) < NEAR, corner


# What is kept --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_each_kind_is_kept_as_jpeg(format: str) -> None:
    picture = made(pictures.encoded(pictures.quarters(), format))
    kept = opened(picture.content)
    assert (kept.format, kept.mode, kept.size) == ("JPEG", "RGB", (160, 80))
    assert (picture.width, picture.height) == (160, 80)
    assert_same_corners(kept)


@pytest.mark.parametrize("mode", ["L", "LA", "P", "RGBA", "1", "CMYK"])
def test_every_mode_of_colour_is_kept(mode: str) -> None:
    format = "JPEG" if mode == "CMYK" else "PNG"
    kept = opened(made(pictures.encoded(pictures.quarters().convert(mode), format)).content)
    assert kept.mode == "RGB"


def test_what_is_transparent_is_white() -> None:
    clear = Image.new("RGBA", (40, 40), (10, 20, 30, 0))
    assert min(opened(made(pictures.encoded(clear, "PNG")).content).getpixel((20, 20))) > 245


# How the eight orientations store a picture that is upright on the camera's screen: CIPA DC-008-2023,
# tag 274 ("the 0th row is the visual top" and so on), written with Pillow's own transpositions.
STORED = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


@pytest.mark.parametrize("orientation", STORED)
def test_is_turned_upright(orientation: int) -> None:
    turn = STORED[orientation]
    stored = pictures.quarters() if turn is None else pictures.quarters().transpose(turn)
    picture = made(pictures.encoded(stored, exif=pictures.exif(orientation=orientation)))
    assert (picture.width, picture.height) == (160, 80)
    assert_same_corners(opened(picture.content))
    assert opened(picture.thumbnail).size == (160, 80)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_nothing_but_the_pixels_stays(format: str) -> None:
    told = {"exif": pictures.exif(taken="2021:05:03 10:20:30", everything=True), "icc_profile": b"x" * 200}
    told |= {"comment": pictures.SECRET, "xmp": pictures.SECRET.encode()}
    if format == "PNG":
        from PIL.PngImagePlugin import PngInfo

        texts = PngInfo()
        texts.add_text("Comment", pictures.SECRET)
        told |= {"pnginfo": texts}
    sent = pictures.encoded(pictures.quarters(), format, **told)
    assert pictures.SECRET[:9].encode() in sent
    picture = made(sent)
    for content in (picture.content, picture.thumbnail):
        kept = opened(content)
        assert not dict(kept.getexif())
        assert set(kept.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        # No other segment than those that the coding itself needs (ITU-T T.81, table B.1).
        assert not {0xE1, 0xE2, 0xED, 0xFE} & set(_segments(content))


def _segments(content: bytes) -> list[int]:
    """The markers of a JPEG's segments up to its scan."""
    found, at = [], 2
    while content[at + 1] != 0xDA:
        found.append(content[at + 1])
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    return found


@pytest.mark.parametrize(
    ("said", "offset", "taken"),
    [
        ("2021:05:03 10:20:30", None, dt.datetime(2021, 5, 3, 10, 20, 30)),
        (
            "2021:05:03 10:20:30",
            "+02:00",
            dt.datetime(2021, 5, 3, 10, 20, 30, tzinfo=dt.timezone(dt.timedelta(hours=2))),
        ),
        ("2021:05:03 10:20:30", "soon", dt.datetime(2021, 5, 3, 10, 20, 30)),
        ("0000:00:00 00:00:00", None, None),
        ("    :  :     :  :  ", None, None),
        ("yesterday", None, None),
        (None, None, None),
    ],
)
def test_the_time_is_handed_on(said: str | None, offset: str | None, taken: dt.datetime | None) -> None:
    assert made(pictures.camera_jpeg(taken=said, offset=offset)).taken == taken


@pytest.mark.parametrize("size", [(1600, 300), (300, 1600), (20, 10), (3000, 1)])
def test_a_thumbnail_has_at_most_400_pixels_a_side(size: tuple[int, int]) -> None:
    picture = made(pictures.encoded(pictures.quarters(*size), "PNG"))
    assert max(opened(picture.thumbnail).size) == min(400, max(size))


@told_by_pillow
def test_broken_exif_does_not_hold_up_a_good_picture() -> None:
    content = pictures.camera_jpeg(taken="2021:05:03 10:20:30", orientation=6)
    at = content.index(b"Exif\0\0")
    broken = content[: at + 14] + b"\xff" * 40 + content[at + 54 :]
    assert made(broken).width > 0


# How much ------------------------------------------------------------------------------------------------


def test_twelve_megapixels_are_kept_whole_and_more_of_a_jpeg_halved() -> None:
    picture = made(pictures.encoded(pictures.quarters(4032, 3024)))
    assert (picture.width, picture.height) == (4032, 3024)
    picture = made(pictures.encoded(pictures.quarters(8160, 6120)))
    assert (picture.width, picture.height) == (4080, 3060)
    assert_same_corners(opened(picture.content))


@pytest.mark.parametrize(
    "content",
    [
        pictures.encoded(Image.new("L", (4100, 3100)), "PNG"),
        pictures.encoded(Image.new("L", (4100, 3100)), "WEBP"),
        pictures.encoded(Image.new("L", (4100, 3100)), progressive=True),
        pictures.jpeg_that_says(8200, 6200),
        pictures.png_that_says(20_000, 20_000),
        pictures.png_that_says(2**31 - 1, 2**31 - 1),
        pictures.jpeg_that_says(65_500, 65_500),
    ],
    ids=["png", "webp", "progressive", "large", "bomb", "huge bomb", "jpeg bomb"],
)
def test_what_would_need_too_much_memory_is_refused_unread(content: bytes) -> None:
    assert "maller" in refused(content)


def test_a_jpeg_of_very_many_scans_is_refused() -> None:
    assert made(pictures.jpeg_of_scans(5)).width == 160
    assert "scans" in refused(pictures.jpeg_of_scans(500))


#: Over the start: the pixels at three bytes each, two copies of them while one is made of the other, and the
#: coded file, with as much again to spare.
MOST_MIB = 2 * (2 * 3 * MOST_PIXELS + 25 * 2**20) / 2**20

MEASURE = """
import io, resource, sys
from inspections.domain.pictures import prepare
content = sys.stdin.buffer.read()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
prepare(io.BytesIO(content))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.parametrize("size", [(4080, 3060), (8160, 6120)])
@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is told in KiB on Linux only")
def test_memory_is_bounded(size: tuple[int, int]) -> None:
    noise = Image.effect_noise((510, 400), 60).convert("RGB").resize(size)
    root = Path(__file__).parents[2]
    run = subprocess.run(
        [sys.executable, "-c", "import django; django.setup()" + MEASURE],
        input=pictures.encoded(noise),
        capture_output=True,
        check=True,
        cwd=root,
        env={"DJANGO_SETTINGS_MODULE": "portfolio.settings", "PYTHONPATH": str(root)},
    )
    assert int(run.stdout) / 1024 < MOST_MIB


# Hostile -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"GIF89a" + bytes(100),
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"%PDF-1.7\n",
        b"\x89PNG\r\n\x1a\n",
        b"RIFF\xff\xff\xff\xffWEBPVP8 ",
        b"\xff\xd8\xff\xe0" + bytes(64),
        pictures.encoded(pictures.quarters(), "GIF"),
        pictures.encoded(pictures.quarters(), "TIFF"),
        pictures.encoded(pictures.quarters(), "BMP"),
    ],
)
def test_what_is_no_picture_is_refused(content: bytes) -> None:
    assert "JPEG, PNG or WebP" in refused(content) or "damaged" in refused(content)


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_what_is_cut_off_is_refused(format: str, share: float) -> None:
    noise = Image.effect_noise((300, 200), 60).convert("RGB")
    content = pictures.encoded(noise, format)
    refused(content[: int(len(content) * share)])


@told_by_pillow
@settings(max_examples=150)
@given(
    content=st.sampled_from(
        [
            pictures.camera_jpeg(taken="2021:05:03 10:20:30", everything=True),
            pictures.encoded(pictures.quarters(), "PNG"),
            pictures.encoded(pictures.quarters(), "WEBP"),
        ]
    ),
    damage=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), max_size=12),
)
def test_a_damaged_file_is_kept_or_refused_and_nothing_else(
    content: bytes, damage: list[tuple[float, int]]
) -> None:
    broken = bytearray(content)
    for place, byte in damage:
        broken[int(place * len(broken))] = byte
    try:
        picture = made(bytes(broken))
    except Invalid:
        return
    assert opened(picture.content).format == "JPEG"
