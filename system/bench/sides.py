"""Left against right: two sweeps of one variant, and whether they differ by more than two copies do."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.bench.copies import cold
from system.bench.diagnosis import LEAST_OCTAVES, Diagnosis, diagnose
from system.bench.expect import impedance_of_copies
from system.bench.sweeps import Sweep
from system.build import build
from system.builds import Common
from system.kit import Kit, Variant

Floats = NDArray[np.float64]

COPIES = 800  # of which pairs are made
SEED = 0
SHARE = 0.95  # of the pairs that differ by less
AN_OCTAVE = 12  # frequencies at which pairs are drawn
FAR = 1.5  # times what pairs differ by: from here on it is no longer marginal


@dataclass(frozen=True, slots=True, eq=False)
class Sides:
    """How far the first sweep is from the second at `frequency` (F,) Hz, where both have been measured.

    `difference` (F,) is the ratio of magnitudes less one, `limit` (F,) what 95 % of pairs of copies stay below, each
    frequency by itself; `reach` is how many times the limit the difference is at its worst, `usual` what 95 % of pairs
    reach there. `suggests` explains the first by what it has that the second has not, where that is too much.
    """

    name: str
    frequency: Floats
    difference: Floats
    limit: Floats
    worst_hz: float
    worst: float
    reach: float
    usual: float
    result: Literal["pass", "marginal", "fail"]
    suggests: Diagnosis | None

    @property
    def says(self) -> str:
        here = f"{100 * self.worst:+.1f} % at {wording.hertz(self.worst_hz)}"
        if self.result == "pass":
            return f"the two differ by {here} at most, as two copies may"
        return f"the two differ by {here}, {self.reach / self.usual:.1f} times what 95 % of pairs of copies do"


def compare_sides(kit: Kit, variant: Variant, first: Sweep, second: Sweep, found: Diagnosis) -> Sides:
    """`found` is the diagnosis of the first by itself. Raises ValueError where the two have too little in common."""
    inside = (first.frequency >= second.frequency[0]) & (first.frequency <= second.frequency[-1])
    if not inside.any() or math.log2(first.frequency[inside][-1] / first.frequency[inside][0]) < LEAST_OCTAVES:
        raise ValueError(f"the two sweeps have less than {LEAST_OCTAVES:g} octaves in common")
    f = first.frequency[inside]
    other = _at(second, f)
    difference = first.magnitude[inside] / other.magnitude - 1
    limit, usual = _pairs(kit, variant, f)
    reach = np.abs(np.log1p(difference)) / limit
    i = int(np.argmax(reach))
    result: Literal["pass", "marginal", "fail"] = (
        "pass" if reach[i] <= usual else "marginal" if reach[i] <= FAR * usual else "fail"
    )
    suggests = None
    if result != "pass":
        suggests = diagnose(kit, variant, _apart(first, inside, other, found))
    return Sides(
        name=second.name,
        frequency=f,
        difference=difference,
        limit=np.expm1(limit),
        worst_hz=float(f[i]),
        worst=float(difference[i]),
        reach=float(reach[i]),
        usual=usual,
        result=result,
        suggests=suggests,
    )


def _at(sweep: Sweep, frequency: Floats) -> Sweep:
    """At other frequencies: log ohm and phase over log Hz, straight between the sweep's own."""
    x, at = np.log(sweep.frequency), np.log(frequency)
    phase = None if sweep.phase is None else np.interp(at, x, sweep.phase)
    return Sweep(sweep.name, frequency, np.exp(np.interp(at, x, np.log(sweep.magnitude))), phase)


def _apart(first: Sweep, inside: NDArray[np.bool_], other: Sweep, found: Diagnosis) -> Sweep:
    """The kit as drawn with what the first has that the other has not: what both have in common is taken out."""
    nominal = found.nominal[inside]
    phase = None
    if first.phase is not None and other.phase is not None:
        phase = np.angle(nominal) + first.phase[inside] - other.phase
    magnitude = np.abs(nominal) * first.magnitude[inside] / other.magnitude
    return replace(first, frequency=other.frequency, magnitude=magnitude, phase=phase, notes=())


def _pairs(kit: Kit, variant: Variant, frequency: Floats) -> tuple[Floats, float]:
    """What 95 % of pairs of copies differ by: |ln ratio| (F,) at each frequency, and their worst in terms of that.

    With the error of the meter, which is of either sign in both.
    """
    octaves = math.log2(frequency[-1] / frequency[0])
    few = np.geomspace(frequency[0], frequency[-1], 1 + math.ceil(AN_OCTAVE * octaves))
    size = np.abs(impedance_of_copies(Common.of(build(kit, cold(variant)), few), COPIES, SEED))
    meter = kit.meter.impedance * np.random.default_rng(SEED).uniform(-1, 1, size.shape)
    size = np.log(np.maximum(size + meter, kit.meter.impedance))
    apart = np.abs(size[:, : COPIES // 2] - size[:, COPIES // 2 :])
    limit = np.quantile(apart, SHARE, axis=1)
    usual = float(np.quantile(np.max(apart / limit[:, None], axis=0), SHARE))
    return np.asarray(np.interp(np.log(frequency), np.log(few), limit)), usual
