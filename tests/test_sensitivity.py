"""Derivatives by the adjoint network against differences of whole solutions, closed forms and scaling laws."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from filters.network import Coupling, Element, Load, Network, NetworkError, solve
from filters.parts import Capacitor, Coil, Resistor
from filters.sensitivity import gradients
from tests.support_networks import diagonal, networks, omegas

IN = ("in", "common")
OMEGA = omegas(count=12)
SETTINGS = settings(max_examples=60, deadline=None, derandomize=True)
VALUE = {Resistor: "resistance", Capacitor: "capacitance", Coil: "inductance"}
LOSS = {Capacitor: "series_resistance", Coil: "resistance"}


# -- against differences


# f'(0) from f at these steps, to the eighth order (Fornberg, Math. Comp. 51, 1988, table 1)
STEP = 2.5e-4
STEPS = STEP * np.array([-4, -3, -2, -1, 1, 2, 3, 4.0])
FACTORS = np.array([3, -32, 168, -672, 672, -168, 32, -3]) / 840 / STEP
VOLTS = 2.0
ROUNDING = 1e-12  # of the largest output, more than LAPACK loses in these networks; a difference divides it by STEP


def outputs(solution, weights):
    """Every output in amperes along the last axis: the weighted currents, the input's, the elements'."""
    weighted = np.einsum("fqn,...fn->...fq", weights, solution.load_current)
    return np.concatenate([weighted, solution.input_current[..., None], solution.element_current], axis=-1)


def close(exact, size, solutions, middle):
    """`exact` derivatives times `size` equal the differences to 1e-6, but for the rounding of the outputs `middle`."""
    differences = np.einsum("b,b...->...", FACTORS, solutions)
    allowed = 1e-6 * np.abs(differences) + ROUNDING / STEP * np.abs(middle).max()
    assert np.all(np.abs(exact * size - differences) <= allowed)


def lossy(network):
    """No loss below 20 mohm: at a resonance without loss no step is small enough, and a loss of zero has no two sides.

    The wire to a dead end stays; nothing ever flows in it. Zero ohm has its closed form further down.
    """
    elements = []
    for e in network.elements:
        name = LOSS.get(type(e.part))
        part = replace(e.part, **{name: max(getattr(e.part, name), 0.02)}) if name else e.part
        elements.append(replace(e, part=part))
    return replace(network, elements=tuple(elements))


def weights_of(count, seed):
    rng = np.random.default_rng(seed)
    return rng.standard_normal((OMEGA.size, 2, count)) + 1j * rng.standard_normal((OMEGA.size, 2, count))


def joined(found, kind, solution):
    """The derivatives `by_value`, `by_resistance` or `by_load` in the order of `outputs`, (F, Q + 1 + K, ...)."""
    of_input = getattr(found, f"input_by_{kind}")
    slope = -(solution.input_current**2) / VOLTS  # I = E/(Z + Rs)
    of_input = of_input * slope.reshape(-1, *(1,) * (of_input.ndim - 1))
    parts = [getattr(found, f"by_{kind}"), of_input[:, None], getattr(found, f"current_by_{kind}")]
    return np.concatenate(parts, axis=1)


@SETTINGS
@given(networks(), st.integers(0, 99))
def test_every_part_of_random_networks(case, seed):
    network, loads, resistance = lossy(case[0]), *case[1:]
    weights = weights_of(len(network.loads), seed)
    found = gradients(network, OMEGA, loads, weights, VOLTS, resistance, of_currents=True)
    here = solve(network, OMEGA, loads, VOLTS, resistance)
    middle = outputs(here, weights)
    np.testing.assert_allclose(found.output, middle[:, :2], rtol=1e-12, atol=1e-15)
    for k, element in enumerate(network.elements):
        for kind, names in (("value", VALUE), ("resistance", LOSS)):
            name = names.get(type(element.part))
            if name is None:  # a resistor has no resistance beside its value
                np.testing.assert_array_equal(joined(found, kind, here)[..., k], 0)
                continue
            size = getattr(element.part, name)
            if size == 0:
                np.testing.assert_allclose(joined(found, kind, here)[..., k], 0, atol=1e-12)
                continue
            part = replace(element.part, **{name: size * (1 + STEPS)})
            moved = tuple(replace(e, part=part) if e is element else e for e in network.elements)
            solutions = outputs(solve(replace(network, elements=moved), OMEGA, loads, VOLTS, resistance), weights)
            close(joined(found, kind, here)[..., k], size, solutions, middle)


@SETTINGS
@given(networks(), st.integers(0, 99))
def test_every_entry_of_the_load(case, seed):
    network, loads, resistance = lossy(case[0]), *case[1:]
    weights = weights_of(len(network.loads), seed)
    found = gradients(network, OMEGA, loads, weights, VOLTS, resistance, of_currents=True)
    here = solve(network, OMEGA, loads, VOLTS, resistance)
    middle = outputs(here, weights)
    for i in range(len(network.loads)):
        for j in range(len(network.loads)):
            moved = np.stack([loads] * len(STEPS))
            moved[..., i, j] += STEPS[:, None]
            solutions = outputs(solve(network, OMEGA, moved, VOLTS, resistance), weights)
            close(joined(found, "load", here)[..., i, j], 1.0, solutions, middle)


# -- laws


@SETTINGS
@given(networks())
def test_scaling_all_impedances_and_all_frequencies(case):
    """Euler's theorem: currents are of degree -1 in all impedances together, and of degree 0 in omega L, 1/(omega C)
    at once, so that sum R dR + L dL - C dC + Z dZ = -1 and sum L dL + C dC = omega d/d omega of the output."""
    network, loads, resistance = lossy(case[0]), *case[1:]
    # the source's resistance becomes a part, and nothing leaks, so that every impedance is among the derivatives
    elements = tuple(
        replace(e, part=replace(e.part, leakage_resistance=None)) if isinstance(e.part, Capacitor) else e
        for e in network.elements
    )
    elements = (*elements, Element("RS", Resistor(resistance), "source", "in"))
    network = replace(network, input=("source", "common"), elements=elements)
    loads = np.ascontiguousarray(np.broadcast_to(loads[:1], loads.shape))  # the same at every frequency
    weights = weights_of(len(network.loads), 1)
    found = gradients(network, OMEGA, loads, weights)

    def total(kinds, derivatives, names):
        """Sum of value times derivative."""
        terms = [
            derivatives[..., k] * getattr(e.part, names[type(e.part)])
            for k, e in enumerate(network.elements)
            if type(e.part) in kinds
        ]
        return np.sum(terms, axis=0) if terms else 0

    by_load = np.einsum("fqnm,fnm->fq", found.by_load, loads)
    coils = total({Coil}, found.by_value, VALUE)
    capacitors = total({Capacitor}, found.by_value, VALUE)
    ohms = total({Resistor}, found.by_value, VALUE) + total({Coil, Capacitor}, found.by_resistance, LOSS)
    scale = np.abs(found.output).max(axis=1, keepdims=True)
    terms = np.abs(ohms) + np.abs(coils) + np.abs(capacitors) + np.abs(by_load)
    assert np.all(np.abs(ohms + coils - capacitors + by_load + found.output) <= 1e-9 * (terms + scale))
    # omega d/d omega by differences
    moved = np.stack([gradients(network, OMEGA * (1 + step), loads, weights).output for step in STEPS])
    differences = np.einsum("b,b...->...", FACTORS, moved)
    assert np.all(np.abs(coils + capacitors - differences) <= 1e-6 * (terms + scale))


# -- closed forms


def test_bode_sensitivities_of_a_resistor_and_a_capacitor():
    # I = E/(Z (1 + jwRC) + R) into a load Z behind R, with C across it; S = dI/I over dx/x (Bode, Network Analysis and
    # Feedback Amplifier Design, 1945, ch. IV) is -jwRC Z/(...) for C, -(1 + jwCZ) R/(...) for R, -(1 + jwRC) Z/(...)
    r, c, z = 10.0, 20e-6, 6.0 + 1e-3j * OMEGA
    network = Network(
        IN,
        (Element("R", Resistor(r), "in", "a"), Element("C", Capacitor(c), "a", "common")),
        loads=(Load("D", "a", "common"),),
    )
    found = gradients(network, OMEGA, diagonal(z), np.ones((OMEGA.size, 1, 1)), 5.0)
    jwc = 1j * OMEGA * c
    below = z * (1 + r * jwc) + r
    np.testing.assert_allclose(found.output[:, 0], 5 / below, rtol=1e-12)
    relative = found.by_value[:, 0] / found.output
    np.testing.assert_allclose(relative[:, 0] * r, -(1 + jwc * z) * r / below, rtol=1e-11)
    np.testing.assert_allclose(relative[:, 1] * c, -jwc * r * z / below, rtol=1e-11)
    np.testing.assert_allclose(found.by_load[:, 0, 0, 0] / found.output[:, 0], -(1 + r * jwc) / below, rtol=1e-11)
    # the same chain for the input's impedance, R + 1/(jwC + 1/Z)
    parallel = 1 / (jwc + 1 / z)
    np.testing.assert_allclose(found.input_by_value[:, 0], 1, rtol=1e-11)
    np.testing.assert_allclose(found.input_by_value[:, 1], -1j * OMEGA * parallel**2, rtol=1e-9)
    np.testing.assert_allclose(found.input_by_load[:, 0, 0], (parallel / z) ** 2, rtol=1e-10)
    # a resistance in the capacitor: dZ/dRs = (parallel/Zc)^2
    np.testing.assert_allclose(found.input_by_resistance[:, 1], (parallel * jwc) ** 2, rtol=1e-10)


def test_an_open_capacitor_at_its_corner():
    # RC low-pass without load: d(ln H)/d(ln C) = -jwRC/(1 + jwRC), -(1 + j)/2 at the corner
    r, c = 8.0, 10e-6
    corner = np.array([1 / (r * c)])
    network = Network(IN, (Element("R", Resistor(r), "in", "a"), Element("C", Capacitor(c), "a", "common")))
    found = gradients(network, corner, None, np.zeros((1, 0, 0)), 1.0, of_currents=True)
    # its volts are I/(jwC), so that their sensitivity is that of the current less one
    current = found.element_current[0, 1]
    assert found.current_by_value[0, 1, 1] * c / current - 1 == pytest.approx(-(1 + 1j) / 2, rel=1e-12)
    assert found.current_by_value[0, 1, 0] * r / current == pytest.approx(-(1 + 1j) / 2, rel=1e-12)
    assert found.output.shape == (1, 0)


@pytest.mark.parametrize("k", [-0.4, 0.0, 0.7])
def test_coils_in_series(k):
    # Z = R1 + R2 + jw (L1 + L2 + 2k sqrt(L1 L2)); source resistance is not in it
    parts = (Element("L1", Coil(2e-3, 0.3), "in", "a"), Element("L2", Coil(0.5e-3, 0.2), "a", "common"))
    network = Network(IN, parts, couplings=(Coupling("L1", "L2", k),))
    found = gradients(network, OMEGA, None, np.zeros((OMEGA.size, 0, 0)), 3.0, 0.7)
    np.testing.assert_allclose(found.input_by_value[:, 0], 1j * OMEGA * (1 + k * np.sqrt(0.25)), rtol=1e-9)
    np.testing.assert_allclose(found.input_by_value[:, 1], 1j * OMEGA * (1 + k * np.sqrt(4)), rtol=1e-9)
    np.testing.assert_allclose(found.input_by_resistance, 1, rtol=1e-9)


def test_zero_ohm_in_line():
    # I = E/(R0 + R1 + jwL + Z): by each of them -I/(...), where R0 and the coil's R1 are zero
    parts = (Element("R", Resistor(0.0), "in", "a"), Element("L", Coil(1e-3), "a", "b"))
    network = Network(IN, parts, loads=(Load("D", "b", "common"),))
    found = gradients(network, OMEGA, np.full((OMEGA.size, 1, 1), 4 + 0j), np.ones((OMEGA.size, 1, 1)), 3.0)
    total = 4 + 1e-3j * OMEGA
    np.testing.assert_allclose(found.by_value[:, 0, 0], -3 / total**2, rtol=1e-11)
    np.testing.assert_allclose(found.by_resistance[:, 0, 1], -3 / total**2, rtol=1e-11)
    np.testing.assert_allclose(found.by_value[:, 0, 1], -3j * OMEGA / total**2, rtol=1e-11)
    np.testing.assert_allclose(found.input_by_value[:, 0], 1, rtol=1e-11)


def test_a_capacitor_with_every_loss():
    # Z = Rs + tan d/(wC) + 1/(1/Rp + jwC) alone on the source: dZ/dC with tan d, Rs and Rp held, dZ/dRs = 1
    c, rp, tangent = 22e-6, 400.0, 0.03
    part = Capacitor(c, 0.1, tangent, 1000.0, rp)
    found = gradients(Network(IN, (Element("C", part, *IN),)), OMEGA, None, np.zeros((OMEGA.size, 0, 0)))
    expected = -tangent / (OMEGA * c**2) - 1j * OMEGA / (1 / rp + 1j * OMEGA * c) ** 2
    np.testing.assert_allclose(found.input_by_value[:, 0], expected, rtol=1e-11)
    np.testing.assert_allclose(found.input_by_resistance, 1, rtol=1e-11)


def test_zero_hertz():
    # the capacitor blocks, whatever its value; the coil is its wire: Z = Rw + R
    parts = (
        Element("L", Coil(1e-3, 0.3), "in", "a"),
        Element("C", Capacitor(1e-5, 0.1, 0.01, 1000.0), "a", "common"),
        Element("R", Resistor(5.0), "a", "common"),
    )
    found = gradients(Network(IN, parts), np.zeros(1), None, np.zeros((1, 0, 0)), of_currents=True)
    np.testing.assert_allclose(found.input_by_value, [[0, 0, 1]], atol=1e-15)
    np.testing.assert_allclose(found.input_by_resistance, [[1, 0, 0]], atol=1e-15)
    np.testing.assert_allclose(found.current_by_value[0, :, 2], np.array([-1, 0, -1]) / 5.3**2, atol=1e-15)


def test_what_has_no_current_has_no_derivative_of_its_impedance():
    network = Network(IN, (Element("R", Resistor(5.0), "common", "a"),))
    found = gradients(network, OMEGA, None, np.zeros((OMEGA.size, 0, 0)))
    assert np.all(np.isinf(found.input_impedance))
    assert np.all(np.isnan(found.input_by_value))
    assert found.current_by_value.shape == (OMEGA.size, 0, 1)


@pytest.mark.parametrize(
    ("ohm", "weights", "words"),
    [
        (np.ones(3), np.zeros((OMEGA.size, 1, 1)), "a single build"),
        (1.0, np.zeros((OMEGA.size, 1)), "weights are"),
        (1.0, np.zeros((OMEGA.size, 1, 2)), "weights are"),
        (1.0, np.zeros((2, 1, 1)), "weights are"),
    ],
)
def test_what_is_refused(ohm, weights, words):
    network = Network(IN, (Element("R", Resistor(ohm), *IN),), loads=(Load("D", *IN),))
    with pytest.raises(NetworkError, match=words):
        gradients(network, OMEGA, np.ones((OMEGA.size, 1, 1)), weights)
