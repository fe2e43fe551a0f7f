"""Networks and loads for the tests: a driver's electrical impedance, and random passive crossovers."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from filters.network import Coupling, Element, Load, Network
from filters.parts import Capacitor, Coil, Resistor


def omegas(low: float = 10.0, high: float = 20e3, count: int = 60) -> np.ndarray:
    return 2 * np.pi * np.geomspace(low, high, count)


def woofer_impedance(omega, re, le, res, les, ces):
    """Small (1972): re and le in series with the motional res, les, ces in parallel (res may be infinite)."""
    return re + 1j * omega * le + 1 / (1 / res + 1j * omega * ces + 1 / (1j * omega * les))


def diagonal(*impedances):
    """Separate loads as one N-port (F, N, N)."""
    matrix = np.zeros((impedances[0].size, len(impedances), len(impedances)), dtype=complex)
    for i, impedance in enumerate(impedances):
        matrix[:, i, i] = impedance
    return matrix


def log_floats(low: float, high: float):
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


resistors = st.builds(Resistor, st.one_of(st.just(0.0), log_floats(0.05, 100)))
capacitors = st.builds(
    Capacitor,
    log_floats(1e-6, 1e-3),
    st.one_of(st.just(0.0), log_floats(1e-3, 1)),
    st.one_of(st.none(), log_floats(1e-4, 0.2)),
    st.just(1000.0),
    st.one_of(st.none(), log_floats(1e3, 1e7)),
)
coils = st.builds(Coil, log_floats(5e-5, 1e-2), st.one_of(st.just(0.0), log_floats(0.01, 2)))
POINTS = ("in", "common", "a", "b", "c")


@st.composite
def loads(draw, omega, count):
    """A reciprocal passive N-port: resistances, coils and one shared motional branch with signed force factors."""
    matrix = diagonal(*(draw(log_floats(2, 16)) + 1j * omega * draw(log_floats(1e-5, 1e-3)) for _ in range(count)))
    shared = 1 / (
        1 / draw(log_floats(1, 50))
        + 1j * omega * draw(log_floats(1e-4, 1e-3))
        + 1 / (1j * omega * draw(log_floats(0.01, 0.1)))
    )
    factors = np.array([draw(st.sampled_from([-1.0, 0.3, 1.0])) for _ in range(count)])
    return matrix + shared[:, None, None] * np.outer(factors, factors)


@st.composite
def networks(draw, omega=None):
    """A random connected crossover, its load impedance and its source resistance, as (network, loads, resistance).

    A series chain joins all points, so that nothing hangs; the source's resistance and the chain's first resistor keep
    zero-ohm loops away, other resistors are above zero.
    """
    omega = omegas(count=12) if omega is None else omega
    elements = [
        Element(f"P{i}", draw(st.one_of(capacitors, coils)), a, b)
        for i, (a, b) in enumerate([("in", "a"), ("a", "b"), ("b", "c"), ("c", "common")])
    ]
    pair = st.lists(st.sampled_from(POINTS), min_size=2, max_size=2, unique=True)
    for i in range(draw(st.integers(0, 4))):
        part = draw(st.one_of(resistors.filter(lambda r: r.resistance > 0), capacitors, coils))
        elements.append(Element(f"Q{i}", part, *draw(pair)))
    elements.append(Element("W", Resistor(0.0), draw(st.sampled_from(POINTS)), "end"))  # a wire to a dead end
    names = [e.reference for e in elements if isinstance(e.part, Coil)]
    couplings = ()
    if len(names) > 1:
        couplings = (Coupling(names[0], names[1], draw(st.floats(-0.99, 0.99))),)
    count = draw(st.integers(1, 3))
    ports = tuple(Load(f"D{i}", *draw(pair)) for i in range(count))
    network = Network(("in", "common"), tuple(elements), (), couplings, ports)
    return network, draw(loads(omega, count)), draw(log_floats(0.01, 2))
