"""A rigid piston in a wall: how its far field narrows with frequency, and what the air does to it."""

from __future__ import annotations

import math

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray


def piston_directivity(wavenumber: RealArray, radius: float, sine: RealArray) -> RealArray:
    """The far field of a flat circular piston in an infinite wall over that of a point of the same volume velocity.

    `wavenumber` k (1/m) and `sine`, that of the angle to the piston's axis, broadcast; `radius` is in m, 0 for a point.
    D = 2 J1(x)/x with x = k a sin(angle): Rayleigh, Theory of Sound II, section 302; Beranek & Mellow, Acoustics:
    Sound Fields and Transducers (2012), eq. 13.102. Raises ValueError on a negative radius.

    J1 is Poisson's integral, J1(x) = (x/pi) integral of sqrt(1 - t^2) cos(x t) over -1 < t < 1 (NIST DLMF 10.9.4): the
    piston as strips. Gauss-Chebyshev nodes of the second kind make it exact to rounding once they outnumber x/2 well,
    which saves the import of a library for one function.
    """
    if radius < 0.0:
        raise ValueError(f"a piston's radius must not be negative, got {radius} m")
    x = np.asarray(wavenumber, dtype=np.float64) * radius * np.asarray(sine, dtype=np.float64)
    count = 16 + math.ceil(float(np.max(np.abs(x), initial=0.0)))
    angles = np.arange(1, count + 1) * (math.pi / (count + 1))
    weights = 2.0 * np.sin(angles) ** 2
    weights[count // 2 :] *= 0.5  # the middle node, if there is one; the nodes beyond are those before, mirrored
    total = np.zeros(x.shape)
    for node, weight in zip(np.cos(angles[: (count + 1) // 2]), weights, strict=False):
        total += weight * np.cos(x * node)
    return total * (2.0 / (count + 1))  # 2 J1(x)/x = (2/pi) integral of sqrt(1 - t^2) cos(x t)


def piston_radiation_impedance(wavenumber: RealArray, radius: float, air: Air) -> ComplexArray:
    """Mechanical impedance (F,) in kg/s of the air before one side of a flat circular piston in an infinite wall.

    Z = rho c S [1 - J1(x)/(x/2) + j H1(x)/(x/2)], x = 2 k a, H1 of Struve: Rayleigh, Theory of Sound II, section 302;
    Kinsler, Frey, Coppens & Sanders, Fundamentals of Acoustics (2000), eqs. 7.5.10 and 7.5.11. `wavenumber` k (F,) in
    1/m, above zero; `radius` in m. Raises ValueError for a radius that is not above zero.
    """
    from scipy.special import j1, struve

    if not radius > 0.0:
        raise ValueError(f"a piston's radius must be above zero, got {radius} m")
    x = 2.0 * radius * np.asarray(wavenumber, dtype=np.float64)
    return np.asarray(air.impedance * math.pi * radius**2 * (1.0 - 2.0 * j1(x) / x + 2j * struve(1, x) / x))
