"""Where things are on the outside of a cabinet: cutouts against its outline."""

from __future__ import annotations

from typing import Any

from system import cabinetmodel as edge
from system.context import Context, Path_
from system.document import label
from system.kit import Baffle, Cutout, Face


def mm(metres: float) -> str:
    """A length as a message shows it."""
    return f"{metres * 1e3:.4g} mm"


class Places:
    """The cutouts of one cabinet. `unknown`: it has a baffle that is at fault, so nothing is said of its size."""

    def __init__(self, baffle: Baffle | None, unknown: bool, context: Context) -> None:
        self.baffle, self.unknown, self.context = baffle, unknown, context
        self.drivers: dict[str, Cutout] = {}  # by hookup name

    def cutout(self, cutout: Any, path: Path_) -> Cutout | None:
        """The cutout, checked; None where the kit gives none."""
        if cutout is None:
            return None
        placed = cutout if isinstance(cutout, edge.PlacedCutout) else edge.PlacedCutout.model_construct(at=cutout)
        x, y = placed.at
        result = Cutout(placed.face, (x, y), placed.set_back)
        self._check(result, path)
        return result

    def behind(self, cutout: Cutout | None) -> float | None:
        """How deep (m) the cabinet is behind a cutout, outside dimensions; None where that is not known."""
        return self._size(cutout.face)[2] if cutout is not None and self.baffle is not None else None

    def _size(self, face: Face) -> tuple[float, float, float]:
        """Width and height (m) of a face, seen from outside, and the cabinet's depth behind it."""
        assert self.baffle is not None
        width, height, depth = self.baffle.width, self.baffle.height, self.baffle.depth
        front, side, top = (width, height, depth), (depth, height, width), (width, depth, height)
        return {"front": front, "rear": front, "left": side, "right": side, "top": top, "bottom": top}[face]

    def _check(self, cutout: Cutout, path: Path_) -> None:
        report = self.context.report
        if self.baffle is None:
            if cutout.face != "front" and not self.unknown:
                found = f"{label(path)} is on the {cutout.face}, and the cabinet has no baffle"
                report.error("cutout_no_baffle", path, found, "give the baffle's width, height and depth")
                self.context.doubtful.add(path[:2])
            return
        width, height, across = self._size(cutout.face)
        x, y = cutout.at
        if not (0 < x < width and 0 < y < height):
            found = f"{label(path)} has its centre {mm(x)} from the left and {mm(y)} from below"
            report.error("cutout_outside", path, found, f"its face is {mm(width)} wide and {mm(height)} high")
            self.context.doubtful.add(path[:2])
        elif cutout.set_back > across:
            found = f"{label(path)} has its acoustic centre {mm(cutout.set_back)} behind the face"
            report.error("cutout_outside", path, found, f"the cabinet is {mm(across)} deep there")
