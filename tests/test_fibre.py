"""Air in pipes and among fibres: against published numbers, limits, and the same theory in other functions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ive

from enclosures.air import Air
from enclosures.duct import bessel_ratio, wall_losses
from enclosures.fibre import MODELS, Fill, Fluid
from tests.support_enclosures import AIR


def impedance_and_wave_number(fluid: Fluid, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Zc/(rho c) and k/k0."""
    impedance = np.sqrt(fluid.density * fluid.bulk_modulus)
    return impedance / AIR.impedance, omega / (impedance / fluid.density) / (omega / AIR.speed_of_sound)


def test_power_law_is_miki() -> None:
    # Miki, J. Acoust. Soc. Jpn (E) 11, 1990; worked from his coefficients at 500 Hz, 10 000 Pa s/m2
    omega = np.array([2 * math.pi * 500])
    zc, k = impedance_and_wave_number(Fill(10_000.0).fluid(omega, AIR), omega)
    assert zc[0] == pytest.approx(1.46410 - 0.71134j, abs=1e-5)
    assert k[0] == pytest.approx(1.69613 - 1.01700j, abs=1e-5)
    # not the older law of Delany & Bazley, Appl. Acoust. 3, 1970, which gives 1.48290 - j0.68438 there
    x = 50.0
    older = 1 + 9.08 * x**-0.75 - 11.9j * x**-0.73
    assert older == pytest.approx(1.48290 - 0.68438j, abs=1e-5)
    assert abs(zc[0] - older) > 0.03


def test_range_of_the_power_law() -> None:
    assert Fill(2000.0).fitted_range == pytest.approx((20.0, 2000.0))  # 0.01 < f/sigma < 1, Delany & Bazley 1970
    assert Fill(2000.0, "rigid_fibre").fitted_range is None


def test_rigid_fibre() -> None:
    # rho_e = rho + sigma/(jw): worked at 40 Hz, 900 Pa s/m2
    omega = np.array([2 * math.pi * 40])
    _, k = impedance_and_wave_number(Fill(900.0, "rigid_fibre").fluid(omega, AIR), omega)
    assert k[0].real == pytest.approx(1.4383, abs=5e-5)
    loss = -k[0].imag * omega[0] / AIR.speed_of_sound * 20 / math.log(10)
    assert loss == pytest.approx(6.576, abs=5e-4)  # dB/m


@pytest.mark.parametrize("model", sorted(MODELS))
def test_fill_is_passive_where_it_is_used(model: str) -> None:
    """Inertia with resistance and a spring with loss, down to a tenth of the fitted range."""
    sigma = 5000.0
    fluid = Fill(sigma, model).fluid(2 * np.pi * np.geomspace(0.00106 * sigma, 20000, 300), AIR)
    assert (fluid.density.imag <= 0).all()
    assert (fluid.bulk_modulus.imag >= 0).all()
    assert (np.sqrt(fluid.density * fluid.bulk_modulus).real > 0).all()  # a wave carries power the way it goes


def test_where_the_printed_power_law_stops_being_passive() -> None:
    sigma = 10_000.0
    at = np.array([0.00105, 0.00106]) * sigma
    below, above = Fill(sigma).fluid(2 * np.pi * at, AIR).bulk_modulus.imag
    assert below < 0 < above


def test_bessel_ratio_against_modified_functions() -> None:
    """J1(z)/J0(z) with z = -j w is -j I1(w)/I0(w) (NIST DLMF 10.27.6), both sides of the change at |z| = 40."""
    w = np.concatenate([np.geomspace(1e-3, 1e5, 400), np.linspace(39.9, 40.1, 21)]) * np.exp(1j * math.pi / 4)
    np.testing.assert_allclose(bessel_ratio(-1j * w), -1j * ive(1, w) / ive(0, w), rtol=3e-15)


def test_wide_ducts_have_kirchhoffs_losses() -> None:
    """Boundary layers thin beside the radius: k = k0 (1 + (1 - j)(1 + (g - 1)/sqrt Pr)/(sqrt2 rv)) (Kirchhoff 1868)."""
    omega = 2 * np.pi * np.array([1e3, 1e4])
    radius = 0.1
    fluid = wall_losses(omega, np.array([radius]), AIR)
    k = omega * np.sqrt(fluid.density / fluid.bulk_modulus)[:, 0]
    rv = radius * np.sqrt(omega * AIR.density / AIR.viscosity)
    added = (1 - 1j) / math.sqrt(2) / rv * (1 + (AIR.heat_ratio - 1) / math.sqrt(AIR.prandtl))
    np.testing.assert_allclose((k / (omega / AIR.speed_of_sound) - 1) / added, 1, atol=4 / rv.min())


def test_narrow_ducts_have_poiseuilles_resistance() -> None:
    """Layers wider than the tube: 8 mu/a^2 of resistance, 4/3 rho of inertia, isothermal spring (Rayleigh 1894)."""
    omega = 2 * np.pi * np.array([1.0])
    radius = 5e-5
    fluid = wall_losses(omega, np.array([radius]), AIR)
    assert (1j * omega * fluid.density[:, 0]).real[0] == pytest.approx(8 * AIR.viscosity / radius**2, rel=1e-4)
    assert fluid.density[0, 0].real == pytest.approx(4 / 3 * AIR.density, rel=1e-4)
    assert fluid.bulk_modulus[0, 0].real == pytest.approx(AIR.bulk_modulus / AIR.heat_ratio, rel=1e-4)


def test_wall_losses_stay_finite_in_wide_ducts_at_high_frequency() -> None:
    fluid = wall_losses(2 * np.pi * np.array([10.0, 20e3, 1e6]), np.array([1e-4, 0.01, 1.0, 10.0]), Air(1.2, 343.0))
    assert np.isfinite(fluid.density).all()
    assert (fluid.density.imag < 0).all()
    assert (fluid.bulk_modulus.imag > 0).all()


def test_impossible_fills() -> None:
    for wrong in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="flow resistivity"):
            Fill(wrong)
    with pytest.raises(ValueError, match=r"'miki'.*power_law, rigid_fibre"):
        Fill(1000.0, "miki")
