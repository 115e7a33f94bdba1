"""The evidence sheet as a PDF: one page where it fits, tagged for screen readers, drawn as vectors.

Letters are set in the DejaVu fonts that the package carries (`inspections/fonts`), of which a file holds
those that it uses. fpdf2 is imported when a sheet is first asked for.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

from fpdf import FPDF
from fpdf.enums import MethodReturnValue
from PIL import Image

from inspections.domain.photos import PictureMissing, open_thumbnail
from inspections.web.present.figures import BOLD, FONTS, LETTER, REGULAR, STYLES, Dot, Figure, Text
from inspections.web.present.figures import Path as Line
from inspections.web.present.sheet import INVENTED, TALL, Picture, Sheet
from inspections.web.present.trial_figures import Paper, sample
from portfolio.vocabulary import Units

SANS, SERIF = "sans", "serif"
FACES: Final = (
    (SANS, "", REGULAR),
    (SANS, "B", BOLD),
    (SERIF, "B", "DejaVuSerifCondensed-Bold.ttf"),
)
#: Margins at the sides, above and below, pt; the page's number stands in the last.
SIDE, ABOVE, BELOW = 42.0, 36.0, 44.0
#: A figure is drawn on paper so many px wide, so that its 13 px letters are about 8 pt high.
PAPER: Final = Paper(830.0, 1, "")
#: Letters of text at full size, pt, and a line's height over them.
TEXT, LINE = 9.6, 1.34
#: Sizes that are tried until the sheet fits one page; what does not is set on two at full size.
SIZES: Final = (1.0, 0.95, 0.9, 0.85)
#: Most height of a photo at full size, pt, and most photos beside one another.
PHOTO, ABREAST = 128.0, 4
#: How much thicker than elsewhere the lines are that the sheet is about.
THICKER = 1.5
INK, SOFT, HAIR = "#000000", "#3d3d3d", "#b0b0b0"


@dataclass(frozen=True, slots=True)
class Block:
    """A piece that no page's end divides: its height, pt, and how it is drawn from a height downward."""

    height: float
    draw: Callable[[float], None]
    #: Whether what comes next must stand on the same page, as after a heading.
    leads: bool = False


def as_pdf(sheet: Sheet, foot: str, organisation: str, system: str, *, invented: bool = False) -> bytes:
    """The sheet as a file. It is A4, or Letter for who reads in feet."""
    page = _Page("letter" if system == Units.US else "a4")
    page.set_lang("en-GB")
    page.set_title(sheet.title)
    page.set_author(organisation)
    page.set_subject(sheet.where)
    page.add_page()
    page.put(_laid(page, sheet, foot, invented))
    page.number()
    return bytes(page.output())


def _laid(page: _Page, sheet: Sheet, foot: str, invented: bool) -> list[Block]:
    """The sheet at the first size that fits one page, or else at full size."""
    room = page.h - ABOVE - BELOW
    whole: list[Block] = []
    for size in SIZES:
        blocks = _Laid(page, size).blocks(sheet, foot, invented)
        if sum(block.height for block in blocks) <= room:
            return blocks
        whole = whole or blocks
    return whole


class _Page(FPDF):
    """Pages with the fonts, whose content is tagged."""

    def __init__(self, paper: str) -> None:
        super().__init__("portrait", "pt", paper)
        for family, style, name in FACES:
            self.add_font(family, style, FONTS / name)
        self.set_margins(SIDE, ABOVE, SIDE)
        self.set_auto_page_break(False)
        self.c_margin = 0.0

    def put(self, blocks: Sequence[Block]) -> None:
        """Set the blocks under one another, a heading never at a page's foot."""
        y, end = ABOVE, self.h - BELOW
        for place, block in enumerate(blocks):
            led = place
            needed = block.height
            while blocks[led].leads and led + 1 < len(blocks):
                led += 1
                needed += blocks[led].height
            if y + needed > end and y > ABOVE:
                self.add_page()
                y = ABOVE
            block.draw(y)
            y += block.height

    def number(self) -> None:
        """Each page's number, at its foot."""
        for page in range(1, self.pages_count + 1):
            self.page = page
            self.set_font(SANS, "", 8)
            self.set_text_color(SOFT)
            words = f"page {page} of {self.pages_count}"
            with self.artifact():
                self.text(self.w - SIDE - self.get_string_width(words), self.h - 24, words)

    @contextmanager
    def tagged(self, kind: str, alt: str | None = None) -> Iterator[None]:
        """What is drawn within is one element of this kind in the document's structure."""
        builder = self.struct_builder
        mcid = builder.next_mcid_for_page(self.page)
        _, parents = builder.add_marked_content(
            page_number=self.page, struct_type=f"/{kind}", mcid=mcid, alt_text=alt
        )
        self.pages[self.page].struct_parents = parents
        self._out(f"/{kind} <</MCID {mcid}>> BDC")
        yield
        self._out("EMC")

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """What is drawn within says nothing, and is not read out."""
        self._out("/Artifact BMC")
        yield
        self._out("EMC")


class _Laid:
    """The sheet laid out at a size."""

    def __init__(self, page: _Page, size: float) -> None:
        self.page, self.size = page, size
        self.wide = page.w - 2 * SIDE

    def blocks(self, sheet: Sheet, foot: str, invented: bool) -> list[Block]:
        """All of it, from the top."""
        found = [self.text("P", INVENTED, TEXT, style="B", after=6)] if invented else []
        found += [
            self.text("H1", sheet.title, 16, family=SERIF, style="B", after=3),
            self.text("P", sheet.where, TEXT, colour=SOFT, after=5),
            self.text("P", sheet.answer, 12, after=4),
        ]
        if sheet.pictures:
            found += [self.heading(sheet.headings.pictures), *self.photos(sheet.pictures)]
        if sheet.figure is not None:
            found += [self.heading(sheet.headings.figure), self.legend(sheet.legend)]
            found.append(self.figure(sheet.figure(PAPER, TALL * self.size**2)))
            found.append(self.text("P", sheet.figure_note, 8.4, colour=SOFT, after=2))
        for heading, lines in ((sheet.headings.pace, sheet.pace), (sheet.headings.open, sheet.open)):
            found += [self.heading(heading), *(self.item(line) for line in lines)]
        return [*found, self.text("P", foot, 8.4, colour=SOFT, before=8)]

    def text(
        self,
        kind: str,
        words: str,
        pt: float,
        *,
        family: str = SANS,
        style: str = "",
        colour: str = INK,
        before: float = 0.0,
        after: float = 0.0,
        wide: float | None = None,
        left: float = SIDE,
    ) -> Block:
        """Words over the page's width, or so ``wide`` from ``left``."""
        page, high = self.page, pt * self.size
        across = wide or self.wide

        def font() -> None:
            page.set_font(family, style, high)
            page.set_text_color(colour)

        font()
        height = page.multi_cell(
            across, high * LINE, words, align="L", dry_run=True, output=MethodReturnValue.HEIGHT
        )
        assert isinstance(height, float | int)

        def draw(y: float) -> None:
            font()
            page.set_xy(left, y + before * self.size)
            with page.tagged(kind):
                page.multi_cell(across, high * LINE, words, align="L")

        return Block(height + (before + after) * self.size, draw)

    def heading(self, words: str) -> Block:
        inner = self.text("H2", words, 11.5, family=SERIF, style="B", before=9, after=2)

        def draw(y: float) -> None:
            with self.page.artifact():
                self.rule(y + 5 * self.size, INK)
            inner.draw(y)

        return Block(inner.height, draw, leads=True)

    def item(self, words: str) -> Block:
        return self.text("P", words, TEXT, after=3.2)

    def rule(self, y: float, colour: str) -> None:
        self.page.set_draw_color(colour)
        self.page.set_line_width(0.6)
        self.page.line(SIDE, y, SIDE + self.wide, y)

    # Photos ------------------------

    def photos(self, pictures: Sequence[tuple[str, Sequence[Picture]]]) -> Iterator[Block]:
        """Rows of photos, each under the coat that it is of."""
        every = [(name, picture) for name, own in pictures for picture in own]
        across = min(ABREAST, max(len(every), 3))
        for start in range(0, len(every), across):
            yield self.row(every[start : start + across], across)

    def row(self, own: Sequence[tuple[str, Picture]], across: int) -> Block:
        gap = 10.0
        wide = (self.wide - gap * (across - 1)) / across
        cells = []
        for place, (name, picture) in enumerate(own):
            left = SIDE + place * (wide + gap)
            head = self.text("H3", name, 8.8, style="B", after=2, wide=wide, left=left)
            under = self.text("P", picture.caption, 7.8, colour=SOFT, before=2, wide=wide, left=left)
            cells.append((head, picture, under, left))
        most = max(head.height for head, *_ in cells)
        images = [_opened(picture) for _, picture, *_ in cells]
        sizes = [_within(image, wide, PHOTO * self.size) for image in images]
        high = max(size[1] for size in sizes)
        below = max(under.height for _, _, under, _ in cells)

        def draw(y: float) -> None:
            for (head, picture, under, left), image, size in zip(cells, images, sizes, strict=True):
                head.draw(y)
                if image is not None:
                    self.page.image(image, left, y + most, *size, alt_text=picture.caption)
                under.draw(y + most + high)

        return Block(most + high + below + 4, draw)

    # Figure ------------------------

    def legend(self, names: Sequence[str]) -> Block:
        """Samples of the lines with their names, side by side as far as there is room."""
        pt = 8.8 * self.size
        page, line = self.page, pt * 1.6
        page.set_font(SANS, "", pt)
        places, x, y = [], 0.0, 0.0
        for name in names:
            wide = 40 + page.get_string_width(name) + 18
            if x and x + wide > self.wide:
                x, y = 0.0, y + line
            places.append((x, y))
            x += wide

        def draw(top: float) -> None:
            for number, (name, (x, y)) in enumerate(zip(names, places, strict=True)):
                with page.artifact():
                    _drawn(page, sample(number, name, marked=False), SIDE + x, top + y, 0.72)
                page.set_font(SANS, "", pt)
                page.set_text_color(INK)
                with page.tagged("P"):
                    page.text(SIDE + x + 40, top + y + pt, name)

        return Block(y + line, draw, leads=True) if names else Block(0.0, lambda top: None, leads=True)

    def figure(self, figure: Figure) -> Block:
        scale = self.wide / figure.width

        def draw(y: float) -> None:
            with self.page.tagged("Figure", f"{figure.title}. {figure.description}"):
                _drawn(self.page, figure, SIDE, y, scale)

        return Block(figure.height * scale, draw, leads=True)


def _opened(picture: Picture) -> Image.Image | None:
    """The photo, small; None where its file is not on this machine."""
    try:
        with open_thumbnail(picture.photo) as file:
            return Image.open(io.BytesIO(file.read()))
    except PictureMissing:
        return None


def _within(image: Image.Image | None, wide: float, high: float) -> tuple[float, float]:
    """The photo's width and height, pt, as large as there is room."""
    if image is None:
        return 0.0, 0.0
    scale = min(wide / image.width, high / image.height)
    return image.width * scale, image.height * scale


def _drawn(page: FPDF, figure: Figure, left: float, top: float, scale: float) -> None:
    """A figure's shapes, as they are in its SVG."""
    for shape in figure.shapes:
        style = STYLES[shape.style]
        if isinstance(shape, Text):
            _written(page, shape, left, top, scale)
        elif isinstance(shape, Dot):
            page.set_fill_color(style.fill)
            radius = shape.radius * scale
            page.circle(left + shape.at[0] * scale, top + shape.at[1] * scale, radius, style="F")
        else:
            _line(page, shape, left, top, scale)


def _line(page: FPDF, shape: Line, left: float, top: float, scale: float) -> None:
    style = STYLES[shape.style]
    points = [(left + x * scale, top + y * scale) for x, y in shape.points]
    if shape.closed:
        page.set_fill_color(style.fill)
        page.polygon(points, style="F")
        return
    page.set_draw_color(style.stroke)
    bold = THICKER if shape.style.startswith("course") else 1.0
    page.set_line_width(style.width * bold * scale)
    if style.dash:
        page.set_dash_pattern(*(part * scale for part in style.dash))
    page.polyline(points)
    page.set_dash_pattern()


def _written(page: FPDF, shape: Text, left: float, top: float, scale: float) -> None:
    style = STYLES[shape.style]
    page.set_font(SANS, "B" if style.bold else "", LETTER * scale)
    page.set_text_color(style.fill)
    wide = page.get_string_width(shape.words)
    back = {"start": 0.0, "middle": wide / 2, "end": wide}[shape.anchor]
    if shape.words:
        page.text(left + shape.at[0] * scale - back, top + shape.at[1] * scale, shape.words)
