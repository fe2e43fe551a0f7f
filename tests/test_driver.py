"""The driver against the identities of Thiele and Small, and the voice-coil models against printed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import struve

from enclosures.acoustics import electrical_load
from enclosures.driver import (
    WINDINGS,
    Driver,
    Inductance,
    PowerLaw,
    SemiInductance,
    ShuntedCoil,
    VoiceCoil,
    heated_resistance,
)
from enclosures.parameters import AIR_LOADS, radiation_mass
from tests.support_enclosures import AIR, WOOFER, driven, peak, root


def test_derived_parameters() -> None:
    assert WOOFER.fs == pytest.approx(49.2336, abs=5e-5)
    assert WOOFER.qms == pytest.approx(3.45738, abs=5e-6)
    assert WOOFER.qes == pytest.approx(0.414641, abs=5e-7)
    assert WOOFER.qts == pytest.approx(0.370239, abs=5e-7)
    assert WOOFER.vas(AIR) == pytest.approx(12.082e-3, abs=5e-7)
    assert WOOFER.radius == pytest.approx(math.sqrt(88e-4 / math.pi))


def test_reference_efficiency() -> None:
    # Small, J. Audio Eng. Soc. 20(5), 1972: both forms of eta0 are one, and 9.765e-10 fs^3 vas[L]/qes
    eta = WOOFER.efficiency(AIR)
    other = 4 * math.pi**2 / AIR.speed_of_sound**3 * WOOFER.fs**3 * WOOFER.vas(AIR) / WOOFER.qes
    assert eta == pytest.approx(other, rel=1e-12)
    assert eta == pytest.approx(0.00339574, abs=5e-9)
    assert eta == pytest.approx(9.765e-10 * WOOFER.fs**3 * WOOFER.vas(AIR) * 1e3 / WOOFER.qes, rel=1e-4)


def test_sensitivity_on_an_infinite_wall() -> None:
    """2.83 V at 1 m in half space: 89.02 dB = 112.16 dB + 10 log10(eta0 2.83^2/re), from the moving driver itself."""
    frequency = np.array([1e5])  # far above resonance, no coil inductance
    total = 2.83 * driven([WOOFER], None, frequency).total
    pressure = np.abs(2 * np.pi * frequency * AIR.density * total) / (2 * math.pi)
    assert 20 * np.log10(pressure[0] / 20e-6) == pytest.approx(89.02, abs=0.01)
    power_level = 10 * math.log10(AIR.impedance / (2 * math.pi) / 20e-6**2)
    assert power_level == pytest.approx(112.16, abs=0.01)  # 1 acoustic W, half space, 1 m


def test_excursion_that_90_db_at_40_hz_needs() -> None:
    driver = Driver(6.0, 7.0, 20e-3, 1e-3, 1.0, 137e-4)
    one = driven([driver], None, [40.0])
    pressure = abs(2 * math.pi * 40 * AIR.density * one.total[0]) / (2 * math.pi)
    excursion = math.sqrt(2) * abs(one.displacement[0, 0]) * 20e-6 * 10 ** (90 / 20) / pressure
    assert excursion == pytest.approx(5.39e-3, abs=0.005e-3)  # closed form of the monopole in a wall


def impedance_at(frequency: float, driver: Driver = WOOFER) -> complex:
    return complex(driver.free_air_impedance(np.array([2 * math.pi * frequency]))[0])


def test_impedance_identities_of_thiele_and_small() -> None:
    # Thiele 1961, Small 1972: r0 = 1 + qms/qes, |Z| = re sqrt(r0) at f1 and f2 with f1 f2 = fs^2
    top, z_max = peak(lambda f: abs(impedance_at(f)), 40, 60)
    assert top == pytest.approx(49.2336, abs=1e-3)
    assert z_max == pytest.approx(52.2941, abs=1e-4)
    r0 = z_max / WOOFER.re
    f1 = root(lambda f: abs(impedance_at(f)) - WOOFER.re * math.sqrt(r0), 10, top)
    f2 = root(lambda f: abs(impedance_at(f)) - WOOFER.re * math.sqrt(r0), top, 200)
    assert (f1, f2) == pytest.approx((32.0692, 75.5851), abs=1e-4)
    # the parameters come back from the curve (the issue asks for 0.5 %)
    fs = math.sqrt(f1 * f2)
    qms = fs * math.sqrt(r0) / (f2 - f1)
    assert fs == pytest.approx(WOOFER.fs, rel=1e-6)
    assert qms == pytest.approx(WOOFER.qms, rel=1e-6)
    assert qms / (r0 - 1) == pytest.approx(WOOFER.qes, rel=1e-6)


def test_without_a_chamber_the_load_is_the_free_air_impedance() -> None:
    omega = 2 * np.pi * np.geomspace(5, 20000, 60)
    other = Driver(4.0, 5.0, 12e-3, 0.8e-3, 1.0, 60e-4, Inductance(0.4e-3))
    load = electrical_load([WOOFER, other], None, omega, AIR)
    for n, driver in enumerate((WOOFER, other)):
        np.testing.assert_allclose(load.impedance[:, n, n], driver.free_air_impedance(omega), rtol=1e-13)
    assert not load.impedance[:, 0, 1].any()
    assert load.openings.shape == (60, 0, 2)
    assert not load.leak.any()


def test_power_law_voice_coil() -> None:
    # Leach, J. Audio Eng. Soc. 50(6), 2002, form K (jw)^n; numbers worked from it
    z = complex(PowerLaw(0.030, 0.62).impedance(np.array([2 * math.pi * 1000]))[0])
    assert abs(z) == pytest.approx(6.792, abs=5e-4)
    assert math.degrees(math.atan2(z.imag, z.real)) == pytest.approx(55.8, abs=0.05)
    assert z.real == pytest.approx(3.818, abs=5e-4)
    assert z.imag / (2 * math.pi * 1000) == pytest.approx(0.8940e-3, abs=5e-8)


OMEGA = 2 * np.pi * np.geomspace(1, 40000, 50)


def test_a_power_law_of_one_is_a_coil() -> None:
    np.testing.assert_allclose(PowerLaw(1e-3, 1.0).impedance(OMEGA), Inductance(1e-3).impedance(OMEGA), atol=1e-12)


def test_shunted_coil_is_the_circuit_it_says() -> None:
    s = 1j * OMEGA
    expected = s * 0.2e-3 + 1 / (1 / (s * 0.5e-3) + 1 / 4.0)
    np.testing.assert_allclose(ShuntedCoil(0.2e-3, 0.5e-3, 4.0).impedance(OMEGA), expected, rtol=1e-12)


def test_semi_inductance_is_the_circuit_it_says() -> None:
    # Thorborg & Futtrup, J. Audio Eng. Soc. 59, 2011: a coil and sqrt(jw) in parallel
    s = 1j * OMEGA
    expected = s * 0.1e-3 + 1 / (1 / (s * 0.6e-3) + 1 / (0.05 * np.sqrt(s)))
    np.testing.assert_allclose(SemiInductance(0.1e-3, 0.6e-3, 0.05).impedance(OMEGA), expected, rtol=1e-12)


@pytest.mark.parametrize(
    "coil", [Inductance(0.4e-3), ShuntedCoil(0.0, 0.5e-3, 4.0), PowerLaw(0.03, 0.62), SemiInductance(0.0, 0.6e-3, 0.05)]
)
def test_voice_coils_are_passive_and_add_to_re(coil: VoiceCoil) -> None:
    assert (coil.impedance(OMEGA).real >= -1e-15).all()
    driver = Driver(5.6, 6.3, 9.5e-3, 1.1e-3, 0.85, 88e-4, coil)
    np.testing.assert_allclose(driver.blocked_impedance(OMEGA), 5.6 + coil.impedance(OMEGA))


@pytest.mark.parametrize("name", ["re", "bl", "mms", "cms", "rms", "sd"])
@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_impossible_drivers(name: str, wrong: float) -> None:
    values = {"re": 5.6, "bl": 6.3, "mms": 9.5e-3, "cms": 1.1e-3, "rms": 0.85, "sd": 88e-4, name: wrong}
    with pytest.raises(ValueError, match=name):
        Driver(**values)


def test_impossible_voice_coils() -> None:
    with pytest.raises(ValueError, match="le"):
        Inductance(-1e-3)
    with pytest.raises(ValueError, match="exponent"):
        PowerLaw(0.03, 1.2)
    with pytest.raises(ValueError, match="shunt_resistance"):
        ShuntedCoil(0.0, 1e-3, 0.0)
    with pytest.raises(ValueError, match="semi"):
        SemiInductance(0.0, 1e-3, math.nan)


@pytest.mark.parametrize("frequencies", [[0.0, 10.0], [-1.0], [math.nan], [math.inf]])
def test_frequencies_must_be_real_ones(frequencies: list[float]) -> None:
    with pytest.raises(ValueError, match="frequencies"):
        electrical_load([WOOFER], None, np.array(frequencies), AIR)
    with pytest.raises(ValueError, match="at least one driver"):
        electrical_load([], None, np.array([10.0]), AIR)


def test_air_carried_by_one_side_of_a_piston() -> None:
    """Rayleigh 1896, section 302: reactance rho c pi a^2 H1(2ka)/(ka); its mass at small ka, H1 from scipy."""
    a, ka = 0.053, 1e-3
    reactance = AIR.impedance * math.pi * a**2 * struve(1, 2 * ka) / ka
    mass = reactance / (ka / a * AIR.speed_of_sound)
    assert radiation_mass(math.pi * a**2, AIR.density) == pytest.approx(mass, rel=1e-6)


def test_a_disc_in_free_air_carries_as_much_in_all() -> None:
    """Lamb, Hydrodynamics, 1932, art. 102: a disc moved broadside, phi = -(2U/pi) sqrt(a^2 - r^2) on its face.

    The kinetic energy is rho/2 times the integral of -phi U over both faces. A baffled piston carries this per side.
    """
    a = 0.053
    energy, _ = quad(lambda r: 2 / math.pi * math.sqrt(a**2 - r**2) * 2 * math.pi * r, 0, a)
    one_side = radiation_mass(math.pi * a**2, AIR.density)
    assert 2 * AIR.density * energy == pytest.approx(one_side, rel=1e-8)
    held = {"included": 2 * one_side, "free_air": 2 * AIR.density * energy, "none": 0.0}
    assert set(AIR_LOADS) == set(held)
    for word, mass in held.items():  # what is missing completes the two sides of a baffled piston
        assert mass + AIR_LOADS[word] * one_side == pytest.approx(2 * one_side, rel=1e-8)


def test_a_winding_at_its_reference_temperature() -> None:
    for winding in WINDINGS:
        assert heated_resistance(5.6, 293.15, winding) == 5.6


@pytest.mark.parametrize(
    ("winding", "conductor", "pure", "pure_at_400", "digits"),
    [("copper", 1.7241, 1.678, 2.402, 0.001), ("aluminium", 2.8264, 2.650, 3.87, 0.01)],
)
def test_hot_metal(winding: str, conductor: float, pure: float, pure_at_400: float, digits: float) -> None:
    """Matthiessen's rule: the impurities of a conductor add the same at every temperature.

    1e-8 ohm m: conductors at 20 degC from IEC 60028 and IEC 60889, pure metals at 293 and 400 K from the CRC Handbook
    of Chemistry and Physics (all from memory). The tolerance is a digit of the table and half one of the coefficient.
    """
    ratio = (pure_at_400 + conductor - pure) / conductor
    tolerance = digits / conductor + 0.5e-5 * 106.85
    assert heated_resistance(1.0, 400.0, winding) == pytest.approx(ratio, abs=tolerance)


def test_level_that_a_hot_coil_costs() -> None:
    # mid-band at constant voltage: 100 K 2.879 dB, 200 K 5.038 dB (20 log10(1 + 0.393), by hand)
    for kelvin, loss in ((100, 2.879), (200, 5.038)):
        hot = heated_resistance(5.6, 293.15 + kelvin, "copper")
        assert 20 * math.log10(hot / 5.6) == pytest.approx(loss, abs=5e-4)


def test_impossible_windings() -> None:
    with pytest.raises(ValueError, match=r"'silver'.*copper, aluminium"):
        heated_resistance(5.6, 293.15, "silver")
    for wrong in (20.0, -40.0, 1000.0, math.nan):
        with pytest.raises(ValueError, match="temperature"):
            heated_resistance(5.6, wrong, "copper")
    for wrong in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="re must"):
            heated_resistance(wrong, 293.15, "copper")
        with pytest.raises(ValueError, match="sd must"):
            radiation_mass(wrong, AIR.density)
