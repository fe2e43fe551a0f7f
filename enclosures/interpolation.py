"""Smooth functions through given nodes: barycentric (Berrut & Trefethen, SIAM Review 46, 2004, eq. 4.2) and splines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb

import numpy as np

from enclosures.arrays import ComplexArray, RealArray


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Nodes `places` (N,) and their barycentric `weights` (N,)."""

    places: RealArray
    weights: RealArray

    def matrix(self, at: RealArray) -> RealArray:
        """What the value at each node counts for at the points (...,): (..., N)."""
        apart = np.asarray(at, dtype=np.float64)[..., None] - self.places
        on_node = np.abs(apart) < 1e-12 * (self.places[-1] - self.places[0])
        counts = self.weights / np.where(on_node, 1.0, apart)
        exact = on_node.any(axis=-1)
        counts[exact] = on_node[exact]
        return np.asarray(counts / counts.sum(axis=-1, keepdims=True))


def chebyshev(low: float, high: float, count: int) -> Nodes:
    """Chebyshev points of the second kind, ends included, for the polynomial through them (eq. 5.4 there)."""
    places = low + (high - low) * 0.5 * (1.0 - np.cos(np.pi * np.arange(count) / (count - 1)))
    weights = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)
    weights[[0, -1]] *= 0.5
    return Nodes(places, weights)


def evenly(step: float, count: int, degree: int = 4) -> Nodes:
    """0, step, 2 step, ... for a rational function: Floater & Hormann, Numer. Math. 107 (2007), 315, section 4.

    It blends the polynomials through each degree + 1 neighbours: no poles, and an error that falls as
    step^(degree + 1).
    """
    last = count - 1
    sizes = [
        sum(comb(degree, i - j) for j in range(max(0, i - degree), min(i, last - degree) + 1)) for i in range(count)
    ]
    return Nodes(step * np.arange(count), np.where(np.arange(count) % 2 == 0, 1.0, -1.0) * np.array(sizes))


def cubic_spline(places: RealArray, values: ComplexArray, at: RealArray) -> ComplexArray:
    """The cubic spline through `values` (N, P) at rising `places` (N,), N 4 or more, at the points (A,): (A, P).

    Its third derivative is continuous at the second place and the last but one ("not-a-knot"); de Boor, A Practical
    Guide to Splines (1978), chapter IV, from memory: the slopes s solve tridiagonal equations. It is what
    scipy.interpolate.CubicSpline gives, which takes a fifth of a second to load.
    """
    step = np.diff(places)
    rise = np.diff(values, axis=0) / step[:, None]
    right = np.empty(values.shape, dtype=np.complex128)
    right[1:-1] = 3.0 * (step[1:, None] * rise[:-1] + step[:-1, None] * rise[1:])
    first, last = step[0] + step[1], step[-2] + step[-1]
    right[0] = ((step[0] + 2.0 * first) * step[1] * rise[0] + step[0] ** 2 * rise[1]) / first
    right[-1] = (step[-1] ** 2 * rise[-2] + (2.0 * last + step[-1]) * step[-2] * rise[-1]) / last
    slope = _tridiagonal(
        [*step[1:].tolist(), float(last)],
        [float(step[1]), *(2.0 * (step[:-1] + step[1:])).tolist(), float(step[-2])],
        [float(first), *step[:-1].tolist()],
        right,
    )
    bend = (slope[:-1] + slope[1:] - 2.0 * rise) / step[:, None]
    curve = (rise - slope[:-1]) / step[:, None] - bend
    piece = np.clip(np.searchsorted(places, at, side="right") - 1, 0, step.size - 1)
    x = (at - places[piece])[:, None]
    return np.asarray(values[piece] + x * (slope[piece] + x * (curve[piece] + x * (bend / step[:, None])[piece])))


def _tridiagonal(
    below: Sequence[float], diagonal: Sequence[float], above: Sequence[float], right: ComplexArray
) -> ComplexArray:
    """The solution (N, P) of tridiagonal equations for right-hand sides (N, P), by elimination without exchanges."""
    factors: list[float] = [0.0]
    pivots = [diagonal[0]]
    for low, own, high in zip(below, diagonal[1:], above, strict=True):
        factors.append(low / pivots[-1])
        pivots.append(own - factors[-1] * high)
    solved = []
    for column in right.T.tolist():
        for i in range(1, len(column)):
            column[i] -= factors[i] * column[i - 1]
        column[-1] /= pivots[-1]
        for i in reversed(range(len(column) - 1)):
            column[i] = (column[i] - above[i] * column[i + 1]) / pivots[i]
        solved.append(column)
    return np.array(solved, dtype=np.complex128).T
