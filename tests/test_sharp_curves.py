"""Interpolation, roots of curves and edge waves where earlier tests saw no fault: theorems, closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j1, jve

from enclosures.duct import TAPERS, Piece, bessel_ratio
from enclosures.edges import _along_face
from enclosures.interpolation import chebyshev, evenly
from enclosures.large_signal import Shape
from filters.coils import _along, _bessel_integral
from filters.rational import vector_fit


@pytest.mark.parametrize("count", [2, 3, 4, 7, 12])
def test_a_polynomial_of_lower_degree_than_nodes_is_met_everywhere(count: int) -> None:
    """There is one polynomial of degree N - 1 through N points (any text); T_n(x) = cos(n arccos x) shows all of it."""
    nodes = chebyshev(-1.0, 1.0, count)
    at = np.linspace(-1.0, 1.0, 41)
    for degree in range(count):
        values = np.cos(degree * np.arccos(np.clip(nodes.places, -1.0, 1.0)))
        found = nodes.matrix(at) @ values
        np.testing.assert_allclose(found, np.cos(degree * np.arccos(at)), atol=1e-12)


@pytest.mark.parametrize("degree", [1, 3, 4])
def test_blended_polynomials_meet_one_of_their_own_degree(degree: int) -> None:
    """Floater & Hormann (2007), theorem 2: with blends of degree d polynomials up to degree d come back exactly."""
    nodes = evenly(0.5, 12, degree)
    at = np.linspace(0.0, 5.5, 56)
    for power in range(degree + 1):
        np.testing.assert_allclose(nodes.matrix(at) @ nodes.places**power, at**power, rtol=1e-11, atol=1e-11)


def test_the_root_of_a_fourth_power_is_a_square() -> None:
    """(1 + a x)^4 has the root (1 + a x)^2, with the derivatives 2 a (1 + a x) and 2 a^2."""
    a, x = 30.0, np.linspace(-0.01, 0.02, 7)
    base = 1.0 + a * x
    root = Shape(base**4, 4 * a * base**3, 12 * a**2 * base**2).root
    np.testing.assert_allclose(root.value, base**2, rtol=1e-13)
    np.testing.assert_allclose(root.slope, 2 * a * base, rtol=1e-13)
    np.testing.assert_allclose(root.curvature, np.full(7, 2 * a**2), rtol=1e-12)


def test_waves_along_a_face_are_the_general_ones_at_grazing() -> None:
    """Svensson, Fred & Vanderkooy, J. Acoust. Soc. Am. 106, 1999, eq. (4), from memory: for a right-angled box edge

        beta = sum over the four signs of sin(nu (pi +- a +- b)) / (cosh(nu eta) - cos(nu (pi +- a +- b))),  nu = 2/3

    with a = 0, of which half counts where the source lies on the face, in cosh's argument g = e^{nu eta}.
    """
    growth = np.geomspace(1.0, 50.0, 9)
    cosh = 0.5 * (growth + 1.0 / growth)
    for same, listener in ((True, 0.0), (False, 1.5 * math.pi)):
        angles = [2.0 / 3.0 * (math.pi + one * listener) for one in (1, 1, -1, -1)]
        beta = sum(math.sin(angle) / (cosh - math.cos(angle)) for angle in angles)
        np.testing.assert_allclose(_along_face(growth, same), 0.5 * beta, rtol=1e-12)


def test_the_ratio_of_bessel_functions_is_that_of_amos_on_both_sides_of_its_border() -> None:
    """J1/J0 by scipy.special (Amos, ACM Trans. Math. Softw. 12, 1986), scaled, up to |z| of 1e4."""
    z = np.concatenate([np.geomspace(1e-3, 39.9, 30), np.geomspace(40.0, 1e4, 30)]) * np.exp(-0.25j * math.pi)
    np.testing.assert_allclose(bessel_ratio(z), jve(1, z) / jve(0, z), rtol=2e-14)


@pytest.mark.parametrize("taper", list(TAPERS))
def test_where_an_area_is_reached_is_the_reverse_of_the_area_there(taper: str) -> None:
    for start, stop in ((0.02, 0.005), (0.003, 0.01)):
        for place in (0.0, 0.2, 0.75, 1.0):
            area = TAPERS[taper].area(start, stop, place)
            assert TAPERS[taper].fraction(start, stop, area) == pytest.approx(place, abs=1e-12)
        # by definition the area, the radius or its logarithm goes evenly
        half = {"area_linear": (start + stop) / 2, "exponential": math.sqrt(start * stop)}
        half["conical"] = ((math.sqrt(start) + math.sqrt(stop)) / 2) ** 2
        assert TAPERS[taper].area(start, stop, 0.5) == pytest.approx(half[taper], rel=1e-12)


def test_the_integral_under_a_bessel_function_is_the_integral() -> None:
    """The integral of t J1(t) from 0 to x against QUADPACK, piece by piece from zero of J1 to zero."""
    ends = np.array([0.01, 0.5, 2.0, 5.0, 9.0, 14.0, 19.0, 23.0, 28.0, 40.0, 80.0])
    edges = np.concatenate([[0.0], ends])
    pieces = [quad(lambda t: t * j1(t), a, b, epsabs=1e-13, limit=200)[0] for a, b in zip(edges, ends, strict=False)]
    np.testing.assert_allclose(_bessel_integral(ends), np.cumsum(pieces), rtol=1e-9, atol=1e-11)


def test_x_less_one_plus_its_exponential_is_its_series() -> None:
    """x - 1 + e^-x = x^2/2! - x^3/3! + ..., to the last digits where the terms as written cancel."""
    x = np.array([1e-9, 1e-4, 5e-3, 9.9e-3, 1.01e-2, 0.3])
    series = sum((-1.0) ** n * x**n / math.factorial(n) for n in range(16, 1, -1))
    np.testing.assert_allclose(_along(x), series, rtol=1e-10)


@pytest.mark.parametrize("order", [1, 2, 3, 4, 5, 6, 9])
def test_a_fit_has_as_many_poles_as_were_asked_for(order: int) -> None:
    """A pair is given by its upper pole; what has that many real poles comes back exactly."""
    omega = np.geomspace(1.0, 1e4, 80)
    poles = -np.geomspace(10.0, 2e3, order)
    values = np.sum(np.abs(poles) / (1j * omega[:, None] - poles), axis=1)
    fitted = vector_fit(omega, values, order, ends=False)
    assert np.sum(np.where(fitted.poles.imag > 0, 2, 1)) == order
    np.testing.assert_allclose(np.sort(fitted.poles.real), np.sort(poles), rtol=1e-3)


def test_a_piece_is_round_unless_it_says_what_it_is() -> None:
    (one,) = Piece(1.0, 0.01, 0.01).slices(lossy_walls=True)
    assert one.wall_radius == pytest.approx(math.sqrt(0.01 / math.pi), rel=1e-12)
