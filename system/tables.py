"""Text tables beside a kit: impedance, response and band levels in columns.

A table is what measuring programs write: frequency, magnitude and perhaps phase, separated by commas, semicolons, tabs
or spaces, with comment lines. Faults carry the line and column of the table file.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from pathlib import Path

from enclosures.frozen import frozen
from system.document import DocumentError, Mark, read_text
from system.kit import Table

COMMENTS = ("#", ";", "*", "//")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_LOWEST, _HIGHEST = 0.001, 1e6  # Hz
_STEEPEST_PHASE = 1e5  # degrees; unwrapped phase of a long delay may be large

Cell = tuple[int, str]  # column from 1, text


class TableFaults(ValueError):  # noqa: N818 - carries errors, like KitError
    """The faults of one table file; each kind of fault once, where it is met first."""

    def __init__(self, faults: list[DocumentError]) -> None:
        self.faults = faults
        super().__init__("; ".join(str(fault) for fault in faults))


@frozen
class TableKind:
    """What the magnitude column holds and where it must lie; `peak` is the least that its highest value must reach."""

    words: str
    unit: str
    low: float
    high: float
    rows: int
    peak: float = -math.inf
    phase: bool = True
    rising: bool = True  # whether frequencies must rise from row to row

    @property
    def columns(self) -> str:
        third = " and perhaps phase (degrees)" if self.phase else ""
        return f"frequency (Hz), {self.words} ({self.unit}){third}"


IMPEDANCE = TableKind("impedance", "ohm", 0.01, 1e5, 5)
RESPONSE = TableKind("sound pressure level", "dB", -60.0, 170.0, 5, peak=40.0)
TARGET = TableKind("level asked for", "dB", -150.0, 200.0, 2, phase=False)
BAND_LEVELS = TableKind("band level", "dB", -150.0, 200.0, 3, phase=False)


def read_table(path: Path, shown: str, kind: TableKind) -> Table:
    """The table in `path`, called `shown` in messages; phase in radians. Raises DocumentError or TableFaults."""
    return parse_table(read_text(path, shown), shown, kind)


def parse_table(text: str, shown: str, kind: TableKind) -> Table:
    """As `read_table`, from the text itself."""
    reader = Reader(shown, kind)
    last = 1
    for last, line in enumerate(text.splitlines(), 1):
        if line.strip() and not line.lstrip().startswith(COMMENTS):
            reader.take(last, cells(line))
    return reader.table(last)


def cells(line: str, keep_empty: bool = False) -> list[Cell]:
    """The cells of a line with their columns; what separates them is the first of ; , tab that is there, or spaces.

    Of cells with nothing in them none is told, or with `keep_empty` all but those at the end.
    """
    line = re.split(r"#|//", line, maxsplit=1)[0].rstrip()
    spaced = [(match.start() + 1, match.group()) for match in re.finditer(r"\S+", line)]
    if len(spaced) > 1 and all(_DECIMAL_COMMA.fullmatch(word) or _NUMBER.fullmatch(word) for _, word in spaced):
        return spaced
    mark = next((mark for mark in (";", ",", "\t") if mark in line), "")
    if not mark:
        return spaced
    pieces = ((match.start() + 1, match.group()) for match in re.finditer(rf"(?:^|(?<={mark}))[^{mark}]*", line))
    found = [(start + len(piece) - len(piece.lstrip()), piece.strip()) for start, piece in pieces]
    while found and not found[-1][1]:
        found.pop()
    return [cell for cell in found if cell[1] or keep_empty]


@dataclass(slots=True)
class Reader:
    """Takes rows one by one and makes a table of them, or says what is wrong with them."""

    shown: str
    kind: TableKind
    rows: list[tuple[float, ...]] = field(default_factory=list)
    faults: dict[str, DocumentError] = field(default_factory=dict)
    begun: bool = False

    def wrong(self, code: str, line: int, column: int, found: str, allowed: str) -> None:
        self.faults.setdefault(code, DocumentError(code, Mark(self.shown, line, column), found, allowed))

    def take(self, line: int, row: list[Cell]) -> None:
        heading = not self.begun and not any(character.isdigit() for _, word in row for character in word[:1])
        self.begun = True
        if heading:
            return
        for column, word in row:
            if not _NUMBER.fullmatch(word):
                self._no_number(line, column, word)
                return
        numbers = tuple(float(word) for _, word in row)
        if self._right_columns(line, row):
            self._check(line, row, numbers)
            self.rows.append(numbers)

    def _no_number(self, line: int, column: int, word: str) -> None:
        if _DECIMAL_COMMA.fullmatch(word):
            self.wrong("table_decimal_comma", line, column, f'"{word}" has a comma', f"write {word.replace(',', '.')}")
        else:
            shown = word if len(word) <= 30 else word[:30] + "..."
            self.wrong("table_number", line, column, f'"{shown}" is no number', "write plain numbers in columns")

    def _right_columns(self, line: int, row: list[Cell]) -> bool:
        count, before = len(row), len(self.rows[0]) if self.rows else 0
        if 2 <= count <= (3 if self.kind.phase else 2) and before in (0, count):
            return True
        allowed = f"the rows before have {before}" if before else f"the columns are {self.kind.columns}"
        found = f"this row has {count} column{'' if count == 1 else 's'}"
        self.wrong("table_columns", line, row[0][0] if row else 1, found, allowed)
        return False

    def _check(self, line: int, row: list[Cell], numbers: tuple[float, ...]) -> None:
        frequency, magnitude = numbers[:2]
        kind = self.kind
        if not _LOWEST <= frequency <= _HIGHEST:
            allowed = "a frequency lies from 0.001 Hz to 1 MHz"
            self.wrong("table_frequency", line, row[0][0], f"the frequency is {row[0][1]}", allowed)
        elif kind.rising and self.rows and frequency <= self.rows[-1][0]:
            order = "comes twice" if frequency == self.rows[-1][0] else f"comes after {self.rows[-1][0]:g}"
            self.wrong(
                "table_order", line, row[0][0], f"{row[0][1]} Hz {order}", "frequencies must rise from row to row"
            )
        if not kind.low <= magnitude <= kind.high:
            allowed = f"it must lie from {kind.low:g} to {kind.high:g} {kind.unit}"
            self.wrong("table_magnitude", line, row[1][0], f"the {kind.words} is {row[1][1]} {kind.unit}", allowed)
        if len(numbers) == 3 and not abs(numbers[2]) <= _STEEPEST_PHASE:
            self.wrong("table_number", line, row[2][0], f"the phase is {row[2][1]} degrees", "write degrees")

    def table(self, last: int) -> Table:
        count = len(self.rows)
        if not self.faults and count < self.kind.rows:
            found = f"the table ends after {count} row{'' if count == 1 else 's'}"
            self.wrong("table_rows", last, 1, found, f"it needs at least {self.kind.rows}")
        if not self.faults and max(row[1] for row in self.rows) < self.kind.peak:
            found = f"the highest {self.kind.words} is {max(row[1] for row in self.rows):g} dB"
            self.wrong("table_magnitude", 1, 1, found, "write sound pressure levels in dB re 20 uPa")
        if self.faults:
            raise TableFaults(list(self.faults.values()))
        frequency, magnitude, *phase = zip(*self.rows, strict=True)
        radians = tuple(math.radians(degrees) for degrees in phase[0]) if phase else None
        return Table(self.shown, frequency, magnitude, radians)
