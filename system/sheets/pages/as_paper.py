"""Pages on paper, drawn by matplotlib: PDF with all sheets, or a picture of one. Black on white.

A sheet takes the largest of `SIZES` at which it fits on one page; at the smallest it goes on on a second. Blocks become
strips that lie below each other; a page breaks between strips, never after a heading. Lengths are points (1/72 inch).
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import Any, Literal

import matplotlib as mpl
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

from system.sheets.pages.blocks import (
    BLANK,
    TICK,
    Beside,
    Block,
    Chart,
    Drawing,
    Fields,
    Grid,
    Heading,
    Listing,
    Paper,
    Points,
    Sheet,
    Text,
)
from system.sheets.pages.columns import widths

MM = 72 / 25.4
PAPERS: Mapping[Paper, tuple[float, float]] = {"a4": (210 * MM, 297 * MM), "letter": (612.0, 792.0)}
MARGIN = 13 * MM
TALLEST = 230 * MM  # of what stands beside each other; more than a page holds goes below each other
SIZES = (9.0, 8.5, 8.0, 7.5, 7.0)  # of the running text
LEADING = 1.3  # lines over their size
GAP = 9.0  # between columns
BOXES = {BLANK: (15 * MM, 4.2 * MM), TICK: (2.6 * MM, 2.6 * MM)}
INK, FAINT = "black", "#9a9a9a"
FAMILY, MONO = "DejaVu Sans", "DejaVu Sans Mono"
MONO_WIDTH = 0.603  # of each character of the second, over its size


@dataclass(frozen=True, slots=True)
class Style:
    size: float
    weight: str = "normal"
    slant: Literal["normal", "italic"] = "normal"
    family: str = FAMILY

    def width(self, text: str) -> float:
        return _width(text, self)


@cache
def _width(text: str, style: Style) -> float:
    font = FontProperties(family=style.family, size=style.size, weight=style.weight, style=style.slant)
    return float(text_to_path.get_text_width_height_descent(text, font, False)[0])


@dataclass(frozen=True, slots=True)
class Page:
    """A figure seen from its upper left corner."""

    figure: Figure
    width: float
    height: float

    def text(self, x: float, y: float, text: str, style: Style, right: bool = False) -> None:
        """With its baseline at y."""
        self.figure.text(
            x / self.width, 1 - y / self.height, text, fontsize=style.size, fontweight=style.weight,
            fontstyle=style.slant, family=style.family, color=INK, va="baseline", ha="right" if right else "left",
            parse_math=False,
        )  # fmt: skip

    def line(self, x: float, y: float, width: float, colour: str = INK) -> None:
        ends = [x / self.width, (x + width) / self.width]
        self.figure.add_artist(Line2D(ends, [1 - y / self.height] * 2, color=colour, linewidth=0.5))

    def box(self, x: float, y: float, width: float, height: float) -> None:
        """With its upper left corner there."""
        corner = (x / self.width, 1 - (y + height) / self.height)
        size = (width / self.width, height / self.height)
        self.figure.add_artist(Rectangle(corner, *size, fill=False, edgecolor=INK, linewidth=0.6))


@dataclass(frozen=True, slots=True)
class Strip:
    """A piece that is never torn: its height, and how it is drawn with its upper left corner at x, y."""

    height: float
    draw: Callable[[Page, float, float], None]
    keep: bool = False  # with the next


def pdf(sheets: Sequence[Sheet], paper: Paper) -> bytes:
    """All pages of all sheets, the same bytes every time."""
    written = io.BytesIO()
    with _settings(), PdfPages(written, metadata={"CreationDate": None}) as pages:
        for figure in figures(sheets, paper):
            pages.savefig(figure)
    return written.getvalue()


def picture(sheet: Sheet, paper: Paper, kind: str) -> bytes:
    """The first page of a sheet as `png` or `svg`."""
    written = io.BytesIO()
    with _settings():
        figure = figures([sheet], paper)[0]
        stamp = {"svg": {"Date": None}, "png": {}}[kind]
        figure.savefig(written, format=kind, dpi=130, metadata=stamp, facecolor="white")
    return written.getvalue()


def _settings() -> Any:
    return mpl.rc_context({"svg.hashsalt": "kitwright", "svg.fonttype": "path", "pdf.fonttype": 42})


def figures(sheets: Sequence[Sheet], paper: Paper) -> list[Figure]:
    """A figure a page."""
    return [page for sheet in sheets for page in _pages(sheet, paper)]


def _pages(sheet: Sheet, paper: Paper) -> list[Figure]:
    width, height = PAPERS[paper]
    room = height - 2 * MARGIN - 2 * LEADING * SIZES[-1]  # the foot's two lines
    cut: list[list[Strip]] = []
    for size in SIZES:
        cut = _cut(list(_head(sheet, width - 2 * MARGIN, size)), room)
        if len(cut) == 1:
            break
    made = []
    for number, strips in enumerate(cut, 1):
        page = Page(Figure(figsize=(width / 72, height / 72)), width, height)
        y = MARGIN
        for strip in strips:
            strip.draw(page, MARGIN, y)
            y += strip.height
        foot = f"{sheet.foot} Page {number} of {len(cut)}." if len(cut) > 1 else sheet.foot
        style = Style(SIZES[-1] - 0.5)
        lines = broken(foot, width - 2 * MARGIN, style)
        for i, line in enumerate(lines):
            page.text(MARGIN, height - MARGIN - (len(lines) - 1 - i) * LEADING * style.size, line, style)
        made.append(page.figure)
    return made


def _cut(strips: list[Strip], room: float) -> list[list[Strip]]:
    """Strips of each page; what is to be kept with the next goes over with it."""
    pages: list[list[Strip]] = []
    rest = strips
    while rest:
        used, count = 0.0, 0
        while count < len(rest) and (used + rest[count].height <= room or not count):
            used += rest[count].height
            count += 1
        while 1 < count < len(rest) and rest[count - 1].keep:
            count -= 1
        pages.append(rest[:count])
        rest = rest[count:]
    return pages


def broken(text: str, room: float, style: Style) -> list[str]:
    """Lines no wider than `room`, save for a word that is."""
    lines: list[str] = []
    for word in text.split(" "):
        if lines and style.width(f"{lines[-1]} {word}") <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines or [""]


def _head(sheet: Sheet, width: float, size: float) -> Iterator[Strip]:
    yield from _lines(sheet.title, width, Style(1.7 * size, "bold"))
    yield from _lines(sheet.under, width, Style(size))
    yield from _strips(sheet.blocks, width, size)


def _strips(blocks: Sequence[Block], width: float, size: float) -> Iterator[Strip]:
    for block in blocks:
        yield from PRINTERS[type(block)](block, width, size)


def _lines(text: str, width: float, style: Style, indent: float = 0.0, mark: str = "") -> Iterator[Strip]:
    for number, line in enumerate(broken(text, width - indent, style)):
        yield Strip(LEADING * style.size, partial(_line, line, style, indent, "" if number else mark))


def _line(line: str, style: Style, indent: float, mark: str, page: Page, x: float, y: float) -> None:
    if mark == BLANK:
        page.box(x, y + 0.2 * style.size, style.size, style.size)
    elif mark:
        page.text(x, y + style.size, mark, style)
    page.text(x + indent, y + style.size, line, style)


def _heading(block: Heading, width: float, size: float) -> Iterator[Strip]:
    style = Style(1.15 * size, "bold")
    yield Strip(0.7 * size, lambda *_: None, keep=True)
    for strip in _lines(block.text, width, style):
        yield Strip(strip.height, strip.draw, keep=True)


def _text(block: Text, width: float, size: float) -> Iterator[Strip]:
    yield from _lines(block.text, width, Style(size, "bold" if block.strong else "normal"))


def _points(block: Points, width: float, size: float) -> Iterator[Strip]:
    marks = {"number": "{}.", "box": BLANK, "dash": "\u2013"}
    for number, (item, note) in enumerate(block.noted, 1):
        yield from _lines(item, width, Style(size), 1.9 * size, marks[block.mark].format(number))
        if note:
            yield from _lines(note, width, Style(0.92 * size, slant="italic"), 1.9 * size)


def _grid(block: Grid, width: float, size: float) -> Iterator[Strip]:
    plain, head = Style(size), Style(size, slant="italic")
    sized = [block.header, *block.rows]
    columns = widths(sized, width, GAP, lambda cell: BOXES[cell][0] if cell in BOXES else 1.02 * plain.width(cell))
    for number, row in enumerate(sized):
        style = plain if number else head
        cells = [[cell] if cell in BOXES else broken(cell, w, style) for cell, w in zip(row, columns, strict=True)]
        tall = max(len(lines) for lines in cells) * 1.2 * size + 0.35 * size
        tall = max(tall, *(BOXES[lines[0]][1] + 2.5 for lines in cells if lines[0] in BOXES), 0.0)
        draw = partial(_row, block, cells, columns, style, tall, FAINT if number else INK)
        yield Strip(tall, draw, keep=number == 0)


def _row(
    block: Grid,
    cells: Sequence[Sequence[str]],
    columns: Sequence[float],
    style: Style,
    tall: float,
    colour: str,
    page: Page,
    x: float,
    y: float,
) -> None:
    page.line(x, y + tall, sum(columns) + GAP * (len(columns) - 1), colour)
    for i, (lines, width) in enumerate(zip(cells, columns, strict=True)):
        if lines[0] in BOXES:
            page.box(x, y + 1.2, *BOXES[lines[0]])
        else:
            for number, line in enumerate(lines):
                right = block.is_right(i)
                page.text(x + width if right else x, y + (1 + 1.2 * number) * style.size, line, style, right)
        x += width + GAP


def _fields(block: Fields, width: float, size: float) -> Iterator[Strip]:
    style, slanted = Style(size), Style(size, slant="italic")
    indent = min(max(slanted.width(label) for label, _ in block.pairs) + GAP, 0.4 * width)
    for label, value in block.pairs:
        lines = broken(value, width - indent, style)
        tall = len(lines) * LEADING * size if value else 1.9 * size
        yield Strip(tall, partial(_field, label, lines, slanted, indent, tall, width))


def _field(
    label: str, lines: Sequence[str], style: Style, indent: float, tall: float, width: float,
    page: Page, x: float, y: float,
) -> None:  # fmt: skip
    if lines == [""]:
        page.line(x + indent, y + tall - 1, min(width - indent, 75 * MM))
        page.text(x, y + tall - 2, label, style)
        return
    page.text(x, y + style.size, label, style)
    for number, line in enumerate(lines):
        page.text(x + indent, y + (1 + LEADING * number) * style.size, line, Style(style.size))


def _listing(block: Listing, width: float, size: float) -> Iterator[Strip]:
    longest = max(len(line) for line in block.lines)
    style = Style(min(size, width / (longest * MONO_WIDTH)), family=MONO)
    for line in block.lines:
        yield Strip(LEADING * style.size, partial(_line, line, style, 0.0, ""))


def _drawing(block: Drawing, width: float, size: float) -> Iterator[Strip]:
    shrunk = min(1.0, width / (block.size[0] * MM))
    wide, tall = (side * MM * shrunk for side in block.size)

    def draw(page: Page, x: float, y: float) -> None:
        left, bottom, across, up = block.place
        corner = (x + left * wide) / page.width, 1 - (y + tall - bottom * tall) / page.height
        block.draw(page.figure.add_axes((*corner, across * wide / page.width, up * tall / page.height)))

    yield Strip(tall + 0.5 * size, draw)


def _beside(block: Beside, width: float, size: float) -> Iterator[Strip]:
    room = width - 2 * GAP
    left = list(_strips(block.left, block.share * room, size))
    right = list(_strips(block.right, (1 - block.share) * room, size))

    def draw(page: Page, x: float, y: float) -> None:
        for start, strips in ((x, left), (x + block.share * room + 2 * GAP, right)):
            below = y
            for strip in strips:
                strip.draw(page, start, below)
                below += strip.height

    tall = max(sum(strip.height for strip in strips) for strips in (left, right))
    if tall > TALLEST:
        yield from _strips((*block.left, *block.right), width, size)
    else:
        yield Strip(tall, draw)


PRINTERS: Mapping[type[Block], Callable[[Any, float, float], Iterator[Strip]]] = {
    Heading: _heading,
    Text: _text,
    Points: _points,
    Grid: _grid,
    Fields: _fields,
    Listing: _listing,
    Drawing: _drawing,
    Chart: lambda block, width, size: _lines(block.graph.alt, width, Style(size)),  # a browser's printer draws them
    Beside: _beside,
}
