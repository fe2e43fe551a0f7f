"""Lines from the inside: their resonances, where along them the pressure is, and how long their bends act."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from enclosures.bends import Bend
from enclosures.line import Line
from system.build import Build, Cell
from system.kit import LineChamber
from system.predict import chambers, solve
from system.summary import SILENCE
from system.transfer import motion

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

MOST = 3  # resonances looked at
PLACES = 200  # at least, along a line


@dataclass(frozen=True, slots=True)
class BendPath:
    """A bend by the number of its `section` in the profile (from 0): its length along the centre, and as it acts, m."""

    section: int
    centre: float
    acts: float


@dataclass(frozen=True, slots=True, eq=False)
class LinePressure:
    """A line: its first R `resonances` (Hz), lossless and unfilled with cones held still, and the pressure there.

    `chamber` is its number (see `system.predict.chambers`). `pressure` (R, P) in Pa rms at `places` (P,) in m from the
    closed end, as the variant drives it. `drivers` and `mouths` are places (m) by name.
    """

    chamber: int
    resonances: tuple[float, ...]
    places: Floats
    pressure: Complexes
    drivers: Mapping[str, float]
    mouths: Mapping[str, float]
    bends: tuple[BendPath, ...]

    @property
    def levels(self) -> Floats:
        """Each row of the pressure in dB re its own largest, (R, P); NaN where nothing moves."""
        size = np.abs(self.pressure)
        largest = size.max(axis=1, keepdims=True)
        with np.errstate(invalid="ignore"):  # silence over silence
            return np.asarray(20 * np.log10(np.maximum(size / largest, SILENCE)))


def lines(model: Build, volts: float) -> tuple[LinePressure, ...]:
    """Every line of a build with drivers in it, driven by `volts` rms. Raises KitError without a solution."""
    return tuple(_lines(model, volts))


def _lines(model: Build, volts: float) -> Iterator[LinePressure]:
    for number, chamber, cell in chambers(model):
        line = cell.enclosure
        if not isinstance(chamber, LineChamber) or not isinstance(line, Line):
            continue
        resonances = line.resonances(model.air, MOST)
        places, pressure = _pressure(model, cell, line, np.array(resonances), volts)
        yield LinePressure(
            chamber=number,
            resonances=resonances,
            places=places,
            pressure=pressure,
            drivers=dict(zip([model.names[i] for i in cell.members], line.positions, strict=True)),
            mouths={
                name: line.length if mouth.at is None else mouth.at
                for name, mouth in zip(cell.opening_names, chamber.mouths, strict=True)
            },
            bends=tuple(_bends(chamber)),
        )


def _pressure(model: Build, cell: Cell, line: Line, frequency: Floats, volts: float) -> tuple[Floats, Complexes]:
    """Along `line` at `frequency` (R,), from the velocities that the whole variant gives its cones."""
    moved = motion(model, frequency)
    current = solve(model, moved, volts).load_current
    members = list(cell.members)
    velocity = np.einsum("fij,fj->fi", moved.velocity, current)[:, members]
    sd = np.array([model.moving(i).sd for i in members])
    places, pressure = line.pressure_along(2 * np.pi * frequency, model.air, velocity * sd, line.length / PLACES)
    return np.asarray(places, dtype=np.float64), pressure


def _bends(chamber: LineChamber) -> Iterator[BendPath]:
    for number, section in enumerate(chamber.profile):
        if section.bend:
            bend = Bend(section.bend.angle, section.bend.inner_radius, section.bend.across)
            yield BendPath(number, bend.centre_length, bend.path_length)
