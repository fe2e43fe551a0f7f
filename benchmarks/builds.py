"""Many builds of the example kit's crossover, variant `wall`, every part's value drawn, beside ngspice.

At 100 frequencies: the input's impedance, and every driver's current and volts. From part values to answers nothing is
left out; the acoustics and the draws are made before the clock starts. A solution is one build at one frequency.

- By elimination (`filters.elimination`), with the kit's own drivers, with other drivers in every build, and with
  drivers of five parts each.
- By LAPACK on the whole equations (`filters.network.solve`, which gives every part's volts, current and heat as well).
- By ngspice in one process of its own, whose commands alter the values, sweep and write; the time of a process that
  does none of it is taken off. It has the drivers of five parts, since the kit's own would need a fitted circuit, and
  so a larger one.

MiB is the most that was allocated, the result included. Ratios are of the time of one solution.
"""

from __future__ import annotations

import shutil
import tempfile
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.kits import VOLTS, example_build
from benchmarks.rows import Row
from benchmarks.timing import process, quickest
from filters.elimination import Builds, solve_builds
from filters.network import Network, Solution, solve
from filters.parts import Capacitor, Coil, Complexes, Part, Resistor
from system.transfer import transfer

TITLE = "Networks solved, beside ngspice"
FREQUENCY = np.geomspace(20, 20e3, 100)
SWEEP = "ac dec 33 20 20k"  # the same for ngspice
OMEGA = 2 * np.pi * FREQUENCY
SAME = 1e-6  # of a driver's current: further apart, the times are not those of the same answer
VALUE: dict[type[Part], str] = {Resistor: "resistance", Capacitor: "capacitance", Coil: "inductance"}
LOSS: dict[type[Part], str] = {Capacitor: "series_resistance", Coil: "resistance"}
LETTER: dict[type[Part], str] = {Resistor: "r", Capacitor: "c", Coil: "l"}


@dataclass(frozen=True, slots=True)
class Sizes:
    builds: int = 10_000
    dense: int = 400
    spice: int = 200
    repeats: int = 3


FULL, SMALL = Sizes(), Sizes(40, 20, 10, 1)


@dataclass(frozen=True, slots=True)
class Driver:
    """By Small (1972): re and le in line with res, les and ces in parallel."""

    re: float
    le: float
    res: float
    les: float
    ces: float

    @property
    def impedance(self) -> Complexes:
        """(F,) ohm."""
        s = 1j * OMEGA
        return np.asarray(self.re + s * self.le + 1 / (1 / self.res + s * self.ces + 1 / (s * self.les)))


# What ngspice is given in the kit's drivers' place: five parts each, where their own curves would need fitted circuits.
WOOFER = Driver(5.9, 0.5e-3, 48.7, 39e-3, 240e-6)
DOME = Driver(5.3, 0.04e-3, 6.0, 0.5e-3, 60e-6)
DRIVERS = (WOOFER, WOOFER, DOME)


def drawn(network: Network, count: int, most: int) -> Network:
    """Every part's value drawn within 10 %, its losses held. `count` builds are the first of `most`."""
    rng = np.random.default_rng(1)

    def part(of: Any) -> Part:
        name = VALUE[type(of)]
        changed: Part = replace(of, **{name: getattr(of, name) * rng.uniform(0.9, 1.1, most)[:count]})
        return changed

    return replace(network, elements=tuple(replace(e, part=part(e.part)) for e in network.elements))


def mebibytes(work: Callable[[], Any]) -> float:
    """The most that the work had allocated, its result included."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


# -- ngspice: one circuit, whose values a loop of its own commands alters


def statements(network: Network, resistance: float) -> list[str]:
    """The circuit of the first build, with a source of 0 V in line with every driver to read its current by."""

    def node(name: str) -> str:
        return "0" if name == network.input[1] else name

    lines = ["builds", f"vs source 0 dc 0 ac {VOLTS!r}", f"rs source {node(network.input[0])} {resistance!r}"]
    for e in network.elements:
        loss = getattr(e.part, LOSS[type(e.part)]) if type(e.part) in LOSS else 0.0
        middle = f"{e.reference}_inner" if loss else node(e.minus_point)
        lines.append(f"{device(e.part, e.reference)} {node(e.plus_point)} {middle} {value(e.part, 0)!r}")
        if loss:
            lines.append(f"rloss_{e.reference} {middle} {node(e.minus_point)} {loss!r}")
    for load, d in zip(network.loads, DRIVERS, strict=True):
        n, minus = load.name, node(load.minus_point)
        lines += [
            f"v_{n} {node(load.plus_point)} {n}_1 dc 0",
            f"re_{n} {n}_1 {n}_2 {d.re!r}",
            f"le_{n} {n}_2 {n}_3 {d.le!r}",
        ]
        lines += [
            f"rs_{n} {n}_3 {minus} {d.res!r}",
            f"ls_{n} {n}_3 {minus} {d.les!r}",
            f"cs_{n} {n}_3 {minus} {d.ces!r}",
        ]
    return lines


def device(part: Part, reference: str) -> str:
    return f"{LETTER[type(part)]}_{reference}".lower()


def value(part: Part, build: int) -> float:
    return float(getattr(part, VALUE[type(part)])[build])


def ngspice(program: str, network: Network, resistance: float, builds: int) -> tuple[float, Complexes]:
    """Processor time (s) of one process for that many builds, and the drivers' currents (builds, F, N)."""
    currents = [f"i(v_{load.name})".lower() for load in network.loads]
    lines = [*statements(network, resistance), ".options noopac", ".control", "set appendwrite"]
    lines.append("save i(vs) " + " ".join(currents))
    for b in range(builds):
        lines += [f"alter {device(e.part, e.reference)} = {value(e.part, b)!r}" for e in network.elements]
        lines += [SWEEP, f"write out.raw {' '.join(currents)}", "destroy all"]
    lines += ["quit", ".endc", ".end", ""]
    with tempfile.TemporaryDirectory() as folder:
        source, result = Path(folder) / "builds.cir", Path(folder) / "out.raw"
        source.write_text("\n".join(lines), encoding="utf-8")
        taken = process([program, "-b", str(source)], Path(folder)).seconds
        return taken, plots(result.read_bytes() if builds else b"", len(currents))


def plots(raw: bytes, columns: int) -> Complexes:
    """Every plot of a binary raw file, (plots, F, columns), without the frequencies in front."""
    size = 16 * len(FREQUENCY) * (1 + columns)
    bodies = (part[:size] for part in raw.split(b"Binary:\n")[1:])
    values = np.frombuffer(b"".join(bodies), dtype=np.complex128)
    return values.reshape(-1, len(FREQUENCY), 1 + columns)[..., 1:]


def rows(sizes: Sizes = FULL) -> list[Row]:
    """Raises RuntimeError where ours and theirs are not the same answer."""
    model = example_build("wall")
    own = transfer(model, FREQUENCY).impedance
    lumped = np.zeros_like(own)
    for i, driver in enumerate(DRIVERS):
        lumped[:, i, i] = driver.impedance
    resistance = model.source_resistance
    each = np.random.default_rng(2).uniform(0.9, 1.1, (sizes.builds, 1, 1, 1)) * own
    network, fewer, fewest = (
        drawn(model.network, count, sizes.builds) for count in (sizes.builds, sizes.dense, sizes.spice)
    )
    by = partial(solve_builds, network, OMEGA)
    works: dict[str, tuple[int, Callable[[], Builds | Solution]]] = {
        "elimination, the kit's drivers": (sizes.builds, partial(by, own, VOLTS, resistance)),
        "elimination, other drivers in each": (sizes.builds, partial(by, each, VOLTS, resistance)),
        "elimination, lumped drivers": (sizes.builds, partial(by, lumped, VOLTS, resistance)),
        "whole equations, lumped drivers": (sizes.dense, partial(solve, fewer, OMEGA, lumped, VOLTS, resistance)),
    }
    times = quickest({words: work for words, (_, work) in works.items()}, sizes.repeats)
    counts = {words: count for words, (count, _) in works.items()}
    most = {words: mebibytes(work) for words, (_, work) in works.items()}
    ours = by(lumped, VOLTS, resistance).load_current
    apart = {"whole equations": _apart(ours, works["whole equations, lumped drivers"][1]().load_current)}

    spice, beside = "ngspice, lumped drivers", ""
    if program := shutil.which("ngspice"):
        beside = "ngspice"
        idle = min(ngspice(program, fewest, resistance, 0)[0] for _ in range(sizes.repeats))
        runs = [ngspice(program, fewest, resistance, sizes.spice) for _ in range(sizes.repeats)]
        times[spice], counts[spice] = min(taken for taken, _ in runs) - idle, sizes.spice
        apart["ngspice"] = _apart(ours, runs[0][1])
    if max(apart.values()) > SAME:
        raise RuntimeError(f"these are not times of the same answer: {apart}")

    made = []
    for words, taken in times.items():
        one = taken / counts[words]
        compared = bool(beside) and words != spice
        ratio = one / (times[spice] / counts[spice]) if compared else None
        rate = f"{counts[words]} builds, {1e-3 * len(FREQUENCY) / one:.0f} thousand solutions a second"
        made.append(Row(words, taken, most.get(words), beside if compared else "", ratio, note=rate))
    said = ", ".join(f"{value:.0e} from {name}" for name, value in apart.items())
    return [*made, Row("drivers' currents by elimination", note=f"apart by at most {said}")]


def _apart(ours: Complexes, theirs: Complexes) -> float:
    return float(np.abs(ours[: len(theirs)] / theirs - 1).max())
