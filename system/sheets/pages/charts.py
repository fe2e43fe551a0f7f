"""Charts of a page as SVG: its own letters, its own ink in light and dark, nothing that a browser has to fetch.

Level charts keep the proportions of IEC 60263: 25 dB take the length of one decade of frequency. Impedance is
logarithmic with 1.25 decades to that length. Lengths are units of the drawing, in which letters are 11 high on a
screen and 16 on a phone, where the same drawing is half as large: there is room for the larger ones throughout.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

from system.sheets.pages.blocks import Chart

DECADE = 140.0
LEFT, ABOVE, BELOW = 40.0, 28.0, 34.0
ENLARGED = 0.083  # rem a unit on a wide screen: three decades with short names take 46 rem
LETTER = 9.0  # of the width that a letter of the larger size takes
SAMPLE = 16.0  # of a line, before its name
APART = 18.0  # names of lines
LINES = 6  # that are told apart by ink and dash; the style sheet has them
FREQUENCIES = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
ROOM = 2.0  # dB above the highest curve


@dataclass(frozen=True, slots=True)
class Scale:
    """The upright axis of a chart: from `low` to `high`, `height` long; `ticks` have a line, and words or none."""

    unit: str
    low: float
    high: float
    height: float
    ticks: Mapping[float, str]
    logarithmic: bool = False

    def at(self, value: float) -> float:
        """From the top of the plot downwards; what lies outside is cut off a little beyond it."""
        low, high = (math.log(each) if self.logarithmic else each for each in (self.low, self.high))
        place = math.log(max(value, 1e-12)) if self.logarithmic else value
        return self.height * min(1.5, max(-0.5, (high - place) / (high - low)))


def _known(chart: Chart) -> list[float]:
    return [value for curve in chart.curves for value in curve.values if value is not None] or [1.0]


def _level(span: float) -> Callable[[Chart], Scale]:
    def scale(chart: Chart) -> Scale:
        top = 5.0 * math.ceil((max(_known(chart)) + ROOM) / 5)
        marks = [top - 5.0 * i for i in range(round(span / 5) + 1)]
        ticks = {mark: f"{mark:.0f}" if mark % 10 == 0 else "" for mark in marks}
        return Scale("dB", top - span, top, span / 25.0 * DECADE, ticks)

    return scale


def _impedance(chart: Chart) -> Scale:
    known = [*_known(chart), *(value for _, value in chart.limits)]
    steps = [m * 10.0**e for e in range(-2, 6) for m in (1, 2, 3, 5)]
    low = max([step for step in steps if step <= 0.95 * min(known)] or steps[:1])
    high = min([step for step in steps if step >= max(10 * low, 1.05 * max(known))] or steps[-1:])
    ticks = {step: f"{step:g}" for step in steps if low <= step <= high}
    return Scale("ohm", low, high, math.log10(high / low) / 1.25 * DECADE, ticks, logarithmic=True)


def _volts(chart: Chart) -> Scale:
    high = 2.0 * max([value for _, value in chart.limits] or [max(_known(chart))])
    low = min(high / 20, 0.9 * min(_known(chart)))
    steps = [m * 10.0**e for e in range(-6, 5) for m in (1, 2, 5)]
    ticks = {step: f"{step:g}" for step in steps if low <= step <= high}
    return Scale("V rms", low, high, 1.2 * DECADE, ticks, logarithmic=True)


def _from_zero(unit: str) -> Callable[[Chart], Scale]:
    def scale(chart: Chart) -> Scale:
        highest = max(_known(chart))
        near = [value for _, value in chart.limits if value < 3 * highest]
        high = 1.08 * max(highest, *near) if near else 1.08 * highest
        high = high if high > 0 else 1.0  # nothing moves
        step = next(m * 10.0**e for e in range(-6, 7) for m in (1, 2, 5) if high <= 6 * m * 10.0**e)
        ticks = {step * i: f"{step * i:g}" for i in range(int(high / step) + 1)}
        return Scale(unit, 0.0, high, 1.1 * DECADE, ticks)

    return scale


# What a kind of chart is scaled by.
SCALES: Mapping[str, Callable[[Chart], Scale]] = {
    "level": _level(50.0),
    "level_near": _level(30.0),
    "impedance": _impedance,
    "volts": _volts,
    "excursion": _from_zero("mm peak"),
    "speed": _from_zero("m/s peak"),
}


def svg(chart: Chart) -> str:
    """The chart as an element of the page; all text is escaped."""
    scale = SCALES[chart.kind](chart)
    wide = math.log10(chart.hertz[-1] / chart.hertz[0]) * DECADE
    names = max(len(curve.label) for curve in chart.curves)
    width, height = LEFT + wide + 4 + SAMPLE + 4 + LETTER * names, ABOVE + scale.height + BELOW
    inner = "".join(
        [
            *_across(chart, wide, scale.height),
            *_upright(scale, wide),
            f'<g clip-path="url(#{chart.name}-plot)">',
            *_curves(chart, scale),
            *_limits(chart, scale, wide),
            "</g>",
            *_limit_words(chart, scale, wide),
            *_marks(chart, scale.height),
            *_names(chart, scale, wide),
            f'<path class="cursor" d="M0 0V{scale.height:.1f}" visibility="hidden"/>' if chart.reads else "",
        ]
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-LEFT:g} {-ABOVE:g} {width:.1f} {height:.1f}"'
        f' style="max-width: {width * ENLARGED:.1f}rem" role="img" aria-label={quoteattr(chart.words)}>'
        f'<clipPath id="{chart.name}-plot"><rect width="{wide:.1f}" height="{scale.height:.1f}"/></clipPath>'
        f"{inner}</svg>"
    )


def readout(chart: Chart) -> str:
    """What a reader's cursor needs, as JSON: the frequencies, their places, the names and values of the curves."""
    return json.dumps(
        {
            "unit": SCALES[chart.kind](chart).unit,
            "hertz": [round(hertz, 1) for hertz in chart.hertz],
            "at": [round(_place(chart, hertz), 1) for hertz in chart.hertz],
            "curves": {c.label: [None if v is None else round(v, 2) for v in c.values] for c in chart.curves},
        },
        separators=(",", ":"),
    )


def _place(chart: Chart, hertz: float) -> float:
    return math.log10(hertz / chart.hertz[0]) * DECADE


def _across(chart: Chart, wide: float, height: float) -> Iterator[str]:
    first, last = chart.hertz[0] * 0.995, chart.hertz[-1] * 1.005
    fine = [m * 10.0**e for e in range(5) for m in range(1, 10)]
    lines = "".join(f"M{_place(chart, hertz):.1f} 0V{height:.1f}" for hertz in fine if first <= hertz <= last)
    yield f'<path class="fine" d="{lines}"/>'
    for hertz in FREQUENCIES:
        if first <= hertz <= last:
            text = f"{hertz / 1000:g}k" if hertz >= 1000 else f"{hertz:g}"
            yield f'<text x="{_place(chart, hertz):.1f}" y="{height + 18:.1f}" text-anchor="middle">{text}</text>'
    yield f'<text x="{wide + 24:.1f}" y="{height + 18:.1f}">Hz</text>'


def _upright(scale: Scale, wide: float) -> Iterator[str]:
    for value, words in scale.ticks.items():
        y = scale.at(value)
        yield f'<path class="{"grid" if words else "fine"}" d="M0 {y:.1f}H{wide:.1f}"/>'
        if words:
            yield f'<text x="-6" y="{y + 4:.1f}" text-anchor="end">{words}</text>'
    yield f'<text x="{2 - LEFT:g}" y="-14">{scale.unit}</text>'


def _curves(chart: Chart, scale: Scale) -> Iterator[str]:
    for i, curve in enumerate(chart.curves):
        points = zip(chart.hertz, curve.values, strict=True)
        pieces = [
            "M" + " ".join(f"{_place(chart, f):.1f},{scale.at(v):.1f}" for f, v in piece if v is not None)
            for there, piece in groupby(points, lambda point: point[1] is not None)
            if there
        ]
        yield f'<path class="curve ink{i % LINES}" data-curve={quoteattr(curve.label)} d="{"".join(pieces)}"/>'


def _limits(chart: Chart, scale: Scale, wide: float) -> Iterator[str]:
    for _, value in chart.limits:
        yield f'<path class="limit" d="M0 {scale.at(value):.1f}H{wide:.1f}"/>'


def _limit_words(chart: Chart, scale: Scale, wide: float) -> Iterator[str]:
    for label, value in chart.limits:
        if scale.low < value < scale.high:
            yield (
                f'<text class="halo" x="{wide - 4:.1f}" y="{scale.at(value) - 4:.1f}" text-anchor="end">'
                f"{escape(label)}</text>"
            )


def _marks(chart: Chart, height: float) -> Iterator[str]:
    for label, hertz in chart.marks:
        if chart.hertz[0] <= hertz <= chart.hertz[-1]:
            x = _place(chart, hertz)
            yield f'<path class="mark" d="M{x:.1f} 0V{height:.1f}"/>'
            yield (
                f'<text class="halo" transform="translate({x - 4:.1f} {height - 5:.1f}) rotate(-90)">'
                f"{escape(label)}</text>"
            )


def _names(chart: Chart, scale: Scale, wide: float) -> Iterator[str]:
    """Each at its line's end, moved apart where they would touch, with a piece of the line before it."""
    ends = []
    for i, curve in enumerate(chart.curves):
        known = [value for value in curve.values if value is not None]
        ends.append((min(max(scale.at(known[-1]), 0.0), scale.height) if known else scale.height, i))
    places = _spread([end for end, _ in sorted(ends)], scale.height)
    for y, (_, i) in zip(places, sorted(ends), strict=True):
        yield f'<path class="curve ink{i % LINES}" d="M{wide + 4:.1f} {y:.1f}h{SAMPLE:g}"/>'
        label = escape(chart.curves[i].label)
        yield f'<text class="of{i % LINES}" x="{wide + 8 + SAMPLE:.1f}" y="{y + 4:.1f}">{label}</text>'


def _spread(wanted: Sequence[float], height: float) -> list[float]:
    """Rising places, each `APART` from the next, none below the plot's foot where there is room above."""
    placed: list[float] = []
    for place in wanted:
        placed.append(max(place, placed[-1] + APART) if placed else place)
    for i in reversed(range(len(placed))):
        below = height if i == len(placed) - 1 else placed[i + 1] - APART
        placed[i] = min(placed[i], below)
    return placed
