"""How long a cabinet's diffraction takes, beside boundary elements alone: python -m benchmarks.diffraction

The elements alone are our own, 20 mm wide, one size and one solution a frequency, timed at a few and counted for as
many as asked for: what a prediction would cost without the edges' waves. They end to be right at the cabinet's first
interior resonance, where they are also compared in level.
"""

from __future__ import annotations

import math
import resource
import time
from collections.abc import Callable

import numpy as np

from enclosures import baffle
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.baffle import Box, Source, free_paths
from enclosures.boundary import box_body, surface_pressure

REPEATS = 7
FREQUENCY = np.geomspace(20, 20e3, 400)
AIR = Air(1.2041, 343.21)
RADII = (0.0, 0.025)  # m
PANEL = 0.02  # m
TIMED = 8  # frequencies of the elements alone


def tower(edge_radius: float) -> tuple[Box, list[Source]]:
    """Three drivers and a mouth on the front of a tall narrow cabinet."""
    box = Box(0.19, 1.06, 0.28, edge_radius)
    places = ((0.95, 0.012), (0.80, 0.06), (0.60, 0.06), (0.10, 0.035))
    return box, [Source(*box.point("front", (0.095, y)), radius) for y, radius in places]


def directions(count: int) -> RealArray:
    """Points (P, 3) at 2 m from the highest driver, all round in its horizontal plane, its axis first."""
    angle = 2.0 * math.pi * np.arange(count) / count
    return np.array([0.096, 0.95, 0.0]) + 2.0 * np.stack([np.sin(angle), 0.0 * angle, np.cos(angle)], axis=1)


def quickest(call: Callable[[], object], repeats: int = REPEATS, before: Callable[[], object] = lambda: None) -> float:
    """Seconds."""
    times = []
    for _ in range(repeats):
        before()
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


def forget() -> None:
    """Nothing is kept of any cabinet."""
    baffle._surrounding.cache_clear()
    baffle._bodies.cache_clear()


def elements_alone(box: Box, sources: list[Source], listeners: RealArray, step: float) -> ComplexArray:
    """G (F, P, S) at 0, step, 2 step ... (1/m), `TIMED` of them."""
    size, centre = box.high - box.low, 0.5 * (box.low + box.high)
    body = box_body(size, [math.ceil(0.5 * side / PANEL) for side in size])
    places = np.array([source.position for source in sources]) - centre
    return 2.0 * math.pi * surface_pressure(body, places, listeners - centre, step, TIMED)


def main() -> None:
    """Print the table."""
    omega = 2.0 * math.pi * FREQUENCY
    print(f"three drivers and a mouth, {len(FREQUENCY)} frequencies, one core")
    print(f"{'edges':>10}{'directions':>12}{'first call':>12}{'again':>12}")
    once = 0.0
    for radius in RADII:
        box, sources = tower(radius)
        for count in (1, 37):
            listeners = directions(count)

            def call(box: Box = box, sources: list[Source] = sources, listeners: RealArray = listeners) -> ComplexArray:
                return free_paths(box, sources, listeners, omega, AIR)

            first, again = quickest(call, before=forget), quickest(call)
            once = once or first
            edges = f"{1e3 * radius:.0f} mm" if radius else "sharp"
            print(f"{edges:>10}{count:12d}{1e3 * first:9.0f} ms{1e3 * again:9.1f} ms")
    print()
    box, sources = tower(0.0)
    box_resonance = box.interior_resonance(AIR.speed_of_sound)
    step = 2.0 * math.pi * 0.7 * box_resonance / AIR.speed_of_sound / (TIMED - 1)
    alone = quickest(lambda: elements_alone(box, sources, directions(1), step), 3) / TIMED * len(FREQUENCY)
    print(f"boundary elements of {1e3 * PANEL:.0f} mm alone, one direction: {1e3 * alone:.0f} ms,", end=" ")
    print(f"{alone / once:.0f} times the first")
    points = [Source(source.position, source.normal) for source in sources]
    exact = elements_alone(box, points, directions(1), step)
    found = free_paths(box, points, directions(1), step * np.arange(TIMED) * AIR.speed_of_sound, AIR)
    apart = float(np.max(np.abs(20.0 * np.log10(np.abs(found / exact)))))
    print(f"apart by {apart:.2f} dB up to 0.7 of the first interior resonance, {box_resonance:.0f} Hz")
    print(f"most memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
