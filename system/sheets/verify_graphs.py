"""What the picture of `verify` shows, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from system import wording
from system.bench.faults import RIGHT
from system.bench.verify import Verified, percent
from system.findings import usage_error
from system.kit import Kit
from system.sheets import circumstances
from system.sheets.circumstances import SMALL, seen
from system.sheets.expect_graphs import INPUT
from system.sheets.fault_texts import fault_text
from system.sheets.plots import Graph, Line, Shade
from system.sheets.verify_texts import RESULTS, WAYS


def verified(kit: Kit, result: Verified) -> list[Graph]:
    """The sweep with what it should be and what explains it, left against right, and the microphone's table.

    Raises KitError where there is none of them.
    """
    graphs = [*_impedance(kit, result), *_sides(result), *_microphone(result)]
    if not graphs:
        raise usage_error("a picture of no curve", "a sweep, or a microphone's table that can be compared")
    return graphs


def _impedance(kit: Kit, result: Verified) -> Iterator[Graph]:
    found = result.diagnosis
    if found is None:
        return
    best = max((each for group in found.groups for each in group.candidates), key=lambda each: each.probability)
    lines = [Line("measured", result.sweep.magnitude)] if result.sweep is not None else []
    expected = found.right if result.expected is None else result.expected
    lines += [Line("as drawn", np.abs(expected))]
    where = seen([result.variant.name], f"impedance {INPUT}", SMALL)
    sentence = f"{kit.name}, {where}; curves with the drivers that fit best; {RESULTS[result.result]}"
    if best.fault != RIGHT:
        lines.append(Line("likeliest", np.abs(best.fitted)))
        sentence += f"; likeliest: {fault_text(best.fault)} ({percent(best.probability)})"
    shade = None
    if result.band is not None:
        near = found.frequency <= 10 * found.frequency[0]
        at = float(found.frequency[int(np.argmax(np.where(near, result.band.high, 0.0)))])
        shade = Shade("shaded: 9 of 10 copies as drawn", result.band.low, result.band.high, at)
    yield Graph("Is it built as drawn?", sentence, "impedance", found.frequency, lines, shade=shade)


def _sides(result: Verified) -> Iterator[Graph]:
    sides = result.sides
    if sides is None:
        return
    yield Graph(
        "Are left and right alike?",
        f"{seen([result.variant.name], 'impedance of one of them over that of the other', SMALL)}; {sides.says}",
        "percent",
        sides.frequency,
        [Line("difference", 100 * np.abs(sides.difference)), Line("95 % of pairs", 100 * sides.limit)],
        marks={"worst": sides.worst_hz},
    )


def _microphone(result: Verified) -> Iterator[Graph]:
    heard = result.heard
    if heard is None or not heard.frequency.size:
        return
    way = heard.ways[0]
    yield Graph(
        f"Is {wording.listed(way.drivers)} the right way round?",
        f"{circumstances.heard(result.variant, smoothing='smoothed over 1/6 octave')}, level and tilt fitted;"
        f" {WAYS[heard.verdict]}",
        "level_near",
        heard.frequency,
        [
            Line("measured", heard.measured),
            Line("as built", heard.as_built),
            Line("other way round", heard.turned),
        ],
        marks={} if way.low is None or way.high is None else {"compared from": way.low, "compared to": way.high},
    )
