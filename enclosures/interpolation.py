"""Smooth functions through given nodes, in barycentric form (Berrut & Trefethen, SIAM Review 46, 2004, eq. 4.2)."""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np

from enclosures.arrays import RealArray


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
