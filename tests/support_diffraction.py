"""Second methods for diffraction that import nothing of ours: the sphere's series, the static wedge."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.special import eval_legendre, spherical_jn, spherical_yn

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
