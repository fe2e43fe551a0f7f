"""Before a fit: the sweep's points, its resonance told from what else has peaks, and values to start from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal import find_peaks

from system.bench.fitting_models import Floats
from system.bench.fitting_solve import Points
from system.bench.fitting_values import Refused
from system.bench.sweeps import Sweep

_FEWEST = 12  # points
_MANY = 600  # points; more are put together
_PER_OCTAVE = 96  # of the points put together: a peak of q 10 loses 0.02 %
_OHMS = (0.3, 2000.0)  # between which the median of a driver's impedance lies
_DENSE = 24  # points an octave from which a running median of three leaves a peak as it is
_LEAST_PEAK = 0.04  # of ln|Z|
_SECOND = 0.15  # a second peak with so much of the first one's area (height by width) is a resonance of its own
_APART = 0.4  # octaves
_NARROW = 0.06  # octaves at half height; a driver of q 20 has 0.07


@dataclass(frozen=True, slots=True)
class Start:
    """First values: re (ohm), fs (Hz), qms and the height rm (ohm) of the motional impedance."""

    re: float
    fs: float
    qms: float
    rm: float


def points_of(sweep: Sweep) -> tuple[Points, NDArray[np.intp]]:
    """What is fitted of a sweep: its own points, or those of each 1/96 octave together where it has over 600.

    With them the point (F,) that each reading went into.
    Raises Refused for too few of them and for what is no impedance.
    """
    frequency, magnitude, phase = sweep.frequency, sweep.magnitude, sweep.phase
    if len(frequency) < _FEWEST:
        raise Refused(f"the sweep has {len(frequency)} points; at least {_FEWEST} are needed, better 100")
    good = np.isfinite(frequency) & np.isfinite(magnitude) & (magnitude > 0) & (frequency > 0)
    if phase is not None:
        good &= np.isfinite(phase)
    if not good.all() or np.any(np.diff(frequency) <= 0):
        raise Refused("the sweep has points that are no impedance, or its frequencies do not rise")
    level = np.log(magnitude)
    middle = float(np.median(magnitude))
    if not _OHMS[0] < middle < _OHMS[1]:
        raise Refused(f"the impedance is about {middle:.2g} ohm: no driver has that; is the column in ohm?")
    if len(frequency) <= _MANY:
        return Points(frequency, level, phase), np.arange(len(frequency))
    place = np.floor(np.log2(frequency / frequency[0]) * _PER_OCTAVE).astype(int)
    first = np.flatnonzero(np.diff(place, prepend=-1))
    count = np.diff(np.append(first, len(frequency)))

    def mean(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, first) / count)

    turned = None if phase is None else np.angle(mean(np.exp(1j * phase).real) + 1j * mean(np.exp(1j * phase).imag))
    return Points(np.exp(mean(np.log(frequency))), mean(level), turned), np.repeat(np.arange(len(first)), count)


def start_of(points: Points) -> Start | None:
    """First values from the largest peak, by the half-way identity; None where no peak stands out.

    |Z| = re sqrt(r0) at f1 and f2 with fs^2 = f1 f2, qms = fs sqrt(r0)/(f2 - f1), r0 the peak over re (Thiele, J.
    Audio Eng. Soc. 19, 1971, reprinted; Small, J. Audio Eng. Soc. 20(5), 1972). Raises Refused for two resonances and
    for a sweep that begins above the resonance.
    """
    log_f, level = np.log2(points.frequency), points.level
    if len(level) / (log_f[-1] - log_f[0]) >= _DENSE:
        level = median_filter(level, size=3, mode="nearest")  # a spike of one point is no peak
    rough = 1.4826 * float(np.median(np.abs(np.diff(points.level, 2)))) / math.sqrt(6)  # white noise, its sd
    tops, about = find_peaks(level, prominence=max(_LEAST_PEAK, 6 * rough), width=0)
    widths = np.interp(about["right_ips"], np.arange(len(log_f)), log_f) - np.interp(
        about["left_ips"], np.arange(len(log_f)), log_f
    )
    wide = widths > _NARROW
    tops, areas = tops[wide], (about["prominences"] * widths)[wide]
    re = math.exp(float(np.mean(np.sort(level)[: max(3, len(level) // 100)])))
    if not len(tops):
        _check_begins_low_enough(points, level)
        return None
    main = int(np.argmax(areas))
    apart = np.abs(log_f[tops] - log_f[tops[main]]) > _APART  # nearer ones are noise on one top
    second = np.flatnonzero(apart & (areas > _SECOND * areas[main]))
    if len(second):
        _refuse_two(points, sorted((tops[main], tops[second[0]])))
    top = int(tops[main])
    return _half_way(log_f, level, top, re)


def _refuse_two(points: Points, tops: Sequence[int]) -> None:
    below, above = (f"{points.frequency[top]:.3g}" for top in tops)
    raise Refused(
        f"the sweep has two resonances, at {below} and {above} Hz, as in a box with an opening or beside another "
        "driver; measure the driver alone in free air"
    )


def _check_begins_low_enough(points: Points, level: Floats) -> None:
    """A sweep that falls from its first point on has left the resonance below."""
    lowest = int(np.argmin(level))
    early = slice(0, max(3, len(level) // 20))
    if (
        lowest > len(level) // 20
        and np.mean(level[early]) - level[lowest] > 2 * _LEAST_PEAK
        and (np.mean(np.diff(level[: lowest + 1]) < 0) > 0.5)
    ):
        raise Refused(
            f"the impedance falls from the first point at {points.frequency[0]:.3g} Hz on: the resonance lies below "
            "the sweep; begin at a third of the resonance or lower"
        )


def _half_way(log_f: Floats, level: Floats, top: int, re: float) -> Start:
    zmax, fs = math.exp(float(level[top])), 2.0 ** float(log_f[top])
    r0 = max(zmax / re, 1.02)
    half = math.log(re * math.sqrt(r0))
    sides = []
    for way in (-1, 1):
        end = top
        while 0 <= end + way < len(level) and level[end] > half:
            end += way
        if level[end] <= half:
            inner = end - way
            share = (level[inner] - half) / (level[inner] - level[end])
            octaves = abs(log_f[inner] + share * (log_f[end] - log_f[inner]) - log_f[top])
            sides.append(float(octaves))
    octaves = min(sides) if sides else 1.0  # both the same without coil: f1 f2 = fs^2
    qms = math.sqrt(r0) / max(2**octaves - 2**-octaves, 0.02)
    return Start(re, fs, min(max(qms, 0.1), 30.0), re * (r0 - 1))
