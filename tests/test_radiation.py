"""Piston directivity against Bessel functions of another library and tabulated points."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import j1

from enclosures.air import Air
from enclosures.parameters import radiation_mass
from enclosures.radiation import piston_directivity, piston_radiation_impedance


def test_is_two_bessel_over_argument() -> None:
    x = np.linspace(0.01, 90.0, 4000)
    np.testing.assert_allclose(piston_directivity(x, 1.0, np.ones(1)), 2.0 * j1(x) / x, atol=2e-15 * 90.0)


def test_on_the_axis_and_for_a_point_it_is_one() -> None:
    k = np.array([1.0, 10.0, 300.0])
    np.testing.assert_allclose(piston_directivity(k, 0.05, np.zeros(1)), 1.0, rtol=1e-14)
    np.testing.assert_allclose(piston_directivity(k, 0.0, np.ones(1)), 1.0, rtol=1e-14)


@pytest.mark.parametrize(
    ("x", "level"),
    [
        (3.8317, None),  # the first zero, j_1,1 = 3.83171 (NIST DLMF table 10.21)
        (1.6163, -3.01),  # half power at ka sin = 1.61634, an identity of J1 recomputed
        (2.2151, -6.02),
    ],
)
def test_zero_and_half_power(x: float, level: float | None) -> None:
    value = float(piston_directivity(np.array([x]), 1.0, np.ones(1))[0])
    if level is None:
        assert abs(value) < 2e-5
    else:
        assert 20.0 * np.log10(value) == pytest.approx(level, abs=0.005)


def test_broadcasts() -> None:
    assert piston_directivity(np.ones((5, 1)), 0.1, np.linspace(0.0, 1.0, 3)).shape == (5, 3)


def test_negative_radius() -> None:
    with pytest.raises(ValueError, match="radius"):
        piston_directivity(np.ones(1), -0.1, np.ones(1))


# Kinsler, Frey, Coppens & Sanders, Fundamentals of Acoustics (2000), appendix A6, "directivity and impedance functions
# for a piston" (from memory): x, 2 J1(x)/x; and for x = 2 k a resistance and reactance over rho c S
PISTON_TABLE = (
    (1.0, 0.8801, 0.1199, 0.3969),
    (2.0, 0.5767, 0.4233, 0.6468),
    (3.0, 0.2260, 0.7740, 0.6801),
    (4.0, -0.0330, 1.0330, 0.5349),
)


@pytest.mark.parametrize(("x", "directivity", "resistance", "reactance"), PISTON_TABLE)
def test_printed_table_of_a_piston(x: float, directivity: float, resistance: float, reactance: float) -> None:
    air, radius = Air(1.2041, 343.21), 0.05
    assert float(piston_directivity(np.array([x]), 1.0, np.ones(1))[0]) == pytest.approx(directivity, abs=6e-5)
    found = piston_radiation_impedance(np.array([x / (2 * radius)]), radius, air)[0] / (
        air.impedance * np.pi * radius**2
    )
    assert found.real == pytest.approx(resistance, abs=6e-5)
    assert found.imag == pytest.approx(reactance, abs=6e-5)


def test_radiation_impedance_at_low_frequency() -> None:
    """Resistance rho w^2 S^2/(2 pi c), that of a point in a wall, and the mass 8 rho a^3/3 (Rayleigh, section 302)."""
    air, radius = Air(1.2041, 343.21), 0.05
    k = np.array([0.01, 0.1])
    omega, area = k * air.speed_of_sound, np.pi * radius**2
    found = piston_radiation_impedance(k, radius, air)
    np.testing.assert_allclose(
        found.real, air.density * omega**2 * area**2 / (2 * np.pi * air.speed_of_sound), rtol=1e-5
    )
    np.testing.assert_allclose(found.imag / omega, radiation_mass(area, air.density), rtol=1e-5)
    with pytest.raises(ValueError, match="above zero"):
        piston_radiation_impedance(k, 0.0, air)
