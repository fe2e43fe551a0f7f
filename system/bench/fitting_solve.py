"""Weighted least squares of a driver model on the logarithm of a sweep, and what the residuals say of the errors.

The residual is ln Z modelled over measured: its real part is the level's and its imaginary part the phase's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from system.bench.fitting_models import Complexes, Floats, Model

_LOOKS = 25  # at the model, at most
_STRIDE = 1.5  # of a logarithm in one step
_RIDGE = 1e-4  # on the normal equations: a figure that the sweep does not tell stays where it is
_STUCK = 1e6  # damping beyond which no step makes it better
_WINDOW = 9  # points of the running median
_NORMAL = 1.4826  # sd of a normal law over its median deviation
_SPIKE = 6.0  # times the spread from the running median is an outlier
_LEAST_SPIKE = 0.05  # and at least 5 %
_MANY = 0.1  # of the points; so many are no outliers


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """What is fitted: `frequency` (N,) Hz, ln|Z| `level` (N,), `phase` (N,) rad or None."""

    frequency: Floats
    level: Floats
    phase: Floats | None

    def some(self, keep: NDArray[np.bool_]) -> Points:
        """Those where `keep` (N,) is true."""
        phase = None if self.phase is None else self.phase[keep]
        return Points(self.frequency[keep], self.level[keep], phase)

    def residual(self, impedance: Complexes) -> Floats:
        """(N, 1) or, with phase, (N, 2): what the model is above the sweep in ln|Z| and in phase."""
        level = np.log(np.abs(impedance)) - self.level
        if self.phase is None:
            return level[:, None]
        turn = np.angle(impedance) - self.phase
        return np.stack([level, (turn + np.pi) % (2 * np.pi) - np.pi], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """`unknowns` (P,); `residual` (N, 1 or 2) and its derivatives `slopes` (N, 1 or 2, P); `free` unknowns fitted."""

    model: Model
    unknowns: Floats
    impedance: Complexes
    residual: Floats
    slopes: Floats
    cost: float
    free: tuple[int, ...]


def solve(
    model: Model,
    points: Points,
    weights: Floats,
    start: Floats,
    held: Sequence[int] = (),
    robust: bool = False,
    tolerance: float = 1e-7,
) -> Solution:
    """The least sum of (weights residual)^2, `weights` (N, 1 or 2), from `start` (P,); `held` unknowns stay there.

    Marquardt's way (J. SIAM 11, 1963), with the unknowns kept inside the model's bounds. `robust` counts ln(1 + r^2)
    for r^2 (Cauchy's law), for a first look at a sweep with spikes. `tolerance` is relative, of the sum.
    """
    free = [i for i in range(len(start)) if i not in held]
    low, high = (end[free] for end in model.bounds)
    phased = points.phase is not None

    def at(part: Floats) -> Solution:
        unknowns = start.copy()
        unknowns[free] = part
        impedance, by = model.impedance(points.frequency, unknowns)
        ratio = by / impedance[:, None]  # of ln Z
        slopes = np.stack([ratio.real, ratio.imag], axis=1) if phased else ratio.real[:, None, :]
        residual = points.residual(impedance)
        square = (weights * residual) ** 2
        cost = float(np.sum(np.log1p(square) if robust else square))
        return Solution(model, unknowns, impedance, residual, slopes, cost, tuple(free))

    part = np.clip(start[free], low, high)
    here = at(part)
    damping = 1e-3
    for _ in range(_LOOKS):
        # the gradient of Cauchy's cost is that of squares under smaller weights
        times = weights / np.sqrt(1 + (weights * here.residual) ** 2) if robust else weights
        slopes = (times[..., None] * here.slopes[..., free]).reshape(-1, len(free))
        gradient = slopes.T @ (times * here.residual).ravel()
        normal = slopes.T @ slopes
        moves = ~(((part <= low) & (gradient > 0)) | ((part >= high) & (gradient < 0)))  # others lean on an end
        matrix = normal[np.ix_(moves, moves)]
        matrix += np.diag(damping * np.diag(matrix) + _RIDGE)
        step = np.zeros(len(part))
        step[moves] = np.linalg.solve(matrix, -gradient[moves])
        trial = np.clip(part + np.clip(step, -_STRIDE, _STRIDE), low, high)
        there = at(trial)
        if there.cost < here.cost:
            gained = here.cost - there.cost
            part, here, damping = trial, there, max(damping / 10, 1e-9)
            if gained < tolerance * here.cost:
                break
        else:
            damping *= 10
            if damping > _STUCK:
                break
    return here


def spikes(residual: Floats) -> NDArray[np.bool_]:
    """Points (N,) that stand out alone: 6 spreads and 5 % from the running median of `residual`; none where many do.

    Against the running median, so what a model misses over a wide band is no spike; the spread is that of the whole
    sweep or of the neighbours, whichever is more, so a noisy end is none either.
    """
    apart = residual - median_filter(residual, size=(_WINDOW, 1), mode="nearest")
    distance = np.sqrt(np.mean(apart**2, axis=1))
    near = median_filter(distance, size=3 * _WINDOW, mode="nearest")
    spread = _NORMAL * np.maximum(near, np.median(distance))
    out = distance > np.maximum(_SPIKE * spread, _LEAST_SPIKE)
    return np.asarray(out if np.mean(out) <= _MANY else np.zeros_like(out))
