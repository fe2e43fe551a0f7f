"""Pages as plain text of at most 100 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from system.sheets.pages.blocks import (
    BLANK,
    TICK,
    Block,
    Chart,
    Drawing,
    Fields,
    Grid,
    Heading,
    Listing,
    Points,
    Sheet,
    Text,
    every,
)
from system.sheets.pages.columns import widths
from system.sheets.tables import WIDTH, wrap

BOXES = {BLANK: "[        ]", TICK: "[ ]"}
HARD_SPACE = "\u00a0"  # keeps two words on a line
MARKS = {"number": "{}. ", "box": "[ ] ", "dash": "- "}
GAP = 2


def text(sheets: Sequence[Sheet]) -> str:
    """The sheets below each other."""
    return "\n\n\n".join("\n".join(_sheet(sheet)) for sheet in sheets).replace(HARD_SPACE, " ")


def _sheet(sheet: Sheet) -> list[str]:
    lines = [*wrap(sheet.title), *wrap(sheet.under)]
    for block in every(sheet.blocks):
        lines += ["", *PRINTERS[type(block)](block)] if isinstance(block, Heading) else PRINTERS[type(block)](block)
    return [*lines, "", *wrap(sheet.foot)]


def _points(block: Points) -> list[str]:
    lines = []
    for number, (item, note) in enumerate(block.noted, 1):
        mark = MARKS[block.mark].format(number)
        lines += wrap(item, " " * (2 + len(mark)), f"  {mark}")
        lines += wrap(note, " " * (4 + len(mark)), " " * (2 + len(mark))) if note else []
    return lines


def _grid(block: Grid) -> list[str]:
    shown = [tuple(BOXES.get(cell, cell) for cell in row) for row in block.rows]
    columns = widths([block.header, *shown], WIDTH - 2, GAP, len)
    lines = []
    for row in [block.header, *shown]:
        pieces = [_pieces(cell, math.floor(width)) for cell, width in zip(row, columns, strict=True)]
        for line in zip_longest(*pieces, fillvalue=""):
            cells = [
                cell.rjust(math.floor(width)) if block.is_right(i) else cell.ljust(math.floor(width))
                for i, (cell, width) in enumerate(zip(line, columns, strict=True))
            ]
            lines.append(f"  {(' ' * GAP).join(cells)}".rstrip())
    return lines


def _pieces(cell: str, width: int) -> list[str]:
    return textwrap.wrap(cell, max(1, width)) or [""]


def _fields(block: Fields) -> list[str]:
    longest = max(len(label) for label, _ in block.pairs)
    return [
        line
        for label, value in block.pairs
        for line in wrap(value or "_" * 40, " " * (longest + 4), f"  {label.ljust(longest)}  ")
    ]


PRINTERS: Mapping[type[Block], Callable[[Any], list[str]]] = {
    Heading: lambda block: [block.text],
    Text: lambda block: wrap(block.text, "  "),
    Points: _points,
    Grid: _grid,
    Fields: _fields,
    Listing: lambda block: list(block.lines),
    Drawing: lambda block: wrap(block.words, "  "),
    Chart: lambda block: wrap(block.graph.alt, "  "),
}
