"""What a cabinet does to the sound of three drivers and a mouth, beside boundary elements alone.

400 frequencies, edges sharp and rounded, for one point and for 37, the first time and with the same cabinet again. The
elements alone are our own, 20 mm wide, one size and one solution a frequency, timed at a few frequencies and counted
for all: what a prediction would cost without the edges' waves. They end to be right at the cabinet's first interior
resonance, below which the note compares the two in level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

import numpy as np

from benchmarks.kits import FREQUENCY
from benchmarks.rows import Row
from benchmarks.timing import forget, quickest
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.baffle import Box, Source, free_paths
from enclosures.boundary import box_body, surface_pressure

TITLE = "Diffraction, beside boundary elements alone"
AIR = Air(1.2041, 343.21)


@dataclass(frozen=True, slots=True)
class Sizes:
    radii: tuple[float, ...] = (0.0, 0.025)  # m, of the edges
    directions: tuple[int, ...] = (1, 37)
    panel: float = 0.02  # m, of the elements alone
    timed: int = 6  # frequencies of the elements alone
    repeats: int = 5


FULL, SMALL = Sizes(), Sizes((0.0,), (1,), 0.08, 2, 1)


def tower(edge_radius: float) -> tuple[Box, list[Source]]:
    """Three drivers and a mouth on the front of a tall narrow cabinet."""
    box = Box(0.19, 1.06, 0.28, edge_radius)
    places = ((0.95, 0.012), (0.80, 0.06), (0.60, 0.06), (0.10, 0.035))
    return box, [Source(*box.point("front", (0.095, y)), radius) for y, radius in places]


def directions(count: int) -> RealArray:
    """Points (P, 3) at 2 m from the highest driver, all round in its horizontal plane, its axis first."""
    angle = 2.0 * math.pi * np.arange(count) / count
    return np.array([0.096, 0.95, 0.0]) + 2.0 * np.stack([np.sin(angle), 0.0 * angle, np.cos(angle)], axis=1)


def elements_alone(
    box: Box, sources: list[Source], listeners: RealArray, step: float, panel: float, count: int
) -> ComplexArray:
    """G (F, P, S) at 0, step, 2 step ... (1/m), `count` of them."""
    size, centre = box.high - box.low, 0.5 * (box.low + box.high)
    body = box_body(size, [math.ceil(0.5 * side / panel) for side in size])
    places = np.array([source.position for source in sources]) - centre
    return 2.0 * math.pi * surface_pressure(body, places, listeners - centre, step, count)


def rows(sizes: Sizes = FULL) -> list[Row]:
    """The elements alone last."""
    omega = 2.0 * math.pi * FREQUENCY
    works = {}
    for radius in sizes.radii:
        for count in sizes.directions:
            edges = f"edges of {1e3 * radius:.0f} mm" if radius else "sharp edges"
            works[f"{edges}, {count} direction{'s'[: count > 1]}"] = partial(
                free_paths, *tower(radius), directions(count), omega, AIR
            )
    first = quickest(works, sizes.repeats, forget)
    again = {what: quickest({what: work}, sizes.repeats)[what] for what, work in works.items()}

    box, sources = tower(0.0)
    resonance = box.interior_resonance(AIR.speed_of_sound)
    step = 2.0 * math.pi * 0.7 * resonance / AIR.speed_of_sound / (sizes.timed - 1)
    alone = partial(elements_alone, listeners=directions(1), step=step, panel=sizes.panel, count=sizes.timed)
    taken = quickest({"alone": lambda: alone(box, sources)}, 1)["alone"] / sizes.timed * len(FREQUENCY)
    points = [Source(source.position, source.normal) for source in sources]
    found = free_paths(box, points, directions(1), step * np.arange(sizes.timed) * AIR.speed_of_sound, AIR)
    apart = float(np.max(np.abs(20.0 * np.log10(np.abs(found / alone(box, points))))))
    elements = f"elements of {1e3 * sizes.panel:.0f} mm alone, 1 direction"
    made = []
    for when, times in (("first", first), ("again", again)):
        for what, each in times.items():
            made.append(Row(f"{what}, {when}", each, beside="elements alone", ratio=each / taken))
    note = f"sharp edges, apart by {apart:.2f} dB up to 0.7 of the first interior resonance, {resonance:.0f} Hz"
    return [*made, Row(elements, taken, note=note)]
