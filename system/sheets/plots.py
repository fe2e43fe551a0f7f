"""Pictures: one graph per page width, stacked by the question each answers, lines labelled at their right-hand end.

Level graphs keep the proportions of IEC 60263: 25 dB take the length of one decade of frequency. Impedance is
logarithmic with 1.25 decades to that length. Everything drawn has been computed elsewhere.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, MultipleLocator, NullFormatter, NullLocator
from numpy.typing import NDArray

from system import wording
from system.along import LinePressure
from system.compare import Comparison
from system.filling import Band
from system.findings import usage_error
from system.kit import Kit, RadiatorSpec
from system.output import PICTURES, write_file
from system.predict import Prediction
from system.protect import Verdict, alike
from system.sheets.texts import VERDICTS, cabinet_text, placement_text, programme_text
from system.summary import level

Floats = NDArray[np.float64]

DECADE = 2.2  # inches
LEFT, RIGHT, ABOVE, BELOW = 0.75, 1.45, 0.95, 0.55  # inches about each graph
INK, SHADED = "#1d2733", "#e0c98d"
# colour and dash together, so that a black-and-white print still tells the lines apart
STYLES = (
    ("#1d2733", "-", 1.8),
    ("#a4452c", (0, (6, 2)), 1.3),
    ("#2c6e63", (0, (2, 1.5)), 1.3),
    ("#7a5c99", (0, (7, 2, 1.5, 2)), 1.3),
    ("#8a6a14", (0, (1, 1)), 1.5),
    ("#3f6ea8", (0, (9, 2, 1, 2, 1, 2)), 1.3),
)
MOVING = 1000.0  # Hz, top of the graphs of excursion and air speed
NEARLY = 1 - 1e-9  # what is off by less is at the end of an axis
DEEPEST = -40.0  # dB, where the graph of the pressure along a line ends
ORDINALS = ("first", "second", "third")
FREQUENCY_MARKS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    label: str
    values: Floats  # (F,)


@dataclass(frozen=True, slots=True, eq=False)
class Shade:
    """An area between two curves (F,), and what it means; the words point at the place `at` on the horizontal axis."""

    label: str
    lowest: Floats
    highest: Floats
    at: float


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
    across: str = "frequency"  # a key of ACROSS


def save(graphs: Sequence[Graph], path: Path, force: bool = False) -> None:
    """Draw the graphs below each other and write them as svg, png or pdf by the file's ending. Raises KitError."""
    kind = PICTURES.get(path.suffix.lower())
    if kind is None:
        raise usage_error(f"-o {path}", f"a picture ends in {', '.join(PICTURES)}")
    with mpl.rc_context(
        {"svg.hashsalt": "kitwright", "svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 9}
    ):
        figure = draw(graphs)
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
        axes.axvspan(*graph.band, facecolor="none", edgecolor="#c9b8b2", hatch="////", linewidth=0)
    if graph.shade is not None:
        _shade(axes, graph, graph.shade)
    for (colour, dash, weight), line in zip(_styles(len(graph.lines)), graph.lines, strict=True):
        axes.plot(graph.x, line.values, color=colour, linestyle=dash, linewidth=weight, solid_capstyle="round")
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


def _across_frequency(axes: Axes, low: float, high: float) -> None:
    axes.set_xscale("log")
    axes.set_xlim(low, high)
    marks = [f for f in FREQUENCY_MARKS if low * 0.999 <= f <= high * 1.001]
    axes.xaxis.set_major_locator(FixedLocator(marks))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda f, _: f"{f / 1000:g}k" if f >= 1000 else f"{f:g}"))
    axes.xaxis.set_minor_locator(FixedLocator([m * 10**e for e in range(1, 5) for m in range(1, 10)]))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("Hz", loc="right", labelpad=1)


def _across_line(axes: Axes, low: float, high: float) -> None:
    axes.set_xlim(low, high)
    axes.xaxis.set_major_locator(MaxNLocator(10))
    axes.set_xlabel("mm from the closed end", loc="right", labelpad=1)


# How one kind of horizontal axis is drawn, from its first to its last value.
ACROSS: Mapping[str, Callable[[Axes, float, float], None]] = {
    "frequency": _across_frequency,
    "line": _across_line,
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

    def range(self, graph: Graph) -> tuple[float, float]:
        room = 4 if graph.shade else 2  # for the words
        top = 5.0 * np.ceil((max(float(np.max(line.values)) for line in graph.lines) + room) / 5)
        return top - 50.0, top

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


class _FromZero(_Scale):
    fills_page = True

    def __init__(self, unit: str) -> None:
        self.unit = unit

    def range(self, graph: Graph) -> tuple[float, float]:
        highest = max(float(np.nanmax(line.values)) for line in graph.lines) or 1.0  # nothing moves
        limits = [value for _, value in graph.limits if value < 3 * highest]
        return 0.0, 1.08 * max(highest, *limits) if limits else 1.08 * highest

    def height(self, graph: Graph) -> float:
        return DECADE * 1.2

    def ticks(self, axes: Axes, low: float, high: float) -> None:
        axes.yaxis.set_major_locator(MaxNLocator(7))


SCALES: Mapping[str, _Scale] = {
    "level": _Level(),
    "impedance": _Impedance(),
    "excursion": _FromZero("mm peak"),
    "speed": _FromZero("m/s peak"),
    "below_largest": _BelowLargest(),
}


def _setting(kit: Kit, result: Prediction) -> str:
    variant = result.variant
    return (
        f"{kit.name}, {variant.name} ({cabinet_text(variant)}, {placement_text(variant.placement)}):"
        f" {result.volts:g} V, {result.distance:g} m, not smoothed"
    )


def _moving(frequency: Floats) -> NDArray[np.bool_]:
    """The part of a grid in which cones and port air move far enough to be seen; all of it where that is nothing."""
    low = frequency <= MOVING
    return low if np.count_nonzero(low) > 1 else np.ones_like(low)


def predictions(kit: Kit, results: Sequence[Prediction]) -> list[Graph]:
    """For each variant: level with its components, what moves at rated volts, inside its lines, impedance."""
    return [graph for result in results for question in QUESTIONS for graph in question(kit, result)]


def _how_low(kit: Kit, result: Prediction) -> Iterator[Graph]:
    figures = result.summary
    parts = [Line(n, level(driver.pressure)) for n, driver in result.drivers.items()]
    parts += [Line(n, level(opening.pressure)) for n, opening in result.openings.items()]
    corners = {"-3 dB": figures.minus_3_db_hz, "-10 dB": figures.minus_10_db_hz}
    marks = {label: hertz for label, hertz in corners.items() if hertz is not None}
    together = Line("together", level(result.pressure))
    filling = result.detail.filling if result.detail else None
    shade = _filling_shade(filling.band) if filling else None
    yield Graph(
        "How low and how even?", _setting(kit, result), "level", result.frequency, [together, *parts],
        marks=marks, shade=shade,
    )  # fmt: skip


def _filling_shade(band: Band) -> Shade:
    label = f"shaded: thinnest to densest filling, up to {wording.decibels(band.widest)}"
    return Shade(label, band.lowest, band.highest, band.widest_at)


def _cones(kit: Kit, result: Prediction) -> Iterator[Graph]:
    low, rated = _moving(result.frequency), kit.amplifier.rated_volts
    moving = [n for n, driver in result.drivers.items() if driver.excursion is not None]
    if moving:
        lines = [Line(n, result.excursion_at(n, rated)[low] * 1e3) for n in moving]
        sentence = f"{result.variant.name}: one-way peak on a sine of {rated:.1f} V, the amplifier's rated volts"
        limits = _excursion_limits(result, moving)
        yield Graph("Is the woofer safe?", sentence, "excursion", result.frequency[low], lines, limits)


def _radiators(kit: Kit, result: Prediction) -> Iterator[Graph]:
    low, rated = _moving(result.frequency), kit.amplifier.rated_volts
    specs = {n: opening.spec for n, opening in result.openings.items() if isinstance(opening.spec, RadiatorSpec)}
    if specs:
        lines = [Line(n, result.radiator_excursion_at(n, rated)[low] * 1e3) for n in specs]
        sentence = f"{result.variant.name}: one-way peak on a sine of {rated:.1f} V, the amplifier's rated volts"
        limits = [(f"linear limit of {n}", s.linear_excursion * 1e3) for n, s in specs.items() if s.linear_excursion]
        limits += [(f"damage limit of {n}", s.damage_excursion * 1e3) for n, s in specs.items() if s.damage_excursion]
        yield Graph("Is the radiator safe?", sentence, "excursion", result.frequency[low], lines, limits)


def _air(kit: Kit, result: Prediction) -> Iterator[Graph]:
    low, rated = _moving(result.frequency), kit.amplifier.rated_volts
    limits = {name: opening.limit for name, opening in result.openings.items() if opening.limit is not None}
    if limits:
        lines = [Line(n, result.speed_at(n, rated)[low]) for n in limits]
        reached = [
            f"{name} at its limit from {wording.volts_down(limit.volts)} on, at {wording.hertz(limit.frequency)}"
            for name, limit in limits.items()
            if limit.volts is not None and limit.volts <= rated
        ]
        sentence = f"{result.variant.name}: {'; '.join([f'peak air speed on a sine of {rated:.1f} V', *reached])}"
        marks: dict[float, list[str]] = {}
        for name, limit in limits.items():
            marks.setdefault(limit.speed, []).append(name)
        levels = [(f"limit of {', '.join(names)}, {speed:.3g} m/s", speed) for speed, names in marks.items()]
        yield Graph("Does the opening make noise?", sentence, "speed", result.frequency[low], lines, levels)


def _inside_lines(kit: Kit, result: Prediction) -> Iterator[Graph]:
    for line in result.detail.lines if result.detail else ():
        if np.isfinite(line.levels).all():  # else nothing moves
            yield _inside(result.variant.name, line)


def _inside(variant: str, line: LinePressure) -> Graph:
    named = zip(ORDINALS, line.resonances, line.levels, strict=False)
    lines = [Line(f"{ordinal}, {wording.hertz(hertz)}", levels) for ordinal, hertz, levels in named]
    there: dict[float, list[str]] = {}
    for name, place in (*line.drivers.items(), *line.mouths.items()):
        there.setdefault(place, []).append(name)
    return Graph(
        "Where along the line is the pressure?",
        f"{variant}: level at the line's first resonances, below the largest of each; dotted: drivers and mouths",
        "below_largest",
        line.places * 1e3,
        lines,
        marks={", ".join(names): place * 1e3 for place, names in there.items()},
        across="line",
    )


def _amplifier(kit: Kit, result: Prediction) -> Iterator[Graph]:
    figures = result.summary
    if figures.lowest_impedance_ohm is None:
        return  # no current, no impedance
    lowest = f"lowest {figures.lowest_impedance_ohm:.1f} ohm at {wording.hertz(figures.lowest_impedance_hz)}"
    allowed = kit.amplifier.lowest_load
    limits = [(f"the amplifier stands {allowed:g} ohm", allowed)] if allowed else []
    impedance = [Line("impedance", np.abs(result.impedance))]
    sentence = f"{result.variant.name}: what it sees; {lowest}"
    yield Graph("Is the amplifier safe?", sentence, "impedance", result.frequency, impedance, limits)


QUESTIONS: Sequence[Callable[[Kit, Prediction], Iterator[Graph]]] = (
    _how_low,
    _cones,
    _radiators,
    _air,
    _inside_lines,
    _amplifier,
)


def _excursion_limits(result: Prediction, names: Sequence[str]) -> list[tuple[str, float]]:
    limits: dict[str, float] = {}
    for name in names:
        data = result.variant.hookups[name].driver
        if data.linear_excursion is not None:
            limits[f"linear limit of {data.name}"] = data.linear_excursion * 1e3
        if data.damage_excursion is not None:
            limits[f"damage limit of {data.name}"] = data.damage_excursion * 1e3
    return list(limits.items())


def comparison(result: Comparison) -> list[Graph]:
    """Every variant's level and impedance laid over each other."""
    first = next(iter(result.predictions.values()))
    f = first.frequency
    volts = f"{first.volts:g} V, each at its own listening point and placement, not smoothed"
    levels = [Line(name, level(p.pressure)) for name, p in result.predictions.items()]
    drawing = {name: p for name, p in result.predictions.items() if p.summary.lowest_impedance_ohm is not None}
    impedances = [Line(name, np.abs(p.impedance)) for name, p in drawing.items()]
    seen = Graph("Is the amplifier safe?", "what the amplifier sees", "impedance", f, impedances)
    return [Graph("How low and how even?", volts, "level", f, levels), *([seen] if impedances else [])]


def protection(kit: Kit, verdicts: Mapping[str, Sequence[Verdict]]) -> list[Graph]:
    """Excursion of each woofer over frequency, the place linked and with the capacitors that matter."""
    graphs = []
    for name, each in verdicts.items():
        for verdict, woofers in alike(each):
            if not verdict.curves:
                continue
            low = _moving(verdict.frequency)
            limits = [("linear limit", verdict.linear_limit), ("damage limit", verdict.damage_limit)]
            band = verdict.subject.worse_band if verdict.subject else None
            hatched = ""
            if band and verdict.subject:
                span = f"{wording.hertz(band[0])} to {wording.hertz(band[1])}"
                hatched = f"; hatched: {span}, where {wording.state(verdict.subject.value)} moves it further"
            graphs.append(
                Graph(
                    f"Is the woofer safe? {name}, {' and '.join(woofers)}: high-pass {VERDICTS[verdict.verdict]}",
                    f"one-way peak on a swept sine of {verdict.sine_volts:.1f} V{hatched}",
                    "excursion",
                    verdict.frequency[low],
                    [Line(label, curve[low] * 1e3) for label, curve in verdict.curves.items()],
                    [(label, value * 1e3) for label, value in limits if value is not None],
                    band,
                )
            )
    if not graphs:
        raise usage_error("a picture of no woofers", f"a variant with a woofer ({programme_text(kit.programme)})")
    return graphs
