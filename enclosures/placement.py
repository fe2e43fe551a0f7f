"""Where the cabinet stands: how it is turned, planes and panels near it, the way from its sources to the listener.

Room frame: x is the listener's right, y up, z towards where the front looks before the cabinet is turned; its origin is
that of the cabinet frame (see `enclosures.baffle`). Lying on its left side (as seen from the front) the cabinet is
turned counter-clockwise as seen from the front, on its right side clockwise. Then it leans to the right, about its
front's normal, and is tilted with its front upward, about the room's x.

Planes and panels are taken into account by mirror images. A source's image seen from the listener is the source seen
from the listener's image (reciprocity), so the listening point is mirrored: along each of the three axes not at all or
once in each plane there, in all combinations, and the strengths of the planes of a combination multiply. Each image
thus hears the cabinet's own directivity in its direction. What that leaves out: waves that go back and forth between
opposite planes more than once, or between the cabinet and a plane.

A rigid plane that touches a face of the cabinet leaves nothing out: cabinet and mirror image are then one body of twice
the size with twice the sources, and that body is what is solved. One that reflects the share R of a wave is between
that and no plane: p = R p(one body) + (1 - R) p(alone), exact for R = 1 and R = 0 and our own choice between. A cabinet
that is tilted touches with an edge only, and has an ordinary image there.

What a plane reflects is `enclosures.surfaces`, what a finite panel does `enclosures.panels`. A panel also shades, once
on the way out, what lies behind it on its side.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.baffle import Box, Source, free_paths, wall_paths
from enclosures.panels import Panel, Rectangle
from enclosures.surfaces import ABSORPTION, Surface, reflection

Attitude = Literal["upright", "on_left_side", "on_right_side"]

# Cabinet frame to room frame: columns are the cabinet's axes as the room sees them.
TURNS: dict[str, RealArray] = {
    "upright": np.eye(3),
    "on_left_side": np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
    "on_right_side": np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
}
# The room's axis that each plane is square to, and whether it lies on its upper end.
PLANES: dict[str, tuple[int, bool]] = {
    "wall_left": (0, False),
    "wall_right": (0, True),
    "below": (1, False),
    "above": (1, True),
    "wall_behind": (2, False),
}
STEEPEST = math.radians(30.0)
TOUCHING = 1e-6  # m
FLAT = 1e-9  # of a cosine: a face that is turned by less lies flat on a plane
LISTENERS_AT_ONCE = 24  # images counted: keeps what goes round the edges to them in some tens of megabytes


@dataclass(frozen=True, slots=True)
class Surroundings:
    """How the cabinet is set up: in an infinite wall, or standing with planes at these distances (m).

    Distances run from the cabinet's outermost points behind, beside, below and above as it stands (corners taken as
    sharp); None is far away. `surfaces` says what a plane is covered with, rigid where it says nothing; `tilt` is
    positive with the front upward, `lean` to the right (rad). Raises ValueError for a negative distance, an angle
    beyond 30 degrees, an unknown surface or one of a plane that is far away, and for a cabinet in a wall that is
    turned or has planes or panels near it.
    """

    attitude: Attitude = "upright"
    in_wall: bool = False
    wall_behind: float | None = None
    wall_left: float | None = None
    wall_right: float | None = None
    below: float | None = None
    above: float | None = None
    tilt: float = 0.0
    lean: float = 0.0
    surfaces: Mapping[str, Surface] = field(default_factory=dict)
    panels: tuple[Panel, ...] = ()

    def __post_init__(self) -> None:
        if self.attitude not in TURNS:
            raise ValueError(f"attitude must be one of {', '.join(TURNS)}, got {self.attitude!r}")
        given = self.planes
        if self.in_wall and (given or self.panels):
            raise ValueError("a cabinet in an infinite wall has no planes near it")
        if self.in_wall and (self.tilt or self.lean):
            raise ValueError("a cabinet in an infinite wall is not tilted")
        if any(not (math.isfinite(d) and d >= 0.0) for d in given.values()):
            raise ValueError("a plane's distance from the cabinet must not be negative")
        if not all(abs(angle) <= STEEPEST * (1.0 + 1e-12) for angle in (self.tilt, self.lean)):
            raise ValueError("a cabinet is tilted or leans by 30 degrees at most")
        for plane, surface in self.surfaces.items():
            if plane not in given:
                raise ValueError(f"a surface for {plane!r}, and there is no such plane near the cabinet")
            if surface not in ABSORPTION:
                raise ValueError(f"a surface must be one of {', '.join(ABSORPTION)}, got {surface!r}")

    @property
    def planes(self) -> dict[str, float]:
        """The planes that are near, and their distances (m)."""
        return {name: distance for name in PLANES if (distance := getattr(self, name)) is not None}

    @property
    def turn(self) -> RealArray:
        """From the cabinet frame to the room's, (3, 3)."""
        return turned(self.attitude, self.tilt, self.lean)


def turned(attitude: Attitude = "upright", tilt: float = 0.0, lean: float = 0.0) -> RealArray:
    """From the cabinet frame to the room's, (3, 3): columns are the cabinet's axes. KeyError for another attitude."""
    up, over = (math.cos(tilt), math.sin(tilt)), (math.cos(lean), math.sin(lean))
    tilting = np.array([[1.0, 0.0, 0.0], [0.0, up[0], up[1]], [0.0, -up[1], up[0]]])
    leaning = np.array([[over[0], over[1], 0.0], [-over[1], over[0], 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(tilting @ leaning @ TURNS[attitude])


def listening_point(
    axis_position: RealArray,
    distance: float,
    angle_horizontal: float = 0.0,
    angle_vertical: float = 0.0,
    attitude: Attitude = "upright",
    tilt: float = 0.0,
    lean: float = 0.0,
) -> RealArray:
    """The listening point (3,) in the cabinet frame: `distance` (m) from `axis_position` (3,), a point of the cabinet.

    It lies along the room's z turned by the two angles (rad), positive to the listener's right and upward in the room:
    (sin h cos v, sin v, cos h cos v). Attitude, tilt and lean turn the cabinet about that point, not the listener.
    """
    h, v = angle_horizontal, angle_vertical
    direction = np.array([math.sin(h) * math.cos(v), math.sin(v), math.cos(h) * math.cos(v)])
    turn = turned(attitude, tilt, lean)
    return np.asarray(axis_position + distance * (turn.T @ direction), dtype=np.float64)


def paths(
    box: Box | None,
    surroundings: Surroundings,
    sources: Sequence[Source],
    listener: RealArray,
    omega: RealArray,
    air: Air,
) -> ComplexArray:
    """G (F, S), 1/m, from each source to the `listener` (3,) (cabinet frame), images summed: p = j w rho U G/(2 pi).

    In a wall every radiator counts as set into that wall, front face flush with it: a source on another face is moved
    straight to the front. Elsewhere a `box` is needed. Raises ValueError where it lacks, where the listener is inside
    the cabinet or behind a plane, and where a source lies on a face that touches a plane or panel.
    """
    listener = np.asarray(listener, dtype=np.float64)
    return paths_to_many(box, surroundings, sources, listener[None], omega, air)[:, 0]


def paths_to_many(
    box: Box | None,
    surroundings: Surroundings,
    sources: Sequence[Source],
    listeners: RealArray,
    omega: RealArray,
    air: Air,
) -> ComplexArray:
    """`paths` to listeners (P, 3), G (F, P, S): what no listener has a part in is worked out once for all of them."""
    listeners = np.asarray(listeners, dtype=np.float64)
    if surroundings.in_wall:
        return wall_paths(_flush(sources), listeners, omega, air)
    if box is None:
        raise ValueError("a cabinet that is not in a wall needs its outside measures")
    turn, mirrors = surroundings.turn, _mirrors(box, surroundings)
    k = np.asarray(omega, dtype=np.float64) / air.speed_of_sound
    places = np.array([source.position for source in sources]).reshape(-1, 3) @ turn.T
    scenes = [_Images.of(mirrors, places, point, k, air) for point in listeners @ turn.T]

    result = np.zeros((k.size, len(listeners), len(sources)), dtype=np.complex128)
    for touching, members in _alike(scenes):
        images = np.concatenate([scenes[p].points for p in members]) @ turn
        first = np.cumsum([0, *(len(scenes[p].points) for p in members)])
        for there in itertools.product((True, False), repeat=len(touching)):
            shares = [scenes[p].share(there) for p in members]
            if not any(share.any() for share in shares):  # without a rigid plane that touches nothing is heard
                continue
            sides = [mirror.face for mirror, is_there in zip(touching, there, strict=True) if is_there and mirror.face]
            body, everywhere, offset = _united(box.low, box.high, sides, sources, box.edge_radius)
            sets = max(len(everywhere) // max(len(sources), 1), 1)
            found = free_paths(body, everywhere, images - offset, omega, air)
            for p, share, start in zip(members, shares, first, strict=False):
                own = found[:, start : start + len(scenes[p].points)]
                heard = (own * np.tile(scenes[p].weight, (1, 1, sets))).sum(axis=1)
                result[:, p] += share * heard.reshape(k.size, sets, len(sources)).sum(axis=1)
    return result


def _alike(scenes: Sequence[_Images]) -> Iterator[tuple[tuple[_Mirror, ...], list[int]]]:
    """Listeners, by number, for whom the cabinet is one body with the same images; some at a time."""
    alike: dict[tuple[_Mirror, ...], list[int]] = {}
    for p, scene in enumerate(scenes):
        alike.setdefault(scene.touching, []).append(p)
    for touching, members in alike.items():
        step = max(1, LISTENERS_AT_ONCE // max(len(scenes[p].points) for p in members))
        for start in range(0, len(members), step):
            yield touching, members[start : start + step]


@dataclass(frozen=True, slots=True, eq=False)
class _Images:
    """One listener and his I images in the mirrors that do not touch the cabinet: `points` (I, 3) in the room.

    `weight` (F, I, S) is how strong each is to each source; of the mirrors that touch, `strengths` (F, S) each.
    """

    points: RealArray
    weight: ComplexArray
    touching: tuple[_Mirror, ...]
    strengths: tuple[ComplexArray, ...]

    @classmethod
    def of(cls, mirrors: Sequence[_Mirror], places: RealArray, point: RealArray, k: RealArray, air: Air) -> _Images:
        """Of a listener at `point` (3,) and sources at `places` (S, 3). Raises ValueError behind a plane."""
        heard = _heard(mirrors, point)
        strengths = {mirror: _strength(mirror, mirrors, places, point, k, air) for mirror in heard}
        touching = _touching(heard)
        choices = [
            [None, *(mirror for mirror in heard if mirror.axis == axis and mirror not in touching)] for axis in range(3)
        ]
        shaded = _shaded(mirrors, places, point, k)
        images, weights = [], []
        for chosen in itertools.product(*choices):
            images.append(_mirrored(point, chosen))
            factors = [shaded[axis] if mirror is None else strengths[mirror] for axis, mirror in enumerate(chosen)]
            weights.append(factors[0] * factors[1] * factors[2])
        return cls(
            np.array(images), np.stack(weights, axis=1), tuple(touching), tuple(strengths[each] for each in touching)
        )

    def share(self, there: Sequence[bool]) -> ComplexArray:
        """Of the body (F, S) that is one with its images in those of the touching mirrors that are `there`."""
        share = np.ones((len(self.weight), self.weight.shape[2]), dtype=np.complex128)
        for strength, is_there in zip(self.strengths, there, strict=True):
            share = share * (strength if is_there else 1.0 - strength)
        return share


def power_gain(
    box: Box | None,
    surroundings: Surroundings,
    sources: Sequence[Source],
    flow: ComplexArray,
    omega: RealArray,
    air: Air,
) -> RealArray:
    """The power (F,) that the sources give off as they stand over what they would in free space, a ratio.

    `flow` (F, S) is their volume velocity. Points in free air, so for low frequencies: cabinet and panels count for
    nothing. With images of the strength R

        P ~ Re sum_i sum_j U_i* U_j sum_images R sin(k d)/(k d),   d from i to the image of j

    (Waterhouse, J. Acoust. Soc. Am. 27, 1955, 247; Allison, J. Audio Eng. Soc. 22, 1974, 314; from memory), which for
    one source and one plane is 1 + j0(2 k d). One bounce off each plane, as `paths`. Raises ValueError where there is
    no box outside of a wall, and where nothing would be given off in free space.
    """
    k = np.asarray(omega, dtype=np.float64) / air.speed_of_sound
    alone = np.array([source.position for source in sources]).reshape(-1, 3)
    if surroundings.in_wall:
        places = np.array([source.position for source in _flush(sources)]).reshape(-1, 3)
        mirrors = [_Mirror(2, False, 0.0, 0.0, "rigid")]
    elif box is None:
        raise ValueError("a cabinet that is not in a wall needs its outside measures")
    else:
        places = alone @ surroundings.turn.T
        mirrors = [mirror for mirror in _mirrors(box, surroundings) if mirror.surface]
    free = _power(alone, alone, flow, k)
    if not np.all(free > 0.0):
        raise ValueError("the sources give off nothing in free space")
    choices = [[None, *(mirror for mirror in mirrors if mirror.axis == axis)] for axis in range(3)]
    total = np.zeros(k.size)
    for chosen in itertools.product(*choices):
        strength = np.ones(k.size)
        for mirror in chosen:
            if mirror:
                strength = strength * reflection(mirror.surface, k * air.speed_of_sound / (2.0 * math.pi))
        total += strength * _power(places, np.array([_mirrored(place, chosen) for place in places]), flow, k)
    return np.asarray(total / free)


def _power(places: RealArray, images: RealArray, flow: ComplexArray, k: RealArray) -> RealArray:
    """Re sum_i sum_j U_i* U_j sin(k d_ij)/(k d_ij) (F,) between places and images, both (S, 3)."""
    apart = np.linalg.norm(places[:, None] - images[None], axis=2)
    coupling = np.sinc(k[:, None, None] * apart / math.pi)
    return np.asarray(np.einsum("fi,fij,fj->f", flow.conj(), coupling, flow).real)


def _flush(sources: Sequence[Source]) -> list[Source]:
    """Sources as the wall has them that the cabinet is set into."""
    return [replace(s, position=s.position * [1.0, 1.0, 0.0], normal=np.array([0.0, 0.0, 1.0])) for s in sources]


@dataclass(frozen=True, slots=True, eq=False)
class _Mirror:
    """A plane or panel on the room's `axis`, at `place` (m), on the `upper` or lower side of the cabinet.

    It is `distance` (m) from the cabinet; `face` is the (axis, upper) side of the cabinet, as it knows itself, that
    lies flat on it. A plane has a `surface`, a panel its `rectangle`.
    """

    axis: int
    upper: bool
    place: float
    distance: float
    surface: str = ""
    rectangle: Rectangle | None = None
    face: tuple[int, bool] | None = None

    def is_before(self, point: RealArray) -> bool:
        """Whether a point (3,) in the room is on the cabinet's side."""
        beyond = float(point[self.axis]) - self.place
        return (beyond if self.upper else -beyond) <= TOUCHING

    def hides(self, other: _Mirror) -> bool:
        """Whether it is a panel on the same side as another that is as far off or farther."""
        same = (self.axis, self.upper) == (other.axis, other.upper) and self is not other
        return self.rectangle is not None and same and self.distance <= other.distance


def _mirrors(box: Box, surroundings: Surroundings) -> list[_Mirror]:
    """All planes, along x, y and z, on the lower side first, and then all panels."""
    turn = surroundings.turn
    corners = np.array(list(itertools.product(*zip(box.low, box.high, strict=True)))) @ turn.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    found = []
    for name, distance in surroundings.planes.items():
        axis, upper = PLANES[name]
        place = float(high[axis] + distance if upper else low[axis] - distance)
        surface = surroundings.surfaces.get(name, "rigid")
        found.append(_Mirror(axis, upper, place, distance, surface, face=_flat(turn, axis, upper, distance)))
    for panel in surroundings.panels:
        at = panel.rectangle(low, high)
        face = _flat(turn, at.axis, at.upper, panel.distance)
        found.append(_Mirror(at.axis, at.upper, at.place, panel.distance, rectangle=at, face=face))
    return found


def _flat(turn: RealArray, axis: int, upper: bool, distance: float) -> tuple[int, bool] | None:
    """The side of the cabinet, as it knows itself, that lies flat on a plane at this distance."""
    outward = turn.T @ (np.eye(3)[axis] * (1.0 if upper else -1.0))
    own = int(np.argmax(np.abs(outward)))
    flat = distance <= TOUCHING and abs(outward[own]) > 1.0 - FLAT
    return (own, bool(outward[own] > 0.0)) if flat else None


def _heard(mirrors: Sequence[_Mirror], point: RealArray) -> list[_Mirror]:
    """Those with an image for a listener at `point` (3,): none in a panel that is passed. Raises behind a plane."""
    if any(mirror.surface and not mirror.is_before(point) for mirror in mirrors):
        raise ValueError("the listening point lies behind a wall, under the floor or above the ceiling")
    return [mirror for mirror in mirrors if mirror.is_before(point)]


def _touching(mirrors: Sequence[_Mirror]) -> list[_Mirror]:
    """The first along each axis that a face lies flat on: one body is made along an axis once."""
    found: dict[int, _Mirror] = {}
    for mirror in mirrors:
        if mirror.face:
            found.setdefault(mirror.axis, mirror)
    return [found[axis] for axis in sorted(found)]


def _mirrored(point: RealArray, chosen: Sequence[_Mirror | None]) -> RealArray:
    """The image (3,) of a point in one mirror along each axis, or none."""
    image = point.copy()
    for mirror in chosen:
        if mirror:
            image[mirror.axis] = 2.0 * mirror.place - float(point[mirror.axis])
    return image


def _strength(
    mirror: _Mirror, every: Sequence[_Mirror], places: RealArray, point: RealArray, k: RealArray, air: Air
) -> ComplexArray:
    """How strong (F, S) the image of a listener at `point` (3,) in a mirror is, seen from `places` (S, 3)."""
    image = _mirrored(point, [mirror])
    if mirror.rectangle is None:
        frequency = k * air.speed_of_sound / (2.0 * math.pi)
        strength = np.repeat(reflection(mirror.surface, frequency)[:, None] + 0j, len(places), axis=1)
    else:
        strength = mirror.rectangle.share(places, image, k)
    for other in every:
        if other.rectangle and other.hides(mirror):
            strength = strength * (1.0 - other.rectangle.share(places, image, k))
    return strength


def _shaded(mirrors: Sequence[_Mirror], places: RealArray, point: RealArray, k: RealArray) -> list[ComplexArray]:
    """What (F, S) the panels along each axis leave of the way from `places` (S, 3) to a point (3,) beyond them."""
    shaded: list[ComplexArray] = [np.ones((k.size, len(places)), dtype=np.complex128) for _ in range(3)]
    for mirror in mirrors:
        if mirror.rectangle and not mirror.is_before(point):
            shaded[mirror.axis] = shaded[mirror.axis] * (1.0 - mirror.rectangle.share(places, point, k))
    return shaded


def _united(
    low: RealArray,
    high: RealArray,
    touching: Sequence[tuple[int, bool]],
    sources: Sequence[Source],
    edge_radius: float,
) -> tuple[Box, list[Source], RealArray]:
    """The cabinet with its images in the planes it touches: one box, all sources (images after the originals, in whole
    sets), and where the box's own frame has its origin. Its front's edges have the radius given (m), and with an image
    behind it the rear's too.
    """
    low, high = low.copy(), high.copy()
    everywhere = list(sources)
    for axis, upper in touching:
        plane = float(high[axis] if upper else low[axis])
        if any(abs(source.position[axis] - plane) < TOUCHING and abs(source.normal[axis]) > 0.5 for source in sources):
            raise ValueError("a driver or an opening faces a plane that the cabinet touches: give the plane a distance")
        flip = np.where(np.arange(3) == axis, -1.0, 1.0)
        shift = np.where(np.arange(3) == axis, 2.0 * plane, 0.0)
        everywhere += [replace(s, position=s.position * flip + shift, normal=s.normal * flip) for s in everywhere]
        size = high[axis] - low[axis]
        low[axis], high[axis] = (low[axis], high[axis] + size) if upper else (low[axis] - size, high[axis])
    width, height, depth = (float(side) for side in high - low)
    offset = np.array([low[0], low[1], high[2]])
    behind = any(axis == 2 for axis, _ in touching) and edge_radius > 0
    united = Box(width, height, depth, edge_radius, rounded_rear=behind)
    return united, [replace(s, position=s.position - offset) for s in everywhere], offset
