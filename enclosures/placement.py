"""Where the cabinet stands: its attitude, the rigid planes near it, and the way from its sources to the listener.

Room frame: the cabinet frame (see `enclosures.baffle`) turned about the front normal by the attitude, with the same
origin; x is the listener's right, y up. Lying on its left side (as seen from the front) the cabinet is turned
counter-clockwise as seen from the front, on its right side clockwise.

Planes are rigid and taken into account by mirror images. A source's image seen from the listener is the source seen
from the listener's image (reciprocity), so the listening point is mirrored: along each of the three axes not at all or
once in each plane there, in all combinations. What that leaves out: waves that go back and forth between opposite
planes more than once, or between the cabinet and a plane. A plane that touches the cabinet leaves nothing out: cabinet
and mirror image are then one body of twice the size with twice the sources, and that body is what is solved.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.baffle import Box, Source, free_paths, wall_paths

Attitude = Literal["upright", "on_left_side", "on_right_side"]

# Cabinet frame to room frame: columns are the cabinet's axes as the room sees them.
TURNS: dict[str, RealArray] = {
    "upright": np.eye(3),
    "on_left_side": np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
    "on_right_side": np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
}
TOUCHING = 1e-6  # m


@dataclass(frozen=True, slots=True)
class Surroundings:
    """How the cabinet is set up: in an infinite wall, or standing with rigid planes at these distances (m).

    Distances run from the cabinet's own back, sides, underside and top as it stands; None is far away. Raises
    ValueError for a negative distance, and for planes about a cabinet in a wall.
    """

    attitude: Attitude = "upright"
    in_wall: bool = False
    wall_behind: float | None = None
    wall_left: float | None = None
    wall_right: float | None = None
    below: float | None = None
    above: float | None = None

    def __post_init__(self) -> None:
        if self.attitude not in TURNS:
            raise ValueError(f"attitude must be one of {', '.join(TURNS)}, got {self.attitude!r}")
        given = [d for d in (*self._sides(0), *self._sides(1), *self._sides(2)) if d is not None]
        if self.in_wall and given:
            raise ValueError("a cabinet in an infinite wall has no planes near it")
        if any(not (math.isfinite(d) and d >= 0.0) for d in given):
            raise ValueError("a plane's distance from the cabinet must not be negative")

    def _sides(self, axis: int) -> tuple[float | None, float | None]:
        """The distances of the planes on the low and the high side of a room axis."""
        return ((self.wall_left, self.wall_right), (self.below, self.above), (self.wall_behind, None))[axis]


def listening_point(
    axis_position: RealArray,
    distance: float,
    angle_horizontal: float = 0.0,
    angle_vertical: float = 0.0,
    attitude: Attitude = "upright",
) -> RealArray:
    """The listening point (3,) in the cabinet frame: `distance` (m) from `axis_position` (3,), a point of the cabinet.

    It lies along the front normal turned by the two angles (rad), positive to the listener's right and upward in the
    room: (sin h cos v, sin v, cos h cos v). The attitude turns the cabinet, not the listener.
    """
    h, v = angle_horizontal, angle_vertical
    direction = np.array([math.sin(h) * math.cos(v), math.sin(v), math.cos(h) * math.cos(v)])
    return np.asarray(axis_position + distance * (TURNS[attitude].T @ direction), dtype=np.float64)


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
    the cabinet or behind a plane, and where a source lies on a face that touches a plane.
    """
    listener = np.asarray(listener, dtype=np.float64)
    if surroundings.in_wall:
        front = [replace(s, position=s.position * [1.0, 1.0, 0.0], normal=np.array([0.0, 0.0, 1.0])) for s in sources]
        return np.asarray(wall_paths(front, listener[None], omega, air)[:, 0])
    if box is None:
        raise ValueError("a cabinet that is not in a wall needs its outside measures")
    listeners, low, high, gaps = _images(box, surroundings, listener)
    body, everywhere, offset = _united(low, high, gaps, sources, box.edge_radius)
    found = free_paths(body, everywhere, listeners - offset, omega, air).sum(axis=1)
    sets = len(everywhere) // max(len(sources), 1)
    return np.asarray(found.reshape(len(found), max(sets, 1), len(sources)).sum(axis=1))


def _images(
    box: Box, surroundings: Surroundings, listener: RealArray
) -> tuple[RealArray, RealArray, RealArray, list[tuple[int, bool]]]:
    """The listener's images (P, 3), the body's corners, and the (axis, upper) sides it touches; cabinet frame."""
    turn = TURNS[surroundings.attitude]
    corners = np.stack([box.low, box.high]) @ turn.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    point = turn @ listener
    choices: list[list[float]] = []
    touching: list[tuple[int, bool]] = []
    for axis in range(3):
        near, far = surroundings._sides(axis)
        places = [float(point[axis])]
        for distance, upper in ((near, False), (far, True)):
            if distance is None:
                continue
            plane = float(high[axis] + distance if upper else low[axis] - distance)
            if (point[axis] > plane + TOUCHING) if upper else (point[axis] < plane - TOUCHING):
                raise ValueError("the listening point lies behind a wall, under the floor or above the ceiling")
            if distance <= TOUCHING and axis not in [a for a, _ in touching]:
                touching.append((axis, upper))
            else:
                places.append(2.0 * plane - float(point[axis]))
        choices.append(places)
    images = np.array(list(itertools.product(*choices))) @ turn
    sides = []
    for axis, upper in touching:  # the same side as the cabinet knows it
        outward = turn.T @ (np.eye(3)[axis] * (1.0 if upper else -1.0))
        own = int(np.argmax(np.abs(outward)))
        sides.append((own, bool(outward[own] > 0.0)))
    return images, box.low, box.high, sides


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
