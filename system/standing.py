"""Whether a variant's listening point and faces are where sound can get, in plain floats.

The geometry is that of `enclosures.placement`: the room's x is the listener's right, y up, z out of the front; a
cabinet on its left side is turned counter-clockwise as seen from the front, on its right side clockwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from system.context import Context
from system.kit import Baffle, Cutout, Face, Variant

Point = tuple[float, float, float]
Turn = tuple[int, int]  # cosine and sine of the angle by which the cabinet is turned

TOUCHING = 1e-6  # m
TURNS: Mapping[str, Turn] = {"upright": (1, 0), "on_left_side": (0, 1), "on_right_side": (0, -1)}
# the distance that each face of the cabinet is measured from, as it stands
SIDES: Mapping[str, Mapping[Face, str]] = {
    "upright": {"left": "wall_left", "right": "wall_right", "bottom": "below", "top": "above"},
    "on_left_side": {"left": "below", "right": "above", "top": "wall_left", "bottom": "wall_right"},
    "on_right_side": {"right": "below", "left": "above", "top": "wall_right", "bottom": "wall_left"},
}
PLANES = {
    "wall_behind": "behind the wall",
    "wall_left": "behind the left wall",
    "wall_right": "behind the right wall",
    "below": "under the floor",
    "above": "above the ceiling",
}


def check_standing(variant: Variant, context: Context) -> None:
    """Report a listening point in the cabinet or beyond a plane, and what faces a plane that the cabinet touches."""
    baffle = variant.cabinet.baffle
    point = _listening_point(variant)
    if variant.placement.kind == "in_wall":
        if point[2] < -1e-9:
            _wrong_point(variant, "behind the wall", context)
    elif baffle is not None:
        _check_point(variant, baffle, point, context)
        _check_faces(variant, context)


def _check_point(variant: Variant, baffle: Baffle, point: Point, context: Context) -> None:
    corners = [_turned((x, y, 0.0), variant) for x in (0.0, baffle.width) for y in (0.0, baffle.height)]
    low = (min(c[0] for c in corners), min(c[1] for c in corners), -baffle.depth)
    high = (max(c[0] for c in corners), max(c[1] for c in corners), 0.0)
    if all(a <= p <= b for a, p, b in zip(low, point, high, strict=True)):
        _wrong_point(variant, "in the cabinet", context)
        return
    beyond = {
        "wall_behind": low[2] - point[2],
        "wall_left": low[0] - point[0],
        "wall_right": point[0] - high[0],
        "below": low[1] - point[1],
        "above": point[1] - high[1],
    }
    for key, from_side in beyond.items():
        distance = getattr(variant.placement, key)
        if distance is not None and from_side > distance + TOUCHING:
            _wrong_point(variant, f"{(from_side - distance) * 1e3:.0f} mm {PLANES[key]}", context)
            return


def _wrong_point(variant: Variant, where: str, context: Context) -> None:
    at = ("listening",) if context.has(("listening",)) else ("variants", variant.name)
    found = f"{variant.name}: the listening point is {where}"
    context.report.error("listening_outside", at, found, "change listening, or how the cabinet stands")


def _check_faces(variant: Variant, context: Context) -> None:
    touched = {
        face
        for face, key in (*SIDES[variant.attitude].items(), ("rear", "wall_behind"))
        if (distance := getattr(variant.placement, key)) is not None and distance <= TOUCHING
    }
    blocked = [(name, cutout.face) for name, cutout in _cutouts(variant) if cutout.face in touched]
    if blocked:
        names = ", ".join(f"{name} ({face})" for name, face in blocked)
        found = f"{variant.name}: what is on a face that touches a wall or the floor cannot sound: {names}"
        at = ("variants", variant.name, "placement")
        context.report.error("faces_plane", at, found, "give that plane a distance, or put it on another face")


def _cutouts(variant: Variant) -> Iterator[tuple[str, Cutout]]:
    """Every driver and opening of the variant that has a cutout."""
    cabinet = variant.cabinet
    yield from cabinet.cutouts.items()
    for opening in (each for chamber in cabinet.chambers for each in chamber.openings):
        if opening.cutout:
            yield f"a {opening.word}", opening.cutout


def _listening_point(variant: Variant) -> Point:
    """In the room, from the cabinet's lower left front corner as it stands upright."""
    listening, baffle = variant.listening, variant.cabinet.baffle
    axis = variant.cabinet.cutouts.get(listening.axis or "")
    start = (0.0, 0.0, 0.0)
    if axis is not None:
        start = _place(axis, baffle)
    elif baffle is not None:
        start = (baffle.width / 2, baffle.height / 2, 0.0)
    h, v = listening.angle_horizontal, listening.angle_vertical
    direction = (math.sin(h) * math.cos(v), math.sin(v), math.cos(h) * math.cos(v))
    x, y, z = (a + listening.distance * b for a, b in zip(_turned(start, variant), direction, strict=True))
    return x, y, z


def _place(cutout: Cutout, baffle: Baffle | None) -> Point:
    """Where a cutout lies on the cabinet, in the cabinet's own frame."""
    u, v = cutout.at
    if baffle is None:
        return u, v, 0.0
    w, h, d = baffle.width, baffle.height, baffle.depth
    places: Mapping[Face, Point] = {
        "front": (u, v, 0.0),
        "rear": (w - u, v, -d),
        "left": (0.0, v, u - d),
        "right": (w, v, -u),
        "top": (u, h, -v),
        "bottom": (u, 0.0, v - d),
    }
    return places[cutout.face]


def _turned(point: Point, variant: Variant) -> Point:
    """From the cabinet's frame to the room's."""
    cosine, sine = TURNS[variant.attitude]
    x, y, z = point
    return cosine * x - sine * y, sine * x + cosine * y, z
