"""A second way to work out a line, for the tests only: finite elements of Webster's equation.

Quadratic elements on p; (S/rho_e p')' + w^2 S/K p = sources, with rho_e and K of the place itself. Nothing of the
package is imported: wall losses, filling and pipe ends are written here once more from the publications.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.linalg import eigh, solve_banded
from scipy.special import ive

RHO, C, MU, PR, GAMMA = 1.2041, 343.21, 1.82e-5, 0.72, 1.401
GAUSS_X = np.array([-math.sqrt(0.6), 0.0, math.sqrt(0.6)])
GAUSS_W = np.array([5, 8, 5]) / 9
SHAPE = np.stack([GAUSS_X * (GAUSS_X - 1) / 2, 1 - GAUSS_X**2, GAUSS_X * (GAUSS_X + 1) / 2])  # (3 nodes, 3 points)
SLOPE = np.stack([GAUSS_X - 0.5, -2 * GAUSS_X, GAUSS_X + 0.5])


@dataclass(frozen=True)
class Stretch:
    """length, areas, taper; sigma > 0 is filled (Miki), 0 is unfilled, walls lossy or not."""

    length: float
    start: float
    end: float
    taper: str = "area_linear"
    sigma: float = 0.0
    count: int = 1

    def area(self, t: np.ndarray) -> np.ndarray:
        if self.taper == "area_linear":
            return self.start + (self.end - self.start) * t
        if self.taper == "conical":
            return (math.sqrt(self.start) + (math.sqrt(self.end) - math.sqrt(self.start)) * t) ** 2
        return self.start * (self.end / self.start) ** t


def air_at(w: float, area: np.ndarray, stretch: Stretch, lossy: bool) -> tuple[np.ndarray, np.ndarray]:
    """Effective density and bulk modulus at places of this area."""
    if stretch.sigma:
        x = 1000 * w / (2 * math.pi) / stretch.sigma
        zc = RHO * C * (1 + 5.50 * x**-0.632 - 8.43j * x**-0.632)
        k = w / C * (1 + 7.81 * x**-0.618 - 11.41j * x**-0.618)
        return np.full(area.shape, zc * k / w), np.full(area.shape, zc * w / k)
    if not lossy:
        return np.full(area.shape, RHO + 0j), np.full(area.shape, RHO * C**2 + 0j)
    radius = np.sqrt(area / stretch.count / math.pi)
    y = radius * math.sqrt(w * RHO / MU) * np.exp(1j * math.pi / 4)  # sqrt(j w rho/mu) a
    yt = y * math.sqrt(PR)
    viscous = 1 - 2 * ive(1, y) / (y * ive(0, y))
    thermal = GAMMA - (GAMMA - 1) * (1 - 2 * ive(1, yt) / (yt * ive(0, yt)))
    return RHO / viscous, RHO * C**2 / thermal


def end_impedance(w: float, area: float, end: str) -> complex:
    if end == "ideal":
        return 0j
    n1, d1, d2 = {"unflanged": (0.167, 1.393, 0.457), "flanged": (0.182, 1.825, 0.649)}[end]
    s = 1j * w * math.sqrt(area / math.pi) / C
    r = -(1 + n1 * s) / (1 + d1 * s + d2 * s * s)
    return RHO * C / area * (1 + r) / (1 - r)


@dataclass
class Mesh:
    """Elements of all stretches; a driver's position is always the border of two elements."""

    stretches: list[Stretch]
    positions: list[float]
    size: float = 0.004

    def __post_init__(self) -> None:
        self.elements: list[tuple[float, np.ndarray, Stretch]] = []  # length, area at the Gauss points, of what
        borders = [0.0]
        x = 0.0
        for stretch in self.stretches:
            cuts = sorted({x, x + stretch.length, *(p for p in self.positions if x < p < x + stretch.length)})
            for a, b in pairwise(cuts):
                n = max(2, math.ceil((b - a) / self.size))
                h = (b - a) / n
                for i in range(n):
                    t = (a - x + (i + (GAUSS_X + 1) / 2) * h) / stretch.length
                    self.elements.append((h, stretch.area(t), stretch))
                    borders.append(a + (i + 1) * h)
            x += stretch.length
        self.nodes = 2 * len(self.elements) + 1
        self.at = [2 * int(np.argmin(np.abs(np.array(borders) - p))) for p in self.positions]

    def matrices(self, w: float, lossy: bool) -> tuple[np.ndarray, np.ndarray]:
        """Bands (2 up, 2 down) of the stiffness (S/rho_e) and mass (S/K) matrices."""
        stiffness = np.zeros((5, self.nodes), dtype=complex)
        mass = np.zeros((5, self.nodes), dtype=complex)
        density = np.empty((len(self.elements), 3), dtype=complex)
        modulus = np.empty((len(self.elements), 3), dtype=complex)
        h = np.array([element[0] for element in self.elements])
        area = np.array([element[1] for element in self.elements])
        for stretch in self.stretches:
            mine = [i for i, element in enumerate(self.elements) if element[2] is stretch]
            density[mine], modulus[mine] = air_at(w, area[mine], stretch, lossy)
        k = np.einsum("ag,bg,eg->eab", SLOPE, SLOPE, GAUSS_W * area / density) * (2 / h)[:, None, None]
        m = np.einsum("ag,bg,eg->eab", SHAPE, SHAPE, GAUSS_W * area / modulus) * (h / 2)[:, None, None]
        first = 2 * np.arange(len(self.elements))
        for a in range(3):
            for b in range(3):
                np.add.at(stiffness, (2 + a - b, first + b), k[:, a, b])
                np.add.at(mass, (2 + a - b, first + b), m[:, a, b])
        return stiffness, mass

    def solve(self, w: float, mouth: complex, lossy: bool) -> tuple[np.ndarray, np.ndarray]:
        """Za (N, N) at the drivers and the flow out of the mouth per flow into the line at each driver (N,)."""
        stiffness, mass = self.matrices(w, lossy)
        bands = stiffness / (1j * w) + 1j * w * mass
        size = np.abs(bands).max()
        if mouth == 0:
            bands[2, -1] += size * 1e13  # no pressure at the end
            outlet = size * 1e13
        else:
            outlet = 1 / mouth
            bands[2, -1] += outlet
        sources = np.zeros((self.nodes, len(self.at)), dtype=complex)
        for i, node in enumerate(self.at):
            sources[node, i] = 1
        p = solve_banded((2, 2), bands, sources)
        return p[self.at], p[-1] * outlet

    def lossless_poles(self, count: int) -> np.ndarray:
        """Resonances in Hz, closed at 0 and without pressure at the end."""
        full = []
        for bands in self.matrices(1.0, lossy=False):
            matrix = np.zeros((self.nodes, self.nodes))
            for d in range(-2, 3):
                rows = np.arange(max(0, d), self.nodes + min(0, d))
                matrix[rows, rows - d] = bands[2 + d, rows - d].real
            full.append(matrix[:-1, :-1])
        squares = eigh(full[0], full[1], eigvals_only=True, subset_by_index=[0, count - 1])
        return np.sqrt(squares) / (2 * math.pi)
