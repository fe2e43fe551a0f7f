"""What a choice is held against: the window and the meter, the spread of copies, and what `revalue` may do."""

from __future__ import annotations

from collections.abc import Mapping

from system import choicemodel as edge
from system import kitmodel
from system.context import Context, Path_
from system.document import label
from system.kit import DriverSpread, Meter, RevalueSpec, SpreadSpec, Table, Target, Variant, Window
from system.resolve_board import Board
from system.tables import TARGET, read_table

LARGEST_SPAN = 60.0  # dB between the lowest and the highest level that may be asked for
_UNITS = {"level": "dB", "impedance": "ohm"}


def resolve_meter(model: edge.Meter | None, context: Context) -> Meter | None:
    """The meter as given or assumed; None where it is at fault."""
    if model is None:
        return None if context.has(("meter",)) else Meter()
    given = model.given()
    return Meter(**given, assumed=tuple(key for key in Meter().assumed if key not in given))


def resolve_window(model: edge.Window | None, meter: Meter | None, context: Context) -> Window | None:
    """The window, no finer than the meter: what it leaves open is widened to what the meter shows. None: at fault."""
    path = ("window",)
    if model is None and context.has(path):
        return None
    given = model.given() if model else {}
    window = Window(**given)
    sound = _rises(path, window.lowest, window.highest, context)
    if meter is None:
        return None
    finest = {key: getattr(meter, key) for key in _UNITS}
    for key, unit in _UNITS.items():
        if key in given and given[key] < finest[key]:
            at = (*path, key)
            found = f"{label(at)} is {given[key]:g} {unit}, and the meter shows {finest[key]:g} {unit} at the least"
            context.report.error("window_finer_than_meter", at, found, f"widen it, or give meter: {{{key}: ..}}")
            sound = False
    open_ = {key: max(getattr(window, key), least) for key, least in finest.items()}
    return Window(**{**open_, **given}) if sound else None


def _rises(path: Path_, lowest: float, highest: float, context: Context) -> bool:
    """Whether a band's `from` is below its `to`; reported where it is not."""
    if lowest < highest:
        return True
    found = f"{label(path)} runs from {lowest:g} Hz to {highest:g} Hz"
    at = (*path, "from" if context.has((*path, "from")) else "to")
    context.report.error("band_order", at, found, "from must be below to; without them it runs from 200 Hz to 10 kHz")
    return False


def resolve_spread(model: edge.Spread | None, context: Context) -> SpreadSpec | None:
    """How copies are drawn; None where that is at fault."""
    if model is None:
        return None if context.has(("spread",)) else SpreadSpec()
    return SpreadSpec(**model.given())


def resolve_driver_spread(
    model: edge.DriverSpread | None, inapplicable: Mapping[str, str], path: Path_, context: Context
) -> DriverSpread:
    """How far copies of a driver lie apart; `inapplicable` says why a key means nothing of this driver.

    Those keys are an error where they are given, and no assumption where they are not.
    """
    given = model.given() if model else {}
    name = path[-1]
    for key, why in inapplicable.items():
        if key in given:
            found = f"{name}.spread has {key}, and {name} {why}"
            context.report.error("spread_unused", (*path, "spread", key), found, "leave it out", key=True)
    assumed = tuple(key for key in edge.DriverSpread.fields() if key not in given and key not in inapplicable)
    return DriverSpread(**given, assumed=assumed)


def resolve_revalue(
    model: edge.Revalue | None, board: Board, variants: Mapping[str, Variant | None], context: Context
) -> RevalueSpec | None:
    """What `revalue` may do; None where that is at fault."""
    path = ("revalue",)
    if model is None:
        return None if context.has(path) else RevalueSpec()
    given = model.given("move", "target")
    bare = RevalueSpec(**given)
    sound = _rises(path, bare.lowest, bare.highest, context)
    target = _target(model.target, (bare.lowest, bare.highest) if sound else None, context)
    move = tuple(model.move or ())
    stuck = [name for index, name in enumerate(move) if not _can_move(index, move, board, variants, context)]
    return RevalueSpec(move, target, **given) if sound and not stuck and target else None


def _can_move(
    index: int, move: tuple[str, ...], board: Board, variants: Mapping[str, Variant | None], context: Context
) -> bool:
    """Whether the place that `move` names at `index` can get another value; reported where it cannot."""
    name, report = move[index], context.report
    at = ("revalue", "move", str(index))
    if board.places is None:
        return False
    if name not in board.places:
        context.unknown_name(at, name, list(board.places), "part of the crossover")
        return False
    if name in move[:index]:
        report.error("move_twice", at, f"revalue.move names {name} twice", "name each place once")
        return False
    partners = _partners(name, board)
    if partners:
        found = f"revalue.move names {name}, which is coupled to {' and '.join(partners)}"
        report.error("move_coupled", at, found, "another coil would be coupled otherwise: leave it out")
        return False
    if _is_never_fitted(name, variants):
        report.error("move_never_fitted", at, f"revalue.move names {name}, which no variant fits", "leave it out")
        return False
    return True


def _partners(name: str, board: Board) -> list[str]:
    """The coils that a coil is coupled to."""
    return sorted({other for pair in board.couplings if name in pair.coils for other in pair.coils} - {name})


def _is_never_fitted(name: str, variants: Mapping[str, Variant | None]) -> bool:
    """Whether no variant fits a place; not said where some variant is at fault."""
    built = [variant for variant in variants.values() if variant]
    known = bool(built) and len(built) == len(variants)
    return known and all(variant.places[name].state != "fit" for variant in built)


def resolve_step(
    crossover: kitmodel.Crossover | None, board: Board, variants: Mapping[str, Variant | None], context: Context
) -> str | None:
    """The place whose part balances low against high; None where none is named, or that is at fault."""
    name = crossover.step_set_by if crossover else None
    if name is None or board.places is None:
        return None
    at, report = ("crossover", "step_set_by"), context.report
    if name not in board.places:
        context.unknown_name(at, name, list(board.places), "part of the crossover")
        return None
    partners = _partners(name, board)
    if partners:
        found = f"crossover.step_set_by names {name}, which is coupled to {' and '.join(partners)}"
        report.error("step_coupled", at, found, "another coil would be coupled otherwise: name another part")
        return None
    if _is_never_fitted(name, variants):
        found = f"crossover.step_set_by names {name}, which no variant fits"
        report.error("step_never_fitted", at, found, "name a part that is fitted")
        return None
    return name


def _target(model: edge.TargetValue | None, band: tuple[float, float] | None, context: Context) -> Target | None:
    """The response asked for over `band` (Hz; None: at fault); None where it is at fault."""
    if not isinstance(model, edge.Target):
        return Target()
    path = ("revalue", "target")
    if model.tilt is not None and model.file is not None:
        context.report.error("given_twice", path, f"{label(path)} has tilt and file", "give one of the two", key=True)
        return None
    if model.file is None:
        if model.tilt is None:
            context.missing((*path, "tilt"), f"{label(path)} has neither tilt nor file", "give one, or say flat")
            return None
        return Target(model.tilt)
    at = (*path, "file")
    table = context.read_beside(at, model.file, lambda file, shown: read_table(file, shown, TARGET))
    if table is None or band is None or not _can_be_asked(table, band, at, context):
        return None
    return Target(table=table)


def _can_be_asked(table: Table, band: tuple[float, float], at: Path_, context: Context) -> bool:
    """Whether a table of levels covers the band, and no more levels than a loudspeaker could ever follow."""
    lowest, highest = band
    first, last = table.frequency[0], table.frequency[-1]
    if first > lowest or last < highest:
        found = f"{table.file} has levels from {first:g} Hz to {last:g} Hz"
        allowed = f"revalue asks from {lowest:g} Hz to {highest:g} Hz"
        context.report.error("target_short", at, found, allowed)
        return False
    begin = max(index for index, frequency in enumerate(table.frequency) if frequency <= lowest)
    end = min(index for index, frequency in enumerate(table.frequency) if frequency >= highest)
    levels = table.magnitude[begin : end + 1]  # with the rows that lead into the band and out of it
    span = max(levels) - min(levels)
    if span > LARGEST_SPAN:
        found = f"{table.file} asks for levels that are {span:g} dB apart"
        context.report.error("target_span", at, found, f"at most {LARGEST_SPAN:g} dB can be meant")
        return False
    return True
