"""Cross-sections of ducts, and the ports made of them."""

from __future__ import annotations

import math
from typing import Any

from enclosures.ends import hydraulic_ratio_of_rectangle
from enclosures.frozen import frozen
from system import cabinetmodel as edge
from system.context import Context, Path_
from system.document import label
from system.kit import Cutout, PipeEnd, PortSpec
from system.resolve_places import Places, mm

# Peak speed of air in a port above which its noise is heard, over the speed of sound: common practice, no source.
USUAL_SPEED = 0.05


@frozen
class Shape:
    """A cross-section: `area` (m2), its `sides` (m; a round one's diameter twice), and `ratio`.

    `ratio` is its hydraulic radius over that of a round one of the same area. `known`: not only the area is given.
    """

    area: float
    sides: tuple[float, float]
    ratio: float = 1.0
    known: bool = True


def cross_section(model: Any, sides: tuple[str, str], path: Path_, context: Context) -> Shape | None:
    """The shape that `model` gives by its area, its diameter, or its two `sides`; None where it is at fault."""
    one, two = (getattr(model, side) for side in sides)
    both = " and ".join(sides)
    there = {"area": model.area, both: one or two, "diameter": model.diameter}
    ways = [way for way, value in there.items() if value is not None]
    allowed = f"give area, or {both}, or diameter"
    if not ways:
        context.missing((*path, "area"), f"{label(path)} has no area", allowed)
        return None
    if len(ways) > 1:
        context.report.error("given_twice", path, f"{label(path)} has {' and '.join(ways)}", allowed)
        return None
    if model.area is not None:
        diameter = 2 * math.sqrt(model.area / math.pi)
        return Shape(model.area, (diameter, diameter), known=False)
    if model.diameter is not None:
        return Shape(math.pi / 4 * model.diameter**2, (model.diameter, model.diameter))
    if one is None or two is None:
        key = sides[0] if one is None else sides[1]
        context.missing((*path, key), f"{label(path)} has no {key}", f"{both} together give the area")
        return None
    return rectangle(one, two)


def rectangle(one: float, two: float) -> Shape:
    """A rectangular cross-section of these sides (m)."""
    return Shape(one * two, (one, two), hydraulic_ratio_of_rectangle(one, two))


def usual_speed(context: Context) -> float:
    """The limit (m/s) where a port states none."""
    return USUAL_SPEED * context.air.speed_of_sound


def port(
    model: edge.PortShape,
    length: float | None,
    ends: tuple[PipeEnd, PipeEnd],
    cutout: Cutout | None,
    path: Path_,
    context: Context,
) -> PortSpec | None:
    """The port with its outer and inner end; None where its cross-section is at fault."""
    shape = cross_section(model, ("width", "height"), path, context)
    if shape is None:
        return None
    limit = usual_speed(context) if model.speed_limit is None else model.speed_limit
    sides = None if model.width is None else shape.sides
    return PortSpec(
        shape.area, length, model.count, *ends, cutout, shape.ratio, model.clearance, limit, model.wall, sides
    )


def check_inside(spec: PortSpec, length: float, path: Path_, places: Places, context: Context) -> None:
    """Warn of an inner end close to the wall that it faces, and of a port longer than the cabinet is deep.

    `length` (m) is the port's own, or what the tuning comes to. The thickness of the walls is left out.
    """
    report = context.report
    diameter = 2 * math.sqrt(spec.area / math.pi)
    at = (*path, "length") if spec.length is not None else path
    depth = places.behind(spec.cutout)
    if spec.clearance is not None and spec.clearance < diameter:
        found = (
            f"{label(path)} has its inner end {mm(spec.clearance)} from a wall, less than its diameter, {mm(diameter)}"
        )
        report.warning("port_near_wall", (*path, "clearance"), found, "the mass that this adds is computed")
    if depth is not None and length >= depth:
        found = f"{label(path)} is {mm(length)} long, and the cabinet {mm(depth)} deep behind its opening"
        report.warning("port_too_long", at, found, "it has to bend; it is computed as a straight one of this length")
    elif depth is not None and spec.clearance is None and depth - length < diameter:
        found = f"{label(path)} is {mm(length)} long and leaves {mm(depth - length)} before the wall that it faces"
        allowed = f"less than its diameter, {mm(diameter)}; write clearance: to have the mass that this adds computed"
        report.warning("port_near_wall", at, found, allowed)
