"""Air in pipes and among fibres: against published numbers, limits, and the same theory in other functions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import iv, ive, jve, kv

from enclosures.air import Air
from enclosures.duct import bessel_ratio, wall_losses
from enclosures.fibre import MODELS, Fill, Fluid
from tests.strategies_enclosures import airs
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


def test_the_older_power_law_is_delany_and_bazley() -> None:
    # Delany & Bazley, Applied Acoustics 3, 1970; worked from their coefficients at 500 Hz, 10 000 Pa s/m2
    omega = np.array([2 * math.pi * 500])
    zc, k = impedance_and_wave_number(Fill(10_000.0, "power_law_1970").fluid(omega, AIR), omega)
    assert zc[0] == pytest.approx(1.48290 - 0.68438j, abs=1e-5)
    assert k[0] == pytest.approx(1.69847 - 1.02434j, abs=1e-5)


def test_ranges_of_the_models() -> None:
    for model in ("power_law", "power_law_1970"):
        assert Fill(2000.0, model).fitted_range == pytest.approx((20.0, 2000.0))  # 0.01 < f/sigma < 1, samples of 1970
    for model in ("rigid_fibre", "low_frequency"):
        assert Fill(2000.0, model).fitted_range is None


def test_rigid_fibre() -> None:
    # rho_e = rho + sigma/(jw): worked at 40 Hz, 900 Pa s/m2
    omega = np.array([2 * math.pi * 40])
    _, k = impedance_and_wave_number(Fill(900.0, "rigid_fibre").fluid(omega, AIR), omega)
    assert k[0].real == pytest.approx(1.4383, abs=5e-5)
    loss = -k[0].imag * omega[0] / AIR.speed_of_sound * 20 / math.log(10)
    assert loss == pytest.approx(6.576, abs=5e-4)  # dB/m


# f/sigma from which on each model takes power; the printed power laws do not at all frequencies
PASSIVE_FROM = {"power_law": 0.00106, "power_law_1970": 0.0107, "rigid_fibre": 1e-9, "low_frequency": 1e-9}
shares = st.one_of(st.just(1.0), st.floats(0.01, 1.0))
sigmas = st.floats(50, 1e5)
fibre_densities = st.floats(1, 200)


@pytest.mark.parametrize("model", sorted(MODELS))
@given(sigma=sigmas, fibre_density=st.one_of(st.none(), fibre_densities), share=shares, air=airs)
def test_fill_is_passive(model: str, sigma: float, fibre_density: float | None, share: float, air: Air) -> None:
    """Inertia with resistance and a spring with loss."""
    frequency = np.geomspace(PASSIVE_FROM[model] * sigma, max(20000, sigma), 60)
    fluid = Fill(sigma, model, fibre_density, share).fluid(2 * np.pi * frequency, air)
    assert (fluid.density.imag <= 0).all()
    assert (fluid.bulk_modulus.imag >= -1e-15 * air.bulk_modulus).all()  # rounding of an adiabatic one
    assert (np.sqrt(fluid.density * fluid.bulk_modulus).real > 0).all()  # a wave carries power the way it goes


@pytest.mark.parametrize(
    ("model", "below", "above"), [("power_law", 105e-5, 106e-5), ("power_law_1970", 0.0106, 0.0107)]
)
def test_where_the_printed_power_laws_stop_being_passive(model: str, below: float, above: float) -> None:
    sigma = 10_000.0
    low, high = Fill(sigma, model).fluid(2 * np.pi * np.array([below, above]) * sigma, AIR).bulk_modulus.imag
    assert low < 0 < high
    assert below * sigma < Fill(sigma, model).passive_from <= above * sigma


@given(sigma=sigmas, fibre_density=st.one_of(st.none(), fibre_densities), share=shares, air=airs)
def test_low_frequency_stays_between_the_extremes(
    sigma: float, fibre_density: float | None, share: float, air: Air
) -> None:
    """Softer than adiabatic, stiffer than isothermal, ever stiffer with frequency; heavier than air alone.

    Not heavier than the air with all its fibre; where the fibre stands still, than Poiseuille's 4/3 (Rayleigh 1894).
    """
    omega = 2 * np.pi * np.geomspace(1e-3, 20000, 200)
    fill = Fill(sigma, "low_frequency", fibre_density, share)
    gain = fill.volume_gain(omega, air)
    assert (gain >= 1 - 1e-12).all()
    assert (gain <= 1 + share * (air.heat_ratio - 1) + 1e-12).all()
    assert (np.diff(gain) <= 1e-12).all()
    whole = Fill(sigma, "low_frequency", fibre_density).fluid(omega, air).density.real
    assert (whole >= air.density * (1 - 1e-9)).all()
    assert (whole <= (air.density * 4 / 3 if fibre_density is None else air.density + fibre_density) * (1 + 1e-9)).all()


@given(sigma=sigmas, fibre_density=fibre_densities, air=airs)
def test_low_frequency_has_the_right_limits(sigma: float, fibre_density: float, air: Air) -> None:
    still, moved = Fill(sigma, "low_frequency"), Fill(sigma, "low_frequency", fibre_density)
    low = np.array([1e-7 * sigma])
    assert (1j * low * still.fluid(low, air).density)[0] == pytest.approx(sigma, rel=1e-6)  # sigma/(jw)
    assert still.fluid(low, air).bulk_modulus[0] == pytest.approx(air.bulk_modulus / air.heat_ratio, rel=1e-6)
    # Panneton 2007: at 0 Hz the fibre goes along and adds its mass, nothing else
    assert moved.fluid(np.array([1e-9 * sigma]), air).density[0] == pytest.approx(air.density + fibre_density, rel=1e-4)
    # far up nothing is left of fibre or heat; both go as the root of frequency
    high = np.array([1e12 * sigma])
    for fill in (still, moved):
        assert fill.fluid(high, air).density[0] == pytest.approx(air.density, rel=1e-5)
        assert fill.fluid(high, air).bulk_modulus[0] == pytest.approx(air.bulk_modulus, rel=1e-5)


def test_low_frequency_with_the_numbers_as_printed() -> None:
    """Allard & Champoux 1992, their equations for air (from memory), with X = rho f/sigma.

    The tolerance is half a digit of what they print: 2.82 and 24.9 under a root, 0.1 %; and 0.0364 and 0.1144, that is
    rho^2/(4 pi^2) and rho^2/(4 pi), say 1.1988 and 1.1990 where 1.2 is printed, 0.1 % as well.
    """
    x = np.geomspace(1e-4, 10, 60)
    density = 1.2 + np.sqrt(-0.0364 / x**2 - 0.1144j / x)
    root = np.sqrt(2.82 / x**2 + 24.9j / x)
    modulus = 101320 * (29.64j + root) / (21.17j + root)
    air = Air(1.1989, math.sqrt(1.4 * 101320 / 1.1989), prandtl=0.702, heat_ratio=1.4)
    fluid = Fill(1000.0, "low_frequency").fluid(2 * np.pi * x * 1000 / 1.1989, air)
    np.testing.assert_allclose(fluid.density, density, rtol=1e-3)
    np.testing.assert_allclose(fluid.bulk_modulus, modulus, rtol=1e-3)


def test_low_frequency_against_round_pores() -> None:
    """The exact theory of which its expressions are an interpolation, in the pores that they stand for.

    Zwikker & Kosten 1949: round pores of 8 mu/a^2 = sigma for the drag, twice as wide for the heat. The interpolation
    is worst at low frequency: 5/4 for Poiseuille's 4/3 (Pride et al., Phys. Rev. B 47, 1993), one part in 16.
    """
    sigma = 3000.0
    omega = 2 * np.pi * np.geomspace(0.1, 1e5, 200)

    def slip(radius: float, prandtl: float) -> np.ndarray:
        s = radius * np.sqrt(-1j * omega * AIR.density * prandtl / AIR.viscosity)
        return 1 - 2 * jve(1, s) / (s * jve(0, s))

    radius = math.sqrt(8 * AIR.viscosity / sigma)
    fluid = Fill(sigma, "low_frequency").fluid(omega, AIR)
    drag = AIR.density / slip(radius, 1.0)
    heat = 1 - (AIR.heat_ratio - 1) * (slip(2 * radius, AIR.prandtl) - 1)  # rho c^2/K
    assert np.abs(fluid.density / drag - 1).max() < 1 / 16
    assert np.abs(AIR.bulk_modulus / fluid.bulk_modulus - heat).max() < (AIR.heat_ratio - 1) / 16


def test_low_frequency_takes_twice_as_long_over_heat_as_evenly_spaced_cylinders() -> None:
    """Each fibre in a cell of its own, no heat through the cell's rim (Tarnow, J. Acoust. Soc. Am. 99, 1996).

    Flow across them: sigma = 8 mu c/(a^2 (-ln c - 3/2 + 2c - c^2/2)) (Kuwabara, J. Phys. Soc. Japan 14, 1959).
    Along them, and heat goes to them as such flow does, it is half of that (Happel, AIChE J. 5, 1959). So the phase of
    1/K at low frequency is (g - 1) w rho Pr 2/(sigma g). Allard & Champoux have 4 for 2: their heat goes to the walls
    of round pores.
    """
    radius, omega = 15e-6, np.array([1e-2])
    for c in (0.003, 0.01, 0.03):
        rim = radius / math.sqrt(c)
        q = np.sqrt(1j * omega * AIR.density * AIR.prandtl / AIR.viscosity)
        top = iv(1, q * rim) * kv(1, q * radius) - iv(1, q * radius) * kv(1, q * rim)
        under = iv(0, q * radius) * kv(1, q * rim) + iv(1, q * rim) * kv(0, q * radius)
        held = 2 * radius / (q * (rim**2 - radius**2)) * top / under  # mean of what the fibres hold back
        cell = 1 + (AIR.heat_ratio - 1) * held  # rho c^2/K
        sigma = 8 * AIR.viscosity * c / (radius**2 * (-math.log(c) - 1.5 + 2 * c - c**2 / 2))
        ours = AIR.bulk_modulus / Fill(sigma, "low_frequency").fluid(omega, AIR).bulk_modulus
        assert cell.real[0] == pytest.approx(ours.real[0], rel=1e-6)  # both isothermal
        assert ours.imag[0] / cell.imag[0] == pytest.approx(2 * (1 - c), rel=1e-3)  # c: the cell counts air, not space


def test_models_agree_where_they_were_measured() -> None:
    """As far as the two power laws, both fits to the same samples, agree with each other: 0.14 (0.01 < f/sigma < 1)."""
    omega = 2 * np.pi * np.geomspace(0.01, 1, 200) * 4000
    both = {model: impedance_and_wave_number(Fill(4000.0, model).fluid(omega, AIR), omega) for model in MODELS}
    new, old, low = (both[model] for model in ("power_law", "power_law_1970", "low_frequency"))
    apart = max(np.abs(b / a - 1).max() for a, b in zip(new, old, strict=True))
    assert apart == pytest.approx(0.14, abs=0.005)
    for fit in (new, old):
        assert max(np.abs(b / a - 1).max() for a, b in zip(fit, low, strict=True)) < apart


@given(sigma=sigmas, fibre_density=fibre_densities, air=airs)
def test_fibre_of_great_mass_stands_still(sigma: float, fibre_density: float, air: Air) -> None:
    """The drag over the fibre's inertia, sigma/(w fibre_density), is what tells; and the spring is not concerned."""
    omega = np.geomspace(10, 1e5, 30)
    still = Fill(sigma, "low_frequency").fluid(omega, air)
    heavy = Fill(sigma, "low_frequency", 1e9 * fibre_density).fluid(omega, air)
    light = Fill(sigma, "low_frequency", fibre_density).fluid(omega, air)
    np.testing.assert_allclose(heavy.density, still.density, rtol=2e-5)
    np.testing.assert_array_equal(light.bulk_modulus, still.bulk_modulus)


def test_limp_fibre_is_panneton() -> None:
    # Panneton, J. Acoust. Soc. Am. 122, 2007 (from memory): (rho_t rho_e - rho^2)/(rho_t + rho_e - 2 rho)
    omega = 2 * np.pi * np.geomspace(1, 5000, 50)
    effective = Fill(2000.0, "low_frequency").fluid(omega, AIR).density
    whole, rho = 12.0 + AIR.density, AIR.density
    limp = (whole * effective - rho**2) / (whole + effective - 2 * rho)
    np.testing.assert_allclose(Fill(2000.0, "low_frequency", 12.0).fluid(omega, AIR).density, limp, rtol=1e-12)


@pytest.mark.parametrize("model", sorted(MODELS))
@given(sigma=sigmas, air=airs, rare=st.floats(1e-6, 1e-3))
def test_share_of_all_and_of_next_to_nothing(model: str, sigma: float, air: Air, rare: float) -> None:
    """All of the duct filled is the filling itself; next to nothing is air, off by no more than that share."""
    omega = 2 * np.pi * np.geomspace(0.01, 1, 30) * sigma
    full, part, little = (Fill(sigma, model, 10.0, share).fluid(omega, air) for share in (1.0, 1 - 1e-9, rare))
    alone = MODELS[model].fluid(omega, air, Fill(sigma, model, 10.0))
    np.testing.assert_allclose(full.density, alone.density, rtol=1e-13)
    np.testing.assert_allclose(full.bulk_modulus, alone.bulk_modulus, rtol=1e-13)
    np.testing.assert_allclose(part.bulk_modulus, alone.bulk_modulus, rtol=1e-8)
    # a bit of air beside dense fibre is let through at once: |rho_e|/rho per share
    np.testing.assert_allclose(part.density / alone.density, 1, atol=2e-9 * np.abs(alone.density / air.density).max())
    np.testing.assert_allclose(little.density, air.density, rtol=2 * rare)
    np.testing.assert_allclose(little.bulk_modulus, air.bulk_modulus, rtol=2 * rare)


@pytest.mark.parametrize("fibre_density", [None, 12.0])
@pytest.mark.parametrize("sigma", [1000.0, 5000.0, 20_000.0])
@pytest.mark.parametrize("model", ["low_frequency", "power_law", "rigid_fibre"])
def test_share_is_the_low_frequency_limit_of_a_lined_duct(
    model: str, sigma: float, fibre_density: float | None
) -> None:
    """Exact: a slit, half of it 30 mm of air and 20 mm of fibre on the wall (Munjal 1987, bulk-reacting lining).

    One pressure and one normal velocity where they meet: (ka/rho) tan(ka h) + (kf/rho_f) tan(kf hf) = 0, with ka and kf
    across the duct. What is dropped is the cube in tan x = x + x^3/3 ...: both agree to |k h|^2/3 of the worse layer.
    """
    omega = 2 * np.pi * np.array([20.0, 50.0, 100.0, 200.0, 500.0])
    among = Fill(sigma, model, fibre_density).fluid(omega, AIR)
    heights = np.array([[0.03], [0.02]])  # air, fibre
    density = np.array([np.full(len(omega), AIR.density), among.density])
    own = omega**2 * density / np.array([np.full(len(omega), AIR.bulk_modulus), among.bulk_modulus])  # k^2 of each

    def mismatch(k: np.ndarray) -> np.ndarray:
        across = np.sqrt(own - k**2)
        return (across / density * np.tan(across * heights)).sum(axis=0)

    side_by_side = Fill(sigma, model, fibre_density, share=0.4).fluid(omega, AIR)
    expected = omega * np.sqrt(side_by_side.density / side_by_side.bulk_modulus)
    exact = expected
    for _ in range(30):  # Newton's method
        step = 1e-6 * exact
        exact = exact - mismatch(exact) * 2 * step / (mismatch(exact + step) - mismatch(exact - step))
    assert (np.abs(mismatch(exact)) < 1e-9 * np.abs(own).max()).all()
    worse = np.abs(np.sqrt(own - exact**2) * heights).max(axis=0)
    assert (np.abs(expected / exact - 1) < worse**2 / 3).all()


def test_volume_gain() -> None:
    """rho c^2 Re(1/K): none without heat; isothermal low down; a box's compliance in phase with pressure, its share."""
    omega = 2 * np.pi * np.array([1e-4, 50.0, 1e7])
    np.testing.assert_allclose(Fill(3000.0, "rigid_fibre").volume_gain(omega, AIR), 1, rtol=1e-12)
    gain = Fill(3000.0, "low_frequency").volume_gain(omega, AIR)
    assert gain[0] == pytest.approx(AIR.heat_ratio, rel=1e-9)
    assert gain[2] == pytest.approx(1, abs=0.01)
    half = Fill(3000.0, "low_frequency", share=0.5).volume_gain(omega, AIR)
    np.testing.assert_allclose(half - 1, (gain - 1) / 2, rtol=1e-9)


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
        with pytest.raises(ValueError, match="fibre density"):
            Fill(1000.0, "low_frequency", wrong)
    for wrong in (0.0, -0.1, 1.0001, math.nan):
        with pytest.raises(ValueError, match="share"):
            Fill(1000.0, share=wrong)
    with pytest.raises(ValueError, match=r"'miki'.*power_law, power_law_1970, rigid_fibre, low_frequency"):
        Fill(1000.0, "miki")
