"""Builds solved by star-mesh steps, against LAPACK on the whole equations and against closed forms."""

import tracemalloc
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from filters.elimination import VALUES_AT_ONCE, solve_builds
from filters.network import Coupling, Element, Link, Load, Network, NetworkError, solve
from filters.parts import Capacitor, Coil, Resistor
from filters.prototypes import low_pass, polynomial
from tests.support_networks import diagonal, omegas

IN = ("in", "common")
OMEGA = omegas(count=9)
BUILDS = 4


# -- random networks


def random_part(rng, kind, builds):
    """A part with its losses; each number is an array over builds or one for all of them."""

    def number(low, high):
        value = np.exp(rng.uniform(np.log(low), np.log(high)))
        return value * rng.uniform(0.8, 1.25, builds) if rng.random() < 0.5 else float(value)

    if kind == "resistor":
        return Resistor(number(0.05, 100))
    if kind == "coil":
        return Coil(number(5e-5, 1e-2), number(0.01, 2) if rng.random() < 0.8 else 0.0)
    return Capacitor(
        number(1e-6, 1e-3),
        number(1e-3, 1) if rng.random() < 0.6 else 0.0,
        number(1e-4, 0.2) if rng.random() < 0.3 else None,
        1000.0,
        number(1e3, 1e7) if rng.random() < 0.2 else None,
    )


def random_loads(rng, count, omega, builds):
    """Passive loads, some of them coupled by one motional branch: (F, N, N), or (B, F, N, N) with `builds`."""
    own = [rng.uniform(2, 16) + 1j * omega * np.exp(rng.uniform(np.log(1e-5), np.log(1e-3))) for _ in range(count)]
    shared = 1 / (1 / rng.uniform(1, 50) + 1j * omega * rng.uniform(1e-4, 1e-3) + 1 / (1j * omega * 0.03))
    factors = rng.choice([-1.0, 0.0, 0.3, 1.0], count)
    loads = diagonal(*own) + shared[:, None, None] * np.outer(factors, factors)
    return loads if builds is None else loads * rng.uniform(0.9, 1.1, (builds, 1, 1, 1))


def random_case(seed):
    """A connected network of up to eight points with coupled coils, loads and links; arguments for both solvers."""
    rng = np.random.default_rng(seed)
    points = ["in", "common", *(f"n{i}" for i in range(rng.integers(0, 7)))]
    # a random tree joins all points to common, so that nothing hangs; the rest lies anywhere, some of it shorted
    ends = [(point, points[rng.integers(0, 1 + i)]) for i, point in enumerate(points[1:])]
    ends += [tuple(rng.choice(points, 2)) for _ in range(rng.integers(0, 7))]
    kinds = rng.choice(["resistor", "coil", "capacitor"], len(ends))
    elements = tuple(
        Element(f"P{i}", random_part(rng, kind, BUILDS), str(a), str(b))
        for i, (kind, (a, b)) in enumerate(zip(kinds, ends, strict=True))
    )
    coils = [e.reference for e in elements if isinstance(e.part, Coil)]
    rng.shuffle(coils)
    couplings = tuple(Coupling(a, b, rng.uniform(-0.45, 0.45)) for a, b in pairwise(coils[:3]))
    links = tuple(Link(*map(str, rng.choice(points[1:], 2))) for _ in range(rng.integers(0, 2)) if len(points) > 3)
    links = tuple(link for link in links if "in" not in (link.a, link.b))
    loads = tuple(Load(f"D{i}", *map(str, rng.choice(points, 2))) for i in range(rng.integers(0, 4)))
    impedance = random_loads(rng, len(loads), OMEGA, BUILDS if rng.random() < 0.4 else None) if loads else None
    volts = (2.83, np.linspace(1, 2, OMEGA.size), rng.uniform(1, 2, (BUILDS, OMEGA.size)))[rng.integers(0, 3)]
    resistance = (0.0, 0.13, rng.uniform(0, 1, BUILDS))[rng.integers(0, 3)]
    return Network(IN, elements, links, couplings, loads), OMEGA, impedance, volts, resistance


def apart(found, expected):
    """Largest difference of the two, of the largest value at that frequency of that build."""
    into = expected.input_volts / expected.input_impedance
    size = np.maximum(np.abs(into), np.abs(expected.load_current).max(axis=-1, initial=0))
    return max(
        np.max(np.abs(found.input_impedance / expected.input_impedance - 1)),
        np.max(np.abs(found.load_current - expected.load_current) / size[..., None], initial=0),
        np.max(np.abs(found.load_volts - expected.load_volts) / np.abs(expected.input_volts)[..., None], initial=0),
    )


@pytest.mark.parametrize("first", range(0, 400, 100))
def test_random_networks_against_lapack(first):
    # numpy.linalg.solve of the modified nodal equations, another set of unknowns altogether
    again = solved = 0
    worst = []
    for seed in range(first, first + 100):
        case = random_case(seed)
        found, expected = solve_builds(*case), solve(*case)
        assert found.input_impedance.shape == expected.input_impedance.shape
        assert found.load_current.shape == found.load_volts.shape == expected.load_current.shape
        worst.append(apart(found, expected))
        again += found.recomputed
        solved += found.input_impedance.size
    assert max(worst) < 1e-10
    assert again < 0.01 * solved  # else it would be LAPACK against itself


# -- closed forms


def test_an_iterative_ladder_in_closed_form():
    # n sections of R in line and C across: V_k is in proportion to cosh((n - k + 1/2) g), cosh g = 1 + Z1/(2 Z2)
    # (Guillemin, Communication Networks II, 1935, ladders of equal sections; from memory, it solves the node equations)
    sections, builds = 7, 60
    rng = np.random.default_rng(1)
    ohm, farad = rng.uniform(5, 15, builds), rng.uniform(5e-6, 15e-6, builds)
    elements = []
    for i in range(sections):
        a, b = "in" if i == 0 else f"n{i}", f"n{i + 1}"
        elements.append(Element(f"R{i}", Resistor(ohm), a, b))
        if i < sections - 1:
            elements.append(Element(f"C{i}", Capacitor(farad), b, "common"))
    shunt = 1 / (1j * OMEGA * farad[:, None])
    network = Network(IN, tuple(elements), loads=(Load("last", f"n{sections}", "common"),))
    found = solve_builds(network, OMEGA, shunt[..., None, None])
    g = np.arccosh(1 + ohm[:, None] / (2 * shunt))
    ratio = np.cosh(g / 2) / np.cosh((sections + 0.5) * g)
    assert np.abs(ratio).min() < 1e-6  # far down at the top, and still right there
    np.testing.assert_allclose(found.load_volts[..., 0], ratio, rtol=1e-11)
    np.testing.assert_allclose(found.load_current[..., 0], ratio / shunt, rtol=1e-11)
    first = np.cosh((sections - 0.5) * g) / np.cosh((sections + 0.5) * g)
    np.testing.assert_allclose(found.input_impedance, ohm[:, None] / (1 - first), rtol=1e-11)
    assert found.recomputed == 0


def test_scaled_butterworth_sections_follow_their_polynomial():
    # |1/D|^2 = 1/(1 + x^10), x = f/corner (Butterworth, Exp. Wireless 7, 1930), for every corner and load at once
    corner = np.array([300.0, 1000.0, 2500.0])
    load = np.array([4.0, 8.0, 16.0])
    elements, point = [], "in"
    for i, part in enumerate(low_pass("butterworth", 5, 1.0, 1.0)):
        if part.kind == "coil":
            elements.append(Element(f"L{i}", Coil(part.value * load / corner), point, f"n{i}"))
            point = f"n{i}"
        else:
            elements.append(Element(f"C{i}", Capacitor(part.value / load / corner), point, "common"))
    network = Network(IN, tuple(elements), loads=(Load("D", point, "common"),))
    omega = omegas(100, 5e3, 20)
    impedance = np.broadcast_to(load[:, None, None, None], (3, omega.size, 1, 1))
    x = omega / (2 * np.pi * corner[:, None])
    found = solve_builds(network, omega, impedance, 2.0)
    np.testing.assert_allclose(np.abs(found.load_volts[..., 0]) ** 2, 4 / (1 + x**10), rtol=1e-9)
    np.testing.assert_allclose(
        found.load_current[..., 0],
        2 / load[:, None] / np.polyval(polynomial("butterworth", 5)[::-1], 1j * x),
        rtol=1e-9,
    )


@pytest.mark.parametrize("k", [-0.7, 0.0, 0.5])
def test_coupled_coils_in_parallel(k):
    # (L1 L2 - M^2)/(L1 + L2 - 2M) (any text on circuits)
    spread = np.linspace(0.9, 1.1, 5)
    parts = (Element("L1", Coil(2e-3 * spread), *IN), Element("L2", Coil(1e-3 / spread), *IN))
    found = solve_builds(Network(IN, parts, couplings=(Coupling("L1", "L2", k),)), OMEGA)
    m = k * np.sqrt(2e-6)
    total = (2e-6 - m**2) / (2e-3 * spread + 1e-3 / spread - 2 * m)
    np.testing.assert_allclose(found.input_impedance, 1j * OMEGA * total[:, None], rtol=1e-12)
    assert found.load_current.shape == (5, OMEGA.size, 0)


# -- what cannot be eliminated is solved again, and said


def series_resonance(farad):
    parts = (Element("L", Coil(1e-3), "in", "a"), Element("C", Capacitor(farad), "a", "b"))
    return Network(IN, parts, loads=(Load("D", "b", "common"),))


@pytest.mark.parametrize("offset", [0.0, 1e-15, 1e-12])
def test_at_a_lossless_resonance_the_sum_of_a_point_vanishes(offset):
    # at 1000 rad/s 1 mH and 1 mF are +-1j S exactly: nothing is left to divide by, and in truth 1/(Rs + R) flows
    farad = np.array([2e-3, 1e-3 * (1 + offset), 0.5e-3])
    omega, load = np.array([500.0, 1000.0, 2000.0]), np.full((3, 1, 1), 4 + 0j)
    found = solve_builds(series_resonance(farad), omega, load, 1.0, 0.5)
    reactance = 1e-3 * omega - 1 / (omega * farad[:, None])
    np.testing.assert_allclose(found.load_current[..., 0], 1 / (4.5 + 1j * reactance), rtol=1e-10)
    assert found.recomputed == 1


def test_zero_ohm_in_one_build_only():
    # a divider: 3 ohm, or nothing, before 5 ohm
    parts = (Element("R1", Resistor(np.array([3.0, 0.0, 3.0])), "in", "a"),)
    network = Network(IN, parts, loads=(Load("D", "a", "common"),))
    found = solve_builds(network, OMEGA, np.full((OMEGA.size, 1, 1), 5 + 0j), 8.0)
    np.testing.assert_allclose(found.load_current[..., 0], np.array([[1.0], [1.6], [1.0]]) * np.ones(OMEGA.size))
    assert found.recomputed == OMEGA.size


def test_zero_ohm_in_every_build_is_a_link():
    parts = (Element("W", Resistor(0.0), "in", "a"), Element("R", Resistor(np.array([2.0, 4.0])), "a", "common"))
    found = solve_builds(Network(IN, parts), OMEGA)
    np.testing.assert_allclose(found.input_impedance, np.array([[2.0], [4.0]]) * np.ones(OMEGA.size), rtol=1e-15)
    assert found.recomputed == 0


def test_zero_hertz_is_solved_again():
    # an ohmmeter: the capacitor blocks, the coil is its wire
    parts = (
        Element("L", Coil(np.array([1e-3, 2e-3]), np.array([0.3, 0.4])), "in", "a"),
        Element("C", Capacitor(1e-5), "a", "common"),
    )
    network = Network(IN, parts, loads=(Load("D", "a", "common"),))
    found = solve_builds(network, np.array([0.0, 1000.0]), np.full((2, 1, 1), 5.8 + 0j))
    np.testing.assert_allclose(found.input_impedance[:, 0], [6.1, 6.2])
    below = 0.3 + 1j + 1 / (1 / 5.8 + 0.01j)
    np.testing.assert_allclose(found.input_impedance[0, 1], below)
    assert found.recomputed == 2


def test_a_load_that_is_not_reciprocal():
    # a gyrator of r ohm: V1 = -r I2, V2 = r I1; with R across its far side the input sees r^2/R (Tellegen, 1948)
    r, ohm = 6.0, np.array([3.0, 9.0])
    loads = np.zeros((OMEGA.size, 2, 2), complex)
    loads[:, 0, 1], loads[:, 1, 0] = -r, r
    network = Network(
        IN, (Element("R", Resistor(ohm), "far", "common"),), loads=(Load("a", *IN), Load("b", "far", "common"))
    )
    found = solve_builds(network, OMEGA, loads)
    np.testing.assert_allclose(found.input_impedance, (r**2 / ohm)[:, None] * np.ones(OMEGA.size))
    assert found.recomputed == found.input_impedance.size


@pytest.mark.parametrize("k", [1.0, -1.0, 1 - 1e-7])
def test_coils_coupled_as_good_as_perfectly(k):
    # in series: L1 + L2 + 2M, whose inverse matrix has no digits left
    parts = (
        Element("L1", Coil(np.array([2e-3, 3e-3])), "in", "a"),
        Element("L2", Coil(1e-3), "a", "b"),
        Element("R", Resistor(4.0), "b", "common"),
    )
    found = solve_builds(Network(IN, parts, couplings=(Coupling("L1", "L2", k),)), OMEGA)
    total = np.array([3e-3, 4e-3]) + 2 * k * np.sqrt(np.array([2e-6, 3e-6]))
    np.testing.assert_allclose(found.input_impedance, 4 + 1j * OMEGA * total[:, None], rtol=1e-9)
    assert found.recomputed == found.input_impedance.size


def test_a_load_that_leaves_its_currents_undetermined():
    # three equal ports in parallel share one impedance, Z of rank one: only the sum of their currents is determined
    omega = OMEGA[:3]
    network = Network(IN, loads=tuple(Load(f"D{i}", *IN) for i in range(3)))
    with pytest.raises(NetworkError, match="no unique solution"):
        solve_builds(network, omega, np.ones((3, 3, 3), complex))


def test_nothing_across_the_input_draws_nothing():
    found = solve_builds(Network(IN, (Element("R", Resistor(np.array([1.0, 2.0])), "common", "a"),)), OMEGA, None, 2.0)
    assert np.all(np.isinf(found.input_impedance))
    assert found.recomputed == 0


def test_a_load_of_zero_ohm():
    # it shorts the far end of R, and has no admittance
    network = Network(IN, (Element("R", Resistor(np.array([2.0, 4.0])), "in", "a"),), loads=(Load("D", "a", "common"),))
    found = solve_builds(network, OMEGA, np.zeros((OMEGA.size, 1, 1)), 1.0)
    np.testing.assert_allclose(found.load_current[..., 0], np.array([[0.5], [0.25]]) * np.ones(OMEGA.size))
    assert found.recomputed == found.input_impedance.size


def test_a_tiny_resistance_whose_current_is_lost_in_rounding():
    # 1 nohm before 4 ohm: the volts across it have no digits left, and it is no wire by its value
    network = Network(
        IN, (Element("R", Resistor(np.array([1e-9, 1.0])), "in", "a"),), loads=(Load("D", "a", "common"),)
    )
    found = solve_builds(network, OMEGA, np.full((OMEGA.size, 1, 1), 4 + 0j), 1.0)
    np.testing.assert_allclose(
        found.input_impedance, np.array([[4.000000001], [5.0]]) * np.ones(OMEGA.size), rtol=1e-15
    )
    assert 0 < found.recomputed <= OMEGA.size


def test_an_input_that_is_shorted_by_a_link():
    network = Network(IN, (Element("R", Resistor(np.array([1.0, 2.0])), *IN),), (Link("in", "common"),))
    found = solve_builds(network, OMEGA, None, 2.0, 0.5)
    np.testing.assert_array_equal(found.input_impedance, 0)
    assert found.recomputed == found.input_impedance.size


# -- the same errors as for one build


def chain(*parts):
    points = ["in", *(f"n{i}" for i in range(1, len(parts))), "common"]
    return Network(
        IN, tuple(Element(f"P{i}", p, *ends) for i, (p, ends) in enumerate(zip(parts, pairwise(points), strict=True)))
    )


WIRES = Resistor(np.array([1.0, 0.0, 2.0]))


@pytest.mark.parametrize(
    ("network", "arguments"),
    [
        (Network(IN, (Element("R", Resistor(np.ones(3)), "x", "y"),)), {}),  # hangs in the air
        (chain(WIRES), {}),  # zero ohm across the source in one build only
        (chain(Resistor(np.zeros(3)), Resistor(0.0)), {}),
        (chain(Resistor(np.ones(3))), {"source_resistance": np.array([0.1, -0.1, 0.1])}),
        (chain(Resistor(np.ones(3))), {"load_impedance": np.ones((OMEGA.size, 1, 1), complex)}),
        (replace(chain(WIRES), loads=(Load("D", *IN),)), {"load_impedance": np.full((3, OMEGA.size, 1, 1), np.nan)}),
    ],
)
def test_errors_are_those_of_solve(network, arguments):
    messages = []
    for solver in (solve, solve_builds):
        with pytest.raises(NetworkError) as caught:
            solver(network, OMEGA, **arguments)
        messages.append((str(caught.value), caught.value.names))
    assert messages[0] == messages[1]


# -- shapes and memory


def test_one_build_has_no_axis_over_builds():
    network = chain(Resistor(3.0), Capacitor(1e-5))
    found, expected = solve_builds(network, OMEGA), solve(network, OMEGA)
    assert found.input_impedance.shape == (OMEGA.size,)
    np.testing.assert_allclose(found.input_impedance, expected.input_impedance, rtol=1e-13)


def test_chunks_of_any_size_agree(monkeypatch):
    case = random_case(17)
    whole = solve_builds(*case)
    monkeypatch.setattr("filters.elimination.VALUES_AT_ONCE", 3 * OMEGA.size)
    parts = solve_builds(*case)
    np.testing.assert_array_equal(whole.load_current, parts.load_current)
    np.testing.assert_array_equal(whole.input_impedance, parts.input_impedance)


def test_memory_is_that_of_the_answer():
    builds = 4000
    network = series_resonance(np.linspace(1e-4, 2e-4, builds))
    omega = omegas(count=50)
    load = np.full((omega.size, 1, 1), 4 + 0j)
    solve_builds(network, omega, load)
    tracemalloc.start()
    found = solve_builds(network, omega, load)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    answer = found.input_impedance.nbytes + found.load_current.nbytes + found.load_volts.nbytes
    assert found.recomputed == 0
    assert peak < answer + 60 * 16 * VALUES_AT_ONCE  # and not tens of arrays over all builds
