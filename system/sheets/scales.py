"""How the axes of a graph are scaled and marked: upright by the kind of graph, across by what lies along it.

Level keeps the proportions of IEC 60263: 25 dB take the length of one decade of frequency. Impedance is logarithmic
with 1.25 decades to that length.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, MultipleLocator, NullFormatter, NullLocator

from system.sheets.pictures import Graph

DECADE = 2.2  # inches
NEARLY = 1 - 1e-9  # what is off by less is at the end of an axis
DELAY_FROM = 50.0  # Hz, from where on a graph of delays is to hold all but spikes
DELAY_MOST = 30.0  # ms
DEEPEST = -40.0  # dB, where the graph of the pressure along a line ends
ROUND = (1, 2, 5, 10)  # figures of an axis go on in these
FREQUENCY_MARKS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)


def _across_frequency(axes: Axes, low: float, high: float) -> None:
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    marks = [f for f in FREQUENCY_MARKS if low * 0.999 <= f <= high * 1.001]
    axes.xaxis.set_major_locator(FixedLocator(marks))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda f, _: f"{f / 1000:g}k" if f >= 1000 else f"{f:g}"))
    axes.xaxis.set_minor_locator(FixedLocator([m * 10**e for e in range(1, 5) for m in range(1, 10)]))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("Hz", loc="right", labelpad=1)


TIME_MARKS = {1: "1 s", 10: "10 s", 60: "1 min", 600: "10 min", 3600: "1 h", 10800: "3 h"}


def _across_time(axes: Axes, low: float, high: float) -> None:
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    axes.xaxis.set_major_locator(FixedLocator([t for t in TIME_MARKS if low * NEARLY <= t <= high / NEARLY]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda t, _: TIME_MARKS.get(round(t), "")))
    axes.xaxis.set_minor_locator(NullLocator())


def _across_moments(axes: Axes, low: float, high: float) -> None:
    axes.set_xlim(low, high)
    axes.xaxis.set_major_locator(MaxNLocator(14, steps=ROUND))
    axes.set_xlabel("ms", loc="right", labelpad=1)


def _across_line(axes: Axes, low: float, high: float) -> None:
    axes.set_xlim(low, high)
    axes.xaxis.set_major_locator(MaxNLocator(10, steps=ROUND))
    axes.set_xlabel("mm from the closed end", loc="right", labelpad=1)


def _across_counts(axes: Axes, low: float, high: float) -> None:
    axes.set_xlim(low - 0.2, high + 0.2)
    axes.xaxis.set_major_locator(MaxNLocator(14, integer=True))
    axes.set_xlabel("values that differ", loc="right", labelpad=1)


# How one kind of horizontal axis is drawn, from its first to its last value.
ACROSS: Mapping[str, Callable[[Axes, float, float], None]] = {
    "frequency": _across_frequency,
    "line": _across_line,
    "time": _across_time,
    "moments": _across_moments,
    "counts": _across_counts,
}


class Scale:
    """How one kind of graph is scaled upright; what has proportions to keep does not fill the page's width."""

    logarithmic = False
    fills_page = False  # takes the page's width whatever its band: no proportions to keep

    def range(self, graph: Graph) -> tuple[float, float]:
        """From where to where, in the graph's unit."""
        raise NotImplementedError

    def height(self, graph: Graph) -> float:
        """Of the axes, inches."""
        raise NotImplementedError

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        """Put figures at the axis."""
        raise NotImplementedError


def _highest(graph: Graph) -> float:
    return max((float(np.nanmax(line.values)) for line in graph.lines if np.isfinite(line.values).any()), default=0.0)


def _lowest(graph: Graph) -> float:
    return min((float(np.nanmin(line.values)) for line in graph.lines if np.isfinite(line.values).any()), default=0.0)


class _Level(Scale):
    def __init__(self, span: float) -> None:
        self.span = span  # dB

    def range(self, graph: Graph) -> tuple[float, float]:
        room = 4 if graph.shade else 2  # for the words
        top = 5.0 * np.ceil((_highest(graph) + room) / 5)
        return top - self.span, top

    def height(self, graph: Graph) -> float:
        return self.span / 25.0 * DECADE

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MultipleLocator(5))


class _Impedance(Scale):
    logarithmic = True

    def range(self, graph: Graph) -> tuple[float, float]:
        low = max(v for v in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50) if v <= max(0.1, 0.95 * _lowest(graph)))
        return low, max(20.0 * low, 1.1 * _highest(graph))

    def height(self, graph: Graph) -> float:
        low, high = self.range(graph)
        return float(np.log10(high / low)) / 1.25 * DECADE

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        marks = [m * 10.0**e for e in range(-1, 4) for m in (1, 2, 3, 4, 6, 8)]
        axes.yaxis.set_major_locator(FixedLocator([m for m in marks if low <= m <= high]))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        axes.yaxis.set_minor_locator(NullLocator())


class _BelowLargest(Scale):
    fills_page = True

    def range(self, graph: Graph) -> tuple[float, float]:
        return DEEPEST, 2.0

    def height(self, graph: Graph) -> float:
        return DECADE * 1.2

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MultipleLocator(10))


class _Volts(Scale):
    """As many decades as the lines below the top, which is a little above the highest of the limits drawn across."""

    logarithmic = True
    fills_page = True

    def range(self, graph: Graph) -> tuple[float, float]:
        top = 2.0 * max(value for _, value in graph.limits)
        aim = max(1e-3 * top, 0.9 * _lowest(graph))
        low = max(m * 10.0**e for e in range(-4, 4) for m in (1, 2, 5) if m * 10.0**e <= aim)
        return min(low, top / 20), top

    def height(self, graph: Graph) -> float:
        return DECADE * 1.5

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        marks = [m * 10.0**e for e in range(-4, 4) for m in (1, 2, 5)]
        axes.yaxis.set_major_locator(FixedLocator([m for m in marks if low * NEARLY <= m <= high]))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        axes.yaxis.set_minor_locator(NullLocator())


class _FromZero(Scale):
    fills_page = True

    def __init__(self, reach: float = 3.0) -> None:
        self.reach = reach  # how many times higher than the lines a limit may be to be shown

    def range(self, graph: Graph) -> tuple[float, float]:
        highest = _highest(graph) or 1.0  # nothing moves
        limits = [value for _, value in graph.limits if value < self.reach * highest]
        return 0.0, 1.08 * max(highest, *limits) if limits else 1.08 * highest

    def height(self, graph: Graph) -> float:
        return DECADE * 1.2

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MaxNLocator(7, steps=ROUND))


class _AboutZero(Scale):
    """As far down as up; `least` at least, in whole steps of `step` where one is given."""

    fills_page = True

    def __init__(self, least: float, step: float | None = None) -> None:
        self.least = least
        self.step = step

    def range(self, graph: Graph) -> tuple[float, float]:
        reach = max(self.least, 1.08 * max(_highest(graph), -_lowest(graph)))
        if self.step:
            reach = self.step * np.ceil(reach / self.step)
        return -reach, reach

    def height(self, graph: Graph) -> float:
        return DECADE * 0.9

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        step = self.step * max(1.0, np.ceil(high / (4 * self.step))) if self.step else None
        axes.yaxis.set_major_locator(MultipleLocator(step) if step else MaxNLocator(7, steps=ROUND))


class _Spanning(Scale):
    """From the lowest to the highest value, zero among them."""

    fills_page = True

    def range(self, graph: Graph) -> tuple[float, float]:
        low, high = min(0.0, _lowest(graph)), max(0.0, _highest(graph))
        room = 0.06 * (high - low) or 1.0
        return low - room, high + room

    def height(self, graph: Graph) -> float:
        return DECADE * 1.3

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MaxNLocator(8, steps=ROUND))


class _Delay(Scale):
    """As far as anything but the deepest bass and single spikes at nulls: what is beyond leaves the graph."""

    fills_page = True

    def range(self, graph: Graph) -> tuple[float, float]:
        first = graph.lines[0]
        values = first.values[np.isfinite(first.values) & (graph.x >= DELAY_FROM)]
        shares = np.nanquantile(values, [0.02, 0.995]) if values.size else np.zeros(2)
        low = min(-1.0, np.floor(1.1 * float(shares[0])))
        return max(low, -DELAY_MOST), min(DELAY_MOST, max(5.0, np.ceil(1.1 * float(shares[1]))))

    def height(self, graph: Graph) -> float:
        return DECADE * 1.3

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MaxNLocator(8, steps=ROUND))


SCALES: Mapping[str, Scale] = {
    "level": _Level(50.0),
    "level_near": _Level(30.0),
    "impedance": _Impedance(),
    "excursion": _FromZero(),
    "speed": _FromZero(),
    "volts": _Volts(),
    "peak_volts": _FromZero(),
    "watts": _FromZero(),
    "temperature": _FromZero(np.inf),
    "percent": _FromZero(),
    "difference": _FromZero(),
    "phase": _AboutZero(50.0, 30.0),
    "delay": _Delay(),
    "pressure": _Spanning(),
    "percent_off": _AboutZero(1.0),
    "below_largest": _BelowLargest(),
}
