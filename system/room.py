"""What the room does to one build: the power its cones and openings give off near planes, and how sure panels are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from enclosures import panels, placement
from enclosures.arrays import RealArray
from system.build import Build
from system.predict import flows
from system.transfer import Motion, Transfer, listening_paths, motion, scene_of, surroundings_of, transfer

Complexes = NDArray[np.complexfloating]

SMALL = 0.5  # of a wavelength: as long as a side of the cabinet may be where its sources are taken as points


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """What stands near a variant does: `power` (dB) radiated over that in free space at `frequency` (F,) up to where
    that can be said, and `uncertain` (dB, to either side) the level by its panels at all frequencies asked for."""

    frequency: RealArray
    power: RealArray
    uncertain: RealArray


def room(model: Build, acoustics: Transfer) -> Room | None:
    """None where nothing is near, or nothing sounds. Raises KitError where the circuit has no solution."""
    place, baffle = model.variant.placement, model.variant.cabinet.baffle
    if baffle is None or place.kind == "in_wall" or not (place.kind == "near_planes" or place.panels):
        return None
    current = flows(model, acoustics, 1.0).load_current
    longest = max(baffle.width, baffle.height, baffle.depth)
    low = acoustics.some(slice(int(np.searchsorted(acoustics.frequency, SMALL * model.air.speed_of_sound / longest))))
    moved = motion(model, low.frequency)
    if not np.all(np.any(current, axis=1)):
        return None
    power = 10 * np.log10(power_gain(model, moved, current[: low.frequency.size]))
    return Room(low.frequency, power, panels_uncertainty(model, acoustics, current))


def power_gain(model: Build, moved: Motion, current: Complexes) -> RealArray:
    """The power (F,) given off at low frequency as the variant stands over that in free space, a ratio.

    For rms currents (F, N) in the drivers; of all cones whose velocity is known, openings and leaks, as points of free
    air (`enclosures.placement.power_gain`): where their distances from the planes count, they are small against the
    wavelength, and so is the cabinet. Raises ValueError where nothing moves.
    """
    here = scene_of(model)
    sd = np.array([driver.sd if driver else 0.0 for driver in model.drivers])
    sent = np.concatenate([moved.velocity * sd[:, None], moved.flow, moved.leak], axis=1)
    flow = np.einsum("fkn,fn->fk", sent, current)
    sources = [*here.drivers, *here.openings, *here.leaks]
    return placement.power_gain(
        here.box, surroundings_of(model.variant), sources, flow, 2 * np.pi * moved.frequency, model.air
    )


def panels_uncertainty(model: Build, acoustics: Transfer, current: Complexes) -> RealArray:
    """How far (dB, to either side, (F,)) the level is to be trusted where panels are near, for rms currents (F, N).

    Half of what they do to it; zero without panels.
    """
    place = model.variant.placement
    if not place.panels:
        return np.zeros(acoustics.frequency.size)
    bare = replace(model, variant=replace(model.variant, placement=replace(place, panels=())))
    without = transfer(bare, acoustics.frequency, listening_paths(bare, acoustics.frequency))
    heard, alone = (np.einsum("fj,fj->f", each.total_pressure, current) for each in (acoustics, without))
    return panels.uncertainty(heard, alone)
