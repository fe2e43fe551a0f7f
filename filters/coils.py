"""Inductance of an air coil and mutual inductance of two coils anywhere, from their windings; SI units.

The current is taken as spread evenly over the section of the winding. A coil's own inductance is an integral over its
section of the mutual inductance of coaxial circles, written with Bessel functions so that one integral is left. Two
coils are bundles of circles at Gauss points of their sections; of Neumann's double integral over two circles the inner
one is the vector potential of a circle, in closed form by complete elliptic integrals.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from filters.windings import Winding

Floats = NDArray[np.float64]
Vector = tuple[float, float, float]

MU_0 = 4e-7 * math.pi  # H/m; CODATA 2018 is 5e-10 more
SMALL = 1e-3  # of the modulus m, below which a series stands for differences of elliptic integrals
# The integral of a coil's own inductance is added up to where the depth is this many radians of its waves.
REACH = 60.0
PANEL = 2.0  # radians of the outer radius that a panel of Gauss points spans
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
FAR = 50.0  # above which the series of the Struve functions hold to 1e-12
_PLACES, _SHARES = (np.polynomial.legendre.leggauss(48) + np.array([[1.0], [0.0]])) / 2  # of 0 to 1
SECTION = 4  # Gauss points along each side of a section
FEWEST, MOST = 32, 1024  # points round a circle
CLOSE = 1e-7  # of the larger of the two coils' own inductances a turn, where the sum round a circle is settled


@dataclass(frozen=True, slots=True)
class PlacedCoil:
    """A winding at `centre` (m) with its axis along `axis`, about which its current runs right-handed."""

    winding: Winding
    centre: Vector
    axis: Vector

    def __post_init__(self) -> None:
        """Raise ValueError for an axis without direction."""
        if not (math.isfinite(math.hypot(*self.axis)) and math.hypot(*self.axis) > 0):
            raise ValueError(f"coil: its axis must have a direction, not {self.axis!r}")


def circles(a: Floats | float, b: Floats | float, h: Floats | float) -> Floats:
    """Mutual inductance (...,) in H of coaxial circles of radii `a` and `b` (m), `h` (m) apart.

    Maxwell, Treatise, section 701; NIST DLMF 19.34.
    """
    b = np.asarray(b, dtype=np.float64)
    return 2 * math.pi * b**2 * _potential_over_radius(np.asarray(a, dtype=np.float64), b, np.asarray(h))


def _potential_over_radius(a: Floats, rho: Floats, z: Floats) -> Floats:
    """A_phi/rho (...,) in T of a circle of radius `a` with one ampere, at `rho` from its axis and `z` from its plane.

    A_phi = mu0/(pi k) sqrt(a/rho) ((1 - k^2/2) K - E), k^2 = 4 a rho/((a + rho)^2 + z^2) (Jackson, Classical
    Electrodynamics, 3rd ed., eq. 5.37, in Smythe's form).
    """
    square = (a + rho) ** 2 + z**2
    m = 4 * a * rho / square
    # k = 2 sqrt(a rho/square), so that sqrt(a/rho)/(k rho) = sqrt(square)/(2 rho^2) = 8 a^2/(m^2 square^1.5)
    return np.asarray(MU_0 / math.pi * 8 * a**2 / square**1.5 * _over_m_squared(m))


def _over_m_squared(m: Floats) -> Floats:
    """((1 - m/2) K(m) - E(m))/m^2, where m is small by its series (pi/32) F(3/2, 3/2; 3; m)."""
    from scipy.special import ellipe, ellipk  # takes an eighth of a second to load

    large = np.maximum(m, SMALL)
    exact = ((1 - large / 2) * ellipk(large) - ellipe(large)) / large**2
    series = math.pi / 32 * (1 + m * (3 / 4 + m * (75 / 128)))
    return np.where(m < SMALL, series, exact)


@functools.lru_cache(maxsize=4096)
def inductance(winding: Winding) -> float:
    """Inductance in H of an air coil whose current is spread evenly over its rectangular section.

    L = 2 pi mu0 N^2/(l w)^2 times the integral over k of P(k)^2 (k l - 1 + e^(-k l))/k^2, P(k) being that of r J1(k r)
    over the depth w (Conway, IEEE Trans. Magn. 46(1), 2010, from memory). What is left beyond the last panel is added
    by its mean. The error of the integral is below 1e-6 for depths and lengths of 2 % of the mean radius and more (see
    its test); round wire with enamel differs from an even current by some 1e-3 of L.
    """
    inner, outer = winding.inner_diameter / 2, winding.outer_diameter / 2
    l, w = winding.length, winding.depth  # noqa: E741
    last = REACH / min(w, l)
    count = math.ceil(last * outer / PANEL)
    edges = np.linspace(0.0, last, count + 1)
    k = (edges[:-1, None] + edges[1:, None] + np.diff(edges)[:, None] * _NODES) / 2  # (panels, nodes)
    weights = np.diff(edges)[:, None] * _WEIGHTS / 2
    p = (_bessel_integral(k * outer) - _bessel_integral(k * inner)) / k**2
    own = float(np.sum(weights * p**2 * _along(k * l) / k**2))
    # P^2 goes as (r1 + r2)/(pi k^3) on average, so beyond `last` the integral of (k l - 1)/k^5 times that is left
    own += (inner + outer) / math.pi * (l / (3 * last**3) - 1 / (4 * last**4))
    return 2 * math.pi * MU_0 * winding.turns**2 / (l * w) ** 2 * own


def _along(x: Floats) -> Floats:
    """x - 1 + e^-x, without cancellation."""
    small = np.minimum(x, 0.01)
    series = small**2 / 2 * (1 - small / 3 * (1 - small / 4 * (1 - small / 5)))
    return np.where(x < 0.01, series, x + np.expm1(-x))


def _bessel_integral(x: Floats) -> Floats:
    """The integral of t J1(t) from 0 to x.

    Up to `FAR` x^2 times that of s J1(x s) from 0 to 1, by Gauss. Beyond it is (pi x/2) (J1 H0 - J0 H1) by parts, with
    the Struve functions' series for large x (Abramowitz & Stegun, 1964, 11.1.7, 12.1.29, 12.1.30) and the Wronskian of
    Y0 and Y1 (9.1.16). `scipy.special.itj0y0` would do, but scipy 1.13 to 1.16 are wrong by 1e10 above 20.
    """
    from scipy.special import j0, j1

    far = x > FAR
    near, t = x[~far], x[far]
    found = np.empty_like(x)
    found[~far] = near**2 * (j1(near[:, None] * _PLACES) @ (_SHARES * _PLACES))
    u = 1 / t**2
    of_h0 = 1 - u * (1 - 9 * u * (1 - 25 * u * (1 - 49 * u * (1 - 81 * u))))  # pi x/2 (H0 - Y0)
    of_h1 = 1 + u * (1 - 3 * u * (1 - 15 * u * (1 - 35 * u * (1 - 63 * u))))  # pi/2 (H1 - Y1)
    found[far] = 1 + j1(t) * of_h0 - t * j0(t) * of_h1
    return found


@functools.lru_cache(maxsize=4096)
def mutual_inductance(first: PlacedCoil, second: PlacedCoil) -> float:
    """Mutual inductance in H of two coils anywhere, positive where each drives flux along the other's axis.

    The coils are not to reach into each other. Against coils computed by other means it is within 1e-4 of the
    coefficient for coils as close as a tenth of their depth (see its test).
    """
    a, z, of_a = _bundle(first.winding)
    b, y, of_b = _bundle(second.winding)
    e1, e2 = _frame(first.axis), _frame(second.axis)
    apart = np.asarray(second.centre) - np.asarray(first.centre)
    scale = CLOSE * max(first.winding.mean_radius, second.winding.mean_radius) * MU_0
    before = math.inf
    count = FEWEST
    while True:
        angle = 2 * math.pi * np.arange(count) / count
        # points of the second coil's circles (K, n, 3), and their direction
        round_ = np.cos(angle)[:, None] * e2[0] + np.sin(angle)[:, None] * e2[1]
        tangent = np.cos(angle)[:, None] * e2[1] - np.sin(angle)[:, None] * e2[0]
        points = apart + b[:, None, None] * round_ + y[:, None, None] * e2[2]
        x1, x2, x3 = (points @ axis for axis in e1)
        turning = (x1 * (tangent @ e1[1]) - x2 * (tangent @ e1[0])) * b[:, None]  # (axis x r).dl/dangle
        potential = _potential_over_radius(a[:, None, None], np.hypot(x1, x2), x3 - z[:, None, None])  # (I, K, n)
        each = np.mean(potential * turning, axis=-1) * 2 * math.pi
        total = float(of_a @ each @ of_b)
        if abs(total - before) < scale or count >= MOST:
            return first.winding.turns * second.winding.turns * total
        before, count = total, 2 * count


def coupling_coefficient(first: PlacedCoil, second: PlacedCoil) -> float:
    """M/sqrt(L1 L2): it depends on shapes and places, not on the turns."""
    one, other = (replace(coil, winding=replace(coil.winding, turns=1.0)) for coil in (first, second))
    return mutual_inductance(one, other) / math.sqrt(inductance(one.winding) * inductance(other.winding))


def _bundle(winding: Winding) -> tuple[Floats, Floats, Floats]:
    """Circles that stand for a winding: radii, places along the axis from its middle, and weights of sum 1, (I,)."""
    nodes, weights = np.polynomial.legendre.leggauss(SECTION)
    pairs = itertools.product(zip(nodes, weights, strict=True), repeat=2)
    rows = np.array([(x, y, u * v / 4) for (x, u), (y, v) in pairs])
    return winding.mean_radius + rows[:, 0] * winding.depth / 2, rows[:, 1] * winding.length / 2, rows[:, 2]


def _frame(axis: Vector) -> Floats:
    """Three unit vectors (3, 3), the last along `axis`, right-handed."""
    third = np.asarray(axis, dtype=np.float64) / math.hypot(*axis)
    first = np.cross(third, np.eye(3)[int(np.argmin(np.abs(third)))])
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(third, first), third])
