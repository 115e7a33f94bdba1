"""Drawn pictures in the place of photos: a stretch of rubble wall, bare or with what is left of its coat.

They are drawn from the record, so that a picture shows as much fallen as was read, and say that they are.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

WIDE, HIGH = 960, 720
#: Height of a course of stones and width of a stone, px, lowest and highest.
COURSE, STONE = (46, 78), (60, 170)
MORTAR, LABEL = "#8d8374", "Drawn, not photographed: an invented wall"
STONES = ("#7c766d", "#857c70", "#6f6a63", "#8b8478", "#77706a", "#94897a")
FONT = Path(__file__).parents[1] / "fonts" / "DejaVuSansCondensed.ttf"


def draw_wall(seed: int, coat: str = "", fallen: float = 0.0) -> bytes:
    """A picture as a JPEG: the same stones for the same seed, under a coat of which a share has fallen."""
    rng = np.random.default_rng(seed)
    image = Image.new("RGB", (WIDE, HIGH), MORTAR)
    draw = ImageDraw.Draw(image)
    for corners, colour in _stones(rng):
        draw.polygon(corners, colour)
    if coat:
        rendered = Image.new("RGB", (WIDE, HIGH), coat)
        image.paste(rendered, mask=_mask(rng, fallen))
    draw.rectangle((0, HIGH - 56, WIDE, HIGH), "#faf7f0")
    draw.text((16, HIGH - 28), LABEL, "#211d18", ImageFont.truetype(FONT, 32), "lm")
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80)
    return out.getvalue()


def _stones(rng: np.random.Generator) -> Iterator[tuple[list[tuple[float, float]], str]]:
    y = 0.0
    while y < HIGH:
        high, x = float(rng.uniform(*COURSE)), -float(rng.uniform(0, STONE[0]))
        while x < WIDE:
            wide = float(rng.uniform(*STONE))
            jitter = rng.uniform(-6, 6, 8).tolist()
            left, right, top, low = x + 5, x + wide - 5, y + 5, y + high - 5
            corners = [(left, top), (right, top), (right, low), (left, low)]
            moved = [
                (a + one, b + other)
                for (a, b), one, other in zip(corners, jitter[:4], jitter[4:], strict=True)
            ]
            yield moved, STONES[int(rng.integers(len(STONES)))]
            x += wide
        y += high


def _mask(rng: np.random.Generator, fallen: float) -> Image.Image:
    """Where the coat still is: white. It fell first near the foot, in patches that make up its share."""
    rough = rng.normal(size=(HIGH // 24, WIDE // 24))
    smooth = Image.fromarray(((rough - rough.min()) / np.ptp(rough) * 255).astype(np.uint8))
    height = np.linspace(0.0, 90.0, HIGH)[:, None]
    field = np.asarray(smooth.resize((WIDE, HIGH), Image.Resampling.BICUBIC), dtype=float) + height
    edge = np.quantile(field, 1 - min(max(fallen, 0.0), 1.0))
    return Image.fromarray(np.where(field <= edge, 255, 0).astype(np.uint8))
