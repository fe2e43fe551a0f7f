"""What the drivers of a build do per ampere in each of them: what moves, what the crossover sees, what is heard.

Everything is linear in the drivers' currents, so the acoustics are worked out without the network, and once for every
network that is tried on them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields

import numpy as np
from numpy.typing import NDArray

from enclosures import placement
from enclosures.acoustics import electrical_load
from enclosures.arrays import RealArray
from enclosures.baffle import Box, Source, free_paths
from enclosures.panels import Panel
from enclosures.placement import Surroundings, listening_point
from system import tabulated
from system.build import Build
from system.kit import Cutout, Variant

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

FRONT_ORIGIN = Cutout("front", (0.0, 0.0))
FORWARD = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """What N drivers on their enclosures move per ampere in each of them, and what the crossover sees; rms.

    `impedance` (F, N, N) ohm; `velocity` (F, N, N) m/s/A, zero for drivers known by tables only; `flow` (F, M, N) of
    the openings and `leak` (F, C, N) of the cells, m3/s/A, all outward.
    """

    frequency: Floats
    impedance: Complexes
    velocity: Complexes
    flow: Complexes
    leak: Complexes


def motion(model: Build, frequency: Floats) -> Motion:
    """The electro-acoustics of a build per ampere of driver current, at `frequency` (F,) in Hz."""
    omega = 2 * np.pi * frequency
    n, f = len(model.drivers), frequency.size
    openings = sum(len(cell.opening_names) for cell in model.cells)
    impedance = np.zeros((f, n, n), complex)
    velocity = np.zeros((f, n, n), complex)
    flow = np.zeros((f, openings, n), complex)
    leak = np.zeros((f, len(model.cells), n), complex)
    done = 0
    for c, cell in enumerate(model.cells):
        members = np.array(cell.members)
        if cell.enclosure is None and model.data[members[0]].impedance is not None:
            table = model.data[members[0]].impedance
            assert table is not None
            added = model.added_resistances[members[0]]  # the table is that of a cold coil
            impedance[:, members, members] = tabulated.impedance(table, frequency)[:, None] + added
            # a closed-back driver's cone moves as its force factor and its measured impedance say, if both are known
            driver = model.drivers[members[0]]
            if driver is not None:
                velocity[:, members, members] = (driver.bl / driver.mechanical_impedance(omega))[:, None]
            continue
        load = electrical_load([model.moving(i) for i in members], cell.enclosure, omega, model.air)
        impedance[:, members[:, None], members] = load.impedance
        velocity[:, members[:, None], members] = load.velocity
        here = np.arange(done, done + len(cell.opening_names))
        flow[:, here[:, None], members] = load.openings
        leak[:, c, members] = load.leak
        done += len(cell.opening_names)
    return Motion(frequency, impedance, velocity, flow, leak)


@dataclass(frozen=True, slots=True, eq=False)
class Transfer:
    """What N drivers on their enclosures do per ampere in each of them; rms throughout, delay of the distance removed.

    `impedance` (F, N, N) ohm; `excursion` (F, N, N) m/A, NaN rows for drivers known by tables only; `opening_speed`
    (F, M, N) m/s/A; `driver_pressure` (F, N, N), `opening_pressure` (F, M, N) and `leak_pressure` (F, N) Pa/A, heard
    along `paths`.
    """

    frequency: Floats
    impedance: Complexes
    excursion: Complexes
    opening_speed: Complexes
    driver_pressure: Complexes
    opening_pressure: Complexes
    leak_pressure: Complexes
    paths: Paths

    @property
    def total_pressure(self) -> Complexes:
        """Pressure at the listening point per ampere of each driver, (F, N), Pa/A."""
        return _together(self.driver_pressure, self.opening_pressure, self.leak_pressure)

    def some(self, which: slice) -> Transfer:
        """The same acoustics at some of their frequencies."""
        paths = Paths(*(getattr(self.paths, each.name)[which] for each in fields(Paths)))
        arrays = {each.name: getattr(self, each.name)[which] for each in fields(Transfer) if each.name != "paths"}
        return Transfer(**arrays, paths=paths)


def transfer(model: Build, frequency: Floats, paths: Paths | None = None, moved: Motion | None = None) -> Transfer:
    """The acoustics of a build per ampere of driver current, at `frequency` (F,) in Hz.

    `paths` are those of another build with everything in the same places, and `moved` of one with the same drivers on
    the same enclosures, where they are at hand.
    """
    moved = moved or motion(model, frequency)
    paths = paths or listening_paths(model, frequency)
    omega = 2 * np.pi * frequency
    moving = np.array([driver is not None for driver in model.drivers])
    excursion = moved.velocity / (1j * omega[:, None, None])
    excursion[:, ~moving, :] = np.nan
    drivers, openings, leaks = strengths(model, moved, paths.own).heard(paths)
    return Transfer(
        frequency=frequency,
        impedance=moved.impedance,
        excursion=excursion,
        opening_speed=np.asarray(moved.flow / _opening_areas(model)[:, None]),
        driver_pressure=drivers,
        opening_pressure=openings,
        leak_pressure=leaks,
        paths=paths,
    )


def _together(drivers: Complexes, openings: Complexes, leaks: Complexes) -> Complexes:
    return np.asarray(drivers.sum(axis=1) + openings.sum(axis=1) + leaks)


@dataclass(frozen=True, slots=True, eq=False)
class Strengths:
    """What is sent out per ampere in each of N drivers, before any way to a listener: times its path, a pressure.

    Of `drivers` (F, N, N), `openings` (F, M, N) and `leaks` (F, C, N), Pa m per ampere.
    """

    drivers: Complexes
    openings: Complexes
    leaks: Complexes

    def heard(self, paths: Paths) -> tuple[Complexes, Complexes, Complexes]:
        """Of drivers (F, N, N), openings (F, M, N) and all leaks (F, N), Pa per ampere at the end of `paths`."""
        leaks = np.einsum("fk,fkn->fn", paths.leaks, self.leaks)
        return self.drivers * paths.drivers[:, :, None], self.openings * paths.openings[:, :, None], leaks

    def total(self, paths: Paths) -> Complexes:
        """All that is heard at the end of `paths` per ampere of each driver, (F, N), Pa/A."""
        return _together(*self.heard(paths))

    def driven(self, current: Complexes) -> Complexes:
        """All of them, (F, N + M + C) Pa m, for rms currents (F, N)."""
        every = np.concatenate([self.drivers, self.openings, self.leaks], axis=1)
        return np.asarray(np.einsum("fkn,fn->fk", every, current))


def strengths(model: Build, moved: Motion, own: Complexes) -> Strengths:
    """Of all that radiates; `own` (F, N) as in `Paths`."""
    charge = (1j * moved.frequency * model.air.density)[:, None, None]  # p = j w rho U G / (2 pi)
    sd = np.array([driver.sd if driver else 0.0 for driver in model.drivers])
    drivers = charge * sd[:, None] * moved.velocity
    joined = joined_tables(model)
    for i in range(len(model.drivers)):
        if i in joined:
            ratio = table_over_piston(model, i, moved) / own[:, i]
            drivers[:, i] *= np.exp(table_share(model, i, moved.frequency) * np.log(ratio))[:, None]
        elif model.data[i].response is not None:
            drivers[:, i] = _per_ampere(model, i, moved) / own[:, i, None]
    return Strengths(drivers, charge * moved.flow, charge * moved.leak)


def _opening_areas(model: Build) -> Floats:
    """Of every opening in the order of the cells, (M,) m2."""
    return np.array([area for cell in model.cells if cell.enclosure for area in cell.enclosure.opening_areas])


def _per_ampere(model: Build, i: int, moved: Motion) -> Complexes:
    """Pressure times distance (F, N), Pa m per ampere in each driver, that driver `i` makes in a wall by its table."""
    response = model.data[i].response
    assert response is not None
    at_a_metre = tabulated.pressure(response.table, moved.frequency) * (response.distance / response.volts)
    # the table's volts were across a cold coil: those of this current without what the heat has added
    cold = moved.impedance[:, i, :].copy()
    cold[:, i] -= model.added_resistances[i]
    return np.asarray(at_a_metre[:, None] * cold)


# A driver in a chamber is a rigid piston at low frequency, where its response table knows nothing of the chamber, and
# what its table says where it no longer is one. Between these, in k a: half of what the piston's edge still hears of
# its middle in phase is lost at k a = 1 (our own choice).
JOIN = (0.5, 1.0)


def joined_tables(model: Build) -> tuple[int, ...]:
    """Drivers in a chamber that have a response table: below `JOIN` they are pistons, above it the table holds."""
    housed = {i for cell in model.cells if cell.enclosure for i in cell.members}
    return tuple(i for i in sorted(housed) if model.data[i].response is not None)


def join_band(model: Build, i: int) -> tuple[float, float]:
    """Between which frequencies (Hz) driver `i` passes from piston to table."""
    radius = math.sqrt(model.moving(i).sd / math.pi)
    low, high = (ka * model.air.speed_of_sound / (2 * math.pi * radius) for ka in JOIN)
    return low, high


def table_share(model: Build, i: int, frequency: Floats) -> Floats:
    """How much (F,) of the logarithm of table over piston counts: none below the band, all above it, smooth between."""
    low, high = join_band(model, i)
    t = np.clip(np.log(frequency / low) / math.log(high / low), 0.0, 1.0)
    return np.asarray(0.5 * (1.0 - np.cos(np.pi * t)))


def table_over_piston(model: Build, i: int, moved: Motion) -> Complexes:
    """What the table of driver `i` makes of one ampere over what its cone as a piston would, in a wall (F,)."""
    piston = 1j * moved.frequency * model.air.density * model.moving(i).sd * moved.velocity[:, i, i]
    return np.asarray(_per_ampere(model, i, moved)[:, i] / piston)


@dataclass(frozen=True, slots=True, eq=False)
class Paths:
    """Paths G to the listening point, 1/m: from `drivers` (F, N), `openings` (F, M) and `leaks` (F, C).

    p = j w rho U G / (2 pi), diffraction and placement included, the listening distance's delay removed. `own` (F, N)
    is what the cabinet's diffraction, which a table measured in it holds already, has put into a driver's table.
    """

    drivers: Complexes
    openings: Complexes
    leaks: Complexes
    own: Complexes


def listening_paths(model: Build, frequency: Floats) -> Paths:
    """The paths from all that radiates to the listening point, at `frequency` (F,) in Hz."""
    listening = model.variant.listening
    return paths_aside(model, frequency, [(listening.angle_horizontal, listening.angle_vertical)])[0]


def paths_aside(model: Build, frequency: Floats, angles: Sequence[tuple[float, float]]) -> list[Paths]:
    """`listening_paths` for listeners at other `angles` (rad, horizontal and vertical) to the axis, all in one go.

    Raises ValueError for a point in the cabinet or behind a plane.
    """
    scene, around, listening = scene_of(model), surroundings_of(model.variant), model.variant.listening
    points = [
        listening_point(scene.axis, listening.distance, *each, around.attitude, around.tilt, around.lean)
        for each in angles
    ]
    every = _paths(model, scene, around, points, listening.distance, frequency)
    own = own_diffraction(model, frequency)
    n, m = len(scene.drivers), len(scene.openings)
    return [Paths(every[:, p, :n], every[:, p, n : n + m], every[:, p, n + m :], own) for p in range(len(points))]


def paths_around(
    model: Build, frequency: Floats, distance: float, directions: Floats, free_field: bool = False
) -> Complexes:
    """Paths (F, P, N + M + C), 1/m, from drivers, openings and leaks to points all about the listening axis's cutout.

    The points are `distance` (m) from it along unit vectors `directions` (P, 3) of the room: right, up, to the front.
    With `free_field` the planes of the placement are left out, but not the wall that a cabinet is set into. The delay
    of the distance is removed. Raises ValueError for a point in the cabinet or behind a plane.
    """
    scene, around = scene_of(model), surroundings_of(model.variant)
    if free_field:
        around = Surroundings(around.attitude, around.in_wall, tilt=around.tilt, lean=around.lean)
    points = scene.axis + distance * (directions @ around.turn)
    return _paths(model, scene, around, list(points), distance, frequency)


def driver_positions(model: Build) -> Floats:
    """Where the drivers' centres are in the room: to the listener's right, up, and to the front, (N, 3) m."""
    return np.array([source.position for source in scene_of(model).drivers]) @ surroundings_of(model.variant).turn.T


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """All that radiates, in the cabinet frame, and where the listening axis begins, (3,)."""

    box: Box | None
    axis: RealArray
    drivers: list[Source]
    openings: list[Source]
    leaks: list[Source]


def scene_of(model: Build) -> Scene:
    """What radiates in a build, and from where."""
    cabinet = model.variant.cabinet
    box = None
    if cabinet.baffle:
        box = Box(cabinet.baffle.width, cabinet.baffle.height, cabinet.baffle.depth, cabinet.baffle.edge_radius)
    centre = Cutout("front", (box.width / 2, box.height / 2)) if box else FRONT_ORIGIN
    axis = cabinet.cutouts.get(axis_name(model.variant), centre)
    places = bool(cabinet.cutouts)  # without any, all that radiates is one point
    radii = [math.sqrt(data.sd / math.pi) if data.sd and places else 0.0 for data in model.data]
    drivers = [_source(box, cabinet.cutouts.get(n, axis), a) for n, a in zip(model.names, radii, strict=True)]
    cutouts = [cutout for cell in model.cells for cutout in cell.opening_cutouts]
    openings = [
        _source(box, cutout or axis, math.sqrt(area / math.pi) if places else 0.0)
        for cutout, area in zip(cutouts, _opening_areas(model), strict=True)
    ]
    leaks = [_source(box, cabinet.cutouts.get(model.names[cell.members[0]], axis), 0.0) for cell in model.cells]
    return Scene(box, _source(box, axis, 0.0).position, drivers, openings, leaks)


def surroundings_of(variant: Variant) -> Surroundings:
    """How a variant is set up, as the radiation model takes it."""
    place = variant.placement
    return Surroundings(
        in_wall=place.kind == "in_wall",
        wall_behind=place.wall_behind,
        wall_left=place.wall_left,
        wall_right=place.wall_right,
        below=place.below,
        above=place.above,
        attitude=variant.attitude,
        tilt=place.tilt,
        lean=place.lean,
        surfaces=place.surfaces,
        panels=tuple(Panel(**asdict(panel)) for panel in place.panels),
    )


def _paths(
    model: Build, scene: Scene, around: Surroundings, points: list[RealArray], distance: float, frequency: Floats
) -> Complexes:
    """To `points` (cabinet frame) (F, P, N + M + C), without the delay of `distance`."""
    omega = 2 * np.pi * frequency
    sources = [*scene.drivers, *scene.openings, *scene.leaks]
    if scene.box is not None and not (around.in_wall or around.planes or around.panels):  # no images: all in one go
        every = free_paths(scene.box, sources, np.array(points), omega, model.air)
    else:
        every = placement.paths_to_many(scene.box, around, sources, np.array(points), omega, model.air)
    return np.asarray(every * np.exp(1j * omega * distance / model.air.speed_of_sound)[:, None, None])


def own_diffraction(model: Build, frequency: Floats) -> Complexes:
    """What the cabinet in free air does to each driver (F, N) at its table's own point: the path there over 1/r.

    A table measured in this cabinet holds it already, so it is divided out. Ones for drivers without such a table, and
    in a wall.
    """
    scene, omega = scene_of(model), 2 * np.pi * frequency
    result = np.ones((omega.size, len(scene.drivers)), complex)
    if model.variant.placement.kind == "in_wall":
        return result
    for i, (data, source) in enumerate(zip(model.data, scene.drivers, strict=True)):
        if data.response and data.response.mounted == "this_cabinet":
            distance = data.response.distance
            point = source.position + distance * source.normal
            path = placement.paths(scene.box, Surroundings(), [source], point, omega, model.air)[:, 0]
            result[:, i] = path * distance * np.exp(1j * omega * distance / model.air.speed_of_sound)
    return result


def _source(box: Box | None, cutout: Cutout, radius: float) -> Source:
    if box is not None:
        return Source(*box.point(cutout.face, cutout.at), radius, cutout.set_back)
    return Source(np.array([*cutout.at, 0.0]), FORWARD, radius, cutout.set_back)  # a wall without a cabinet


def axis_name(variant: Variant) -> str:
    """The hookup name the listening distance runs from: as given, else the first tweeter, else the first."""
    tweeters = (h.name for h in variant.hookups.values() if h.driver.role == "tweeter")
    return variant.listening.axis or next(tweeters, next(iter(variant.hookups)))
