"""Whether a variant's listening point, seats and faces are where sound can get, in plain floats.

The geometry is that of `enclosures.placement` and `enclosures.panels`: the room's x is the listener's right, y up, z to
where the front looks before it is turned; a cabinet on its left side is turned counter-clockwise as seen from the
front, on its right side clockwise; then it leans to the right, and then its front is tilted upward.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping

from system.context import Context
from system.kit import Baffle, Cutout, Face, Panel, Variant

Point = tuple[float, float, float]
Rows = tuple[Point, Point, Point]  # of a matrix

TOUCHING = 1e-6  # m
FLAT = 1e-9  # of a cosine
LYING: Mapping[str, tuple[int, int]] = {"upright": (1, 0), "on_left_side": (0, 1), "on_right_side": (0, -1)}
NORMALS: Mapping[Face, Point] = {
    "front": (0.0, 0.0, 1.0),
    "rear": (0.0, 0.0, -1.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "top": (0.0, 1.0, 0.0),
    "bottom": (0.0, -1.0, 0.0),
}
# the room's axis that a plane is square to, which way along it the plane lies, and what is beyond it
PLANES: Mapping[str, tuple[int, int, str]] = {
    "wall_behind": (2, -1, "behind the wall"),
    "wall_left": (0, -1, "behind the left wall"),
    "wall_right": (0, 1, "behind the right wall"),
    "below": (1, -1, "under the floor"),
    "above": (1, 1, "above the ceiling"),
}
PANELS: Mapping[str, tuple[int, int]] = {
    "left": (0, -1),
    "right": (0, 1),
    "below": (1, -1),
    "above": (1, 1),
    "behind": (2, -1),
}


def check_standing(variant: Variant, context: Context) -> None:
    """Report a listening point or seat in the cabinet, beyond a plane or hidden, what faces a plane that the cabinet
    touches, and panels that reach nowhere."""
    baffle = variant.cabinet.baffle
    turn = _turn(variant)
    start, listening = _axis(variant), variant.listening
    point = _ahead(variant, turn, listening.distance, listening.angle_horizontal)
    if variant.placement.kind == "in_wall":
        if point[2] < -1e-9:
            _wrong_point(variant, "behind the wall", context)
    elif baffle is not None:
        low, high = _outermost(baffle, turn)
        if not _check_panels(variant, low, high, context):
            return
        wrong = _where(variant, baffle, turn, start, point)
        if wrong:
            _wrong_point(variant, wrong, context)
        else:
            _check_seats(variant, baffle, turn, start, context)
        _check_faces(variant, turn, context)


def _check_seats(variant: Variant, baffle: Baffle, turn: Rows, start: Point, context: Context) -> None:
    if variant.seats is None:
        return
    for angle in (0.0, -variant.seats.angle, variant.seats.angle):
        wrong = _where(variant, baffle, turn, start, _ahead(variant, turn, variant.seats.distance, angle))
        if wrong:
            side = f"{math.degrees(abs(angle)):.0f} deg to the {'left' if angle < 0 else 'right'}" if angle else "ahead"
            found = f"{variant.name}: the seat {side} is {wrong}"
            at = ("variants", variant.name, "seats")
            context.report.error("listening_outside", at, found, "change seats, or how the cabinet stands")
            return


def _where(variant: Variant, baffle: Baffle, turn: Rows, start: Point, point: Point) -> str | None:
    """What is wrong with a point of the room that is heard from `start`, in words; None where nothing is."""
    x, y, z = _turned(point, _transposed(turn))
    if 0.0 <= x <= baffle.width and 0.0 <= y <= baffle.height and -baffle.depth <= z <= 0.0:
        return "in the cabinet"
    low, high = _outermost(baffle, turn)
    for key, (axis, way, words) in PLANES.items():
        distance = getattr(variant.placement, key)
        beyond = point[axis] - high[axis] if way > 0 else low[axis] - point[axis]
        if distance is not None and beyond > distance + TOUCHING:
            return f"{(beyond - distance) * 1e3:.0f} mm {words}"
    begin = _turned(start, turn)
    hidden = (panel for panel in variant.placement.panels if _hides(panel, low, high, begin, point))
    return next((f"hidden by a panel ({panel.side})" for panel in hidden), None)


def _hides(panel: Panel, low: Point, high: Point, begin: Point, point: Point) -> bool:
    """Whether a panel stands in the straight way from `begin`, on the cabinet, to a point."""
    axis, way = PANELS[panel.side]
    place = high[axis] + panel.distance if way > 0 else low[axis] - panel.distance
    beyond = (point[axis] - place) * way
    if beyond <= TOUCHING:
        return False
    share = beyond / ((point[axis] - begin[axis]) * way)
    crossing = [b + share * (a - b) for a, b in zip(begin, point, strict=True)]
    spans = [(a - panel.distance, b + panel.distance) for a, b in zip(low, high, strict=True)]
    for other, size in enumerate((panel.width, panel.height)):
        if size is not None:
            middle = (low[other] + high[other]) / 2
            spans[other] = (middle - size / 2, middle + size / 2)
    spans[2] = (low[2], high[2] + panel.front)
    return all(spans[i][0] <= crossing[i] <= spans[i][1] for i in range(3) if i != axis)


def _check_panels(variant: Variant, low: Point, high: Point, context: Context) -> bool:
    depth = high[2] - low[2]
    short = [panel for panel in variant.placement.panels if panel.side != "behind" and panel.front <= -depth]
    if short:
        found = (
            f"{variant.name}: a panel ends {-short[0].front * 1e3:.0f} mm behind the front of a cabinet that is "
            f"{depth * 1e3:.0f} mm deep"
        )
        at = ("variants", variant.name, "placement", "panels")
        context.report.error("panel_too_short", at, found, "let it reach farther, or leave it out")
    return not short


def _wrong_point(variant: Variant, where: str, context: Context) -> None:
    at = ("listening",) if context.has(("listening",)) else ("variants", variant.name)
    found = f"{variant.name}: the listening point is {where}"
    context.report.error("listening_outside", at, found, "change listening, or how the cabinet stands")


def _check_faces(variant: Variant, turn: Rows, context: Context) -> None:
    near = [(axis, way, getattr(variant.placement, key)) for key, (axis, way, _) in PLANES.items()]
    near += [(*PANELS[panel.side], panel.distance) for panel in variant.placement.panels]
    flush = [(axis, way) for axis, way, distance in near if distance is not None and distance <= TOUCHING]
    touched = {
        face
        for face, normal in NORMALS.items()
        if any(_turned(normal, turn)[axis] * way > 1.0 - FLAT for axis, way in flush)
    }
    blocked = [(name, cutout.face) for name, cutout in _cutouts(variant) if cutout.face in touched]
    if blocked:
        names = ", ".join(f"{name} ({face})" for name, face in blocked)
        what = "a wall, the floor or a panel" if variant.placement.panels else "a wall or the floor"
        found = f"{variant.name}: what is on a face that touches {what} cannot sound: {names}"
        at = ("variants", variant.name, "placement")
        context.report.error("faces_plane", at, found, "give that plane a distance, or put it on another face")


def _cutouts(variant: Variant) -> Iterator[tuple[str, Cutout]]:
    """Every driver and opening of the variant that has a cutout."""
    cabinet = variant.cabinet
    yield from cabinet.cutouts.items()
    for opening in (each for chamber in cabinet.chambers for each in chamber.openings):
        if opening.cutout:
            yield f"a {opening.word}", opening.cutout


def _axis(variant: Variant) -> Point:
    """Where the listening axis begins, in the cabinet's own frame."""
    baffle = variant.cabinet.baffle
    axis = variant.cabinet.cutouts.get(variant.listening.axis or "")
    if axis is not None:
        return _place(axis, baffle)
    return (baffle.width / 2, baffle.height / 2, 0.0) if baffle is not None else (0.0, 0.0, 0.0)


def _ahead(variant: Variant, turn: Rows, distance: float, angle: float) -> Point:
    """In the room, `distance` (m) from the axis's beginning, `angle` to the right, as high as one listens."""
    h, v = angle, variant.listening.angle_vertical
    direction = (math.sin(h) * math.cos(v), math.sin(v), math.cos(h) * math.cos(v))
    x, y, z = (a + distance * b for a, b in zip(_turned(_axis(variant), turn), direction, strict=True))
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


def _outermost(baffle: Baffle, turn: Rows) -> tuple[Point, Point]:
    """The lowest and the highest places of the cabinet along each of the room's axes."""
    corners = itertools.product((0.0, baffle.width), (0.0, baffle.height), (-baffle.depth, 0.0))
    (x0, x1), (y0, y1), (z0, z1) = (
        (min(along), max(along)) for along in zip(*(_turned(corner, turn) for corner in corners), strict=True)
    )
    return (x0, y0, z0), (x1, y1, z1)


def _turn(variant: Variant) -> Rows:
    """From the cabinet's frame to the room's: it lies, leans, and is tilted."""
    c, s = LYING[variant.attitude]
    cl, sl = math.cos(variant.placement.lean), math.sin(variant.placement.lean)
    ct, st = math.cos(variant.placement.tilt), math.sin(variant.placement.tilt)
    across = (cl * c + sl * s, sl * c - cl * s, 0.0)
    up = (cl * s - sl * c, cl * c + sl * s, 0.0)
    return (
        across,
        (ct * up[0], ct * up[1], st),
        (-st * up[0], -st * up[1], ct),
    )


def _transposed(rows: Rows) -> Rows:
    first, second, third = zip(*rows, strict=True)
    return first, second, third


def _turned(point: Point, rows: Rows) -> Point:
    x, y, z = (sum(a * b for a, b in zip(row, point, strict=True)) for row in rows)
    return x, y, z
