"""Boundary elements for a rigid body with mirror symmetry: what is left of a wave on its surface.

Direct collocation of the exterior Kirchhoff-Helmholtz equation with flat panels of constant pressure,
p/2 - integral of p dg/dn' = p_incident on the body, g = e^{-jkR}/(4 pi R), n' outward (Colton & Kress, Integral
Equation Methods in Scattering Theory, 1983, section 3.6; e^{+jwt} here). By reciprocity the incident wave is that of a
point source at the listener; the equations are solved once for the radiators on the body (`Replies`), and serve every
listener.

A panel's static double layer is its solid angle, exact in closed form; the dynamic factor (1 + jkR) e^{-jkR} hardly
changes over a panel and is taken at its centre. Mirror planes split the equations into independent sets, one for each
choice of even or odd about each plane: eight of an eighth of the unknowns for a box, four of a quarter where the front
and the rear differ.

Constant panels on a body with edges leave an error that falls as their size to the power of `ORDER`; two bodies, one
with two thirds the size of the other's panels, take most of it out (`carried_on`).

Direct collocation fails near the frequencies at which the inside, with zero pressure on its walls, resonates: the
caller stays below the first of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from enclosures.arrays import ComplexArray, RealArray

GRADING = 0.6  # of the cells' sizes follows a cosine towards the edges, where the pressure goes as distance^(2/3)
ORDER = 1.6  # measured on boxes from 1:1:1 to 6:2:1, with and without rounding: between 1.4 and 1.8

FINER = 1.5  # how much smaller the second body's panels are

MIRRORS = np.array([[1 - 2 * (g >> axis & 1) for axis in range(3)] for g in range(8)], dtype=np.float64)  # (8, 3)
PARITIES = np.array([[1 - 2 * ((g & s).bit_count() & 1) for g in range(8)] for s in range(8)], dtype=np.float64)


def solid_angles(points: RealArray, panels: RealArray) -> RealArray:
    """The solid angle (Q, N), in sr, of flat four-cornered panels (N, 4, 3) seen from points (Q, 3).

    Two triangles each: van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983), 125, eq. (8). Not signed; a point
    in the plane of a panel sees nothing of it.
    """
    corners = panels.transpose(1, 0, 2)  # (4, N, 3)
    doubled = [np.cross(corners[i] - corners[0], corners[j] - corners[0]) for i, j in ((1, 2), (2, 3))]
    normals = doubled[0] + doubled[1]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    height = np.einsum("ni,ni->n", corners[0], normals) - points @ normals.T
    along = [points @ corner.T for corner in corners]
    square = np.einsum("qi,qi->q", points, points)[:, None]

    def product(i: int, j: int) -> RealArray:
        """The scalar product of the ways from each point to corners i and j."""
        return np.asarray(np.einsum("ni,ni->n", corners[i], corners[j]) - along[i] - along[j] + square)

    r = [np.sqrt(product(i, i)) for i in range(4)]
    diagonal = product(0, 2)
    total = np.zeros(height.shape)
    for i, j, area in ((1, 2, doubled[0]), (2, 3, doubled[1])):
        to_first = product(0, i) if i == 1 else diagonal
        to_last = diagonal if j == 2 else product(0, j)
        below = r[0] * r[i] * r[j] + to_first * r[j] + product(i, j) * r[0] + to_last * r[i]
        total += 2.0 * np.arctan2(np.abs(height) * np.linalg.norm(area, axis=1), below)
    return np.where(np.abs(height) < 1e-9, 0.0, total)


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """The part of a convex surface about the origin where x and y (and z) are positive: panels (n, 4, 3) in m.

    Its G mirror images, in the planes of x and y (G 4) or of all three (G 8), complete it.
    """

    panels: RealArray
    centres: RealArray  # (n, 3)
    images: int  # G
    angles: RealArray  # (G, n, n) sr: panel j mirrored by g, seen from the centre of panel i
    distances: RealArray  # (G, n, n) m, likewise

    @classmethod
    def of(cls, panels: RealArray, images: int = 8) -> Body:
        """The body of these panels; a panel's corners go round it."""
        centres = panels.mean(axis=1)
        return cls(panels, centres, images, _seen(centres, panels, images), _distances(centres, centres, images))


def _mirrored(points: RealArray, images: int) -> RealArray:
    """Points (n, ..., 3) and their mirror images, (G, n, ..., 3)."""
    return MIRRORS[:images].reshape(images, *(1,) * (points.ndim - 1), 3) * points


def _seen(points: RealArray, panels: RealArray, images: int) -> RealArray:
    return np.stack([solid_angles(points, image) for image in _mirrored(panels, images)])


def _distances(points: RealArray, centres: RealArray, images: int) -> RealArray:
    return np.stack(
        [
            np.sqrt(sum(np.subtract.outer(p, c) ** 2 for p, c in zip(points.T, image.T, strict=True)))
            for image in _mirrored(centres, images)
        ]
    )


class _Layer:
    """Minus the double layer, angle/(4 pi) (1 + jkR) e^{-jkR}, at k = 0, step, 2 step ... in turn.

    With even steps each wave follows from the last by one product: ten times as fast as sines and cosines.
    """

    def __init__(self, angles: RealArray, distances: RealArray, step: float) -> None:
        phase = step * distances
        self.phase = 1j * phase
        self.turn = np.exp(-self.phase)
        self.wave = (angles / (4.0 * np.pi)).astype(np.complex128)
        self.count = 0

    def advance(self) -> ComplexArray:
        """The layer at the next wave number."""
        result = self.wave * (1.0 + self.count * self.phase)
        self.wave *= self.turn
        self.count += 1
        return np.asarray(result)


@dataclass(frozen=True, slots=True, eq=False)
class Replies:
    """A rigid body's scattering as Q points on it take it up from waves that come from anywhere: solved once, kept.

    `weights` (F, Q, G n) are what the incident pressure at the centre of each panel and image counts for, at the
    F multiples of the wave number `step` (1/m) from 0. The equations are those of the module transposed, A' w = d with
    d a point's own double layer: a listener then costs one product instead of a solution of the equations.
    """

    body: Body
    points: RealArray  # (Q, 3)
    step: float
    weights: ComplexArray

    @classmethod
    def of(cls, body: Body, points: RealArray, step: float, count: int) -> Replies:
        """Of points (Q, 3) on flat parts of the body, at `count` wave numbers."""
        n, images = len(body.centres), body.images
        parities = PARITIES[:images, :images]
        surface = _Layer(body.angles, body.distances, step)
        onward = _Layer(_seen(points, body.panels, images), _distances(points, body.centres, images), step)
        diagonal = np.arange(n)
        weights = np.empty((count, len(points), images * n), dtype=np.complex128)
        for f in range(count):
            layer = surface.advance().reshape(images, -1)
            matrices = (parities @ layer.view(np.float64)).view(np.complex128).reshape(images, n, n)
            matrices[:, diagonal, diagonal] += 0.5
            own = np.tensordot(parities, onward.advance(), axes=1)  # (G, Q, n), one for each choice of even or odd
            solved = np.linalg.solve(np.swapaxes(matrices, 1, 2), np.swapaxes(own, 1, 2))  # (G, n, Q)
            weights[f] = np.einsum("sg,siq->qgi", parities / images, solved).reshape(len(points), -1)
        return cls(body, points, step, weights)

    def pressure(self, listeners: RealArray) -> ComplexArray:
        """(F, P, Q) for listeners (P, 3), as `surface_pressure` has it."""
        around = _mirrored(self.body.centres, self.body.images).reshape(-1, 3)
        k = self.step * np.arange(len(self.weights))[:, None, None]
        incident = _waves(k, np.linalg.norm(around[:, None] - listeners, axis=2))  # (F, G n, P)
        direct = _waves(k, np.linalg.norm(self.points[:, None] - listeners, axis=2))  # (F, Q, P)
        # p/2 = p_incident + double layer, at a flat point of the surface
        return np.asarray(np.swapaxes(2.0 * (direct - self.weights @ incident), 1, 2))


def _waves(k: RealArray, r: RealArray) -> ComplexArray:
    return np.asarray(np.exp(-1j * k * r) / (4.0 * np.pi * r))


def surface_pressure(body: Body, points: RealArray, listeners: RealArray, step: float, count: int) -> ComplexArray:
    """The pressure (1/m) at points (Q, 3) on flat parts of the rigid body for a unit point source at each listener.

    `listeners` is (P, 3), both about the body's centre; the wave numbers are the F = `count` multiples of `step` (1/m)
    from 0. The result (F, P, Q) holds p with p = e^{-jkr}/(4 pi r) where nothing stands in the way, so 2 pi p is the
    volume-velocity transfer in the sense of `enclosures.baffle`.
    """
    return Replies.of(body, points, step, count).pressure(listeners)


def carried_on(coarse: ComplexArray, fine: ComplexArray) -> ComplexArray:
    """Pressures of two bodies carried on to panels of no size; the second's are `FINER` times as small."""
    return np.asarray(fine + (fine - coarse) / (FINER**ORDER - 1.0))  # Richardson's extrapolation


def _cuts(count: int) -> RealArray:
    """From 0 to 1, closer towards 1."""
    t = np.linspace(0.0, 1.0, count + 1)
    return np.asarray(GRADING * np.sin(0.5 * np.pi * t) + (1.0 - GRADING) * t)


def _corner(radius: float, segments: int) -> tuple[RealArray, RealArray]:
    """A rounded edge as a polygon about the arc: how far its corners lie inside one face and behind the other (m).

    The polygon touches a circle at even angles, the faces' included, and the circle is a little larger than the arc's,
    so that the polygon cuts off as much of the edge as the arc does.
    """
    apart = 0.5 * math.pi / segments
    within = (segments - 1) * math.tan(0.5 * apart) + 2.0 * math.tan(0.25 * apart)
    touched = radius * math.sqrt((1.0 - 0.25 * math.pi) / (1.0 - within))
    at = apart * np.arange(1, segments)
    out = touched / math.cos(0.5 * apart)
    end = touched * (1.0 - math.tan(0.25 * apart))
    return (
        np.array([end, *(touched - out * np.sin(at)), 0.0]),
        np.array([0.0, *(touched - out * np.cos(at)), end]),
    )


def box_body(size: RealArray, counts: Sequence[int]) -> Body:
    """The eighth of a box of the given size (3,), with `counts` cells across half of each side, closer to the edges."""
    return Body.of(_panels(size, [_cuts(count) for count in counts], np.zeros(1), np.zeros(1)))


def rounded_body(size: RealArray, counts: Sequence[int], radius: float, segments: int, rear: bool = False) -> Body:
    """A box with the four edges of its front (+z) rounded to `radius` (m), with `rear` those of the rear as well.

    Each rounding is a polygon of `segments` sides. A quarter of the box, an eighth where front and rear are alike.
    """
    inset, depth = _corner(radius, segments)
    cuts = [_cuts(count) for count in counts]
    if not rear:
        cuts[2] = np.concatenate([-cuts[2][:0:-1], cuts[2]])
    return Body.of(_panels(size, cuts, inset, depth), 8 if rear else 4)


def _panels(size: RealArray, cuts: Sequence[RealArray], inset: RealArray, depth: RealArray) -> RealArray:
    """Panels (n, 4, 3) between cuts, in halves of the sides, of a box whose front edges are polygons (see `_corner`).

    Cuts of z that begin below 0 ask for the rear as well.
    """
    across, up, along = cuts
    half = 0.5 * size
    panels: list[RealArray] = []

    def add(u: RealArray, v: RealArray, place: Sequence[RealArray]) -> None:
        """Panels over the grid of u and v; `place` is x, y and z of its corners."""
        grid = np.stack([np.broadcast_to(axis, (len(u), len(v))) for axis in place], axis=2)
        corners = (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:])
        panels.append(np.stack(corners, axis=2).reshape(-1, 4, 3))

    x, y = (half[0] - inset)[:, None] * across, (half[1] - inset)[:, None] * up  # (corners of the polygon, cuts)
    front = (half[2] - depth)[:, None]
    # the sides, from the rear or the middle to where the rounding begins
    low = -half[2] if along[0] < 0.0 else 0.0
    z = (low + (along - along[0]) / (1.0 - along[0]) * (half[2] - depth[-1] - low))[:, None]
    add(across, up, (x[0][:, None], y[0], half[2:]))
    add(along, up, (half[:1], y[-1], z))
    add(along, across, (x[-1], half[1:2], z))
    add(inset, up, ((half[0] - inset)[:, None], y, front))
    add(inset, across, (x, (half[1] - inset)[:, None], front))
    if low < 0.0:
        add(across, up, (x[-1][:, None], y[-1], -half[2:]))
    return np.concatenate(panels)
