"""What the open end of a pipe does to the air in it. Arithmetic only: numpy is not imported, so that a port's
low-frequency mass can be worked out where numpy must not be loaded.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from enclosures.air import Air
from enclosures.frozen import frozen

if TYPE_CHECKING:
    from enclosures.arrays import ComplexArray, RealArray


@frozen
class PipeEnd:
    """An open end of a pipe: R = -(1 + n1 jka)/(1 + d1 jka + d2 (jka)^2), a the radius of `images` pipes in one.

    `images` counts the pipe and its mirror images in the walls that continue its sides: the end is that of a pipe of
    so many times the area, of which this one is a part. `flange` is the radius of the flange over a: 1 without one.
    """

    n1: float
    d1: float
    d2: float
    images: int = 1
    flange: float = 1.0

    @property
    def correction(self) -> float:
        """The low-frequency end correction in radii of the pipe, the limit of arg(-R)/(2 ka): (d1 - n1)/2, imaged."""
        return (self.d1 - self.n1) / 2 * math.sqrt(self.images)

    def radius(self, area: float) -> float:
        """a in m: of the circle of `images` times `area` (m2)."""
        return math.sqrt(self.images * area / math.pi)


# Silva, Guillemain, Kergomard, Mallaroni & Norris, J. Sound Vib. 322, 2009: Pade (1,2) models
_UNFLANGED = PipeEnd(0.167, 1.393, 0.457)
_FLANGED = PipeEnd(0.182, 1.825, 0.649, flange=2.0)  # the flange without end counts to 2 a: see `facing_wall_mass`

PIPE_ENDS: Mapping[str, PipeEnd] = MappingProxyType(
    {
        "unflanged": _UNFLANGED,
        "flanged": _FLANGED,
        "along_wall": replace(_FLANGED, images=2),  # flanged, and a wall continues one side of the pipe
        "in_corner": replace(_FLANGED, images=4),  # flanged, and two walls at right angles continue two sides
        "ideal": PipeEnd(0.0, 0.0, 0.0),  # R = -1: no pressure at the end
    }
)


def pipe_end(end: str) -> PipeEnd:
    """The end of that name. Raises ValueError for a name that is not in `PIPE_ENDS`."""
    if end not in PIPE_ENDS:
        raise ValueError(f"no pipe end is called {end!r}; known are {', '.join(PIPE_ENDS)}")
    return PIPE_ENDS[end]


def facing_wall_mass(area: float, end: str, clearance: float, air: Air) -> float:
    """What a wide rigid wall, `clearance` (m) before the `end` of a round pipe of `area` (m2), adds to its mass, kg/m4.

    The length added to the end correction, with x = clearance/a and b the flange over a, is

        a [ln(1 + (pi/8)/x + 1/(4 x^2))/pi + ln(b)/(2 x (1 + 7x/4))].

    The first part is for a thin-walled pipe. Its limits are exact: a/(8x) far off, where the wall mirrors a point
    source, and a rise of (2/pi) ln(1/x) close by, the flow through a slit under a thin edge. The second is the radial
    flow in the gap under a flange, ln(b)/(2x) close by. Only the constants 1/4 and 7/4 are fitted, by us, to potential
    flow by finite elements: the whole end correction is within 2 % from x = 0.01 up (`tests/test_ends.py`). The formula
    of Dalmont, Nederveen & Joly, J. Sound Vib. 244, 2001, as we remember it, is not used: it is for a disc before the
    end; made endless, it gives 0.7 of a thin pipe's added length at x = 0.1, 1.7 times at x = 1, 2.8 times at x = 2.

    A gap without end has no finite mass, so that of a `flanged` end and its images counts to two radii: there the air
    of a shallow box with a port of a fifth to a seventh of its own width begins to be the box's. An `ideal` end has no
    mass of its own, but the wall acts on it as on a thin pipe. Raises ValueError for an unknown `end` or a clearance
    that is not above zero.
    """
    if not clearance > 0:
        raise ValueError(f"pipe end: clearance must be above zero, not {clearance!r}")
    shape = pipe_end(end)
    radius = shape.radius(area)
    x = clearance / radius
    edge = math.log1p((math.pi / 8 + 0.25 / x) / x) / math.pi
    gap = math.log(shape.flange) / (2 * x * (1 + 1.75 * x))
    return air.density * (edge + gap) * radius / area


def pipe_end_impedance(
    omega: RealArray, area: float, end: str, air: Air, clearance: float | None = None
) -> ComplexArray:
    """Acoustic impedance (F,) in Pa s/m3 that the open `end` of a round pipe of `area` (m2) shows to the pipe.

    Z = (rho c/S)(1 + R)/(1 - R) with R after Silva et al. (J. Sound Vib. 322, 2009), for all ka; `omega` (F,) in
    rad/s. Written as one fraction, so that nothing cancels at low frequency. Other shapes count as the circle of the
    same area. With n images it is n Z of the flanged end of n times the area. A rigid wall at `clearance` (m) before
    the end adds `facing_wall_mass` at all frequencies and leaves the radiated power as it is.

    Raises ValueError for an unknown `end` or a clearance that is not above zero.
    """
    shape = pipe_end(end)
    s = 1j * omega * (shape.radius(area) / air.speed_of_sound)  # jka
    # (1 + R)/(1 - R) = (denominator - numerator of -R)/(denominator + numerator)
    ratio: ComplexArray = (s * (shape.d1 - shape.n1) + s * s * shape.d2) / (
        2 + s * (shape.d1 + shape.n1) + s * s * shape.d2
    )
    impedance = ratio * (air.impedance / area)  # n (rho c/(n S))
    return impedance if clearance is None else impedance + 1j * omega * facing_wall_mass(area, end, clearance, air)


def pipe_end_mass(area: float, end: str, air: Air, clearance: float | None = None) -> float:
    """Low-frequency acoustic mass in kg/m4 of the open `end` of a round pipe of `area` (m2).

    `clearance` (m) is the distance to a wall that faces the end, None for no such wall. Raises ValueError for an
    unknown `end` or a clearance that is not above zero.
    """
    mass = air.density * pipe_end(end).correction * math.sqrt(area / math.pi) / area
    return mass if clearance is None else mass + facing_wall_mass(area, end, clearance, air)


def hydraulic_ratio_of_rectangle(width: float, height: float) -> float:
    """Hydraulic radius 2 S/P of a duct of `width` by `height` (m) over that of a round one of its area, at most 0.886.

    What wall losses need: they go with wetted perimeter over area. (w h/(w + h))/sqrt(w h/pi). Raises ValueError for a
    side that is not above zero and finite.
    """
    for side in (width, height):
        if not (math.isfinite(side) and side > 0):
            raise ValueError(f"duct: width and height must be above zero, not {side!r}")
    return math.sqrt(math.pi * width * height) / (width + height)
