"""What impedance sweeps say of drivers: one with its figures, what to measure next, and a batch put into pairs.

The fit is `system.bench.fitting`; here is decided what is told of it and which drivers go left and right.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from enclosures.air import Air, moist_air
from system.bench.fitting import Estimate, Fit, Full, Refused, added_mass, fit, known_box
from system.bench.sweeps import Sweep

Floats = NDArray[np.float64]

ROOM = moist_air(293.15, 101325.0, 0.5)  # the air that a kit file has where it says nothing

# Common practice, no source. A cone with its coil and its air weighs about 0.11 g for each cm2 that it moves.
MASS_PER_AREA = 1.1  # kg/m2
SHARE_ADDED = 0.5  # of mms: fs then falls by 18 %, far beyond what a sweep can be wrong by, and the cone still moves
BOX_RISE = math.sqrt(2)  # of fs, in a box as large as vas: fc = fs sqrt(1 + vas/vb) (Small, JAES 20(10), 1972)

# One unit measured twice comes back within 0.4 to 1.5 % rms of its impedance. What two units of a pair may differ by
# to count as alike as that; our own choice, common practice, no source.
ALIKE: Mapping[str, float] = MappingProxyType({"impedance": 0.015, "fs": 0.02, "qts": 0.03, "re": 0.015})
GRADES: Mapping[str, float] = MappingProxyType({"A": 1.0, "B": 2.0, "C": 4.0, "D": math.inf})  # times `ALIKE`, at most
COMPARED = (10.0, 20e3)  # Hz, where impedances of a pair are compared
PER_OCTAVE = 24

# What a second measurement of one unit may show, two standard deviations: no batch is taken as closer together.
OFF: Mapping[str, float] = MappingProxyType({"re": 0.015, "fs": 0.02, "qms": 0.10, "qes": 0.03, "qts": 0.03})
ODD = 3.5  # modified z-score (Iglewicz & Hoaglin, How to Detect and Handle Outliers, 1993, from memory)
ENOUGH = 5  # units, below which a median of deviations tells nothing
MOST_TRIED = 16  # units; beyond, pairs are searched


@dataclass(frozen=True, slots=True, eq=False)
class Second:
    """A second sweep of the same driver: `amount` is a mass in kg on the cone, or a volume in m3 behind it."""

    method: str  # a key of SECOND
    amount: float
    sweep: Sweep


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One driver. `refused` says why its figures, or with a `fit` those of the second sweep, are not told."""

    sweep: Sweep
    fit: Fit | None
    full: Full | None
    refused: str | None
    figures: Mapping[str, Estimate]

    @property
    def name(self) -> str:
        return self.sweep.name


@dataclass(frozen=True, slots=True)
class Next:
    """What to measure for the rest. Guesses (kg, m3) need the cone's area, and are None without.

    With the right mass fs falls to `falls_to` (Hz), in the right box it rises to `rises_to`.
    """

    falls_to: float
    mass: float | None
    rises_to: float
    volume: float | None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two units by their index: relative differences, second over first less one; that of impedance is rms.

    `times` is the largest of them over `ALIKE`.
    """

    first: int
    second: int
    impedance: float
    fs: float  # a ratio less one
    qts: float  # a ratio less one
    re: float  # a ratio less one
    times: float
    grade: str


@dataclass(frozen=True, slots=True)
class Range:
    """One figure over a batch without its odd units: `deviation` is the standard deviation over the median."""

    median: float
    lowest: float  # SI units
    highest: float  # SI units
    deviation: float


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Several units. Indices are those of `units`; a refused one is in none but there.

    `outliers` has by unit its odd figures with their relative distance from the median; `typical` is the unit nearest
    to all others; `complete` says that every way to pair them was judged.
    """

    units: tuple[Measured, ...]
    ranges: Mapping[str, Range]
    outliers: Mapping[int, Mapping[str, float]]
    typical: int | None
    pairs: tuple[Pair, ...]
    left_over: int | None
    complete: bool


# The second measurements by the option's word.
SECOND: Mapping[str, Callable[..., Full]] = MappingProxyType({"added_mass": added_mass, "known_box": known_box})


def area(diameter: float) -> float:
    """The moving area (m2) of a circle of the effective diameter (m)."""
    return math.pi / 4 * diameter**2


def characterise(
    sweep: Sweep,
    dc: float | None = None,
    coil_model: str | None = None,
    creep: bool = False,
    second: Second | None = None,
    sd: float | None = None,
    air: Air = ROOM,
) -> Measured:
    """One driver from its sweep in free air, and from a second one if there is one.

    `dc` (ohm) is its dc resistance as a meter reads it, `sd` (m2) its moving area. Data that cannot carry the figures
    are refused in the result, not raised.
    """
    given = {} if sd is None else {"sd": Estimate(sd, sd, sd)}
    refused = None
    if second is not None:
        try:
            full = SECOND[second.method](
                sweep, second.sweep, second.amount, sd=sd, air=air, dc=dc, coil_model=coil_model, creep=creep
            )
            return Measured(sweep, full.first, full, None, {**full.figures, **given})
        except Refused as why:
            refused = str(why)
    try:
        first = fit(sweep, dc, coil_model, creep)
    except Refused as why:
        return Measured(sweep, None, None, str(why), {})
    return Measured(sweep, first, None, refused, {**first.figures, **given})


def next_measurement(fs: float, sd: float | None, air: Air = ROOM) -> Next:
    """For a driver of which only the sweep in free air is known."""
    mass = None if sd is None else MASS_PER_AREA * sd
    # vas = rho c^2 sd^2 cms with cms = 1/((2 pi fs)^2 mms) (Small, JAES 20(5), 1972)
    vas = None if sd is None or mass is None else air.bulk_modulus * sd**2 / ((2 * math.pi * fs) ** 2 * mass)
    # mms cms is 1/(2 pi fs)^2, so fs goes with one over the root of the mass
    return Next(fs / math.sqrt(1 + SHARE_ADDED), mass and SHARE_ADDED * mass, BOX_RISE * fs, vas)


def batch(units: Sequence[Measured]) -> Batch:
    """Several units of one kind of driver, each from its own sweep."""
    known = [i for i, unit in enumerate(units) if unit.refused is None]
    distance = np.zeros((len(known), len(known)))
    apart: dict[tuple[int, int], Pair] = {}
    for row, i in enumerate(known):
        for column, j in enumerate(known[row + 1 :], row + 1):
            apart[i, j] = _pair(i, units[i], j, units[j])
            distance[row, column] = distance[column, row] = apart[i, j].times
    chosen, over, complete = matched(distance)
    pairs = sorted((apart[known[a], known[b]] for a, b in chosen), key=lambda pair: pair.times)
    odd = _outliers(units, known)
    return Batch(
        units=tuple(units),
        ranges=_ranges([units[i] for i in known if i not in odd]),
        outliers=odd,
        typical=known[int(np.argmin(distance.sum(axis=0)))] if known else None,
        pairs=tuple(pairs),
        left_over=None if over is None else known[over],
        complete=complete,
    )


def impedance_apart(one: Sweep, other: Sweep) -> tuple[Floats, Floats]:
    """The frequencies (G,) in Hz that two sweeps share, and the relative difference (G,) of their magnitudes there.

    Magnitudes only: the phase of an impedance follows from them. Both are empty where less than an octave is shared.
    """
    low = max(one.frequency[0], other.frequency[0], COMPARED[0])
    high = min(one.frequency[-1], other.frequency[-1], COMPARED[1])
    if high < 2 * low:
        return np.zeros(0), np.zeros(0)
    grid = np.geomspace(low, high, 1 + math.ceil(PER_OCTAVE * math.log2(high / low)))
    first, second = (np.interp(np.log(grid), np.log(s.frequency), np.log(s.magnitude)) for s in (one, other))
    return grid, np.exp(second - first) - 1


def _pair(i: int, one: Measured, j: int, other: Measured) -> Pair:
    _, curve = impedance_apart(one.sweep, other.sweep)
    off = {name: other.figures[name].value / one.figures[name].value - 1 for name in ("fs", "qts", "re")}
    # sweeps that share no band cannot be compared by it
    off["impedance"] = math.sqrt(float(np.mean(curve**2))) if curve.size else math.inf
    times = max(abs(off[name]) / limit for name, limit in ALIKE.items())
    grade = next(grade for grade, most in GRADES.items() if times <= most)
    return Pair(i, j, off["impedance"], off["fs"], off["qts"], off["re"], times, grade)


def _ranges(units: Sequence[Measured]) -> dict[str, Range]:
    """Of two units or more."""
    if len(units) < 2:
        return {}
    found = {}
    for name in OFF:
        values = np.array([unit.figures[name].value for unit in units])
        median = float(np.median(values))
        found[name] = Range(median, float(values.min()), float(values.max()), float(np.std(values, ddof=1)) / median)
    return found


def _outliers(units: Sequence[Measured], known: Sequence[int]) -> dict[int, dict[str, float]]:
    """The odd figures of each unit that has any."""
    found: dict[int, dict[str, float]] = {}
    if len(known) < ENOUGH:
        return found
    for name, limit in OFF.items():
        values = np.array([units[i].figures[name].value for i in known])
        median = float(np.median(values))
        off = values / median - 1
        # Iglewicz & Hoaglin: 0.6745 of a median deviation stands for one standard deviation
        scale = max(float(np.median(np.abs(off))) / 0.6745, limit / 2)
        for i, each in zip(known, off, strict=True):
            if abs(each) > ODD * scale:
                found.setdefault(i, {})[name] = float(each)
    return found


Pairing = list[tuple[int, int]]


def matched(distance: Floats) -> tuple[Pairing, int | None, bool]:
    """The pairs of least total squared distance (N, N), who is left over if N is odd, and whether all were judged."""
    count = len(distance)
    even = count + count % 2
    cost = np.zeros((even, even))  # who is with the empty place is left over
    cost[:count, :count] = np.where(np.isfinite(distance), distance, 1e3) ** 2
    complete = even <= MOST_TRIED
    pairs = _every_pairing(cost) if complete else _exchanged(cost)
    over = next((i for i, j in pairs if j == count), None)
    return [(i, j) for i, j in pairs if j < count], over, complete


def _every_pairing(cost: Floats) -> Pairing:
    """Dynamic programming over who is left: the first of them goes with any other."""
    best: dict[int, tuple[float, Pairing]] = {0: (0.0, [])}

    def of(left: int) -> tuple[float, Pairing]:
        if left not in best:
            first = (left & -left).bit_length() - 1
            rest = left & ~(1 << first)
            tried = []
            for j in range(first + 1, len(cost)):
                if rest >> j & 1:
                    total, pairs = of(rest & ~(1 << j))
                    tried.append((total + float(cost[first, j]), [(first, j), *pairs]))
            best[left] = min(tried)
        return best[left]

    return of((1 << len(cost)) - 1)[1]


def _exchanged(cost: Floats) -> Pairing:
    """From several beginnings, each unit in turn first to choose its nearest: two pairs exchange while that helps."""
    found = []
    for start in range(len(cost)):
        left = [*range(start, len(cost)), *range(start)]
        pairs: Pairing = []
        while left:
            one = left.pop(0)
            other = min(left, key=lambda j: float(cost[one, j]))
            left.remove(other)
            pairs.append((min(one, other), max(one, other)))
        found.append(_improved(cost, pairs))
    return min(found, key=lambda pairs: sum(float(cost[pair]) for pair in pairs))


def _improved(cost: Floats, pairs: Pairing) -> Pairing:
    pairs, better = list(pairs), True
    while better:
        better = False
        for a in range(len(pairs)):
            for b in range(a + 1, len(pairs)):
                (i, j), (k, m) = pairs[a], pairs[b]
                now = cost[i, j] + cost[k, m]
                for one, other in (((i, k), (j, m)), ((i, m), (j, k))):
                    if cost[one] + cost[other] < now - 1e-12:
                        pairs[a], pairs[b] = (min(one), max(one)), (min(other), max(other))
                        now, better = cost[one] + cost[other], True
    return sorted(pairs)
