"""Rational functions of s that follow given values on the j omega axis, for circuits without an exact equivalent.

`vector_fit` finds poles common to any number of responses (Gustavsen & Semlyen, IEEE Trans. Power Delivery 14, 1999, in
the relaxed form of Gustavsen, ibid. 21, 2006, with the responses compressed one by one as in Deschrijver, Mrozowski,
Dhaene & De Zutter, IEEE Microw. Wireless Compon. Lett. 18, 2008). `positive_sum` finds weights, none negative, of given
functions: passive by construction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from filters.parts import Complexes, Floats

ITERATIONS = 8


@dataclass(frozen=True, slots=True, eq=False)
class Rational:
    """H(s) = constant + slope s + sum residues/(s - poles), for responses of any shape `...`.

    Poles are real, or come with the conjugate they stand for: `poles` (P,) has only those with an imaginary part of
    at least zero. All have a negative real part.
    """

    poles: Complexes  # (P,) rad/s
    residues: Complexes  # (P, ...)
    constant: Floats  # (...)
    slope: Floats  # (...)

    def __call__(self, omega: Floats) -> Complexes:
        """(F, ...) at `omega` (F,) in rad/s."""
        s = 1j * omega
        terms = 1 / (s[:, None] - self.poles)
        mirrored = np.where(self.poles.imag > 0, 1 / (s[:, None] - self.poles.conj()), 0)
        total = np.tensordot(terms, self.residues, 1) + np.tensordot(mirrored, self.residues.conj(), 1)
        return np.asarray(total + self.constant + np.multiply.outer(s, self.slope))


def vector_fit(
    omega: Floats, values: Complexes, order: int, weights: Floats | None = None, ends: bool = True
) -> Rational:
    """A rational function with `order` poles common to all responses `values` (F, ...) at `omega` (F,) rad/s.

    `weights` (F, ...) say how much an error counts, by default the inverse of the value. With `ends` there is a
    constant and a term in s; without, the function vanishes at high frequency.
    """
    flat = values.reshape(omega.size, -1)
    weight = 1 / np.abs(flat) if weights is None else weights.reshape(flat.shape)
    scale = float(np.sqrt(omega[0] * omega[-1]))  # keeps the numbers near one
    s = 1j * omega / scale
    poles = _start(omega / scale, order)
    for _ in range(ITERATIONS):
        poles = _relocated(s, flat, weight, poles, ends)
    basis = np.concatenate([_basis(s, poles), _ends(s)], axis=1) if ends else _basis(s, poles)
    each = [_least_squares(w[:, None] * basis, w * h) for w, h in zip(weight.T, flat.T, strict=True)]
    found: Floats = np.stack(each)
    shape = values.shape[1:]
    number = _size(poles)
    residues = _complex_coefficients(found[:, :number].T, poles)
    tail = found[:, number:] if ends else np.zeros((flat.shape[1], 2))
    return Rational(
        poles=poles * scale,
        residues=(residues * scale).reshape(-1, *shape),
        constant=tail[:, 0].reshape(shape),
        slope=(tail[:, 1] / scale).reshape(shape),
    )


def fit_within(
    tolerance: float,
    orders: Iterable[int],
    fit: Callable[[int], Rational],
    error: Callable[[Rational], float],
) -> tuple[Rational, float]:
    """The first of `orders` whose fit has an error of at most `tolerance`, else the best of them; and its error."""
    best: tuple[Rational, float] | None = None
    for order in orders:
        candidate = fit(order)
        found = error(candidate)
        if best is None or found < best[1]:
            best = (candidate, found)
        if found <= tolerance:
            break
    if best is None:
        raise ValueError("rational fit: no order to try")
    return best


def positive_sum(functions: Complexes, target: Complexes) -> Floats:
    """Weights (K,), none negative, of `functions` (F, K) whose sum follows `target` (F,) with the least relative error.

    Non-negative least squares (Lawson & Hanson, Solving Least Squares Problems, 1974).
    """
    from scipy.optimize import nnls  # slow to import

    relative = functions / target[:, None]
    rows = np.concatenate([relative.real, relative.imag])
    goal = np.concatenate([np.ones(target.size), np.zeros(target.size)])
    size = np.linalg.norm(rows, axis=0)
    weights, _ = nnls(rows / size, goal, maxiter=50 * functions.shape[1])
    return np.asarray(weights / size)


def _start(omega: Floats, order: int) -> Complexes:
    """Pairs of poles spread over the band, weakly damped, as Gustavsen & Semlyen recommend; a real one if odd."""
    imaginary = np.geomspace(omega[0], omega[-1], order // 2)
    real = [-float(np.sqrt(omega[0] * omega[-1]))] if order % 2 else []
    return np.concatenate([np.array(real, complex), (-0.01 + 1j) * imaginary])


def _size(poles: Complexes) -> int:
    return int(np.sum(poles.imag == 0) + 2 * np.sum(poles.imag > 0))


def _basis(s: Complexes, poles: Complexes) -> Complexes:
    """Functions with real coefficients (F, size): 1/(s - p), or of a pair the sum and j times the difference."""
    columns = []
    for p in poles:
        if p.imag == 0:
            columns.append(1 / (s - p))
        else:
            one, other = 1 / (s - p), 1 / (s - p.conjugate())
            columns += [one + other, 1j * (one - other)]
    return np.stack(columns, axis=1)


def _ends(s: Complexes) -> Complexes:
    return np.stack([np.ones_like(s), s], axis=1)


def _complex_coefficients(real: Floats, poles: Complexes) -> Complexes:
    """Residues (P, R) from the coefficients (size, R) of `_basis`."""
    rows, i = [], 0
    for p in poles:
        if p.imag == 0:
            rows.append(real[i] + 0j)
            i += 1
        else:
            rows.append(real[i] + 1j * real[i + 1])
            i += 2
    return np.stack(rows)


def _relocated(s: Complexes, flat: Complexes, weight: Floats, poles: Complexes, ends: bool) -> Complexes:
    """One step of vector fitting: the zeros of sigma, where sigma H = the numerator, are better poles.

    For each response the unknowns of its own numerator are eliminated by QR; what remains couples only the
    coefficients of sigma = sum c_k basis_k + d.
    """
    basis = _basis(s, poles)
    own = np.concatenate([basis, _ends(s)], axis=1) if ends else basis
    sigma = np.concatenate([basis, np.ones((s.size, 1))], axis=1)
    size = sigma.shape[1]
    blocks = []
    for w, h in zip(weight.T, flat.T, strict=True):
        rows = w[:, None] * np.concatenate([own, -h[:, None] * sigma], axis=1)
        upper = np.asarray(np.linalg.qr(np.concatenate([rows.real, rows.imag]), mode="r"))
        blocks.append(upper[own.shape[1] : own.shape[1] + size, own.shape[1] :])
    # relaxation: the mean of Re sigma over the band is one, instead of d = 1
    level = np.sqrt(np.sum(np.abs(weight * flat) ** 2)) / s.size
    rows = np.concatenate([*blocks, level * sigma.real.sum(axis=0)[None, :]])
    goal = np.zeros(len(rows))
    goal[-1] = level * s.size
    coefficients = _real_least_squares(rows, goal)
    c, d = coefficients[:-1], coefficients[-1]
    if abs(d) < 1e-8:
        d = np.copysign(1e-8, d)
    matrix, vector = _state_matrix(poles)
    found = np.linalg.eigvals(matrix - np.outer(vector, c) / d)
    found = -np.abs(found.real) + 1j * found.imag  # a pole on the right is mirrored
    near_axis = np.abs(found.imag) < 1e-12 * np.abs(found)
    upper_half = found[(found.imag > 0) & ~near_axis]
    return np.concatenate([found[near_axis].real + 0j, upper_half[np.argsort(upper_half.imag)]])


def _state_matrix(poles: Complexes) -> tuple[Floats, Floats]:
    """Real state matrix and input vector of `_basis`."""
    size = _size(poles)
    matrix, vector = np.zeros((size, size)), np.zeros(size)
    i = 0
    for p in poles:
        if p.imag == 0:
            matrix[i, i], vector[i] = p.real, 1
            i += 1
        else:
            matrix[i : i + 2, i : i + 2] = [[p.real, p.imag], [-p.imag, p.real]]
            vector[i] = 2
            i += 2
    return matrix, vector


def _least_squares(rows: Complexes, goal: Complexes) -> Floats:
    return _real_least_squares(np.concatenate([rows.real, rows.imag]), np.concatenate([goal.real, goal.imag]))


def _real_least_squares(rows: Floats, goal: Floats) -> Floats:
    size = np.linalg.norm(rows, axis=0)
    size = np.where(size > 0, size, 1)
    return np.asarray(np.linalg.lstsq(rows / size, goal, rcond=1e-14)[0] / size)
