"""What the pictures of `predict --around` show, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from system.around import Around, decibels
from system.seating import Seating
from system.sheets.around_texts import side
from system.sheets.plots import Graph, Line
from system.sheets.texts import placement_text
from system.summary import level

SIDEWAYS = (10, 20, 30, 60)  # degrees
UPWARD = (20, 10, -10, -20)
SAME = 0.15  # dB, the width of a line: curves nearer than this are drawn as one


def around(results: Sequence[Around]) -> list[Graph]:
    """For each variant: seats, or directions to the side; ears higher or lower; what the room gets of it."""
    return [graph for result in results if not result.silent for graph in _around(result)]


def _around(result: Around) -> Iterator[Graph]:
    yield _seats(result, result.seating) if result.seating else _sideways(result)
    vertical = result.curves["vertical"]
    named = [Line("on the axis", level(result.on_axis))]
    named += [Line(f"{abs(a)} degrees {'up' if a > 0 else 'down'}", level(vertical[a])) for a in UPWARD]
    yield Graph("What if ears are higher or lower?", _sentence(result), "level_near", result.frequency, named)
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
        f"{result.variant.name}: level of the listening window above what is sent elsewhere",
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
    place = placement_text(result.variant.placement)
    return Graph(
        "Where may people sit?",
        f"{result.variant.name}, {place}: {result.volts:g} V, seats {seating.distance:g} m away, not smoothed",
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
    return Graph("Where may people sit?", _sentence(result), "level_near", result.frequency, lines)


def _sentence(result: Around) -> str:
    planes = ", without the planes near it" if result.variant.placement.kind == "near_planes" else ""
    where = "before its wall" if result.half_space else f"in free air{planes}"
    return f"{result.variant.name}, {where}: {result.volts:g} V, {result.distance:g} m, not smoothed"
