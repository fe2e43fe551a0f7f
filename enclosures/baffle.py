"""From a volume velocity on a cabinet's face to the pressure at a point: infinite wall, and rigid cabinet in free air.

Cabinet frame: origin in the lower left front corner as seen from the front, x to the right as seen from the front, y
up, z out of the front towards the listener. The body fills 0 < x < W, 0 < y < H, -D < z < 0.

G (1/m) is the pressure in units that make an infinite wall simple: p = j w rho U G/(2 pi), U positive outward,
e^{+jwt}; a point in an infinite wall has G = e^{-jkr}/r. The cabinet's G is absolute, not a step to be added by hand:

    G = D(k a sin) V e^{-jkr}/r + D(k a) (E1 + E2 + C)

V is 1, 1/2 or 0 where the listener is in front of, in the plane of, or behind the source's face; D is the piston's
directivity, at the listener's angle for the direct wave and along the face for all that goes round an edge; E1 and E2
are the edges' waves of first and second order (`enclosures.edges`). C corrects the edges at low frequency, where waves
bent three times and more matter: it is the boundary-element solution of the same cabinet for the same listener
(`enclosures.boundary`) less V e^{-jkr}/r + E1 + E2. So below `FADE[0]` of the cabinet's first interior resonance
c/2 sqrt(1/W^2 + 1/H^2 + 1/D^2) the result *is* the boundary-element solution (at 0 Hz the exact static field, with the
shift of the acoustic centre at the listener's distance), and above `FADE[1]` of it the edges alone. C with the delay
of r removed is smooth: it is computed at Chebyshev points of that range and interpolated.

Not modelled: rounded edges (sharp ones are taken), and the piston's size beyond D. Edge waves start from its centre;
against an average over the area of pistons with a radius of a third of the cabinet's width, the level in front is
within 0.45 dB up to k a = 3. In the shadow behind, the zero of D(k a) at 3.83 leaves a deep notch that a real cone,
long past piston motion there, fills. Listening points are meant to be 0.3 m or more from the cabinet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.boundary import Body, box_body, surface_pressure
from enclosures.edges import Block, Echoes, Face, Radiator, first_order, second_order
from enclosures.radiation import piston_directivity

FaceName = Literal["front", "rear", "left", "right", "top", "bottom"]

FADE = (0.62, 0.9)  # of the first interior resonance: where the boundary elements hand over to the edges
PANELS = 100  # in an eighth of the surface
BAND = 20e3  # Hz; the edges' integrals resolve this frequency, or the highest asked for
FIRST, SECOND = 3.0, 2.0  # nodes a wavelength at that frequency, for edge waves of first and second order
COARSEST = 6.0  # panels a wavelength: where a flat cabinet's panels are coarser, the edges take over earlier


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A radiator on a face: centre `position` (3,) and outward unit `normal` (3,), `radius` (m, 0 for a point).

    `set_back` (m) is how far its acoustic centre lies behind the face.
    """

    position: RealArray
    normal: RealArray
    radius: float = 0.0
    set_back: float = 0.0


@dataclass(frozen=True, slots=True)
class Box:
    """The outside of a cabinet as it stands (m). Raises ValueError unless all three are above zero."""

    width: float
    height: float
    depth: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(side) and side > 0.0 for side in (self.width, self.height, self.depth)):
            raise ValueError(f"a cabinet's width, height and depth must be above zero, got {self}")

    def point(self, face: FaceName, at: tuple[float, float]) -> tuple[RealArray, RealArray]:
        """Where a cutout lies, position (3,) and outward normal (3,), from its place `at` on a face.

        `at` is seen from outside the face, from its lower left corner; the top is seen with the front edge below, the
        bottom with the front edge above. Raises ValueError for a centre that is not on the face, KeyError for a face
        there is not.
        """
        u, v = at
        w, h, d = self.width, self.height, self.depth
        places = {
            "front": ((u, v, 0.0), (0.0, 0.0, 1.0), (w, h)),
            "rear": ((w - u, v, -d), (0.0, 0.0, -1.0), (w, h)),
            "left": ((0.0, v, u - d), (-1.0, 0.0, 0.0), (d, h)),
            "right": ((w, v, -u), (1.0, 0.0, 0.0), (d, h)),
            "top": ((u, h, -v), (0.0, 1.0, 0.0), (w, d)),
            "bottom": ((u, 0.0, v - d), (0.0, -1.0, 0.0), (w, d)),
        }
        position, normal, (across, up) = places[face]
        if not (0.0 < u < across and 0.0 < v < up):
            raise ValueError(f"the point {u:g}, {v:g} m is not on the {face}, which measures {across:g} by {up:g} m")
        return np.array(position), np.array(normal)

    @property
    def low(self) -> RealArray:
        return np.array([0.0, 0.0, -self.depth])

    @property
    def high(self) -> RealArray:
        return np.array([self.width, self.height, 0.0])

    def interior_resonance(self, speed_of_sound: float) -> float:
        """The first resonance (Hz) of the body's inside with zero pressure on its walls."""
        return 0.5 * speed_of_sound * math.hypot(1.0 / self.width, 1.0 / self.height, 1.0 / self.depth)

    @property
    def panel(self) -> float:
        """The size (m) of a boundary element: an eighth of the surface has about `PANELS` of them."""
        w, h, d = self.width, self.height, self.depth
        return math.sqrt((w * h + h * d + d * w) / (4.0 * PANELS))


def wall_paths(sources: Sequence[Source], listeners: RealArray, omega: RealArray, air: Air) -> ComplexArray:
    """G (F, P, S) of sources in an infinite rigid wall at listeners (P, 3): D e^{-jkr}/r, and the set-back's delay.

    D = 2 J1(x)/x at the listener's angle to the source's normal (`piston_directivity`). Raises ValueError where a
    listener is at a source or behind its wall.
    """
    k = np.asarray(omega, dtype=np.float64) / air.speed_of_sound
    listeners = np.atleast_2d(np.asarray(listeners, dtype=np.float64))
    result = np.empty((k.size, len(listeners), len(sources)), dtype=np.complex128)
    for s, source in enumerate(sources):
        r, cosine = _bearing(source, listeners)
        if np.any(cosine * r < -1e-9):
            raise ValueError("a listening point lies behind the wall the source is in")
        sine = np.sqrt(np.clip(1.0 - cosine**2, 0.0, 1.0))
        wave = np.exp(-1j * np.outer(k, r + source.set_back * cosine)) / r
        result[:, :, s] = wave * piston_directivity(k[:, None], source.radius, sine)
    return result


def _bearing(source: Source, listeners: RealArray) -> tuple[RealArray, RealArray]:
    """Distance (P,) of listeners from a source and the cosine (P,) of their angle to its normal."""
    offset = listeners - source.position
    r = np.linalg.norm(offset, axis=1)
    if np.any(r <= 0.0):
        raise ValueError("a listening point lies in a source")
    return r, offset @ source.normal / r


def free_paths(box: Box, sources: Sequence[Source], listeners: RealArray, omega: RealArray, air: Air) -> ComplexArray:
    """G (F, P, S), 1/m, of sources on any face of a rigid box in free air at listeners (P, 3) outside it.

    The absolute level, from half space at high to full space at low frequency; the module says how. Measured against
    our own boundary elements five times as fine (a cube, a slim and a flat box, any face, all round at 1.3 and 2 m):
    within 0.15 dB in front, 0.2 dB behind up to `FADE[0]`; above it within 0.5 dB in front and 1 to 2.5 dB deep in
    the shadow. Raises ValueError where a source is not on a face or a listener not outside.
    """
    k = np.asarray(omega, dtype=np.float64) / air.speed_of_sound
    listeners = np.atleast_2d(np.asarray(listeners, dtype=np.float64))
    if not sources:
        return np.zeros((k.size, len(listeners), 0), dtype=np.complex128)
    shortest = min(air.speed_of_sound / BAND, 2.0 * math.pi / max(float(np.max(k, initial=0.0)), 1e-9))
    outlets = tuple((_key(source.position), _key(source.normal)) for source in sources)
    around = _surrounding(box, outlets, tuple(map(_key, listeners)), air.speed_of_sound, shortest)
    bent = around.echoes.spectra(k) + _handed_over(k, around.nodes, around.correction)

    result = np.empty(bent.shape, dtype=np.complex128)
    for s, source in enumerate(sources):
        distance, cosine = around.distance[:, s], around.cosine[:, s]
        sine = np.sqrt(np.clip(1.0 - cosine**2, 0.0, 1.0))
        direct = piston_directivity(k[:, None], source.radius, sine) * (around.sight[:, s] / distance)
        round_edges = piston_directivity(k[:, None], source.radius, np.ones(1)) * bent[:, :, s]
        result[:, :, s] = (direct + round_edges) * np.exp(-1j * np.outer(k, distance + source.set_back * cosine))
    return result


Point = tuple[float, ...]


def _key(point: RealArray) -> Point:
    return tuple(map(float, point))


@dataclass(frozen=True, slots=True, eq=False)
class _Surrounding:
    """All about a box, its S outlets and P listeners in which no frequency of interest has a part: solved once, kept.

    `distance`, `cosine` (to the outlet's normal) and `sight` are (P, S); `correction` (N, P, S), 1/m, is C times
    e^{jkr} at the wave numbers `nodes` (N,).
    """

    distance: RealArray
    cosine: RealArray
    sight: RealArray
    echoes: Echoes
    nodes: RealArray
    correction: ComplexArray


@lru_cache(maxsize=32)
def _surrounding(
    box: Box,
    outlets: tuple[tuple[Point, Point], ...],
    points: tuple[Point, ...],
    speed_of_sound: float,
    shortest: float,
) -> _Surrounding:
    """`outlets` are positions and normals; the edges resolve waves of length `shortest` (m). Raises as `free_paths`."""
    block = Block(box.low, box.high)
    listeners = np.array(points)
    if np.any(np.all((listeners >= block.low) & (listeners <= block.high), axis=1)):
        raise ValueError("a listening point lies inside the cabinet or on it")
    sources = [Source(np.array(position), np.array(normal)) for position, normal in outlets]
    radiators = [Radiator(_face_of(block, source), source.position) for source in sources]
    bearings = [_bearing(source, listeners) for source in sources]
    r, cosine = (np.stack(column, axis=1) for column in zip(*bearings, strict=True))
    sight = np.stack([_sight(block, radiator.face, listeners) for radiator in radiators], axis=1)
    highest = min(FADE[1] * box.interior_resonance(speed_of_sound), speed_of_sound / (COARSEST * box.panel))
    top = 2.0 * math.pi * highest / speed_of_sound
    nodes = _nodes(top, float(np.linalg.norm(block.high - block.low)))
    echoes = _echoes(block, radiators, listeners, r, shortest)
    exact = 2.0 * math.pi * _boundary(box, radiators, listeners, nodes)
    correction = exact * np.exp(1j * nodes[:, None, None] * r) - sight / r - echoes.spectra(nodes)
    return _Surrounding(r, cosine, sight, echoes, nodes, correction)


def _face_of(block: Block, source: Source) -> Face:
    """The face a source lies on, by its normal and position."""
    axis = int(np.argmax(np.abs(source.normal)))
    face = Face(axis, bool(source.normal[axis] > 0.0))
    others = [a for a in range(3) if a != axis]
    inside = all(block.low[a] + 1e-6 <= source.position[a] <= block.high[a] - 1e-6 for a in others)
    if not (abs(abs(source.normal[axis]) - 1.0) < 1e-9 and inside and block.height(face, source.position) == 0.0):
        raise ValueError(f"a source at {source.position} m facing {source.normal} is not on a face of the cabinet")
    return face


def _sight(block: Block, face: Face, listeners: RealArray) -> RealArray:
    height = block.height(face, listeners)
    return np.where(height > 0.0, 1.0, np.where(height == 0.0, 0.5, 0.0))


def _echoes(block: Block, radiators: Sequence[Radiator], listeners: RealArray, r: RealArray, shortest: float) -> Echoes:
    """What goes round the edges: its spectra are E1 + E2 (F, P, S), 1/m, times e^{jkr}."""
    size = block.high - block.low
    longest = 3.0 * float(np.linalg.norm(size)) + float(np.sum(size))  # no path is longer than r plus this
    width = shortest / 10.0
    echoes = Echoes(width, math.ceil(longest / width), (len(listeners), len(radiators)))
    by_face: dict[Face, list[int]] = {}
    for s, radiator in enumerate(radiators):
        by_face.setdefault(radiator.face, []).append(s)
        for p, paths in enumerate(first_order(block, radiator, listeners, shortest / FIRST)):
            echoes.add(p, s, paths, r[p, s])
    for face, members in by_face.items():
        parts = second_order(block, face, [radiators[s] for s in members], listeners, shortest / SECOND)
        for member, p, paths in parts:
            echoes.add(p, members[member], paths, r[p, members[member]])
    return echoes


def _nodes(top: float, diagonal: float) -> RealArray:
    """Wave numbers (1/m) from 0 to `top` for the correction: Chebyshev points, enough for paths round the body."""
    count = 9 + math.ceil(0.6 * top * diagonal)
    return 0.5 * top * (1.0 - np.cos(np.pi * np.arange(count + 1) / count))


def _handed_over(k: RealArray, nodes: RealArray, values: RealArray | ComplexArray) -> ComplexArray:
    """Values at the nodes (N, P, S), interpolated to k (barycentric formula: Berrut & Trefethen, SIAM Review 46, 2004,
    eqs. 4.2 and 5.4) and faded out over the top of the nodes' range: (F, P, S)."""
    result = np.zeros((k.size, *values.shape[1:]), dtype=np.complex128)
    below = np.flatnonzero(k < nodes[-1])
    signs = np.where(np.arange(nodes.size) % 2 == 0, 1.0, -1.0)
    signs[[0, -1]] *= 0.5
    apart = k[below, None] - nodes
    on_node = np.abs(apart) < 1e-12 * nodes[-1]
    weights = signs / np.where(on_node, 1.0, apart)
    exact = on_node.any(axis=1)
    weights[exact] = on_node[exact]
    weights /= weights.sum(axis=1, keepdims=True)
    t = np.clip((k[below] / nodes[-1] * FADE[1] - FADE[0]) / (FADE[1] - FADE[0]), 0.0, 1.0)
    fade = 0.5 * (1.0 + np.cos(np.pi * t))
    result[below] = np.einsum("fn,nps->fps", fade[:, None] * weights, values)
    return result


@lru_cache(maxsize=8)
def _body(box: Box) -> Body:
    return box_body(box.high - box.low, box.panel)


def _boundary(box: Box, radiators: Sequence[Radiator], listeners: RealArray, nodes: RealArray) -> ComplexArray:
    centre = 0.5 * (box.low + box.high)
    places = np.array([radiator.position for radiator in radiators]) - centre
    return surface_pressure(_body(box), places, listeners - centre, nodes)
