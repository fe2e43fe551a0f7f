"""What residuals say of errors: how large they are, where they are larger, and for how many points they count.

The residuals of a real driver are no noise: neighbours miss the sweep alike, because no lumped model is the driver.
They are counted as N/tau independent values, tau = 1 + 2 (rho_1 + rho_2 + ...) the integrated autocorrelation over
the points in their order (Priestley, Spectral Analysis and Time Series, 1981, section 5.3, from memory), summed while
rho_k is above 2/sqrt(N), what white residuals stay below. Intervals are sqrt(tau) times as wide as those of white ones,
with Student's t of the degrees of freedom left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import stdtrit

from system.bench.fitting_models import FS, RE, Floats
from system.bench.fitting_solve import Points, Solution

_BAND = 8  # points at least of a band
_BANDS = 12  # at most
_LOUD = 2.5  # times the median band's rms: so much is no chance (chi square of 8: 4e-8)
_LEAST = 1e-6  # relative error that no sweep is better than
_LOW = 0.1  # of ln|Z|
_ROUNDING = 1e-11  # of normal equations scaled to ones on the diagonal
_PRIOR = 3.0  # sd of a logarithm that the sweep does not tell: it is somewhere within some factors of 20


def deviations(solution: Solution) -> Floats:
    """Standard deviation (N, 1 or 2) of each residual: one for level, one for phase, more in bands that miss more."""
    square = solution.residual**2
    freedom = 1 - len(solution.free) / square.size
    bands = np.array_split(np.arange(len(square)), min(_BANDS, max(1, len(square) // _BAND)))
    rms = np.sqrt([np.mean(square[band], axis=0) for band in bands])
    typical = np.median(rms, axis=0)
    factor = np.where(rms > _LOUD * typical, rms / np.maximum(typical, _LEAST), 1.0)
    times = np.concatenate([np.tile(each, (len(band), 1)) for each, band in zip(factor, bands, strict=True)])
    return np.asarray(times * np.maximum(np.sqrt(np.mean(square / times**2, axis=0) / freedom), _LEAST))


def correlation_time(residual: Floats) -> float:
    """tau of `residual` (N, 1 or 2), at least 1: over how many neighbours they are alike."""
    centred = residual / np.maximum(np.sqrt(np.mean(residual**2, axis=0)), 1e-300)
    count = len(centred)
    bound = 2 / math.sqrt(centred.size)
    tau = 1.0
    for lag in range(1, count // 3):
        rho = float(np.mean(np.sum(centred[lag:] * centred[:-lag], axis=0))) / count
        if rho <= bound:
            break
        tau += 2 * rho
    return tau


def quantile(freedom: float) -> float:
    """Of Student's t, two-sided 95 %."""
    return float(stdtrit(max(freedom, 1.0), 0.975))


def covariance(solution: Solution, weights: Floats, inflation: float) -> Floats:
    """(P, P) of the unknowns that were fitted; rows of those held are zero."""
    free = list(solution.free)
    slopes, scale = _scaled(solution, weights)
    found = np.zeros((len(scale), len(scale)))
    inverse = cho_solve(_factor(slopes, scale, free), np.eye(len(free)))
    found[np.ix_(free, free)] = inflation**2 * inverse / np.outer(scale[free], scale[free])
    return found


def pull(solution: Solution, weights: Floats, held: Sequence[int]) -> Floats:
    """(P, H): how far every unknown goes with each of the `held` ones while the others are fitted anew."""
    others = [i for i in solution.free if i not in held]
    slopes, scale = _scaled(solution, weights)
    found = np.zeros((len(scale), len(held)))
    found[list(held)] = np.eye(len(held))
    moved = -cho_solve(_factor(slopes, scale, others), slopes[:, others].T @ slopes[:, list(held)])
    found[others] = moved * scale[list(held)] / scale[others][:, None]
    return found


def _scaled(solution: Solution, weights: Floats) -> tuple[Floats, Floats]:
    slopes = (weights[..., None] * solution.slopes).reshape(-1, len(solution.unknowns))
    scale = np.sqrt(np.maximum(np.sum(slopes**2, axis=0), _LEAST**2))
    return slopes / scale, scale


def _factor(slopes: Floats, scale: Floats, which: Sequence[int]) -> tuple[Floats, bool]:
    part = slopes[:, list(which)]
    prior = 1 / (_PRIOR * scale[list(which)]) ** 2
    factor, lower = cho_factor(part.T @ part + np.diag(prior + _ROUNDING))
    return factor, lower


def low_points(solution: Solution, points: Points) -> float:
    """By how much re may be wrong since the lowest points miss the curve: relative, the larger of both sides of fs.

    The lowest |Z| are those within 10 % of the least, below the resonance or in the trough above it. Noise of single
    points is no such miss: what is told is the mean of a side of at least 3 points.
    """
    lowest = points.level < float(np.min(points.level)) + _LOW
    fs = math.exp(solution.unknowns[FS])
    worst = 0.0
    for side in (points.frequency < fs, points.frequency >= fs):
        here = lowest & side
        if here.sum() >= 3:
            over = math.exp(float(np.mean(points.level[here])) - float(solution.unknowns[RE]))
            worst = max(worst, abs(float(np.mean(solution.residual[here, 0]))) * over)
    return worst
