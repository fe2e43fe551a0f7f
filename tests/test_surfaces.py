"""Surfaces and finite panels against energy, limits, published diffraction losses and a surface integral."""

from __future__ import annotations

import math
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from enclosures.panels import Panel, Rectangle, uncertainty
from enclosures.surfaces import ABSORPTION, BANDS, Surface, absorption, reflection
from system import fields, kit

F = np.geomspace(10.0, 20e3, 400)
SURFACES = st.sampled_from(list(ABSORPTION))


def test_the_words_are_the_same_everywhere() -> None:
    assert set(get_args(Surface)) == set(get_args(kit.Surface)) == set(get_args(fields.Surface)) == set(ABSORPTION)


def test_figures_of_the_handbooks() -> None:
    """Heavy carpet on concrete 0.02 to 0.65; gypsum board on studs 0.29 at 125 Hz, 0.04 at 1 kHz; a window 0.35
    at 125 Hz, 0.04 at 4 kHz (tables as in Kuttruff, Room Acoustics, or Everest, Master Handbook of Acoustics, from
    memory).
    """
    bands = np.array(BANDS)
    np.testing.assert_allclose(absorption("carpet", bands), [0.02, 0.06, 0.14, 0.37, 0.60, 0.65], rtol=1e-12)
    np.testing.assert_allclose(absorption("plaster", bands)[[0, 3]], [0.29, 0.04], rtol=1e-12)
    np.testing.assert_allclose(absorption("glass", bands)[[0, 5]], [0.35, 0.04], rtol=1e-12)


def test_rigid_reflects_all_to_the_last_digit() -> None:
    np.testing.assert_array_equal(reflection("rigid", F), np.ones(F.size))


@given(SURFACES, st.floats(0.0, 40e3))
def test_energy(surface: str, frequency: float) -> None:
    """What is not absorbed comes back: |R|^2 + alpha = 1 (Kuttruff, section 2.3), and no surface gives any."""
    at = np.array([frequency])
    alpha, r = absorption(surface, at), reflection(surface, at)
    assert 0.0 <= alpha[0] < 1.0
    assert float(r[0] ** 2 + alpha[0]) == pytest.approx(1.0, abs=1e-12)


@given(SURFACES, st.integers(0, 4), st.floats(0.0, 1.0))
def test_between_bands_it_stays_between_its_neighbours(surface: str, band: int, share: float) -> None:
    low, high = sorted(ABSORPTION[surface][band : band + 2])
    at = np.array([BANDS[band] * 2.0**share])
    assert low - 1e-12 <= absorption(surface, at)[0] <= high + 1e-12


@given(SURFACES)
def test_smooth_and_held_outside(surface: str) -> None:
    assert np.max(np.abs(np.diff(absorption(surface, F)))) < 0.02  # 400 points over eleven octaves
    assert absorption(surface, np.array([0.0, 20.0]))[0] == pytest.approx(ABSORPTION[surface][0])
    assert absorption(surface, np.array([20e3]))[0] == pytest.approx(ABSORPTION[surface][-1])


def test_unknown_word() -> None:
    with pytest.raises(KeyError):
        reflection("velvet", F)


# ---- panels

SOURCE, IMAGE = np.array([[0.0, 1.0, 0.0]]), np.array([0.0, -1.5, 0.0])
K = 2.0 * math.pi * np.array([200.0, 1000.0, 5000.0]) / 343.21


def board(x: tuple[float, float], z: tuple[float, float]) -> Rectangle:
    return Rectangle(1, False, np.array([x[0], 0.0, z[0]]), np.array([x[1], 0.0, z[1]]))


def test_a_large_panel_lets_all_through_and_a_small_one_nothing() -> None:
    """Ripples fall as 1/(pi v) on each of four sides: below 0.2 % of the wave at v = 600."""
    far = 1e4
    np.testing.assert_allclose(board((-far, far), (-far, far)).share(SOURCE, IMAGE, K)[:, 0], 1.0, atol=0.03)
    np.testing.assert_allclose(board((-1e9, 1e9), (-1e9, 1e9)).share(SOURCE, IMAGE, K)[:, 0], 1.0, atol=1e-4)
    assert np.max(np.abs(board((-1e-4, 1e-4), (-1e-4, 1e-4)).share(SOURCE, IMAGE, K))) < 1e-5
    assert np.abs(board((-0.5, 0.5), (-0.5, 0.5)).share(SOURCE, IMAGE, np.array([0.0, 1e-6]))).max() < 1e-6
    assert np.max(np.abs(board((5.0, 5.5), (-1.0, 1.0)).share(SOURCE, IMAGE, 100 * K))) < 0.02  # far beside the way


def test_two_halves_are_a_whole() -> None:
    """Fresnel zones add: what goes through two boards side by side goes through both as one."""
    left, right, whole = (board(x, (-0.4, 0.3)).share(SOURCE, IMAGE, K) for x in ((-0.5, 0.1), (0.1, 0.7), (-0.5, 0.7)))
    np.testing.assert_allclose(left + right, whole, atol=1e-12)


@pytest.mark.parametrize("v", [-0.7, 0.0, 0.4, 1.0, 2.4])
def test_knife_edge(v: float) -> None:
    """Past one edge: 6.9 + 20 log(sqrt((v - 0.1)^2 + 1) + v - 0.1) beyond (ITU-R P.526, section
    4.1, eq. 31, from memory; an approximation for v above -0.78). In its line half of the pressure, 6.02 dB, is left.
    """
    by_formula = 6.9 + 20.0 * math.log10(math.hypot(v - 0.1, 1.0) + v - 0.1)
    detour = v**2 * (343.21 / 1000.0) / 4.0  # v = 2 sqrt(detour/wavelength)
    k = np.array([2.0 * math.pi * 1000.0 / 343.21])
    # where the way over the edge is so much longer: an ellipse about source and image
    half, focus = 0.5 * (2.5 + detour), 1.25
    middle = 0.25
    x = math.sqrt(half**2 - focus**2) * math.sqrt(1.0 - (middle / half) ** 2)
    share = board((math.copysign(x, v), 1e9), (-1e9, 1e9)).share(SOURCE, IMAGE, k)
    if v == 0.0:
        assert abs(share[0, 0]) == pytest.approx(0.5, abs=1e-4)
    assert -20.0 * math.log10(abs(share[0, 0])) == pytest.approx(by_formula, abs=0.15)


@pytest.mark.parametrize("size", [(0.9, 0.9), (1.6, 0.5)])
@pytest.mark.parametrize("off", [0.0, 0.3])
def test_against_the_surface_integral(size: tuple[float, float], off: float) -> None:
    """What a rigid board sends back, with twice the incident pressure on its face (Kirchhoff; Pierce, Acoustics,
    section 5.2): p = integral of 2 p_i dG/dn, by Gauss-Legendre points on its face.

    Fresnel's parabolas and one obliquity for all of the board are the only differences: within a tenth of the whole
    image here, where the way to the board is more than the board is wide.
    """
    x0, x1 = off - size[0] / 2, off + size[0] / 2
    z = size[1] / 2
    source, listener = np.array([0.0, 1.0, 0.0]), np.array([0.4, 1.5, 0.2])
    image = listener * [1.0, -1.0, 1.0]
    k = 2.0 * math.pi * np.array([300.0, 700.0, 1500.0, 3000.0]) / 343.21
    nodes, weights = np.polynomial.legendre.leggauss(160)
    xs, zs = 0.5 * (x0 + x1) + 0.5 * (x1 - x0) * nodes, z * nodes
    points = np.stack(np.broadcast_arrays(xs[:, None], 0.0, zs[None, :]), axis=-1)
    area = 0.5 * (x1 - x0) * z * weights[:, None] * weights[None, :]
    to, fro = np.linalg.norm(points - source, axis=-1), np.linalg.norm(points - listener, axis=-1)
    found = np.empty(k.size, dtype=complex)
    for i, each in enumerate(k):
        slope = (1j * each + 1.0 / fro) * listener[1] / fro  # of e^{-jkr}/(4 pi r) along the normal
        waves = 2.0 * np.exp(-1j * each * (to + fro)) / (4.0 * math.pi * to * fro) * slope
        found[i] = np.sum(area * waves)
    straight = float(np.linalg.norm(image - source))
    whole = np.exp(-1j * k * straight) / straight
    share = board((x0, x1), (-z, z)).share(source[None], image, k)[:, 0]
    assert np.max(np.abs(found / whole - share)) < 0.1


def test_where_panels_are() -> None:
    low, high = np.array([0.0, 0.0, -0.25]), np.array([0.2, 0.4, 0.0])
    shelf = Panel("below", 0.01, 0.3, width=0.8).rectangle(low, high)
    np.testing.assert_allclose([shelf.begins, shelf.ends], [[-0.3, -0.01, -0.25], [0.5, -0.01, 0.3]])
    cheek = Panel("right", 0.05, -0.1).rectangle(low, high)  # as high as the cabinet and the gaps
    np.testing.assert_allclose([cheek.begins, cheek.ends], [[0.25, -0.05, -0.25], [0.25, 0.45, -0.1]])
    screen = Panel("behind", 0.1, width=1.0, height=0.6).rectangle(low, high)
    np.testing.assert_allclose([screen.begins, screen.ends], [[-0.4, -0.1, -0.35], [0.6, 0.5, -0.35]])


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Panel("ahead", 0.1), "side"),  # type: ignore[arg-type]
        (lambda: Panel("left", -0.1), "negative"),
        (lambda: Panel("left", 0.1, math.inf), "finite"),
        (lambda: Panel("below", 0.1, 0.1, width=0.0), "above zero"),
        (
            lambda: Panel("below", 0.1, -0.3).rectangle(np.array([0, 0, -0.25]), np.array([0.2, 0.4, 0.0])),
            "ends behind",
        ),
    ],
)
def test_bad_panels(call: object, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        call()  # type: ignore[operator]


def test_uncertainty_is_half_of_the_effect() -> None:
    """A doubled pressure is 6.02 dB more, so 3.01 dB either way; silence on both sides is no effect."""
    found = uncertainty(np.array([2.0, 0.5j, 1.0, 0.0]), np.array([1.0, 1.0, -1.0, 0.0]))
    np.testing.assert_allclose(found, [3.0103, 3.0103, 0.0, 0.0], atol=1e-4)
