"""A figure as a row, and rows as a table in text or Markdown. Columns in which no row has anything are left out."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass

WIDTH = 100


@dataclass(frozen=True, slots=True)
class Row:
    """What took how long.

    `seconds` are of processor time; `ratio` is these over those of what stands `beside` it, for as much work, and
    `limit` the most that it is to be; `growth` is the power of the size with which the time grows.
    """

    what: str
    seconds: float | None = None
    mebibytes: float | None = None
    beside: str = ""
    ratio: float | None = None
    limit: float | None = None
    growth: float | None = None
    note: str = ""

    @property
    def held(self) -> bool:
        """Whether the ratio is within its limit, where it has one."""
        return self.limit is None or (self.ratio is not None and self.ratio <= self.limit)


def time_text(seconds: float | None) -> str:
    """Three digits and a unit."""
    if seconds is None:
        return ""
    for unit, size in (("s", 1.0), ("ms", 1e-3)):
        if seconds >= 0.9995 * size:
            return f"{_three(seconds / size)} {unit}"
    return f"{_three(seconds / 1e-6)} us"


def _three(value: float) -> str:
    return f"{value:.2f}" if value < 9.995 else f"{value:.1f}" if value < 99.95 else f"{value:.0f}"


def ratio_text(ratio: float | None) -> str:
    """Small ones as one over how many times less."""
    if ratio is None:
        return ""
    return f"1/{_three(1 / ratio)}" if 0 < ratio < 0.2 else _three(ratio)


def _limit_text(row: Row) -> str:
    return "" if row.limit is None else f"{row.limit:.2f}, {'held' if row.held else 'not held'}"


COLUMNS: dict[str, Callable[[Row], str]] = {
    "what": lambda row: row.what,
    "time": lambda row: time_text(row.seconds),
    "MiB": lambda row: "" if row.mebibytes is None else f"{row.mebibytes:.0f}",
    "ratio": lambda row: ratio_text(row.ratio),
    "to": lambda row: row.beside,
    "at most": _limit_text,
    "growth": lambda row: "" if row.growth is None else f"{row.growth:.2f}",
}
NUMBERS = ("time", "MiB", "ratio", "growth")  # set to the right


def _cells(rows: Sequence[Row]) -> dict[str, list[str]]:
    found = {name: [text(row) for row in rows] for name, text in COLUMNS.items()}
    return {name: column for name, column in found.items() if any(column)}


def text_table(rows: Sequence[Row]) -> str:
    """For a terminal: a note stands under its row."""
    columns = _cells(rows)
    widths = {name: max(map(len, [name, *column])) for name, column in columns.items()}

    def line(cells: dict[str, str]) -> str:
        set_out = (
            cell.rjust(widths[name]) if name in NUMBERS else cell.ljust(widths[name]) for name, cell in cells.items()
        )
        return "  ".join(set_out).rstrip()

    lines = [line({name: "" if name == "what" else name for name in columns})]
    for i, row in enumerate(rows):
        lines.append(line({name: column[i] for name, column in columns.items()}))
        lines += textwrap.wrap(row.note, WIDTH, initial_indent="    ", subsequent_indent="    ")
    return "\n".join(lines)


def markdown_table(rows: Sequence[Row]) -> str:
    """For a page: notes are the last column. Words with options are set as code, which keeps their hyphens."""
    columns = {
        name: [f"`{cell}`" if "--" in cell else cell for cell in column] for name, column in _cells(rows).items()
    }
    if any(row.note for row in rows):
        columns["note"] = [row.note for row in rows]
    heads = [("" if name == "what" else name) for name in columns]
    rule = ["--:" if name in NUMBERS else "---" for name in columns]
    body = [[column[i].replace("|", "\\|") for column in columns.values()] for i in range(len(rows))]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in (heads, rule, *body))
