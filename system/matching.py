"""How alike two variants sound at the seat: how loud, how bright, and how alike once both are brought to one level.

Everything is told of the second against the first, from squared pressures averaged evenly in log frequency. A centre
that is to go with its fronts is held to the last of these: what is left between third-octave levels when the level as
a whole has been taken away, since that a receiver can set.

At an outer seat a loudspeaker is heard from `seats.distance` at `seats.angle` to its axis. A variant that names no
seats is heard there at its own listening point, since the kit does not say how the loudspeakers stand to each other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.build import build
from system.grid import THIRD_OCTAVES
from system.kit import Kit, Listening, Seats, Variant
from system.predict import flows, pressure
from system.summary import band_mean, level
from system.transfer import transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

# Common practice, no source: the middle is that of the reference level, the others lie below and above it.
LEVEL = summary.BAND
BANDS: Mapping[str, tuple[float, float]] = {"low": (100.0, 300.0), "middle": LEVEL, "high": (3e3, 10e3)}
COMPARED = (200.0, 8e3)  # Hz, from the lowest to the highest third-octave that is compared
OCTAVE_BANDS = THIRD_OCTAVES[slice(*np.searchsorted(THIRD_OCTAVES, [COMPARED[0] * 0.99, COMPARED[1] * 1.01]))]
HALF_BAND = 10 ** (1 / 20)  # the edge of a third-octave over its middle: IEC 61260-1:2014, 5.4 and 5.5, in base ten
SIDES: Mapping[str, int] = {"left": -1, "right": 1}  # the outer seats, as the listener sees them


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """The second of two against the first, in dB: all of it `second - first`.

    `level` from 300 Hz to 3 kHz; `tilt` in dB an octave, the straight line through the third-octave levels from 200 Hz
    to 8 kHz; `bands` by name. `third_octaves` (B,) at `OCTAVE_BANDS` are those levels less their mean; `rms` is their
    root mean square and `largest`, with its sign, the one farthest from zero, at `largest_hz`.
    """

    level: float
    tilt: float
    bands: Mapping[str, float]
    third_octaves: Floats
    rms: float
    largest: float
    largest_hz: float


@dataclass(frozen=True, slots=True, eq=False)
class Matches:
    """Two variants at the listening point, and at the outer seats by side, where either of them names seats."""

    centre: Match
    seats: Mapping[str, Match]

    @property
    def worst(self) -> float:
        """The largest `rms` of all places."""
        return max(each.rms for each in (self.centre, *self.seats.values()))


def match(frequency: Floats, first: Complexes, second: Complexes) -> Match:
    """Of two pressures (F,) at rising frequencies (F,) in Hz, which reach from 100 Hz or less to 10 kHz or more."""
    levels = [level(each) for each in (first, second)]

    def apart(band: tuple[float, float]) -> float:
        one, other = (band_mean(frequency, each, band) for each in levels)
        return other - one

    differs = np.array([apart((f / HALF_BAND, f * HALF_BAND)) for f in OCTAVE_BANDS])
    # least squares: the slope of the line through the points (log2 f, dB)
    tilt = float(np.polyfit(np.log2(OCTAVE_BANDS), differs, 1)[0])
    left = differs - differs.mean()
    most = int(np.argmax(np.abs(left)))
    return Match(
        level=apart(LEVEL),
        tilt=tilt,
        bands={name: apart(band) for name, band in BANDS.items()},
        third_octaves=left,
        rms=math.sqrt(float(np.mean(left**2))),
        largest=float(left[most]),
        largest_hz=float(OCTAVE_BANDS[most]),
    )


def smoothed(frequency: Floats, power: Floats, centres: Floats) -> Floats:
    """The mean (C,) of `power` (F,) over a third of an octave about each of `centres`, evenly in log frequency.

    Its integral is joined straight between the rising `frequency` (F,); beyond their ends the band is cut off.
    """
    x = np.log(frequency)
    whole = np.concatenate([[0.0], np.cumsum(np.diff(x) * (power[1:] + power[:-1]) / 2)])
    half = math.log(HALF_BAND)
    low, high = (np.clip(np.log(centres) + side, x[0], x[-1]) for side in (-half, half))
    return np.asarray((np.interp(high, x, whole) - np.interp(low, x, whole)) / (high - low))


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What one variant is heard with on the summary's grid (F,), Pa: at its listening point, and at its outer seats.

    `seats` is by side, None where it names none.
    """

    centre: Complexes
    seats: Mapping[str, Complexes] | None

    def at(self, side: str) -> Complexes:
        return self.centre if self.seats is None else self.seats[side]


def heard(kit: Kit, variant: Variant, centre: Complexes) -> Heard:
    """`centre` is the pressure at the listening point for 2.83 V, as it is known. Raises KitError as `solve` does."""
    seats = variant.seats
    if seats is None:
        return Heard(centre, None)
    there = {side: _seat(variant.listening, seats, sign) for side, sign in SIDES.items()}
    return Heard(centre, {side: _pressure(kit, replace(variant, listening=each)) for side, each in there.items()})


def matches(first: Heard, second: Heard) -> Matches:
    """The second variant against the first."""
    sides = SIDES if first.seats is not None or second.seats is not None else {}
    return Matches(
        match(summary.GRID, first.centre, second.centre),
        {side: match(summary.GRID, first.at(side), second.at(side)) for side in sides},
    )


def _seat(listening: Listening, seats: Seats, side: int) -> Listening:
    """A listener who sits to the right hears the loudspeaker from its right, as both are told from the listener."""
    return replace(listening, distance=seats.distance, angle_horizontal=side * seats.angle)


def _pressure(kit: Kit, variant: Variant) -> Complexes:
    model = build(kit, variant)
    with kit.blaming("listening_outside", f"variants.{variant.name}.seats"):
        acoustics = transfer(model, summary.GRID)
    return pressure(acoustics, flows(model, acoustics, 2.83).load_current)
