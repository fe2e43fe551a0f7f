"""How many builds of the example kit's crossover are solved in a second: python -m benchmarks.builds"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from filters.elimination import Builds, solve_builds
from filters.network import Network, Solution, solve
from filters.parts import Capacitor, Coil, Complexes, Part, Resistor
from system.build import build
from system.examples import scenarios
from system.kitfile import load_kit
from system.transfer import transfer

BUILDS, DENSE_BUILDS, SPICE_BUILDS = 10_000, 400, 200
REPEATS = 7
FREQUENCY = np.geomspace(20, 20e3, 100)
SWEEP = "ac dec 33 20 20k"  # the same for ngspice
OMEGA = 2 * np.pi * FREQUENCY
VOLTS = 2.83
VALUE: dict[type[Part], str] = {Resistor: "resistance", Capacitor: "capacitance", Coil: "inductance"}
LOSS: dict[type[Part], str] = {Capacitor: "series_resistance", Coil: "resistance"}
LETTER: dict[type[Part], str] = {Resistor: "r", Capacitor: "c", Coil: "l"}
Result = TypeVar("Result")


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


def drawn(network: Network, count: int) -> Network:
    """Every part's value drawn within 10 %, its losses held. Fewer builds are the first of more."""
    rng = np.random.default_rng(1)

    def part(of: Any) -> Part:
        name = VALUE[type(of)]
        changed: Part = replace(of, **{name: getattr(of, name) * rng.uniform(0.9, 1.1, BUILDS)[:count]})
        return changed

    return replace(network, elements=tuple(replace(e, part=part(e.part)) for e in network.elements))


def seconds(work: Callable[[], Result], repeats: int = REPEATS) -> tuple[float, Result]:
    """The shortest of several runs, after one that is not counted, and what the work gives."""
    result = work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times), result


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
    """Seconds of one process for that many builds, and the drivers' currents (builds, F, N)."""
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
        start = time.perf_counter()
        done = subprocess.run([program, "-b", str(source)], capture_output=True, text=True, cwd=folder, check=False)
        taken = time.perf_counter() - start
        if done.returncode or (builds and not result.exists()):
            raise RuntimeError(done.stdout + done.stderr)
        return taken, plots(result.read_bytes() if builds else b"", len(currents))


def plots(raw: bytes, columns: int) -> Complexes:
    """Every plot of a binary raw file, (plots, F, columns), without the frequencies in front."""
    size = 16 * len(FREQUENCY) * (1 + columns)
    bodies = (part[:size] for part in raw.split(b"Binary:\n")[1:])
    values = np.frombuffer(b"".join(bodies), dtype=np.complex128)
    return values.reshape(-1, len(FREQUENCY), 1 + columns)[..., 1:]


def main() -> None:
    """Print the table."""
    kit = load_kit(scenarios() / "marshlight" / "kit.yaml")
    model = build(kit, kit.variants["wall"])
    own = transfer(model, FREQUENCY).impedance
    lumped = np.zeros_like(own)
    for i, driver in enumerate(DRIVERS):
        lumped[:, i, i] = driver.impedance
    resistance = model.source_resistance
    each = np.random.default_rng(2).uniform(0.9, 1.1, (BUILDS, 1, 1, 1)) * own
    network, fewer, fewest = (drawn(model.network, count) for count in (BUILDS, DENSE_BUILDS, SPICE_BUILDS))
    works: dict[str, tuple[int, Callable[[], Builds | Solution]]] = {
        "elimination, the kit's drivers": (BUILDS, partial(solve_builds, network, OMEGA, own, VOLTS, resistance)),
        "elimination, other drivers in each": (BUILDS, partial(solve_builds, network, OMEGA, each, VOLTS, resistance)),
        "elimination, lumped drivers": (BUILDS, partial(solve_builds, network, OMEGA, lumped, VOLTS, resistance)),
        "whole equations, lumped drivers": (DENSE_BUILDS, partial(solve, fewer, OMEGA, lumped, VOLTS, resistance)),
    }
    print(f"{kit.name}, variant wall: {len(network.elements)} parts, {len(FREQUENCY)} frequencies, one core")
    print()
    print(f"{'':36}{'builds':>8}{'solutions/s':>13}{'MiB':>6}{'of the first':>14}")
    first = 0.0
    found: dict[str, Builds | Solution] = {}
    for words, (count, work) in works.items():
        taken, found[words] = seconds(work)
        rate = count * len(FREQUENCY) / taken
        first = first or rate
        print(f"{words:36}{count:8d}{rate:13.0f}{mebibytes(work):6.0f}{f'1/{first / rate:.1f}':>14}", flush=True)
    *_, ours, dense = found.values()
    currents = {"whole equations": dense.load_current}
    program = shutil.which("ngspice")
    if program:
        idle = min(ngspice(program, fewest, resistance, 0)[0] for _ in range(REPEATS))
        runs = [ngspice(program, fewest, resistance, SPICE_BUILDS) for _ in range(REPEATS)]
        rate = SPICE_BUILDS * len(FREQUENCY) / (min(taken for taken, _ in runs) - idle)
        print(f"{'ngspice, lumped drivers':36}{SPICE_BUILDS:8d}{rate:13.0f}{'':6}{f'1/{first / rate:.1f}':>14}")
        currents["ngspice"] = runs[0][1]
    print()
    for name, expected in currents.items():
        apart = np.abs(ours.load_current[: len(expected)] / expected - 1).max()
        print(f"drivers' currents, elimination from {name}: apart by at most {apart:.1e}")
        if apart > 1e-6:
            raise SystemExit("these are not times of the same answer")
    if not program:
        print("ngspice is not installed (Debian package ngspice)")


if __name__ == "__main__":
    main()
