"""Lines: their sections and bends, the mouths, and the drivers along them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import accumulate, pairwise

from enclosures.bends import Bend
from system import cabinetmodel as edge
from system.context import Context, Path_
from system.document import label
from system.kit import BendSpec, LineChamber, MouthSpec, SectionSpec
from system.resolve_fills import fill
from system.resolve_places import Places, alone, mm
from system.resolve_ports import Shape, check_inside, cross_section, port, rectangle, usual_speed

# A place along the line may be off its cutout by both of these before a word is said of it: our own judgement.
ROUGHLY, NEARLY = 0.05, 0.010  # a ratio, and m
_BEYOND = 1 + 1e-9  # a place this much farther than the line's length is still its end


def line(chamber: edge.Line, path: Path_, places: Places, context: Context) -> LineChamber | None:
    """The line, or None where it is at fault."""
    made = [
        SECTIONS[type(section)](section, (*path, "profile", str(i)), context)
        for i, section in enumerate(chamber.profile)
    ]
    profile = [section for section in made if section]
    whole = profile if len(profile) == len(made) else None  # else its length is not known
    if whole is not None:
        _check_positions(chamber, whole, path, places, context)
    mouths = _mouths(chamber, whole, path, places, context)
    if chamber.walls is None:
        context.assumed(path, f"{label(path)} does not say how its walls are", "walls: lossy assumed")
    if mouths is None or whole is None:
        return None
    return LineChamber(
        drivers=tuple(chamber.drivers),
        positions=tuple(chamber.drivers.values()),
        profile=tuple(whole),
        mouths=mouths,
        lossy_walls=chamber.walls != "lossless",
        step_correction=chamber.step_correction == "on",
    )


# volume of a section over its length, from the areas of its ends
MEAN_AREA: Mapping[str, Callable[[float, float], float]] = {
    "area_linear": lambda a, b: (a + b) / 2,
    "conical": lambda a, b: (a + b + math.sqrt(a * b)) / 3,  # frustum of a cone
    "exponential": lambda a, b: (b - a) / math.log(b / a) if abs(b / a - 1) > 1e-9 else a,
}


def _straight(section: edge.Section, path: Path_, context: Context) -> SectionSpec | None:
    shape = cross_section(section, ("width", "depth"), path, context)
    if shape is None:
        return None
    if section.taper is not None and section.end_area is None:
        found = f"{label(path)} has a taper and no end_area"
        context.report.warning("taper_without_end_area", (*path, "taper"), found, "it is taken as straight")
    end_area, taper = section.end_area or shape.area, section.taper or "area_linear"
    if section.taper is None and end_area != shape.area:
        context.assumed(path, f"{label(path)} does not say how it tapers", "taper: area_linear assumed")
    mean = MEAN_AREA[taper](shape.area, end_area)
    share = _share(section.fill, shape, min(shape.area, end_area), mean, path, context)
    spec = fill(section.fill, section.length * mean, path, context, share) if share else None
    if section.fill is not None and spec is None:
        return None
    sides = None if section.width is None else shape.sides
    return SectionSpec(section.length, shape.area, end_area, taper, spec, shape.ratio, sides=sides)


def _curved(section: edge.Bend, path: Path_, context: Context) -> SectionSpec | None:
    """Its volume is that of the centre line times the area (Pappus)."""
    if context.has((*path, "length")):
        return None  # told already: a bend takes no length
    shape = rectangle(section.depth, section.width)
    length = Bend(section.bend, section.inner_radius, section.depth).centre_length
    share = _share(section.fill, shape, shape.area, shape.area, path, context)
    spec = fill(section.fill, length * shape.area, path, context, share) if share else None
    if section.fill is not None and spec is None:
        return None
    bend = BendSpec(section.bend, section.inner_radius, section.depth)
    sides = (section.width, section.depth)
    return SectionSpec(length, shape.area, shape.area, "area_linear", spec, shape.ratio, bend, sides)


# One line for each kind of section of the kit file.
SECTIONS: Mapping[type[edge.Section | edge.Bend], Callable[..., SectionSpec | None]] = {
    edge.Section: _straight,
    edge.Bend: _curved,
}


def _share(
    model: edge.SectionFill | None, shape: Shape, narrowest: float, mean: float, path: Path_, context: Context
) -> float | None:
    """The part of a section that its fibre takes; 1 without a lining, None where the lining closes it.

    Where the section tapers its shape is scaled: to the area `narrowest` (m2) to see whether the lining fits in, to
    the `mean` area for its share.
    """
    if model is None or model.lining is None:
        return 1.0
    at = (*path, "fill", "lining")
    thickness = model.lining
    if not shape.known:
        context.assumed(path, f"{label(path)} has a lining and only its area is given", "a round section assumed")
    least = min(shape.sides) * math.sqrt(narrowest / shape.area)
    if 2 * thickness >= least:
        found = f"{label(at)} is {context.text(at)} on every wall, and the section {mm(least)} across"
        allowed = f"less than {mm(least / 2)} leaves air in the middle; a fill without lining takes the whole section"
        context.report.error("lining_too_thick", at, found, allowed)
        return None
    scale = math.sqrt(mean / shape.area)
    return 1 - math.prod((side * scale - 2 * thickness) / (side * scale) for side in shape.sides)


def _check_positions(
    chamber: edge.Line, profile: list[SectionSpec], path: Path_, places: Places, context: Context
) -> None:
    """Drivers on the line, and about where their cutouts are."""
    ends = list(accumulate(section.length for section in profile))
    beyond = {name: place for name, place in chamber.drivers.items() if place > ends[-1] * _BEYOND}
    for name, place in beyond.items():
        found = f"{name} is {mm(place)} from the closed end"
        at = (*path, "drivers", name)
        context.report.error("position_outside_line", at, found, f"the line is {mm(ends[-1])} long")
    if not beyond and path[:2] not in context.doubtful:
        _compare_with_cutouts(chamber, profile, ends, path, places, context)


def _compare_with_cutouts(
    chamber: edge.Line, profile: list[SectionSpec], ends: list[float], path: Path_, places: Places, context: Context
) -> None:
    """Neighbours on one face and one straight stretch are as far apart along the line as outside."""
    bends = [(end - s.length, end) for s, end in zip(profile, ends, strict=True) if s.bend]
    faces = sorted({cutout.face for cutout in places.drivers.values()})
    for face in faces:
        there = {name: cutout.at for name, cutout in places.drivers.items() if cutout.face == face}
        along = sorted((place, name) for name, place in chamber.drivers.items() if name in there)
        for (start, one), (stop, two) in pairwise(along):
            if any(low < stop and start < high for low, high in bends):
                continue
            x, y = (abs(a - b) for a, b in zip(there[one], there[two], strict=True))
            apart = math.hypot(x, y)
            # a line that runs up, across, or straight from one to the other
            off = min(abs(distance - (stop - start)) for distance in (x, y, apart))
            if off > NEARLY and off > ROUGHLY * apart:
                found = f"{one} and {two} are {mm(stop - start)} apart along the line and {mm(apart)} on the {face}"
                allowed = "where the line folds between them, give it a section with bend"
                context.report.warning("position_disagrees", (*path, "drivers", two), found, allowed)


def _mouths(
    chamber: edge.Line, profile: list[SectionSpec] | None, path: Path_, places: Places, context: Context
) -> tuple[MouthSpec, ...] | None:
    if chamber.mouth is not None and chamber.mouths is not None:
        found = f"{label(path)} has both mouth and mouths"
        context.report.error("mouth_twice", (*path, "mouths"), found, "put every mouth into the list, or give only one")
        return None
    if chamber.mouths is not None:
        given = [(mouth, (*path, "mouths", str(i))) for i, mouth in enumerate(chamber.mouths)]
    elif chamber.mouth is not None:
        given = [(chamber.mouth, (*path, "mouth"))]
    else:
        context.assumed(path, f"{label(path)} has no mouth", "an open end in a flange is assumed")
        return (MouthSpec("flanged", speed_limit=usual_speed(context)),)
    made = [_mouth(mouth, profile, here, places, context) for mouth, here in given]
    mouths = tuple(mouth for mouth in made if mouth)
    end = sum(section.length for section in profile or [])
    bare = [
        (end if mouth.at is None else mouth.at, here)
        for mouth, (_, here) in zip(made, given, strict=True)
        if mouth and not mouth.port
    ]
    for number, (place, here) in enumerate(bare):
        if any(math.isclose(place, other) for other, _ in bare[:number]):
            found = f"{label(here)} is where the line is open already"
            context.report.error("mouth_twice", here, found, "give it a port, or another place: at")
            return None
    return mouths if len(mouths) == len(given) else None


def _mouth(
    mouth: edge.Mouth, profile: list[SectionSpec] | None, here: Path_, places: Places, context: Context
) -> MouthSpec | None:
    cutout = places.cutout(mouth.cutout, (*here, "cutout"))
    left = _left_section(mouth.at, profile, here, context) if profile else None
    if profile and left is None:
        return None
    if mouth.port is None:
        if mouth.inner_end is not None and not context.has((*here, "port")):
            found = f"{label(here)} has an inner_end and no port"
            context.report.error(
                "inner_end_without_port", (*here, "inner_end"), found, "inner_end is the inside of a port"
            )
            return None
        return MouthSpec(mouth.end, None, cutout, mouth.at, usual_speed(context))
    at = (*here, "port")
    made = port(mouth.port, mouth.port.length, (mouth.end, mouth.inner_end or "ideal"), cutout, at, context)
    if made is None:
        return None
    if left is not None and made.area * made.count > left * _BEYOND:
        found = f"{label(at)} has {made.area * made.count * 1e4:.4g} cm2 in all"
        allowed = f"the section that it leaves has {left * 1e4:.4g} cm2 there, and a port is no wider"
        context.report.error("port_wider", at, found, allowed)
        return None
    check_inside(made, mouth.port.length, at, places, context)
    places.takes(cutout, alone(made.area, made.count) if mouth.port.diameter else None, (*here, "cutout"))
    return MouthSpec(mouth.end, made, cutout, mouth.at, made.speed_limit)


def _left_section(at: float | None, profile: list[SectionSpec], here: Path_, context: Context) -> float | None:
    """Area (m2) of the section that a mouth leaves: at the line's end, else its widest. None beyond the line."""
    if at is None:
        return profile[-1].end_area
    ends = list(accumulate(section.length for section in profile))
    if at > ends[-1] * _BEYOND:
        found = f"{label(here)} is {mm(at)} from the closed end"
        context.report.error("mouth_outside_line", (*here, "at"), found, f"the line is {mm(ends[-1])} long")
        return None
    left = next(s for s, end in zip(profile, ends, strict=True) if at <= end * _BEYOND)
    return max(left.area, left.end_area)
