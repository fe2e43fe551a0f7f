"""Pictures: one graph per page width, stacked by the question each answers, lines labelled at their right-hand end.

Level graphs keep the proportions of IEC 60263: 25 dB take the length of one decade of frequency. Impedance is
logarithmic with 1.25 decades to that length. Everything drawn has been computed elsewhere.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, MultipleLocator, NullFormatter, NullLocator
from numpy.typing import NDArray

from system.findings import usage_error
from system.output import PICTURES, write_file

Floats = NDArray[np.float64]

DECADE = 2.2  # inches
LEFT, RIGHT, ABOVE, BELOW = 0.75, 1.45, 0.95, 0.55  # inches about each graph
INK, SHADED, FAINT = "#1d2733", "#e0c98d", "#c9b8b2"
HATCHES = ("////", "....", "\\\\\\\\", "xxxx", "----", "oooo", "||||")  # told apart in black and white
# colour and dash together, so that a black-and-white print still tells the lines apart
STYLES = (
    ("#1d2733", "-", 1.8),
    ("#a4452c", (0, (6, 2)), 1.3),
    ("#2c6e63", (0, (2, 1.5)), 1.3),
    ("#7a5c99", (0, (7, 2, 1.5, 2)), 1.3),
    ("#8a6a14", (0, (1, 1)), 1.5),
    ("#3f6ea8", (0, (9, 2, 1, 2, 1, 2)), 1.3),
)
NEARLY = 1 - 1e-9  # what is off by less is at the end of an axis
STEEP = 15.0  # dB, by which a curve rises over a stretch that has room for words at its high end only
DEEPEST = -40.0  # dB, where the graph of the pressure along a line ends
FREQUENCY_MARKS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)


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
    kind: str  # a key of SCALES
    x: Floats  # (F,) in the unit of `across`
    lines: Sequence[Line]
    limits: Sequence[tuple[str, float]] = ()  # level lines across the graph, in the graph's unit
    band: tuple[float, float] | None = None  # hatched
    marks: Mapping[str, float] = field(default_factory=dict)  # vertical marks: label -> place on the horizontal axis
    shade: Shade | None = None
    spans: Sequence[Span] = ()
    across: str = "frequency"  # a key of ACROSS


def save(graphs: Sequence[Graph] | Figure, path: Path, force: bool = False) -> None:
    """Write a figure, or graphs drawn below each other, as svg, png or pdf by the file's ending. Raises KitError."""
    kind = PICTURES.get(path.suffix.lower())
    if kind is None:
        raise usage_error(f"-o {path}", f"a picture ends in {', '.join(PICTURES)}")
    with mpl.rc_context(
        {"svg.hashsalt": "kitwright", "svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 9}
    ):
        figure = graphs if isinstance(graphs, Figure) else draw(graphs)
        picture = io.BytesIO()
        stamp = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {}}[kind]
        figure.savefig(picture, format=kind, dpi=110, metadata=stamp, facecolor="white")
    write_file(path, picture.getvalue(), force)


def draw(graphs: Sequence[Graph]) -> Figure:
    """A figure with the graphs stacked, each with its question, sentence and axes."""
    heights = [SCALES[graph.kind].height(graph) for graph in graphs]
    page = max(3.0, *(_decades(graph) for graph in graphs)) * DECADE
    spans = [page if SCALES[graph.kind].fills_page else _decades(graph) * DECADE for graph in graphs]
    width = LEFT + page + RIGHT
    total = sum(heights) + len(graphs) * (ABOVE + BELOW)
    figure = Figure(figsize=(width, total))
    top = total
    for graph, height, span in zip(graphs, heights, spans, strict=True):
        top -= ABOVE
        axes = figure.add_axes((LEFT / width, (top - height) / total, span / width, height / total))
        figure.text(0.2 / width, (top + 0.62) / total, graph.question, fontsize=11, fontweight="bold", color=INK)
        figure.text(0.2 / width, (top + 0.36) / total, graph.sentence, fontsize=8.5, color=INK)
        _fill(axes, graph, height)
        top -= height + BELOW
    return figure


def _decades(graph: Graph) -> float:
    """Of the frequency axis; none for another."""
    return float(np.log10(graph.x[-1] / graph.x[0])) if graph.across == "frequency" else 0.0


def _fill(axes: Axes, graph: Graph, height: float) -> None:
    scale = SCALES[graph.kind]
    low, high = scale.range(graph)
    axes.set_yscale("log" if scale.logarithmic else "linear")
    axes.set_ylim(low, high)
    ACROSS[graph.across](axes, float(graph.x[0]), float(graph.x[-1]))
    if graph.band is not None:
        axes.axvspan(*graph.band, facecolor="none", edgecolor=FAINT, hatch="////", linewidth=0)
    if graph.shade is not None:
        _shade(axes, graph, graph.shade)
    if graph.spans:
        _spans(axes, graph, low)
    for (colour, dash, weight), line in zip(_styles(len(graph.lines)), graph.lines, strict=True):
        x = graph.x if line.x is None else line.x
        axes.plot(x, line.values, color=colour, linestyle=dash, linewidth=weight, solid_capstyle="round")
    for label, value in graph.limits:
        if low < value < high:
            axes.axhline(value, color=INK, linewidth=0.9)
            axes.text(graph.x[-1], value, f"{label} ", va="bottom", ha="right", fontsize=8, color=INK)
    for label, place in graph.marks.items():
        if graph.x[0] * NEARLY <= place <= graph.x[-1] / NEARLY:
            axes.axvline(place, color=INK, linewidth=0.7, linestyle=(0, (1, 3)))
            side = "left" if place == graph.x[0] else "right"
            axes.text(place, low, f" {label}", rotation=90, va="bottom", ha=side, fontsize=7.5, color=INK)
    _label_ends(axes, graph, height)
    scale.ticks(axes, low, high)
    axes.grid(True, which="major", color="#d9d9d2", linewidth=0.7)
    axes.grid(True, which="minor", axis="x", color="#ecece6", linewidth=0.5)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.text(0, 1.02, scale.unit, transform=axes.transAxes, ha="right", va="bottom")


def _shade(axes: Axes, graph: Graph, shade: Shade) -> None:
    """The area, and a line to it from its words, which stand in the free space at the top of the graph."""
    axes.fill_between(graph.x, shade.lowest, shade.highest, color=SHADED, linewidth=0, zorder=1.5)
    i = int(np.abs(graph.x - shade.at).argmin())
    axes.annotate(
        shade.label, (graph.x[i], shade.highest[i]), xytext=(0.015, 0.985), textcoords="axes fraction", va="top",
        fontsize=8, color=INK, arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.7, "relpos": (0.03, 0.0)},
    )  # fmt: skip


def _spans(axes: Axes, graph: Graph, low: float) -> None:
    """Each stretch in the hatching of its kind; what it means stands upright in the widest that means the same."""
    curve = graph.lines[0].values
    kinds = list(dict.fromkeys(span.kind for span in graph.spans))
    for span in graph.spans:
        inside = (graph.x >= span.start * NEARLY) & (graph.x <= span.stop / NEARLY)
        axes.fill_between(
            graph.x[inside], low, curve[inside], facecolor="none", edgecolor=FAINT,
            hatch=HATCHES[kinds.index(span.kind) % len(HATCHES)], linewidth=0,
        )  # fmt: skip
    for label in dict.fromkeys(span.label for span in graph.spans):
        widest = max((s for s in graph.spans if s.label == label), key=lambda s: s.stop / s.start)
        first, last = np.interp([widest.start, widest.stop], graph.x, curve)
        towards = 0.85 if last > first + STEEP else 0.15 if first > last + STEEP else 0.5  # where there is room
        place = widest.start * (widest.stop / widest.start) ** towards
        axes.text(
            place, low, f"  {label}", rotation=90, va="bottom", ha="center", fontsize=8,
            color=INK, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.85},
        )  # fmt: skip


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


def _across_line(axes: Axes, low: float, high: float) -> None:
    axes.set_xlim(low, high)
    axes.xaxis.set_major_locator(MaxNLocator(10))
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
    "counts": _across_counts,
}


def _styles(count: int) -> list[tuple[str, object, float]]:
    return [STYLES[i % len(STYLES)] for i in range(count)]


def _label_ends(axes: Axes, graph: Graph, height: float) -> None:
    """Each line's name to the right of its last visible value, moved apart where names would touch."""
    scale = SCALES[graph.kind]
    low, high = scale.range(graph)
    transform = np.log if scale.logarithmic else np.asarray
    ends = []
    for i, line in enumerate(graph.lines):
        known = line.values[np.isfinite(line.values)]
        last = float(np.clip(known[-1], low, high)) if known.size else low
        ends.append((float((transform(last) - transform(low)) / (transform(high) - transform(low))), i))
    step = 0.15 / height
    wanted = sorted(ends)
    placed: list[float] = []
    for position, _ in wanted:
        placed.append(max(position, placed[-1] + step) if placed else max(position, 0.0))
    overshoot = max(0.0, placed[-1] - 1.0) if placed else 0.0
    for at, (_, i) in zip(placed, wanted, strict=True):
        colour = STYLES[i % len(STYLES)][0]
        axes.annotate(
            graph.lines[i].label, (1.0, at - overshoot), xycoords="axes fraction", xytext=(6, 0),
            textcoords="offset points", va="center", fontsize=8.5, color=colour, annotation_clip=False,
        )  # fmt: skip


class _Scale:
    """How one kind of graph is scaled."""

    unit = ""
    logarithmic = False
    fills_page = False  # takes the page's width whatever its band: no proportions to keep

    def range(self, graph: Graph) -> tuple[float, float]:
        raise NotImplementedError

    def height(self, graph: Graph) -> float:
        raise NotImplementedError

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        raise NotImplementedError


class _Level(_Scale):
    unit = "dB"

    def __init__(self, span: float) -> None:
        self.span = span  # dB

    def range(self, graph: Graph) -> tuple[float, float]:
        room = 4 if graph.shade else 2  # for the words
        top = 5.0 * np.ceil((max(float(np.max(line.values)) for line in graph.lines) + room) / 5)
        return top - self.span, top

    def height(self, graph: Graph) -> float:
        low, high = self.range(graph)
        return (high - low) / 25.0 * DECADE

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MultipleLocator(5))


class _Impedance(_Scale):
    unit = "ohm"
    logarithmic = True

    def range(self, graph: Graph) -> tuple[float, float]:
        values = np.concatenate([line.values for line in graph.lines])
        low = max(v for v in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50) if v <= max(0.1, 0.95 * float(values.min())))
        return low, max(20.0 * low, 1.1 * float(values.max()))

    def height(self, graph: Graph) -> float:
        low, high = self.range(graph)
        return float(np.log10(high / low)) / 1.25 * DECADE

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        marks = [m * 10.0**e for e in range(-1, 4) for m in (1, 2, 3, 4, 6, 8)]
        axes.yaxis.set_major_locator(FixedLocator([m for m in marks if low <= m <= high]))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        axes.yaxis.set_minor_locator(NullLocator())


class _BelowLargest(_Scale):
    unit = "dB"
    fills_page = True

    def range(self, graph: Graph) -> tuple[float, float]:
        return DEEPEST, 2.0

    def height(self, graph: Graph) -> float:
        return DECADE * 1.2

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MultipleLocator(10))


class _Volts(_Scale):
    """As many decades as the lines below the top, which is a little above the highest of the limits drawn across."""

    unit = "V rms"
    logarithmic = True
    fills_page = True

    def range(self, graph: Graph) -> tuple[float, float]:
        top = 2.0 * max(value for _, value in graph.limits)
        lowest = min(float(np.nanmin(line.values)) for line in graph.lines)
        low = max(m * 10.0**e for e in range(-4, 4) for m in (1, 2, 5) if m * 10.0**e <= max(1e-3 * top, 0.9 * lowest))
        return min(low, top / 20), top

    def height(self, graph: Graph) -> float:
        return DECADE * 1.5

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        marks = [m * 10.0**e for e in range(-4, 4) for m in (1, 2, 5)]
        axes.yaxis.set_major_locator(FixedLocator([m for m in marks if low * NEARLY <= m <= high]))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
        axes.yaxis.set_minor_locator(NullLocator())


class _FromZero(_Scale):
    fills_page = True

    def __init__(self, unit: str, reach: float = 3.0) -> None:
        self.unit = unit
        self.reach = reach  # how many times higher than the lines a limit may be to be shown

    def range(self, graph: Graph) -> tuple[float, float]:
        highest = max(float(np.nanmax(line.values)) for line in graph.lines) or 1.0  # nothing moves
        limits = [value for _, value in graph.limits if value < self.reach * highest]
        return 0.0, 1.08 * max(highest, *limits) if limits else 1.08 * highest

    def height(self, graph: Graph) -> float:
        return DECADE * 1.2

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MaxNLocator(7))


class _AboutZero(_Scale):
    """As far down as up; `least` at least, in steps of `step` where one is given."""

    fills_page = True

    def __init__(self, unit: str, least: float, step: float | None = None) -> None:
        self.unit = unit
        self.least = least
        self.step = step

    def range(self, graph: Graph) -> tuple[float, float]:
        reach = max(self.least, *(1.08 * float(np.nanmax(np.abs(line.values))) for line in graph.lines))
        return -reach, reach

    def height(self, graph: Graph) -> float:
        return DECADE * 0.9

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MultipleLocator(self.step) if self.step else MaxNLocator(7))


SCALES: Mapping[str, _Scale] = {
    "level": _Level(50.0),
    "level_near": _Level(30.0),
    "impedance": _Impedance(),
    "excursion": _FromZero("mm peak"),
    "speed": _FromZero("m/s peak"),
    "volts": _Volts(),
    "peak_volts": _FromZero("V peak"),
    "watts": _FromZero("W"),
    "temperature": _FromZero("degC", np.inf),
    "percent": _FromZero("%"),
    "difference": _FromZero("dB"),
    "phase": _AboutZero("deg", 50.0, 30.0),
    "percent_off": _AboutZero("%", 1.0),
    "below_largest": _BelowLargest(),
}
