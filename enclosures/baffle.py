"""From a volume velocity on a cabinet's face to the pressure at a point: infinite wall, and rigid cabinet in free air.

Cabinet frame: origin in the lower left front corner as seen from the front, x to the right as seen from the front, y
up, z out of the front towards the listener. The body fills 0 < x < W, 0 < y < H, -D < z < 0.

G (1/m) is the pressure in units that make an infinite wall simple: p = j w rho U G/(2 pi), U positive outward,
e^{+jwt}; a point in an infinite wall has G = e^{-jkr}/r. The cabinet's G is absolute, not a step to be added by hand:

    G = D(k a sin) V e^{-jkr}/r + D(k a) (E1 + E2 + C)

V is 1, 1/2 or 0 where the listener is in front of, in the plane of, or behind the source's face; D is the piston's
directivity, at the listener's angle for the direct wave and along the face for all that goes round an edge; E1 and E2
are the edges' waves of first and second order (`enclosures.edges`, rounded ones `enclosures.rounded`). C corrects the
edges at low frequency, where waves bent three times and more matter: it is the boundary-element solution of the same
cabinet, roundings and all, for the same listener (`enclosures.boundary`) less V e^{-jkr}/r + E1 + E2. So below
`FADE[0]` of the cabinet's first interior resonance c/2 sqrt(1/W^2 + 1/H^2 + 1/D^2) the result *is* the
boundary-element solution (at 0 Hz the exact static field, with the shift of the acoustic centre at the listener's
distance), and above `FADE[1]` of it the edges alone. C with its delay removed is smooth: it is computed at even steps
of that range and interpolated.

Not modelled: the piston's size beyond D. Edge waves start from its centre; against an average over the area of pistons
with a radius of a third of the cabinet's width, the level in front is within 0.45 dB up to k a = 3. In the shadow
behind, the zero of D(k a) at 3.83 leaves a deep notch that a real cone, long past piston motion there, fills. Listening
points are meant to be 0.3 m or more from the cabinet.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.boundary import FINER, Body, Replies, box_body, carried_on, rounded_body
from enclosures.edges import Block, Echoes, Face, Radiator, across, first_order, second_order
from enclosures.interpolation import Nodes, evenly
from enclosures.radiation import piston_directivity
from enclosures.rounded import change, share

FaceName = Literal["front", "rear", "left", "right", "top", "bottom"]

FADE = (0.62, 0.9)  # of the first interior resonance: where the boundary elements hand over to the edges
PANELS = 36  # in an eighth of the surface; the second set of boundary elements has 9/4 as many
BAND = 20.1e3  # Hz; the edges' integrals resolve this, 20 kHz and a step beyond for its group delay, or what is asked
FIRST, SECOND = 3.0, 2.0  # nodes a wavelength at that frequency, for edge waves of first and second order
COARSEST = 6.0  # of the smaller panels a wavelength: where a flat cabinet's are larger, the edges take over earlier
FRONT, REAR = Face(2, True), Face(2, False)


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
    """The outside of a cabinet as it stands (m).

    `edge_radius` rounds the front's four edges, those it shares with the sides, the top and the bottom, as a cutter run
    round the front does: at the front's corners the two roundings meet in a mitre. With `rounded_rear` the rear's four
    edges have the same radius, which a cabinet has together with its mirror image in a wall at its back. All other
    edges are sharp. An edge bevelled by 45 degrees, d wide on both faces, counts as a radius of 1.53 d, which takes
    off as much: by our own boundary elements within 0.25 dB up to k d = 1 and 1 dB up to k d = 1.65.

    Raises ValueError unless the three measures are above zero and the radius, not negative, is below the depth (half of
    it with `rounded_rear`) and at most half of the width and of the height.
    """

    width: float
    height: float
    depth: float
    edge_radius: float = 0.0
    rounded_rear: bool = False

    def __post_init__(self) -> None:
        if not all(math.isfinite(side) and side > 0.0 for side in (self.width, self.height, self.depth)):
            raise ValueError(f"a cabinet's width, height and depth must be above zero, got {self}")
        straight = self.depth / 2.0 if self.rounded_rear else self.depth
        fits = 2.0 * self.edge_radius <= min(self.width, self.height) and self.edge_radius < straight
        if not (self.edge_radius >= 0.0 and fits):
            raise ValueError(f"edges of radius {self.edge_radius:g} m do not fit a cabinet of {self}")

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
        """The size (m) of the larger boundary elements: an eighth of the surface has about `PANELS` of them."""
        w, h, d = self.width, self.height, self.depth
        return math.sqrt((w * h + h * d + d * w) / (4.0 * PANELS))

    @property
    def block(self) -> Block:
        """The box as the edges' waves see it."""
        faces = (FRONT, REAR) if self.rounded_rear else (FRONT,)
        return Block(self.low, self.high, self.edge_radius, faces if self.edge_radius > 0.0 else ())


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

    The absolute level, from half space at high to full space at low frequency; the module says how. Against fine
    boundary elements that hold through the interior resonances, for points on the front heard at 1 and 2 m, ahead and
    30 degrees up, down, left and right, 50 Hz to 3 kHz, on four cabinets of 18 to 56 l, 1.5 to 5.6 times as high as
    wide: within 0.08 dB up to `FADE[0]` and 0.25 dB above, with the front's edges sharp or rounded to 10 or 25 mm, and
    0.35 dB with 50 mm (taken as sharp, those would be up to 0.7, 2.5 and 4.4 dB wrong). With a radius of half the
    width, or a source that touches the rounding, 1 dB. Sources on a side, heard in front: 0.9 dB.
    Beside and behind the cabinet 0.1 dB up to `FADE[0]`, above it 0.06 of the infinite wall's pressure: 1.5 dB, and
    4 dB deep in the shadow of a source.

    Raises ValueError where a source is not on a face or lies on a rounded edge, or a listener is not outside.
    """
    k = np.asarray(omega, dtype=np.float64) / air.speed_of_sound
    listeners = np.atleast_2d(np.asarray(listeners, dtype=np.float64))
    if not sources:
        return np.zeros((k.size, len(listeners), 0), dtype=np.complex128)
    shortest = min(air.speed_of_sound / BAND, 2.0 * math.pi / max(float(np.max(k, initial=0.0)), 1e-9))
    places = [(_key(source.position), _key(source.normal)) for source in sources]
    outlets = tuple(dict.fromkeys(places))  # a driver and its chamber's leak are one
    around = _surrounding(box, outlets, tuple(map(_key, listeners)), air.speed_of_sound, shortest)
    bent = around.edges.spectra(k) + _handed_over(k, around)
    along = {radius: piston_directivity(k[:, None], radius, np.ones(1)) for radius in {s.radius for s in sources}}

    result = np.empty((*bent.shape[:2], len(sources)), dtype=np.complex128)
    for s, source in enumerate(sources):
        outlet = outlets.index(places[s])
        distance, cosine = around.distance[:, outlet], around.cosine[:, outlet]
        sine = np.sqrt(np.clip(1.0 - cosine**2, 0.0, 1.0))
        direct = piston_directivity(k[:, None], source.radius, sine) * (around.sight[:, outlet] / distance)
        round_edges = along[source.radius] * bent[:, :, outlet]
        result[:, :, s] = (direct + round_edges) * np.exp(-1j * np.outer(k, distance + source.set_back * cosine))
    return result


Point = tuple[float, ...]


def _key(point: RealArray) -> Point:
    return tuple(map(float, point))


@dataclass(frozen=True, slots=True, eq=False)
class _Surrounding:
    """All about a box, its S outlets and P listeners in which no frequency of interest has a part: solved once, kept.

    `distance`, `cosine` (to the outlet's normal) and `sight` are (P, S); `correction` (N, P, S), 1/m, is C times
    e^{jk(r + delay)} at the wave numbers `nodes`.
    """

    distance: RealArray
    cosine: RealArray
    sight: RealArray
    edges: _Edges
    nodes: Nodes
    delay: float
    correction: ComplexArray


@lru_cache(maxsize=16)
def _surrounding(
    box: Box,
    outlets: tuple[tuple[Point, Point], ...],
    points: tuple[Point, ...],
    speed_of_sound: float,
    shortest: float,
) -> _Surrounding:
    """`outlets` are positions and normals; the edges resolve waves of length `shortest` (m). Raises as `free_paths`."""
    block = box.block
    listeners = np.array(points)
    if np.any(np.all((listeners >= block.low) & (listeners <= block.high), axis=1)):
        raise ValueError("a listening point lies inside the cabinet or on it")
    sources = [Source(np.array(position), np.array(normal)) for position, normal in outlets]
    radiators = [Radiator(_face_of(block, source), source.position) for source in sources]
    bearings = [_bearing(source, listeners) for source in sources]
    r, cosine = (np.stack(column, axis=1) for column in zip(*bearings, strict=True))
    sight = np.stack([_sight(block, radiator.face, listeners) for radiator in radiators], axis=1)
    edges = _edges(block, radiators, listeners, r, shortest)

    low = _low_range(box, tuple(position for position, _ in outlets), speed_of_sound)
    k = low.nodes.places
    centred = listeners - 0.5 * (box.low + box.high)
    exact = 2.0 * math.pi * carried_on(*(replies.pressure(centred) for replies in low.replies))
    rest = exact * np.exp(1j * k[:, None, None] * r) - sight / r - edges.spectra(k)
    return _Surrounding(r, cosine, sight, edges, low.nodes, low.delay, rest * np.exp(1j * k * low.delay)[:, None, None])


@dataclass(frozen=True, slots=True, eq=False)
class _LowRange:
    """A box with Q outlets as boundary elements: the wave numbers `nodes`, the `delay` (m) of C, and two bodies."""

    nodes: Nodes
    delay: float
    replies: tuple[Replies, ...]


@lru_cache(maxsize=16)
def _low_range(box: Box, outlets: tuple[Point, ...], speed_of_sound: float) -> _LowRange:
    """`outlets` are positions. No listener has a part in it: of a line's cabinet heard from a dozen points, with an
    image in the floor, it takes 0.1 s once instead of a dozen times, with rounded edges 0.4 s."""
    highest = min(FADE[1] * box.interior_resonance(speed_of_sound), FINER * speed_of_sound / (COARSEST * box.panel))
    top, diagonal = 2.0 * math.pi * highest / speed_of_sound, float(np.linalg.norm(box.high - box.low))
    count = 9 + math.ceil(0.5 * top * diagonal)  # waves round the body are late by 0 to twice its diagonal, about
    nodes, delay = evenly(top / (count - 1), count), 0.5 * diagonal
    places = np.array(outlets) - 0.5 * (box.low + box.high)
    replies = tuple(Replies.of(body, places, float(nodes.places[1]), count) for body in _bodies(box))
    return _LowRange(nodes, delay, replies)


def _face_of(block: Block, source: Source) -> Face:
    """The face a source lies on, by its normal and position."""
    axis = int(np.argmax(np.abs(source.normal)))
    face = Face(axis, bool(source.normal[axis] > 0.0))
    others = [a for a in range(3) if a != axis]
    inside = all(block.low[a] + 1e-6 <= source.position[a] <= block.high[a] - 1e-6 for a in others)
    if not (abs(abs(source.normal[axis]) - 1.0) < 1e-9 and inside and block.height(face, source.position) == 0.0):
        raise ValueError(f"a source at {source.position} m facing {source.normal} is not on a face of the cabinet")
    for other in across(face):
        if block.is_rounded(face, other) and -block.height(other, source.position) < block.radius:
            raise ValueError(f"a source at {source.position} m facing {source.normal} is on a rounded edge")
    return face


def _sight(block: Block, face: Face, listeners: RealArray) -> RealArray:
    height = block.height(face, listeners)
    return np.where(height > 0.0, 1.0, np.where(height == 0.0, 0.5, 0.0))


Function = Callable[[RealArray, RealArray], ComplexArray]
Term = tuple[Function, RealArray, RealArray]


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """What goes round the edges: histograms in groups, and each group's factors.

    A factor is a function of (kappa, angle) with the radius in m that makes kappa of k, (P, S) or (1, 1), and the
    angles (P, S).
    """

    echoes: Echoes
    terms: list[list[Term]]

    def spectra(self, k: RealArray) -> ComplexArray:
        """E1 + E2 (F, P, S), 1/m, times e^{jkr}."""
        spectra = self.echoes.spectra(k)
        total = spectra[:, 0]  # the sharp edges
        for group, terms in enumerate(self.terms[1:], start=1):
            wave = spectra[:, group]
            for function, radius, angle in terms:
                wave = wave * function(k[:, None, None] * radius, angle)
            total = total + wave
        return total


def _edges(block: Block, radiators: Sequence[Radiator], listeners: RealArray, r: RealArray, shortest: float) -> _Edges:
    """The waves of first and second order, in groups that a rounding changes alike."""
    size = block.high - block.low
    longest = 3.0 * float(np.linalg.norm(size)) + float(np.sum(size))  # no path is longer than r plus this
    width = shortest / 10.0
    echoes = Echoes(width, math.ceil(longest / width), r.shape)
    terms: list[list[Term]] = []
    known: dict[object, int] = {}

    def group(key: object, functions: Sequence[Function], shape: tuple[int, ...] = (1, 1)) -> int:
        """A group of paths with its factors; their radii are of the `shape` given, one for all or (P, S)."""
        if key not in known:
            known[key] = echoes.new_group()
            terms.append([(function, np.full(shape, block.radius), np.zeros(r.shape)) for function in functions])
        return known[key]

    sharp = group("sharp", ())
    by_face: dict[Face, list[int]] = {}
    for s, radiator in enumerate(radiators):
        by_face.setdefault(radiator.face, []).append(s)
        for wave in first_order(block, radiator, listeners, shortest / FIRST):
            p = wave.listener
            echoes.add(sharp, p, s, wave.paths, r[p, s])
            if wave.added is not None:
                into = group((radiator.face, wave.edge), (change,), r.shape)
                echoes.add(into, p, s, wave.added, r[p, s])
                terms[into][0][1][p, s], terms[into][0][2][p, s] = block.radius * wave.across, wave.angle
    for face, members in by_face.items():
        for double in second_order(block, face, [radiators[s] for s in members], listeners, shortest / SECOND):
            p, s = double.listener, members[double.source]
            bends = [angle for angle in (double.first, double.last) if angle is not None]
            last = None if double.last is None else (double.via, double.second)
            into = group((double.first, last), [share] * len(bends)) if bends else sharp
            echoes.add(into, p, s, double.paths, r[p, s])
            for (_, _, angles), angle in zip(terms[into], bends, strict=True):
                angles[p, s] = angle
    return _Edges(echoes, terms)


def _handed_over(k: RealArray, around: _Surrounding) -> ComplexArray:
    """C times e^{jkr}, interpolated to k and faded out over the top of the nodes' range: (F, P, S)."""
    top = around.nodes.places[-1]
    result = np.zeros((k.size, *around.correction.shape[1:]), dtype=np.complex128)
    below = np.flatnonzero(k < top)
    t = np.clip((k[below] / top * FADE[1] - FADE[0]) / (FADE[1] - FADE[0]), 0.0, 1.0)
    fade = 0.5 * (1.0 + np.cos(np.pi * t)) * np.exp(-1j * k[below] * around.delay)
    result[below] = np.tensordot(fade[:, None] * around.nodes.matrix(k[below]), around.correction, axes=1)
    return result


@lru_cache(maxsize=8)
def _bodies(box: Box) -> tuple[Body, Body]:
    """The box in larger panels, and in panels two thirds as large."""
    size = box.high - box.low
    counts = [2 * max(1, round(0.25 * float(side) / box.panel)) for side in size]
    segments = 2 * (1 + int(0.25 * math.pi * box.edge_radius / box.panel))

    def body(of_two: int) -> Body:
        finer = [of_two * count // 2 for count in counts]
        if box.edge_radius == 0.0:
            return box_body(size, finer)
        return rounded_body(size, finer, box.edge_radius, of_two * segments // 2, box.rounded_rear)

    return body(2), body(3)
