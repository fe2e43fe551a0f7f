"""Second methods for diffraction that import nothing of ours: the sphere's series, the static and the rounded wedge."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.special import eval_legendre, h2vp, hankel2, jv, jvp, spherical_jn, spherical_yn

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


def _hankel(n: int, x: float, derivative: bool = False) -> complex:
    """The spherical Hankel function of the second kind, for e^{+jwt}."""
    return complex(spherical_jn(n, x, derivative) - 1j * spherical_yn(n, x, derivative))


def sphere_with_cap(k: float, radius: float, rim: float, distance: float, terms: int = 60) -> complex:
    """p/(rho c) for unit radial velocity of a polar cap of rim radius `rim`, on the axis `distance` from the centre.

    p = -j rho c sum u_n h_n(kr)/h_n'(ka) P_n (Morse & Ingard, Theoretical Acoustics, 1968, section 7.2).
    """
    edge = math.sqrt(1.0 - (rim / radius) ** 2)  # cosine of the cap's half angle
    total = 0.0 + 0.0j
    for n in range(terms):
        u = 0.5 * (1.0 - edge) if n == 0 else 0.5 * (eval_legendre(n - 1, edge) - eval_legendre(n + 1, edge))
        ratio = _hankel(n, k * distance) / _hankel(n, k * radius, True)
        if not np.isfinite(ratio):
            break
        total += u * ratio
    return -1j * total


def point_on_sphere(k: float, radius: float, distance: float, cosines: Floats, terms: int = 60) -> Complexes:
    """G = 2 pi p/(j w rho U) at `distance` of points on a rigid sphere at angles with these cosines to the listener.

    The cap of `sphere_with_cap` shrunk to nothing: u_n tends to (2n + 1) U/(4 pi a^2).
    """
    total = np.zeros(np.shape(cosines), dtype=np.complex128)
    for n in range(terms):
        ratio = _hankel(n, k * distance) / _hankel(n, k * radius, True)
        term = (2 * n + 1) * ratio * eval_legendre(n, cosines)
        if not np.all(np.isfinite(term)) or (n > 8 and np.max(np.abs(term)) < 1e-9 * np.max(np.abs(total))):
            break
        total += term
    # p = -j rho c sum ... U/(4 pi a^2), so G = 2 pi p/(j w rho U) = -sum .../(2 k a^2)
    return -total / (2.0 * k * radius**2)


def static_wedge(near: float, far: float, angle: float, along: float) -> float:
    """G at 0 Hz of a source on one face of an infinite rigid right-angled edge (air over 3 pi/2).

    The closed form for a charge by a conducting wedge (Macdonald; Landau & Lifshitz, Electrodynamics of Continuous
    Media, section 3; from memory) with the sign for a rigid one. `near` and `far` are the distances from the edge of
    source and listener, `angle` is between them, `along` their distance along the edge.
    """
    cosh_eta = (near**2 + far**2 + along**2) / (2.0 * near * far)
    eta = math.acosh(cosh_eta)
    nu = 2.0 / 3.0

    def density(t: float) -> float:  # with zeta = eta + t^2 the root's singularity goes
        zeta = eta + t * t
        # cosh(zeta) - cosh(eta) = 2 sinh((zeta + eta)/2) sinh(t^2/2)
        root = math.sqrt(2.0 * math.sinh(0.5 * (zeta + eta)) * math.sinh(0.5 * t * t))
        kernel = math.sinh(nu * zeta) / (math.cosh(nu * zeta) - math.cos(nu * angle))
        return 2.0 * t * 2.0 * kernel / root if t > 0.0 else 0.0

    value, _ = quad(density, 0.0, 9.0, limit=400)
    potential = value / (1.5 * math.pi * math.sqrt(2.0 * near * far))
    return 0.5 * potential


WEDGE = 1.5 * math.pi  # rad of air round a right-angled edge
ORDER = math.pi / WEDGE


def rounded_wedge(kappa: float, size: float = 0.03, circle: float = 1.15) -> Complexes:
    """T (M, M) of the rigid right-angled edge rounded to radius 1, in two dimensions: what it adds to a sharp one.

    Where the sharp edge alone would have the wave J_mu(kappa r) cos(mu phi), mu = 2m/3, about its corner, the rounded
    one has it plus the sum over n of T[n, m] H_nu(kappa r) cos(nu phi), nu = 2n/3. Inside a circle about the corner
    that holds the arc the pressure is solved by boundary elements of about `size` (collocation, constant pressure,
    four Gauss points each, exact logarithm on the element itself); outside these waves are all there is.
    """
    nodes, gauss = np.polynomial.legendre.leggauss(4)
    nodes, gauss = 0.5 * (nodes + 1.0), 0.5 * gauss

    def part(length: float, curve: Callable[[Floats], Floats], normal: Callable[[Floats], Floats]) -> list[Floats]:
        cuts = np.linspace(0.0, length, max(4, math.ceil(length / size)) + 1)
        steps, middles = np.diff(cuts), 0.5 * (cuts[1:] + cuts[:-1])
        inside = cuts[:-1, None] + steps[:, None] * nodes
        return [middles, curve(middles), curve(inside), normal(inside), steps[:, None] * gauss]

    def plane(x: Floats, y: Floats) -> Floats:
        return np.stack([x, y], axis=-1)

    # the air is above the face y = 0, x > 1 and left of the face x = 0, y < -1; the arc's centre is (1, -1)
    short, zero = circle - 1.0, np.zeros_like
    face = part(short, lambda s: plane(1.0 + s, zero(s)), lambda s: plane(zero(s), zero(s) - 1.0))
    arc = part(
        0.5 * math.pi,
        lambda s: plane(1.0 - np.sin(s), np.cos(s) - 1.0),
        lambda s: plane(np.sin(s), -np.cos(s)),
    )
    side = part(short, lambda s: plane(zero(s), -1.0 - s), lambda s: plane(zero(s) + 1.0, zero(s)))
    rim = part(
        WEDGE * circle,
        lambda s: circle * plane(np.cos(s / circle), np.sin(s / circle)),
        lambda s: plane(np.cos(s / circle), np.sin(s / circle)),
    )
    at, points, normals, weights = (np.concatenate([p[i] for p in (face, arc, side, rim)]) for i in (1, 2, 3, 4))
    angles, wall = rim[0] / circle, len(at) - len(rim[0])
    own = np.arange(len(at))

    # p/2 + integral of p dg/dn = integral of g dp/dn, n out of the air, g = -j/4 H0(kappa r)
    offset = at[:, None, None] - points
    r = np.linalg.norm(offset, axis=3)
    towards = np.einsum("ijqc,jqc->ijq", offset, normals) / r
    g = -0.25j * hankel2(0, kappa * r)
    single = np.sum(g * weights, axis=2)
    lengths = weights.sum(axis=1)
    smooth = np.sum((g[own, own] + np.log(r[own, own]) / (2.0 * math.pi)) * weights, axis=1)
    single[own, own] = smooth - lengths / (2.0 * math.pi) * (np.log(0.5 * lengths) - 1.0)
    double = np.sum(-0.25j * kappa * hankel2(1, kappa * r) * towards * weights, axis=2)
    static = np.sum(towards / (2.0 * math.pi * r) * weights, axis=2)
    double[own, own] -= 0.5 + static.sum(axis=1)  # of a constant the static layer is -1/2
    double[own, own] += 0.5

    orders = ORDER * np.arange(math.ceil(kappa * circle / ORDER) + 6)
    modes = np.cos(np.outer(angles, orders))
    x = kappa * circle

    def through(slope: Complexes | Floats) -> Complexes:
        """What waves of pressure 1 and these slopes at the circle bring to the equations."""
        return np.asarray(double[:, wall:] @ modes - single[:, wall:] @ (modes * slope))

    j, h = jv(orders, x), hankel2(orders, x)
    equations = np.concatenate([double[:, :wall], through(kappa * h2vp(orders, x) / h)], axis=1)
    solved = np.linalg.lstsq(equations, -through(kappa * jvp(orders, x) / j), rcond=None)[0]
    return np.asarray(solved[wall:] / h[:, None] * j)


def rounded_edge(kappa: float, angles: Floats, size: float = 0.03) -> Complexes:
    """What rounding adds to the weight of an edge's wave from a far source on its face, seen from afar under `angles`.

    G of a line source at x on the face is, over infinitely many m, -j pi/(2 WEDGE) times the sum of e_m cos(mu phi)
    J_mu(kr) H_mu(kx) and what T makes of it (e_0 = 1, else 2; Bowman, Senior & Uslenghi, Electromagnetic and Acoustic
    Scattering by Simple Shapes, 1969, section 6.2; from memory). H_mu(z) tends to j^mu H_0(z), and an edge of weight
    beta sends out -(nu/4 pi) beta times the two integrals of e^{-jkr}/r along the edge, -pi^2 H_0 H_0.
    """
    t = rounded_wedge(kappa, size)
    m = np.arange(len(t))
    twist = np.exp(0.5j * math.pi * ORDER * m)
    return np.asarray(-4j * np.cos(ORDER * np.outer(angles, m)) @ (twist * (t @ (np.where(m == 0, 1.0, 2.0) * twist))))
