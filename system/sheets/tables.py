"""Plain text tables: columns lined up, words left, numbers right, nothing wider than it must be."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 100


def table(header: Sequence[str], rows: Sequence[Sequence[str]], indent: str = "") -> list[str]:
    """Lines of a table under its header. A column is set right where its cells start with a digit or sign."""
    grid = [list(map(str, header)), *(list(map(str, row)) for row in rows)]
    widths = [max(len(row[i]) for row in grid) for i in range(len(header))]
    right = [all(_numeric(row[i]) for row in grid[1:]) for i in range(len(header))]
    lines = []
    for row in grid:
        cells = [c.rjust(w) if r else c.ljust(w) for c, w, r in zip(row, widths, right, strict=True)]
        lines.append((indent + "  ".join(cells)).rstrip())
    return lines


def _numeric(cell: str) -> bool:
    return not cell or cell[0].isdigit() or cell[0] in "+-."


def wrap(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """`text` broken into lines of the page width; the first may begin differently."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent if first is None else first, subsequent_indent=indent)
