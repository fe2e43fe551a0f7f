"""Boundary elements for a rigid body with three planes of mirror symmetry: what is left of a wave on its surface.

Direct collocation of the exterior Kirchhoff-Helmholtz equation with flat panels of constant pressure,
p/2 - integral of p dg/dn' = p_incident on the body, g = e^{-jkR}/(4 pi R), n' outward (Colton & Kress, Integral
Equation Methods in Scattering Theory, 1983, section 3.6; e^{+jwt} here). By reciprocity the incident wave is that of a
point source at the listener, and one solution serves every radiator on the body.

A panel's static double layer is its solid angle, exact in closed form; the dynamic factor (1 + jkR) e^{-jkR} hardly
changes over a panel and is taken at its centre. The mirror planes split the equations into eight independent sets, one
for each choice of even or odd about the three planes, each of an eighth of the unknowns.

Direct collocation fails near the frequencies at which the inside, with zero pressure on its walls, resonates: the
caller stays below the first of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from enclosures.arrays import ComplexArray, RealArray

GRADING = 0.6  # of the cells' sizes follows a cosine towards the edges, where the pressure goes as distance^(2/3)

MIRRORS = np.array([[1 - 2 * (g >> axis & 1) for axis in range(3)] for g in range(8)], dtype=np.float64)  # (8, 3)
PARITIES = np.array([[1 - 2 * (bin(g & s).count("1") & 1) for g in range(8)] for s in range(8)], dtype=np.float64)


def solid_angles(points: RealArray, panels: RealArray) -> RealArray:
    """The solid angle (Q, N), in sr, of flat four-cornered panels (N, 4, 3) seen from points (Q, 3).

    Two triangles each: van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30 (1983), 125, eq. (8). Not signed; a point
    in the plane of a panel sees nothing of it.
    """
    corners = panels[None] - points[:, None, None, :]
    r = np.linalg.norm(corners, axis=3)
    normals = np.cross(panels[:, 2] - panels[:, 0], panels[:, 3] - panels[:, 1])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    height = np.einsum("qni,ni->qn", corners[:, :, 0], normals)
    total = np.zeros(height.shape)
    for i, j in ((1, 2), (2, 3)):
        a, b, c = corners[:, :, 0], corners[:, :, i], corners[:, :, j]
        volume = np.einsum("qni,qni->qn", a, np.cross(b, c))
        below = (
            r[:, :, 0] * r[:, :, i] * r[:, :, j]
            + np.einsum("qni,qni->qn", a, b) * r[:, :, j]
            + np.einsum("qni,qni->qn", b, c) * r[:, :, 0]
            + np.einsum("qni,qni->qn", c, a) * r[:, :, i]
        )
        total += 2.0 * np.arctan2(np.abs(volume), below)
    return np.where(np.abs(height) < 1e-9, 0.0, total)


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """One eighth of the surface, centred on the origin, where x, y and z are positive: panels (n, 4, 3) in m."""

    panels: RealArray
    centres: RealArray  # (n, 3)
    angles: RealArray  # (8, n, n) sr: panel j mirrored by g, seen from the centre of panel i
    distances: RealArray  # (8, n, n) m, likewise

    @classmethod
    def of(cls, panels: RealArray) -> Body:
        """The body of these panels; a panel's corners go round it."""
        centres = panels.mean(axis=1)
        return cls(panels, centres, _seen(centres, panels), _distances(centres, centres))


def _mirrored(points: RealArray) -> RealArray:
    """Points (n, ..., 3) and their mirror images, (8, n, ..., 3)."""
    return MIRRORS.reshape(8, *(1,) * (points.ndim - 1), 3) * points


def _seen(points: RealArray, panels: RealArray) -> RealArray:
    return np.stack([solid_angles(points, image) for image in _mirrored(panels)])


def _distances(points: RealArray, centres: RealArray) -> RealArray:
    return np.asarray(np.linalg.norm(points[None, :, None, :] - _mirrored(centres)[:, None], axis=3))


def _layer(wavenumber: float, angles: RealArray, distances: RealArray) -> ComplexArray:
    """Minus the double layer: angle/(4 pi) (1 + jkR) e^{-jkR}."""
    phase = 1j * wavenumber * distances
    return np.asarray((angles / (4.0 * np.pi)) * ((1.0 + phase) * np.exp(-phase)))


def surface_pressure(body: Body, points: RealArray, listeners: RealArray, wavenumbers: RealArray) -> ComplexArray:
    """The pressure (1/m) at points (Q, 3) on flat parts of the rigid body for a unit point source at each listener.

    `listeners` is (P, 3), both about the body's centre; the result (F, P, Q) holds p with p = e^{-jkr}/(4 pi r) where
    nothing stands in the way, so 2 pi p is the volume-velocity transfer in the sense of `enclosures.baffle`.
    """
    n = len(body.centres)
    from_listeners = np.linalg.norm(_mirrored(body.centres)[:, :, None] - listeners, axis=3)  # (8, n, P)
    to_points = np.linalg.norm(points[:, None] - listeners, axis=2)  # (Q, P)
    angles, distances = _seen(points, body.panels), _distances(points, body.centres)
    diagonal = np.arange(n)
    result = np.empty((len(wavenumbers), len(listeners), len(points)), dtype=np.complex128)
    for f, k in enumerate(wavenumbers):
        layer = _layer(k, body.angles, body.distances)
        matrices = (PARITIES @ layer.reshape(8, -1).view(np.float64)).view(np.complex128).reshape(8, n, n)
        matrices[:, diagonal, diagonal] += 0.5
        incident = np.exp(-1j * k * from_listeners) / (4.0 * np.pi * from_listeners)
        solved = np.linalg.solve(matrices, np.einsum("sg,gip->sip", PARITIES / 8.0, incident))
        pressure = np.einsum("sg,sip->gip", PARITIES, solved)
        scattered = np.einsum("gqi,gip->pq", _layer(k, angles, distances), pressure, optimize=True)
        direct = np.exp(-1j * k * to_points) / (4.0 * np.pi * to_points)
        result[f] = 2.0 * (direct.T - scattered)  # p/2 = p_incident + double layer, at a flat point of the surface
    return result


def box_body(size: RealArray, panel: float, fewest: int = 3) -> Body:
    """The eighth of a box of the given size (3,), with panels of about `panel` m, smaller towards its edges."""
    cuts = []
    for side in size:
        count = max(fewest, int(np.ceil(0.5 * side / panel)))
        t = np.linspace(0.0, 1.0, count + 1)
        cuts.append(0.5 * side * (GRADING * np.sin(0.5 * np.pi * t) + (1.0 - GRADING) * t))
    panels = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for i in range(len(cuts[u]) - 1):
            for j in range(len(cuts[v]) - 1):
                corners = np.full((4, 3), 0.5 * size[axis])
                corners[:, u] = cuts[u][[i, i + 1, i + 1, i]]
                corners[:, v] = cuts[v][[j, j, j + 1, j + 1]]
                panels.append(corners)
    return Body.of(np.array(panels))
