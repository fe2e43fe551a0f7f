"""Parts made of several: what each member has of the group's value, losses, current, volts and heat."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from system.kit import Part, PartKind
from system.resolve_parts import group_value
from system.stress import Load


def singles(part: Part) -> tuple[Part, ...]:
    """The parts to buy for a part: its members with their share of its losses and ratings, or the part itself.

    Members are taken to have losses in the same proportion to their value, as parts of one make do; so the current of
    a parallel group divides by value at every frequency, and so do the volts of a group in series.
    """
    if not part.made_of:
        return (replace(part, value=part.marked, marked_value=None),)
    whole = group_value(part.kind, part.made_of, part.made_of_how)
    return tuple(_member(part, value, value / whole if whole else 0.0, *share) for value, share in _shared(part))


def _shared(part: Part) -> Iterable[tuple[float, tuple[float, float]]]:
    return zip(part.made_of, shares(part), strict=True)


def _member(part: Part, value: float, ratio: float, current: float, volts: float) -> Part:
    """One part of a group, `ratio` of its value, with this share of its current and volts."""
    scale = _per_ratio if part.kind == "capacitor" else _by_ratio  # a capacitor's losses fall with its value
    return replace(
        part,
        value=value,
        made_of=(),
        marked_value=None,
        resistance=scale(part.resistance, ratio) or 0.0,
        leakage_resistance=scale(part.leakage_resistance, ratio),
        voltage_rating=_by_ratio(part.voltage_rating, volts),
        current_rating=_by_ratio(part.current_rating, current),
        power_rating=_by_ratio(part.power_rating, current * volts),
        saturation_current=_by_ratio(part.saturation_current, current),
    )


def _by_ratio(size: float | None, ratio: float) -> float | None:
    return None if size is None else size * ratio


def _per_ratio(size: float | None, ratio: float) -> float | None:
    return None if size is None else size / ratio


def shares(part: Part) -> tuple[tuple[float, float], ...]:
    """What each member of a group has of its current and of its volts; of a part that is no group, all of both."""
    return divided(part.kind, part.made_of, part.made_of_how) if part.made_of else ((1.0, 1.0),)


def member_weights(part: Part) -> tuple[float, ...]:
    """Relative change of a group's value for the relative change of each member's: its share of what divides."""
    return tuple(current * volts for current, volts in shares(part))


def divided(kind: PartKind, values: Sequence[float], how: str) -> tuple[tuple[float, float], ...]:
    """How like parts of these values, in `parallel` or `series`, share current and volts.

    In parallel the volts are one and the current divides as the admittances do, in series the other way round
    (Kirchhoff): by capacitance, and against the value of coils and resistors.
    """
    admits = [value if kind == "capacitor" else math.inf if value == 0 else 1 / value for value in values]
    if how == "parallel":
        return tuple((each, 1.0) for each in _parts_of_one(admits))
    return tuple((1.0, each) for each in _parts_of_one([0.0 if math.isinf(a) else 1 / a for a in admits]))


def share_of_rating(kind: PartKind, current: float, volts: float) -> float:
    """How much of what a group must bear one of its parts does: of the volts, the heat or the current, by its kind."""
    return {"capacitor": volts, "resistor": current * volts, "coil": current}[kind]


def _parts_of_one(weights: Sequence[float]) -> list[float]:
    if any(map(math.isinf, weights)):  # a wire beside resistors takes it all
        weights = [1.0 if math.isinf(weight) else 0.0 for weight in weights]
    total = sum(weights)
    return [weight / total if total else 0.0 for weight in weights]


def part_of(load: Load, current: float, volts: float) -> Load:
    """What a member bears that has these shares of its group's load; heat is volts times current."""
    return Load(
        load.volts * volts,
        load.volts_peak * volts,
        load.current * current,
        load.current_peak * current,
        load.watts * current * volts,
    )
