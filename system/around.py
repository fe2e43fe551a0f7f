"""What a speaker does off its axis, as it is installed, and the averages of ANSI/CTA-2034-A over it.

Both planes are the room's: horizontal to the listener's left (negative) and right, vertical down (negative) and up.
They cross straight ahead of the cutout in which the listening axis begins, in the front's normal unless the cabinet is
tilted; a cabinet on its side exchanges what it does in them. The cabinet is in free air, without planes and panels near
it; one that is set into a wall is heard from the half space before it, and only groups and areas there count.

The standard's text was not at hand: groups, weights and the estimate in a room are from memory. Every average is one
of squared pressure, frequency by frequency. A sound power of two planes is what the standard makes of it: it is 0.4 dB
too high for a dipole, and for two small woofers d apart, in either plane, 0.2, 0.7 and 2.2 dB at k d = 2, 3 and 6.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system.build import build
from system.findings import KitError
from system.kit import Kit, Variant
from system.predict import Prediction
from system.seating import Seating, seating
from system.summary import level
from system.transfer import motion, own_diffraction, paths_around, strengths

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

STEP = 10  # degrees from one curve of a plane to the next
BEHIND, BESIDE = 180, 90  # degrees: the farthest curve in free air, and before a wall
PLANES = ("horizontal", "vertical")
Angles = tuple[int, ...]  # degrees

# ANSI/CTA-2034-A (from memory). Its listening window has nine curves, the axis counted once.
LISTENING_WINDOW: Mapping[str, Angles] = {"horizontal": (-30, -20, -10, 0, 10, 20, 30), "vertical": (-10, 10)}
# Each group of first reflections with the curves that feed it; 180 degrees counts once.
REFLECTIONS: Mapping[str, tuple[str, Angles]] = {
    "floor": ("vertical", (-20, -30, -40)),
    "ceiling": ("vertical", (40, 50, 60)),
    "front wall": ("horizontal", (-30, -20, -10, 0, 10, 20, 30)),
    "side walls": ("horizontal", (-80, -70, -60, -50, -40, 40, 50, 60, 70, 80)),
    "rear wall": ("horizontal", (*range(-170, -80, STEP), *range(90, 190, STEP))),
}
IN_ROOM = (0.12, 0.44, 0.44)  # of listening window, early reflections and sound power


@dataclass(frozen=True, slots=True, eq=False)
class Averages:
    """Mean squared pressures (F,), Pa2, over the groups of CTA-2034-A; NaN where nothing is heard at all.

    `listening_window` is that about the axis, `early_reflections` of floor, ceiling and walls, `sound_power` of all
    directions.
    """

    listening_window: Floats
    early_reflections: Floats
    sound_power: Floats

    @property
    def in_room(self) -> Floats:
        """What a room is estimated to add up to, (F,) Pa2: 12 % window, 44 % early reflections, 44 % sound power."""
        window, early, power = IN_ROOM
        return window * self.listening_window + early * self.early_reflections + power * self.sound_power

    @property
    def directivity_index(self) -> Floats:
        """How far the listening window is above the sound power, dB (F,)."""
        return _ratio(self.listening_window, self.sound_power)

    @property
    def early_directivity_index(self) -> Floats:
        """How far the listening window is above the early reflections, dB (F,)."""
        return _ratio(self.listening_window, self.early_reflections)


def _ratio(over: Floats, under: Floats) -> Floats:
    """In dB (F,); NaN where both are nothing."""
    heard = under > 0
    found = np.full(over.shape, np.nan)
    found[heard] = 10 * np.log10(np.maximum(over[heard] / under[heard], 1e-50))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """A variant off its axis: rms pressure (F,) in Pa at `distance` (m), in `curves` by plane and angle in degrees.

    At each `frequency` (F,) in Hz, for `volts` rms, with the averages over them. Both planes have every angle from -170
    to 180, or from -90 to 90 in a wall (`half_space`); they share 0 and 180. `seating` is None for a variant that says
    nothing of seats.
    """

    variant: Variant
    frequency: Floats
    volts: float
    distance: float
    half_space: bool
    curves: Mapping[str, Mapping[int, Complexes]]
    averages: Averages
    seating: Seating | None

    @property
    def on_axis(self) -> Complexes:
        return self.curves["horizontal"][0]

    @property
    def silent(self) -> bool:
        """Whether nothing is heard on any of the curves."""
        return not np.any(self.averages.sound_power > 0)


def around(kit: Kit, result: Prediction) -> Around:
    """What a predicted variant does in both planes, at the prediction's frequencies and volts, and at its seats.

    The currents are the prediction's; the cabinet's diffraction is worked out for all directions together. Raises
    KitError where the listening distance does not clear the cabinet, and for a cabinet that is neither in a wall nor
    of known size.
    """
    variant, frequency = result.variant, result.frequency
    half_space = variant.placement.kind == "in_wall"
    if not half_space and variant.cabinet.baffle is None:
        at, allowed = f"variants.{variant.name}.placement", "give the baffle's size, or placement: in_wall"
        found = f"{variant.name} is not in a wall, and its cabinet {variant.cabinet.name} has no baffle"
        raise KitError([kit.finding("error", "placement_needs_baffle", at, found, allowed)], kit.name)
    model = build(kit, variant)
    current = np.stack([driver.current for driver in result.drivers.values()], axis=1)
    sent = strengths(model, motion(model, frequency), own_diffraction(model, frequency)).driven(current)
    places = list(_places(half_space))
    directions = np.array([direction(plane, angle) for plane, angle in places])
    clears = "for curves all round, a listening distance that clears the cabinet on every side"
    with kit.blaming("listening_outside", f"variants.{variant.name}", clears):
        paths = paths_around(model, frequency, result.distance, directions, free_field=True)
    pressures = np.einsum("fpk,fk->pf", paths, sent)
    curves: dict[str, dict[int, Complexes]] = {plane: {} for plane in PLANES}
    for (plane, angle), pressure in zip(places, pressures, strict=True):
        for each in PLANES if angle in (0, BEHIND) else (plane,):
            curves[each][angle] = pressure
    ordered = {plane: dict(sorted(curves[plane].items())) for plane in PLANES}
    squared = {plane: {angle: np.abs(p) ** 2 for angle, p in ordered[plane].items()} for plane in PLANES}
    return Around(
        variant,
        frequency,
        result.volts,
        result.distance,
        half_space,
        ordered,
        averages(squared),
        seating(model, result),
    )


def _places(half_space: bool) -> Iterator[tuple[str, int]]:
    """Plane and angle of every curve, each direction once: 70 in free air, 37 before a wall."""
    farthest = BESIDE if half_space else BEHIND
    for plane in PLANES:
        for angle in range(-farthest, farthest + STEP, STEP):
            if angle != -BEHIND and (plane == "horizontal" or angle not in (0, BEHIND)):
                yield plane, angle


def direction(plane: str, angle: float) -> Floats:
    """The unit vector (3,) of the room, right, up and to the front, at an angle in degrees in a plane."""
    turned = math.radians(angle)
    beside, ahead = math.sin(turned), math.cos(turned) if abs(angle) != 90 else 0.0
    vector = {"horizontal": (beside, 0.0, ahead), "vertical": (0.0, beside, ahead)}
    return np.array(vector[plane])


def averages(squared: Mapping[str, Mapping[int, Floats]]) -> Averages:
    """The averages over curves of squared pressure (F,) by plane and angle in degrees, in free air or before a wall.

    Early reflections are the mean of their groups, each the mean of its curves (the standard's groups have 3 to 19).
    Before a wall, where no curve goes beyond 90 degrees, there is no group of the rear wall.
    """
    window = [squared[plane][angle] for plane, angles in LISTENING_WINDOW.items() for angle in angles]
    whole = BEHIND in squared["horizontal"]
    groups = [
        np.mean([squared[plane][angle] for angle in angles], axis=0)
        for name, (plane, angles) in REFLECTIONS.items()
        if whole or name != "rear wall"
    ]
    return Averages(np.mean(window, axis=0), np.mean(groups, axis=0), _power(squared, BEHIND if whole else BESIDE))


def _power(squared: Mapping[str, Mapping[int, Floats]], farthest: int) -> Floats:
    """The mean over the sphere, or the half of it before a wall: each of the four half planes for its own quarter."""
    total, area = np.zeros_like(squared["horizontal"][0]), 0.0
    for plane in PLANES:
        for side in (-1, 1):
            for angle in range(0, farthest + STEP, STEP):
                share = area_share(angle, farthest)
                total += share * squared[plane][angle if angle == BEHIND else side * angle]
                area += share
    return np.asarray(total / area)


def area_share(angle: int, farthest: int = BEHIND) -> float:
    """How much of the sphere a curve of one half plane stands for, at `angle` (0 to 180 degrees, in steps of 10).

    Four planes through the middle of the sphere, each at b to the axis, cut the solid angle 4 asin(sin^2 b) out of it
    (a right pyramid). Between those of angle - 5 and angle + 5 lies a square ring, a quarter of it for each half plane.
    This gives the weights that CTA-2034-A prints, to one in the ninth place; its one weight for 0 and 180 degrees is a
    quarter of a square too, so that the list adds up to one only if both count in all four half planes.
    """
    return (_pyramid(min(angle + STEP / 2, farthest)) - _pyramid(max(angle - STEP / 2, 0.0))) / (16 * math.pi)


def _pyramid(half_angle: float) -> float:
    cut = 4 * math.asin(math.sin(math.radians(half_angle)) ** 2)
    return cut if half_angle <= 90 else 4 * math.pi - cut


def decibels(squared: Floats) -> Floats:
    """Squared rms pressures (F,), Pa2, in dB re 20 uPa."""
    return level(np.sqrt(squared))
