"""The sealed box against Small's closed forms (J. Audio Eng. Soc. 20(10), 1972 and 21(1), 1973)."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from enclosures.driver import Driver, Inductance
from enclosures.fibre import Fill
from enclosures.sealed import SealedBox
from tests.support_enclosures import AIR, WOOFER, db, driven, driver_with, peak, response, root

FC = 60.0
ALPHA = 3.0


def system(qtc: float) -> tuple[Driver, SealedBox]:
    """A driver and a lossless box with fc 60 Hz, compliance ratio 3 and this qtc."""
    fs = FC / math.sqrt(1 + ALPHA)
    driver = driver_with(fs, qtc * fs / FC, vas=12e-3, qms=5.0)
    return driver, SealedBox(12e-3 / ALPHA)


# qtc: f3/fc, response peak dB, at f/fc, excursion peak over its value at 0 Hz, at f/fc; from the closed forms of Small
TABLE = [
    (0.500, 1.5538, None, None, None, None),
    (0.57735, 1.2720, None, None, None, None),
    (math.sqrt(0.5), 1.0000, None, None, None, None),
    (0.8, 0.8972, 0.213, 2.138, 1.0248, 0.468),
    (1.0, 0.7862, 1.249, 1.4142, 1.1547, 0.7071),
    (1.2, 0.7358, 2.412, 1.238, 1.3201, 0.808),
    (1.5, 0.6993, 4.033, 1.134, 1.5910, 0.882),
]


@pytest.mark.parametrize(("qtc", "f3", "rise", "rise_at", "travel", "travel_at"), TABLE)
def test_response_and_excursion_of_small(
    qtc: float, f3: float, rise: float | None, rise_at: float | None, travel: float | None, travel_at: float | None
) -> None:
    driver, box = system(qtc)

    def level(f: float) -> float:
        return float(db(response(driver, box, [f * FC]))[0])

    def excursion(f: float) -> float:
        return float(abs(driven([driver], box, [f * FC]).displacement[0, 0]))

    rest = driver.bl * driver.cms / (driver.re * (1 + ALPHA))  # x/V at 0 Hz
    assert root(lambda f: level(f) - 10 * math.log10(0.5), 0.3, 3) == pytest.approx(f3, abs=1e-4)
    if rise is None or travel is None:
        assert max(level(f) for f in np.geomspace(0.1, 100, 200)) <= 1e-6
        assert max(excursion(f) for f in np.geomspace(0.01, 10, 200)) <= rest * (1 + 1e-6)
    else:
        assert peak(level, 1.0, 4.0) == pytest.approx((rise_at, rise), abs=6e-4)
        at, most = peak(lambda f: excursion(f) / rest, 0.2, 1.0)
        assert most == pytest.approx(travel, abs=6e-5)
        assert at == pytest.approx(travel_at, abs=6e-4)


@pytest.mark.parametrize("qtc", [row[0] for row in TABLE])
def test_whole_curves_against_the_closed_form(qtc: float) -> None:
    """Within 0.01 dB and 0.1 % (here far closer) from fc/10 to 50 fc; fc and qtc come back from the impedance."""
    driver, box = system(qtc)
    frequency = np.geomspace(FC / 10, FC * 50, 300)
    s = 1j * frequency / FC
    shape = s**2 + s / qtc + 1
    np.testing.assert_allclose(db(response(driver, box, frequency)), db(np.abs(s**2 / shape)), atol=1e-9)
    expected = driver.bl * driver.cms / (driver.re * (1 + ALPHA)) / np.abs(shape)
    np.testing.assert_allclose(np.abs(driven([driver], box, frequency).displacement[:, 0]), expected, rtol=1e-9)

    assert box.resonance(AIR, [driver]) == pytest.approx(FC, rel=1e-9)

    def impedance(f: float) -> float:
        return float(abs(driven([driver], box, [f]).impedance[0]))

    fc, z_max = peak(impedance, 40, 90)
    r0 = z_max / driver.re
    f1 = root(lambda f: impedance(f) - driver.re * math.sqrt(r0), 1, fc)
    f2 = root(lambda f: impedance(f) - driver.re * math.sqrt(r0), fc, 2000)
    qmc = math.sqrt(f1 * f2) * math.sqrt(r0) / (f2 - f1)
    assert fc == pytest.approx(FC, rel=1e-6)
    assert qmc / r0 == pytest.approx(qtc, rel=1e-6)  # qec/(1 + qec/qmc)


def test_static_excursion_of_the_textbook_woofer_in_6_litres() -> None:
    at_rest = driven([WOOFER], SealedBox(6e-3), [0.01]).displacement[0, 0]
    assert abs(at_rest) == pytest.approx(0.410628e-3, abs=5e-10)


def independent_pressure_box(
    driver: Driver, volume: float, leak: float, absorption: float, frequency: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Velocity per volt and leak flow by loop and node equations of the usual acoustic circuit, written out here."""
    fc = driver.fs * math.sqrt(1 + driver.vas(AIR) / volume)
    w, w0 = 2 * np.pi * frequency, 2 * math.pi * fc
    cab = volume / (AIR.density * AIR.speed_of_sound**2)
    spring = 1 / (w0 * cab * absorption) + 1 / (1j * w * cab)
    across = leak / (w0 * cab)
    box = spring * across / (spring + across)
    zm = driver.rms + 1j * w * driver.mms + 1 / (1j * w * driver.cms) + driver.sd**2 * box
    velocity = (driver.bl / driver.re) / (zm + driver.bl**2 / driver.re)
    return velocity, -driver.sd * velocity * box / across


def test_leak_and_absorption_are_the_resistances_of_small() -> None:
    frequency = np.geomspace(5, 2000, 100)
    velocity, leak = independent_pressure_box(WOOFER, 6e-3, 7.0, 30.0, frequency)
    one = driven([WOOFER], SealedBox(6e-3, leak=7.0, absorption=30.0), frequency)
    np.testing.assert_allclose(one.velocity[:, 0], velocity, rtol=1e-10)
    np.testing.assert_allclose(one.leak, leak, rtol=1e-10)
    np.testing.assert_allclose(one.total, WOOFER.sd * velocity + leak, rtol=1e-9)


def slope(driver: Driver, box: SealedBox, frequency: float) -> float:
    low, high = db(response(driver, box, [frequency, 2 * frequency]))
    return float(high - low)


def test_asymptotic_slopes() -> None:
    """12 dB an octave sealed; 18 with a leak, whose flow cancels the cone's in the end."""
    assert slope(WOOFER, SealedBox(6e-3), 0.1) == pytest.approx(40 * math.log10(2), abs=1e-3)
    assert slope(WOOFER, SealedBox(6e-3, leak=7.0), 0.01) == pytest.approx(60 * math.log10(2), abs=1e-3)


def test_two_identical_woofers_are_one_with_twice_the_area() -> None:
    """In parallel: sd, mms, rms twice, cms and re half, bl the same; to 1e-9."""
    woofer = replace(WOOFER, coil=Inductance(0.4e-3))
    double = Driver(2.8, 6.3, 19e-3, 0.55e-3, 1.7, 176e-4, Inductance(0.2e-3))
    box = SealedBox(8e-3, leak=20.0, absorption=50.0)
    frequency = np.geomspace(5, 20000, 200)
    two, one = driven([woofer, woofer], box, frequency), driven([double], box, frequency)
    np.testing.assert_allclose(two.impedance, one.impedance, rtol=1e-9)
    np.testing.assert_allclose(two.total, one.total, rtol=1e-9)
    np.testing.assert_allclose(two.leak, one.leak, rtol=1e-9)
    for n in range(2):
        np.testing.assert_allclose(two.displacement[:, n], one.displacement[:, 0], rtol=1e-9)
    assert box.resonance(AIR, [woofer, woofer]) == pytest.approx(box.resonance(AIR, [double]), rel=1e-12)


def test_one_of_two_reversed_shows_the_free_air_resonance() -> None:
    """The air only moves to and fro between two cones that oppose each other: no spring, no output."""
    frequency = np.geomspace(10, 500, 400)
    box = SealedBox(8e-3)
    opposed = driven([WOOFER, WOOFER], box, frequency, polarity=[1, -1])
    free = WOOFER.free_air_impedance(2 * np.pi * frequency) / 2
    np.testing.assert_allclose(opposed.impedance, free, rtol=1e-9)
    assert (np.abs(opposed.total) < 1e-12 * np.abs(opposed.velocity[:, 0])).all()

    def impedance(f: float, polarity: list[float]) -> float:
        return float(abs(driven([WOOFER, WOOFER], box, [f], polarity).impedance[0]))

    assert peak(lambda f: impedance(f, [1, -1]), 30, 150)[0] == pytest.approx(WOOFER.fs, rel=1e-4)
    in_phase = peak(lambda f: impedance(f, [1, 1]), 60, 150)[0]
    assert in_phase == pytest.approx(WOOFER.fs * math.sqrt(1 + 2 * WOOFER.vas(AIR) / 8e-3), rel=1e-4)


def test_resonance_of_unlike_drivers_is_the_highest_of_the_coupled_system() -> None:
    other = Driver(4.0, 5.0, 25e-3, 0.6e-3, 1.0, 150e-4)
    box = SealedBox(9e-3)
    k = AIR.bulk_modulus / 9e-3
    k11, k22, k12 = 1 / 1.1e-3 + k * 88e-4**2, 1 / 0.6e-3 + k * 150e-4**2, k * 88e-4 * 150e-4

    def determinant(f: float) -> float:
        w2 = (2 * math.pi * f) ** 2
        return (k11 - w2 * 9.5e-3) * (k22 - w2 * 25e-3) - k12**2

    roots = np.roots([9.5e-3 * 25e-3, -(k11 * 25e-3 + k22 * 9.5e-3), k11 * k22 - k12**2])
    highest = math.sqrt(max(roots.real)) / (2 * math.pi)
    assert box.resonance(AIR, [WOOFER, other]) == pytest.approx(highest, rel=1e-9)
    assert abs(determinant(highest)) < 1e-6 * k11 * k22


def test_filling_softens_the_spring() -> None:
    """Between adiabatic and isothermal: a gain of 1 to 1.40; the fibre model without heat exchange gives none."""
    frequency = np.geomspace(20, 200, 50)
    bare = driven([WOOFER], SealedBox(6e-3), frequency)
    stiff = driven([WOOFER], SealedBox(6e-3, fill=Fill(3000.0, "rigid_fibre")), frequency)
    np.testing.assert_allclose(stiff.impedance, bare.impedance, rtol=1e-12)
    soft = SealedBox(6e-3, fill=Fill(3000.0)).load(2 * np.pi * frequency, AIR, [WOOFER]).impedance[:, 0, 0]
    gain = (1 / (1j * 2 * np.pi * frequency * soft)).real * AIR.bulk_modulus / 6e-3
    assert ((gain > 1.0) & (gain < 1.45)).all()


@pytest.mark.parametrize("name", ["volume", "leak", "absorption"])
@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan])
def test_impossible_boxes(name: str, wrong: float) -> None:
    with pytest.raises(ValueError, match=name):
        SealedBox(**{"volume": 6e-3, name: wrong})
