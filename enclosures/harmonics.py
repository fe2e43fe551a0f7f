"""A signal as the amplitudes of its harmonics, as real numbers to solve for, and as samples over a period.

Amplitudes are peaks, a(t) = Re sum_k a_k e^{jkwt}, (..., K) over the multiples k of the fundamental w. As real numbers
they are all real parts, then all imaginary parts but that of k = 0, (..., P).
"""

from __future__ import annotations

import numpy as np

from enclosures.arrays import ComplexArray, RealArray


class Fourier:
    """The multiples k (K,), seen at N evenly spaced instants of a period.

    They are all whole, from 0 up, or all half-odd: those belong to signals that come back reversed after a period, and
    products of two of them to signals that come back.
    """

    def __init__(self, multiples: RealArray, instants: int) -> None:
        self.multiples = multiples
        self.lasting = int(multiples[0] == 0)  # how many amplitudes have no imaginary part
        angle = 2 * np.pi * np.outer(multiples, np.arange(instants)) / instants
        self._waves = np.concatenate([np.cos(angle), -np.sin(angle[self.lasting :])])  # (P, N): Re a e^{jkwt}
        weight = np.where(multiples > 0, 2.0, 1.0)[:, None] / instants
        self._analysis = (weight * np.exp(-1j * angle)).T  # (N, K)
        table = self._analysis.T[:, None, :] * self._waves  # (K, P, N)
        self._table = np.concatenate([table.real, table.imag]).reshape(-1, instants).T

    @property
    def identity(self) -> ComplexArray:
        """Amplitudes per real number, (K, P)."""
        one = np.eye(len(self.multiples), dtype=complex)
        return np.concatenate([one, 1j * one[:, self.lasting :]], axis=1)

    def real(self, amplitudes: ComplexArray) -> RealArray:
        """Real numbers (..., P) of amplitudes (..., K)."""
        return np.concatenate([amplitudes.real, amplitudes.imag[..., self.lasting :]], axis=-1)

    def complex(self, parts: RealArray) -> ComplexArray:
        """Amplitudes (..., K) of real numbers (..., P)."""
        size = len(self.multiples)
        amplitudes = parts[..., :size].astype(np.complex128)
        amplitudes[..., self.lasting :] += 1j * parts[..., size:]
        return amplitudes

    def rows(self, matrix: ComplexArray) -> RealArray:
        """`real` of the rows of a matrix, (..., P, M) from (..., K, M)."""
        return np.concatenate([matrix.real, matrix.imag[..., self.lasting :, :]], axis=-2)

    def samples(self, parts: RealArray) -> RealArray:
        """(..., N) of real numbers (..., P)."""
        return np.asarray(parts @ self._waves)

    def amplitudes(self, samples: RealArray) -> ComplexArray:
        """(..., K) of `samples` (..., N)."""
        return np.asarray(samples @ self._analysis)

    def product(self, samples: RealArray) -> ComplexArray:
        """Amplitudes of a signal times `samples` (B, N), per real number of the signal: (B, K, P)."""
        size = len(self.multiples)
        both = (samples @ self._table).reshape(-1, 2, size, 2 * size - self.lasting)
        return np.asarray(both[:, 0] + 1j * both[:, 1])
