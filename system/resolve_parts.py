"""Places on the board: parts with their losses, and what a variant makes of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, get_args

from enclosures.frozen import frozen
from system import kitmodel as edge
from system import quantity
from system.context import Context, Path_, per_cent, severity_of
from system.document import advice, label
from system.edge import what
from system.kit import Part, PartKind, Place, State

DIMENSIONS: Mapping[PartKind, str] = {"capacitor": "capacitance", "coil": "inductance", "resistor": "resistance"}
_SHARED = {"made_of", "measured", "type", "tolerance", "reason", "between", "normally", "state"}
_SHARED |= {"voltage_rating", "current_rating", "power_rating"}
FIELDS: Mapping[PartKind, frozenset[str]] = {
    "capacitor": frozenset(_SHARED | {"series_resistance", "dissipation_factor", "at", "leakage_resistance"}),
    "coil": frozenset(_SHARED | {"dc_resistance", "core", "saturation_current"}),
    "resistor": frozenset(_SHARED | {"temperature_rise"}),
}
USUAL_RISE = 200.0  # K, of a wire-wound resistor's surface at its full rating; common practice, no source
CAPACITOR_TYPES = ("film", "non_polar", "polypropylene", "polyester", "ceramic", "mica", "paper")
POLARISED = ("polarised", "polarized", "electrolytic", "tantalum")
STATES: tuple[State, ...] = get_args(State)
_UNCHANGED = {"reason", "state", "between", "normally"}  # fields that are no property of the part


@frozen
class BoardPlace:
    """A place as the crossover has it: `fields` as written, and the part they make (None: at fault)."""

    reference: str
    fields: edge.Part
    part: Part | None

    @property
    def path(self) -> Path_:
        return ("crossover", "parts", self.reference)


def resolve_place(reference: str, fields: edge.Part, context: Context) -> BoardPlace:
    """The place with its part; between two different points."""
    path = ("crossover", "parts", reference)
    if fields.between[0] == fields.between[1]:
        found = f"{reference} joins {fields.between[0]} to itself"
        context.report.error("same_point", (*path, "between"), found, "a part is between two different points")
        return BoardPlace(reference, fields, None)
    return BoardPlace(reference, fields, make_part(reference, fields, lambda key: (*path, key), context))


def make_part(reference: str, fields: edge.PartFields, where: Callable[[str], Path_], context: Context) -> Part | None:
    """The part that `fields` describe; `where(key)` is the path at which a field was written."""
    report, given = context.report, fields.named
    kinds = [kind for kind in DIMENSIONS if getattr(fields, kind) is not None]
    here = where("")[:-1]
    if not kinds and any((*here, kind) in report.misspelt for kind in DIMENSIONS):
        return None
    if len(kinds) != 1:
        found = f"{reference} has {'no value' if not kinds else ' and '.join(kinds)}"
        report.error("part_kind", here, found, "give one of capacitor, coil or resistor", key=True)
        return None
    kind = kinds[0]
    sound = True
    for key in sorted(given - FIELDS[kind] - {kind}):
        owners = " or ".join(other for other in DIMENSIONS if key in FIELDS[other])
        report.error(
            "part_field", where(key), f"{reference} is a {kind} and has {key}", f"{key} is for a {owners}", key=True
        )
        sound = False
    value = getattr(fields, kind)
    made_of, how = _made_of(reference, fields.made_of, kind, where("made_of"), context)
    if fields.made_of is not None and made_of is None:
        sound = False
    elif made_of:
        _compare(reference, kind, value, made_of, how, where("made_of"), context)
    marked = value
    if fields.measured is not None:
        measured = _value(fields.measured, kind, where("measured"), context)
        if measured is None:
            return None
        value = measured
    sound = _capacitor_is_sound(reference, fields, kind, where, context) and sound
    if not sound:
        return None
    rise = _temperature_rise(reference, fields, kind, where, context)
    if kind == "coil" and fields.core == "iron" and fields.saturation_current is None:
        found = f"{reference} has an iron core and no saturation_current"
        report.note("saturation_unknown", where("core"), found, "whether it saturates cannot be told")
    return Part(
        kind=kind,
        value=value,
        resistance=(fields.series_resistance if kind == "capacitor" else fields.dc_resistance) or 0.0,
        dissipation_factor=fields.dissipation_factor,
        dissipation_at=fields.at,
        leakage_resistance=fields.leakage_resistance,
        tolerance=fields.tolerance,
        made_of=made_of or (),
        made_of_how=how,
        type=fields.type,
        core=fields.core,
        voltage_rating=fields.voltage_rating,
        current_rating=fields.current_rating,
        power_rating=fields.power_rating,
        temperature_rise=rise,
        saturation_current=fields.saturation_current,
        marked_value=marked if fields.measured is not None else None,
    )


def _temperature_rise(
    reference: str, fields: edge.PartFields, kind: str, where: Callable[[str], Path_], context: Context
) -> float | None:
    """Of a resistor's surface at its power rating, K; the usual where there is a rating only."""
    if fields.temperature_rise is not None and fields.power_rating is None:
        found = f"{reference} has temperature_rise and no power_rating"
        context.missing(where("temperature_rise"), found, "the rise is that at the full rating")
        return None
    if kind != "resistor" or fields.power_rating is None or fields.temperature_rise is not None:
        return fields.temperature_rise
    context.assumed(
        where("power_rating"), f"{reference} has no temperature_rise", f"{USUAL_RISE:g} K at its power_rating assumed"
    )
    return USUAL_RISE


def _capacitor_is_sound(
    reference: str, fields: edge.PartFields, kind: str, where: Callable[[str], Path_], context: Context
) -> bool:
    report = context.report
    if kind != "capacitor":
        return True
    if fields.series_resistance is not None and fields.dissipation_factor is not None:
        found = f"{reference} has series_resistance and dissipation_factor"
        report.error("given_twice", where("dissipation_factor"), found, "both are its loss: give one of the two")
        return False
    if (fields.dissipation_factor is None) != (fields.at is None):
        there, lacking = ("at", "dissipation_factor") if fields.at is not None else ("dissipation_factor", "at")
        found = f"{reference} has {there} and no {lacking}"
        context.missing(where(there), found, "a dissipation factor holds at a frequency")
        return False
    if fields.type in POLARISED:
        found = f"{reference}.type is {fields.type}"
        report.error(
            "polarised", where("type"), found, "a crossover carries alternating current: use non_polar or film"
        )
        return False
    if fields.type is not None and fields.type not in CAPACITOR_TYPES:
        report.error(
            "unknown_word", where("type"), f'{reference}.type is "{fields.type}"', advice(fields.type, CAPACITOR_TYPES)
        )
        return False
    return True


def _made_of(
    reference: str, made_of: Any, kind: PartKind, path: Path_, context: Context
) -> tuple[tuple[float, ...] | None, Any]:
    """The values of the group and how they are joined."""
    if made_of is None:
        return (), "parallel"
    how, texts = "parallel", made_of
    if isinstance(made_of, edge.MadeOf):
        ways = [key for key in ("parallel", "series") if getattr(made_of, key) is not None]
        if not ways:
            found = f"{reference}.made_of has neither parallel nor series"
            context.missing((*path, how), found, "give one of the two")
            return None, how
        if len(ways) == 2:
            found = f"{reference}.made_of has both parallel and series"
            context.report.error("given_twice", path, found, "give one of the two")
            return None, how
        how, texts = ways[0], getattr(made_of, ways[0])
        path = (*path, how)
    values = [_value(text, kind, (*path, str(i)), context) for i, text in enumerate(texts)]
    return (None if None in values else tuple(value for value in values if value is not None)), how


def group_value(kind: PartKind, values: tuple[float, ...], how: str) -> float:
    """The value of like parts in `parallel` or `series`: capacitances add in parallel, the others in series."""
    adds = (how == "parallel") == (kind == "capacitor")
    if not adds and 0 in values:
        return 0.0
    return sum(values) if adds else 1 / sum(1 / value for value in values)


def _compare(
    reference: str, kind: PartKind, value: float, made_of: tuple[float, ...], how: Any, path: Path_, context: Context
) -> None:
    together = group_value(kind, made_of, how)
    relative = together / value - 1 if value else float(together > 0)
    if abs(relative) > 1e-6:
        found = f"{reference} is made_of parts in {how} that come out {per_cent(relative)} off its value"
        allowed = "correct one of the two" if severity_of(relative) == "error" else "the value is used"
        context.report.add(severity_of(relative), "made_of_disagrees", path, found, allowed)


def _value(text: str, kind: PartKind, path: Path_, context: Context) -> float | None:
    try:
        return quantity.read(text, DIMENSIONS[kind], zero=kind == "resistor")  # a resistor may be a wire
    except quantity.QuantityError as error:
        context.report.error(error.code, path, f"{label(path)} {error.found}", error.allowed)
        return None


def change_place(
    place: BoardPlace, change: str | edge.PartChange | None, variant: str, context: Context
) -> Place | None:
    """The place as a variant has it; `change` None leaves it. None where it is at fault."""
    if place.part is None:
        return None
    fields, path = place.fields, ("variants", variant, "parts", place.reference)
    between = (fields.between[0], fields.between[1])
    if change is None:
        return Place(place.reference, place.part, between, fields.normally, fields.reason)
    if isinstance(change, str):
        if change in STATES:
            return Place(place.reference, place.part, between, change, fields.reason)
        if not re.search(r"\d", change):
            found = f"{label(path)} is {what(change)}"
            context.report.error("unknown_word", path, found, advice(change, STATES, "it takes a value, or one of"))
            return None
        value = _value(change, place.part.kind, path, context)
        if value is None:
            return None
        named: dict[str, Any] = {place.part.kind: value}
        change = edge.PartChange(**named)
        return _changed(place, change, path, lambda key: path, context)
    return _changed(place, change, path, lambda key: (*path, key), context)


def _changed(
    place: BoardPlace, change: edge.PartChange, path: Path_, where: Callable[[str], Path_], context: Context
) -> Place | None:
    assert place.part is not None
    kind = place.part.kind
    named = {key: getattr(change, key) for key in change.named}
    kept = {key: getattr(place.fields, key) for key in place.fields.named & set(edge.PartFields.fields())}
    other = [key for key in DIMENSIONS if key in named and key != kind]
    if other:
        found = f"{place.reference} is a {kind} on the board, and a {other[0]} here"
        context.report.error("part_kind", path, found, f"write {kind}: and its new value", key=True)
        return None
    new_value = kind in named
    if new_value:
        for key in {"made_of", "measured"} - set(named):
            kept.pop(key, None)
        _say_what_is_kept(place, set(named), path, context)
    for one, another in (("series_resistance", "dissipation_factor"), ("dissipation_factor", "series_resistance")):
        if one in named and another not in named:
            kept.pop(another, None)
            if one == "series_resistance" and "at" not in named:
                kept.pop("at", None)
    both = {**kept, **{key: value for key, value in named.items() if key not in _UNCHANGED}}
    fields = edge.PartFields(**both)
    part = place.part
    if set(named) - _UNCHANGED:
        made = make_part(
            place.reference, fields, lambda key: where(key) if key in named or not key else (*place.path, key), context
        )
        if made is None:
            return None
        part = made
    state = change.state or ("fit" if new_value else place.fields.normally)
    reason = change.reason or place.fields.reason
    return Place(place.reference, part, (place.fields.between[0], place.fields.between[1]), state, reason)


_LOSSES = ("series_resistance", "dissipation_factor", "dc_resistance", "leakage_resistance")
_RATINGS = ("voltage_rating", "current_rating", "power_rating", "temperature_rise", "saturation_current")


def _say_what_is_kept(place: BoardPlace, named: set[str], path: Path_, context: Context) -> None:
    written = place.fields.named - named
    dropped = [key for key in ("made_of", "measured") if key in written]
    kept = [key for key in (*_LOSSES, "tolerance", "type", *_RATINGS) if key in written]
    words = [f"{', '.join(dropped)} dropped"] if dropped else []
    words += [f"{', '.join(kept)} kept"] if kept else []
    if words:
        context.report.note("new_value", path, f"{place.reference} has a new value here", " and ".join(words), key=True)
