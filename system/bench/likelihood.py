"""How well a model explains a sweep whatever its unknowns are: the best fit, and the evidence about it.

A hypothesis has unknowns u, standard normal before anything is measured, and a curve m(u). With data d, residual
r = d - m(u) and covariance K of the model's own error and the noise, u is fitted where

    phi(u) = r' K^-1 r/2 + u'u/2

is least, by Gauss and Newton's steps; Laplace's approximation about it (MacKay, Information Theory, Inference, and
Learning Algorithms, 2003, chapter 27 and 28.1, from memory) gives the evidence

    ln p(d) = -phi - ln det(1 + J' K^-1 J)/2 + what all hypotheses share,

J = dm/du. The data are ln|Z| and, where it was measured, the angle of Z, each with the same kind of error: a smooth
one of the model, alike within part of an octave, and white noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

# The model's error and the noise, rms of ln|Z| and of the angle (rad): what is usual, and what else is tried, with
# ln(prior) of each; common practice, no source.
FLOORS = {0.03: 0.0, 0.022: -0.5, 0.045: -0.5, 0.07: -1.5}
NOISES = {0.01: 0.0, 0.004: -0.5, 0.025: -0.5}
ALIKE = 0.35  # octaves over which the model's error is alike
STEP = 0.1  # standard deviations, of differences
STEPS = np.array([1.0, 0.5, 0.2, 0.05])
ROUNDS = 6
ENOUGH = 0.05  # phi that another round must gain


@dataclass(frozen=True, slots=True)
class Error:
    """How far curves may be off: the model's smooth error and the noise, rms; whether there are angles."""

    floor: float
    noise: float
    angle: bool

    @classmethod
    def usual(cls, angle: bool) -> Error:
        return cls(next(iter(FLOORS)), next(iter(NOISES)), angle)


@dataclass(frozen=True, slots=True, eq=False)
class Whitening:
    """The inverse (F, F) of the covariance's Cholesky factor, by which residuals become white."""

    error: Error
    factor: Floats
    logdet: float  # of the whole covariance

    @classmethod
    def of(cls, frequency: Floats, error: Error) -> Whitening:
        """At `frequency` (F,) Hz."""
        octaves = np.abs(np.log2(frequency[:, None] / frequency))
        # Matern's covariance of order 3/2 (Rasmussen & Williams, Gaussian Processes, 2006, equation 4.17)
        near = np.sqrt(3) * octaves / ALIKE
        smooth = error.floor**2 * (1 + near) * np.exp(-near)
        factor = np.linalg.cholesky(smooth + error.noise**2 * np.eye(frequency.size))
        logdet = 2 * float(np.sum(np.log(np.diag(factor)))) * (2 if error.angle else 1)
        return cls(error, solve_triangular(factor, np.eye(frequency.size), lower=True), logdet)

    def __call__(self, difference: Complexes) -> Floats:
        """White residuals (..., D) of differences of ln Z (..., F); angles beyond half a turn come back round."""
        size = difference.real @ self.factor.T
        if not self.error.angle:
            return size
        turn = np.angle(np.exp(1j * difference.imag))
        return np.concatenate([size, turn @ self.factor.T], axis=-1)


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """A hypothesis fitted to a sweep: unknowns `u` (P,) with their `covariance` (P, P), and its log `evidence`.

    `curve` is ln Z (F,) and `bare` (A, F) its slope over the `columns` (A,) that matter; `slope` (A, D) and
    `residual` (D,) are white.
    """

    u: Floats
    covariance: Floats
    curve: Complexes
    columns: NDArray[np.intp]
    bare: Complexes
    slope: Floats
    residual: Floats
    evidence: float

    @property
    def phi(self) -> float:
        return float(self.residual @ self.residual + self.u @ self.u) / 2


def fit(
    model: Callable[[Floats], Complexes], data: Complexes, white: Whitening, start: Floats, active: NDArray[np.bool_]
) -> Fitted:
    """Fit `model`, which takes unknowns (B, P) to ln Z (B, F), to `data` (F,) from `start` (P,)."""
    columns = np.flatnonzero(active)
    push = np.zeros((columns.size, start.size))
    push[np.arange(columns.size), columns] = STEP
    u = start
    for left in reversed(range(ROUNDS)):
        curves = model(np.concatenate([u[None], u + push]))
        residual = white(data - curves[0])
        slope = white(curves[1:] - curves[0]) / STEP
        best = float(residual @ residual + u @ u) / 2
        normal = np.eye(columns.size) + slope @ slope.T
        step = np.zeros_like(u)
        step[columns] = np.linalg.solve(normal, slope @ residual - u[columns])
        tries = u + STEPS[:, None] * step
        tried = white(data - model(tries))
        phi = (np.sum(tried**2, axis=1) + np.sum(tries**2, axis=1)) / 2
        first = int(np.argmin(phi))
        if phi[first] > best - ENOUGH or not left:
            break
        u = tries[first]
    covariance = np.zeros((u.size, u.size))
    covariance[np.ix_(columns, columns)] = np.linalg.inv(normal)
    evidence = -best - np.linalg.slogdet(normal)[1] / 2
    return Fitted(u, covariance, curves[0], columns, (curves[1:] - curves[0]) / STEP, slope, residual, float(evidence))


def likely_error(frequency: Floats, data: Complexes, fitted: Fitted) -> Error:
    """The model's error and the noise that make `data` (F,) most likely under a hypothesis that was `fitted` to them.

    The evidence over both, the fit moved along its slopes, with what each is before anything is measured.
    """
    angle = bool(np.iscomplexobj(data))
    u = fitted.u[fitted.columns]
    found: dict[Error, float] = {}
    for (floor, of_floor), (noise, of_noise) in product(FLOORS.items(), NOISES.items()):
        error = Error(floor, noise, angle)
        white = Whitening.of(frequency, error)
        residual, slope = white(data - fitted.curve), white(fitted.bare)
        normal = np.eye(u.size) + slope @ slope.T
        pull = slope @ residual - u
        phi = (residual @ residual + u @ u - pull @ np.linalg.solve(normal, pull)) / 2
        found[error] = of_floor + of_noise - phi - (np.linalg.slogdet(normal)[1] + white.logdet) / 2
    return max(found, key=lambda each: found[each])
