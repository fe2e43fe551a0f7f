"""Steady states of drivers beyond small signals, on sines, beside integration in time by scipy's `solve_ivp`.

A woofer whose force factor, stiffness and inductance change with its excursion, in a sealed box, by harmonic balance
(`enclosures.harmonic_balance`), 60 frequencies by 10 levels. Integration is from rest until a period repeats within
1e-4, for some of the pairs of frequency and level and counted for all. The note says how far apart the displacements'
harmonics are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from benchmarks.rows import Row
from benchmarks.timing import quickest, seconds
from enclosures.arrays import RealArray
from enclosures.harmonic_balance import FOUND, HARMONICS, Source, SteadyStates, harmonic_balance
from enclosures.sealed import SealedBox
from tests.support_enclosures import AIR, WOOFER
from tests.support_large_signal import COIL_WOOFER, CURVES, InTime, sealed_air

TITLE = "Large signals, beside integration in time"
HIGHEST = 10.0  # V rms: the small-signal cone moves 5.7 mm to either side
BOX = SealedBox(6e-3, leak=20.0)


@dataclass(frozen=True, slots=True)
class Sizes:
    frequencies: int = 60
    levels: int = 10
    every: int = 6  # of these frequencies one is integrated, from the third on, each at three levels
    repeats: int = 5


FULL, SMALL = Sizes(), Sizes(3, 2, 3, 1)


def balance(drivers: int, frequency: RealArray, levels: RealArray) -> SteadyStates:
    """All frequencies and levels, `drivers` of them in parallel in as many times the box."""
    omega = 2 * np.pi * frequency
    impedance = np.zeros((omega.size, 2 * HARMONICS, drivers, drivers), complex)
    source = Source.open_circuit(np.ones((omega.size, drivers), complex), impedance)
    box = SealedBox(BOX.volume * drivers, BOX.leak)
    return harmonic_balance([COIL_WOOFER] * drivers, [CURVES] * drivers, box, omega, AIR, source, levels)


def in_time(points: Sequence[tuple[float, float]]) -> list[np.ndarray]:
    """Displacement amplitudes for some pairs of Hz and volts."""
    one = InTime(sealed_air(BOX, WOOFER))
    return [one.steady(hertz, volts)[0] for hertz, volts in points]


def rows(sizes: Sizes = FULL) -> list[Row]:
    """Raises RuntimeError where a state is not found."""
    frequency, levels = np.geomspace(20, 250, sizes.frequencies), np.linspace(1, HIGHEST, sizes.levels)
    works = {
        "one driver in a sealed box": partial(balance, 1, frequency, levels),
        "two drivers in one box": partial(balance, 2, frequency, levels),
    }
    times = quickest(works, sizes.repeats)
    states, both = (work() for work in works.values())
    if not all((each.reason == FOUND).all() for each in (states, both)):
        raise RuntimeError("a steady state was not found")
    which = sorted({min(each, sizes.levels - 1) for each in (1, 4, 9)})
    sample = [(f, n) for f in range(2, sizes.frequencies, sizes.every) for n in which]
    theirs: list[np.ndarray] = []
    pairs = [(float(frequency[f]), float(levels[n])) for f, n in sample]
    taken = seconds(lambda: theirs.extend(in_time(pairs))) * states.reason.size / len(sample)
    apart = max(
        np.abs(states.displacement[f, n, 0] - x).max() / abs(x[1]) for (f, n), x in zip(sample, theirs, strict=True)
    )
    made = [Row(what, each, beside="integration in time", ratio=each / taken) for what, each in times.items()]
    made[0] = replace(made[0], note=f"harmonics 0 to {HARMONICS} apart by at most {apart:.1e} of the fundamental")
    note = f"{len(sample)} of {states.reason.size} integrated, times the rest"
    return [*made, Row("one driver, integration in time", taken, note=note)]
