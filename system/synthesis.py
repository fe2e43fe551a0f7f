"""A programme in time: noise of its spectrum, clipped to its crest factor, and what comes of it behind a filter.

Each wave is one period of a periodic signal, so filtering by FFT is exact. The noise is a sum of sines at all
harmonics of the period with chance phases: its spectrum is the programme's to the last digit, and its amplitudes are
spread as those of Gaussian noise. The same seed gives the same wave.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system.kit import HIGHEST_OF_PROGRAMME, Programme
from system.programme import band_power

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

RATE = 48_000  # Hz, above twice the programme's highest frequency
SECONDS = 240.0
SEED = 1


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """One period: `samples` (T,), `rate` of them a second."""

    samples: Floats
    rate: float

    @property
    def rms(self) -> float:
        return float(np.sqrt(np.mean(self.samples**2)))

    @property
    def peak(self) -> float:
        return float(np.abs(self.samples).max())

    @property
    def crest(self) -> float:
        """Peak over rms."""
        return self.peak / self.rms

    def share_beyond(self, limit: float) -> float:
        """The share of time, 0 to 1, that it spends further from zero than `limit`."""
        return float(np.mean(np.abs(self.samples) > limit))


def noise(signal: Programme, seconds: float = SECONDS, rate: float = RATE, seed: int = SEED) -> Wave:
    """Gaussian noise of the programme's spectrum and of 1 V rms, not clipped.

    It reaches from `signal.lowest` to 20 kHz, or to half the `rate` (Hz) where that is lower. Raises ValueError for a
    sine, and for a length in which the programme has no power.
    """
    if signal.spectrum == "sine":
        raise ValueError("a sine is no programme to synthesise")
    count = round(seconds * rate)
    frequency: Floats = np.fft.rfftfreq(count, 1 / rate).astype(np.float64)
    inside = (frequency >= signal.lowest) & (frequency <= HIGHEST_OF_PROGRAMME) & (frequency < rate / 2)
    power = np.zeros_like(frequency)
    power[inside] = band_power(signal, frequency[inside]) / frequency[inside]  # bands are even in log frequency
    total = float(power.sum())
    if total <= 0:
        raise ValueError(f"the programme has no power in {seconds:g} s at {rate:g} samples a second")
    angle = np.random.default_rng(seed).uniform(0, 2 * np.pi, frequency.size)
    # a line of amplitude A is A count/2 in the transform, and has the mean square A^2/2
    lines = count * np.sqrt(power / (2 * total)) * np.exp(1j * angle)
    return Wave(np.fft.irfft(lines, count), rate)


def clipped(wave: Wave, crest: float) -> Wave:
    """The wave clipped where its crest factor becomes `crest`, brought back to the rms it had.

    Raises ValueError for a crest factor of 1 or less, and for one that the wave does not have: clipping only lowers it.
    """
    if not 1 < crest <= wave.crest:
        raise ValueError(f"clipping gives crest factors between 1 and the wave's own {wave.crest:.3f}, not {crest:g}")
    # With u the squared limit, u = crest^2 mean(min(x^2, u)). The difference of the two sides is convex in u and made
    # of straight pieces, so that Newton's steps from above fall on the root after a few.
    squares = wave.samples**2
    limit = float(squares.max())
    while True:
        value = limit - crest**2 * float(np.mean(np.minimum(squares, limit)))
        lower = limit - value / (1 - crest**2 * float(np.mean(squares > limit)))
        if lower >= limit * (1 - 1e-12):
            break
        limit = lower
    samples = np.clip(wave.samples, -np.sqrt(limit), np.sqrt(limit))
    return Wave(samples * (wave.rms / np.sqrt(np.mean(samples**2))), wave.rate)


def narrowed(wave: Wave, rate: float) -> Wave:
    """The wave below half of `rate` (Hz), with so many samples a second: what follows has no use for more."""
    count = round(wave.samples.size * rate / wave.rate)
    lines = np.fft.rfft(wave.samples)[: count // 2 + 1] * (count / wave.samples.size)
    return Wave(np.fft.irfft(lines, count), count * wave.rate / wave.samples.size)


def filtered(wave: Wave, frequency: Floats, response: Complexes) -> Wave:
    """The wave behind a filter whose `response` (F,) is given at `frequency` (F,) Hz, rising.

    Between the frequencies the response goes by cubic splines over log frequency (its real and imaginary parts), so the
    grid is to follow it closely; beyond them it is held.
    """
    from scipy.interpolate import CubicSpline  # slow to import

    lines = np.fft.rfft(wave.samples)
    wanted = np.fft.rfftfreq(wave.samples.size, 1 / wave.rate)
    place = np.log(np.clip(wanted, frequency[0], frequency[-1]))
    lines *= CubicSpline(np.log(frequency), response)(place)
    return Wave(np.fft.irfft(lines, wave.samples.size), wave.rate)
