"""The board: input points, places with their parts, coupled coils, and the drivers that hang on it."""

from __future__ import annotations

from collections.abc import Mapping

from enclosures.frozen import frozen
from system import kitmodel as edge
from system.circuit import coupling_is_passive
from system.context import Context, Path_
from system.kit import Coupling, DriverData, Hookup
from system.resolve_parts import BoardPlace, resolve_place


@frozen
class Board:
    """What the crossover says. An entry is None where it is at fault, a whole field where nothing is known of it."""

    input: tuple[str, str] | None
    hookups: Mapping[str, Hookup | None] | None
    places: Mapping[str, BoardPlace | None] | None
    couplings: tuple[Coupling, ...] = ()

    @property
    def drivers(self) -> dict[str, DriverData | None] | None:
        """The driver of each hookup name."""
        if self.hookups is None:
            return None
        return {name: hookup.driver if hookup else None for name, hookup in self.hookups.items()}


def resolve_board(
    crossover: edge.Crossover | None, drivers: Mapping[str, DriverData | None] | None, context: Context
) -> Board:
    """The board; `drivers` are None where the kit's are at fault altogether."""
    if crossover is None:
        return Board(None, None, None)
    places = _places(crossover, context)
    couplings = () if places is None else _couplings(crossover, places, context)
    return Board(_input(crossover, context), _hookups(crossover, drivers, context), places, couplings)


def _input(crossover: edge.Crossover, context: Context) -> tuple[str, str] | None:
    points = crossover.input
    if points is None:
        return None
    if points[0] == points[1]:
        found = f"the input's points are both {points[0]}"
        context.report.error("same_point", ("crossover", "input"), found, "name the hot point and the common point")
        return None
    return points[0], points[1]


def _hookups(
    crossover: edge.Crossover, drivers: Mapping[str, DriverData | None] | None, context: Context
) -> dict[str, Hookup | None] | None:
    if crossover.hookup is None:
        return None
    taken = crossover.parts or {}
    return {
        name: _hookup(name, model, taken, drivers, context) if model else None
        for name, model in crossover.hookup.items()
    }


def _hookup(
    name: str,
    model: edge.Hookup,
    taken: Mapping[str, object],
    drivers: Mapping[str, DriverData | None] | None,
    context: Context,
) -> Hookup | None:
    path, report = ("crossover", "hookup", name), context.report
    if name in taken:
        found = f"{name} is a part and a driver on the board"
        report.error("name_twice", path, found, "give each its own name", key=True)
        return None
    if drivers is None:
        return None
    if model.driver not in drivers:
        context.unknown_name((*path, "driver"), model.driver, list(drivers), "driver")
        return None
    if model.plus == model.minus:
        found = f"{name} has plus and minus on the same point, {model.plus}"
        report.error("same_point", (*path, "minus"), found, "a driver is between two different points")
        return None
    driver = drivers[model.driver]
    return Hookup(name, driver, model.plus, model.minus, model.reversed is not None) if driver else None


def _places(crossover: edge.Crossover, context: Context) -> dict[str, BoardPlace | None] | None:
    if crossover.parts is None:
        return None if context.has(("crossover", "parts")) else {}
    places = {
        reference: resolve_place(reference, part, context) if part else None
        for reference, part in crossover.parts.items()
    }
    unsaid = [place.reference for place in places.values() if place and _is_lossless_unsaid(place, context)]
    if unsaid:
        found = f"no resistance is given for {', '.join(unsaid)}"
        context.assumed(("crossover", "parts"), found, "0 ohm assumed")
    return places


def _is_lossless_unsaid(place: BoardPlace, context: Context) -> bool:
    """A coil or capacitor without loss, not because the kit says 0 ohm."""
    part = place.part
    if part is None or part.kind == "resistor" or part.resistance or part.dissipation_factor is not None:
        return False
    return not any(context.has((*place.path, key)) for key in ("dc_resistance", "series_resistance"))


def _couplings(
    crossover: edge.Crossover, places: Mapping[str, BoardPlace | None], context: Context
) -> tuple[Coupling, ...]:
    found: list[Coupling] = []
    pairs: set[frozenset[str]] = set()
    for index, model in enumerate(crossover.coupled or []):
        path = ("crossover", "coupled", str(index))
        if model is None or not _are_coils(model.coils, places, path, context):
            continue
        first, second = model.coils
        pair = frozenset(model.coils)
        if first == second or pair in pairs:
            told = f"{first} is coupled to itself" if first == second else f"{first} and {second} are coupled already"
            context.report.error("coupled_twice", (*path, "coils"), told, "name two coils, each pair once")
            continue
        pairs.add(pair)
        found.append(Coupling((first, second), model.coefficient))
    names = list(dict.fromkeys(name for coupling in found for name in coupling.coils))
    if found and not coupling_is_passive(names, {c.coils: c.coefficient for c in found}):
        told = f"coils {', '.join(names)} are coupled so closely that they would give energy"
        at = ("crossover", "coupled")
        context.report.error("coupling_not_passive", at, told, "check the coefficients and their signs", key=True)
    return tuple(found)


def _are_coils(names: list[str], places: Mapping[str, BoardPlace | None], path: Path_, context: Context) -> bool:
    sound = True
    for index, name in enumerate(names):
        at = (*path, "coils", str(index))
        place = places.get(name)
        if name not in places:
            coils = [n for n, p in places.items() if p and p.fields.coil is not None]
            context.unknown_name(at, name, coils, "coil")
            sound = False
        elif place is not None and place.part is not None and place.part.kind != "coil":
            context.report.error("unknown_name", at, f"{name} is a {place.part.kind}", "only coils couple")
            sound = False
    return sound
