"""The first look at a sweep, and the fits of every coil model from it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from system.bench.fitting_models import ANY_COIL, COILS, FS, MOTION, Floats, Model, model
from system.bench.fitting_solve import Points, Solution, solve, spikes
from system.bench.fitting_start import Start, points_of, start_of
from system.bench.sweeps import Sweep

FIRST_NOISE = 0.02  # relative, before the residuals tell
ROUGH = 1e-3  # tolerance of what is only begun from
_STRANGE_PHASE = 0.35  # rad, median: so far off it is not the phase of this curve
_PLACES = 7  # of a resonance that makes no peak


@dataclass(frozen=True, slots=True, eq=False)
class Ready:
    """Points to fit, which of them are `kept` (N,), and the power law (P,) where the first look ended.

    `place` (F,) is the point that each reading of the sweep went into, `way` the sign of its phase, 0 for none.
    """

    points: Points
    place: NDArray[np.intp]
    way: int
    kept: NDArray[np.bool_]
    law: Floats
    notes: tuple[str, ...]


def look(sweep: Sweep) -> Ready:
    """The level alone, robustly, tells which way the phase turns; then what stands out of the curve alone is left out.

    Raises Refused for what no driver in free air shows.
    """
    notes: list[str] = []
    points, place = points_of(sweep)
    way = 0
    bare = replace(points, phase=None)
    found = start_of(bare)
    starts = [found] if found is not None else _everywhere(bare)
    law = model("power_law", creep=False)
    tries = [solve(law, bare, even(bare), _unknowns(start, bare), robust=True, tolerance=ROUGH) for start in starts]
    first = min(tries, key=lambda each: each.cost)
    if points.phase is not None:
        turns = {way: replace(points, phase=way * points.phase) for way in (1, -1)}
        off = {way: float(np.median(np.abs(each.residual(first.impedance)[:, 1]))) for way, each in turns.items()}
        way = min(off, key=lambda each: off[each])
        points = turns[way] if off[way] <= _STRANGE_PHASE else bare
        if points.phase is None:
            way = 0
            notes.append("the phase does not belong to this magnitude: it is left out")
        elif way < 0:
            notes.append("the phase is turned round (it falls where a coil makes it rise): its sign is changed")
    start = np.concatenate([first.unknowns[: len(MOTION)], any_coil_start("power_law", first.unknowns, points), [0.05]])
    close = solve(Model(ANY_COIL, creep=True), points, even(points), start, robust=True, tolerance=ROUGH)
    out = spikes(close.residual)
    if out.any():
        places = [f"{each:.3g}" for each in points.frequency[out]]
        more = " and others" if len(places) > 8 else ""
        notes.append(f"left out because they stand out alone: {', '.join(places[:8])} Hz{more}")
    return Ready(points, place, way, ~out, first.unknowns, tuple(notes))


def even(points: Points) -> Floats:
    """Weights (N, 1 or 2) before the residuals tell."""
    return np.full((len(points.frequency), 1 if points.phase is None else 2), 1 / FIRST_NOISE)


def any_coil_start(name: str, unknowns: Floats, points: Points) -> Floats:
    """The unknowns of the general coil that come nearest to the coil `name` of a model with `unknowns` (P,)."""
    coil = unknowns[len(MOTION) :]
    high, low = math.log(2 * math.pi * points.frequency[-1]), math.log(2 * math.pi) + unknowns[FS]

    def from_coil() -> list[float]:
        return [coil[0] - 0.7, coil[0] - 0.7, coil[0] + (high + low) / 4, math.log(0.5)]

    def from_power_law() -> list[float]:
        # its inductance falls with this power: a coil far below it at the upper end, one far above it at the resonance
        slope = math.exp(coil[1]) - 1
        return [coil[0] + slope * high - 2, coil[0] + slope * low + 2, coil[0], coil[1]]

    first: dict[str, Callable[[], list[float]]] = {
        "le": from_coil,
        "power_law": from_power_law,
        "shunted_coil": lambda: [*coil[:3], math.log(0.1)],
        "semi_inductance": lambda: [*coil[:3], math.log(0.5)],
    }
    return np.array(first[name]())


def _everywhere(points: Points) -> list[Start]:
    """No peak, so a low and wide one is looked for all over the sweep."""
    re = math.exp(float(np.min(points.level)))
    places = np.geomspace(1.3 * points.frequency[0], points.frequency[-1] / 4, _PLACES)
    return [Start(re, float(place), 1.0, 0.3 * re) for place in places]


def _unknowns(start: Start, points: Points) -> Floats:
    """Of the power law (P,): from the impedance at the upper end, with an exponent of 0.7."""
    omega = 2 * math.pi * points.frequency[-1]
    top = math.exp(float(np.mean(points.level[-3:])))
    reactance = math.sqrt(max(top**2 - start.re**2, (0.1 * start.re) ** 2))
    re = 0.95 * start.re  # the trough lies above re
    return np.log([re, start.fs, start.qms, start.rm, reactance / omega**0.7, 0.7])


def _coil_start(name: str, law: Floats, points: Points) -> Floats:
    """First values of a coil's parameters from the power law's (P,), as logarithms."""
    factor, exponent = math.exp(law[len(MOTION)]), math.exp(law[len(MOTION) + 1])
    high = 2 * math.pi * points.frequency[-1]
    low = min(2 * math.pi * 6 * math.exp(law[FS]), high / 10)
    middle = math.sqrt(low * high)

    def inductance(omega: float) -> float:
        return max(float(factor * omega ** (exponent - 1) * math.sin(exponent * math.pi / 2)), 1e-7)

    starts = {
        "le": [inductance(middle)],
        "power_law": [factor, exponent],
        "shunted_coil": [0.7 * inductance(high), inductance(low), middle * inductance(low)],
        "semi_inductance": [0.5 * inductance(high), 2 * inductance(low), factor * middle ** (exponent - 0.5)],
    }
    return np.log(starts[name])


def every_coil(points: Points, weights: Floats, law: Floats, creep: bool) -> dict[str, Solution]:
    """The fit of every coil model, by its name in kit files, from the power law's unknowns."""
    tail = [0.05] if creep else []
    return {
        name: solve(
            model(name, creep),
            points,
            weights,
            np.concatenate([law[: len(MOTION)], _coil_start(name, law, points), tail]),
            tolerance=ROUGH,
        )
        for name in COILS
    }
