"""When what is played arrives: the group delay, and the response to a step of voltage.

Both are of the complex response at the listening point, with the delay of the listening distance taken out: zero is
when sound from the place where the listening axis begins arrives. Group delay is -d phase / d omega. The step response
is the inverse Fourier transform of the response over j omega, band-limited: as it is up to 10 kHz, faded out with half
a cosine from there to 20 kHz, which leaves the phase alone and so rounds the edges evenly to both sides (0.03 ms from a
tenth to nine tenths). Below 1 Hz the response is taken to fall in proportion to frequency.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from enclosures.interpolation import cubic_spline
from system import summary
from system.build import Build
from system.predict import flows, opening_specs, pressure
from system.transfer import Transfer, transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

ASIDE = 2.0 ** (1 / 192)  # to either side of a frequency: the phase is read over a ninety-sixth of an octave
LOWEST = 1.0  # Hz, from where the step's response is worked out
FADE = (10e3, 20e3)  # Hz
RESOLUTION = 0.5  # Hz: whatever rings is to have died away within the 2 s that belong to it
SAMPLES = 100_000  # of those 2 s, 0.02 ms each
FINE = 20.0  # Hz, between the highest points: what comes 8 ms late turns by a radian from one to the next
SHOWN = (-1e-3, 12e-3)  # s


@dataclass(frozen=True, slots=True, eq=False)
class Timing:
    """`group_delay` (F,) in s, NaN where nothing is heard; what arrives at `moments` (T,) in s of a step of `volts`.

    `step` (T,) in Pa is of all together, leaks included, `parts` (T,) by driver and opening.
    """

    volts: float
    group_delay: Floats
    moments: Floats
    step: Floats
    parts: Mapping[str, Floats]


def timing(model: Build, frequency: Floats, swept: Transfer, volts: float) -> Timing:
    """Of a build at `volts`: the group delay at `frequency` (F,) in Hz, and the step response.

    `swept` are its acoustics on the summary's grid. Raises KitError where the circuit has no solution.
    """

    def heard(asked: Floats) -> Complexes:
        acoustics = transfer(model, asked)
        return pressure(acoustics, flows(model, acoustics, volts).load_current)

    places, responses = _responses(model, swept, volts)
    moments, steps = step_response(places, responses)
    return Timing(volts, group_delay(heard, frequency), moments, steps[:, 0], _named(model, steps))


def group_delay(response: Callable[[Floats], Complexes], frequency: Floats) -> Floats:
    """Of a complex `response` at `frequency` (F,) in Hz: (F,) s, NaN where the response is nothing.

    tau = -d phase / d omega, over a ninety-sixth of an octave about each frequency. Good for delays up to half a turn
    over that: 3.4 ms at 20 kHz, 68 ms at 1 kHz.
    """
    below, above = frequency / ASIDE, frequency * ASIDE
    ratio = response(above) * np.conj(response(below))
    delay = -np.angle(ratio) / (2 * np.pi * (above - below))
    return np.where(ratio == 0, np.nan, delay)


def step_response(frequency: Floats, response: Complexes) -> tuple[Floats, Floats]:
    """Moments (T,) in s about the arrival, and what responses (F, ...) per volt, say, do there to a step of one volt.

    `frequency` (F,) in Hz rises from `LOWEST` to 20 kHz at least, dense enough for a cubic through the response. What
    does not die away within 2 s comes back from the start.
    """
    f = RESOLUTION * np.arange(1, SAMPLES // 2 + 1)
    inside = f <= min(FADE[1], frequency[-1])
    at = np.maximum(f[inside], frequency[0])
    columns = response.reshape(len(response), -1)
    values = cubic_spline(np.log(frequency), columns, np.log(at)).reshape(-1, *response.shape[1:])
    shape = (-1, *(1 for _ in response.shape[1:]))
    weight = np.minimum(1.0, f[inside] / frequency[0]) * _fade(f[inside])
    spectrum = np.zeros((SAMPLES // 2 + 1, *response.shape[1:]), complex)
    spectrum[1 : 1 + np.count_nonzero(inside)] = values * (weight / (2j * np.pi * f[inside])).reshape(shape)
    # what a period holds has a mean of its own, which puts the time before the arrival to zero
    wave = np.fft.irfft(spectrum, SAMPLES, axis=0) * SAMPLES * RESOLUTION
    dt = 1.0 / (RESOLUTION * SAMPLES)
    first, last = (round(moment / dt) for moment in SHOWN)
    quiet = wave[SAMPLES + 10 * first : SAMPLES + 2 * first].mean(axis=0)
    shown = np.arange(first, last + 1)
    return np.asarray(shown * dt, float), np.asarray(wave[shown] - quiet, float)


def _fade(frequency: Floats) -> Floats:
    """One below the band's end, then half a cosine down to nothing."""
    t = np.clip((frequency - FADE[0]) / (FADE[1] - FADE[0]), 0.0, 1.0)
    return np.asarray(0.5 * (1.0 + np.cos(np.pi * t)))


def _responses(model: Build, swept: Transfer, volts: float) -> tuple[Floats, Complexes]:
    """Frequencies (F,) that suit a step, and pressures there (F, 1 + N + M): together, drivers, openings."""
    grid = summary.GRID
    split = int(np.searchsorted(np.diff(grid), FINE))
    low = np.geomspace(LOWEST, grid[0], 48, endpoint=False)
    high = np.linspace(grid[split], grid[-1], int((grid[-1] - grid[split]) / FINE) + 1)[1:]
    beside = transfer(model, np.concatenate([low, high]))
    runs = [beside.some(slice(0, low.size)), swept.some(slice(0, split + 1)), beside.some(slice(low.size, None))]
    found = []
    for run in runs:
        current = flows(model, run, volts).load_current
        drivers = np.einsum("fij,fj->fi", run.driver_pressure, current)
        openings = np.einsum("fmj,fj->fm", run.opening_pressure, current)
        found.append(np.concatenate([pressure(run, current)[:, None], drivers, openings], axis=1))
    return np.concatenate([run.frequency for run in runs]), np.concatenate(found)


def _named(model: Build, steps: Floats) -> dict[str, Floats]:
    names = [*model.names, *opening_specs(model)]
    return {name: steps[:, 1 + i] for i, name in enumerate(names)}
