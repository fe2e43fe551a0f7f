"""Finite rigid panels near the cabinet, as Kirchhoff's diffraction sees them: an estimate, with its uncertainty.

A panel mirrors the sources like a plane, and its image has as strength the share of the Fresnel zones about the point
of reflection that the panel covers. For a rectangle that share is a product of two Fresnel integrals, one along each
side (Rindel, "Attenuation of sound reflections due to diffraction", Nordic Acoustical Meeting 1986, from memory: his
K = K1 K2 is its square; here the complex value is kept). A large panel is a plane, a small one or a low frequency none.
In the same way a panel between a source and a point takes its share away from what goes through (Babinet's principle).

Kirchhoff's boundary values hold for panels of more than a wavelength, away from their edges and from grazing; the side
that a shelf shares with a cabinet is none of that. So half of the effect in dB counts as its uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from enclosures.arrays import ComplexArray, RealArray

Side = Literal["left", "right", "below", "above", "behind"]

# The room's axis that the panel is square to, and whether it lies on its upper end.
SIDES: dict[str, tuple[int, bool]] = {
    "left": (0, False),
    "right": (0, True),
    "below": (1, False),
    "above": (1, True),
    "behind": (2, False),
}
ACROSS = ("width", "height")  # the measure of a panel along the room's x and y


@dataclass(frozen=True, slots=True)
class Panel:
    """A rigid rectangle square to the room: on which side of the cabinet as it stands, and how far from it (m).

    Beside, below and above it a panel begins at the cabinet's back and reaches `front` (m, below zero: it ends behind)
    beyond its foremost point; its `height` beside the cabinet, its `width` below and above, is centred on the cabinet.
    Behind it a panel has `width` and `height`. A measure left out is that of the cabinet with `distance` on both sides,
    as boards have that meet at the corners of an opening. Raises ValueError for a side there is not, a distance below
    zero, a size not above zero.
    """

    side: Side
    distance: float
    front: float = 0.0
    width: float | None = None
    height: float | None = None

    def __post_init__(self) -> None:
        if self.side not in SIDES:
            raise ValueError(f"a panel's side must be one of {', '.join(SIDES)}, got {self.side!r}")
        if not (math.isfinite(self.distance) and self.distance >= 0.0):
            raise ValueError("a panel's distance from the cabinet must not be negative")
        if not math.isfinite(self.front):
            raise ValueError("how far a panel reaches must be finite")
        if any(size is not None and not (math.isfinite(size) and size > 0.0) for size in (self.width, self.height)):
            raise ValueError("a panel's measures must be above zero")

    def rectangle(self, low: RealArray, high: RealArray) -> Rectangle:
        """Where it is, about a cabinet between the corners `low` and `high` (3,) in the room.

        Raises ValueError where it would end at the cabinet's back or behind.
        """
        axis, upper = SIDES[self.side]
        place = float(high[axis] + self.distance if upper else low[axis] - self.distance)
        begins, ends = low - self.distance, high + self.distance
        for other, measure in enumerate(ACROSS):
            size = getattr(self, measure)
            if size is not None:
                middle = 0.5 * (low[other] + high[other])
                begins[other], ends[other] = middle - 0.5 * size, middle + 0.5 * size
        begins[2], ends[2] = low[2], high[2] + self.front
        if axis != 2 and ends[2] <= begins[2]:
            raise ValueError("a panel ends behind the cabinet's back")
        begins[axis] = ends[axis] = place
        return Rectangle(axis, upper, begins, ends)


@dataclass(frozen=True, slots=True, eq=False)
class Rectangle:
    """A rectangle square to `axis` between two corners (3,), `upper` or lower side of the cabinet; room frame."""

    axis: int
    upper: bool
    begins: RealArray
    ends: RealArray

    @property
    def place(self) -> float:
        return float(self.begins[self.axis])

    def share(self, points: RealArray, target: RealArray, k: RealArray) -> ComplexArray:
        """What of the waves from `points` (S, 3) to `target` (3,) beyond its plane goes through it, (F, S), complex.

        At wave numbers `k` (F,), 1/m; 1 is all. For a reflection the target is the listener's image. Along each side

            B = [C(v2) - C(v1) - j S(v2) + j S(v1)] / (1 - j),   v = +-2 sqrt(detour/wavelength)

        with C and S of pi t^2/2, and v below zero short of the straight way: (1 - j) is the whole wave front's (Born &
        Wolf, Principles of Optics, 8.7.3, from memory, here with e^{+jwt}). The detour over the edge is taken as it is,
        not by its parabola.
        """
        from scipy.special import fresnel  # takes an eighth of a second to load

        before = np.abs(points[:, self.axis] - self.place)
        beyond = abs(float(target[self.axis]) - self.place)
        whole = before + beyond
        along = np.divide(before, whole, out=np.zeros_like(before), where=whole > 0.0)  # both in its plane: at once
        foot = points + along[:, None] * (target - points)
        straight = np.linalg.norm(target - points, axis=1)
        result = np.ones((k.size, len(points)), dtype=np.complex128)
        for other in (axis for axis in range(3) if axis != self.axis):
            ends = []
            for edge in (self.begins[other], self.ends[other]):
                over = foot.copy()
                over[:, other] = edge
                way = np.linalg.norm(over - points, axis=1) + np.linalg.norm(over - target, axis=1)
                detour = np.maximum(way - straight, 0.0)
                ends.append(np.sign(edge - foot[:, other]) * np.sqrt(2.0 / np.pi * np.outer(k, detour)))
            (s1, c1), (s2, c2) = fresnel(ends[0]), fresnel(ends[1])
            result *= ((c2 - c1) - 1j * (s2 - s1)) / (1.0 - 1j)
        return result


def uncertainty(with_panels: ComplexArray, without: ComplexArray) -> RealArray:
    """How far (dB, to either side) the level with panels is to be trusted: half of what the panels do to it.

    Pressures (F,) in any unit; infinite where one of them is zero. The half is our own choice.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        effect = np.abs(20.0 * np.log10(np.abs(with_panels) / np.abs(without)))
    return np.asarray(0.5 * np.where(np.isnan(effect), 0.0, effect))
