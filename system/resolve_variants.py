"""Variants: one build of the kit each, with its own board, cabinet and placement."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from enclosures.frozen import frozen
from system import kitmodel as edge
from system.board import check_circuit
from system.context import Context, Path_
from system.document import label
from system.kit import (
    Cabinet,
    Chamber,
    HighPass,
    Hookup,
    LineChamber,
    Listening,
    Place,
    Placement,
    SealedChamber,
    Seats,
    Variant,
)
from system.resolve_board import Board
from system.resolve_parts import change_place
from system.resolve_places import standing_as_given
from system.standing import check_standing


@frozen
class Surroundings:
    """What all variants share; `cabinets` None: they are at fault altogether."""

    board: Board
    cabinets: Mapping[str, Cabinet | None] | None
    listening: edge.Listening | None
    lowest_load: float | None


def resolve_variant(name: str, model: edge.Variant, shared: Surroundings, context: Context) -> Variant | None:
    """The variant, or None where it or what it stands on is at fault."""
    path = ("variants", name)
    board = shared.board
    hookups = _hookups(model, board, path, context)
    places = _places(model, board, path, context)
    if hookups is not None and places is not None and board.input is not None:
        omitted = [hookup for key, hookup in (board.hookups or {}).items() if key not in hookups and hookup]
        reason = model.reason or ("its reason is at fault" if context.has((*path, "reason")) else "")
        check_circuit(name, board.input, places, hookups, omitted, shared.lowest_load, reason, context)
    whole = _cabinet(model, shared.cabinets, path, context)
    if whole is None or hookups is None or places is None:
        return None
    cabinet = _with_only(whole, list(hookups), path, context)
    _note_unhoused(cabinet, hookups, context)
    high_pass, seats = model.receiver_high_pass, model.seats
    fitted = {place.reference for place in places.values() if place.state == "fit"}
    variant = Variant(
        name=name,
        cabinet=cabinet,
        attitude=model.attitude or "upright",
        placement=_placement(model, cabinet, list(hookups), path, context),
        places=places,
        hookups=hookups,
        couplings=tuple(coupling for coupling in board.couplings if fitted.issuperset(coupling.coils)),
        listening=_listening(shared.listening, hookups, path, context),
        receiver_high_pass=HighPass(high_pass.corner, high_pass.order)
        if isinstance(high_pass, edge.HighPass)
        else None,
        seats=Seats(seats.distance, seats.angle) if seats else None,
    )
    known = (*path, "placement"), ("listening",), ("cabinets", cabinet.name, "baffle")
    given = model.placement, shared.listening, cabinet.baffle
    at_fault = any(value is None and context.has(at) for at, value in zip(known, given, strict=True))
    if not at_fault and ("cabinets", cabinet.name) not in context.doubtful:
        check_standing(variant, context)
    return variant


def _hookups(model: edge.Variant, board: Board, path: Path_, context: Context) -> dict[str, Hookup] | None:
    """The drivers that the variant does not leave out, if all are sound."""
    if board.hookups is None or (model.hookup is None and context.has((*path, "hookup"))):
        return None
    states = model.hookup or {}
    for name in states:
        if name not in board.hookups:
            context.unknown_name((*path, "hookup", name), name, list(board.hookups), "hookup name", key=True)
    here = {name: hookup for name, hookup in board.hookups.items() if states.get(name) != "omit"}
    if not here:
        found = f"{path[-1]} leaves every driver out"
        context.report.error("no_driver", (*path, "hookup"), found, "keep at least one", key=True)
    sound = {name: hookup for name, hookup in here.items() if hookup}
    return sound if sound and len(sound) == len(here) else None


def _places(model: edge.Variant, board: Board, path: Path_, context: Context) -> dict[str, Place] | None:
    """Every place as the variant has it, if all are sound."""
    if board.places is None or (model.parts is None and context.has((*path, "parts"))):
        return None
    changes = model.parts or {}
    for name in changes:
        if name not in board.places:
            at = (*path, "parts", name)
            context.unknown_name(at, name, list(board.places), "part of the crossover", key=True)
    places = {}
    for reference, place in board.places.items():
        change = changes.get(reference)
        faulty_change = change is None and reference in changes
        if place is not None and not faulty_change and (made := change_place(place, change, path[-1], context)):
            places[reference] = made
    return places if len(places) == len(board.places) else None


def _cabinet(
    model: edge.Variant, cabinets: Mapping[str, Cabinet | None] | None, path: Path_, context: Context
) -> Cabinet | None:
    if model.cabinet is None or cabinets is None:
        return None
    if model.cabinet not in cabinets:
        context.unknown_name((*path, "cabinet"), model.cabinet, list(cabinets), "cabinet")
        return None
    return cabinets[model.cabinet]


def _with_only(cabinet: Cabinet, names: list[str], path: Path_, context: Context) -> Cabinet:
    """The cabinet without the drivers that a variant leaves out; a chamber without a driver is gone."""
    chambers = [_only(chamber, names) for chamber in cabinet.chambers]
    for index, chamber in enumerate(chambers):
        if not chamber.drivers and not context.report.faulty:
            found = f"{path[-1]} has no driver in {label(('cabinets', cabinet.name, 'chambers', str(index)))}"
            context.report.note("chamber_empty", path, found, "that chamber is left out")
    return replace(
        cabinet,
        cutouts={name: cutout for name, cutout in cabinet.cutouts.items() if name in names},
        chambers=tuple(chamber for chamber in chambers if chamber.drivers),
    )


def _only(chamber: Chamber, names: list[str]) -> Chamber:
    drivers = tuple(name for name in chamber.drivers if name in names)
    if isinstance(chamber, LineChamber | SealedChamber) and chamber.positions:
        places = dict(zip(chamber.drivers, chamber.positions, strict=True))
        return replace(chamber, drivers=drivers, positions=tuple(places[name] for name in drivers))
    return replace(chamber, drivers=drivers)


def _note_unhoused(cabinet: Cabinet, hookups: Mapping[str, Hookup], context: Context) -> None:
    """A tweeter has a closed back as a rule; of another driver that is in no chamber it is an assumption."""
    housed = {name for chamber in cabinet.chambers for name in chamber.drivers}
    bare = [name for name, hookup in hookups.items() if name not in housed and hookup.driver.role != "tweeter"]
    if bare and cabinet.chambers and not context.report.faulty:
        found = f"{', '.join(bare)} is in no chamber of {cabinet.name}"
        context.assumed(("cabinets", cabinet.name), found, "a closed back of its own assumed")


def _placement(model: edge.Variant, cabinet: Cabinet, names: list[str], path: Path_, context: Context) -> Placement:
    placement = _placement_as_given(model, cabinet, path, context)
    if placement is None:
        return Placement("in_wall")  # at fault; the kit is not made
    at = ("cabinets", cabinet.name)
    if placement.kind != "in_wall" and cabinet.baffle is None:
        if not context.has((*at, "baffle")):
            found = f"{path[-1]} is not in a wall, and its cabinet {cabinet.name} has no baffle"
            allowed = "give the baffle's size, or placement: in_wall"
            context.report.error("placement_needs_baffle", (*path, "placement"), found, allowed)
    elif placement.kind != "in_wall" or cabinet.cutouts:
        bare = [name for name in names if name not in cabinet.cutouts]
        if bare and at not in context.doubtful:
            middle = "where the listening axis begins" if cabinet.cutouts else "in the middle of the front"
            found = f"{cabinet.name} has no cutout for {', '.join(bare)}"
            context.report.warning("cutout_missing", at, found, f"taken as {middle}", key=True)
    return placement


def _placement_as_given(model: edge.Variant, cabinet: Cabinet, path: Path_, context: Context) -> Placement | None:
    given, at = model.placement, (*path, "placement")
    if given is None:
        if context.has(at):
            return None
        placement = Placement("free_standing" if cabinet.baffle else "in_wall")
        context.assumed(path, f"{path[-1]} has no placement", f"placement: {placement.kind} assumed")
        return placement
    if given == "on_floor":
        return Placement("near_planes", below=0.0)
    if isinstance(given, str):
        return Placement(given)
    return standing_as_given(given, at, context)


def _listening(given: edge.Listening | None, hookups: Mapping[str, Hookup], path: Path_, context: Context) -> Listening:
    model = given or edge.Listening()
    tweeters = [name for name, hookup in hookups.items() if hookup.driver.role == "tweeter"]
    axis = (tweeters or list(hookups))[0]
    if model.axis is not None and model.axis in hookups:
        axis = model.axis
    elif model.axis is not None and not context.report.faulty:
        found = f"{path[-1]} leaves {model.axis} out, where the listening axis begins"
        context.report.note("axis_left_out", path, found, f"it begins at {axis} instead")
    return Listening(model.distance or 1.0, axis, model.angle_horizontal, model.angle_vertical)
