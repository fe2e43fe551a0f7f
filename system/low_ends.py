"""How low and how even many responses are at once: `system.summary.low_end` for the rows of a sweep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system.summary import RIPPLE_TOP

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class LowEnds:
    """Of C responses: reference level (dB), -3 dB point (Hz) and ripple (dB), each (C,); NaN where there is none."""

    reference: Floats
    minus_3: Floats
    ripple: Floats


def low_ends(frequency: Floats, decibels: Floats, band: tuple[float, float]) -> LowEnds:
    """Of levels (C, F) at `frequency` (F,); the rules are those of `system.summary.low_end`."""
    x = np.log(frequency)
    reference = _band_means(x, decibels, band)
    deviation = decibels - reference[:, None]
    start, stop = np.searchsorted(frequency, band[0]), np.searchsorted(frequency, band[1], side="right")
    rows = np.arange(len(decibels))
    above = deviation + 3
    up = above[:, start:stop] >= 0
    limit = start + up.argmax(axis=1)  # where the level first comes up to the mark inside the band
    below = (above < 0) & (np.arange(frequency.size) < limit[:, None])
    found = up.any(axis=1) & below.any(axis=1)
    last = np.where(found, frequency.size - 1 - below[:, ::-1].argmax(axis=1), 0)  # the last below
    here, there = above[rows, last], above[rows, last + 1]
    rise = np.where(found, there - here, 1.0)
    minus_3 = np.where(found, np.exp(x[last] - here * (x[last + 1] - x[last]) / rise), np.nan)
    first = np.searchsorted(frequency, 1.5 * np.where(found, minus_3, np.inf))
    top = np.searchsorted(frequency, RIPPLE_TOP, side="right")
    inside = np.arange(top) >= first[:, None]
    ripple = np.max(np.abs(deviation[:, :top]), axis=1, where=inside, initial=0.0)
    return LowEnds(reference, minus_3, np.where(inside.any(axis=1), ripple, np.nan))


def _band_means(x: Floats, decibels: Floats, band: tuple[float, float]) -> Floats:
    """The mean of the squared pressure over `band`, evenly in log frequency `x` (trapezia), in dB, (C,)."""
    low, high = np.log(band)
    inside = (x > low) & (x < high)
    places = np.concatenate([[low], x[inside], [high]])
    ends = [np.clip(np.searchsorted(x, end) - 1, 0, x.size - 2) for end in (low, high)]
    at_ends = [
        decibels[:, i] + (decibels[:, i + 1] - decibels[:, i]) * (end - x[i]) / (x[i + 1] - x[i])
        for i, end in zip(ends, (low, high), strict=True)
    ]
    levels = np.concatenate([at_ends[0][:, None], decibels[:, inside], at_ends[1][:, None]], axis=1)
    return np.asarray(10 * np.log10(np.trapezoid(10 ** (levels / 10), places, axis=1) / (places[-1] - places[0])))
