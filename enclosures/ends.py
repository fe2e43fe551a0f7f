"""What the open end of a pipe does to the air in it. Arithmetic only: numpy is not imported, so that a port's
low-frequency mass can be worked out where numpy must not be loaded.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from enclosures.air import Air

if TYPE_CHECKING:
    from enclosures.arrays import ComplexArray, RealArray


@dataclass(frozen=True, slots=True)
class PipeEnd:
    """Coefficients of the reflection R = -(1 + n1 jka)/(1 + d1 jka + d2 (jka)^2) at an open end of radius a."""

    n1: float
    d1: float
    d2: float

    @property
    def correction(self) -> float:
        """The low-frequency end correction in radii, the limit of arg(-R)/(2 ka): (d1 - n1)/2."""
        return (self.d1 - self.n1) / 2


PIPE_ENDS: Mapping[str, PipeEnd] = MappingProxyType(
    {
        # Silva, Guillemain, Kergomard, Mallaroni & Norris, J. Sound Vib. 322, 2009: Pade (1,2) model
        "unflanged": PipeEnd(0.167, 1.393, 0.457),
        "flanged": PipeEnd(0.182, 1.825, 0.649),
        "ideal": PipeEnd(0.0, 0.0, 0.0),  # R = -1: no pressure at the end
    }
)


def pipe_end(end: str) -> PipeEnd:
    """The end of that name. Raises ValueError for a name that is not in `PIPE_ENDS`."""
    if end not in PIPE_ENDS:
        raise ValueError(f"no pipe end is called {end!r}; known are {', '.join(PIPE_ENDS)}")
    return PIPE_ENDS[end]


def pipe_end_impedance(omega: RealArray, area: float, end: str, air: Air) -> ComplexArray:
    """Acoustic impedance (F,) in Pa s/m3 that the open `end` of a round pipe of `area` (m2) shows to the pipe.

    Z = (rho c/S)(1 + R)/(1 - R) with R after Silva et al. (J. Sound Vib. 322, 2009), for all ka; `omega` (F,) in
    rad/s. Written as one fraction, so that nothing cancels at low frequency. Other shapes count as the circle of the
    same area. Raises ValueError for an unknown `end`.
    """
    shape = pipe_end(end)
    s = 1j * omega * (math.sqrt(area / math.pi) / air.speed_of_sound)  # jka
    # (1 + R)/(1 - R) = (denominator - numerator of -R)/(denominator + numerator)
    ratio: ComplexArray = (s * (shape.d1 - shape.n1) + s * s * shape.d2) / (
        2 + s * (shape.d1 + shape.n1) + s * s * shape.d2
    )
    return ratio * (air.impedance / area)


def pipe_end_mass(area: float, end: str, air: Air) -> float:
    """Low-frequency acoustic mass in kg/m4 of the open `end` of a round pipe of `area` (m2)."""
    return air.density * pipe_end(end).correction * math.sqrt(area / math.pi) / area
