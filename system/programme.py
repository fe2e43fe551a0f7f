"""The signal's long-term spectrum: how a programme's power is shared out over frequency, and the receiver's high-pass.

All spectra are stated as band levels (equal bandwidth on a logarithmic axis), so "flat" is pink noise.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from system.kit import HIGHEST_OF_PROGRAMME, HighPass, Programme

Floats = NDArray[np.float64]

# One-way peak of the excursion over its rms on a noise-like programme. A cone is a low-pass: noise clipped to a low
# crest factor in voltage comes back to about four in excursion (computed; tests/test_programme.py does it again).
EXCURSION_CREST = 4.0


def pink(frequency: Floats) -> Floats:
    """Equal power in every third octave."""
    return np.ones_like(frequency)


def simulated_programme(frequency: Floats) -> Floats:
    """The simulated programme spectrum of IEC 60268-1 as real poles, relative band power (F,).

    Three high-pass poles at 13.3, 34.7 and 34.7 Hz and two low-pass poles at 3886 and 9403 Hz follow the standard's
    third-octave table (quoted from memory, +-0.5 dB) within 0.11 dB.
    """
    power = np.full_like(frequency, 10 ** (0.19 / 10))
    for corner in (13.3, 34.7, 34.7):
        power /= 1 + (corner / frequency) ** 2
    for corner in (3886.0, 9403.0):
        power /= 1 + (frequency / corner) ** 2
    return power


def bass_heavy(frequency: Floats) -> Floats:
    """Our own stated spectrum: flat from 25 to 100 Hz, nothing below, falling 6 dB an octave above."""
    return np.where(frequency < 25.0, 0.0, np.minimum(1.0, (100.0 / frequency) ** 2))


SPECTRA: dict[str, Callable[[Floats], Floats]] = {"pink": pink, "iec": simulated_programme, "bass_heavy": bass_heavy}


def band_power(programme: Programme, frequency: Floats) -> Floats:
    """Relative band power (F,) of a programme at `frequency` (F,), Hz; a table's levels are joined in log frequency."""
    if programme.table is not None:
        return _tabulated(programme, frequency)
    return SPECTRA[programme.spectrum](frequency)


def _tabulated(programme: Programme, frequency: Floats) -> Floats:
    table = programme.table
    assert table is not None
    level = np.interp(np.log(frequency), np.log(table.frequency), table.magnitude)
    inside = (frequency >= table.frequency[0]) & (frequency <= table.frequency[-1])
    return np.where(inside, 10 ** (level / 10), 0.0)


def power_shares(programme: Programme, frequency: Floats) -> Floats:
    """The share of the programme's mean square voltage in each cell of a logarithmic grid, (F,), adding up to 1.

    Cells reach halfway (in log frequency) to their neighbours. What lies below `programme.lowest` or above 20 kHz has
    no share: the programme is normalised over its own band, before any receiver high-pass.
    """
    edges = np.log(frequency)
    edges = np.concatenate([edges[:1], (edges[1:] + edges[:-1]) / 2, edges[-1:]])
    edges = np.clip(edges, np.log(programme.lowest), np.log(HIGHEST_OF_PROGRAMME))
    power = band_power(programme, frequency) * np.diff(edges)
    total = float(np.sum(power))
    if total <= 0:
        raise ValueError(f"the programme has no power between {programme.lowest:g} Hz and 20 kHz")
    return np.asarray(power / total)


def high_pass_gain(high_pass: HighPass | None, frequency: Floats) -> Floats:
    """Voltage gain (F,) of the receiver's Butterworth high-pass, |H| = 1/sqrt(1 + (fc/f)^(2n)); ones without one."""
    if high_pass is None:
        return np.ones_like(frequency)
    return np.asarray(1 / np.sqrt(1 + (high_pass.corner / frequency) ** (2 * high_pass.order)))
