"""A rigid piston in a wall: how its far field narrows with frequency."""

from __future__ import annotations

import math

import numpy as np

from enclosures.arrays import RealArray


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
    total = np.zeros(x.shape)
    for node, weight in zip(np.cos(angles), np.sin(angles) ** 2, strict=True):
        total += weight * np.cos(x * node)
    return total * (2.0 / (count + 1))  # 2 J1(x)/x = (2/pi) integral of sqrt(1 - t^2) cos(x t)
