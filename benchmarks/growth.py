"""How times grow with sizes, each as the slope of log time over log size, by least squares, in one process.

1 is in proportion; below 1 a part does not grow with the size. Times are those at the largest size; how much longer it
takes than half of that size tells the growth at the upper end. "First" is with nothing kept of any cabinet.

- Frequencies: the acoustics and the prediction of the example's `tall`, which has a line, a floor and a baffle.
- Parts: a ladder of coils and capacitors on one driver, at 400 frequencies, by the whole equations and beside
  `numpy.linalg.solve` of as many unknowns; 100 builds of it at 20 frequencies by elimination.
- Sections: a line of equal lossy conical sections, with steps between them, and one driver, at 400 frequencies.
- Copies: the spread of the example's `wall`, beside `numpy.linalg.solve` of its network's equations as often.
- Drivers: woofers one above the other in one sealed box with a baffle, each with a coil of its own; all of the chain.
- Directions: paths from three drivers and a mouth on a tall cabinet in free air, at 400 frequencies.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks import diffraction
from benchmarks.chain import dense
from benchmarks.kits import FREQUENCY, VOLTS, example, example_build, many_drivers
from benchmarks.rows import Row
from benchmarks.timing import forget, nothing, quickest, slope
from enclosures.acoustics import electrical_load
from enclosures.air import Air
from enclosures.baffle import free_paths
from enclosures.driver import Driver
from enclosures.line import Line, Mouth, Section
from filters.elimination import solve_builds
from filters.network import Element, Equations, Load, Network, solve
from filters.parts import Capacitor, Coil
from system.predict import predict, prediction, summarise
from system.spread import spread
from system.transfer import transfer

TITLE = "Growth"
AIR = Air(1.2041, 343.21)
WOOFER = Driver(re=5.6, bl=6.3, mms=9.5e-3, cms=1.10e-3, rms=0.85, sd=88e-4)
OMEGA = 2 * np.pi * FREQUENCY
BUILDS, FEW = 100, 20  # of the ladder by elimination, and its frequencies
AT_ONCE = 20_000  # equations that the reference of the copies solves, for all of them


@dataclass(frozen=True, slots=True)
class Sizes:
    frequencies: tuple[int, ...] = (100, 200, 400, 800, 1600)
    parts: tuple[int, ...] = (8, 16, 32, 64)
    sections: tuple[int, ...] = (4, 8, 16, 32)
    copies: tuple[int, ...] = (1000, 2000, 4000, 8000, 16000)
    drivers: tuple[int, ...] = (1, 2, 4, 8)
    directions: tuple[int, ...] = (1, 2, 4, 8, 16, 32, 64)
    repeats: int = 5
    repeats_of_copies: int = 2


FULL, SMALL = Sizes(), Sizes((10, 20), (4, 8), (2, 4), (100, 200), (1, 2), (1, 2), 1, 1)


def rows(sizes: Sizes = FULL) -> list[Row]:
    """One or more of every kind."""
    return [
        *_frequencies(sizes),
        *_parts(sizes),
        *_sections(sizes),
        *_copies(sizes),
        *_drivers(sizes),
        *_directions(sizes),
    ]


def grown(
    what: str, sizes: Sequence[int], work: Callable[[int], Callable[[], object]], repeats: int, first: bool = False
) -> tuple[Row, dict[int, float]]:
    """The row of one kind of work, which `work` makes ready for a size, and its times."""
    works = {str(size): work(size) for size in sizes}
    found = quickest(works, repeats, forget if first else nothing)
    times = {size: found[str(size)] for size in sizes}
    growth = slope(list(times), list(times.values()))
    stated = ", ".join(map(str, sizes))
    last = times[sizes[-1]] / times[sizes[-2]]
    return Row(what, times[sizes[-1]], growth=growth, note=f"sizes {stated}, the last {last:.2f} times as long"), times


def beside(row: Row, reference: Row, name: str) -> Row:
    """With its ratio to the reference at the largest size, and the reference's growth."""
    assert row.seconds is not None
    assert reference.seconds is not None
    note = f"{row.note}; the reference grows by {reference.growth:.2f}"
    return Row(row.what, row.seconds, None, name, row.seconds / reference.seconds, growth=row.growth, note=note)


def _frequencies(sizes: Sizes) -> list[Row]:
    model = example_build("tall")
    figures = summarise(model)

    def work(count: int) -> Callable[[], object]:
        frequency = np.geomspace(20, 20e3, count)
        return lambda: prediction(model, transfer(model, frequency), VOLTS, figures)

    return [
        grown(f"frequencies, {when}", sizes.frequencies, work, sizes.repeats, when == "first")[0]
        for when in ("first", "again")
    ]


def ladder(parts: int, builds: int | None = None) -> Network:
    """Coils in line and capacitors across, in turn, and a driver at the end; values drawn anew for every build."""
    random = np.random.default_rng(4)

    def near(value: float) -> float | NDArray[np.float64]:
        return value if builds is None else value * random.uniform(0.9, 1.1, builds)

    elements = []
    for i in range(parts):
        here, there = f"p{i // 2}" if i >= 2 else "in", f"p{i // 2 + 1}"
        if i % 2:
            elements.append(Element(f"C{i}", Capacitor(near(4.7e-6), series_resistance=0.05), there, "common"))
        else:
            elements.append(Element(f"L{i}", Coil(near(0.47e-3), resistance=0.1), here, there))
    end = f"p{(parts - 1) // 2 + 1}"
    return Network(("in", "common"), tuple(elements), (), (), (Load("woofer", end, "common"),))


def _parts(sizes: Sizes) -> list[Row]:
    load = electrical_load([WOOFER], None, OMEGA, AIR).impedance
    few = slice(None, None, max(len(OMEGA) // FEW, 1))

    def whole(parts: int) -> Callable[[], object]:
        return partial(solve, ladder(parts), OMEGA, load, VOLTS, 0.1)

    def reference(parts: int) -> Callable[[], object]:
        return dense(Equations.of(ladder(parts), OMEGA, load, 0.1).size, len(OMEGA))

    def eliminated(parts: int) -> Callable[[], object]:
        return partial(solve_builds, ladder(parts, BUILDS), OMEGA[few], load[few], VOLTS, 0.1)

    equations, _ = grown("parts, whole equations", sizes.parts, whole, sizes.repeats)
    plain, _ = grown("", sizes.parts, reference, sizes.repeats)
    return [
        beside(equations, plain, "numpy.linalg.solve"),
        grown("parts, elimination", sizes.parts, eliminated, sizes.repeats)[0],
    ]


def _sections(sizes: Sizes) -> list[Row]:
    def work(count: int) -> Callable[[], object]:
        section = Section(0.1, 180e-4, 120e-4, "conical")  # a step to the next, so that none go on as one
        line = Line((section,) * count, (0.0,), (Mouth(),), lossy_walls=True, step_correction=True)
        return lambda: electrical_load([WOOFER], line, OMEGA, AIR)

    return [grown("sections of a line", sizes.sections, work, sizes.repeats, True)[0]]


def _copies(sizes: Sizes) -> list[Row]:
    kit, variant = example(), example().variants["wall"]
    model = example_build("wall")
    row, times = grown(
        "copies", sizes.copies, lambda count: partial(spread, kit, variant, count, 0), sizes.repeats_of_copies
    )
    result = spread(kit, variant, sizes.copies[0], 0)
    size = Equations.of(
        model.network, OMEGA, transfer(model, FREQUENCY).impedance, model.source_resistance
    ).size  # unknowns
    one = quickest({"": dense(size, AT_ONCE)}, sizes.repeats)[""] / AT_ONCE
    first, last = sizes.copies[0], sizes.copies[-1]
    points = result.frequency.size
    rate = (last - first) / (times[last] - times[first])
    note = f"{row.note}; {rate:.0f} more copies a second, each at {points} frequencies"
    ratio = times[last] / (one * last * points)
    return [Row(row.what, row.seconds, None, "numpy.linalg.solve", ratio, growth=row.growth, note=note)]


def _drivers(sizes: Sizes) -> list[Row]:
    with tempfile.TemporaryDirectory() as folder:
        kits = {count: many_drivers(Path(folder), count) for count in sizes.drivers}

    def work(count: int) -> Callable[[], object]:
        kit = kits[count]
        return partial(predict, kit, kit.variants["column"], FREQUENCY)

    return [grown("drivers, first", sizes.drivers, work, sizes.repeats, True)[0]]


def _directions(sizes: Sizes) -> list[Row]:
    def work(count: int) -> Callable[[], object]:
        box, sources = diffraction.tower(0.0)
        return partial(free_paths, box, sources, diffraction.directions(count), OMEGA, AIR)

    return [
        grown(f"directions, {when}", sizes.directions, work, sizes.repeats, when == "first")[0]
        for when in ("first", "again")
    ]
