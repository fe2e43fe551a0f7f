"""Charts of a page as SVG: its own letters, its own ink in light and dark, nothing that a browser has to fetch.

Their axes are those of `system.sheets.scales`. Lengths are units of the drawing, in which letters are 11 high on a
screen and 16 on a phone, where the same drawing is half as large: there is room for the larger ones throughout.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from system.sheets import scales
from system.sheets.pages.blocks import Chart
from system.sheets.pictures import Graph

DECADE = 140.0
LEFT, ABOVE, BELOW = 40.0, 28.0, 34.0
ENLARGED = 0.083  # rem a unit on a wide screen: three decades with short names take 46 rem
LETTER = 9.0  # of the width that a letter of the larger size takes
SAMPLE = 16.0  # of a line, before its name
APART = 18.0  # names of lines, and figures at an axis
LINES = 6  # that are told apart by ink and dash; the style sheet has them
BEYOND = 0.5  # of the height: so far outside of the plot a curve is drawn, to be cut off


class Plane:
    """Where the axes of a graph lie in the drawing: from its left edge to the right, from its top down."""

    def __init__(self, graph: Graph) -> None:
        self.across = scales.across(graph.across, float(graph.x[0]), float(graph.x[-1]))
        self.upright = scales.upright(graph)
        self.wide = DECADE * (3.0 if self.upright.fills_page else float(np.log10(graph.x[-1] / graph.x[0])))
        self.high = self.upright.decades * DECADE

    def x(self, place: float) -> float:
        return self.across.at(place) * self.wide

    def y(self, value: float) -> float:
        """What lies outside is cut off a little beyond it."""
        return self.high * (1.0 - min(1.0 + BEYOND, max(-BEYOND, self.upright.at(value))))


def svg(chart: Chart) -> str:
    """The chart as an element of the page; all text is escaped."""
    graph = chart.graph
    plane = Plane(graph)
    names = max(len(line.label) for line in graph.lines)
    width, height = LEFT + plane.wide + 4 + SAMPLE + 4 + LETTER * names, ABOVE + plane.high + BELOW
    inner = "".join(
        [
            *_across(plane),
            *_upright(plane),
            f'<g clip-path="url(#{chart.name}-plot)">',
            *_curves(graph, plane),
            *_limits(graph, plane),
            "</g>",
            *_limit_words(graph, plane),
            *_marks(graph, plane),
            *_names(graph, plane),
            f'<path class="cursor" d="M0 0V{plane.high:.1f}" visibility="hidden"/>' if chart.reads else "",
        ]
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-LEFT:g} {-ABOVE:g} {width:.1f} {height:.1f}"'
        f' style="max-width: {width * ENLARGED:.1f}rem" role="img" aria-label={quoteattr(graph.alt)}>'
        f'<clipPath id="{chart.name}-plot"><rect width="{plane.wide:.1f}" height="{plane.high:.1f}"/></clipPath>'
        f"{inner}</svg>"
    )


def readout(chart: Chart) -> str:
    """What a reader's cursor needs, as JSON: the frequencies, their places, the names and values of the curves."""
    graph = chart.graph
    plane = Plane(graph)
    return json.dumps(
        {
            "unit": plane.upright.words,
            "hertz": [round(hertz, 1) for hertz in graph.x.tolist()],
            "at": [round(plane.x(hertz), 1) for hertz in graph.x.tolist()],
            "curves": {
                line.label: [round(v, 2) if np.isfinite(v) else None for v in line.values.tolist()]
                for line in graph.lines
            },
        },
        separators=(",", ":"),
    )


def _across(plane: Plane) -> Iterator[str]:
    lines = "".join(f"M{plane.x(place):.1f} 0V{plane.high:.1f}" for place in plane.across.ticks)
    yield f'<path class="fine" d="{lines}"/>'
    for place, words in plane.across.ticks.items():
        if words:
            yield f'<text x="{plane.x(place):.1f}" y="{plane.high + 18:.1f}" text-anchor="middle">{words}</text>'
    yield f'<text x="{plane.wide + 24:.1f}" y="{plane.high + 18:.1f}">{plane.across.words}</text>'


def _upright(plane: Plane) -> Iterator[str]:
    scale = plane.upright
    for value, words in scale.ticks.items():
        y = plane.y(value)
        yield f'<path class="{"grid" if words else "fine"}" d="M0 {y:.1f}H{plane.wide:.1f}"/>'
        if words:
            yield f'<text x="-6" y="{y + 4:.1f}" text-anchor="end">{words}</text>'
    yield f'<text x="{2 - LEFT:g}" y="-14">{scale.words}</text>'


def _curves(graph: Graph, plane: Plane) -> Iterator[str]:
    for i, line in enumerate(graph.lines):
        points = zip((graph.x if line.x is None else line.x).tolist(), line.values.tolist(), strict=True)
        pieces = [
            "M" + " ".join(f"{plane.x(f):.1f},{plane.y(v):.1f}" for f, v in piece)
            for there, piece in groupby(points, lambda point: bool(np.isfinite(point[1])))
            if there
        ]
        yield f'<path class="curve ink{i % LINES}" data-curve={quoteattr(line.label)} d="{"".join(pieces)}"/>'


def _limits(graph: Graph, plane: Plane) -> Iterator[str]:
    for _, value in graph.limits:
        yield f'<path class="limit" d="M0 {plane.y(value):.1f}H{plane.wide:.1f}"/>'


def _limit_words(graph: Graph, plane: Plane) -> Iterator[str]:
    for label, value in graph.limits:
        if 0.0 < plane.upright.at(value) < 1.0:
            yield (
                f'<text class="halo" x="{plane.wide - 4:.1f}" y="{plane.y(value) - 4:.1f}" text-anchor="end">'
                f"{escape(label)}</text>"
            )


def _marks(graph: Graph, plane: Plane) -> Iterator[str]:
    for label, place in graph.marks.items():
        if graph.x[0] <= place <= graph.x[-1]:
            x = plane.x(place)
            yield f'<path class="mark" d="M{x:.1f} 0V{plane.high:.1f}"/>'
            yield (
                f'<text class="halo" transform="translate({x - 4:.1f} {plane.high - 5:.1f}) rotate(-90)">'
                f"{escape(label)}</text>"
            )


def _names(graph: Graph, plane: Plane) -> Iterator[str]:
    """Each at its line's end, moved apart where they would touch, with a piece of the line before it."""
    ends = []
    for i, line in enumerate(graph.lines):
        known = line.values[np.isfinite(line.values)]
        ends.append((min(max(plane.y(float(known[-1])), 0.0), plane.high) if known.size else plane.high, i))
    places = _spread([end for end, _ in sorted(ends)], plane.high)
    for y, (_, i) in zip(places, sorted(ends), strict=True):
        yield f'<path class="curve ink{i % LINES}" d="M{plane.wide + 4:.1f} {y:.1f}h{SAMPLE:g}"/>'
        label = escape(graph.lines[i].label)
        yield f'<text class="of{i % LINES}" x="{plane.wide + 8 + SAMPLE:.1f}" y="{y + 4:.1f}">{label}</text>'


def _spread(wanted: Sequence[float], height: float) -> list[float]:
    """Rising places, each `APART` from the next, none below the plot's foot where there is room above."""
    placed: list[float] = []
    for place in wanted:
        placed.append(max(place, placed[-1] + APART) if placed else place)
    for i in reversed(range(len(placed))):
        below = height if i == len(placed) - 1 else placed[i + 1] - APART
        placed[i] = min(placed[i], below)
    return placed
