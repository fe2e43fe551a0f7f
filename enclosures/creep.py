"""Creep of a suspension: it gives more the slower it is moved.

Knudsen & Jensen, J. Audio Eng. Soc. 41(1/2), 1993 (from memory): under a constant force the cone goes on moving with
the logarithm of time, so the compliance rises by `factor` a decade towards low frequencies, with a loss that goes with
it. Their full model has a corner above which the creep ends; without one it is their logarithmic model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from enclosures.arrays import ComplexArray, RealArray


@dataclass(frozen=True, slots=True)
class Creep:
    """`factor` (lambda, a pure number, 0 for none) and `corner` in Hz above which creep ends; None for no corner."""

    factor: float
    corner: float | None = None

    def __post_init__(self) -> None:
        """Raise ValueError unless the factor lies between 0 and 1 and the corner above zero."""
        if not 0 <= self.factor <= 1:
            raise ValueError(f"creep: factor must lie between 0 and 1, not {self.factor!r}")
        if self.corner is not None and not (math.isfinite(self.corner) and self.corner > 0):
            raise ValueError(f"creep: corner must be above zero, not {self.corner!r}")

    def compliance_ratio(self, frequency: RealArray, fs: float) -> ComplexArray:
        """Compliance (F,) over C0 at `frequency` (F,) in Hz; C0 is its real part at `fs` (Hz) where no corner is near.

        C/C0 = 1 - lambda log10(j f/fs) (Knudsen & Jensen 1993); with a corner fc the argument is divided by 1 + j f/fc,
        so that far above it C stays at C0 (1 - lambda log10(fc/fs)). Raises ValueError unless fs and every frequency
        are above zero, and where the compliance would come to nothing.
        """
        if not fs > 0 or np.any(frequency <= 0):
            raise ValueError("creep: fs and every frequency must be above zero")
        ratio: ComplexArray = 1 - self.factor * log_of(1j * frequency / fs)
        if self.corner is not None:
            ratio = ratio + self.factor * log_of(1 + 1j * frequency / self.corner)
        if np.any(ratio.real <= 0):
            raise ValueError("creep: so far above fs nothing is left of the compliance; give a corner")
        return ratio

    @property
    def loss(self) -> float:
        """What creep adds to 1/qms at fs, without a corner: Im(C0/C) = l/(1 + l^2) with l = lambda pi/(2 ln 10)."""
        part = self.factor * math.pi / 2 / math.log(10)
        return part / (1 + part**2)


def log_of(ratio: ComplexArray) -> ComplexArray:
    """log10 of a complex ratio, (F,) like it."""
    return np.asarray(np.log(ratio) / math.log(10))
