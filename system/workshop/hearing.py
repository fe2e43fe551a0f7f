"""What the ear makes of a level: the A weighting, and for how long a day it stands it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SAFE = 85.0  # dB(A), stood for SAFE_SECONDS a day by most (NIOSH 98-126, 1998, 1.1; from memory)
SAFE_SECONDS = 8 * 3600.0
EXCHANGE = 3.0  # dB, for which the time halves (the same)
_CORNERS = (20.598997, 107.65265, 737.86223, 12194.217)  # Hz, IEC 61672-1:2013, E.3 (from memory)


def a_weighting(frequency: Floats) -> Floats:
    """In dB at `frequency` (F,) Hz, 0 at 1 kHz. IEC 61672-1:2013, eq. (E.6), from memory."""
    return np.asarray(20 * np.log10(_gain(frequency) / _gain(np.array([1000.0]))))


def _gain(frequency: Floats) -> Floats:
    f1, f2, f3, f4 = (corner**2 for corner in _CORNERS)
    f = np.asarray(frequency, float) ** 2
    return np.asarray(f4 * f**2 / ((f + f1) * np.sqrt((f + f2) * (f + f3)) * (f + f4)))


def seconds_a_day(level: float) -> float:
    """For how long (s) a level (dB(A)) may be heard a day: 8 h at 85 dB(A), half of it for every 3 dB more.

    NIOSH 98-126 (1998), 1.1.2, T = 480/2^((L - 85)/3) minutes, from memory.
    """
    return float(SAFE_SECONDS / 2 ** ((level - SAFE) / EXCHANGE))
