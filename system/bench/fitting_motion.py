"""Where re, fs and the Qs of a sweep come from: the coil model that does best, or one with more freedom.

No lumped coil is a driver's, and a suspension creeps; a model that cannot follow either puts what is left into re and
the Qs (creep and eddy currents both look like dc resistance). So a model with creep, and one whose coil has all the kit
file's coils as special cases, are tried beside, and believed where they bring much.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from system.bench.fitting_errors import correlation_time, covariance, deviations, low_points, pull
from system.bench.fitting_first import Ready, any_coil_start, even, every_coil
from system.bench.fitting_models import ANY_COIL, MOTION, RE, RM, Floats, Model
from system.bench.fitting_scores import criterion, independent_values, scores
from system.bench.fitting_solve import Points, Solution, solve
from system.bench.fitting_values import ModelScore, Refused

_FREER = 10.0  # BIC that more freedom has to bring: very strong (Kass & Raftery, J. Am. Stat. Assoc. 90, 1995)
_SOME_CREEP = 0.01  # a decade: less is not worth a word
_ALIKE = 1.5  # tau up to which residuals count as white
_FINE = 1e-5  # tolerance of models that are compared
_CLOSE = 1.5  # times the least rms
_NEAR = 4.0  # times the least sum of squares: models above are out whatever the weights
_SCALED = (0.95, 1.06)  # re of the sweep over the reading: outside, one of the two has a wrong scale
_OTHER = 1.35  # times or a 1.35th: not the same driver
_NORMAL_95 = 1.959964  # of a normal law, two-sided 95 %
_MOTION = tuple(range(len(MOTION)))


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Every coil model at its best on the points kept, under the weights that the best one's residuals ask for."""

    points: Points
    weights: Floats
    found: Mapping[str, Solution]
    models: tuple[ModelScore, ...]

    @property
    def best(self) -> Solution:
        return self.found[self.models[0].name]


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """A solution with the covariance (P, P) of its unknowns; its residuals count for one in `tau` values."""

    solution: Solution
    covariance: Floats
    tau: float

    @property
    def freedom(self) -> float:
        """Degrees of freedom that its residuals leave."""
        return max(self.solution.residual.size / self.tau - len(self.solution.free), 2.0)

    @property
    def white(self) -> bool:
        """True where the residuals look like noise."""
        return self.tau <= _ALIKE


def search(ready: Ready, creep: bool) -> Search:
    """The fits of all coil models."""
    points = ready.points.some(ready.kept)
    found = every_coil(points, even(points), ready.law, creep)
    best = min(found.values(), key=lambda each: each.cost)
    weights = 1 / deviations(best)
    near = [name for name, each in found.items() if each.cost < _NEAR * best.cost]
    for name in near:
        found[name] = solve(found[name].model, points, weights, found[name].unknowns, tolerance=_FINE)
    models = scores(found, weights, points)
    name = models[0].name
    found[name] = solve(found[name].model, points, weights, found[name].unknowns)
    return Search(points, weights, found, models)


def judged(solution: Solution, weights: Floats) -> Judged:
    """With the covariance that its own residuals ask for."""
    tau = correlation_time(weights * solution.residual)
    return Judged(solution, covariance(solution, weights, math.sqrt(tau)), tau)


def holding(begin: Solution, around: Search, held: Sequence[int], values: Floats, spread: Floats) -> Judged:
    """The same model with `held` unknowns at `values`; their covariance `spread` (H, H) spreads to the others."""
    start = begin.unknowns.copy()
    start[list(held)] = values
    again = judged(solve(begin.model, around.points, around.weights, start, held), around.weights)
    slopes = pull(again.solution, around.weights, held)
    return replace(again, covariance=again.covariance + slopes @ spread @ slopes.T)


def motion(around: Search, creep: bool, notes: list[str]) -> Judged:
    """The best model's, or that of one with more freedom, with what the choice of the model adds to the covariance."""
    best = around.best
    own = judged(best, around.weights)
    freer = _freer(around, creep)
    count = independent_values(freer, around.weights)
    gain = criterion(best, around.weights, count) - criterion(freer, around.weights, count)
    if freer is best or gain <= _FREER:
        return _wider(own, around)
    of_creep = f"the suspension creeps, by {freer.unknowns[-1]:.2g} a decade were it in the model"
    of_coil = "no voice-coil model follows this coil closely"
    told = [of_creep] if not creep and freer.unknowns[-1] > _SOME_CREEP else []
    told += [of_coil] if freer.model.coil is ANY_COIL else []
    reason = " and ".join(told) or "the kit file's models miss the curve"
    notes.append(f"{reason}: re, fs and the Qs are from a fit with more freedom")
    return _wider(judged(freer, around.weights), around)


def _freer(around: Search, creep: bool) -> Solution:
    """Of the best model, that with creep and that with creep and any coil, the one with the best score."""
    best, points, weights = around.best, around.points, around.weights
    tries = [best]
    if not creep:
        tries.append(solve(replace(best.model, creep=True), points, weights, np.append(best.unknowns, 0.05)))
    last = tries[-1]
    if correlation_time(weights * last.residual) > 1:  # noise alone wants no other coil
        coil = any_coil_start(around.models[0].name, last.unknowns, points)
        start = np.concatenate([last.unknowns[: len(MOTION)], coil, last.unknowns[-1:]])
        tries.append(solve(Model(ANY_COIL, creep=True), points, weights, start))
    count = independent_values(min(tries, key=lambda each: each.cost), weights)
    return min(tries, key=lambda each: criterion(each, weights, count))


def _other_coils(around: Search, white: bool) -> Floats:
    """(4, 4): what re, fs and the Qs may be wrong by since another coil may be nearer to the true one.

    The squares of what another one changes, by its weight exp(-score/2) among the supported (Buckland, Burnham &
    Augustin, Biometrics 53, 1997, section 2: the variance between models). Where residuals are no noise the score does
    not tell which of two wrong models errs less in re: those within 1.5 times the least rms then count alike.
    """
    least = around.models[0].residual_rms
    alike = [score for score in around.models if score.residual_rms < _CLOSE * least]
    supported = [score for score in around.models if score.supported]
    counted = supported if white else alike
    weights = np.exp([-score.score / 2 if white else 0.0 for score in counted])
    best = around.best.unknowns[: len(MOTION)]
    changes = np.array([around.found[score.name].unknowns[: len(MOTION)] - best for score in counted])
    return np.asarray((changes.T * (weights / np.sum(weights))) @ changes)


def _wider(told: Judged, around: Search) -> Judged:
    """With what other coils change, and where residuals are no noise with what re may be wrong by.

    That is what the lowest points miss the curve by; the others go with re as the fit makes them.
    """
    wider = told.covariance.copy()
    wider[: len(MOTION), : len(MOTION)] += _other_coils(around, told.white)
    if not told.white:
        slopes = low_points(told.solution, around.points) * pull(told.solution, around.weights, (RE,))
        wider += slopes @ slopes.T
    return replace(told, covariance=wider)


def at_reading(told: Judged, around: Search, dc: float, error: float, notes: list[str]) -> tuple[Judged, Search]:
    """re held at a meter's reading; a sweep of another scale is brought to it first.

    Raises Refused where the two cannot be of one driver.
    """
    ratio = math.exp(told.solution.unknowns[RE]) / dc
    if not 1 / _OTHER < ratio < _OTHER:
        raise Refused(
            f"the sweep's own dc resistance is {ratio * dc:.3g} ohm and the reading is {dc:.3g} ohm: measure both "
            "again, of the same driver and with the leads zeroed"
        )
    begin = told.solution
    if not _SCALED[0] < ratio < _SCALED[1]:
        notes.append(
            f"the sweep's own dc resistance is {ratio * dc:.3g} ohm, {100 * (ratio - 1):+.0f} % from the reading: "
            "the sweep is scaled to the reading; check the scale of both"
        )
        around = replace(around, points=replace(around.points, level=around.points.level - math.log(ratio)))
        unknowns = begin.unknowns.copy()
        unknowns[[RE, RM]] -= math.log(ratio)
        begin = replace(begin, unknowns=unknowns)
    spread = np.array([[(error / _NORMAL_95) ** 2]])
    return holding(begin, around, (RE,), np.array([math.log(dc)]), spread), around


def with_coil(told: Judged, around: Search, name: str) -> Judged:
    """The model of the coil `name`, whose own parameters are fitted beside the motion that was found."""
    begin = around.found[name]
    if told.solution.model == begin.model:
        return told
    spread = told.covariance[: len(MOTION), : len(MOTION)]
    return holding(begin, around, _MOTION, told.solution.unknowns[: len(MOTION)], spread)
