"""What a printed page holds, whatever it is printed with: text, a web page in a browser, or paper.

A page is a list of blocks. Nothing here knows how wide anything is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from system.sheets.pictures import Graph

BLANK = "\0"  # a cell to write into by hand
TICK = "\1"  # a cell to tick
Paper = Literal["a4", "letter"]
_NUMBER = re.compile(r"[+-]?[0-9.]+(?: to [0-9.]+)?(?: \S+)?")  # or a range, and a unit


@dataclass(frozen=True, slots=True)
class Heading:
    """A title over what follows; it stays on one page with it."""

    text: str


@dataclass(frozen=True, slots=True)
class Text:
    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Points:
    """Items below each other: numbered, with a box to tick, or with a dash; each may have one of the `notes`."""

    items: tuple[str, ...]
    mark: Literal["number", "box", "dash"] = "dash"
    notes: tuple[str, ...] = ()

    @property
    def noted(self) -> Iterator[tuple[str, str]]:
        """Each item with its note."""
        return zip_longest(self.items, self.notes, fillvalue="")


@dataclass(frozen=True, slots=True)
class Grid:
    """A table. A cell is text, `BLANK` or `TICK`; a column is set right where all its cells are numbers or ranges.

    `name` tells a listener what it is of, where the header does not; with `heads` the first cell names its row. A
    `dense` one is of readings: many short rows.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    name: str = ""
    heads: bool = False
    dense: bool = False

    def __post_init__(self) -> None:
        """Raise ValueError for a row that has not as many cells as the header."""
        for row in self.rows:
            if len(row) != len(self.header):
                raise ValueError(f"a table of {len(self.header)} columns has a row of {len(row)}: {row}")

    def is_right(self, column: int) -> bool:
        """Whether a column is set right: its cells are numbers."""
        cells = [row[column] for row in self.rows if row[column] not in ("", "-", BLANK, TICK)]
        return bool(cells) and all(_NUMBER.fullmatch(cell) for cell in cells)


@dataclass(frozen=True, slots=True)
class Fields:
    """Labels with what is known, or a line to write on."""

    pairs: tuple[tuple[str, str], ...]  # an empty value is a line


@dataclass(frozen=True, slots=True)
class Listing:
    """Lines that are lined up already."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """A picture of its own: `draw` fills axes of `width` by `height` (mm), `words` tell it.

    What the axes have outside of them has `margin` mm on every side.
    """

    width: float
    height: float
    draw: Callable[[Axes], None]
    words: str
    margin: float = 0.0

    @property
    def size(self) -> tuple[float, float]:
        """With its margins, mm."""
        return self.width + 2 * self.margin, self.height + 2 * self.margin

    @property
    def place(self) -> tuple[float, float, float, float]:
        """Of the axes in the whole: left, bottom, width, height as shares."""
        wide, high = self.size
        return self.margin / wide, self.margin / high, self.width / wide, self.height / high


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A graph over frequency that has a `name` of its own on the page; its words tell what it shows.

    With `reads` a reader may move along it and is told the values there.
    """

    name: str
    graph: Graph
    reads: bool = False


@dataclass(frozen=True, slots=True)
class Beside:
    """Two lists of blocks next to each other where there is room; `share` of the width is the left one's."""

    left: tuple[Block, ...]
    right: tuple[Block, ...]
    share: float = 0.5


Block = Heading | Text | Points | Grid | Fields | Listing | Drawing | Chart | Beside


@dataclass(frozen=True, slots=True)
class Sheet:
    """What belongs together on paper: as a rule one page.

    A long page of many sheets names them: `anchor` is where a link leads, `label` what the link is called. Of `bench`
    sheets each prints alone, with the `signed` one; a `flowing` one begins on no page of its own.
    """

    title: str
    under: str  # what it is of, in one line
    blocks: tuple[Block, ...]
    foot: str  # at the end of each page
    anchor: str = ""
    label: str = ""
    place: Literal["", "bench", "signed", "flowing"] = ""


def every(blocks: Sequence[Block]) -> list[Block]:
    """All blocks in reading order, those that stand beside each other too."""
    found: list[Block] = []
    for block in blocks:
        found += [*every(block.left), *every(block.right)] if isinstance(block, Beside) else [block]
    return found
