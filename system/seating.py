"""What reaches the seats to either side of a speaker, where it stands, against the seat in the middle.

Woofers side by side add up in the middle only. Two alike, small, d apart, heard far away at an angle a, are down by
cos(pi d sin(a) f/c): 3 dB at c/(4 d sin a), 6 dB at c/(3 d sin a), and silent at c/(2 d sin a). What is computed here
has their cones, the cabinet and the placement's planes in it besides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.build import Build
from system.kit import Seats
from system.predict import Prediction, flows
from system.transfer import Motion, driver_positions, motion, own_diffraction, paths_around, strengths

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

ALIKE = 0.1  # of the current: woofers this near to each other over the band play the same (our own choice)
START = 100.0  # Hz, from where on a pair is followed
DEEP = 10 ** (-10 / 20)  # a null is at least this far down (our own choice)
CLOSE = 1e-3  # m: cones nearer to being one above the other are not side by side


@dataclass(frozen=True, slots=True)
class Fall:
    """From where on (Hz) a pair is 3 dB (`minus_3`) and 6 dB (`minus_6`) down against the middle; its first `null`.

    None where that is not between 100 Hz and 20 kHz.
    """

    minus_3: float | None
    minus_6: float | None
    null: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """One seat, `angle` in rad to the listener's right: rms `pressure` (F,) there.

    `difference` (dB) is its mean level over 300 Hz to 3 kHz less that of the middle; `farthest` (dB) the largest
    departure there, at `farthest_at` (Hz). All None where nothing is heard. `fall` is that of the woofers that play
    the same, None without two such.
    """

    angle: float
    pressure: Complexes
    difference: float | None
    farthest: float | None
    farthest_at: float | None
    fall: Fall | None


@dataclass(frozen=True, slots=True, eq=False)
class Seating:
    """Seats at `distance` (m): rms pressure (F,) in the `middle`, and the `seats` to the left and right.

    `woofers` play the same; two of them are `apart` (m) across, and would fall as `expected` if they were small and
    alone. Both are None for other numbers of woofers, `expected` also where none is beside the other.
    """

    distance: float
    middle: Complexes
    seats: tuple[Seat, ...]
    woofers: tuple[str, ...]
    apart: float | None
    expected: Fall | None


def seating(model: Build, result: Prediction) -> Seating | None:
    """The seats of a variant, at the frequencies and volts of its prediction; None where its kit names no seats.

    Figures are read on the summary's grid. Seats are as high as the listening point's angle says. Raises KitError for
    a seat behind a wall or in the cabinet.
    """
    seats = model.variant.seats
    if seats is None:
        return None
    angles = (0.0,) if seats.angle == 0 else (0.0, -seats.angle, seats.angle)
    current = np.stack([driver.current for driver in result.drivers.values()], axis=1)
    pressures = _heard(model, motion(model, result.frequency), current, seats, angles).sum(axis=2)
    moved = motion(model, summary.GRID)
    swept = flows(model, moved, result.volts).load_current
    shares = _heard(model, moved, swept, seats, angles)
    pair = playing_the_same(model, summary.GRID, swept)
    together = shares.sum(axis=2)
    found = []
    for i, angle in enumerate(angles[1:], 1):
        fall = fall_of(summary.GRID, _over(shares[:, :, pair].sum(axis=2), i)) if pair else None
        found.append(Seat(angle, pressures[:, i], *_apart(together[:, i], together[:, 0]), fall))
    apart = _across(model, pair) if len(pair) == 2 else None
    return Seating(
        distance=seats.distance,
        middle=pressures[:, 0],
        seats=tuple(found),
        woofers=tuple(model.names[i] for i in pair),
        apart=apart,
        expected=small_pair(apart, seats.angle, model.air.speed_of_sound) if apart is not None else None,
    )


def _heard(model: Build, moved: Motion, current: Complexes, seats: Seats, angles: Sequence[float]) -> Complexes:
    """What each driver, opening and leak makes at each seat, (F, P, N + M + C) Pa rms, for rms currents (F, N)."""
    up = model.variant.listening.angle_vertical
    directions = np.array([(math.sin(h) * math.cos(up), math.sin(up), math.cos(h) * math.cos(up)) for h in angles])
    sent = strengths(model, moved, own_diffraction(model, moved.frequency)).driven(current)
    seat = f"seats: {seats.distance:g} m away, {math.degrees(seats.angle):g} degrees to either side"
    with model.kit.blaming("listening_outside", f"variants.{model.variant.name}.seats", seat):
        return paths_around(model, moved.frequency, seats.distance, directions) * sent[:, None, :]


def playing_the_same(model: Build, frequency: Floats, current: Complexes) -> list[int]:
    """The largest set of woofers, two at least, of one kind and with the same current (F, N) over 300 Hz to 3 kHz."""
    band = _in_band(frequency)
    woofers = [i for i, data in enumerate(model.data) if data.role == "woofer"]
    best: list[int] = []
    for first in woofers:
        own = current[band, first]
        alike = [
            i
            for i in woofers
            if model.data[i].name == model.data[first].name
            and np.any(np.abs(own) > 0)
            and np.all(np.abs(current[band, i] - own) <= ALIKE * np.abs(own))
        ]
        best = max(best, alike, key=len)
    return best if len(best) > 1 else []


def _in_band(frequency: Floats) -> NDArray[np.bool_]:
    low, high = summary.BAND
    return (frequency >= low) & (frequency <= high)


def _over(pair: Complexes, seat: int) -> Floats:
    """The pair's pressure (F, P) at a seat over that in the middle, (F,); one where the middle hears nothing."""
    middle = np.abs(pair[:, 0])
    return np.where(middle > 0, np.abs(pair[:, seat]) / np.where(middle > 0, middle, 1.0), 1.0)


def _apart(seat: Complexes, middle: Complexes) -> tuple[float | None, float | None, float | None]:
    """Of pressures (F,) on the summary's grid: the difference of the mean levels, the largest one, and where it is."""
    band = _in_band(summary.GRID)
    if not np.any(middle[band]):
        return None, None, None
    levels = [summary.level(each) for each in (seat, middle)]
    means = [summary.band_mean(summary.GRID, each, summary.BAND) for each in levels]
    difference = (levels[0] - levels[1])[band]
    farthest = int(np.argmax(np.abs(difference)))
    return means[0] - means[1], float(difference[farthest]), float(summary.GRID[band][farthest])


def fall_of(frequency: Floats, ratio: Floats) -> Fall:
    """Where a ratio of pressures (F,), about one at low frequency, first falls by 3 dB, by 6 dB and to a null."""
    x, heard = np.log(frequency[frequency >= START]), ratio[frequency >= START]
    minus_3, minus_6 = (_first_below(x, heard, mark) for mark in (math.sqrt(0.5), 0.5))
    return Fall(minus_3, minus_6, _first_null(x, heard))


def _first_below(x: Floats, ratio: Floats, mark: float) -> float | None:
    """The first frequency at which a ratio over log frequency falls below `mark`; None where it never does."""
    falls = np.flatnonzero((ratio[:-1] >= mark) & (ratio[1:] < mark))
    if falls.size == 0:
        return None
    i = int(falls[0])
    return float(np.exp(x[i] + (x[i + 1] - x[i]) * (ratio[i] - mark) / (ratio[i] - ratio[i + 1])))


def _first_null(x: Floats, ratio: Floats) -> float | None:
    """The first frequency with a ratio that is least and deep: a parabola through three squares about it."""
    squared = ratio**2
    least = np.flatnonzero((squared[1:-1] <= squared[:-2]) & (squared[1:-1] < squared[2:]) & (ratio[1:-1] <= DEEP)) + 1
    if least.size == 0:
        return None
    i = int(least[0])
    before, here, after = squared[i - 1 : i + 2]
    return float(np.exp(x[i] + 0.5 * (x[i + 1] - x[i]) * (before - after) / (before - 2 * here + after)))


def small_pair(apart: float, angle: float, speed_of_sound: float) -> Fall | None:
    """The fall of two small alike sources `apart` (m) at `angle` (rad) far away: half path differences of pi/4, pi/3
    and pi/2 in phase. None for sources that are equally far."""
    path = apart * math.sin(angle)
    if apart < CLOSE or path <= 0:
        return None
    return Fall(speed_of_sound / (4 * path), speed_of_sound / (3 * path), speed_of_sound / (2 * path))


def _across(model: Build, pair: Sequence[int]) -> float:
    """How far two drivers are apart in the room's horizontal, m."""
    places = driver_positions(model)[:, 0]
    return float(abs(places[pair[0]] - places[pair[1]]))
