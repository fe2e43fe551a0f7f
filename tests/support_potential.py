"""Potential flow by finite elements, for the tests only; nothing of the package is imported.

Quadratic elements on the rectangles between lines of two coordinates u and v. What is stored is the energy
integral of (A p_u^2 + B p_v^2) du dv: A = B = 1 in the plane, A = B = r in axial symmetry, A = r and B = 1/r for u = r
and v = the angle. Air at rest has the acoustic mass rho times pressure per flow of such a field.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.sparse import csc_matrix, csr_matrix
from scipy.sparse.linalg import spsolve

GAUSS_X = np.array([-math.sqrt(0.6), 0.0, math.sqrt(0.6)])
GAUSS_W = np.array([5, 8, 5]) / 9
SHAPE = np.stack([GAUSS_X * (GAUSS_X - 1) / 2, 1 - GAUSS_X**2, GAUSS_X * (GAUSS_X + 1) / 2])  # (3 nodes, 3 points)
SLOPE = np.stack([GAUSS_X - 0.5, -2 * GAUSS_X, GAUSS_X + 0.5])

Weights = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


def lines_from(start: float, stop: float, first: float, ratio: float) -> np.ndarray:
    """Lines from `start` to `stop`, about `first` apart at the start and `ratio` times wider from one to the next."""
    count = math.ceil(math.log1p(abs(stop - start) * (ratio - 1) / first) / math.log(ratio))
    return start + (stop - start) * (ratio ** np.arange(count + 1) - 1) / (ratio**count - 1)


def lines_between(start: float, stop: float, first: float, ratio: float) -> np.ndarray:
    """The same, narrow at both ends."""
    middle = (start + stop) / 2
    return chained(
        lines_from(start, middle, min(first, abs(stop - start) / 8), ratio),
        lines_from(stop, middle, min(first, abs(stop - start) / 8), ratio)[::-1],
    )


def chained(*parts: np.ndarray) -> np.ndarray:
    """Rows of lines, each of which starts where the last one ends."""
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])


class Grid:
    """Cells between the lines `u` and `v`; `nodes` (U, V, 3, 3) numbers the nodes of each.

    `solid` (U, V) marks cells without air. A `sheet` (i, j) is a thin wall along line i of u, up to line j of v.
    """

    def __init__(
        self, u: np.ndarray, v: np.ndarray, solid: np.ndarray | None = None, sheet: tuple[int, int] | None = None
    ) -> None:
        self.u, self.v = u, v
        shape = (len(u) - 1, len(v) - 1)
        self.air = np.ones(shape, dtype=bool) if solid is None else ~solid
        numbers = np.arange((2 * shape[0] + 1) * (2 * shape[1] + 1)).reshape(2 * shape[0] + 1, -1)
        rows = 2 * np.arange(shape[0])[:, None] + np.arange(3)
        columns = 2 * np.arange(shape[1])[:, None] + np.arange(3)
        self.nodes = numbers[rows[:, None, :, None], columns[None, :, None, :]]
        self.count = numbers.size
        if sheet is not None:  # the cells beyond it have nodes of their own there
            line, stop = sheet
            own = self.count + np.arange(2 * stop)
            beyond = numbers[2 * line, : 2 * stop + 1].copy()
            beyond[:-1] = own
            self.nodes[line, :stop, 0] = beyond[columns[:stop]]
            self.count += len(own)

    def stiffness(self, weights: Weights, cells: np.ndarray | None = None) -> csr_matrix:
        """The energy as a matrix; `weights` gives A and B at values of u."""
        du, dv = np.diff(self.u)[:, None, None], np.diff(self.v)[:, None, None]
        along, across = weights(points(self.u))
        uu = np.einsum("ag,bg,eg->eab", SLOPE, SLOPE, GAUSS_W * along) * 2 / du
        u0 = np.einsum("ag,bg,eg->eab", SHAPE, SHAPE, GAUSS_W * across) * du / 2
        vv = np.einsum("ag,bg,g->ab", SLOPE, SLOPE, GAUSS_W) * 2 / dv
        v0 = np.einsum("ag,bg,g->ab", SHAPE, SHAPE, GAUSS_W) * dv / 2
        elements = np.einsum("eab,fcd->efacbd", uu, v0) + np.einsum("eab,fcd->efacbd", u0, vv)
        chosen = self.air if cells is None else self.air & cells
        return self._gathered(self.nodes[chosen].reshape(-1, 9), elements[chosen].reshape(-1, 9, 9))

    def side_stiffness(self, nodes: np.ndarray, lines: np.ndarray, weight: np.ndarray) -> csr_matrix:
        """Integral of weight p^2 over sides `nodes` (n, 3) between n + 1 `lines`; `weight` (n, 3) at their points."""
        elements = np.einsum("ag,bg,eg->eab", SHAPE, SHAPE, GAUSS_W * weight) * np.diff(lines)[:, None, None] / 2
        return self._gathered(nodes, elements)

    def side_load(self, nodes: np.ndarray, lines: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Integral of weight p over such sides, as a row for p."""
        load = np.zeros(self.count)
        np.add.at(load, nodes, np.einsum("ag,eg->ea", SHAPE, GAUSS_W * weight) * np.diff(lines)[:, None] / 2)
        return load

    def volume_load(self, cells: np.ndarray) -> np.ndarray:
        """Integral of u p over `cells`, as a row for p: the mean over a volume of axial symmetry."""
        radial = np.einsum("ag,eg->ea", SHAPE, GAUSS_W * points(self.u)) * np.diff(self.u)[:, None] / 2
        axial = np.einsum("ag,g->a", SHAPE, GAUSS_W) * np.diff(self.v)[:, None] / 2
        load = np.zeros(self.count)
        np.add.at(load, self.nodes[cells], np.einsum("ea,fb->efab", radial, axial)[cells])
        return load

    def solved(self, matrix: csr_matrix, load: np.ndarray, mean: np.ndarray | None = None) -> np.ndarray:
        """p for `matrix` p = `load`; with `mean`, the one whose mean is zero."""
        used = np.unique(self.nodes[self.air])
        full = csc_matrix(matrix[used][:, used])
        p = np.zeros(self.count)
        if mean is None:
            p[used] = spsolve(full, load[used])
            return p
        p[used[1:]] = spsolve(full[1:, 1:], load[used[1:]])  # zero at one node, then moved
        p[used] -= mean @ p / mean.sum()
        return p

    def drop(self, matrix: csr_matrix, start: np.ndarray, stop: np.ndarray) -> float:
        """The energy of the field that is 1 on the nodes `start` and 0 on `stop`."""
        p = np.zeros(self.count)
        p[start] = 1
        free = np.setdiff1d(np.unique(self.nodes[self.air]), np.concatenate([start, stop]))
        p[free] = spsolve(csc_matrix(matrix[free][:, free]), -(matrix @ p)[free])
        return float(p @ (matrix @ p))

    def _gathered(self, nodes: np.ndarray, elements: np.ndarray) -> csr_matrix:
        n = nodes.shape[1]
        places = (np.repeat(nodes, n, axis=1).ravel(), np.tile(nodes, (1, n)).ravel())
        return csr_matrix((elements.ravel(), places), shape=(self.count, self.count))


def points(lines: np.ndarray) -> np.ndarray:
    """The Gauss points (n, 3) between n + 1 lines."""
    return ((lines[1:] + lines[:-1])[:, None] + np.diff(lines)[:, None] * GAUSS_X) / 2
