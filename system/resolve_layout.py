"""The board as it is laid out: sizes that fit the kind of part, nothing over the edge, nothing in another's way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import combinations

from system import layoutmodel as edge
from system.context import Context, Path_
from system.document import label
from system.kit import Part, Variant
from system.outline import HELD, LEAST_GAP, Body, LayoutSpec, Spot, bodies, off_board, overlap
from system.resolve_board import Board

_OF_COILS = ("inner", "outer", "height")
_AXES = {"up": None, "along": 0.0, "across": math.pi / 2}
_PATH = ("layout",)


def resolve_layout(
    model: edge.Layout | None, board: Board, variants: Mapping[str, Variant | None], context: Context
) -> LayoutSpec | None:
    """The layout; None where the kit has none, or it is at fault."""
    if model is None or board.places is None:
        return None
    spots: dict[str, Spot] = {}
    for name, spot in model.places.items():
        path = (*_PATH, "places", name)
        if name not in board.places:
            context.unknown_name(path, name, list(board.places), "part of the crossover", key=True)
            continue
        place = board.places[name]
        if spot is None or place is None or place.part is None:
            continue
        made = _spot(name, spot, place.part, path, context)
        if made is not None:
            spots[name] = made
    layout = LayoutSpec((model.board[0], model.board[1]), {name: spots[name] for name in board.places if name in spots})
    if len(spots) == len(model.places):
        _check(layout, [variant for variant in variants.values() if variant], context)
        _say_assumed(model, layout, board, context)
    return layout


def _spot(name: str, model: edge.Spot, part: Part, path: Path_, context: Context) -> Spot | None:
    kind = part.kind
    given = [key for key in (*_OF_COILS, "size") if getattr(model, key) is not None]
    strange = [key for key in given if (key in _OF_COILS) != (kind == "coil")]
    for key in strange:
        allowed = "a coil has inner, outer and height" if kind == "coil" else "give size: [length, width, height]"
        found = f"{label(path)} has {key}, and {name} is a {kind}"
        context.report.error("layout_field", (*path, key), found, allowed, key=True)
    if strange:
        return None
    if kind == "coil" and not _is_sound_coil(model, part, path, context):
        return None
    if kind != "coil" and model.size is None:
        found = f"{label(path)} has no size"
        context.missing((*path, "size"), found, "give size: [length, width, height], or [length, diameter]")
        return None
    axis = model.axis or ("up" if kind == "coil" else "along")
    size = model.size
    return Spot(
        at=(model.at[0], model.at[1]),
        angle=axis.turned if isinstance(axis, edge.TurnedAxis) else _AXES[axis],
        inner=model.inner,
        outer=model.outer,
        height=model.height,
        size=(size[0], size[1], size[-1]) if size else None,
        raised=model.raised or 0.0,
        mass=model.mass,
        held=model.held or HELD,
    )


def _is_sound_coil(model: edge.Spot, part: Part, path: Path_, context: Context) -> bool:
    given = [key for key in _OF_COILS if getattr(model, key) is not None]
    if part.core == "iron" and model.outer is None:
        found = f"{label(path)} has no outer and height"
        context.missing((*path, "outer"), found, "how large a coil with an iron core is cannot be worked out")
        return False
    lacking = [key for key in ("outer", "height") if key not in given]
    if given and lacking:
        found = f"{label(path)} has {' and '.join(given)} and no {' or '.join(lacking)}"
        context.missing((*path, lacking[0]), found, "give outer and height, or none of the three")
        return False
    if model.inner is not None and model.outer is not None and model.inner >= model.outer:
        found = f"{label(path)} is {model.inner * 1e3:g} mm wide inside and {model.outer * 1e3:g} mm outside"
        context.report.error("layout_size", (*path, "inner"), found, "inner is the hole in the winding", key=True)
        return False
    return True


def _check(layout: LayoutSpec, variants: list[Variant], context: Context) -> None:
    """Each fault once, in the first variant that has it; a warning where a size is only worked out."""
    told: set[tuple[str, ...]] = set()

    def tell(code: str, found: str, allowed: str, *here: Body) -> None:
        told.add(tuple(body.reference for body in here))
        assumed = [body.reference for body in here if body.assumed]
        if assumed:
            found = (
                f"{found}, {' and '.join(assumed)} in the size worked out for {'it' if len(assumed) == 1 else 'them'}"
            )
            allowed = f"{allowed}, or give its own size"
        at = (*_PATH, "places", here[-1].reference)
        context.report.add("warning" if assumed else "error", code, at, found, allowed, key=True)

    for variant in variants:
        here = bodies(layout, variant)
        for body in here:
            over = off_board(body, layout.board)
            if over > LEAST_GAP and (body.reference,) not in told:
                found = f"{body.reference} is {over * 1e3:.1f} mm over the board's edge"
                tell("layout_edge", found, "move it, or give a larger board", body)
        for first, second in combinations(here, 2):
            names = (first.reference, second.reference)
            deep = overlap(first, second)
            if deep > LEAST_GAP and names not in told:
                found = f"{variant.name}: {names[0]} and {names[1]} are {deep * 1e3:.1f} mm in each other's way"
                tell("layout_overlap", found, "move one of the two", first, second)


def _say_assumed(model: edge.Layout, layout: LayoutSpec, board: Board, context: Context) -> None:
    coils = [name for name, spot in layout.spots.items() if spot.size is None]
    unsized = [name for name in coils if layout.spots[name].outer is None]
    if unsized:
        context.assumed(
            (*_PATH, "places"),
            f"no size is given for {', '.join(unsized)}",
            "a winding of Brooks's shape with its dc resistance assumed",
        )
    hollow = [name for name in coils if name not in unsized and layout.spots[name].inner is None]
    if hollow:
        context.assumed(
            (*_PATH, "places"), f"no inner diameter is given for {', '.join(hollow)}", "half of the outer assumed"
        )
    unheld = [name for name, spot in model.places.items() if spot and spot.held is None]
    if unheld:
        context.assumed(
            (*_PATH, "places"), f"how {', '.join(unheld)} is held is not given", "hot-melt glue alone assumed"
        )
    absent = [name for name in board.places or {} if name not in layout.spots]
    if absent:
        found = f"the layout has no place for {', '.join(absent)}"
        context.report.note("layout_incomplete", (*_PATH, "places"), found, "these are not looked at on the board")
