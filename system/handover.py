"""Where one source of sound hands over to another: a piston to its response table, the woofers to a tweeter.

At the second the way round of the tweeter shows: connected the wrong way it takes away what it should add.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.build import Build
from system.predict import flows, pressure
from system.transfer import Transfer, join_band, joined_tables, motion, table_over_piston

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

BAND = (300.0, 10e3)  # Hz, where a tweeter is looked for to take over
OCTAVES = 1.0  # both sides of that: where the null is looked for
CLEAR = 1.0  # dB: what one way round must sum louder than the other to be called the right one


@dataclass(frozen=True, slots=True)
class Join:
    """A `driver` that passes from piston to response table between `low` and `high` (Hz).

    Halfway the table is `ratio` (complex) of the piston: one, where parameters and table agree.
    """

    driver: str
    low: float
    high: float
    ratio: complex

    @property
    def level(self) -> float:
        """Of table over piston, halfway, in dB."""
        return 20 * math.log10(abs(self.ratio))

    @property
    def phase(self) -> float:
        """Of table over piston, halfway, in degrees."""
        return math.degrees(cmath.phase(self.ratio))


def joins(model: Build) -> tuple[Join, ...]:
    """Every driver of a build that is a piston below and a table above."""
    return tuple(_join(model, i) for i in joined_tables(model))


def _join(model: Build, i: int) -> Join:
    low, high = join_band(model, i)
    ratio = table_over_piston(model, i, motion(model, np.array([math.sqrt(low * high)])))
    return Join(model.names[i], low, high, complex(ratio[0]))


@dataclass(frozen=True, slots=True, eq=False)
class Polarity:
    """A tweeter as wired and the other way round, everything else alike.

    It takes over at `crossover` (Hz), where its own level passes that of all the others; levels averaged over an octave
    decide. `gain` (dB) is how much louder the octave about it sums as wired. One of the two ways has a null: there, at
    `null_at` (Hz) within an octave, it sums `null` (dB) below the other. `turned` (F,) in Pa is the pressure at the
    frequencies asked for with the tweeter the other way round.
    """

    driver: str
    crossover: float
    gain: float
    null: float
    null_at: float
    turned: Complexes


def polarities(model: Build, asked: Transfer, swept: Transfer, volts: float) -> tuple[Polarity, ...]:
    """Of every tweeter that takes over from other drivers; `asked` and `swept` as for `system.filling.filling`."""
    return tuple(_polarities(model, asked, swept, volts))


def _polarities(model: Build, asked: Transfer, swept: Transfer, volts: float) -> Iterator[Polarity]:
    current = flows(model, swept, volts).load_current
    whole = pressure(swept, current)
    for i, data in enumerate(model.data):
        if data.role != "tweeter" or len(model.data) == 1:
            continue
        own = np.einsum("fj,fj->f", swept.driver_pressure[:, i], current)
        crossover = _crossover(_octave(own), _octave(whole - own))
        if crossover is None:
            continue
        other = _turned(model, i)
        reverse = pressure(swept, flows(other, swept, volts).load_current)
        distance = np.abs(np.log2(summary.GRID / crossover))
        middle, near = distance <= 0.5, distance <= OCTAVES
        gain = 10 * math.log10(_power(whole[middle]) / _power(reverse[middle]))
        apart = 20 * np.log10(np.abs(whole[near]) / np.abs(reverse[near])) * math.copysign(1.0, gain)
        deepest = int(np.argmax(apart))
        yield Polarity(
            driver=model.names[i],
            crossover=crossover,
            gain=gain,
            null=float(apart[deepest]),
            null_at=float(summary.GRID[near][deepest]),
            turned=pressure(asked, flows(other, asked, volts).load_current),
        )


def _turned(model: Build, i: int) -> Build:
    """The build with driver `i` connected the other way round."""
    loads = list(model.network.loads)
    loads[i] = replace(loads[i], plus_point=loads[i].minus_point, minus_point=loads[i].plus_point)
    return replace(model, network=replace(model.network, loads=tuple(loads)))


def _power(values: Complexes) -> float:
    return float(np.mean(np.abs(values) ** 2))


def _octave(values: Complexes) -> Floats:
    """Mean square (F,) over an octave about each point of the summary's grid, which is logarithmic."""
    half = round(0.5 / math.log2(summary.GRID[1] / summary.GRID[0]))
    total = np.concatenate([[0.0], np.cumsum(np.abs(values) ** 2)])
    place = np.arange(values.size)
    low, high = np.maximum(place - half, 0), np.minimum(place + half + 1, values.size)
    return np.asarray((total[high] - total[low]) / (high - low))


def _crossover(own: Floats, rest: Floats) -> float | None:
    """The highest frequency (Hz) in `BAND` at which the octave mean square of `own` rises above that of the `rest`."""
    inside = (BAND[0] <= summary.GRID) & (BAND[1] >= summary.GRID)
    above = own > rest
    rising = np.flatnonzero(~above[:-1] & above[1:] & inside[1:])
    return float(summary.GRID[rising[-1] + 1]) if rising.size else None
