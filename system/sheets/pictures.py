"""What a picture is made of, as plain values: graphs, a map over angles, a polar graph; each tells itself in words.

Nothing here draws: `system.sheets.plots` does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from system import wording

Floats = NDArray[np.float64]

# The unit of each kind of graph, in which its lines are given.
UNITS: Mapping[str, str] = {
    "level": "dB",
    "level_near": "dB",
    "impedance": "ohm",
    "excursion": "mm peak",
    "speed": "m/s peak",
    "volts": "V rms",
    "peak_volts": "V peak",
    "watts": "W",
    "temperature": "degC",
    "percent": "%",
    "difference": "dB",
    "phase": "deg",
    "delay": "ms",
    "pressure": "Pa",
    "percent_off": "%",
    "below_largest": "dB",
}
_FIGURES = {"dB": ".1f", "ohm": ".1f", "deg": ".0f"}  # of other units three


def _seconds(value: float) -> str:
    return f"{value:.3g} s"


# A place on each kind of horizontal axis in words.
PLACES: Mapping[str, Callable[[float], str]] = {
    "frequency": wording.hertz,
    "line": lambda value: f"{value:.0f} mm",
    "time": _seconds,
    "moments": lambda value: f"{value:.2f} ms",
    "counts": lambda value: f"{value:.0f} values",
}


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A curve: `values` (F,) at its own places `x` (F,), where it has any, else at the graph's."""

    label: str
    values: Floats
    x: Floats | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Shade:
    """An area between two curves (F,), and what it means; the words point at the place `at` on the horizontal axis."""

    label: str
    lowest: Floats
    highest: Floats
    at: float


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the horizontal axis under the first line, what it means, and the kind by which it is hatched."""

    label: str
    kind: str
    start: float
    stop: float


@dataclass(frozen=True, slots=True, eq=False)
class Graph:
    """One graph: the question it answers, one sentence, its lines, and what else is drawn on it."""

    question: str
    sentence: str
    kind: str  # a key of UNITS
    x: Floats  # (F,) in the unit of `across`
    lines: Sequence[Line]
    limits: Sequence[tuple[str, float]] = ()  # level lines across the graph, in the graph's unit
    band: tuple[float, float] | None = None  # hatched
    marks: Mapping[str, float] = field(default_factory=dict)  # vertical marks: label -> place on the horizontal axis
    shade: Shade | None = None
    spans: Sequence[Span] = ()
    across: str = "frequency"  # a key of PLACES

    @property
    def alt(self) -> str:
        """The picture in words, for who does not see it: question, sentence, the extremes of each line, the rest."""
        told = [*_told(self.question, self.sentence), *self._extremes()]
        place = PLACES[self.across]
        told += [f"Across: {label}, {_figure(value, UNITS[self.kind])}." for label, value in self.limits]
        told += [f"Marked: {label}, {place(value)}." for label, value in self.marks.items()]
        told += [f"{self.shade.label[0].upper()}{self.shade.label[1:]}."] if self.shade else []
        told += [f"{place(span.start)} to {place(span.stop)}: {span.label}." for span in self.spans]
        return " ".join(told)

    def _extremes(self) -> Iterator[str]:
        unit, place = UNITS[self.kind], PLACES[self.across]
        for line in self.lines:
            x = self.x if line.x is None else line.x
            if not np.isfinite(line.values).any():
                yield f"{line.label}: not known."
                continue
            low, high = int(np.nanargmin(line.values)), int(np.nanargmax(line.values))
            least, most = (_figure(float(line.values[i]), unit) for i in (low, high))
            yield f"{line.label}: lowest {least} at {place(x[low])}, highest {most} at {place(x[high])}."


@dataclass(frozen=True, slots=True, eq=False)
class AngleMap:
    """Levels (A, F), dB against straight ahead, at `angles` (A,) in degrees and `frequency` (F,) in Hz, both rising."""

    question: str
    sentence: str
    frequency: Floats
    angles: Floats
    levels: Floats
    sides: tuple[str, str]  # what negative and positive angles are

    @property
    def alt(self) -> str:
        """The map in words: how far to either side it stays within 6 dB, octave by octave."""
        told = _told(self.question, self.sentence)
        ahead = int(np.argmin(np.abs(self.angles)))
        for hertz in 1000.0 * 2.0 ** np.arange(-4, 5):
            if self.frequency[0] <= hertz <= self.frequency[-1]:
                i = int(np.argmin(np.abs(np.log(self.frequency / hertz))))
                heard = self.levels[:, i] >= -6
                down, up = heard[ahead::-1], heard[ahead:]
                first = self.angles[ahead - (down.argmin() if not down.all() else down.size) + 1]
                last = self.angles[ahead + (up.argmin() if not up.all() else up.size) - 1]
                told.append(
                    f"{wording.hertz(hertz)}: above -6 dB to {abs(first):.0f} degrees {self.sides[0]},"
                    f" {abs(last):.0f} degrees {self.sides[1]}."
                )
        return " ".join(told)


@dataclass(frozen=True, slots=True, eq=False)
class Polar:
    """Levels of `lines` (A,), dB against straight ahead, at `angles` (A,) in degrees, rising.

    `view` is from where a plane is looked at: `above`, the listener at the bottom of the page; or `side`, the listener
    to the right of it.
    """

    question: str
    sentence: str
    angles: Floats
    lines: Sequence[Line]
    view: str

    @property
    def alt(self) -> str:
        """The picture in words: the extremes of each line."""
        told = _told(self.question, self.sentence)
        for line in self.lines:
            low, high = int(np.argmin(line.values)), int(np.argmax(line.values))
            told.append(
                f"{line.label}: lowest {_figure(float(line.values[low]), 'dB')} at {self.angles[low]:.0f} degrees,"
                f" highest {_figure(float(line.values[high]), 'dB')} at {self.angles[high]:.0f} degrees."
            )
        return " ".join(told)


Picture = Graph | AngleMap | Polar


def joined(lines: Sequence[Line], near: float, deep: float = np.inf) -> list[Line]:
    """The lines, those at the graph's own places that are within `near` of each other everywhere as one.

    What is more than `deep` below the highest value of all does not count: the graph does not show it.
    """
    known = [float(np.nanmax(line.values)) for line in lines if np.isfinite(line.values).any()]
    floor = max(known, default=0.0) - deep
    groups: list[list[Line]] = []
    for line in lines:
        for group in groups:
            first = group[0]
            if line.x is None and first.x is None and _alike(first.values, line.values, floor, near):
                group.append(line)
                break
        else:
            groups.append([line])
    return [Line(_together(group), group[0].values, group[0].x) for group in groups]


def _together(lines: Sequence[Line]) -> str:
    """A name for lines that are one: what is drawn is each of them, not their sum."""
    names = ", ".join(line.label for line in lines)
    return names if len(lines) == 1 else f"{names} each"


def _alike(one: Floats, other: Floats, floor: float, near: float) -> bool:
    both = np.maximum(one, floor), np.maximum(other, floor)
    return bool(np.allclose(*both, rtol=0, atol=near, equal_nan=True))


def _told(question: str, sentence: str) -> list[str]:
    return [question, f"{sentence}."]


def _figure(value: float, unit: str) -> str:
    return f"{value:{_FIGURES.get(unit, '.3g')}} {unit}"
