"""Every part's volts and current against ngspice, an independent circuit simulator (Debian package `ngspice`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from filters.network import Coupling, Element, Link, Load, Network, solve
from filters.parts import Capacitor, Coil, Resistor
from tests.support_networks import woofer_impedance
from tests.support_ngspice import needs_ngspice, run

IN = ("in", "common")


@dataclass(frozen=True)
class Driver:
    """A load as lumped parts, written here for both programs: re, le, and in parallel res, les, ces."""

    re: float
    le: float
    res: float
    les: float
    ces: float


@dataclass(frozen=True)
class Case:
    network: Network
    drivers: tuple[Driver, ...]
    source_resistance: float = 0.0
    shared: tuple[int, int] | None = None  # two loads coupled by a chamber, as a branch both currents run through
    signs: tuple[int, int] = (1, 1)


WOOFER = Driver(6.1, 0.45e-3, 30.0, 0.03, 0.4e-3)
TWEETER = Driver(5.2, 0.05e-3, 8.0, 0.5e-3, 40e-6)
SHARED = (25.0, 0.02, 0.3e-3)  # res, les, ces


def load_matrix(case, omega):
    """(F, N, N) in closed form."""
    matrix = np.zeros((omega.size, len(case.drivers), len(case.drivers)), dtype=complex)
    for i, d in enumerate(case.drivers):
        matrix[:, i, i] = woofer_impedance(omega, d.re, d.le, d.res, d.les, d.ces)
    if case.shared:
        branch = 1 / (1 / SHARED[0] + 1 / (1j * omega * SHARED[1]) + 1j * omega * SHARED[2])
        for i, si in zip(case.shared, case.signs, strict=True):
            for k, sk in zip(case.shared, case.signs, strict=True):
                matrix[:, i, k] += si * sk * branch
    return matrix


def netlist(case):
    """The same circuit as text, with a source of 0 V in line with every part and load to read its current by.

    Nothing of the project's is used to write it; links are sources of 0 V as well.
    """
    network = case.network

    def point(name):
        return "0" if name == "common" else f"p_{name}"

    if case.source_resistance:
        lines = ["crossover", "vsrc src 0 ac 1", f"rsrc src {point('in')} {case.source_resistance!r}"]
    else:
        lines = ["crossover", f"vsrc {point('in')} 0 ac 1"]
    for i, link in enumerate(network.links):
        lines.append(f"vlink{i} {point(link.a)} {point(link.b)} 0")
    for e in network.elements:
        plus, minus, part = point(e.plus_point), point(e.minus_point), e.part
        lines.append(f"vi_{e.reference} {plus} {e.reference}_1 0")
        if isinstance(part, Resistor):
            lines.append(f"r_{e.reference} {e.reference}_1 {minus} {part.resistance!r}")
        elif isinstance(part, Coil):
            middle = f"{e.reference}_2" if part.resistance else minus
            lines.append(f"l_{e.reference} {e.reference}_1 {middle} {part.inductance!r}")
            if part.resistance:
                lines.append(f"r_{e.reference} {middle} {minus} {part.resistance!r}")
        else:
            middle = f"{e.reference}_2" if part.series_resistance else minus
            lines.append(f"c_{e.reference} {e.reference}_1 {middle} {part.capacitance!r}")
            if part.leakage_resistance:
                lines.append(f"rl_{e.reference} {e.reference}_1 {middle} {part.leakage_resistance!r}")
            if part.series_resistance:
                lines.append(f"r_{e.reference} {middle} {minus} {part.series_resistance!r}")
    for i, c in enumerate(network.couplings):
        lines.append(f"k{i} l_{c.coil_a} l_{c.coil_b} {c.coefficient!r}")
    for i, (d, load) in enumerate(zip(case.drivers, network.loads, strict=True)):
        lines += [
            f"vd{i} {point(load.plus_point)} d{i}_1 0",
            f"rd{i} d{i}_1 d{i}_2 {d.re!r}",
            f"ld{i} d{i}_2 d{i}_3 {d.le!r}",
        ]
        end = f"d{i}_4" if case.shared and i in case.shared else point(load.minus_point)
        lines += [f"rm{i} d{i}_3 {end} {d.res!r}", f"lm{i} d{i}_3 {end} {d.les!r}", f"cm{i} d{i}_3 {end} {d.ces!r}"]
    if case.shared:
        for i, sign in zip(case.shared, case.signs, strict=True):
            lines.append(f"fshared{i} 0 shared vd{i} {sign}")
            lines.append(f"eshared{i} d{i}_4 {point(network.loads[i].minus_point)} shared 0 {sign}")
        lines += [
            f"rshared shared 0 {SHARED[0]!r}",
            f"lshared shared 0 {SHARED[1]!r}",
            f"cshared shared 0 {SHARED[2]!r}",
        ]
    return "\n".join([*lines, ".ac dec 12 10 20k", ".end", ""])


TWO_WAY = (
    Element("C1", Capacitor(220e-6, 0.05), "in", "w1"),
    Element("L1", Coil(1.2e-3, 0.3), "w1", "w2"),
    Element("C2", Capacitor(15e-6, 0.1, leakage_resistance=20e3), "w2", "common"),
    Element("C3", Capacitor(6.8e-6), "in", "t1"),
    Element("L2", Coil(0.35e-3, 0.4), "t1", "common"),
    Element("R1", Resistor(2.2), "t1", "t2"),
)
PAIR = (Load("woofer_a", "w2", "common"), Load("woofer_b", "w2", "common"))

CASES = {
    "coupled_pair_and_reversed_tweeter": Case(
        Network(IN, TWO_WAY, (), (Coupling("L1", "L2", 0.15),), (*PAIR, Load("tweeter", "common", "t2"))),
        (WOOFER, WOOFER, TWEETER),
        0.2,
    ),
    "notch_across_the_driver_and_trap_before_it": Case(
        Network(
            IN,
            (
                Element("R1", Resistor(6.8), "in", "a"),  # trap: all three in parallel, in line
                Element("L1", Coil(0.5e-3, 0.2), "in", "a"),
                Element("C1", Capacitor(10e-6, 0.02), "a", "in"),
                Element("R2", Resistor(3.3), "a", "n1"),  # notch: all three in series, across
                Element("L2", Coil(1.5e-3), "n1", "n2"),
                Element("C2", Capacitor(4.7e-6), "n2", "common"),
            ),
            loads=(Load("woofer", "a", "common"),),
        ),
        (WOOFER,),
    ),
    "three_coupled_coils_links_and_a_shared_chamber": Case(
        Network(
            IN,
            (
                Element("L1", Coil(2.2e-3, 0.4), "in", "a"),
                Element("C1", Capacitor(33e-6), "b", "common"),
                Element("L2", Coil(1.0e-3, 0.2), "b", "c"),
                Element("L3", Coil(0.47e-3, 0.1), "c", "d"),
                Element("R1", Resistor(12.0), "d", "common"),
            ),
            (Link("a", "b"),),
            (Coupling("L1", "L2", 0.3), Coupling("L2", "L3", -0.2), Coupling("L3", "L1", 0.05)),
            (Load("woofer_a", "c", "common"), Load("woofer_b", "common", "d"), Load("tweeter", "d", "b")),
        ),
        (WOOFER, Driver(6.3, 0.5e-3, 26.0, 0.028, 0.43e-3), TWEETER),
        0.1,
        (0, 1),
        (1, -1),
    ),
    "fourth_order_with_floating_drivers_in_series": Case(
        Network(
            IN,
            (
                Element("L1", Coil(0.96e-3, 0.25), "in", "l1"),
                Element("C1", Capacitor(12.6e-6, 0.04), "l1", "common"),
                Element("L2", Coil(0.48e-3, 0.15), "l1", "l2"),
                Element("C2", Capacitor(2.8e-6, 0.01), "l2", "common"),
                Element("C3", Capacitor(4.2e-6), "in", "h1"),
                Element("L3", Coil(0.32e-3, 0.1), "h1", "common"),
                Element("C4", Capacitor(8.4e-6), "h1", "h2"),
                Element("L4", Coil(1.44e-3, 0.3), "h2", "common"),
            ),
            (),
            (Coupling("L1", "L4", -0.04),),
            (Load("woofer_a", "l2", "between"), Load("woofer_b", "common", "between"), Load("tweeter", "h2", "common")),
        ),
        (WOOFER, WOOFER, TWEETER),
        0.0,
        (0, 1),
    ),
}


@needs_ngspice
@pytest.mark.parametrize("name", CASES)
def test_every_volt_and_ampere(name, tmp_path):
    case = CASES[name]
    frequency, result = run(netlist(case), tmp_path)
    assert frequency.size > 30
    omega = 2 * np.pi * frequency
    solution = solve(case.network, omega, load_matrix(case, omega), 1.0, case.source_resistance)

    def point(p):
        return 0 * omega if p == "common" else result[f"v(p_{p})"]

    worst = 0.0
    for i, e in enumerate(case.network.elements):
        volts = point(e.plus_point) - point(e.minus_point)
        current = result[f"i(vi_{e.reference.lower()})"]
        for found, expected in ((solution.element_volts[:, i], volts), (solution.element_current[:, i], current)):
            worst = max(worst, np.max(np.abs(found / expected - 1)))
    for i, load in enumerate(case.network.loads):
        for found, expected in (
            (solution.load_volts[:, i], point(load.plus_point) - point(load.minus_point)),
            (solution.load_current[:, i], result[f"i(vd{i})"]),
        ):
            worst = max(worst, np.max(np.abs(found / expected - 1)))
    worst = max(worst, np.max(np.abs(solution.input_current / -result["i(vsrc)"] - 1)))
    print(f"{name}: largest relative difference {worst:.1e}")
    assert worst < 1e-5
