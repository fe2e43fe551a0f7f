"""Drivers beyond small signals: force factor, stiffness and inductance that change with the cone's displacement.

What the curves mean: Klippel, J. Audio Eng. Soc. 54, 2006. Displacement x is in m, positive outward, zero where the
cone rests. What such a driver does in its enclosure is found by `enclosures.harmonic_balance`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple, Protocol

import numpy as np
from numpy.polynomial import polynomial

from enclosures.arrays import RealArray


class Curve(Protocol):
    """A value over displacement, smooth enough for a slope without jumps; arrays of any shape in and out."""

    def value(self, x: RealArray) -> RealArray:
        """At the displacements `x` in m."""
        ...

    def slope(self, x: RealArray) -> RealArray:
        """Its first derivative, per m."""
        ...

    def curvature(self, x: RealArray) -> RealArray:
        """Its second derivative, per m2; it may jump."""
        ...


@dataclass(frozen=True, slots=True)
class Polynomial:
    """c0 + c1 x + c2 x^2 + ..., in SI."""

    coefficients: tuple[float, ...]

    def __post_init__(self) -> None:
        """Raise ValueError without coefficients, or where one is not finite."""
        if not self.coefficients or not all(math.isfinite(c) for c in self.coefficients):
            raise ValueError(f"curve: a polynomial needs finite coefficients, not {self.coefficients!r}")

    def value(self, x: RealArray) -> RealArray:
        """At the displacements `x` in m."""
        return self._derivative(x, 0)

    def slope(self, x: RealArray) -> RealArray:
        """Its first derivative, per m."""
        return self._derivative(x, 1)

    def curvature(self, x: RealArray) -> RealArray:
        """Its second derivative, per m2."""
        return self._derivative(x, 2)

    def _derivative(self, x: RealArray, order: int) -> RealArray:
        return np.asarray(polynomial.polyval(x, _derived(self.coefficients, order)))


@lru_cache(maxsize=64)
def _derived(coefficients: tuple[float, ...], order: int) -> tuple[float, ...]:
    """The coefficients of a polynomial's derivative."""
    return tuple(polynomial.polyder(coefficients, order).tolist())


@dataclass(frozen=True, slots=True)
class Tabulated:
    """`values`, all above zero, at rising `places` (m) that reach from one side of rest to the other.

    Cubics join them that neither overshoot nor turn between two rows (Fritsch & Carlson, SIAM J. Numer. Anal. 17,
    1980; their slopes after Fritsch & Butland, SIAM J. Sci. Stat. Comput. 5, 1984). Beyond its ends a curve keeps the
    slope it has there: one that rises outward goes on as a straight line, one that falls as an exponential, which
    never gets to zero.
    """

    places: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        """Raise ValueError for less than two rows, places that do not rise past zero, values not above zero."""
        if len(self.places) != len(self.values) or len(self.places) < 2:
            raise ValueError(f"curve: at least two places and a value for each, not {self.places!r}, {self.values!r}")
        if not all(math.isfinite(x) for x in self.places) or any(b <= a for a, b in pairwise(self.places)):
            raise ValueError(f"curve: the places must rise, not {self.places!r}")
        if not self.places[0] <= 0 <= self.places[-1]:
            raise ValueError(f"curve: the places must have zero among or between them, not {self.places!r}")
        if not all(math.isfinite(v) and v > 0 for v in self.values):
            raise ValueError(f"curve: the values must be above zero, not {self.values!r}")

    def value(self, x: RealArray) -> RealArray:
        """At the displacements `x` in m."""
        return self._derivative(x, 0)

    def slope(self, x: RealArray) -> RealArray:
        """Its first derivative, per m."""
        return self._derivative(x, 1)

    def curvature(self, x: RealArray) -> RealArray:
        """Its second derivative, per m2; it jumps at the places."""
        return self._derivative(x, 2)

    def _derivative(self, x: RealArray, order: int) -> RealArray:
        found = _cubics(self.places, self.values, order)(x)
        for end, outside in ((0, x < self.places[0]), (-1, x > self.places[-1])):
            if np.any(outside):  # hardly ever
                place = np.array(self.places[end])
                slope = float(_cubics(self.places, self.values, 1)(place))
                found = np.where(outside, _beyond(self.values[end], slope, x - place, order), found)
        return np.asarray(found)


@lru_cache(maxsize=64)
def _cubics(places: tuple[float, ...], values: tuple[float, ...], order: int) -> Callable[[RealArray], RealArray]:
    """The derivative of this order of the cubics through the rows."""
    from scipy.interpolate import PchipInterpolator  # takes a quarter of a second to load

    found: Callable[[RealArray], RealArray] = PchipInterpolator(places, values).derivative(order)
    return found


def _beyond(value: float, slope: float, distance: RealArray, order: int) -> RealArray:
    """The curve's derivative of this order at a signed distance (m) past an end where it has this value and slope."""
    rate = slope / value
    falling = rate * distance < 0
    decay = value * rate**order * np.exp(np.where(falling, rate * distance, 0.0))
    line = (value + slope * distance, np.full_like(distance, slope), np.zeros_like(distance))[order]
    return np.where(falling, decay, line)


@dataclass(frozen=True, slots=True)
class LargeSignal:
    """Curves of bl (T m), stiffness (N/m) and inductance (H) over displacement; None: as for small signals.

    A curve counts by its shape: its value at rest is the driver's own (bl, 1/cms, the voice coil's model), so that
    small signals give what `enclosures.acoustics` gives. The spring's force is K(x) x.

    The inductance is that of the turns the iron reaches: the coil's whole small-signal model is seen through an ideal
    transformer of ratio n(x) = sqrt(L(x)/L(0)). With psi the flux that the model has for the current n i,

        volts = d/dt (n psi)          force = n' i psi,

    for a plain coil d/dt (L i) and the reluctance force i^2 L'/2. For the other models it is a simplification, as every
    part of them changes alike. It is Z L(x)/L(0) for a cone that stands still, and for one that moves it makes no power
    and loses none but in the model's own resistances, which a scaled impedance would not ensure.
    """

    bl: Curve | None = None
    stiffness: Curve | None = None
    inductance: Curve | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a curve that is not above zero at rest."""
        for name, curve in (("bl", self.bl), ("stiffness", self.stiffness), ("inductance", self.inductance)):
            if curve is not None and not float(curve.value(np.zeros(()))) > 0:
                raise ValueError(f"large signal: {name} must be above zero at rest")

    def shapes(self, x: RealArray) -> Shapes:
        """The curves over their values at rest, at the displacements `x` in m."""
        return Shapes(*(_shape(curve, x) for curve in (self.bl, self.stiffness, self.inductance)))


class Shape(NamedTuple):
    """A curve over its value at rest, with its derivatives by displacement (1/m, 1/m2)."""

    value: RealArray
    slope: RealArray
    curvature: RealArray

    @property
    def root(self) -> Shape:
        """The square root of the curve."""
        root = np.sqrt(self.value)
        return Shape(root, self.slope / (2 * root), self.curvature / (2 * root) - self.slope**2 / (4 * root**3))


class Shapes(NamedTuple):
    """The three curves of a driver at the same displacements."""

    bl: Shape
    stiffness: Shape
    inductance: Shape

    @property
    def positive(self) -> RealArray:
        """Whether all three are above zero; where one is not, it says nothing about a driver."""
        return np.asarray((self.bl.value > 0) & (self.stiffness.value > 0) & (self.inductance.value > 0))


def _shape(curve: Curve | None, x: RealArray) -> Shape:
    if curve is None:
        return Shape(np.ones_like(x), np.zeros_like(x), np.zeros_like(x))
    rest = float(curve.value(np.zeros(())))
    return Shape(curve.value(x) / rest, curve.slope(x) / rest, curve.curvature(x) / rest)
