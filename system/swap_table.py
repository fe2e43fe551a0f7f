"""Every value from stock around the one that a place has, each as if it were fitted."""

from __future__ import annotations

from dataclasses import dataclass, replace

from system.kit import Kit, Part, Role, Stock, Variant
from system.refit import AS_DRAWN, fitted_from
from system.swap import Shot, Swap, branch, compare, judge, mean_change

EITHER_SIDE = 4  # values above and below that are shown


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One value in the place: what it changes, and how much louder (dB) the range of its branch becomes.

    `drawn`: it is the one that the kit has there. `watts` of heat in it on the signal that the kit is judged on.
    """

    swap: Swap
    value: float
    drawn: bool
    mean: float
    watts: float


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """The table of one variant, by rising value; `role` is that of the drivers whose branch the part is in."""

    variant: Variant
    part: Part
    role: Role | None
    rows: tuple[Row, ...]


def table(kit: Kit, variant: Variant, reference: str) -> Rows:
    """Of a place that is fitted in `variant`. Raises KitError where a circuit has no solution."""
    before = Shot.of(kit, variant)
    part = variant.places[reference].part
    role = branch(before, reference)
    return Rows(variant, part, role, tuple(_row(before, reference, each, role) for each in _around(kit.stock, part)))


def _around(stock: Stock, part: Part) -> list[Part]:
    """The part itself among its neighbours of stock, each value once."""
    if part.value == 0:
        return [part]
    items = stock.between(part.kind, part.value / 1e3, part.value * 1e3)
    values = {item.value: item for item in reversed(items)}  # of like values the first article
    others = [value for value in values if abs(value / part.value - 1) > AS_DRAWN]
    below = sorted(value for value in others if value < part.value)[-EITHER_SIDE:]
    above = sorted(value for value in others if value > part.value)[:EITHER_SIDE]
    return [*(fitted_from(part, values[v]) for v in below), part, *(fitted_from(part, values[v]) for v in above)]


def _row(before: Shot, reference: str, part: Part, role: Role | None) -> Row:
    variant = before.variant
    drawn = part is variant.places[reference].part
    places = {**variant.places, reference: replace(variant.places[reference], part=part)}
    after = before if drawn else Shot.of(before.kit, replace(variant, places=places), before.acoustics)
    change = compare(before.kit, before.curves, after.curves)
    judgement = judge(before, after, change, reference)
    load = after.stress.parts[reference]
    heat = (load.programme or load.sine).watts
    return Row(Swap(before, after, change, judgement), part.value, drawn, mean_change(before, after.curves, role), heat)
