"""How much of the baffle's step a placement leaves, what the board makes up of it, and which value would do the rest.

At high frequency a loudspeaker radiates from its front only, as in a wall; at low frequency free air hears it all
round, at half the pressure: 20 log10 2 = 6.02 dB less (Olson, J. Audio Eng. Soc. 17(1), 1969; the step lies about
115 Hz over the front's width in metres, common practice after him). Walls and floors near by give some of that back and
take some away. So what is asked is: against the same drivers with the same currents in an infinite wall, how much
louder does this placement make the high range than the low one?

    gain of a range = 10 log10 of its power as placed over its power in a wall
    step            = gain of the high range - gain of the low range
    correction      = level in a wall of the low range - that of the high range
    needed          = step - correction + what the target asks the low range to be louder by

So `needed` is exactly by how much the low range is too quiet where it stands. `correction` holds all that the board
and its drivers do, the sensitivity of the tweeter too: driver volts alone would take a padded tweeter for a fault.
The low range begins at 1.5 times the -3 dB point that the speaker has in a wall (its level from 100 to 400 Hz as the
reference, so that a placement's own dip is not taken for the bass), at `LOW[0]` at least.

Powers are averaged evenly in log frequency, and over `CLOUD`, points about the listening point, so that waves that
cancel at one of them do not decide. `scatter` is how far the points lie apart: the rms deviation of what each alone
would say. The borders of the ranges are our own choice: a quarter of an octave to either side moves the example's
`step` by up to 1 dB and `needed` by up to 0.6 dB.

Of the part that the kit names every value of stock from a quarter to four times its own is tried, in the ranges of the
kit as drawn; of those that keep the amplifier's lowest load (or, where the kit's own value does not, its own lowest
impedance) the one that leaves the least. What is not known of an article is as in the kit's part: a larger coil of a
series has the same wire. Only the balance is looked at: what else another value does, to the crossover above all,
`swap` tells.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.build import Build
from system.kit import Part, Place, Placement, Target
from system.matching import smoothed
from system.predict import flows, reference_band
from system.refit import AS_DRAWN, fitted_from, with_parts
from system.summary import band_mean
from system.target import asked_level
from system.transfer import Motion, Paths, Transfer, motion, paths_aside, strengths, transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

LOW, HIGH = (100.0, 300.0), (1e3, 4e3)  # Hz
ABOVE_BASS = 1.5  # of the -3 dB point: what lies below is the bass's own
NARROWEST = 2 ** (1 / 3)  # of the low range, highest over lowest: a third of an octave is too little to judge by
CLOUD = ((0, 0), (10, 0), (-10, 0), (0, 10), (0, -10))  # degrees to the right and up; our own choice
FREQUENCIES = np.geomspace(10.0, 10e3, 241)  # Hz, 24 an octave
SHOWN = 50.0  # Hz, from where on curves are told
SPAN = 4.0  # values from a quarter to four times the kit's own are tried
NEAR = 1.0  # dB: what is farther from the target is not called made up for
FAINT = 1e-60  # Pa2: keeps logarithms finite
ENOUGH = 1 - 1e-9  # of the lowest load


@dataclass(frozen=True, slots=True)
class Unjudged:
    """`why` nothing can be said of a variant's step."""

    why: str


@dataclass(frozen=True, slots=True)
class Balance:
    """What the board with one value makes of a variant, dB: `correction`, `needed` after it, and its reference level.

    `lowest` (ohm) is the lowest magnitude of the impedance, None where no current flows.
    """

    value: float
    correction: float
    needed: float
    level: float
    lowest: float | None


@dataclass(frozen=True, slots=True)
class Setting:
    """The part that the kit names, where a variant fits it: `own` as drawn, and the `best` of all that keep the limits.

    `tried` are all values, rising, the own included; `barred` is the one that would leave less than the best, and would
    take the impedance below the `bound` (ohm).
    """

    part: Part
    reference: str
    own: Balance
    best: Balance
    tried: tuple[Balance, ...]
    barred: Balance | None
    bound: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """The step of one variant, in dB; the module says what each of them is.

    `low` and `high` are the ranges (Hz), `points` how many of the cloud lie in the room. The curves (F,) in dB are
    averaged over the cloud and smoothed to third-octaves: `placed`, the gain of the placement, and `board`, the level
    in a wall less that of the high range. `place` is that of the part which the kit names, None where it names none;
    `setting` is None where it is not fitted.
    """

    low: tuple[float, float]
    high: tuple[float, float]
    gain_low: float  # dB
    gain_high: float  # dB
    correction: float  # dB
    asked: float  # dB
    scatter: float  # dB
    points: int
    frequency: Floats  # (F,) Hz
    placed: Floats
    board: Floats
    place: Place | None = None
    setting: Setting | None = None

    @property
    def step(self) -> float:
        return self.gain_high - self.gain_low

    @property
    def needed(self) -> float:
        return self.step - self.correction + self.asked


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """A variant heard from the points of the cloud, Pa per ampere in each driver: `placed` and `wall` (D, F, N)."""

    model: Build
    acoustics: Transfer  # at FREQUENCIES, at the listening point
    placed: Complexes
    wall: Complexes

    @classmethod
    def of(cls, model: Build) -> _Scene:
        moved = motion(model, FREQUENCIES)
        here = transfer(model, FREQUENCIES, moved=moved)
        pairs = list(_cloud(model, here, moved))
        return cls(model, here, np.stack([p for p, _ in pairs]), np.stack([w for _, w in pairs]))

    def current(self, model: Build) -> Complexes:
        """Amperes (F, N) that a board sends into the drivers, for 1 V. Raises KitError as `solve` does."""
        return flows(model, self.acoustics, 1.0).load_current


def _cloud(model: Build, here: Transfer, moved: Motion) -> Iterator[tuple[Complexes, Complexes]]:
    """Pressure per ampere (F, N) at each point of the cloud that lies in the room, as placed and in a wall.

    A table that was measured in the cabinet loses that cabinet's diffraction in the wall as it does where it stands.
    """
    listening = model.variant.listening
    angles = [
        (listening.angle_horizontal + math.radians(sideways), listening.angle_vertical + math.radians(upward))
        for sideways, upward in CLOUD
    ]
    placed = [here.paths, *_in_the_room(model, angles[1:])]
    inside = [angle for angle, paths in zip(angles, placed, strict=True) if paths is not None]
    there = [paths for paths in placed if paths is not None]
    walled = there
    if model.variant.placement.kind != "in_wall":
        flush = replace(model, variant=replace(model.variant, placement=Placement("in_wall")))
        walled = paths_aside(flush, FREQUENCIES, inside)
    sent = strengths(model, moved, here.paths.own)
    for paths, wall in zip(there, walled, strict=True):
        yield sent.total(paths), sent.total(wall)


def _in_the_room(model: Build, angles: Sequence[tuple[float, float]]) -> list[Paths | None]:
    """The paths to points at `angles`; None for one behind a wall or under the floor: nobody listens there."""
    try:
        return [*paths_aside(model, FREQUENCIES, angles)]
    except ValueError:
        if len(angles) == 1:
            return [None]
    return [paths for angle in angles for paths in _in_the_room(model, [angle])]


def step(model: Build, swept: Transfer) -> Step | Unjudged:
    """Of a build; `swept` are its acoustics on the summary's grid. Raises KitError where a circuit has no solution."""
    if all(data.role == "woofer" for data in model.data):
        return Unjudged("only woofers are hooked up, so nothing is above the step")
    scene = _Scene.of(model)
    current = scene.current(model)
    wall = _power(scene.wall, current)
    if not np.all(wall.mean(axis=0) > FAINT):
        return Unjudged("nothing is heard")
    low = _low_range(wall.mean(axis=0))
    if low is None:
        return Unjudged(f"its bass ends too near to {LOW[1]:g} Hz")
    placed = _power(scene.placed, current)
    ranges = (low, HIGH)
    asked = _asked(model.kit.revalue.target, ranges)
    whole = [_means(each.mean(axis=0), ranges) for each in (placed, wall)]
    single = [_balance(point, ranges) for point in placed]
    gain_low, gain_high = (p - w for p, w in zip(*whole, strict=True))
    shown = FREQUENCIES >= SHOWN
    curves = [_decibels(smoothed(FREQUENCIES, each.mean(axis=0), FREQUENCIES[shown])) for each in (placed, wall)]
    place = model.variant.places.get(model.kit.step_set_by or "")
    return Step(
        low=low,
        high=HIGH,
        gain_low=gain_low,
        gain_high=gain_high,
        correction=whole[1][0] - whole[1][1],
        asked=asked,
        scatter=float(np.std(single)),
        points=len(placed),
        frequency=FREQUENCIES[shown],
        placed=curves[0] - curves[1],
        board=curves[1] - whole[1][1],
        place=place,
        setting=_setting(scene, swept, place, ranges, asked) if place and place.state == "fit" else None,
    )


Ranges = tuple[tuple[float, float], tuple[float, float]]


def _power(heard: Complexes, current: Complexes) -> Floats:
    """Squared pressures (D, F) at the points of the cloud."""
    return np.asarray(np.abs(np.einsum("dfn,fn->df", heard, current)) ** 2)


def _decibels(power: Floats) -> Floats:
    return np.asarray(10 * np.log10(np.maximum(power, FAINT)))


def _low_range(wall: Floats) -> tuple[float, float] | None:
    """From above the speaker's own bass to `LOW[1]`; None where hardly anything is left between."""
    corner = summary.low_end(FREQUENCIES, _decibels(wall), summary.WOOFER_BAND).minus_3
    lowest = LOW[0] if corner is None else max(LOW[0], ABOVE_BASS * corner)
    return (lowest, LOW[1]) if lowest * NARROWEST < LOW[1] else None


def _means(power: Floats, ranges: Ranges) -> tuple[float, float]:
    """Level of the low and of the high range in dB."""
    low, high = (band_mean(FREQUENCIES, _decibels(power), each) for each in ranges)
    return low, high


def _balance(power: Floats, ranges: Ranges) -> float:
    low, high = _means(power, ranges)
    return low - high


def _asked(target: Target, ranges: Ranges) -> float:
    """By how many dB the target has the low range above the high one; a table goes on level beyond its ends."""
    low, high = (np.geomspace(*each, 49) for each in ranges)
    if target.table is None:
        whole = asked_level(target, np.concatenate([low, high]))
    else:
        table = target.table
        whole = np.interp(np.log(np.concatenate([low, high])), np.log(table.frequency), table.magnitude)
    return float(whole[: low.size].mean() - whole[low.size :].mean())


def _setting(scene: _Scene, swept: Transfer, place: Place, ranges: Ranges, asked: float) -> Setting:
    """Every value of stock in the place, and the one to choose."""
    part, kit = place.part, scene.model.kit
    offers = kit.stock.between(part.kind, part.value / SPAN, part.value * SPAN) if part.value else []
    items = {item.value: item for item in reversed(offers) if abs(item.value / part.value - 1) > AS_DRAWN}
    parts = [part, *(fitted_from(part, item) for item in items.values())]
    every = list(_tried(scene, swept, with_parts(scene.model, place.reference, parts), parts, ranges, asked))
    own = every[0]
    every.sort(key=lambda balance: balance.value)
    stands = kit.amplifier.lowest_load
    bound = None if stands is None or own.lowest is None else min(stands, own.lowest)

    def least(balances: list[Balance]) -> Balance:
        """Of those that leave as much, the one nearest to the kit's own."""
        return min(balances, key=lambda b: (round(abs(b.needed), 6), abs(b.value - own.value)))

    kept = [b for b in every if bound is None or b.lowest is None or b.lowest >= bound * ENOUGH]
    best, first = least(kept), least(every)
    return Setting(part, place.reference, own, best, tuple(every), None if first is best else first, bound)


def _tried(
    scene: _Scene, swept: Transfer, model: Build, parts: Sequence[Part], ranges: Ranges, asked: float
) -> Iterator[Balance]:
    """With each of `parts`, which `model` has all in one."""
    currents = flows(model, scene.acoustics, 1.0).load_current.reshape(len(parts), len(FREQUENCIES), -1)
    seen = np.abs(flows(model, swept, 1.0).input_impedance + model.kit.amplifier.cable).reshape(len(parts), -1)
    for part, current, lowest in zip(parts, currents, seen.min(axis=1), strict=True):
        placed = _power(scene.placed, current)
        yield Balance(
            value=part.value,
            correction=_balance(_power(scene.wall, current).mean(axis=0), ranges),
            needed=asked - _balance(placed.mean(axis=0), ranges),
            level=band_mean(FREQUENCIES, _decibels(placed[0]), reference_band(model.variant)),
            lowest=float(lowest) if math.isfinite(lowest) else None,
        )
