"""From where to where the axes of a graph go, how long they are, and what stands at them.

Upright by the kind of graph, across by what lies along it. Level keeps the proportions of IEC 60263: 25 dB take the
length of one decade of frequency. Impedance is logarithmic with 1.25 decades to that length. Nothing here draws: the
plots and the charts of a page take their axes from here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from system.sheets.pictures import UNITS, Graph

NEARLY = 1 - 1e-9  # what is off by less is at the end of an axis
LEVEL, OHMS = 25.0, 1.25  # dB, and decades, to the length of a decade of frequency
DELAY_FROM = 50.0  # Hz, from where on a graph of delays is to hold all but spikes
DELAY_MOST = 30.0  # ms
DEEPEST = -40.0  # dB, where the graph of the pressure along a line ends
OCTAVES = 4  # of ohm at least
ROUND = (1, 2, 5)  # figures of an axis go on in these
MARKS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)  # Hz
TIMES = {1: "1 s", 10: "10 s", 60: "1 min", 600: "10 min", 3600: "1 h", 10800: "3 h"}


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis from `low` to `high`; its `ticks` have a line each, and words or none. `words` stand at its end."""

    low: float
    high: float
    ticks: Mapping[float, str]
    words: str = ""
    logarithmic: bool = False

    def at(self, value: float) -> float:
        """How far along it a value is: 0 at its low end, 1 at the high one."""
        low, high, place = (self._straight(each) for each in (self.low, self.high, value))
        return (place - low) / (high - low)

    def _straight(self, value: float) -> float:
        return math.log(max(value, 1e-12)) if self.logarithmic else value


@dataclass(frozen=True, slots=True)
class Scale(Axis):
    """An upright axis that is `decades` of frequency long; what has proportions to keep does not fill the page."""

    decades: float = 1.0
    fills_page: bool = True


def upright(graph: Graph) -> Scale:
    """The scale of a graph, its unit in words at the end."""
    return SCALES[graph.kind](graph)


def across(kind: str, low: float, high: float) -> Axis:
    """What lies along the horizontal axis, by a key of `ACROSS`, from its first to its last value."""
    return ACROSS[kind](low, high)


def _linear(low: float, high: float, step: float) -> dict[float, str]:
    """Multiples of a step; a minus is as long as a plus."""
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return {step * i: f"{step * i:.6g}".replace("-", "\N{MINUS SIGN}") for i in range(first, last + 1)}


def _step(low: float, high: float, most: int, least: float = 0.0) -> float:
    """The smallest round step by which there are no more than so many, or the `least` one there may be."""
    wide = high - low
    power = math.floor(math.log10(wide / most))
    steps = (m * 10.0**e for e in (power, power + 1) for m in ROUND)
    return max(least, next(step for step in steps if wide <= most * step / NEARLY))


def _steps(low: float, high: float, most: int) -> dict[float, str]:
    return _linear(low, high, _step(low, high, most))


def _frequency(low: float, high: float) -> Axis:
    first, last = low * 0.999, high * 1.001
    fine = {m * 10.0**e: "" for e in range(6) for m in range(1, 10)}
    told = {float(f): f"{f / 1000:g}k" if f >= 1000 else f"{f:g}" for f in MARKS}
    ticks = {f: words for f, words in sorted((fine | told).items()) if first <= f <= last}
    return Axis(low, high, ticks, "Hz", logarithmic=True)


def _time(low: float, high: float) -> Axis:
    told = {float(t): words for t, words in TIMES.items() if low * NEARLY <= t <= high / NEARLY}
    return Axis(low, high, told, logarithmic=True)


def _moments(low: float, high: float) -> Axis:
    return Axis(low, high, _steps(low, high, 14), "ms")


def _line(low: float, high: float) -> Axis:
    return Axis(low, high, _steps(low, high, 10), "mm from the closed end")


def _counts(low: float, high: float) -> Axis:
    """Whole numbers, and half a one about the only one."""
    room = 0.2 if high > low else 0.5
    step = _step(low - room, high + room, 14, least=1.0)
    return Axis(low - room, high + room, _linear(low, high, step), "values that differ")


# How one kind of horizontal axis goes from its first to its last value.
ACROSS: Mapping[str, Callable[[float, float], Axis]] = {
    "frequency": _frequency,
    "line": _line,
    "time": _time,
    "moments": _moments,
    "counts": _counts,
}


def _known(graph: Graph, limits: bool = False) -> Iterable[float]:
    """The values of its lines; with `limits` also of what is drawn across."""
    found = [line.values[np.isfinite(line.values)] for line in graph.lines]
    yield from (float(end(values)) for values in found if values.size for end in (np.min, np.max))
    if limits:
        yield from (value for _, value in graph.limits)


def _highest(graph: Graph) -> float:
    return max(_known(graph), default=0.0)


def _lowest(graph: Graph) -> float:
    return min(_known(graph), default=0.0)


def _level(span: float) -> Callable[[Graph], Scale]:
    """So many dB up to a round figure a little above the highest, further where most of it were empty below."""

    def scale(graph: Graph) -> Scale:
        room = 4 if graph.shade else 2  # for the words
        top = 5.0 * math.ceil((_highest(graph) + room) / 5)
        top += 5.0 * max(0, math.floor((_lowest(graph) - (top - span)) / 10))
        return Scale(top - span, top, _linear(top - span, top, 5.0), UNITS[graph.kind],
                     decades=span / LEVEL, fills_page=False)  # fmt: skip

    return scale


def _impedance(graph: Graph) -> Scale:
    """In octaves, as ohm are rated: 2, 4, 8, 16. A finer line divides each."""
    known = list(_known(graph, limits=True)) or [8.0]
    room = 1.4 if graph.shade else 1.05
    first = max(-3, math.floor(math.log2(max(1e-9, 0.95 * min(known)))))
    last = max(first + OCTAVES, math.ceil(math.log2(max(1e-9, room * max(known)))))
    ticks = {2.0**i: f"{2.0**i:g}" for i in range(first, last + 1)} | {1.5 * 2.0**i: "" for i in range(first, last)}
    low, high = 2.0**first, 2.0**last
    return Scale(low, high, dict(sorted(ticks.items())), UNITS[graph.kind], logarithmic=True,
                 decades=math.log10(high / low) / OHMS, fills_page=False)  # fmt: skip


def _volts(graph: Graph) -> Scale:
    """As many decades as the lines below the top, which is twice the highest of the limits drawn across."""
    top = 2.0 * max((value for _, value in graph.limits), default=_highest(graph) or 1.0)
    steps = [m * 10.0**e for e in range(-6, 6) for m in ROUND]
    low = max([step for step in steps if step <= max(1e-3 * top, 0.9 * _lowest(graph))] or steps[:1])
    low = min(low, top / 20)
    ticks = {step: f"{step:g}" for step in steps if low * NEARLY <= step <= top}
    return Scale(low, top, ticks, UNITS[graph.kind], logarithmic=True, decades=1.5)


def _from_zero(reach: float = 3.0) -> Callable[[Graph], Scale]:
    """`reach` is how many times higher than the lines a limit may be to be shown."""

    def scale(graph: Graph) -> Scale:
        highest = _highest(graph) or 1.0  # nothing moves
        high = 1.08 * max([highest, *(value for _, value in graph.limits if value < reach * highest)])
        return Scale(0.0, high, _steps(0.0, high, 7), UNITS[graph.kind], decades=1.2)

    return scale


def _about_zero(least: float, step: float | None = None) -> Callable[[Graph], Scale]:
    """As far down as up; `least` at least, in whole steps of `step` where one is given."""

    def scale(graph: Graph) -> Scale:
        reach = max(least, 1.08 * max(_highest(graph), -_lowest(graph)))
        if step is None:
            return Scale(-reach, reach, _steps(-reach, reach, 7), UNITS[graph.kind], decades=0.9)
        reach = step * math.ceil(reach / step)
        marks = step * max(1, math.ceil(reach / (4 * step)))
        return Scale(-reach, reach, _linear(-reach, reach, marks), UNITS[graph.kind], decades=0.9)

    return scale


def _spanning(graph: Graph) -> Scale:
    """From the lowest to the highest value, zero among them."""
    low, high = min(0.0, _lowest(graph)), max(0.0, _highest(graph))
    room = 0.06 * (high - low) or 1.0
    return Scale(low - room, high + room, _steps(low - room, high + room, 8), UNITS[graph.kind], decades=1.3)


def _delay(graph: Graph) -> Scale:
    """As far as anything but the deepest bass and single spikes at nulls: what is beyond leaves the graph."""
    first = graph.lines[0]
    values = first.values[np.isfinite(first.values) & (graph.x >= DELAY_FROM)]
    shares = np.nanquantile(values, [0.02, 0.995]) if values.size else np.zeros(2)
    low = max(-DELAY_MOST, min(-1.0, math.floor(1.1 * float(shares[0]))))
    high = min(DELAY_MOST, max(5.0, math.ceil(1.1 * float(shares[1]))))
    return Scale(low, high, _steps(low, high, 8), UNITS[graph.kind], decades=1.3)


def _below_largest(graph: Graph) -> Scale:
    return Scale(DEEPEST, 2.0, _linear(DEEPEST, 2.0, 10.0), UNITS[graph.kind], decades=1.2)


# How one kind of graph is scaled upright.
SCALES: Mapping[str, Callable[[Graph], Scale]] = {
    "level": _level(50.0),
    "level_near": _level(30.0),
    "impedance": _impedance,
    "excursion": _from_zero(),
    "speed": _from_zero(),
    "volts": _volts,
    "peak_volts": _from_zero(),
    "watts": _from_zero(),
    "temperature": _from_zero(math.inf),
    "percent": _from_zero(),
    "difference": _from_zero(),
    "phase": _about_zero(50.0, 30.0),
    "delay": _delay,
    "pressure": _spanning,
    "percent_off": _about_zero(1.0),
    "below_largest": _below_largest,
}
