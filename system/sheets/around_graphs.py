"""What the pictures of `predict --around` show, as graphs for `system.sheets.plots` to draw.

Maps and polar graphs show the level against that straight ahead, at the same frequency: what the response itself does
is the same in all directions.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.around import BEHIND, STEP, Around, decibels
from system.seating import Seating
from system.sheets.around_texts import side
from system.sheets.circumstances import heard
from system.sheets.plots import AngleMap, Graph, Line, Picture, Polar
from system.summary import level

Floats = NDArray[np.float64]

OCTAVES = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)  # Hz, of polar graphs
FROM = {"above": "above", "side": "the side"}
SIDEWAYS = (10, 20, 30, 60)  # degrees
UPWARD = (20, 10, -10, -20)
SAME = 0.15  # dB, the width of a line: curves nearer than this are drawn as one


SHOWN = 6  # lines of a polar graph, an octave apart
DARKEST = -60.0  # dB, beyond which no picture tells levels apart; a null straight ahead is one of as much
# Of each plane: what to ask of it, negative and positive side, from where it is looked at.
PLANES = {
    "horizontal": ("How far to the side does it carry?", ("left", "right"), "above"),
    "vertical": ("How far up and down does it carry?", ("down", "up"), "side"),
}


def around(results: Sequence[Around]) -> list[Picture]:
    """For each variant: seats, directions to the side, ears higher or lower; both planes; what the room gets of it."""
    return [picture for result in results if not result.silent for picture in _around(result)]


def _around(result: Around) -> Iterator[Picture]:
    if result.seating:
        yield _seats(result, result.seating)
    yield _sideways(result)
    vertical = result.curves["vertical"]
    named = [Line("on the axis", level(result.on_axis))]
    named += [Line(f"{abs(a)} degrees {'up' if a > 0 else 'down'}", level(vertical[a])) for a in UPWARD]
    yield Graph("What if ears are higher or lower?", _sentence(result), "level_near", result.frequency, named)
    for plane in PLANES:
        if result.frequency.size > 1:
            yield angle_map(result, plane)
        yield polar(result, plane)
    means = result.averages
    yield Graph(
        "Does the room get the same sound?",
        f"{_sentence(result)}; means of squared pressure after ANSI/CTA-2034-A",
        "level_near",
        result.frequency,
        [
            Line("on the axis", level(result.on_axis)),
            Line("listening window", decibels(means.listening_window)),
            Line("early reflections", decibels(means.early_reflections)),
            Line("sound power", decibels(means.sound_power)),
            Line("estimate in a room", decibels(means.in_room)),
        ],
    )
    yield Graph(
        "How much more goes forward?",
        f"{_sentence(result)}; level of the listening window above what is sent elsewhere",
        "level_near",
        result.frequency,
        [
            Line("above sound power", means.directivity_index),
            Line("above early refl.", means.early_directivity_index),
        ],
    )


def _seats(result: Around, seating: Seating) -> Graph:
    """The middle and the sides; marked where the woofers that play the same fall, at the side where that is lower."""
    sides = {side(seat): level(seat.pressure) for seat in seating.seats}
    levels = list(sides.values())
    if len(levels) == 2 and np.max(np.abs(levels[0] - levels[1])) <= SAME:
        sides = {f"{side(seating.seats[0]).rpartition(' ')[0]} to a side": levels[0]}
    falls = [seat.fall for seat in seating.seats if seat.fall]
    found = {
        "woofers -3 dB": [fall.minus_3 for fall in falls if fall.minus_3 is not None],
        "woofers -6 dB": [fall.minus_6 for fall in falls if fall.minus_6 is not None],
        "their null": [fall.null for fall in falls if fall.null is not None],
    }
    return Graph(
        "Where may people sit?",
        heard(result.variant, result.volts, seating.distance),
        "level_near",
        result.frequency,
        [Line("in the middle", level(seating.middle)), *(Line(label, values) for label, values in sides.items())],
        marks={label: min(places) for label, places in found.items() if places},
    )


def _sideways(result: Around) -> Graph:
    """Without seats: directions to the side, the weaker of left and right where they differ."""
    horizontal = result.curves["horizontal"]
    lines = [Line("on the axis", level(result.on_axis))]
    for angle in SIDEWAYS:
        left, right = level(horizontal[-angle]), level(horizontal[angle])
        alike = np.max(np.abs(left - right)) <= SAME
        lines.append(Line(f"{angle} degrees" if alike else f"{angle} deg., weaker side", np.minimum(left, right)))
    question = "How is it to the side?" if result.seating else "Where may people sit?"
    return Graph(question, _sentence(result), "level_near", result.frequency, lines)


def angle_map(result: Around, plane: str) -> AngleMap:
    """Level over frequency and angle of a plane, against straight ahead."""
    question, sides, _ = PLANES[plane]
    angles, levels = _against_ahead(result, plane)
    if angles[-1] == BEHIND:  # the other end of the same place
        angles, levels = np.insert(angles, 0, -float(BEHIND)), np.concatenate([levels[-1:], levels])
    how = f"{_sentence(result)}; level against straight ahead, every {STEP} degrees"
    return AngleMap(question, how, result.frequency, angles, levels, sides)


def polar(result: Around, plane: str) -> Polar:
    """A plane at a few frequencies an octave apart, as near to 250 Hz and so on as the prediction has them."""
    question, _, view = PLANES[plane]
    angles, levels = _against_ahead(result, plane)
    f = result.frequency
    octaves = [hertz for hertz in OCTAVES if f[0] * 0.8 <= hertz <= f[-1] * 1.25] or [float(f[0])]
    nearest = dict.fromkeys(int(np.abs(np.log(f / hertz)).argmin()) for hertz in octaves[-SHOWN:])
    lines = [Line(wording.hertz(float(f[i])), levels[:, i]) for i in nearest]
    how = f"{_sentence(result)}; level against straight ahead, seen from {FROM[view]}"
    return Polar(f"{question[:-1]} at one frequency?", how, angles, lines, view)


def _against_ahead(result: Around, plane: str) -> tuple[Floats, Floats]:
    """Angles (A,) in degrees and levels (A, F) in dB against straight ahead."""
    curves = result.curves[plane]
    levels = np.array([level(pressure) for pressure in curves.values()])
    ahead = np.maximum(level(result.on_axis), levels.max(axis=0) + DARKEST)
    return np.array(list(curves), float), levels - ahead


def _sentence(result: Around) -> str:
    planes = ", without the planes near it" if result.variant.placement.kind == "near_planes" else ""
    where = "before its wall" if result.half_space else f"in free air{planes}"
    return f"{result.variant.name}, {where}: {result.volts:g} V, {result.distance:g} m, not smoothed"
