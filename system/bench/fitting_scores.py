"""Which voice-coil model a sweep supports.

The score is Schwarz's criterion (Ann. Statist. 6, 1978), n ln(chi2) + k ln n, with n the independent values that the
residuals of the best model count for (`fitting_errors`), less the best one's score. A model within 6 of the best is
supported: 6 is strong evidence against what is worse (Kass & Raftery, J. Am. Stat. Assoc. 90, 1995, section 4.1).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from system.bench.fitting_errors import correlation_time
from system.bench.fitting_models import COILS, MOTION, Floats
from system.bench.fitting_solve import Points, Solution
from system.bench.fitting_values import ModelScore

STRONG = 6.0
_COIL_SEEN = 0.7  # |coil| over re at the upper end; with less the models look alike


def squares(solution: Solution, weights: Floats) -> float:
    """Sum of the weighted squares of the residuals."""
    return float(np.sum((weights * solution.residual) ** 2))


def criterion(solution: Solution, weights: Floats, independent: float) -> float:
    """n ln(chi2) + k ln n."""
    count = max(independent, len(solution.free) + 1.0)
    return count * math.log(max(squares(solution, weights), 1e-300)) + len(solution.free) * math.log(count)


def independent_values(solution: Solution, weights: Floats) -> float:
    """N/tau: for how many values the residuals count."""
    return solution.residual.size / correlation_time(weights * solution.residual)


def scores(found: Mapping[str, Solution], weights: Floats, points: Points) -> tuple[ModelScore, ...]:
    """Every model's score, the best first."""
    closest = min(found.values(), key=lambda each: squares(each, weights))
    independent = independent_values(closest, weights)
    plain = {name: criterion(each, weights, independent) for name, each in found.items()}
    order = sorted(found, key=lambda name: plain[name])
    best = order[0]
    rms = {name: float(np.sqrt(np.mean(np.sum(each.residual**2, axis=1)))) for name, each in found.items()}
    short = _too_short(found[best], points, plain)

    def why(name: str) -> str:
        if short:
            return f"the sweep ends at {points.frequency[-1]:.3g} Hz: nothing above tells models apart"
        if name == best:
            return "no other follows the curve better for its number of figures"
        if plain[name] - plain[best] < STRONG:
            return f"as good as {best} within what the sweep tells"
        if rms[name] < 1.02 * rms[best] and len(COILS[name].keys) > len(COILS[best].keys):
            return f"no closer than {best}, which has fewer figures"
        return f"misses the curve by {100 * rms[name]:.3g} %, {best} by {100 * rms[best]:.3g} %"

    return tuple(
        ModelScore(name, rms[name], plain[name] - plain[best], plain[name] - plain[best] < STRONG, why(name))
        for name in order
    )


def _too_short(best: Solution, points: Points, plain: Mapping[str, float]) -> bool:
    omega = 2j * math.pi * points.frequency[-1:]
    coil = best.model.coil
    values = np.exp(best.unknowns[len(MOTION) : len(MOTION) + len(coil.keys)])
    seen = float(np.abs(coil.function(omega, values)[0][0])) / math.exp(best.unknowns[0])
    tied = sum(score - min(plain.values()) < STRONG for score in plain.values())
    return seen < _COIL_SEEN and tied > 1
