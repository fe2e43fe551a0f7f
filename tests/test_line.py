"""The quarter-wave line against closed forms and against finite elements of Webster's equation."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.special import jv, yv

from enclosures.arrays import RealArray
from enclosures.driver import Driver
from enclosures.duct import Duct, Piece, duct
from enclosures.fibre import Fill
from enclosures.line import Line, Mouth, Section
from enclosures.vented import Port, VentedBox
from tests import webster_elements as elements
from tests.support_enclosures import AIR, WOOFER, db, driven, response, root

IDEAL = (Mouth("ideal"),)


def straight(length: float, area: float = 0.012, positions: tuple[float, ...] = (0.0,)) -> Line:
    return Line((Section(length, area),), positions, mouths=IDEAL, lossy_walls=False)


# kL of the first resonance, closed at one end, ideal at the other, by area ratio open/closed; from the closed forms
# (cone: tan kL = kL/(1 - r); exponential and Bessel forms: Webster's equation, e.g. Morse & Ingard 1968)
FIRST = {
    0.1: (0.943847, 0.992425, 0.926081),
    0.25: (1.165561, 1.180369, 1.160385),
    0.5: (1.35844, 1.36078, 1.35764),
    1.0: (1.570796, 1.570796, 1.570796),
    2.0: (1.79731, 1.79401, 1.79843),
    4.0: (2.028758, 2.000914, 2.039069),
    10.0: (2.32084, 2.20329, 2.37470),
}


@pytest.mark.parametrize("ratio", FIRST)
@pytest.mark.parametrize(("taper", "column"), [("conical", 0), ("area_linear", 1), ("exponential", 2)])
def test_first_resonance_of_every_taper(taper: str, column: int, ratio: float) -> None:
    line = Line((Section(1.7, 0.012, 0.012 * ratio, taper),), (0.0,), mouths=IDEAL, lossy_walls=False)
    kl = 2 * math.pi * line.resonance(AIR) * 1.7 / AIR.speed_of_sound
    assert kl == pytest.approx(FIRST[ratio][column], abs=6e-6)


def test_straight_line() -> None:
    assert straight(1.70).resonance(AIR) == pytest.approx(50.472, abs=0.0005)


def mass_loaded(length: float, port_length: float) -> Line:
    """0.9 m of 120 cm2 with the mass of 0.12 m of air in 20 cm2 at its mouth, as a shorter, narrower port."""
    return Line(
        (Section(0.9, 120e-4),),
        (0.0,),
        (Mouth(port=Port(20e-4 * port_length / 0.12, port_length, "ideal", "ideal")),),
        lossy_walls=False,
    )


def poles(line: Line, low: float, high: float) -> list[float]:
    """Where the impedance of a lossless line is infinite: where its load's `admittance` is singular."""

    def balance(f: float) -> float:
        load = line.load(np.array([2 * math.pi * f]), AIR, [WOOFER] * len(line.positions))
        return float(np.linalg.det(load.admittance[0]).real)

    grid = np.linspace(low, high, 600)
    values = [balance(f) for f in grid]
    return [
        root(balance, a, b)
        for a, b, va, vb in zip(grid[:-1], grid[1:], values[:-1], values[1:], strict=True)
        if va * vb < 0
    ]


def test_mass_loaded_line() -> None:
    # cot kL = k Leff S/Sp with L 0.9 m, S 120 cm2, Sp 20 cm2, Leff 0.12 m, the port a mass
    found = poles(mass_loaded(0.9, 1e-3), 20, 300)
    assert found == pytest.approx([56.4903, 211.57], abs=0.002)
    assert mass_loaded(0.9, 1e-3).resonance(AIR) == pytest.approx(56.4903, abs=5e-4)
    # as a duct of its real length the port is a little heavier: tan(kl)/k instead of l
    duct = mass_loaded(0.9, 0.12)
    exact = root(
        lambda f: 1 / math.tan(2 * math.pi * f * 0.9 / 343.21) - 6 * math.tan(2 * math.pi * f * 0.12 / 343.21), 20, 80
    )
    assert duct.resonance(AIR) == pytest.approx(exact, rel=1e-7)
    assert 0.99 < duct.resonance(AIR) / 56.4903 < 1
    # it is not a box: one of its volume with the same mass says 67.86 Hz
    box = VentedBox(0.9 * 120e-4, (Port(20e-4, 0.12, "ideal", "ideal"),))
    assert box.resonance(AIR) == pytest.approx(67.86, abs=0.005)


def test_a_driver_at_a_third_does_not_excite_the_third_harmonic() -> None:
    """Mode 2 of a line closed at 0 is cos(3 pi x/2L): nothing at L/3."""
    length = 1.5
    f3 = 3 * AIR.speed_of_sound / (4 * length)
    at_end = straight(length, positions=(0.0,)).load(np.array([2 * math.pi * f3 * 1.0001]), AIR, [WOOFER])
    at_third = straight(length, positions=(length / 3,)).load(np.array([2 * math.pi * f3 * 1.0001]), AIR, [WOOFER])
    assert abs(at_end.openings[0, 0, 0]) > 1000
    assert abs(at_third.openings[0, 0, 0]) == pytest.approx(1 / 3, abs=1e-3)  # cos(kL/3)/cos(kL) at kL = 3 pi/2


@pytest.mark.parametrize("positions", [(0.0, 0.4, 1.1), (0.9, 0.2, 0.2), (1.5, 0.7, 0.0)])
def test_impedance_matrix_of_a_straight_line(positions: tuple[float, ...]) -> None:
    """Za = j Zc cos(k x<) sin(k (L - x>))/cos(kL) and -cos(k x)/cos(kL) at the mouth (Morse & Ingard 1968)."""
    length, area = 1.5, 0.012
    frequency = np.geomspace(10, 5000, 300)
    k = 2 * np.pi * frequency / AIR.speed_of_sound
    load = straight(length, area, positions).load(2 * np.pi * frequency, AIR, [WOOFER] * 3)
    za, openings = load.impedance, load.openings
    for m, xm in enumerate(positions):
        np.testing.assert_allclose(openings[:, 0, m], -np.cos(k * xm) / np.cos(k * length), rtol=1e-8, atol=1e-10)
        for n, xn in enumerate(positions):
            near, far = min(xm, xn), max(xm, xn)
            expected = 1j * AIR.impedance / area * np.cos(k * near) * np.sin(k * (length - far)) / np.cos(k * length)
            np.testing.assert_allclose(za[:, m, n], expected, rtol=1e-8, atol=1e-6 * AIR.impedance / area)


def test_heavy_filling_between_two_drivers() -> None:
    """Up to 197 nepers of loss: nothing overflows, near and far elements are right (closed form)."""
    length, area, x1, x2 = 3.0, 0.012, 0.3, 2.5
    fill = Fill(40_000.0)
    line = Line((Section(length, area, fill=fill),), (x1, x2), mouths=IDEAL, lossy_walls=False)
    frequency = np.geomspace(50, 20000, 200)
    omega = 2 * np.pi * frequency
    fluid = fill.fluid(omega, AIR)
    k = omega * np.sqrt(fluid.density / fluid.bulk_modulus)
    zc = np.sqrt(fluid.density * fluid.bulk_modulus) / area

    def one_way(x: float) -> np.ndarray:
        return np.exp(-1j * k * x)

    def element(near: float, far: float) -> np.ndarray:  # images: e^{-jk(far-near)} with reflections at both ends
        top = one_way(far - near) * (1 + one_way(2 * near)) * (1 - one_way(2 * (length - far)))
        return zc / 2 * top / (1 + one_way(2 * length))

    za = line.load(omega, AIR, [WOOFER, WOOFER]).impedance
    assert (-k.imag * (x2 - x1)).max() > 100
    np.testing.assert_allclose(za[:, 0, 0], element(x1, x1), rtol=1e-10)
    np.testing.assert_allclose(za[:, 1, 1], element(x2, x2), rtol=1e-10)
    np.testing.assert_allclose(za[:, 0, 1], element(x1, x2), rtol=1e-9)
    np.testing.assert_allclose(za[:, 1, 0], element(x1, x2), rtol=1e-9)
    assert np.isfinite(driven([WOOFER, WOOFER], line, frequency).total).all()


def chain(duct: Duct, omega: RealArray) -> np.ndarray:
    """The two-port of the whole duct, (F, 2, 2)."""
    ports = duct.two_ports(omega, AIR)
    total = np.broadcast_to(np.eye(2, dtype=complex), (len(omega), 2, 2))
    for i in range(len(duct.slices)):
        step = np.array([[ports.pp[:, i], ports.pu[:, i]], [ports.up[:, i], ports.uu[:, i]]]).transpose(2, 0, 1)
        total = step @ total * np.exp(ports.attenuation[:, i])[:, None, None]
    return total


@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.15, 2.0, 4.0, 10.0])
def test_area_linear_duct_against_bessel_functions(ratio: float) -> None:
    """Webster with S = S1 (1 + e x): J0 and Y0 of k (x + 1/e). In parts of the largest element as the module states."""
    area, length = 0.01, 1.0
    kl = np.geomspace(0.01, 300, 3000)
    k = kl / length
    omega = k * AIR.speed_of_sound
    found = chain(duct([Piece(length, area, area * ratio, "area_linear")], lossy_walls=False), omega)
    wide = max(ratio, 1 / ratio)  # the Bessel form from the narrow end, turned round below
    z1 = k * length / (wide - 1)
    z2 = z1 * wide
    narrow = area if ratio > 1 else area * ratio
    wronskian = jv(0, z1) * yv(1, z1) - jv(1, z1) * yv(0, z1)
    pp = (jv(0, z2) * yv(1, z1) - jv(1, z1) * yv(0, z2)) / wronskian
    p_slope = -k * (jv(1, z2) * yv(1, z1) - jv(1, z1) * yv(1, z2)) / wronskian
    s = (jv(0, z2) * yv(0, z1) - yv(0, z2) * jv(0, z1)) / (k * wronskian)
    s_slope = -(jv(1, z2) * yv(0, z1) - yv(1, z2) * jv(0, z1)) / wronskian
    mass = 1j * omega * AIR.density
    exact = np.array([[pp, -mass * s / narrow], [-wide * narrow * p_slope / mass, wide * s_slope]]).transpose(2, 0, 1)
    if ratio < 1:  # the same duct run through the other way: a reciprocal two-port has its diagonal exchanged
        exact = exact[:, ::-1, ::-1].transpose(0, 2, 1)
    scale = np.array([[1, AIR.impedance / area], [area / AIR.impedance, 1]])
    error = np.abs((found - exact) / scale).max(axis=(1, 2)) / np.abs(exact / scale).max(axis=(1, 2))
    assert error.max() < 1e-5
    np.testing.assert_allclose(np.linalg.det(found), 1, rtol=1e-9)


@pytest.mark.parametrize("taper", ["area_linear", "conical", "exponential"])
@pytest.mark.parametrize("fill", [None, Fill(900.0)])
@pytest.mark.parametrize("ratio", [0.25, 0.98, 1.0 + 1e-9, 3.0])
@pytest.mark.parametrize("share", [0.37, 0.5])
def test_a_section_cut_in_two_is_the_same(taper: str, fill: Fill | None, ratio: float, share: float) -> None:
    """Whether the builder writes one section or two, and wherever drivers sit in it: lossy walls, every taper."""
    whole = Section(0.8, 0.02, 0.02 * ratio, taper, fill)
    middle = whole.piece.area_at(share)
    halves = (
        Section(0.8 * share, 0.02, middle, taper, fill),
        Section(0.8 * (1 - share), middle, 0.02 * ratio, taper, fill),
    )
    frequency = np.geomspace(5, 3000, 100)
    mouths = (Mouth(port=PORT),)
    one = driven([WOOFER, OTHER], Line((whole,), (0.1, 0.55), mouths), frequency)
    two = driven([WOOFER, OTHER], Line(halves, (0.1, 0.55), mouths), frequency)
    np.testing.assert_allclose(one.total, two.total, rtol=1e-10)
    np.testing.assert_allclose(one.impedance, two.impedance, rtol=1e-10)


@pytest.mark.parametrize("taper", ["area_linear", "conical", "exponential"])
@pytest.mark.parametrize("lossy", [False, True])
def test_a_boundary_within_a_slice_changes_nothing(taper: str, lossy: bool) -> None:
    whole = duct([Piece(0.8, 0.02, 0.005, taper)], lossy)
    omega = 2 * np.pi * np.geomspace(5, 3000, 100)
    one = chain(whole, omega)
    two = chain(whole.cut_at([0.1, 0.3, 0.31, 0.7]), omega)
    np.testing.assert_allclose(one, two, rtol=1e-10, atol=1e-11 * np.abs(one).min())


def test_straight_lossy_section_cut_in_two_is_the_same() -> None:
    frequency = np.geomspace(5, 20000, 100)
    one = Line((Section(0.8, 0.01),), (0.2,))
    two = Line((Section(0.2, 0.01), Section(0.3, 0.01), Section(0.3, 0.01, 0.01, "exponential")), (0.2,))
    np.testing.assert_allclose(
        driven([WOOFER], one, frequency).total, driven([WOOFER], two, frequency).total, rtol=1e-10
    )


@dataclass(frozen=True)
class Case:
    line: Line
    stretches: tuple[elements.Stretch, ...]  # the sections again, and the port, for the elements
    drivers: tuple[Driver, ...] = (WOOFER,)


OTHER = Driver(4.0, 5.0, 14e-3, 0.9e-3, 1.0, 110e-4)
PORT = Port(20e-4, 0.12, "flanged", "ideal")
CASES = {
    "straight": Case(
        Line((Section(1.7, 0.012),), (0.4,), (Mouth("unflanged"),)), (elements.Stretch(1.7, 0.012, 0.012),)
    ),
    "mass loaded, two drivers, area linear": Case(
        Line((Section(1.1, 0.024, 0.010),), (0.18, 0.44), (Mouth(port=PORT),)),
        (elements.Stretch(1.1, 0.024, 0.010), elements.Stretch(0.12, 20e-4, 20e-4)),
        (WOOFER, OTHER),
    ),
    "widening cone into a step": Case(
        Line((Section(0.7, 0.004, 0.016, "conical"), Section(0.6, 0.02)), (0.25,), (Mouth("flanged"),)),
        (elements.Stretch(0.7, 0.004, 0.016, "conical"), elements.Stretch(0.6, 0.02, 0.02)),
    ),
    "narrowing horn, two thin ports": Case(
        Line(
            (Section(1.0, 0.02, 0.003, "exponential"),),
            (0.0,),
            (Mouth(port=Port(3e-4, 0.1, "unflanged", "ideal", count=2)),),
        ),
        (elements.Stretch(1.0, 0.02, 0.003, "exponential"), elements.Stretch(0.1, 6e-4, 6e-4, count=2)),
    ),
    "filled in part, two drivers": Case(
        Line(
            (Section(0.5, 0.024, 0.018, fill=Fill(1500.0)), Section(0.8, 0.018, 0.008, "conical")),
            (0.45, 0.1),
            (Mouth(port=PORT),),
        ),
        (
            elements.Stretch(0.5, 0.024, 0.018, sigma=1500.0),
            elements.Stretch(0.8, 0.018, 0.008, "conical"),
            elements.Stretch(0.12, 20e-4, 20e-4),
        ),
        (OTHER, WOOFER),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_whole_line_against_finite_elements(name: str) -> None:
    """Within 0.05 dB from 10 to 500 Hz: output, excursion and impedance, with lossy walls, taper, offset and port."""
    case = CASES[name]
    air = replace(AIR, viscosity=elements.MU, prandtl=elements.PR, heat_ratio=elements.GAMMA)
    frequency = np.geomspace(10, 500, 90)
    ours = driven(case.drivers, case.line, frequency, air=air)
    mesh = elements.Mesh(list(case.stretches), list(case.line.positions))
    bl = np.diag([driver.bl for driver in case.drivers])
    sd = np.diag([driver.sd for driver in case.drivers])
    (opening,) = case.line.mouths
    port = opening.port
    worst = 0.0
    for i, f in enumerate(frequency):
        w = 2 * math.pi * f
        if port is None:
            mouth = elements.end_impedance(w, case.stretches[-1].end, opening.end)
        else:
            mouth = elements.end_impedance(w, port.area, port.end) / port.count
        za, out = mesh.solve(w, mouth, lossy=True)
        zm = np.diag([d.rms + 1j * w * d.mms + 1 / (1j * w * d.cms) for d in case.drivers])
        per_ampere = np.linalg.solve(zm + sd @ za @ sd, bl)
        z = np.diag([d.re for d in case.drivers]) + bl @ per_ampere
        current = np.linalg.solve(z, np.ones(len(case.drivers)))
        cones = sd @ per_ampere @ current
        total = cones.sum() - out @ cones
        for mine, theirs in (
            (ours.total[i], total),
            (ours.impedance[i], 1 / current.sum()),
            (ours.openings[i, 0], -out @ cones),
            *zip(ours.velocity[i], per_ampere @ current, strict=True),
        ):
            worst = max(worst, abs(20 * math.log10(abs(mine) / abs(theirs))))
    assert worst < 0.05, worst


@pytest.mark.parametrize("taper", ["area_linear", "conical", "exponential"])
def test_lossless_poles_against_finite_elements(taper: str) -> None:
    """Frequencies within 0.02 %: tapered line, port, ideal end; the first six."""
    line = Line(
        (Section(0.8, 0.025, 0.010, taper), Section(0.5, 0.010, 0.014, taper)),
        (0.0,),
        (Mouth(port=Port(20e-4, 0.12, "ideal", "ideal")),),
        lossy_walls=False,
    )
    mesh = elements.Mesh(
        [
            elements.Stretch(0.8, 0.025, 0.010, taper),
            elements.Stretch(0.5, 0.010, 0.014, taper),
            elements.Stretch(0.12, 20e-4, 20e-4),
        ],
        [0.0],
        size=0.01,
    )
    expected = mesh.lossless_poles(6)
    assert poles(line, 5, expected[-1] + 20)[:6] == pytest.approx(list(expected), rel=2e-4)
    assert line.resonance(AIR) == pytest.approx(expected[0], rel=2e-4)


def test_far_below_resonance_the_line_is_a_hole() -> None:
    """24 dB an octave, as any box with an opening, and x/V tends to bl cms/re."""
    line = Line((Section(1.5, 0.012),), (0.3,), lossy_walls=False)
    low, high = db(response(WOOFER, line, [0.05, 0.1]))
    assert high - low == pytest.approx(80 * math.log10(2), abs=0.01)
    assert abs(driven([WOOFER], line, [0.01]).displacement[0, 0]) == pytest.approx(1.2375e-3, abs=5e-9)


def test_a_short_line_is_a_vented_box() -> None:
    """Where the length hardly matters, a line with a port is a box of its volume with that port (lossless walls)."""
    port = Port(15e-4, 0.10, "flanged", "flanged")
    line = Line((Section(0.05, 0.2),), (0.02,), (Mouth(port=port),), lossy_walls=False)
    box = VentedBox(0.05 * 0.2, (port,))
    frequency = np.geomspace(10, 150, 60)
    ours, theirs = driven([WOOFER], line, frequency), driven([WOOFER], box, frequency)
    np.testing.assert_allclose(np.abs(ours.openings), np.abs(theirs.openings), rtol=0.01)
    np.testing.assert_allclose(ours.impedance, theirs.impedance, rtol=0.01)


def test_a_straight_line_as_three_tapers() -> None:
    frequency = np.geomspace(10, 5000, 50)
    curves = [
        driven([WOOFER], Line((Section(1.2, 0.01, 0.01, taper),), (0.3,)), frequency).total
        for taper in ("area_linear", "conical", "exponential")
    ]
    np.testing.assert_allclose(curves[1], curves[0], rtol=1e-11)
    np.testing.assert_allclose(curves[2], curves[0], rtol=1e-11)


def test_an_exponential_section_at_its_cutoff_is_finite() -> None:
    """At k = m/2 the wave number inside is zero: sin(bL)/b is L there."""
    m = math.log(4.0) / 1.0
    line = Line((Section(1.0, 0.01, 0.04, "exponential"),), (0.3,), mouths=IDEAL, lossy_walls=False)
    omega = np.array([m / 2 * AIR.speed_of_sound])
    beside = line.load(omega * (1 + 1e-7), AIR, [WOOFER]).impedance
    np.testing.assert_allclose(line.load(omega, AIR, [WOOFER]).impedance, beside, rtol=1e-5)


def test_impossible_lines() -> None:
    section = Section(1.0, 0.01)
    for name in ("length", "area", "end_area"):
        for wrong in (0.0, -0.01, math.nan):
            with pytest.raises(ValueError, match=name.replace("_", " ")):
                Section(**{"length": 1.0, "area": 0.01, "end_area": 0.01, name: wrong})
    with pytest.raises(ValueError, match=r"'parabolic'.*area_linear, conical, exponential"):
        Section(1.0, 0.01, 0.02, "parabolic")
    for position in (-0.1, 1.2, math.nan):
        with pytest.raises(ValueError, match="outside the line"):
            Line((section,), (position,))
    with pytest.raises(ValueError, match="at least one section"):
        Line((), (0.0,))
    with pytest.raises(ValueError, match="no pipe end"):
        Mouth("free")
    with pytest.raises(ValueError, match="1 positions for 2 drivers"):
        Line((section,), (0.0,)).load(np.array([100.0]), AIR, [WOOFER, WOOFER])
