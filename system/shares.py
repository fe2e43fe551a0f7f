"""How many of drawn copies keep something, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LIKELY = 1.959963984540054  # standard deviations to either side that hold 95 % of a normal law


@dataclass(frozen=True, slots=True)
class Share:
    """How many `copies` keep something, and between what shares the true one lies with 95 %.

    The interval is Wilson's (J. Am. Stat. Assoc. 22, 1927): where the observed share is LIKELY standard deviations
    from the true one.
    """

    keep: int
    copies: int

    @classmethod
    def of(cls, kept: NDArray[np.bool_]) -> Share:
        return cls(int(np.count_nonzero(kept)), kept.size)

    @property
    def value(self) -> float:
        return self.keep / self.copies

    @property
    def interval(self) -> tuple[float, float]:
        n, p, z = self.copies, self.value, LIKELY
        middle = (p + z**2 / (2 * n)) / (1 + z**2 / n)
        half = z / (1 + z**2 / n) * math.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
        # the ends of what all or none keep are exact, and rounding is not to take that from them
        low = 0.0 if self.keep == 0 else max(0.0, middle - half)
        high = 1.0 if self.keep == n else min(1.0, middle + half)
        return low, high
