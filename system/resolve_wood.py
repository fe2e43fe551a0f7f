"""The boards of a cabinet, and what a driver needs of them: given or assumed, and checked against the outline."""

from __future__ import annotations

from collections.abc import Iterable

from system import woodmodel as edge
from system.cabinet import Baffle
from system.context import Context, Path_
from system.document import label
from system.wood import USUAL_DENSITY, USUAL_THICKNESS, Boards, Mounting, Piece


def resolve_boards(model: edge.Boards | None, baffle: Baffle | None, path: Path_, context: Context) -> Boards:
    """The boards of the cabinet at `path`, of the usual thickness where nothing is said. `baffle` None: not known."""
    given = model or edge.Boards()
    here = (*path, "boards")
    thickness = USUAL_THICKNESS if given.thickness is None else given.thickness
    front = thickness if given.front is None else given.front
    rear = thickness if given.rear is None else given.rear
    if baffle is None and model is not None and not context.has((*path, "baffle")):
        found = f"{path[-1]} has boards, and its size is not given"
        context.report.warning(
            "boards_without_size", here, found, "give the baffle's width, height and depth", key=True
        )
    braces = tuple(_piece(piece, thickness) for piece in given.braces or ())
    dividers = None if given.dividers is None else tuple(_piece(piece, thickness) for piece in given.dividers)
    if baffle is not None and model is not None:
        inside = inner_size(baffle, thickness, front, rear)
        if min(inside) <= 0:
            found = f"{label(here)} leave nothing inside: the cabinet is {_sizes(_outside(baffle))} outside"
            context.report.error("boards_too_thick", here, found, "make the boards thinner, or the cabinet larger")
        else:
            _check_inside(braces, inside, (*here, "braces"), context)
            _check_inside(dividers or (), inside, (*here, "dividers"), context)
    return Boards(
        thickness=thickness,
        front=front,
        rear=rear,
        braces=braces,
        dividers=dividers,
        crossover=given.crossover,
        density=USUAL_DENSITY if given.density is None else given.density,
        assumed=tuple(key for key in ("thickness", "density") if getattr(given, key) is None),
    )


def inner_size(baffle: Baffle, thickness: float, front: float, rear: float) -> tuple[float, float, float]:
    """Width, height and depth (m) inside boards of these thicknesses."""
    return baffle.width - 2 * thickness, baffle.height - 2 * thickness, baffle.depth - front - rear


def _outside(baffle: Baffle) -> tuple[float, float, float]:
    return baffle.width, baffle.height, baffle.depth


def _piece(model: edge.Piece, thickness: float) -> Piece:
    return Piece(model.length, model.width, thickness if model.thickness is None else model.thickness, model.count)


def _check_inside(pieces: Iterable[Piece], inside: tuple[float, ...], path: Path_, context: Context) -> None:
    """Each piece lies in the cabinet somehow, along its edges."""
    for index, piece in enumerate(pieces):
        sizes = (piece.length, piece.width, piece.thickness)
        if any(size > room * (1 + 1e-9) for size, room in zip(sorted(sizes), sorted(inside), strict=True)):
            at = (*path, str(index))
            found = f"{label(at)} is {_sizes(sizes)}, and the cabinet {_sizes(inside)} inside"
            context.report.error("piece_outside", at, found, "a piece has to fit between the boards")


def _sizes(sizes: Iterable[float]) -> str:
    """`154 x 60 x 18 mm`."""
    return f"{' x '.join(f'{size * 1e3:.4g}' for size in sizes)} mm"


def resolve_mounting(model: edge.Mounting | None, path: Path_, context: Context) -> Mounting | None:
    """What the driver at `path` needs of a cabinet; None where nothing is said of it."""
    if model is None:
        return None
    hole, flange = model.cutout_diameter, model.flange_diameter
    here = (*path, "mounting")
    if hole is not None and flange is not None and flange <= hole:
        at = (*here, "flange_diameter")
        found = f"{label(at)} is {context.text(at)}, and the hole {context.text((*here, 'cutout_diameter'))}"
        context.report.error("flange_order", at, found, "the flange lies on the board about the hole, so it is wider")
    return Mounting(**model.given())
