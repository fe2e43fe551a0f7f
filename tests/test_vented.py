"""The vented box against Thiele's alignments, Small's identities and the pipe ends of the acoustics journals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from enclosures.acoustics import AcousticLoad, electrical_load
from enclosures.air import Air
from enclosures.arrays import RealArray
from enclosures.driver import Driver
from enclosures.ends import PIPE_ENDS, pipe_end_impedance, pipe_end_mass
from enclosures.tuning import tuning_frequency
from enclosures.vented import Port, VentedBox, tuned_port_length
from tests.support_enclosures import AIR, WOOFER, db, driven, driver_with, peak, response, root


def mass_ported(volume: float, fb: float, leak: float = math.inf) -> VentedBox:
    """A box whose port is as good as a mass: 2 mm long between ideal ends, so that tan(kL) = kL to 5e-5 at 300 Hz.

    The tables of Thiele and Small are for masses; a port of real length is a duct and differs, as it should.
    """
    length = 2e-3
    mass = AIR.bulk_modulus / volume / (2 * math.pi * fb) ** 2
    return VentedBox(volume, (Port(AIR.density * length / mass, length, "ideal", "ideal"),), leak=leak)


# type, qt, f3/fs as printed by Thiele (1961, table I; from memory), alpha as printed, then worked from the definition:
# h, alpha, f3/fs
ALIGNMENTS = [
    ("QB3", 0.180, 2.68, 10.48, 1.9968, 10.4449, 2.6792),
    ("QB3", 0.209, 2.28, 7.48, 1.7298, 7.4543, 2.2738),
    ("QB3", 0.259, 1.77, 4.46, 1.4133, 4.4563, 1.7721),
    ("QB3", 0.303, 1.45, 2.95, 1.2244, 2.9469, 1.4481),
    ("B4", 0.38268, 1.000, 1.414, 1.0, math.sqrt(2), 1.0000),
    ("C4", 0.415, 0.867, 1.055, 0.9277, 1.0528, 0.8663),
    ("C4", 0.466, 0.729, 0.729, 0.8270, 0.7243, 0.7260),
    ("C4", 0.518, 0.641, 0.559, 0.7553, 0.5578, 0.6414),
    ("C4", 0.557, 0.600, 0.485, 0.7177, 0.4858, 0.6001),
]
# with a leak of QL = 7 (Small, JAES 21(5), 1973, gives charts; numbers worked from his transfer function)
LEAKY = [
    ("B4", 0.4048, None, None, 1.0, 1.0613, 1.0),
    ("QB3", 0.25, None, None, 1.56293, 4.58219, 1.96665),
    ("QB3", 0.30, None, None, 1.31453, 2.84520, 1.57316),
    ("QB3", 0.35, None, None, 1.13950, 1.79642, 1.27024),
]


@pytest.mark.parametrize(
    ("leak", "row"), [(math.inf, row) for row in ALIGNMENTS] + [(7.0, row) for row in LEAKY], ids=str
)
def test_alignments(leak: float, row: tuple[str, float, float | None, float | None, float, float, float]) -> None:
    _, qt, print_f3, print_alpha, h, alpha, exact_f3 = row
    fs, vas = 40.0, 50e-3
    driver = driver_with(fs, qt, vas)
    box = mass_ported(vas / alpha, h * fs, leak)
    assert box.resonance(AIR) == pytest.approx(h * fs, rel=1e-12)

    def level(f: float) -> float:
        return float(db(response(driver, box, [f]))[0]) - 10 * math.log10(0.5)

    f3 = root(level, 0.3 * fs, 3.2 * fs) / fs
    assert f3 == pytest.approx(exact_f3, rel=1e-4)  # h, alpha and f3 are given to four or five digits
    if print_f3 is not None:
        assert f3 == pytest.approx(print_f3, rel=0.01)
        assert alpha == pytest.approx(print_alpha, rel=0.01)


def test_fourth_order_butterworth_to_the_last_digit() -> None:
    driver = driver_with(40.0, math.sin(math.pi / 8), 50e-3)  # 0.38268
    box = mass_ported(50e-3 / math.sqrt(2), 40.0)
    frequency = np.geomspace(10, 160, 100)
    ratio = frequency / 40.0
    np.testing.assert_allclose(db(response(driver, box, frequency)), -10 * np.log10(1 + ratio**-8.0), atol=5e-5)


def test_cone_stands_still_at_the_tuning() -> None:
    box = mass_ported(20e-3, 45.0)
    frequency = np.linspace(40, 50, 1001)
    motion = np.abs(driven([WOOFER], box, frequency).displacement[:, 0])
    assert frequency[motion.argmin()] == pytest.approx(45.0, rel=1e-3)
    rest = WOOFER.bl * WOOFER.cms / WOOFER.re
    assert motion.min() < 1e-4 * rest


def test_a_duct_tunes_a_little_lower_than_its_mass() -> None:
    """12 cm of duct between the masses of its ends is 0.6 % heavier at 58 Hz than they add up to: 57.90, not 58.08."""
    radius, length, volume = 35e-3, 0.12, 20e-3
    box = VentedBox(volume, (Port(math.pi * radius**2, length, "unflanged"),))

    def reactance(f: float) -> float:  # of duct, ends and box over rho c/S (Kinsler et al., pipe terminated in a mass)
        k = 2 * math.pi * f / AIR.speed_of_sound
        outer, inner, t = 0.613 * k * radius, 0.8215 * k * radius, math.tan(k * length)
        return (outer + t) / (1 - outer * t) + inner - math.pi * radius**2 / (k * volume)

    frequency = np.linspace(50, 65, 3001)
    motion = np.abs(driven([WOOFER], box, frequency).displacement[:, 0])
    assert frequency[motion.argmin()] == pytest.approx(root(reactance, 50, 65), rel=2e-4)
    assert root(reactance, 50, 65) == pytest.approx(box.resonance(AIR), rel=4e-3)


def test_impedance_peaks() -> None:
    # Thiele 1961, Small 1973: fL fH = fs fb, fL^2 + fH^2 = (1 + alpha) fs^2 + fb^2
    driver = driver_with(40.0, 0.35, 30e-3, qms=1e4)
    box = mass_ported(30e-3 / 1.3, 45.0)

    def impedance(f: float) -> float:
        return float(abs(driven([driver], box, [f]).impedance[0]))

    low, high = peak(impedance, 10, 44)[0], peak(impedance, 46, 150)[0]
    assert low * high == pytest.approx(1800, rel=2e-5)
    assert low**2 + high**2 == pytest.approx(5705, rel=2e-5)


def test_far_below_tuning_the_box_is_a_hole() -> None:
    box = VentedBox(20e-3, (Port(math.pi * 35e-3**2, 0.12),))
    low, high = db(response(WOOFER, box, [0.05, 0.1]))
    assert high - low == pytest.approx(80 * math.log10(2), abs=0.01)
    assert abs(driven([WOOFER], box, [0.01]).displacement[0, 0]) == pytest.approx(1.2375e-3, abs=5e-9)


def test_losses_are_the_resistances_of_small() -> None:
    """The usual acoustic circuit (Small 1973, figure 2) with the port as a mass, written out here."""
    volume, fb, ql, qa, qp = 20e-3, 45.0, 7.0, 40.0, 25.0
    lossless = mass_ported(volume, fb)
    box = VentedBox(volume, lossless.ports, ql, qa, qp)
    frequency = np.geomspace(10, 200, 100)
    w, wb = 2 * np.pi * frequency, 2 * math.pi * fb
    cab = volume / AIR.bulk_modulus
    port = 1j * w / (wb**2 * cab) + 1 / (wb * cab * qp)
    spring = 1 / (1j * w * cab) + 1 / (wb * cab * qa)
    across = ql / (wb * cab)
    expected = 1 / (1 / port + 1 / spring + 1 / across)
    load = box.load(w, AIR, [WOOFER])
    np.testing.assert_allclose(load.impedance[:, 0, 0], expected, rtol=2e-5)
    np.testing.assert_allclose(load.openings[:, 0, 0], -expected / port, rtol=2e-5)
    np.testing.assert_allclose(load.leak[:, 0], -expected / across, rtol=2e-5)


def test_end_corrections() -> None:
    # unflanged: Levine & Schwinger, Phys. Rev. 73, 1948, 0.6133 (their integral: 0.6127); flanged: Norris & Sheng,
    # J. Sound Vib. 135, 1989, 0.8216 to 0.8217 (from memory)
    radius = 0.03
    area = math.pi * radius**2
    w = np.array([2 * math.pi * 0.5])
    for end, expected, tolerance in (("unflanged", 0.613, 0.001), ("flanged", 0.8216, 0.0005)):
        z = pipe_end_impedance(w, area, end, AIR)
        assert z[0].imag * area / (w[0] * AIR.density * radius) == pytest.approx(expected, abs=tolerance)
        assert pipe_end_mass(area, end, AIR) == pytest.approx(z[0].imag / w[0], rel=1e-6)
    assert not pipe_end_impedance(w, area, "ideal", AIR).any()


@pytest.mark.parametrize(
    ("end", "n1", "d1", "d2"), [("unflanged", 0.167, 1.393, 0.457), ("flanged", 0.182, 1.825, 0.649)]
)
def test_pipe_ends_are_those_of_silva(end: str, n1: float, d1: float, d2: float) -> None:
    """Silva et al., J. Sound Vib. 322, 2009, from the reflection as printed; radiation as a small source at low ka."""
    area = 2e-3
    w = 2 * np.pi * np.geomspace(5, 20000, 200)
    jka = 1j * w * math.sqrt(area / math.pi) / AIR.speed_of_sound
    reflection = -(1 + n1 * jka) / (1 + d1 * jka + d2 * jka**2)
    z = pipe_end_impedance(w, area, end, AIR)
    np.testing.assert_allclose(z, AIR.impedance / area * (1 + reflection) / (1 - reflection), rtol=1e-9)
    assert (z.real > 0).all()
    solid_angle = {"unflanged": 4 * math.pi, "flanged": 2 * math.pi}[end]
    monopole = AIR.density * w[0] ** 2 / (AIR.speed_of_sound * solid_angle)  # R of a small source in this angle
    assert z[0].real == pytest.approx(monopole, rel=0.005)


def test_tuning_of_the_textbook_vent() -> None:
    # 20 L, port 70 mm wide and 120 mm long, as a mass: worked from the end corrections above
    area = math.pi * 35e-3**2
    assert VentedBox(20e-3, (Port(area, 0.12, "unflanged"),)).resonance(AIR) == pytest.approx(58.08, abs=0.01)
    assert VentedBox(20e-3, (Port(area, 0.12, "ideal", "ideal"),)).resonance(AIR) == pytest.approx(69.17, abs=0.01)


def test_a_wall_before_the_inner_end_lowers_the_tuning() -> None:
    """20 L, a thin tube 70 mm wide and 120 mm long whose inner end is 35 mm from the rear: 0.7804 radii there.

    That figure is from potential flow by finite elements (`tests/test_ends.py`), whose 0.6127 is the free end.
    """
    radius = 35e-3
    area, stiffness = math.pi * radius**2, AIR.bulk_modulus / 20e-3
    for clearance, inner in ((None, 0.6127), (radius, 0.7804)):
        box = VentedBox(20e-3, (Port(area, 0.12, "unflanged", "unflanged", clearance=clearance),))
        mass = AIR.density * (0.12 + (0.6127 + inner) * radius) / area
        tuning = math.sqrt(stiffness / mass) / (2 * math.pi)
        assert box.resonance(AIR) == pytest.approx(tuning, rel=1.5e-3)
        frequency = np.linspace(45, 65, 2001)
        motion = np.abs(driven([WOOFER], box, frequency).displacement[:, 0])
        assert frequency[motion.argmin()] == pytest.approx(
            tuning, rel=5e-3
        )  # and a duct is a little more than its mass


def test_a_wall_acts_as_so_much_more_port() -> None:
    """In a port short against the wavelength a mass at its inner end is a length, also to the cone and the impedance.

    At two radii the wall adds 0.1094 radii to a flanged end, by the finite elements of `tests/test_ends.py`.
    """
    radius, extra = 20e-3, 0.1094 * 20e-3
    near, far = (
        VentedBox(30e-3, (Port(math.pi * radius**2, length, "ideal", "flanged", clearance=clearance),))
        for length, clearance in ((0.02, 2 * radius), (0.02 + extra, None))
    )
    assert near.resonance(AIR) == pytest.approx(far.resonance(AIR), rel=1e-3)
    frequency = np.geomspace(10, 200, 40)
    ours, theirs = driven([WOOFER], near, frequency), driven([WOOFER], far, frequency)
    np.testing.assert_allclose(ours.impedance, theirs.impedance, rtol=0.01)
    np.testing.assert_allclose(ours.openings, theirs.openings, rtol=0.01)


def test_a_port_has_pipe_resonances() -> None:
    """Where the duct and its ends make a half wave, the port's flow peaks: a lumped mass would know nothing of it."""
    port = Port(math.pi * 25e-3**2, 0.20, "flanged", "ideal")
    box = VentedBox(20e-3, (port,))
    # on a lossless pipe open to a small pressure at one end: tan(kL) = -X S/(rho c), X of the outer end

    def reactance(f: float) -> float:
        w = np.array([2 * math.pi * f])
        z = pipe_end_impedance(w, port.area, "flanged", AIR)[0].imag * port.area / AIR.impedance
        return math.tan(2 * math.pi * f * 0.20 / AIR.speed_of_sound) + z

    half_wave = root(reactance, 600, 850)

    def flow(f: float) -> float:
        w = np.array([2 * math.pi * f])
        return float(abs(box.load(w, AIR, [WOOFER]).openings[0, 0, 0]))

    at, height = peak(flow, 650, 850)
    assert at == pytest.approx(half_wave, rel=0.01)  # the 20 L in parallel pull it a little
    assert height > 20 * flow(200) * (200 / at) ** 2  # what the mass law would make of it


def test_ports_side_by_side_are_one_of_their_mass() -> None:
    area = 1.5e-3
    frequency = np.geomspace(10, 300, 60)
    counted = driven([WOOFER], VentedBox(20e-3, (Port(area, 0.1, count=2),), leak=10, port_loss=20), frequency)
    listed = driven([WOOFER], VentedBox(20e-3, (Port(area, 0.1), Port(area, 0.1)), leak=10, port_loss=20), frequency)
    np.testing.assert_allclose(counted.impedance, listed.impedance, rtol=1e-12)
    np.testing.assert_allclose(counted.openings[:, 0], listed.openings.sum(axis=1), rtol=1e-12)
    assert VentedBox(20e-3, (Port(area, 0.1, count=3), Port(2e-3, 0.1))).opening_areas == pytest.approx((4.5e-3, 2e-3))


class _AtThePole:
    """A lossless box exactly at its tuning: its admittance is zero, its impedance infinite."""

    opening_areas: tuple[float, ...] = ()

    def resonance(self, air: Air, drivers: object) -> float:
        return 50.0

    def load(self, omega: RealArray, air: Air, drivers: object) -> AcousticLoad:
        ones = np.ones((len(omega), 2, 1), dtype=complex)
        nothing = np.zeros((len(omega), 1, 1), dtype=complex)
        direct = np.zeros((len(omega), 2, 2), dtype=complex)
        return AcousticLoad(direct, ones, ones.swapaxes(1, 2), nothing, nothing, nothing[:, 0])


def test_an_infinite_impedance_is_an_ordinary_case() -> None:
    """Two unlike cones on a box that takes no air: they can only move it to and fro, sd1 u1 + sd2 u2 = 0."""
    other = Driver(4.0, 5.0, 25e-3, 0.6e-3, 1.0, 150e-4)
    omega = np.array([300.0, 500.0])
    load = electrical_load([WOOFER, other], _AtThePole(), omega, AIR)
    ratio = WOOFER.sd / other.sd
    # driven through terminal one, the cone works on itself and on the other through the ratio of areas
    zm = WOOFER.mechanical_impedance(omega) + ratio**2 * other.mechanical_impedance(omega)
    np.testing.assert_allclose(load.velocity[:, 0, 0], WOOFER.bl / zm, rtol=1e-12)
    np.testing.assert_allclose(load.velocity[:, 1, 0], -ratio * WOOFER.bl / zm, rtol=1e-12)
    with pytest.raises(np.linalg.LinAlgError):
        _ = _AtThePole().load(omega, AIR, ()).impedance


def test_tuned_length_of_one_port() -> None:
    class Sought:
        area, length, end, inner_end, count, clearance = math.pi * 35e-3**2, None, "unflanged", "flanged", 1, None

    assert tuned_port_length(20e-3, 58.0812, [Sought()], AIR) == pytest.approx(0.12, abs=2e-5)


class Shape:
    def __init__(self, area: float, length: float | None, end: str, count: int, clearance: float | None = None) -> None:
        self.area, self.length, self.end, self.inner_end, self.count = area, length, end, "flanged", count
        self.clearance = clearance


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    areas=st.lists(st.floats(3e-4, 2e-2), min_size=1, max_size=3),
    counts=st.lists(st.integers(1, 4), min_size=3, max_size=3),
    length=st.floats(0.01, 0.8),
    fixed=st.lists(st.tuples(st.floats(3e-4, 5e-3), st.floats(0.02, 0.5)), max_size=2),
    volume=st.floats(2e-3, 0.3),
    end=st.sampled_from(sorted(PIPE_ENDS)),
    clearance=st.one_of(st.none(), st.floats(0.01, 0.5)),
)
def test_tuned_length_is_the_reverse_of_tuning(
    areas: list[float],
    counts: list[int],
    length: float,
    fixed: list[tuple[float, float]],
    volume: float,
    end: str,
    clearance: float | None,
) -> None:
    """With any mixture of ports with and without a length, the ones without all get the same."""
    given_ports = [Shape(area, long, "flanged", 1) for area, long in fixed]
    made = [Shape(area, length, end, count, clearance) for area, count in zip(areas, counts, strict=False)]
    fb = tuning_frequency(volume, [*made, *given_ports], AIR)
    sought = [Shape(area, None, end, count, clearance) for area, count in zip(areas, counts, strict=False)]
    assert tuned_port_length(volume, fb, [*sought, *given_ports], AIR) == pytest.approx(length, rel=1e-6)


def test_impossible_tunings_say_why() -> None:
    open_port = Shape(math.pi * 35e-3**2, None, "flanged", 1)
    with pytest.raises(ValueError, match=r"120 Hz is too high: .* tune the box to 9\d\.\d Hz"):
        tuned_port_length(20e-3, 120.0, [open_port], AIR)
    with pytest.raises(ValueError, match="no length is left"):
        tuned_port_length(20e-3, 40.0, [Shape(2e-3, 0.1, "flanged", 1)], AIR)
    with pytest.raises(ValueError, match=r"40 Hz is too low: .* 4\d\.\d Hz alone"):
        tuned_port_length(20e-3, 40.0, [open_port, Shape(2e-3, 0.1, "flanged", 1)], AIR)
    with pytest.raises(ValueError, match="tuning must be above zero"):
        tuned_port_length(20e-3, 0.0, [open_port], AIR)


def test_impossible_vents() -> None:
    for wrong in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="area"):
            Port(wrong, 0.1)
        with pytest.raises(ValueError, match="length"):
            Port(1e-3, wrong)
        with pytest.raises(ValueError, match="clearance"):
            Port(1e-3, 0.1, clearance=wrong)
        with pytest.raises(ValueError, match="hydraulic_ratio"):
            Port(1e-3, 0.1, hydraulic_ratio=wrong)
        with pytest.raises(ValueError, match="port"):
            VentedBox(20e-3, (Port(1e-3, 0.1),), port_loss=wrong)
    with pytest.raises(ValueError, match="hydraulic_ratio"):
        Port(1e-3, 0.1, hydraulic_ratio=1.01)
    with pytest.raises(ValueError, match=rf"'open'.*{', '.join(PIPE_ENDS)}"):
        Port(1e-3, 0.1, end="open")
    with pytest.raises(ValueError, match="at least one port"):
        VentedBox(20e-3, ())
    with pytest.raises(ValueError, match="count"):
        Port(1e-3, 0.1, count=0)
