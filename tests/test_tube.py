"""Mouths anywhere, dead ends, boxes with depth, and the pressure along a duct: against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.acoustics import electrical_load
from enclosures.duct import Piece, duct
from enclosures.ends import pipe_end_impedance
from enclosures.fibre import Fill
from enclosures.line import Line, Mouth, Section
from enclosures.sealed import SealedBox
from enclosures.steps import step_mass
from enclosures.tube import inside
from enclosures.vented import Port
from tests.support_enclosures import AIR, WOOFER, db, driven, root

FREQUENCY = np.geomspace(10, 3000, 200)
OMEGA = 2 * np.pi * FREQUENCY
K = OMEGA / AIR.speed_of_sound
AREA = 0.012
ZC = AIR.impedance / AREA


def test_a_dead_end_beyond_the_mouth() -> None:
    """The mouth stands beside the stub -j Zc cot k(L - y); before it a line of length y (lossless, Kinsler ch. 10)."""
    length, mouth_at = 1.4, 0.9
    mouth = pipe_end_impedance(OMEGA, AREA, "flanged", AIR)
    stub = -1j * ZC / np.tan(K * (length - mouth_at))
    line = Line((Section(length, AREA),), (0.0,), (Mouth(at=mouth_at),), lossy_walls=False)
    beyond = mouth * stub / (mouth + stub)
    turn = 1j * np.tan(K * mouth_at)
    expected = ZC * (beyond + ZC * turn) / (ZC + beyond * turn)
    load = line.load(OMEGA, AIR, [WOOFER])
    np.testing.assert_allclose(load.impedance[:, 0, 0], expected, rtol=1e-9)
    # in the dead end itself the driver sees its stub and the rest of the line beside the mouth
    inner = Line((Section(length, AREA),), (length,), (Mouth(at=mouth_at),), lossy_walls=False)
    rest = -1j * ZC / np.tan(K * mouth_at)
    beside = mouth * rest / (mouth + rest)
    turn = 1j * np.tan(K * (length - mouth_at))
    expected = ZC * (beside + ZC * turn) / (ZC + beside * turn)
    np.testing.assert_allclose(inner.load(OMEGA, AIR, [WOOFER]).impedance[:, 0, 0], expected, rtol=1e-9)


def test_an_ideal_mouth_hides_its_dead_end() -> None:
    long = Line((Section(1.4, AREA),), (0.2,), (Mouth("ideal", at=0.9),), lossy_walls=False)
    short = Line((Section(0.9, AREA),), (0.2,), (Mouth("ideal"),), lossy_walls=False)
    np.testing.assert_allclose(
        driven([WOOFER], long, FREQUENCY).total, driven([WOOFER], short, FREQUENCY).total, rtol=1e-8
    )


def test_resonances_with_a_dead_end() -> None:
    """Closed at both ends, a port between: its flow and that of the two stubs make zero."""
    length, mouth_at, long = 1.5, 1.1, 0.08
    port = Port(8e-4, long, "ideal", "ideal")
    line = Line((Section(length, AREA),), (0.0,), (Mouth(port=port, at=mouth_at),), lossy_walls=False)

    def balance(f: float) -> float:  # flow: two stubs against the port, tan kx/Zc + tan k(L - x)/Zc = 1/(w m)
        k = 2 * math.pi * f / AIR.speed_of_sound
        mass = AIR.impedance / 8e-4 * math.tan(k * long)
        return (math.tan(k * mouth_at) + math.tan(k * (length - mouth_at))) / ZC - 1 / mass

    found = line.resonances(AIR, 3)
    assert found[0] == pytest.approx(root(balance, 20, 70), rel=1e-9)
    for f in found:
        assert balance(f * (1 - 1e-8)) * balance(f * (1 + 1e-8)) < 0


def test_resonances_of_straight_pipes() -> None:
    """Odd quarter waves with an ideal mouth, halves of a wave without any."""
    opened = Line((Section(1.7, AREA),), (), (Mouth("ideal"),))
    quarter = AIR.speed_of_sound / (4 * 1.7)
    assert opened.resonances(AIR, 4) == pytest.approx([quarter, 3 * quarter, 5 * quarter, 7 * quarter], rel=1e-9)
    closed = Line((Section(1.7, AREA),), (), ())
    assert closed.resonances(AIR, 3) == pytest.approx([2 * quarter, 4 * quarter, 6 * quarter], rel=1e-9)


def test_several_mouths_at_the_end_share_the_flow() -> None:
    port = Port(8e-4, 0.09, "flanged", "ideal")
    both = Line((Section(1.1, AREA),), (0.3,), (Mouth(port=port), Mouth(port=port)))
    one = Line((Section(1.1, AREA),), (0.3,), (Mouth(port=Port(8e-4, 0.09, "flanged", "ideal", count=2)),))
    ours, theirs = driven([WOOFER], both, FREQUENCY), driven([WOOFER], one, FREQUENCY)
    np.testing.assert_allclose(ours.openings.sum(axis=1), theirs.openings[:, 0], rtol=1e-9)
    np.testing.assert_allclose(ours.impedance, theirs.impedance, rtol=1e-9)
    assert both.opening_areas == pytest.approx((8e-4, 8e-4))


def test_a_step_has_the_mass_that_is_asked_for() -> None:
    """Two straight pipes with a mass between: cot(k l1) S1... = the first resonance of the closed form."""
    first, second, one, two = 0.7, 0.5, 0.02, 0.005
    line = Line((Section(first, one), Section(second, two)), (), (Mouth("ideal"),), step_correction=True)
    mass = step_mass(one, two, AIR)

    def balance(f: float) -> float:  # cot(k l1) rho c/S1 = tan(k l2) rho c/S2 + w m
        w = 2 * math.pi * f
        k = w / AIR.speed_of_sound
        behind = AIR.impedance / two * math.tan(k * second) + w * mass
        return AIR.impedance / one / math.tan(k * first) - behind

    assert line.resonance(AIR) == pytest.approx(root(balance, 10, 100), rel=1e-9)
    without = Line((Section(first, one), Section(second, two)), (), (Mouth("ideal"),))
    assert line.resonance(AIR) < without.resonance(AIR)
    # onto a port at the end as well, unless the port says what its inner end is
    port = Port(two, second, "ideal", "ideal")
    as_port = Line((Section(first, one),), (), (Mouth(port=port),), step_correction=True)
    assert as_port.resonance(AIR) == pytest.approx(line.resonance(AIR), rel=1e-9)


def test_a_box_with_depth_is_a_pipe_closed_at_both_ends() -> None:
    """-j Zc cot kL for a driver at the end, and cos kx/... between two places (Kinsler, Fundamentals, ch. 9)."""
    along, volume, x = 0.45, 9e-3, 0.12
    zc = AIR.impedance * along / volume
    box = SealedBox(volume, along=along, positions=(0.0, x))
    za = box.load(OMEGA, AIR, [WOOFER, WOOFER]).impedance
    np.testing.assert_allclose(za[:, 0, 0], -1j * zc / np.tan(K * along), rtol=1e-8)
    np.testing.assert_allclose(
        za[:, 1, 1], -1j * zc * np.cos(K * x) * np.cos(K * (along - x)) / np.sin(K * along), rtol=1e-8, atol=1e-9 * zc
    )
    np.testing.assert_allclose(za[:, 0, 1], -1j * zc * np.cos(K * (along - x)) / np.sin(K * along), rtol=1e-8)


@pytest.mark.parametrize("fill", [None, Fill(1200.0)])
def test_a_box_hardly_deep_is_a_box_without_depth(fill: Fill | None) -> None:
    """Leak, absorption and filling included: what one pressure says, as the depth goes to zero."""
    plain = SealedBox(9e-3, 12.0, math.inf if fill else 30.0, fill)
    deep = SealedBox(9e-3, 12.0, math.inf if fill else 30.0, fill, along=1e-4, positions=(5e-5,))
    low = np.geomspace(5, 500, 40)
    one, two = driven([WOOFER], plain, low), driven([WOOFER], deep, low)
    np.testing.assert_allclose(one.velocity, two.velocity, rtol=1e-5)
    np.testing.assert_allclose(one.leak, two.leak, rtol=1e-5)


def test_a_driver_in_the_middle_does_not_excite_the_first_standing_wave() -> None:
    along = 0.45
    half_wave = AIR.speed_of_sound / (2 * along)
    loads = [
        SealedBox(9e-3, absorption=100.0, along=along, positions=(at,)).load(
            np.array([2 * math.pi * half_wave]), AIR, [WOOFER]
        )
        for at in (0.0, along / 2)
    ]
    at_end, in_middle = (abs(load.impedance[0, 0, 0]) for load in loads)
    assert db(at_end / in_middle) > 40


def test_pressure_along_a_straight_line() -> None:
    """sin k(L - x)/cos kL with the driver at the closed end and an ideal mouth (Kinsler, Fundamentals, ch. 10)."""
    length = 1.5
    line = Line((Section(length, AREA),), (0.0,), (Mouth("ideal"),), lossy_walls=False)
    flow = np.ones((len(OMEGA), 1), dtype=complex)
    places, pressure = line.pressure_along(OMEGA, AIR, flow)
    assert places[0] == 0
    assert places[-1] == pytest.approx(length)
    assert np.diff(places).max() <= 0.01 + 1e-12
    expected = -1j * ZC * np.sin(K[:, None] * (length - places)) / np.cos(K * length)[:, None]
    np.testing.assert_allclose(pressure, expected, rtol=1e-6, atol=1e-7 * np.abs(expected).max())


def test_pressure_along_meets_the_impedance_at_every_cone_and_mouth() -> None:
    """Taper, filling, walls, two drivers, a mouth before the end: p at the cones is -Za q."""
    sections = (Section(0.5, 0.024, 0.018, fill=Fill(900.0)), Section(0.6, 0.018, 0.012, "conical"))
    mouths = (Mouth(port=Port(20e-4, 0.1), at=0.9), Mouth("unflanged"))
    line = Line(sections, (0.15, 0.62), mouths)
    low = 2 * np.pi * np.geomspace(20, 400, 30)
    rng = np.random.default_rng(3)
    flow = rng.normal(size=(30, 2)) + 1j * rng.normal(size=(30, 2))
    places, pressure = line.pressure_along(low, AIR, flow)
    load = line.load(low, AIR, [WOOFER, WOOFER])
    at_cones = -(load.impedance @ flow[:, :, None])[:, :, 0]
    out = (load.openings @ flow[:, :, None])[:, :, 0]
    for n, position in enumerate(line.positions):
        np.testing.assert_allclose(pressure[:, np.abs(places - position).argmin()], at_cones[:, n], rtol=1e-8)
    end = pipe_end_impedance(low, 0.012, "unflanged", AIR)
    np.testing.assert_allclose(pressure[:, -1], end * out[:, 1], rtol=1e-7)


def test_reciprocity_with_heavy_filling_between_mouths() -> None:
    """Up to a hundred nepers of loss, mouths on both sides of the drivers: finite, symmetric, passive."""
    line = Line(
        (Section(3.0, AREA, fill=Fill(40_000.0)),), (0.3, 2.5), (Mouth(at=0.1), Mouth(at=1.4), Mouth("unflanged"))
    )
    omega = 2 * np.pi * np.geomspace(50, 20000, 100)
    load = electrical_load([WOOFER, WOOFER], line, omega, AIR)
    for array in (load.impedance, load.openings, load.velocity):
        assert np.isfinite(array).all()
    za = line.load(omega, AIR, [WOOFER, WOOFER]).impedance
    scale = np.abs(za).max(axis=(1, 2), keepdims=True)
    np.testing.assert_allclose(za / scale, za.swapaxes(1, 2) / scale, atol=1e-12)
    assert (np.linalg.eigvalsh((za + za.conj().swapaxes(1, 2)) / 2)[:, 0] >= -1e-11 * scale[:, 0, 0]).all()


def test_points_of_a_filled_duct_as_images() -> None:
    """The duct closed at both ends as a sum over mirror images, e^{-jkd} each (Morse & Ingard 1968, ch. 9)."""
    length, x1, x2 = 1.2, 0.3, 0.9
    fill = Fill(5000.0)
    fluid = fill.fluid(OMEGA, AIR)
    k = OMEGA * np.sqrt(fluid.density / fluid.bulk_modulus)
    zc = np.sqrt(fluid.density * fluid.bulk_modulus) / AREA
    total = np.zeros(len(OMEGA), dtype=complex)
    for n in range(-60, 61):
        for d in (abs(x1 - x2 + 2 * n * length), abs(x1 + x2 + 2 * n * length)):
            total += np.exp(-1j * k * d)
    seen = inside(duct([Piece(length, AREA, AREA, "conical", fill)], False), [x1, x2], OMEGA, AIR)
    whole = seen.direct + seen.spread[:, :, None] * seen.gather[:, None, :] / seen.admittance[:, None, None]
    np.testing.assert_allclose(whole[:, 0, 1], zc / 2 * total, rtol=1e-9)
    np.testing.assert_allclose(whole[:, 1, 0], zc / 2 * total, rtol=1e-9)
