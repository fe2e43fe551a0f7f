"""What was measured over frequency: impedance sweeps and microphone responses, read tolerantly and diagnosed.

Measuring programs write them with headings, comments, columns of their own and in any order: all of that is taken, and
said. What cannot be told from the file (decimal commas, decibels, kilohms, radians) is a fault and never a guess.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from system.document import DocumentError, read_text
from system.findings import Finding, KitError
from system.tables import COMMENTS, Cell, Reader, TableFaults, TableKind, cells

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

SWEEP = TableKind("impedance", "ohm", -1e5, 1e9, 5, rising=False)  # its unit is judged as a whole
MICROPHONE = TableKind("level", "dB", -200.0, 200.0, 5, rising=False)

# Of loudspeakers and drivers for the home, whose lowest impedance is of some ohm; common practice, no source.
KILOHMS_BELOW = 0.3  # ohm, the highest of a sweep
NO_LOAD_ABOVE = 100.0  # ohm, the lowest of a sweep
# A passive load turns by at most 90 degrees (its resistance is nowhere below zero); the rest is noise.
PASSIVE = 95.0  # degrees
# A phase that stays within +-pi "degrees" all over is one in radians. Only what hardly changes with frequency has so
# little: by Bode's relation (Network Analysis and Feedback Amplifier Design, 1945, ch. 14) a magnitude that grows by a
# half over three decades turns by 5 degrees on the average, and over fewer by more.
RADIANS = 3.2
FLAT = 1.5  # highest over lowest magnitude
# Two values at one frequency are of one sweep within these, to be averaged; our own judgement.
SAME_OHMS, SAME_DECIBELS = 0.05, 0.5

_NUMBER_LIKE = re.compile(r"[+-]?[0-9.,]+(?:[eE][+-]?[0-9]+)?")
_FREQUENCY = re.compile(r"fr[eé]q|hz\b|hertz|\bf\b", re.IGNORECASE)  # over the first column of any heading
_PHASE = re.compile(r"phase|fase|phi\b|angle|arg\b|deg|°|rad\b", re.IGNORECASE)
_RADIANS = re.compile(r"\brad(?:ians?)?\b", re.IGNORECASE)
_COMMENT_SIGN = re.compile(r"^\s*(?:[#;*]+|//+)")
_OTHER_UNITS: Mapping[str, Mapping[str, re.Pattern[str]]] = {  # headings over magnitudes that are something else
    "ohm": {
        "decibels": re.compile(r"db", re.IGNORECASE),
        "kilohms": re.compile(r"\bk(?:ilo)?\s*(?:ohm|Ω|\u2126)", re.IGNORECASE),
        "milliohms": re.compile(r"\bm(?:illi)?\s*(?:ohm|Ω|\u2126)", re.IGNORECASE),
        "volts": re.compile(r"\b[mu]?V\b|volt", re.IGNORECASE),
        "the real part": re.compile(r"\bre(?:al)?\b|\bR\b|resist", re.IGNORECASE),
    },
    "dB": {
        "ohms": re.compile(r"ohm|Ω|\u2126", re.IGNORECASE),
        "volts": re.compile(r"^(?!.*db).*(?:\b[mu]?V\b|volt)", re.IGNORECASE),
        "pascals": re.compile(r"^(?!.*db).*\b[mu]?Pa\b", re.IGNORECASE),
    },
}


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """An impedance sweep: `frequency` (F,) Hz rising, `magnitude` (F,) ohm, `phase` (F,) rad or None.

    `notes` tell what was tidied up in reading it.
    """

    name: str
    frequency: Floats
    magnitude: Floats
    phase: Floats | None = None
    notes: tuple[Finding, ...] = ()

    @property
    def impedance(self) -> Complexes:
        """Complex (F,) ohm. Raises ValueError for a sweep without phase."""
        if self.phase is None:
            raise ValueError(f"{self.name} has no phase")
        return np.asarray(self.magnitude * np.exp(1j * self.phase))


@dataclass(frozen=True, slots=True, eq=False)
class MicrophoneTable:
    """What a microphone heard: `frequency` (F,) Hz rising, `level` (F,) dB, `phase` (F,) rad or None."""

    name: str
    frequency: Floats
    level: Floats
    phase: Floats | None = None
    notes: tuple[Finding, ...] = ()


def read_sweep(path: Path) -> Sweep:
    """The impedance sweep in `path`. Raises KitError with every fault, at its line and column."""
    measured = _read(path, SWEEP, (_unit_is_ohm, _load_is_passive, _not_radians_unless_flat), _same_ohms)
    return Sweep(str(path), *measured.columns(), tuple(measured.notes))


def read_microphone(path: Path) -> MicrophoneTable:
    """The microphone's response in `path`. Raises KitError with every fault, at its line and column."""
    measured = _read(path, MICROPHONE, (_not_radians,), _same_decibels)
    return MicrophoneTable(str(path), *measured.columns(), tuple(measured.notes))


def _same_ohms(a: float, b: float) -> bool:
    return abs(a - b) <= SAME_OHMS * min(abs(a), abs(b))


def _same_decibels(a: float, b: float) -> bool:
    return abs(a - b) <= SAME_DECIBELS


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    cells: list[Cell]  # frequency, magnitude and perhaps phase
    numbers: tuple[float, ...]


@dataclass(slots=True)
class _Measured:
    """A file's rows as they are taken, and what is to be said of them."""

    reader: Reader
    heading: list[Cell] = field(default_factory=list)  # the last row of words before the first of numbers
    heading_line: int = 1
    phase_at: int | None = None
    in_radians: bool = False
    begun: bool = False
    by_commas: bool = True  # all rows are separated by commas, and none has a point
    rows: list[_Row] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)

    def note(self, line: int, found: str, allowed: str) -> None:
        self.notes.append(Finding("note", "sweep_tidied", self.reader.shown, line, 1, "", found, allowed))

    def take(self, number: int, line: str) -> None:
        """One line of the file: a comment, a heading or a row. Also a comment may be the heading."""
        plain = line.replace('"', " ")
        comment = line.lstrip().startswith(COMMENTS)
        if comment:
            plain = _COMMENT_SIGN.sub(lambda sign: " " * len(sign.group()), plain)
        row = cells(plain, keep_empty=True)
        numeric = len(row) > 1 and all(_NUMBER_LIKE.fullmatch(word) for _, word in row[:2])
        if comment or not row or not (numeric or self.begun):
            if len(row) > 1 and _FREQUENCY.search(row[0][1]) and not self.begun:
                self.heading, self.heading_line = row, number
        elif numeric or not line.lstrip().startswith('"'):
            self._take_row(number, plain, row)

    def _take_row(self, number: int, line: str, row: list[Cell]) -> None:
        if not self.begun:
            self.begun = self.reader.begun = True
            self._settle_columns(number, row)
        self.by_commas &= "," in line and not any(mark in line for mark in ".;\t")
        used = [row[i] for i in (0, 1, self.phase_at) if i is not None and i < len(row)]
        before = len(self.reader.rows)
        self.reader.take(number, used)
        if len(self.reader.rows) > before:
            self.rows.append(_Row(number, used, self.reader.rows[-1]))

    def _settle_columns(self, number: int, row: list[Cell]) -> None:
        """Which columns are read: by the heading, where it has a word over each column, else the first three."""
        words = [word for _, word in self.heading] if len(self.heading) == len(row) else []
        if words:
            self._judge_heading(words[1])
            self.phase_at = next((i for i, word in enumerate(words) if i > 1 and _PHASE.search(word)), None)
            self.in_radians = self.phase_at is not None and bool(_RADIANS.search(words[self.phase_at]))
        elif len(row) > 2 and _NUMBER_LIKE.fullmatch(row[2][1]):
            self.phase_at = 2
        unread = [f'{i + 1} "{words[i]}"' if words else str(i + 1) for i in range(2, len(row)) if i != self.phase_at]
        if unread:
            found = (
                f"column {unread[0]} is not read" if len(unread) == 1 else f"columns {', '.join(unread)} are not read"
            )
            phase = "no phase" if self.phase_at is None else f"phase from column {self.phase_at + 1}"
            self.note(number, found, f"frequency from column 1, {self.reader.kind.words} from column 2, {phase}")
        if self.in_radians:
            self.note(number, "the phase is headed as radians", "read as radians")

    def _judge_heading(self, word: str) -> None:
        """A heading over the magnitudes that names something else."""
        kind = self.reader.kind
        other = next((unit for unit, pattern in _OTHER_UNITS[kind.unit].items() if pattern.search(word)), None)
        if other is not None:
            found = f'the second column is headed "{word}", which is {other}'
            column = self.heading[1][0]
            self.reader.wrong("sweep_unit", self.heading_line, column, found, f"write the {kind.words} in {kind.unit}")

    def finish(self, last: int) -> None:
        """Faults that only the whole file shows. Raises TableFaults."""
        if self.rows and self.by_commas and len(self.rows[0].cells) > 2:
            line, (column, _) = self.rows[0].line, self.rows[0].cells[0]
            found = "no number has a point, and commas are everywhere: they may be decimal commas"
            allowed = "write points in the numbers, and ; between the columns"
            self.reader.wrong("table_decimal_comma", line, column, found, allowed)
        self.reader.table(last)

    def sort(self) -> None:
        frequency = [row.numbers[0] for row in self.rows]
        falls = [row for row, (a, b) in zip(self.rows[1:], pairwise(frequency), strict=True) if b < a]
        if falls:
            order = "falls throughout" if len(falls) == len(self.rows) - 1 else "does not rise from row to row"
            self.note(falls[0].line, f"the frequency {order}", "the rows are sorted")
            self.rows.sort(key=lambda row: row.numbers[0])

    def average(self, same: Callable[[float, float], bool]) -> None:
        """One row for each frequency; rows that come twice and are not the `same` are a fault."""
        made, again = [], []
        for _, group in groupby(self.rows, key=lambda row: row.numbers[0]):
            first, *more = group
            for other in more:
                if not same(first.numbers[1], other.numbers[1]):
                    found = (
                        f"{first.cells[0][1]} Hz has {other.cells[1][1]}, and {first.cells[1][1]} on line {first.line}"
                    )
                    self.reader.wrong(
                        "sweep_repeats", other.line, other.cells[1][0], found, "keep one sweep in the file"
                    )
            again += more
            columns = zip(*(row.numbers for row in (first, *more)), strict=True)
            made.append(replace(first, numbers=tuple(sum(column) / (1 + len(more)) for column in columns)))
        if again:
            found = f"{len(again)} {'row repeats a frequency' if len(again) == 1 else 'rows repeat frequencies'}"
            self.note(again[0].line, found, "such rows are averaged")
        self.rows = made
        self.reader.rows = [row.numbers for row in made]

    def columns(self) -> tuple[Floats, Floats, Floats | None]:
        """Frequency, magnitude, and phase in rad, each (F,)."""
        frequency, magnitude, *phase = np.array([row.numbers for row in self.rows]).T
        return frequency, magnitude, (phase[0] if self.in_radians else np.radians(phase[0])) if phase else None


def _unit_is_ohm(measured: _Measured) -> None:
    """Of the magnitudes as a whole."""
    values = [row.numbers[1] for row in measured.rows]
    low, high = min(values), max(values)
    below = next((row for row in measured.rows if row.numbers[1] <= 0), None)
    first = measured.rows[0]
    if below is not None:
        row, words, allowed = below, f"is {below.cells[1][1]}", "it is above zero: these may be decibels"
    elif high < KILOHMS_BELOW:
        row, words, allowed = first, f"is nowhere above {high:g}", "these may be kilohms or volts"
    elif low > NO_LOAD_ABOVE:
        row, words = first, f"is nowhere below {low:g}"
        allowed = "these may be milliohms or millivolts, or nothing was connected"
    else:
        return
    measured.reader.wrong("sweep_unit", row.line, row.cells[1][0], f"the impedance {words}", f"{allowed}; write ohm")


def _load_is_passive(measured: _Measured) -> None:
    unit, scale = ("rad", 180 / math.pi) if measured.in_radians else ("degrees", 1.0)
    for row in measured.rows:
        if len(row.numbers) > 2 and abs(row.numbers[2] * scale) > PASSIVE:
            found = f"the phase is {row.cells[2][1]} {unit} at {row.cells[0][1]} Hz"
            allowed = "a passive load stays within +-90 degrees: are the wires of a channel swapped?"
            measured.reader.wrong("sweep_phase", row.line, row.cells[2][0], found, allowed)


def _not_radians(measured: _Measured) -> None:
    """Whether a phase column is one of degrees; said where that could only be guessed."""
    if measured.in_radians or len(measured.rows[0].numbers) < 3:
        return
    largest = max(measured.rows, key=lambda row: abs(row.numbers[2]))
    if abs(largest.numbers[2]) <= RADIANS:
        found = f"the phase is nowhere further from 0 than {largest.cells[2][1]}"
        allowed = "these may be radians: write degrees, or leave the column out"
        measured.reader.wrong("sweep_phase", largest.line, largest.cells[2][0], found, allowed)


def _not_radians_unless_flat(measured: _Measured) -> None:
    values = [row.numbers[1] for row in measured.rows]
    if max(values) >= FLAT * min(values):
        _not_radians(measured)


Judge = Callable[[_Measured], None]


def _read(path: Path, kind: TableKind, judges: Sequence[Judge], same: Callable[[float, float], bool]) -> _Measured:
    """The rows of a file, sorted, one for each frequency. Raises KitError."""
    shown = str(path)
    measured = _Measured(Reader(shown, kind))
    try:
        last = 1
        for last, line in enumerate(read_text(path, shown).splitlines(), 1):
            measured.take(last, line)
        measured.finish(last)
        for judge in judges:
            judge(measured)
        measured.sort()
        measured.average(same)
        measured.finish(last)
    except DocumentError as fault:
        raise KitError([as_finding(fault)]) from None
    except TableFaults as told:
        faults = sorted(told.faults, key=lambda fault: fault.mark)
        raise KitError([as_finding(fault) for fault in faults]) from None
    return measured


def as_finding(fault: DocumentError) -> Finding:
    """A fault of a file that no kit names."""
    file, line, column = fault.mark
    return Finding("error", fault.code, file, max(1, line), max(1, column), "", fault.found, fault.allowed)
