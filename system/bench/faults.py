"""Building mistakes: which ones a variant can have, and the variant that each of them makes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

from system.bench.cabinets import LEAK_PLACES, blocked, chamber_words, inhabited, leaking, opening_words, refilled
from system.kit import Chamber, Hookup, Kit, Part, Place, State, Variant
from system.resolve_parts import group_value
from system.wording import part_value

# Of two values, or of a value and what it was to be, that are to count as different.
ALIKE = 1e-6
# A coil of the same wire: turns go about as the square root of the inductance, their length a little faster
# (Wheeler, Proc. IRE 16, 1928: L goes as n^2 times a size that grows with n); common practice, no source for 0.6.
WINDING_EXPONENT = 0.6


@dataclass(frozen=True, slots=True)
class Fault:
    """One mistake: its `kind` (a key of `KINDS`), the `place` where it is ("" for none), and what else tells it apart.

    `place` is a reference ("C1"; "C1, C3" of two exchanged), a variant, one or more hookups, an opening or a chamber.
    """

    kind: str
    place: str = ""
    form: str = ""


RIGHT = Fault("none")

KINDS: Mapping[str, str] = {
    "none": "built as drawn",
    "missing": "part or link missing, or not connected",
    "linked": "a wire in the place of a part",
    "doubled": "a part of twice the value",
    "halved": "a part of half the value",
    "one_of_pair_open": "one part of a group not connected",
    "pair_in_series": "a group joined the other way",
    "exchanged": "two parts exchanged",
    "fitted_needlessly": "a part where a link or nothing belongs",
    "wrong_variant": "the board of another variant",
    "driver_open": "a driver not connected",
    "driver_reversed": "a driver against its marks",
    "air_leak": "the cabinet leaks",
    "wrong_fill": "another filling",
    "blocked_mouth": "an opening that is closed",
}


@dataclass(frozen=True, slots=True)
class Wrong:
    """A wrong build as a meter on the board finds it: all places, and the drivers that are connected."""

    places: Mapping[str, Place]
    hookups: Mapping[str, Hookup]


def faults(kit: Kit, variant: Variant) -> tuple[Fault, ...]:
    """All mistakes that this variant can have, `none` first, by kind in the order of `KINDS`."""
    return tuple(fault for kind in KINDS for fault in _KINDS[kind].all(kit, variant))


def wrong(kit: Kit, variant: Variant, fault: Fault) -> Variant:
    """The variant built with this mistake. Raises KeyError for a fault that it cannot have.

    A driver that is not connected stays in its chamber: its plus hangs on a point of its own.
    """
    return _KINDS[fault.kind].make(kit, variant, fault)


def board(kit: Kit, variant: Variant, fault: Fault) -> Wrong:
    """The board with this mistake, without the drivers that are not connected; one in the cabinet leaves it as it is.

    Raises KeyError for a fault that the variant cannot have.
    """
    made = wrong(kit, variant, fault)
    connected = {name: hookup for name, hookup in made.hookups.items() if hookup.plus != open_point(name)}
    return Wrong(made.places, connected)


def open_point(hookup: str) -> str:
    """The point of its own on which the plus of an open driver hangs."""
    return f"{hookup} open"


# -- all mistakes of one kind, and how one is made


@dataclass(frozen=True, slots=True)
class _Kind:
    all: Callable[[Kit, Variant], Iterator[Fault]]
    make: Callable[[Kit, Variant, Fault], Variant]


def _with_places(variant: Variant, *changed: Place) -> Variant:
    """With other places; a coupling of coils holds only where both are fitted, which `system.build` sees to."""
    return replace(variant, places={**variant.places, **{place.reference: place for place in changed}})


def _of_states(kind: str, *states: State) -> Callable[[Kit, Variant], Iterator[Fault]]:
    return lambda _, variant: (
        Fault(kind, reference) for reference, place in variant.places.items() if place.state in states
    )


def _to_state(state: State) -> Callable[[Kit, Variant, Fault], Variant]:
    return lambda _, variant, fault: _with_places(variant, replace(variant.places[fault.place], state=state))


def single(part: Part, value: float) -> Part:
    """A single part of another value of the same make; a coil's wire is as thick."""
    ratio = value / part.value if part.value else 1.0
    loss = part.resistance * ratio**WINDING_EXPONENT if part.kind == "coil" else part.resistance
    return replace(part, value=value, resistance=loss, made_of=(), marked_value=None)


def _by_factor(factor: float) -> Callable[[Kit, Variant, Fault], Variant]:
    def make(_: Kit, variant: Variant, fault: Fault) -> Variant:
        place = variant.places[fault.place]
        return _with_places(variant, replace(place, part=single(place.part, factor * place.part.value)))

    return make


def _valued(kind: str) -> Callable[[Kit, Variant], Iterator[Fault]]:
    return lambda _, variant: (
        Fault(kind, reference)
        for reference, place in variant.places.items()
        if place.state == "fit" and place.part.value
    )


def _grouped(variant: Variant) -> Iterator[tuple[str, Part]]:
    for reference, place in variant.places.items():
        if place.state == "fit" and len(place.part.made_of) > 1:
            yield reference, place.part


def _members_open(_: Kit, variant: Variant) -> Iterator[Fault]:
    """Each of a parallel group; one of a series group that is open leaves the place open."""
    for reference, part in _grouped(variant):
        if part.made_of_how == "parallel":
            for value in dict.fromkeys(part.made_of):
                yield Fault("one_of_pair_open", reference, part_value(part.kind, value))


def _open_member(_: Kit, variant: Variant, fault: Fault) -> Variant:
    place = variant.places[fault.place]
    words = [part_value(place.part.kind, value) for value in place.part.made_of]
    gone = words.index(fault.form)
    return _with_places(variant, replace(place, part=_without(place.part, gone)))


def _without(part: Part, gone: int) -> Part:
    """A parallel group without one of its members; losses go with each member as `system.members` has them."""
    left = tuple(value for i, value in enumerate(part.made_of) if i != gone)
    whole = group_value(part.kind, part.made_of, "parallel")
    value = part.value * group_value(part.kind, left, "parallel") / whole
    share = group_value("capacitor", left, "parallel") / group_value("capacitor", part.made_of, "parallel")
    loss = part.resistance / share if part.kind == "capacitor" else part.resistance * value / part.value
    return replace(part, value=value, resistance=loss, made_of=left if len(left) > 1 else (), marked_value=None)


def _groups(_: Kit, variant: Variant) -> Iterator[Fault]:
    for reference, part in _grouped(variant):
        yield Fault("pair_in_series", reference, f"in {_OTHER_WAY[part.made_of_how]}")


_OTHER_WAY: Mapping[str, Literal["parallel", "series"]] = {"parallel": "series", "series": "parallel"}


def _other_way(_: Kit, variant: Variant, fault: Fault) -> Variant:
    place = variant.places[fault.place]
    part, how = place.part, _OTHER_WAY[place.part.made_of_how]
    before, after = (group_value(part.kind, part.made_of, way) for way in (part.made_of_how, how))
    ratio = after / before
    # each member's loss goes as 1/value in a capacitor (one loss factor) and as value in the others
    loss = part.resistance / ratio if part.kind == "capacitor" else part.resistance * ratio
    other = replace(part, value=part.value * ratio, resistance=loss, made_of_how=how, marked_value=None)
    return _with_places(variant, replace(place, part=other))


def _exchangeable(_: Kit, variant: Variant) -> Iterator[Fault]:
    fitted = [(reference, place.part) for reference, place in variant.places.items() if place.state == "fit"]
    for (one, part), (other, other_part) in combinations(fitted, 2):
        differ = abs(part.value - other_part.value) > ALIKE * max(part.value, other_part.value)
        if part.kind == other_part.kind and differ:
            yield Fault("exchanged", f"{one}, {other}")


def _exchange(_: Kit, variant: Variant, fault: Fault) -> Variant:
    one, other = (variant.places[reference] for reference in fault.place.split(", "))
    return _with_places(variant, replace(one, part=other.part), replace(other, part=one.part))


def _electrical(variant: Variant) -> tuple[object, ...]:
    """What of a board an impedance depends on."""
    there = (place for place in variant.places.values() if place.state != "omit")
    places = tuple((place.state, place.part, place.between) for place in there)
    hookups = tuple((name, hookup.plus, hookup.minus) for name, hookup in variant.hookups.items())
    return places, hookups, variant.couplings


def _other_boards(kit: Kit, variant: Variant) -> Iterator[Fault]:
    """Variants whose board differs; of two with the same board the first."""
    seen = [_electrical(variant)]
    for name in kit.variants:
        if name != variant.name:
            made = _electrical(_other_board(kit, variant, Fault("wrong_variant", name)))
            if made not in seen:
                seen.append(made)
                yield Fault("wrong_variant", name)


def _other_board(kit: Kit, variant: Variant, fault: Fault) -> Variant:
    other = kit.variants[fault.place]
    hookups = {
        name: replace(hookup, plus=other.hookups[name].plus, minus=other.hookups[name].minus)
        if name in other.hookups
        else hookup
        for name, hookup in variant.hookups.items()
    }
    return replace(variant, places=other.places, couplings=other.couplings, hookups=hookups)


def _drivers_open(_: Kit, variant: Variant) -> Iterator[Fault]:
    return (Fault("driver_open", name) for name in variant.hookups)


def _open_driver(_: Kit, variant: Variant, fault: Fault) -> Variant:
    hookup = variant.hookups[fault.place]
    return replace(variant, hookups={**variant.hookups, fault.place: replace(hookup, plus=open_point(fault.place))})


def _drivers_reversed(_: Kit, variant: Variant) -> Iterator[Fault]:
    """Each driver, and all that share a chamber together."""
    for name in variant.hookups:
        yield Fault("driver_reversed", name)
    for chamber in inhabited(variant):
        names = [name for name in chamber.drivers if name in variant.hookups]
        if len(names) > 1:
            yield Fault("driver_reversed", ", ".join(names))


def _reverse(_: Kit, variant: Variant, fault: Fault) -> Variant:
    hookups = dict(variant.hookups)
    for name in fault.place.split(", "):
        hookups[name] = replace(hookups[name], plus=hookups[name].minus, minus=hookups[name].plus)
    return replace(variant, hookups=hookups)


def _with_chamber(variant: Variant, before: Chamber, after: Chamber) -> Variant:
    chambers = tuple(after if chamber is before else chamber for chamber in variant.cabinet.chambers)
    return replace(variant, cabinet=replace(variant.cabinet, chambers=chambers))


def _leaks(_: Kit, variant: Variant) -> Iterator[Fault]:
    for word, chamber in chamber_words(variant).items():
        for form in LEAK_PLACES[type(chamber)](chamber, variant):
            yield Fault("air_leak", word, form)


def _leak(_: Kit, variant: Variant, fault: Fault) -> Variant:
    chamber = chamber_words(variant)[fault.place]
    where = LEAK_PLACES[type(chamber)](chamber, variant)[fault.form]
    return _with_chamber(variant, chamber, leaking(chamber, where))


_FILLINGS = {"none": 0.0, "double": 2.0}  # times the density that is drawn


def leak_place(variant: Variant, fault: Fault) -> float | None:
    """Where along its chamber an air leak is, m; None for another fault."""
    if fault.kind != "air_leak":
        return None
    chamber = chamber_words(variant)[fault.place]
    return LEAK_PLACES[type(chamber)](chamber, variant)[fault.form]


def _fillings(_: Kit, variant: Variant) -> Iterator[Fault]:
    for word, chamber in chamber_words(variant).items():
        if any(chamber.fills):
            yield from (Fault("wrong_fill", word, form) for form in _FILLINGS)


def _refill(_: Kit, variant: Variant, fault: Fault) -> Variant:
    chamber = chamber_words(variant)[fault.place]
    return _with_chamber(variant, chamber, refilled(chamber, _FILLINGS[fault.form]))


def _closable(_: Kit, variant: Variant) -> Iterator[Fault]:
    return (Fault("blocked_mouth", word) for word in opening_words(variant))


def _close(kit: Kit, variant: Variant, fault: Fault) -> Variant:
    chamber, index = opening_words(variant)[fault.place]
    return _with_chamber(variant, chamber, blocked(chamber, index, kit.air))


_KINDS: Mapping[str, _Kind] = {
    "none": _Kind(lambda *_: iter((RIGHT,)), lambda _, variant, __: variant),
    "missing": _Kind(_of_states("missing", "fit", "link"), _to_state("omit")),
    "linked": _Kind(_of_states("linked", "fit", "omit"), _to_state("link")),
    "doubled": _Kind(_valued("doubled"), _by_factor(2.0)),
    "halved": _Kind(_valued("halved"), _by_factor(0.5)),
    "one_of_pair_open": _Kind(_members_open, _open_member),
    "pair_in_series": _Kind(_groups, _other_way),
    "exchanged": _Kind(_exchangeable, _exchange),
    "fitted_needlessly": _Kind(_of_states("fitted_needlessly", "link", "omit"), _to_state("fit")),
    "wrong_variant": _Kind(_other_boards, _other_board),
    "driver_open": _Kind(_drivers_open, _open_driver),
    "driver_reversed": _Kind(_drivers_reversed, _reverse),
    "air_leak": _Kind(_leaks, _leak),
    "wrong_fill": _Kind(_fillings, _refill),
    "blocked_mouth": _Kind(_closable, _close),
}
