"""Where things are on the outside of a cabinet, cutouts against its outline, and what is near it as it stands."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from enclosures.frozen import frozen
from system import cabinetmodel as edge
from system import kitmodel
from system.context import Context, Path_
from system.document import label
from system.kit import Baffle, Cutout, Face, Panel, Placement

# On which faces, seen from outside, the left, the right, the lower and the upper edge is one of the front's.
_FRONT_EDGE = (("front", "right"), ("front", "left"), ("front", "top"), ("front", "bottom"))
# On which sides a panel of each kind may be, the usual one first; an opening is all of its sides at once.
_SIDES: Mapping[str, tuple[str, ...]] = {
    "shelf": ("below", "above"),
    "desk": ("below",),
    "screen": ("behind", "left", "right"),
    "opening": ("left", "right", "below", "above"),
}
_MEASURES: Mapping[str, tuple[str, ...]] = {
    "below": ("front", "width"),
    "above": ("front", "width"),
    "left": ("front", "height"),
    "right": ("front", "height"),
    "behind": ("width", "height"),
}


def mm(metres: float) -> str:
    """A length as a message shows it."""
    return f"{metres * 1e3:.4g} mm"


def alone(area: float, count: int) -> float | None:
    """The area (m2) at a cutout; None where one cutout stands for several, whose places are not known."""
    return area if count == 1 else None


@frozen
class _Hole:
    """What a cutout takes of its face: a disc of `radius` (m), the effective one, so the true hole is no smaller."""

    path: Path_
    cutout: Cutout
    radius: float


class Places:
    """The cutouts of one cabinet. `unknown`: it has a baffle that is at fault, so nothing is said of its size."""

    def __init__(self, baffle: Baffle | None, unknown: bool, context: Context) -> None:
        self.baffle, self.unknown, self.context = baffle, unknown, context
        self.drivers: dict[str, Cutout] = {}  # by hookup name
        self._holes: list[_Hole] = []

    def cutout(self, cutout: Any, path: Path_) -> Cutout | None:
        """The cutout, checked; None where the kit gives none."""
        if cutout is None:
            return None
        placed = cutout if isinstance(cutout, edge.PlacedCutout) else edge.PlacedCutout(at=cutout)
        x, y = placed.at
        result = Cutout(placed.face, (x, y), placed.set_back)
        self._check(result, path)
        return result

    def takes(self, cutout: Cutout | None, area: float | None, path: Path_) -> None:
        """Say that what sounds at a cutout has this `area` (m2, None where that is not known), and check that it fits.

        A hole may lie wholly in another, as that of a driver before the middle of a larger one.
        """
        if cutout is None or area is None or path[:2] in self.context.doubtful:
            return
        hole = _Hole(path, cutout, math.sqrt(area / math.pi))
        (x, y), report = cutout.at, self.context.report
        if self.baffle is not None:
            (left, right), (below, above) = self._flat(cutout.face)
            room = min(x - left, right - x, y - below, above - y)
            if room < hole.radius:
                found = f"{label(path)} is {mm(2 * hole.radius)} wide, and its centre {mm(room)} from an edge"
                report.error("cutout_over_edge", path, found, "a cutout lies wholly on the flat of its face")
        for other in self._holes:
            apart = math.dist(cutout.at, other.cutout.at)
            inside = apart + min(hole.radius, other.radius) <= max(hole.radius, other.radius)
            if other.cutout.face == cutout.face and apart < hole.radius + other.radius and not inside:
                found = (
                    f"{label(path)} is {mm(2 * hole.radius)} wide and {mm(apart)} from {label(other.path)}, "
                    f"which is {mm(2 * other.radius)} wide"
                )
                report.error("cutouts_overlap", path, found, "move one of the two")
        self._holes.append(hole)

    def behind(self, cutout: Cutout | None) -> float | None:
        """How deep (m) the cabinet is behind a cutout, outside dimensions; None where that is not known."""
        return self._size(cutout.face)[2] if cutout is not None and self.baffle is not None else None

    def _size(self, face: Face) -> tuple[float, float, float]:
        """Width and height (m) of a face, seen from outside, and the cabinet's depth behind it."""
        assert self.baffle is not None
        width, height, depth = self.baffle.width, self.baffle.height, self.baffle.depth
        front, side, top = (width, height, depth), (depth, height, width), (width, depth, height)
        return {"front": front, "rear": front, "left": side, "right": side, "top": top, "bottom": top}[face]

    def _flat(self, face: Face) -> tuple[tuple[float, float], tuple[float, float]]:
        """From where to where (m) a face is flat, across and up: the front's edges take off their radius."""
        assert self.baffle is not None
        width, height, _ = self._size(face)
        radius = self.baffle.edge_radius
        left, right, below, above = (radius if face in faces else 0.0 for faces in _FRONT_EDGE)
        return (left, width - right), (below, height - above)

    def _check(self, cutout: Cutout, path: Path_) -> None:
        report = self.context.report
        if self.baffle is None:
            if cutout.face != "front" and not self.unknown:
                found = f"{label(path)} is on the {cutout.face}, and the cabinet has no baffle"
                report.error("cutout_no_baffle", path, found, "give the baffle's width, height and depth")
                self.context.doubtful.add(path[:2])
            return
        width, height, across = self._size(cutout.face)
        (left, right), (below, above) = self._flat(cutout.face)
        x, y = cutout.at
        if not (left < x < right and below < y < above):
            found = f"{label(path)} has its centre {mm(x)} from the left and {mm(y)} from below"
            rounded = f", edges rounded by {mm(self.baffle.edge_radius)}" if self.baffle.edge_radius else ""
            report.error("cutout_outside", path, found, f"its face is {mm(width)} wide and {mm(height)} high{rounded}")
            self.context.doubtful.add(path[:2])
        elif cutout.set_back > across:
            found = f"{label(path)} has its acoustic centre {mm(cutout.set_back)} behind the face"
            report.error("cutout_outside", path, found, f"the cabinet is {mm(across)} deep there")


def standing_as_given(given: kitmodel.Distances, path: Path_, context: Context) -> Placement | None:
    """Where a cabinet stands by the mapping at `path`; None where that is at fault, and reported."""
    values = given.given("surfaces", "panels")
    surfaces = given.surfaces.given() if given.surfaces else {}
    if not (values or surfaces or given.panels):
        context.report.error("empty", path, f"{label(path)} is empty", "give a distance, or a word")
        return None
    planes = [plane for plane in kitmodel.Surfaces.fields() if plane in values]
    sound = True
    for plane in surfaces:
        if plane not in planes:
            at = (*path, "surfaces", plane)
            found = f"{label(at)} is {surfaces[plane]}, and {label(path)} has no {plane}"
            context.report.error("surface_without_plane", at, found, f"give {plane} a distance, or leave it out")
            sound = False
    panels: list[Panel] = []
    for index, panel in enumerate(given.panels or ()):
        made = _panels(panel, (*path, "panels", str(index)), context) if panel else []
        sound = sound and bool(made)
        panels += made
    kind: Any = "near_planes" if planes else "free_standing"
    return Placement(kind, **values, surfaces=surfaces, panels=tuple(panels)) if sound else None


def _panels(given: kitmodel.Panel, path: Path_, context: Context) -> list[Panel]:
    """The panels that one entry of the kit stands for; none where it is at fault, and reported."""
    sides, whole = _SIDES[given.kind], given.kind == "opening"
    if given.side and (whole or given.side not in sides):
        found = f"{label(path)} is {a_kind(given.kind)} {given.side}"
        allowed = "an opening is on all sides: leave side out" if whole else f"it is {' or '.join(sides)}"
        context.report.error("panel_side", (*path, "side"), found, allowed)
        return []
    side = given.side or sides[0]
    takes = ("front",) if whole else _MEASURES[side]
    measures = given.given("kind", "side", "distance")
    sound = True
    where = "an opening" if whole else f"{a_kind(given.kind)} {side}"
    for key in measures:
        if key not in takes:
            found = f"{label(path)} is {where} and has {key}"
            context.report.error("panel_measure", (*path, key), found, f"it takes {' and '.join(takes)}", key=True)
            sound = False
    for key in takes:
        if key not in measures:
            context.missing((*path, key), f"{label(path)} has no {key}", f"{where} needs {' and '.join(takes)}")
            sound = False
    if not sound:
        return []
    chosen: Any = sides if whole else (side,)
    return [Panel(each, given.distance or 0.0, **measures) for each in chosen]


def a_kind(kind: str) -> str:
    """The word with its article."""
    return f"an {kind}" if kind == "opening" else f"a {kind}"
