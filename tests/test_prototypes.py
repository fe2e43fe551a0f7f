import math

import numpy as np
import pytest

from filters.network import Element, Load, Network, solve
from filters.parts import Capacitor, Coil, Resistor
from filters.prototypes import (
    SHAPES,
    ShapeError,
    high_pass,
    impedance_levelling,
    level_network,
    low_pass,
    motional_counterpart,
    parallel_notch,
    polynomial,
    series_notch,
    shape_values,
    step_network,
)
from tests.support_networks import diagonal, omegas, woofer_impedance

PARTS = {"coil": Coil, "capacitor": Capacitor}


def ladder(parts, prefix="", start="in"):
    """Elements of a section from the input to its output point, and that point's name."""
    elements, point = [], start
    for i, part in enumerate(parts):
        end = "common" if part.position == "shunt" else f"{prefix}n{i}"
        elements.append(Element(f"{prefix}P{i}", PARTS[part.kind](part.value), point, end))
        point = point if part.position == "shunt" else end
    return elements, point


def sections(omega, *parts, load=8.0):
    """Load volts (F, n) of sections on one input of 1 V without resistance, each loaded by `load` ohm."""
    elements, loads = [], []
    for i, one in enumerate(parts):
        more, point = ladder(one, f"S{i}_")
        elements += more
        loads.append(Load(f"D{i}", point, "common"))
    impedance = diagonal(*(np.full(omega.size, load, dtype=complex) for _ in parts))
    return solve(Network(("in", "common"), tuple(elements), loads=tuple(loads)), omega, impedance).load_volts


@pytest.mark.parametrize(
    ("shape", "order", "printed"),
    [
        # singly terminated tables, source of zero ohm first: Zverev, Handbook of Filter Synthesis, 1967, from memory;
        # recomputed from the polynomials, four decimals
        ("butterworth", 1, "1"),
        ("butterworth", 2, "1.4142 0.7071"),
        ("butterworth", 3, "1.5000 1.3333 0.5000"),
        ("butterworth", 4, "1.5307 1.5772 1.0824 0.3827"),
        ("bessel", 2, "1.3617 0.4539"),
        ("bessel", 3, "1.4631 0.8427 0.2926"),
        ("bessel", 4, "1.5012 0.9781 0.6127 0.2114"),
        ("linkwitz_riley", 2, "2 0.5"),
    ],
)
def test_singly_terminated_values(shape, order, printed):
    assert shape_values(shape, order) == pytest.approx([float(g) for g in printed.split()], abs=5.1e-5)


def test_fourth_order_linkwitz_riley_in_closed_form():
    root = math.sqrt(2)
    assert shape_values("linkwitz_riley", 4) == pytest.approx(
        [4 * root / 3, 9 * root / 8, 2 * root / 3, root / 4], rel=1e-12
    )


@pytest.mark.parametrize("order", [2, 3, 4, 5])
def test_the_doubly_terminated_values_of_the_handbooks_are_wrong_here(order):
    # g_k = 2 sin((2k - 1) pi/2n), source and load both 1 ohm: driven from zero ohm they are no Butterworth
    wrong = [2 * math.sin((2 * k - 1) * math.pi / (2 * order)) for k in range(1, order + 1)]
    assert shape_values("butterworth", order) != pytest.approx(wrong, rel=0.05)
    corner = np.array([2 * math.pi * 1000.0])
    right = low_pass("butterworth", order, 1000.0, 8.0)
    scaled = [
        type(part)(part.kind, part.position, part.value * bad / good)
        for part, good, bad in zip(right, shape_values("butterworth", order), wrong, strict=True)
    ]
    assert 20 * np.log10(abs(sections(corner, right)[0, 0])) == pytest.approx(-3.0103, abs=1e-4)
    assert abs(20 * np.log10(abs(sections(corner, scaled)[0, 0])) + 3.0103) > 1


@pytest.mark.parametrize("order", range(1, 11))
@pytest.mark.parametrize("shape", SHAPES)
def test_the_ladders_follow_their_polynomials(shape, order):
    if shape == "linkwitz_riley" and order % 2:
        with pytest.raises(ShapeError):  # there is none of odd order
            shape_values(shape, order)
        return
    omega = omegas(100, 10e3, 31)
    s = 1j * omega / (2 * np.pi * 1000)
    coefficients = polynomial(shape, order)
    np.testing.assert_allclose(
        sections(omega, low_pass(shape, order, 1000, 8), high_pass(shape, order, 1000, 8)),
        np.stack([1 / np.polyval(coefficients[::-1], s), 1 / np.polyval(coefficients[::-1], 1 / s)], axis=-1),
        rtol=1e-8,
    )


def test_polynomials_against_their_definitions():
    omega = np.geomspace(0.01, 100, 50)
    for order in (1, 3, 6):
        magnitude = np.abs(np.polyval(polynomial("butterworth", order)[::-1], 1j * omega)) ** 2
        np.testing.assert_allclose(magnitude, 1 + omega ** (2 * order), rtol=1e-9)  # Butterworth (1930)
    # Thomson (1949): third order s^3 + 6 s^2 + 15 s + 15; the group delay is flat, and 1.75567 is its -3 dB frequency
    bessel = polynomial("bessel", 3)
    scale = bessel[1]
    assert bessel == pytest.approx((1, scale, 6 / 15 * scale**2, scale**3 / 15), rel=1e-12)
    assert scale == pytest.approx(1.75567, abs=1e-5)


def test_eight_ohm_sections_at_2500_hz():
    # recomputed from Linkwitz (1976) and Butterworth, four decimals in mH and uF
    def scaled(parts):
        return [part.value * (1e3 if part.kind == "coil" else 1e6) for part in parts]

    assert scaled(low_pass("linkwitz_riley", 2, 2500, 8)) == pytest.approx([1.0186, 3.9789], abs=6e-5)
    assert scaled(low_pass("butterworth", 2, 2500, 8)) == pytest.approx([0.7203, 5.6270], abs=6e-5)
    assert scaled(low_pass("linkwitz_riley", 4, 2500, 8)) == pytest.approx([0.9603, 12.6607, 0.4802, 2.8135], abs=6e-5)
    assert scaled(high_pass("linkwitz_riley", 4, 2500, 8)) == pytest.approx([4.2202, 0.3201, 8.4405, 1.4405], abs=6e-5)


def test_linkwitz_riley_pairs_sum_to_one():
    # Linkwitz (1976): an all-pass at every frequency, the second-order pair with one driver reversed
    omega = omegas(count=101)
    fourth = sections(omega, low_pass("linkwitz_riley", 4, 2500, 8), high_pass("linkwitz_riley", 4, 2500, 8))
    np.testing.assert_allclose(np.abs(fourth.sum(axis=-1)), 1, rtol=1e-11)
    second = sections(omega, low_pass("linkwitz_riley", 2, 2500, 8), high_pass("linkwitz_riley", 2, 2500, 8))
    np.testing.assert_allclose(np.abs(second[:, 0] - second[:, 1]), 1, rtol=1e-11)


@pytest.mark.parametrize(
    ("reduction", "series", "shunt"),
    [(1, 0.8700, 65.564), (3, 2.3364, 19.392), (6, 3.9905, 8.0381), (10, 5.4702, 3.6998)],
)
def test_level_network_keeps_the_impedance(reduction, series, shunt):
    # recomputed from the voltage divider, 8 ohm
    found = level_network(reduction, 8.0)
    assert (found.series, found.shunt) == (pytest.approx(series, abs=6e-5), pytest.approx(shunt, abs=6e-4))
    parts = (Element("R1", Resistor(found.series), "in", "a"), Element("R2", Resistor(found.shunt), "a", "common"))
    network = Network(("in", "common"), parts, loads=(Load("D", "a", "common"),))
    solution = solve(network, np.array([1000.0]), np.array([[[8 + 0j]]]))
    assert solution.input_impedance[0] == pytest.approx(8)
    assert 20 * np.log10(abs(solution.load_volts[0, 0])) == pytest.approx(-reduction)


@pytest.mark.parametrize(("step", "ohm", "millihenry"), [(3, 3.3003, 1.1049), (6, 7.9621, 2.2428)])
def test_step_network_is_half_way_at_its_centre(step, ohm, millihenry):
    # recomputed from |Z/(Z + R || j omega L)|, 8 ohm, 400 Hz
    found = step_network(step, 400.0, 8.0)
    assert found.resistance == pytest.approx(ohm, abs=6e-5)
    assert found.inductance * 1e3 == pytest.approx(millihenry, abs=6e-5)
    parts = (Element("R1", Resistor(found.resistance), "in", "a"), Element("L1", Coil(found.inductance), "in", "a"))
    network = Network(("in", "common"), parts, loads=(Load("D", "a", "common"),))
    omega = 2 * np.pi * np.array([1e-3, 400.0, 4e7])
    level = 20 * np.log10(np.abs(solve(network, omega, np.full((3, 1, 1), 8 + 0j)).load_volts[:, 0]))
    assert level == pytest.approx([0, -step / 2, -step], abs=1e-6)


def notched(kind, depth, q, omega):
    """Level in dB that a notch at 800 Hz takes from a driver of 8 ohm, behind 5 ohm for the one across it."""
    if kind == "parallel":
        found, series = parallel_notch(depth, 800.0, q, 8.0), 0.0
        ends = [("in", "a")] * 3
    else:
        found, series = series_notch(depth, 800.0, q, 8.0, 5.0), 5.0
        ends = [("a", "b"), ("b", "c"), ("c", "common")]
    parts = (Resistor(found.resistance), Coil(found.inductance), Capacitor(found.capacitance))
    elements = [Element(f"P{i}", part, *pair) for i, (part, pair) in enumerate(zip(parts, ends, strict=True))]
    if series:
        elements.append(Element("RS", Resistor(series), "in", "a"))
    network = Network(("in", "common"), tuple(elements), loads=(Load("D", "a", "common"),))
    volts = solve(network, omega, np.full((omega.size, 1, 1), 8 + 0j)).load_volts[:, 0]
    return volts * (series + 8) / 8


@pytest.mark.parametrize("kind", ["parallel", "series"])
@pytest.mark.parametrize(("depth", "q"), [(1.0, 0.5), (3.0, 2.0), (6.0, 1.0), (14.0, 4.0)])
def test_notches_take_their_depth_and_half_of_it_at_the_edges(kind, depth, q):
    # the edges of a band of width f0/Q about f0, alike on a logarithmic axis: f0 (sqrt(1 + 1/4Q^2) +- 1/2Q)
    edges = 800 * (math.sqrt(1 + 1 / (4 * q**2)) + np.array([-1, 1]) / (2 * q))
    assert edges[1] - edges[0] == pytest.approx(800 / q)
    omega = 2 * np.pi * np.array([1e-2, edges[0], 800.0, edges[1], 1e8])
    found = 20 * np.log10(np.abs(notched(kind, depth, q, omega)))
    assert found == pytest.approx([0, -depth / 2, -depth, -depth / 2, 0], abs=1e-6)


@pytest.mark.parametrize("kind", ["parallel", "series"])
def test_notches_are_the_peaking_equalizer(kind):
    # Bristow-Johnson (AES 97th Convention, 1994): H = (s^2 + s A/Q + 1)/(s^2 + s/(A Q) + 1), A = 10^(dB gain/40)
    omega = omegas()
    s = 1j * omega / (2 * np.pi * 800)
    amplitude, q = 10 ** (-7 / 40), 1.7
    expected = (s**2 + s * amplitude / q + 1) / (s**2 + s / (amplitude * q) + 1)
    np.testing.assert_allclose(notched(kind, 7.0, q, omega), expected, rtol=1e-10)


def test_a_notch_in_numbers():
    # recomputed from R = Z (K - 1), B = sqrt(K)/(2 pi R C), 1/(LC) = omega0^2: 6 dB, 2 kHz, a band of 1 kHz, 8 ohm
    found = parallel_notch(6.0, 2000.0, 2.0, 8.0)
    assert found.resistance == pytest.approx(7.9621, abs=6e-5)
    assert found.capacitance * 1e6 == pytest.approx(28.235, abs=6e-4)
    assert found.inductance * 1e3 == pytest.approx(0.22428, abs=6e-6)
    # behind 8 ohm: Z0 = 4 ohm, R = 4/(K - 1), B = sqrt(K) R/(2 pi L)
    found = series_notch(6.0, 2000.0, 2.0, 8.0, 8.0)
    assert found.resistance == pytest.approx(4.0190, abs=6e-5)
    assert found.inductance * 1e3 == pytest.approx(0.90353, abs=6e-6)
    assert found.capacitance * 1e6 == pytest.approx(7.0087, abs=6e-5)


def test_impedance_levelling_of_an_ideal_coil():
    found = impedance_levelling(5.6, 0.5e-3)
    assert found.capacitance * 1e6 == pytest.approx(15.944, abs=6e-4)
    omega = omegas()
    branch = found.resistance + 1 / (1j * omega * found.capacitance)
    driver = 5.6 + 0.5e-3j * omega
    np.testing.assert_allclose(branch * driver / (branch + driver), 5.6, rtol=1e-12)


def test_motional_counterpart_levels_the_resonance():
    found = motional_counterpart(5.6, 0.45, 3.2, 900.0)
    assert found.resistance == pytest.approx(6.3875, abs=6e-5)
    assert found.inductance * 1e3 == pytest.approx(0.44563, abs=6e-6)
    assert found.capacitance * 1e6 == pytest.approx(70.174, abs=6e-4)
    omega, resonance = omegas(), 2 * np.pi * 900
    # Small (1972): Res = re qms/qes, Les = re/(omega_s qes), Ces = qes/(omega_s re)
    driver = woofer_impedance(omega, 5.6, 0.0, 5.6 * 3.2 / 0.45, 5.6 / (resonance * 0.45), 0.45 / (resonance * 5.6))
    branch = found.resistance + 1j * omega * found.inductance + 1 / (1j * omega * found.capacitance)
    np.testing.assert_allclose(branch * driver / (branch + driver), 5.600, rtol=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: shape_values("chebyshov", 2), "there is no filter shape chebyshov; there are butterworth, bessel"),
        (lambda: shape_values("bessel", 0), "an order from 1 to 10, not 0"),
        (lambda: shape_values("linkwitz_riley", 3), "has an even order, not 3"),
        (lambda: level_network(0.0, 8.0), "by more than 0 dB"),
        (lambda: step_network(-3.0, 400.0, 8.0), "by more than 0 dB"),
        (lambda: parallel_notch(0.0, 400.0, 1.0, 8.0), "a notch needs a depth"),
        (lambda: parallel_notch(3.0, 400.0, 0.0, 8.0), "a notch needs a depth"),
        (lambda: series_notch(3.0, 400.0, 1.0, 8.0, 0.0), "resistances above zero"),
    ],
)
def test_what_does_not_exist_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()
