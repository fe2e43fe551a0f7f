"""Measured tables as smooth complex functions of frequency: interpolation, continuation and minimum phase."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from system.kit import Table

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

# A closed-back driver's pressure falls at 12 dB an octave below the band its table covers: log-log slope 2.
SLOPE_BELOW_RESPONSE = 2.0


def impedance(table: Table, frequency: Floats) -> Complexes:
    """Complex impedance (F,) in ohm; beyond its ends the table's last values are held.

    Without a phase column the impedance is taken as minimum phase, which every passive impedance of a driver is.
    """
    return _complex(table, np.log(table.magnitude), frequency, slope_below=0.0)


def pressure(table: Table, frequency: Floats) -> Complexes:
    """Complex sound pressure (F,) in Pa rms at the table's own distance and volts, its delay removed.

    Below its first row the table continues with 12 dB an octave (a closed back), above its last row the level is
    held. Without a phase column the response is taken as minimum phase.
    """
    log_pressure = np.asarray(table.magnitude) * np.log(10) / 20 + np.log(20e-6)
    return _complex(table, log_pressure, frequency, slope_below=SLOPE_BELOW_RESPONSE)


def _complex(table: Table, log_magnitude: Floats, frequency: Floats, slope_below: float) -> Complexes:
    x, known = np.log(frequency), np.log(table.frequency)
    value = np.interp(x, known, log_magnitude) + slope_below * np.minimum(0.0, x - known[0])
    if table.phase is None:
        phase = minimum_phase(known, log_magnitude, x, slope_below)
    else:
        phase = np.interp(x, known, np.unwrap(table.phase))
        # what the continued slope adds to the phase is taken from the minimum-phase relation, zero at the first row
        if slope_below:
            below = x < known[0]
            shift = minimum_phase(known, log_magnitude, np.append(x[below], known[0]), slope_below)
            phase[below] += shift[:-1] - shift[-1]
    return np.asarray(np.exp(value + 1j * phase))


def minimum_phase(known: Floats, log_magnitude: Floats, x: Floats, slope_below: float = 0.0) -> Floats:
    """Phase (rad) at log frequencies `x` (F,) of the minimum-phase function with the given log magnitude.

    `known` (K,) are log frequencies, `log_magnitude` (K,) natural logs joined by straight lines, with `slope_below`
    before the first and a level line after the last. Bode (Network Analysis and Feedback Amplifier Design, 1945):
    phase(x) = 1/pi integral dA/du ln coth(|u - x|/2) du, exact here since dA/du is constant piece by piece.
    """
    slopes = np.concatenate([[slope_below], np.diff(log_magnitude) / np.diff(known), [0.0]])
    kernel = np.full((x.size, known.size + 2), np.pi**2 / 4)
    kernel[:, 0] *= -1
    kernel[:, 1:-1] = _kernel_integral(known[None, :] - x[:, None])
    return np.asarray(np.diff(kernel, axis=1) @ slopes / np.pi)


def _kernel_integral(u: Floats) -> Floats:
    """Integral of ln coth(|t|/2) from 0 to u: sign(u) (pi^2/4 - Li2(e^-|u|) + Li2(-e^-|u|))."""
    from scipy.special import spence  # takes an eighth of a second to load

    decay = np.exp(-np.abs(u))
    return np.asarray(np.sign(u) * (np.pi**2 / 4 - spence(1 - decay) + spence(1 + decay)))
