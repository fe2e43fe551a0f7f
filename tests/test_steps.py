"""The step of area against mode matching and finite elements, which close in on its mass from both sides."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import j0, j1, jn_zeros

from enclosures.steps import step_mass
from tests.support_enclosures import AIR
from tests.support_potential import Grid, chained, lines_between, lines_from


def matched(x: float, modes: int) -> float:
    """M r/rho of a step from radius x to 1 by matching modes (Karal, J. Acoust. Soc. Am. 25, 1953), at 0 Hz.

    The speed in the opening is 1 + sum of c_n J0(g_n r/x), each side answers with its own modes, and the c_n are those
    of the least energy: no other flow has as little (Kelvin), so `modes` of them make the mass too high.
    """
    own, wide = np.append(0.0, jn_zeros(1, modes)), jn_zeros(1, int(20 * modes / x))  # J0' = 0 at the walls
    # integral of J0(g_n r/x) J0(g_m r) r dr up to x
    shared = x * wide * j1(wide * x) * j0(own)[:, None] / (wide**2 - (own[:, None] / x) ** 2)
    energy = (shared / (wide * j0(wide) ** 2 / 2)) @ shared.T
    energy[np.diag_indices_from(energy)] += np.append(0.0, x**3 * j0(own[1:]) ** 2 / 2 / own[1:])
    least = energy[0, 0] - energy[0, 1:] @ np.linalg.solve(energy[1:, 1:], energy[1:, 0])
    return 2 * math.pi * least / (math.pi * x**2) ** 2 * x


def elements(x: float, first: float, ratio: float) -> float:
    """The same from a field of pressure, which conducts too well: too low. The ducts are 4 of their radii long."""
    u = chained(lines_from(x, 0, first * x, ratio)[::-1], lines_between(x, 1, first * x, ratio))
    v = chained(lines_from(0, -4 * x, first * x, ratio)[::-1], lines_from(0, 4, first * x, ratio))
    inner, floor = int(np.argmin(np.abs(u - x))), int(np.argmin(np.abs(v)))
    solid = np.zeros((len(u) - 1, len(v) - 1), dtype=bool)
    solid[inner:, :floor] = True
    grid = Grid(u, v, solid)
    ends = np.unique(grid.nodes[:inner, 0, :, 0]), np.unique(grid.nodes[:, -1, :, 2])
    conductance = 2 * math.pi * grid.drop(grid.stiffness(lambda r: (r, r)), *ends)
    return (1 / conductance - 4 / (math.pi * x) - 4 / math.pi) * x


@pytest.mark.parametrize("x", [0.1, 0.2, 0.3, 0.5, 0.7, 0.8, 0.9])
def test_mass_of_a_step(x: float) -> None:
    """To the accuracy that the docstring states. Both bounds close in as they are refined."""
    high = [matched(x, 10), matched(x, 20), matched(x, 40)]
    low = [elements(x, 0.03, 2.0), elements(x, 0.003, 1.6), elements(x, 3e-4, 1.4)]
    assert low[0] < low[1] < low[2] < high[2] < high[1] < high[0]
    assert high[2] - low[2] < 2e-4
    mass = step_mass(math.pi * 0.04**2 * x**2, math.pi * 0.04**2, AIR) * 0.04 * x / AIR.density
    best = (low[2] + high[2]) / 2
    assert mass == pytest.approx(best, abs=0.001)
    if x <= 0.7:
        assert mass == pytest.approx(best, rel=0.006)  # 0.5 %, and what the bounds leave open


def test_into_a_very_wide_duct_it_is_a_flanged_end() -> None:
    """0.8216 to 0.8217 radii (Norris & Sheng, J. Sound Vib. 135, 1989, from memory)."""
    area = 1e-3
    reach = step_mass(area, 1e6 * area, AIR) * area / AIR.density
    assert reach == pytest.approx(0.8217 * math.sqrt(area / math.pi), rel=0.002)


def test_the_polynomial_as_published() -> None:
    """Taillard (2018) after Kergomard & Garcia (1987), from memory, in its own form."""
    for x in (1e-6, 0.25, 0.5, 0.75, 0.99):
        large = 2.0 * math.pi
        printed = 0.09616 * x**6 - 0.12386 * x**5 + 0.03816 * x**4 + 0.0809 * x**3 - 0.353 * x + 0.26164
        radius = x * math.sqrt(2.0)
        assert step_mass(large * x * x, large, AIR) == pytest.approx(AIR.density / radius * printed, rel=1e-6)


@given(st.floats(1e-5, 1.0), st.floats(1e-5, 1.0), st.floats(0.01, 100))
def test_laws(one: float, two: float, scale: float) -> None:
    """Symmetric, never negative, zero for equal areas, and as one over length for bodies of one shape."""
    mass = step_mass(one, two, AIR)
    assert mass >= 0
    assert mass == step_mass(two, one, AIR)
    assert step_mass(one, one, AIR) == 0
    assert step_mass(one * scale**2, two * scale**2, AIR) == pytest.approx(mass / scale, rel=1e-6, abs=1e-12)
    narrower = step_mass(min(one, two) / 2, max(one, two), AIR)
    assert narrower > mass  # a smaller hole weighs more


def test_impossible_steps() -> None:
    for wrong in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="area"):
            step_mass(wrong, 1e-3, AIR)
        with pytest.raises(ValueError, match="area"):
            step_mass(1e-3, wrong, AIR)
