"""Everything that is to be bought and fitted: what each part must bear, the bag for all variants, what each leaves.

A part that several variants share is rated for the one that asks most of it, so that one part serves all. Parts made
of several are bought and rated singly.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from system import summary
from system.articles import Offer, Wanted, offer
from system.build import build
from system.kit import Kit, Part, PartKind, Place, StockItem, Variant
from system.limits import Case
from system.means import UNCERTAINTY
from system.members import part_of, shares, singles
from system.predict import summarise
from system.protect import Verdict, protect
from system.ratings import TESTS, preferred
from system.reasons import Reason, reasons
from system.stress import ASKED, Load, PartStress, stress
from system.transfer import transfer

RATED_BY: Mapping[PartKind, str] = {"capacitor": "voltage", "resistor": "power", "coil": "current"}


@dataclass(frozen=True, slots=True)
class Need:
    """What a part must bear: `asked` of it (V peak, W or A rms) in the worst `variant`, and the `rating` to order.

    The rating leaves the model's uncertainty: the next size sold, or where parts are not sold by size, or none is
    large enough, what is needed rounded up to a tenth. `saturation` is the peak current (A) that a core must bear.
    """

    kind: str  # of `system.ratings.TESTS`
    variant: str
    asked: float
    needed: float
    rating: float
    saturation: float | None = None


@dataclass(frozen=True, slots=True)
class Member:
    """One part of a group: its own value, what it has of the group's `current` and `volts` (0 to 1), what it needs."""

    part: Part
    current: float
    volts: float
    need: Need


@dataclass(frozen=True, slots=True)
class Spot:
    """A place of one variant: why it is as it is, and what a part fitted there bears here and needs anywhere."""

    reason: Reason
    bears: float | None  # what is asked of it in this variant
    need: Need | None
    members: tuple[Member, ...]  # of a part made of several


@dataclass(frozen=True, slots=True)
class Line:
    """A part to buy: how many in all, how many one cabinet of each variant takes, and the places they are for."""

    wanted: Wanted
    count: int
    each: Mapping[str, int]  # by variant
    places: tuple[str, ...]
    given: float | None  # the rating that the kit's parts have, the lowest where they differ
    offer: Offer

    @property
    def price(self) -> Decimal | None:
        return None if self.offer.price is None else self.offer.price * self.count


@dataclass(frozen=True, slots=True)
class Left:
    """Parts of the full bag of one cabinet that a variant does not use."""

    wanted: Wanted
    count: int


@dataclass(frozen=True, slots=True)
class Label:
    """What to write on the bag of one variant: its places in the board's order, and what is left over."""

    variant: Variant
    spots: tuple[Spot, ...]
    left: tuple[Left, ...]


@dataclass(frozen=True, slots=True)
class Shopping:
    """The sheet: places by variant, the list for `count` cabinets of any one of these variants, the bags' labels.

    `total` is the price of all, None where not every line has a plain price.
    """

    kit: Kit
    count: int
    spots: Mapping[str, Mapping[str, Spot]]  # by variant, by reference
    lines: tuple[Line, ...]
    labels: tuple[Label, ...]
    total: Decimal | None


def shopping(
    kit: Kit, variants: Sequence[Variant], count: int, verdicts: Mapping[str, Sequence[Verdict]] | None = None
) -> Shopping:
    """For `count` cabinets of any one of `variants`. Raises KitError where a circuit has no solution.

    Ratings are those that every variant of the kit needs, also where only some are asked for. `verdicts` are those of
    `protect` by variant, where they are at hand.
    """
    chosen = {variant.name for variant in variants}
    stresses, why = {}, {}
    for variant in kit.variants.values():
        model = build(kit, variant)
        acoustics = transfer(model, summary.GRID)
        stresses[variant.name] = stress(Case.swept(model, acoustics, summarise(model, acoustics))).parts
        if variant.name in chosen:
            judged = protect(kit, variant) if verdicts is None else verdicts[variant.name]
            why[variant.name] = reasons(model, acoustics, judged)
    spots = {name: _spots(each, stresses) for name, each in why.items()}
    bag = _Bag.of(kit, stresses)
    lines = _enough(list(bag.lines(kit, [variant.name for variant in variants], count)))
    prices = [line.price for line in lines]
    known = [price for price in prices if price is not None]
    return Shopping(
        kit=kit,
        count=count,
        spots=spots,
        lines=lines,
        labels=tuple(Label(v, tuple(spots[v.name].values()), tuple(bag.left(v.name))) for v in variants),
        total=sum(known, Decimal(0)) if lines and len(known) == len(prices) else None,
    )


def asked(kind: str, loads: Iterable[Load]) -> float:
    """What a rating is held against, as `system.stress` does: peaks on both signals, what heats on the last."""
    sizes = [ASKED[kind](load) for load in loads]
    return max(sizes) if TESTS[kind].peak else sizes[-1]


def need(part: Part, loads: Mapping[str, Sequence[Load]]) -> Need:
    """What a part needs that is fitted in several variants: the `loads` of each, a sine's and perhaps a programme's."""
    kind = RATED_BY[part.kind]
    worst = max(loads, key=lambda name: asked(kind, loads[name]))
    most = asked(kind, loads[worst])
    needed = _with_uncertainty(kind, most)
    rating = float(preferred(kind, needed) or math.ceil(needed * 10 - 1e-9) / 10)
    saturation = None
    if part.core == "iron":
        peak = max(asked("saturation", each) for each in loads.values())
        saturation = math.ceil(_with_uncertainty("saturation", peak) * 10 - 1e-9) / 10
    return Need(kind, worst, most, needed, rating, saturation)


def _with_uncertainty(kind: str, size: float) -> float:
    return float(size * 10 ** (TESTS[kind].order * UNCERTAINTY / 20))


def _loads(found: PartStress) -> tuple[Load, ...]:
    return (found.sine, *([found.programme] if found.programme else []))


def _member_loads(found: PartStress) -> list[tuple[Part, tuple[Load, ...]]]:
    """The parts to buy for a fitted place, and what each bears."""
    each = zip(singles(found.part), shares(found.part), strict=True)
    return [(part, tuple(part_of(load, *share) for load in _loads(found))) for part, share in each]


def _enough(lines: Sequence[Line]) -> tuple[Line, ...]:
    """The lines, with a word where several of them together want more of an article than is in stock."""
    taken: Counter[StockItem] = Counter()
    for line in lines:
        for item in line.offer.items:
            taken[item] += line.count
    found = []
    for line in lines:
        short = [
            f"only {item.in_stock} in stock, and {taken[item]} are to be bought in all"
            for item in dict.fromkeys(line.offer.items)
            if item.in_stock is not None
            and item.in_stock < taken[item]
            and taken[item] > line.count * pieces(line, item)
        ]
        found.append(replace(line, offer=replace(line.offer, remarks=(*line.offer.remarks, *short))))
    return tuple(found)


def pieces(line: Line, item: StockItem) -> int:
    """How many of an article one part of a line takes: two where it is both members of a pair."""
    return sum(other == item for other in line.offer.items)


Stresses = Mapping[str, Mapping[str, PartStress]]  # by variant, by reference


def _spots(here: Mapping[str, Reason], stresses: Stresses) -> dict[str, Spot]:
    return {reference: _spot(reason, reference, stresses) for reference, reason in here.items()}


def _spot(reason: Reason, reference: str, stresses: Stresses) -> Spot:
    found = stresses[reason.variant].get(reference)
    if found is None:
        return Spot(reason, None, None, ())
    sharing = {
        name: each[reference]
        for name, each in stresses.items()
        if reference in each and identity(each[reference].part) == identity(found.part)
    }
    members = []
    if found.part.made_of:
        loads = {name: [each for _, each in _member_loads(other)] for name, other in sharing.items()}
        for i, (part, share) in enumerate(zip(singles(found.part), shares(found.part), strict=True)):
            members.append(Member(part, *share, need(part, {name: each[i] for name, each in loads.items()})))
    return Spot(
        reason=reason,
        bears=asked(RATED_BY[found.part.kind], _loads(found)),
        need=need(found.part, {name: _loads(other) for name, other in sharing.items()}),
        members=tuple(members),
    )


def identity(part: Part) -> tuple[object, ...]:
    """What makes two parts the same to buy, ratings apart."""
    ohms = part.resistance if part.kind == "coil" else 0.0
    return (part.kind, part.marked, part.made_of, part.made_of_how, part.type, part.tolerance, part.core, ohms)


@dataclass(frozen=True, slots=True)
class _Bag:
    """How many of each wanted part a cabinet of each variant takes, and what they are for."""

    takes: Mapping[str, Counter[Wanted]]  # by variant
    places: Mapping[Wanted, tuple[str, ...]]
    given: Mapping[Wanted, float | None]

    @classmethod
    def of(cls, kit: Kit, stresses: Stresses) -> _Bag:
        fitted = [(name, reference, found) for name, each in stresses.items() for reference, found in each.items()]
        pieces = [
            (name, reference, part, loads) for name, reference, found in fitted for part, loads in _member_loads(found)
        ]
        worst: dict[tuple[object, ...], dict[str, tuple[Load, ...]]] = {}
        for name, reference, part, loads in pieces:
            # of equal members of one group each has the same load
            worst.setdefault((reference, identity(part)), {})[name] = loads
        takes: dict[str, Counter[Wanted]] = {variant: Counter() for variant in kit.variants}
        places: dict[Wanted, dict[str, None]] = {}
        ratings: dict[Wanted, list[float]] = {}
        for name, reference, part, _ in pieces:
            rating = need(part, worst[reference, identity(part)]).rating
            wanted = Wanted(
                part.kind,
                part.value,
                part.type,
                part.tolerance,
                rating,
                part.resistance if part.kind == "coil" else 0.0,
            )
            takes[name][wanted] += 1
            places.setdefault(wanted, {})[reference] = None
            given = TESTS[RATED_BY[part.kind]].rating(part)
            ratings.setdefault(wanted, []).extend([] if given is None else [given])
        order = list(next(iter(kit.variants.values())).places)
        return cls(
            takes,
            {wanted: tuple(sorted(names, key=order.index)) for wanted, names in places.items()},
            {wanted: min(known, default=None) for wanted, known in ratings.items()},
        )

    def most(self, variants: Iterable[str]) -> Counter[Wanted]:
        """The bag from which one cabinet of any one of these variants can be built: the most of each part."""
        bag: Counter[Wanted] = Counter()
        for name in variants:
            bag |= self.takes[name]
        return bag

    def lines(self, kit: Kit, variants: Sequence[str], cabinets: int) -> Iterable[Line]:
        kinds: tuple[PartKind, ...] = ("capacitor", "coil", "resistor")
        bag = self.most(variants)
        for wanted in sorted(bag, key=lambda w: (kinds.index(w.kind), w.value, w.rating)):
            count = bag[wanted] * cabinets
            yield Line(
                wanted=wanted,
                count=count,
                each={name: self.takes[name][wanted] for name in variants},
                places=self.places[wanted],
                given=self.given[wanted],
                offer=offer(wanted, kit.stock.of(wanted.kind), count),
            )

    def left(self, variant: str) -> Iterable[Left]:
        rest = self.most(self.takes) - self.takes[variant]
        for wanted in sorted(rest, key=lambda w: (w.kind, w.value, w.rating)):
            yield Left(wanted, rest[wanted])


def links(spots: Iterable[Spot]) -> list[Place]:
    """The places to be bridged by a wire."""
    return [spot.reason.place for spot in spots if spot.reason.place.state == "link"]
