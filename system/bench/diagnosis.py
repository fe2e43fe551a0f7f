"""From a sweep of a finished speaker, and readings of an ohmmeter, to the mistakes that explain them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from system.bench.copies import LEAST_OHM, MOST_OHM, figures
from system.bench.evidence import readings_likelihood
from system.bench.faults import Fault
from system.bench.hypotheses import Explained, Hypotheses
from system.kit import Kit, Variant

if TYPE_CHECKING:
    from system.bench.meter import Reading
    from system.bench.sweeps import Sweep

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

USUAL_FREQUENCY = (10.0, 20e3, 200)  # Hz and how many, where there is no sweep
LEAST_OCTAVES = 2.0
# Of the white rms of what the best explanation leaves: what is above this is not explained. See docs/diagnosis.md.
UNEXPLAINED = 1.35
SMALL = 1e-3  # standard deviations, of differences


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """One fault with its `probability`, and its impedance `fitted` (F,) with the drivers and parts that fit best."""

    fault: Fault
    probability: float
    fitted: Complexes


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """What the sweep, and the readings given, cannot tell apart; the most likely first."""

    candidates: tuple[Candidate, ...]
    probability: float  # 0 to 1, of all of them together


@dataclass(frozen=True, slots=True)
class FittedDriver:
    """A driver under the best explanation, each figure over its nominal one as (ratio, its standard deviation).

    None for what a driver known by its tables lacks.
    """

    name: str
    fs: tuple[float, float] | None  # ratios
    qts: tuple[float, float] | None  # ratios
    re: tuple[float, float]  # ratios


@dataclass(frozen=True, slots=True, eq=False)
class Diagnosis:
    """What explains the measurements, groups most likely first; curves (F,) in ohm over `frequency` (F,) Hz.

    `frequency` is the sweep's own, a usual range without one. `nominal` is the kit as drawn, `right` the right build
    with the drivers and parts that fit best. `misfit` is the rms of what the best explanation leaves, in standard
    deviations of the model's error and the noise: about one or below; `unexplained` where no fault fits. `readings`
    are those that were used.
    """

    variant: str
    sweep: Sweep | None
    frequency: Floats
    nominal: Complexes
    right: Complexes
    groups: tuple[Group, ...]
    drivers: tuple[FittedDriver, ...]
    misfit: float
    unexplained: bool
    readings: tuple[Reading, ...]


def diagnose(
    kit: Kit,
    variant: Variant,
    sweep: Sweep | None,
    readings: Sequence[Reading] = (),
    hypotheses: Hypotheses | None = None,
) -> Diagnosis:
    """The mistakes that explain a sweep, readings, or both. `hypotheses` of the same frequencies save the set-up.

    Raises ValueError for a sweep of fewer than `LEAST_OCTAVES`, or for hypotheses of other frequencies.
    """
    frequency = np.geomspace(*USUAL_FREQUENCY) if sweep is None else sweep.frequency
    if math.log2(frequency[-1] / frequency[0]) < LEAST_OCTAVES:
        raise ValueError(f"the sweep covers less than {LEAST_OCTAVES:g} octaves")
    made = hypotheses or Hypotheses.of(kit, variant, frequency)
    if not np.array_equal(made.whole, frequency):
        raise ValueError("these hypotheses are of other frequencies than the sweep")
    prior = np.log([each.prior for each in made.all])
    said = readings_likelihood(kit, variant, [each.fault for each in made.all], readings)
    explained = made.explain(None if sweep is None else _log_impedance(made, sweep), prior + said)
    weight = prior + said + explained.evidence
    probability = np.exp(weight - weight.max())
    probability /= probability.sum()
    best = int(np.argmax(probability))
    curves = explained.curves()
    candidates = [
        Candidate(each.fault, float(p), curve) for each, p, curve in zip(made.all, probability, curves, strict=True)
    ]
    groups = [
        Group(tuple(candidates[h] for h in members), float(probability[members].sum()))
        for members in explained.groups(probability, said)
    ]
    misfit = explained.misfit(best)
    return Diagnosis(
        variant=variant.name,
        sweep=sweep,
        frequency=frequency,
        nominal=made.nominal(),
        right=curves[made.right],
        groups=tuple(sorted(groups, key=lambda group: -group.probability)),
        drivers=_drivers(variant, explained, best),
        misfit=misfit,
        unexplained=misfit > UNEXPLAINED,
        readings=tuple(readings),
    )


def _log_impedance(made: Hypotheses, sweep: Sweep) -> Complexes:
    """ln Z (F,) at the frequencies that are used; real without phase."""
    size = np.log(np.clip(sweep.magnitude, LEAST_OHM, MOST_OHM))
    whole = size if sweep.phase is None else size + 1j * sweep.phase
    return np.asarray(whole[made.chosen])


def _drivers(variant: Variant, explained: Explained, best: int) -> tuple[FittedDriver, ...]:
    """Each figure of each driver with its standard deviation, linear about the best fit."""
    u, covariance = explained.unknowns(best)
    layout = explained.made.layout
    found = []
    for name, hookup in variant.hookups.items():
        at = np.concatenate([u[None], u + SMALL * np.eye(u.size)])
        ratios = []
        for values in figures(layout, at, name, hookup.driver):
            slope = (values[1:] - values[0]) / SMALL
            ratios.append((float(values[0]), float(np.sqrt(slope @ covariance @ slope))))
        fs, qts, re = ratios
        moving = hookup.driver.small_signal is not None
        found.append(FittedDriver(name, fs if moving else None, qts if moving else None, re))
    return tuple(found)


def hidden(kit: Kit, variant: Variant) -> tuple[Fault, ...]:
    """Mistakes that a sweep of this variant is not expected to show, those that none can show among them.

    The right build explains a sweep of one, built to the drawing otherwise, so well that it stays the likelier.
    """
    made = Hypotheses.of(kit, variant, np.geomspace(*USUAL_FREQUENCY))
    return tuple(made.all[h].fault for h in made.hidden())
