"""Single figures of a response: reference level, -3 and -10 dB points, ripple, rated impedance.

Levels are arrays (F,) in dB on a logarithmic frequency grid (F,) in Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

REFERENCE_PRESSURE = 20e-6  # Pa
SILENCE = 1e-25  # of the reference pressure
RATED_IMPEDANCES = (16.0, 8.0, 6.0, 4.0, 2.0)  # ohm, largest first
BAND = (300.0, 3000.0)  # Hz, of the reference level
WOOFER_BAND = (100.0, 400.0)  # where only woofers are hooked up
RIPPLE_TOP = 500.0  # Hz

# The summary has a grid of its own, whatever is asked of the prediction: 10 Hz to 20 kHz, 162 points an octave, since
# the ripples of a line are narrow.
GRID = np.geomspace(10.0, 20e3, 1777)


def level(pressure: NDArray[np.complexfloating]) -> Floats:
    """Sound pressure level in dB re 20 uPa of rms pressures of any shape; exact silence is -500 dB, not -infinity."""
    return np.asarray(20 * np.log10(np.maximum(np.abs(pressure) / REFERENCE_PRESSURE, SILENCE)))


@dataclass(frozen=True, slots=True)
class LowEnd:
    """How low and how even: `minus_3` and `minus_10` in Hz, None where the level never stays above; `ripple` in dB."""

    reference: float
    minus_3: float | None
    minus_10: float | None
    ripple: float | None


def low_end(frequency: Floats, decibels: Floats, band: tuple[float, float]) -> LowEnd:
    """Reference level over `band`, the points 3 and 10 dB below it, and the ripple above the former."""
    reference = band_mean(frequency, decibels, band)
    minus_3 = lowest_above(frequency, decibels - (reference - 3), band)
    minus_10 = lowest_above(frequency, decibels - (reference - 10), band)
    return LowEnd(reference, minus_3, minus_10, _ripple(frequency, decibels - reference, minus_3))


def band_mean(frequency: Floats, decibels: Floats, band: tuple[float, float]) -> float:
    """The mean of the squared pressure over `band`, evenly in log frequency (trapezia), in dB."""
    inside = (frequency > band[0]) & (frequency < band[1])
    x = np.log(np.concatenate([band[:1], frequency[inside], band[1:]]))
    squared = 10 ** (np.interp(x, np.log(frequency), decibels) / 10)
    return float(10 * np.log10(np.trapezoid(squared, x) / (x[-1] - x[0])))


def lowest_above(frequency: Floats, above: Floats, band: tuple[float, float]) -> float | None:
    """The lowest frequency from which `above` (F,) stays positive up to the reference band, in Hz.

    Seen from the lower end of the band, or from where the level first comes up to the mark inside it, so that a dip
    at a crossover point is not taken for the bass. None where it never comes up, or where it is still up at the
    lowest frequency of the grid.
    """
    start = int(np.searchsorted(frequency, band[0]))
    stop = int(np.searchsorted(frequency, band[1], side="right"))
    up = np.flatnonzero(above[start:stop] >= 0)
    if up.size == 0:
        return None
    below = np.flatnonzero(above[: start + up[0]] < 0)
    if below.size == 0:
        return None
    i = below[-1]  # the last below, so the next is not: the difference is above zero
    x = np.log(frequency[i : i + 2])
    return float(np.exp(x[0] - above[i] * (x[1] - x[0]) / (above[i + 1] - above[i])))


def _ripple(frequency: Floats, deviation: Floats, minus_3: float | None) -> float | None:
    """The largest rise or fall about the reference from 1.5 times the -3 dB point to 500 Hz, in dB."""
    if minus_3 is None:
        return None
    inside = (frequency >= 1.5 * minus_3) & (frequency <= RIPPLE_TOP)
    return float(np.max(np.abs(deviation[inside]))) if inside.any() else None


def rated_impedance(lowest: float) -> float | None:
    """The largest of 2, 4, 6, 8, 16 ohm of which `lowest` is at least 80 % (IEC 60268-5); None below 1.6 ohm."""
    return next((rated for rated in RATED_IMPEDANCES if lowest >= 0.8 * rated), None)
