"""Which parts may move, what stock has for them, and the patterns in which variants share a value of a place.

A pattern says for every moving place what each variant has there: a state, and for a fitted part a number; variants
with the same number share one value. What a place costs is the number of its different entries less one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from system.aims import Fitting
from system.board import circuit
from system.findings import KitError, usage_error
from system.kit import Kit, PartKind, State, Variant
from system.place import protective_place

Label = tuple[State, int]  # a state, and which of the values of the place; 0 where nothing is fitted
Pattern = tuple[tuple[Label, ...], ...]  # for each moving place, for each variant

REACH = 4.0  # a value may become this many times larger or smaller


def movable(kit: Kit, variants: Sequence[Variant], named: Sequence[str]) -> tuple[str, ...]:
    """The places whose values may move, in file order: those `named`, or all that can but a woofer's protection.

    Raises KitError for a name that is no part, a coupled coil, or a part that none of the variants fits.
    """
    known = list(next(iter(kit.variants.values())).places)
    coupled = {name for each in kit.variants.values() for pair in each.couplings for name in pair.coils}
    fitted = {name for each in variants for name, place in each.places.items() if place.state == "fit"}
    for name in named:
        if name not in known:
            raise usage_error(f"{name} is to move, and there is no such part", f"parts of the kit: {', '.join(known)}")
        if name in coupled:
            raise usage_error(f"{name} is to move, and it is coupled to another coil", "a coupled coil keeps its value")
        if name not in fitted:
            raise usage_error(f"{name} is to move, and no variant asked for fits it", "a part that is fitted")
    protecting = {
        place.place.reference
        for each in variants
        for hookup in each.hookups.values()
        if hookup.driver.role == "woofer" and (place := protective_place(each, kit.input, hookup.name)).own
    }
    found = tuple(
        name
        for name in known
        if (name in named if named else name in fitted and name not in coupled and name not in protecting)
    )
    if not found:
        raise usage_error("no part may move", "a part that is fitted, is not coupled and protects no woofer")
    return found


def offers(kit: Kit, variants: Sequence[Variant], name: str) -> tuple[Fitting, ...]:
    """What stock has for a place, by value, within a factor of `REACH` of the kit's values.

    Raises KitError where that is nothing.
    """
    parts = [each.places[name].part for each in variants if each.places[name].state == "fit"]
    kind: PartKind = parts[0].kind
    low, high = min(part.value for part in parts) / REACH, max(part.value for part in parts) * REACH
    found = {
        Fitting(
            item.value,
            item.dc_resistance if kind == "coil" else None,
            item.rating if kind == "resistor" else None,
        )
        for item in kit.stock.between(kind, low, high)
    }
    if not found:
        where = f"stock.{kind}s"
        raise KitError(
            [
                kit.finding(
                    "error", "stock_empty", where,
                    f"{name} may move, and stock has no {kind} within a factor of {REACH:g} of its value",
                    f"more in {where}, or move: with other parts",
                )
            ],
            kit.name,
        )  # fmt: skip
    return tuple(sorted(found, key=lambda each: (each.value, each.wire or 0.0, each.rating or 0.0)))


def near(offered: Sequence[Fitting], value: float, count: int) -> tuple[int, ...]:
    """The numbers of all articles of the `count` values next below `value`, or equal to it, and next above."""
    values = sorted({each.value for each in offered})
    below = [v for v in values if v <= value * (1 + 1e-9)][-count:]
    above = [v for v in values if v > value * (1 + 1e-9)][:count]
    return tuple(n for n, each in enumerate(offered) if each.value in {*below, *above})


def canonical(pattern: Sequence[Sequence[Label]]) -> Pattern:
    """The same pattern with the values of each place numbered as they first come."""
    return tuple(_numbered(labels) for labels in pattern)


def _numbered(labels: Sequence[Label]) -> tuple[Label, ...]:
    order: dict[int, int] = {}
    return tuple((state, order.setdefault(n, len(order))) if state == "fit" else (state, 0) for state, n in labels)


def values_of(pattern: Pattern) -> list[tuple[int, Label]]:
    """The values that a pattern has, as place and label."""
    return [(i, label) for i, labels in enumerate(pattern) for label in dict.fromkeys(labels) if label[0] == "fit"]


def differing(pattern: Pattern) -> int:
    """How many entries differ between variants, over all places: of each the number of its entries less one."""
    return sum(len(set(labels)) - 1 for labels in pattern)


def states(pattern: Pattern, moving: Sequence[str], variant: int) -> dict[str, State]:
    """The states of the moving places in one variant."""
    return {name: labels[variant][0] for name, labels in zip(moving, pattern, strict=True)}


def shared(variants: Sequence[Variant], moving: Sequence[str]) -> Pattern:
    """The kit's own states, and one value a place."""
    return tuple(tuple((each.places[name].state, 0) for each in variants) for name in moving)


def free(variants: Sequence[Variant], moving: Sequence[str]) -> Pattern:
    """The kit's own states, and a value of its own for every variant."""
    return canonical([[(each.places[name].state, i) for i, each in enumerate(variants)] for name in moving])


def splits(pattern: Pattern) -> Iterator[Pattern]:
    """Every pattern in which one value of one place has become two."""
    for i, labels in enumerate(pattern):
        for label in {each: None for each in labels if each[0] == "fit"}:
            here = [v for v, each in enumerate(labels) if each == label]
            for count in range(1, len(here)):
                for leaving in combinations(here[1:], count):  # the first stays: each split once
                    changed = [("fit", -1) if v in leaving else each for v, each in enumerate(labels)]
                    yield canonical([*pattern[:i], changed, *pattern[i + 1 :]])  # type: ignore[list-item]


def merges(pattern: Pattern) -> Iterator[Pattern]:
    """Every pattern in which two values of one place have become one."""
    for i, labels in enumerate(pattern):
        for one, other in combinations({each: None for each in labels if each[0] == "fit"}, 2):
            changed = [one if each == other else each for each in labels]
            yield canonical([*pattern[:i], changed, *pattern[i + 1 :]])


def restated(kit: Kit, variants: Sequence[Variant], moving: Sequence[str], pattern: Pattern) -> Iterator[Pattern]:
    """Every pattern in which one variant, or all of them, take over a state that another has at that place.

    Only where a reader would accept it.
    """
    everyone = range(len(variants))
    for i, labels in enumerate(pattern):
        used = list(dict.fromkeys(each.places[moving[i]].state for each in kit.variants.values()))
        for state in used if len(used) > 1 else ():
            for who in (*([v] for v in everyone), everyone):
                changed = [_restated(labels, v, state) if v in who else each for v, each in enumerate(labels)]
                found = canonical([*pattern[:i], changed, *pattern[i + 1 :]])
                if found != pattern and all(accepted(kit, variants[v], states(found, moving, v)) for v in who):
                    yield found


def _restated(labels: Sequence[Label], variant: int, state: State) -> Label:
    """What a variant has in another state: a part newly fitted shares the first value that there is."""
    if state != "fit":
        return state, 0
    return (
        labels[variant]
        if labels[variant][0] == "fit"
        else next((each for each in labels if each[0] == "fit"), ("fit", 0))
    )


def accepted(kit: Kit, variant: Variant, asked: dict[str, State]) -> bool:
    """Whether the kit reader would take the variant with places in these states: nothing worse than as it is.

    Nothing is shorted, no tweeter carries direct current that carries none now, no driver or part is cut off that is
    not cut off now, and what an ohmmeter reads is at least half of what the amplifier stands, or as it is now.
    """
    places = {name: replace(p, state=asked.get(name, p.state)) for name, p in variant.places.items()}
    if places == dict(variant.places):
        return True
    before = circuit(kit.input, variant.places, variant.hookups)
    after = circuit(kit.input, places, variant.hookups)
    if after.shorted:
        return False
    tweeters = {name for name, hookup in variant.hookups.items() if hookup.driver.role == "tweeter"}
    if tweeters & (after.live_at_dc() - before.live_at_dc()):
        return False
    dead = {name for name, (a, b) in after.edges.items() if name not in after.live() and a != b}
    if dead - (set(before.edges) - before.live()) or set(variant.hookups) & (before.live() - after.live()):
        return False
    stands = (kit.amplifier.lowest_load or 0.0) / 2
    return after.input_resistance() >= min(stands, before.input_resistance()) or math.isinf(after.input_resistance())
