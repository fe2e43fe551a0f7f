"""Which of the measured parts in hand go to the left cabinet and which to the right, so that the two sound alike.

Cabinets of one variant differ by their parts. A part's effect is proportional to how far its value is off as long as
that is a few per cent, so every arrangement is first judged by the level that each place changes per unit (a central
difference of the solved network); the best of them, and the parts as they are listed, are then solved exactly. Few
arrangements are all tried; of many, parts are exchanged as long as that helps, from several beginnings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, islice, permutations, product

import numpy as np
from numpy.typing import NDArray

from filters import network, parts
from system import summary, wording
from system.build import Build, build, capacitor
from system.findings import Finding, KitError
from system.handfile import InHand
from system.kit import HIGHEST_OF_PROGRAMME, Kit, Part, Variant
from system.predict import reference_band
from system.transfer import Transfer, transfer

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

POINTS = 240  # frequencies at which cabinets are compared, 24 an octave: a line has narrow dips
HEARD = 20.0  # dB below the reference level, down to which a difference counts
STEP = 1e-3  # relative, of the central difference
MOST_TRIED = 200_000  # arrangements; beyond, they are searched
AT_ONCE = 2048
SOLVED = 32  # of the best, exactly
BEGINNINGS = 12  # of a search, besides the listed and the sorted
MOST_CABINETS = 10
CABINETS = ("left", "right", "centre")


@dataclass(frozen=True, slots=True)
class Judged:
    """A part in hand: its deviation from the marked value, and whether that is outside of its tolerance (if known)."""

    part: InHand
    marked: float
    deviation: float
    outside: bool


@dataclass(frozen=True, slots=True, eq=False)
class Apart:
    """How far cabinets are apart: the largest difference of level (dB) between any two, where (Hz), and (F,) over all.

    Where the level is 20 dB below the reference nothing counts, and the curve is zero.
    """

    worst: float
    frequency: float
    mean: float
    curve: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Paired:
    """The parts of one variant given to its cabinets. `chosen` has by reference one part for each of `cabinets`.

    `spare` are parts in hand that are not used, `others` those for no place that is fitted here or for another value
    there, `unmeasured` the fitted places taken at their marked value; `complete` says that every arrangement was
    judged. Curves are at `frequency` (F,) in Hz.
    """

    variant: Variant
    cabinets: tuple[str, ...]
    chosen: Mapping[str, tuple[Judged, ...]]
    spare: tuple[Judged, ...]
    others: tuple[InHand, ...]
    unmeasured: tuple[str, ...]
    listed: Apart
    matched: Apart
    complete: bool
    frequency: Floats


def pair(kit: Kit, variant: Variant, hand: Sequence[InHand], count: int, file: str, seed: int = 0) -> Paired:
    """The measured parts `hand` of `file` for `count` cabinets of a variant, best matched; `seed` of a search's start.

    Parts out of tolerance are used only where too few others are there. Raises KitError for a place with fewer parts
    in hand than there are cabinets.
    """
    found = _by_place(kit, variant, hand)
    for reference, each in found.items():
        if len(each) < count:
            raise KitError([_too_few(variant, reference, each, count, file)], kit.name)
    usable = {reference: _usable(each, count) for reference, each in found.items()}
    heard = _Heard.of(build(kit, variant), tuple(found))
    pools = [np.log([each.part.value / variant.places[r].part.value for each in usable[r]]) for r in found]
    sizes = [len(pool) for pool in pools]
    complete = _how_many(sizes, count) <= MOST_TRIED
    tries = _all(sizes, count) if complete else _searched(heard, pools, count, seed)
    arrangements = [
        {r: tuple(usable[r][i] for i in order) for r, order in zip(found, orders, strict=True)}
        for orders in _best(heard, pools, tries)
    ]
    arrangements.append({r: tuple(each[:count]) for r, each in found.items()})  # as listed
    apart = heard.apart(arrangements, count)
    best = min(range(len(apart) - 1), key=lambda i: (apart[i].worst, apart[i].mean))
    chosen = arrangements[best]
    used = {each.part.line for row in chosen.values() for each in row}
    mine = {each.part.line for row in found.values() for each in row}
    return Paired(
        variant=variant,
        cabinets=names_of(count),
        chosen=chosen,
        spare=tuple(each for row in found.values() for each in row if each.part.line not in used),
        others=tuple(part for part in hand if part.line not in mine),
        unmeasured=tuple(r for r, place in variant.places.items() if place.state == "fit" and r not in found),
        listed=apart[-1],
        matched=apart[best],
        complete=complete,
        frequency=heard.frequency,
    )


def names_of(count: int) -> tuple[str, ...]:
    """Left, right, centre, then numbers."""
    return (*CABINETS, *map(str, range(len(CABINETS) + 1, count + 1)))[:count]


def _by_place(kit: Kit, variant: Variant, hand: Sequence[InHand]) -> dict[str, list[Judged]]:
    """The parts for each place that this variant fits; a place that variants fill differently has parts for each."""
    found: dict[str, list[Judged]] = {}
    for reference, place in variant.places.items():
        here = place.part.marked
        if place.state != "fit" or here == 0:
            continue
        there = [other.places[reference] for other in kit.variants.values()]
        values = {here, *(each.part.marked for each in there if each.state == "fit" and each.part.marked > 0)}
        rows = [part for part in hand if part.reference == reference]
        mine = [part for part in rows if min(values, key=lambda v: abs(math.log(part.value / v))) == here]
        if mine:
            found[reference] = [_judged(part, place.part) for part in mine]
    return found


def _judged(part: InHand, of: Part) -> Judged:
    deviation = part.value / of.marked - 1
    # a value that is off by its tolerance exactly is within it, whatever rounding does
    return Judged(part, of.marked, deviation, of.tolerance is not None and abs(deviation) > of.tolerance + 1e-9)


def _usable(found: Sequence[Judged], count: int) -> list[Judged]:
    """Those within their tolerance, and as few of the others, the nearest first, as must be."""
    good = [each for each in found if not each.outside]
    others = sorted((each for each in found if each.outside), key=lambda each: abs(each.deviation))
    return good + others[: max(0, count - len(good))]


def _too_few(variant: Variant, reference: str, found: Sequence[Judged], count: int, file: str) -> Finding:
    place = variant.places[reference]
    value = wording.part_value(place.part.kind, place.part.marked)
    parts_ = "part" if len(found) == 1 else "parts"
    return Finding(
        "error", "hand_few", file, found[0].part.line, 1, "",
        f"there {'is' if len(found) == 1 else 'are'} {len(found)} {parts_} in hand for {reference}, {value} in"
        f" {variant.name}",
        f"{count} cabinets take {count}; add rows, lower --count, or name another --variant",
    )  # fmt: skip


# A place's part with values over builds (B,); its losses are those of the kit.
VARIED: Mapping[str, Callable[[Part, Floats], parts.Part]] = {
    "resistor": lambda part, values: parts.Resistor(values),
    "capacitor": capacitor,
    "coil": lambda part, values: parts.Coil(values, part.resistance),
}


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    """A variant at `frequency` (F,): what the level (dB) changes per relative change of each place, (R, F).

    `counts` (F,) says where the level is high enough to count.
    """

    model: Build
    acoustics: Transfer
    references: tuple[str, ...]
    counts: NDArray[np.bool_]
    per_unit: Floats

    @classmethod
    def of(cls, model: Build, references: tuple[str, ...]) -> _Heard:
        frequency = np.geomspace(model.kit.programme.lowest, HIGHEST_OF_PROGRAMME, POINTS)
        heard = cls(model, transfer(model, frequency), references, np.ones(POINTS, bool), np.zeros((0, POINTS)))
        values = {r: model.variant.places[r].part.value for r in references}
        count = len(references)
        steps = 1 + STEP * np.vstack([np.zeros((1, count)), np.eye(count), -np.eye(count)])  # (1 + 2 R, R)
        levels = heard.levels({r: value * steps[:, i] for i, (r, value) in enumerate(values.items())})
        floor = summary.band_mean(frequency, levels[0], reference_band(model.variant)) - HEARD
        counts = levels[0] >= floor
        per_unit = np.where(counts, (levels[1 : count + 1] - levels[count + 1 :]) / (2 * STEP), 0.0)
        return replace(heard, counts=counts, per_unit=per_unit)

    @property
    def frequency(self) -> Floats:
        return self.acoustics.frequency

    def levels(self, values: Mapping[str, Floats]) -> Floats:
        """The level (B, F) in dB with these values (B,) in their places."""
        model, places = self.model, self.model.variant.places
        elements = tuple(
            replace(e, part=VARIED[places[e.reference].part.kind](places[e.reference].part, values[e.reference]))
            if e.reference in values
            else e
            for e in model.network.elements
        )
        board, omega = replace(model.network, elements=elements), 2 * np.pi * self.frequency
        with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
            solution = network.solve(board, omega, self.acoustics.impedance, 1.0, model.source_resistance)
        heard = np.einsum("fj,...fj->...f", self.acoustics.total_pressure, solution.load_current)
        return np.atleast_2d(summary.level(heard))

    def apart(self, arrangements: Sequence[Mapping[str, Sequence[Judged]]], cabinets: int) -> list[Apart]:
        """The solved difference of each arrangement."""
        values = {
            r: np.array([each.part.value for arrangement in arrangements for each in arrangement[r]])
            for r in self.references
        }
        levels = self.levels(values).reshape(-1, cabinets, self.frequency.size) if values else None
        curves = np.zeros((len(arrangements), POINTS)) if levels is None else np.ptp(levels, axis=1) * self.counts
        found = []
        for curve in curves:
            worst = int(np.argmax(curve))
            mean = float(curve[self.counts].mean()) if self.counts.any() else 0.0
            found.append(Apart(float(curve[worst]), float(self.frequency[worst]), mean, curve))
        return found

    def scores(self, offsets: Floats) -> Floats:
        """The worst and the mean difference (B, 2) for relative offsets (B, R, K) of each place in each cabinet."""
        levels = np.einsum("rf,brk->bkf", self.per_unit, offsets, optimize=True)
        spread = np.ptp(levels, axis=1)
        return np.stack([spread.max(axis=-1), spread.mean(axis=-1)], axis=-1)


Orders = tuple[tuple[int, ...], ...]  # for each place which of its parts go to the cabinets, in their order


def _how_many(sizes: Sequence[int], count: int) -> int:
    """Arrangements that differ: cabinets may be exchanged for each other as a whole."""
    total = math.prod(math.perm(size, count) for size in sizes)
    return total // math.factorial(count) if sizes else 1


def _all(sizes: Sequence[int], count: int) -> Iterator[Orders]:
    """Every arrangement once; for the first place the order of the cabinets is free."""
    ways = [list(permutations(range(size), count)) for size in sizes]
    first = [list(combinations(range(size), count)) for size in sizes[:1]]
    return product(*first, *ways[1:])


def _best(heard: _Heard, pools: Sequence[Floats], tries: Iterator[Orders]) -> list[Orders]:
    """The few best of many, by their first-order effect: the worst difference, then the mean."""
    kept: list[tuple[float, float, Orders]] = []
    while some := list(islice(tries, AT_ONCE)):
        if not pools:
            return some
        offsets = np.stack([pool[[orders[r] for orders in some]] for r, pool in enumerate(pools)], axis=1)
        scores = heard.scores(offsets)
        first = np.lexsort((scores[:, 1], scores[:, 0]))[:SOLVED]
        kept += [(float(scores[i, 0]), float(scores[i, 1]), some[i]) for i in first]
        kept = sorted(kept)[:SOLVED]
    return [orders for _, _, orders in kept]


def _searched(heard: _Heard, pools: Sequence[Floats], count: int, seed: int) -> Iterator[Orders]:
    """Where each of several beginnings ends: nothing is gained any more by exchanging two parts of a place."""
    random = np.random.Generator(np.random.PCG64(seed))
    sizes = [len(pool) for pool in pools]
    beginnings = [[np.arange(size) for size in sizes], [_alike_first(pool, count) for pool in pools]]
    beginnings += [[random.permutation(size) for size in sizes] for _ in range(BEGINNINGS)]
    for orders in beginnings:
        ended = _exchanged(heard, pools, orders, count)
        yield tuple(tuple(map(int, order[:count])) for order in ended)


def _alike_first(pool: Floats, count: int) -> Indices:
    """All of a place's parts, the `count` that are closest together first: they are neighbours when sorted."""
    rising = np.argsort(pool, kind="stable")
    start = int(np.argmin(pool[rising[count - 1 :]] - pool[rising[: pool.size - count + 1]]))
    return np.roll(rising, -start)


def _exchanged(heard: _Heard, pools: Sequence[Floats], orders: list[Indices], count: int) -> list[Indices]:
    """From one beginning on: the best exchange in each place in turn, until none helps."""
    orders = [order.copy() for order in orders]
    offsets = np.stack([pool[order[:count]] for pool, order in zip(pools, orders, strict=True)])  # (R, K)
    score = tuple(heard.scores(offsets[None])[0])
    better = True
    while better:
        better = False
        for r, pool in enumerate(pools):
            swaps = [(i, j) for i in range(count) for j in range(i + 1, pool.size)]
            tried = np.repeat(orders[r][None], len(swaps), axis=0)
            for row, (i, j) in zip(tried, swaps, strict=True):
                row[[i, j]] = row[[j, i]]
            every = np.repeat(offsets[None], len(swaps), axis=0)
            every[:, r] = pool[tried[:, :count]]
            scores = heard.scores(every)
            best = int(np.lexsort((scores[:, 1], scores[:, 0]))[0])
            if tuple(scores[best]) < score:
                score, orders[r], offsets, better = tuple(scores[best]), tried[best], every[best], True
    return orders
