"""Preferred numbers of IEC 60063, and the nearest single value, pair in parallel and pair in series.

A stock is the name of a series (E3, E6, E12, E24, E48, E96, E192) or an explicit list of values in SI units.
Pairs know two sums: parts whose values add (coils and resistors in series, capacitors in parallel) and parts whose
reciprocals add (the other way round); `HOW_THEY_ADD` says which is which.
"""

from __future__ import annotations

import math
import operator
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

# IEC 60063:2015, table 1. These are older than the rule of the finer series: 2.7 3.0 3.3 3.6 3.9 4.3 4.7 and 8.2 are
# not 10^(i/24) rounded.
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
# IEC 60063:2015, table 2: 10^(i/192) rounded to three figures but for this one.
_E192_EXCEPTIONS = {919: 920}

Stock = str | Sequence[float]
Kind = Literal["resistor", "capacitor", "coil"]
Connection = Literal["parallel", "series"]
Sum = Literal["values", "reciprocals"]

HOW_THEY_ADD: Mapping[tuple[Kind, Connection], Sum] = {
    ("resistor", "series"): "values",
    ("resistor", "parallel"): "reciprocals",
    ("coil", "series"): "values",  # uncoupled: set apart and crosswise
    ("coil", "parallel"): "reciprocals",
    ("capacitor", "series"): "reciprocals",
    ("capacitor", "parallel"): "values",
}


class SeriesError(ValueError):
    """There is no preferred series of this name."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A value to be had: one member, or two joined by `connection`; `error` is value/target - 1."""

    value: float
    members: tuple[float, ...]
    connection: Connection | None = None
    error: float | None = None


def _fine(count: int) -> tuple[int, ...]:
    """Three-figure mantissas 10^(i/count), i = 0 ... count - 1, as integers from 100."""
    rounded = (math.floor(100 * 10 ** (i / count) + 0.5) for i in range(count))
    return tuple(_E192_EXCEPTIONS.get(mantissa, mantissa) for mantissa in rounded)


_MANTISSAS: Mapping[str, tuple[int, ...]] = {
    "E3": tuple(10 * m for m in _E24[::8]),
    "E6": tuple(10 * m for m in _E24[::4]),
    "E12": tuple(10 * m for m in _E24[::2]),
    "E24": tuple(10 * m for m in _E24),
    "E48": _fine(48),
    "E96": _fine(96),
    "E192": _fine(192),
}


def series(name: str) -> tuple[float, ...]:
    """The values of a series from 1 up to below 10, IEC 60063. Raises SeriesError."""
    return tuple(mantissa / 100 for mantissa in _mantissas(name))


def _mantissas(name: str) -> tuple[int, ...]:
    try:
        return _MANTISSAS[name]
    except KeyError:
        raise SeriesError(f"there is no series {name}; there are {', '.join(_MANTISSAS)}") from None


def values(stock: Stock, low: float, high: float) -> tuple[float, ...]:
    """The values of `stock` from `low` to `high`, both included, rising, each once.

    Raises SeriesError for a name that is no series, ValueError for a range that is not 0 < low <= high < infinity.
    """
    if not 0 < low <= high < math.inf:
        raise ValueError(f"stock: a range runs from above zero up to a finite end, not from {low} to {high}")
    if isinstance(stock, str):
        decades = range(math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 2)
        # through decimal text, so that 2.2e-06 is the float a reader would type
        listed = [float(f"{mantissa}e{decade - 2}") for decade in decades for mantissa in _mantissas(stock)]
    else:
        listed = sorted(set(stock))
    return tuple(value for value in listed if low <= value <= high)


def nearest(target: float, stock: Stock) -> Choice:
    """The single value of `stock` nearest to `target` by ratio. Raises ValueError for an empty stock."""
    near = values(stock, target / 10, target * 10) if isinstance(stock, str) else tuple(stock)
    if not near:
        raise ValueError("stock: it is empty")
    value = min(near, key=lambda v: (_distance(v, target), v))
    return Choice(value, (value,), None, value / target - 1)


def pairs(members: Sequence[float], how: Sum, low: float, high: float) -> Iterator[tuple[float, tuple[float, float]]]:
    """Every pair of `members` whose sum (of values or of reciprocals) lies from `low` to `high`, with that sum.

    A member may be taken twice; the smaller comes first. For a series, say with `values` which members there are.
    """
    ordered = sorted(set(members))
    combine = _COMBINE[how]
    for i, a in enumerate(ordered):
        for b in ordered[i:]:
            total = combine(a, b)
            if low <= total <= high:
                yield total, (a, b)


def best_pair(target: float, stock: Stock, kind: Kind, connection: Connection, widest: float = 100.0) -> Choice:
    """The pair of `stock` nearest to `target` by ratio; of equals, the one whose members are most alike.

    `widest` bounds the ratio of the two members. Raises ValueError for an empty stock or a `widest` below 1.
    """
    if widest < 1:
        raise ValueError(f"stock: the ratio of two members is at least 1, not {widest}")
    how = HOW_THEY_ADD[kind, connection]
    # members whose values add lie below the target, those whose reciprocals add above; one is at least half of it
    smallest, largest = (target / (2 * widest), target) if how == "values" else (target, 2 * widest * target)
    members = values(stock, smallest / 2, largest * 2) if isinstance(stock, str) else sorted(set(stock))
    combine = _COMBINE[how]
    best: tuple[float, float, float, float] | None = None
    for i, a in enumerate(members):
        # the best partner of a lies on either side of the one that would be exact
        exact = target - a if how == "values" else (a * target / (a - target) if a > target else math.inf)
        last = bisect_right(members, widest * a) - 1
        place = bisect_left(members, exact)
        for k in {min(max(place - 1, i), last), min(max(place, i), last)}:
            b = members[k]
            candidate = (_distance(combine(a, b), target), b / a, a, b)
            best = candidate if best is None or candidate < best else best
    if best is None:
        raise ValueError("stock: it is empty")
    value = combine(*best[2:])
    return Choice(value, best[2:], connection, value / target - 1)


def best(target: float, stock: Stock, kind: Kind) -> tuple[Choice, Choice, Choice]:
    """The best single value, pair in parallel and pair in series for `target`."""
    return (
        nearest(target, stock),
        best_pair(target, stock, kind, "parallel"),
        best_pair(target, stock, kind, "series"),
    )


def _sum_of_reciprocals(a: float, b: float) -> float:
    return a * b / (a + b)


_COMBINE: Mapping[Sum, Callable[[float, float], float]] = {"values": operator.add, "reciprocals": _sum_of_reciprocals}


def _distance(value: float, target: float) -> float:
    return abs(math.log(value / target))
