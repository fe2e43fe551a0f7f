"""The chain: enclosure -> crossover -> baffle diffraction -> placement, for one variant at a time.

Everything a driver does is linear in its current, so the acoustics are kept per ampere (`Transfer`) and the network
says how many amperes there are. Decisions that try many parts solve the network again and keep the transfer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from enclosures.acoustics import electrical_load
from enclosures.baffle import Box, Source
from enclosures.placement import Surroundings, listening_point, paths
from filters import network
from system import summary, tabulated
from system.build import Build, build
from system.kit import Cutout, Kit, ResponseTable, Variant

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

FRONT_ORIGIN = Cutout("front", (0.0, 0.0))
FORWARD = np.array([0.0, 0.0, 1.0])
PEAK = math.sqrt(2)  # one-way peak of a sine over its rms


@dataclass(frozen=True, slots=True, eq=False)
class Transfer:
    """What N drivers on their enclosures do per ampere in each of them; rms throughout, delay of the distance removed.

    `impedance` (F, N, N) ohm; `excursion` (F, N, N) m/A, NaN rows for drivers known by tables only; `opening_speed`
    (F, M, N) m/s/A; `driver_pressure` (F, N, N), `opening_pressure` (F, M, N) and `leak_pressure` (F, N) Pa/A.
    """

    frequency: Floats
    impedance: Complexes
    excursion: Complexes
    opening_speed: Complexes
    driver_pressure: Complexes
    opening_pressure: Complexes
    leak_pressure: Complexes

    @property
    def total_pressure(self) -> Complexes:
        """Pressure at the listening point per ampere of each driver, (F, N), Pa/A."""
        return np.asarray(self.driver_pressure.sum(axis=1) + self.opening_pressure.sum(axis=1) + self.leak_pressure)


def transfer(model: Build, frequency: Floats) -> Transfer:
    """The acoustics of a build per ampere of driver current, at `frequency` (F,) in Hz."""
    omega = 2 * np.pi * frequency
    n, f = len(model.drivers), frequency.size
    openings = sum(len(cell.opening_names) for cell in model.cells)
    impedance = np.zeros((f, n, n), complex)
    velocity = np.zeros((f, n, n), complex)
    flow = np.zeros((f, openings, n), complex)
    leak = np.zeros((f, len(model.cells), n), complex)
    areas = np.ones(openings)
    done = 0
    for c, cell in enumerate(model.cells):
        members = np.array(cell.members)
        if cell.enclosure is None and model.data[members[0]].impedance is not None:
            table = model.data[members[0]].impedance
            assert table is not None
            impedance[:, members, members] = tabulated.impedance(table, frequency)[:, None]
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
        if cell.enclosure is not None:
            areas[here] = cell.enclosure.opening_areas
        done += len(cell.opening_names)
    moving = np.array([driver is not None for driver in model.drivers])
    excursion = velocity / (1j * omega[:, None, None])
    excursion[:, ~moving, :] = np.nan
    to_driver, to_opening, to_leak, to_driver_in_cabinet = _listening_paths(model, areas, frequency)
    charge = (1j * omega * model.air.density / (2 * np.pi))[:, None]  # p = j w rho U G / (2 pi)
    sd = np.array([driver.sd if driver else 0.0 for driver in model.drivers])
    driver_pressure = (charge * sd * to_driver)[:, :, None] * velocity
    for i, data in enumerate(model.data):
        if data.response is not None:
            path = to_driver_in_cabinet if data.response.mounted == "this_cabinet" else to_driver
            per_volt = _table_pressure(data.response, frequency) * path[:, i]
            driver_pressure[:, i, :] = per_volt[:, None] * impedance[:, i, :]
    return Transfer(
        frequency=frequency,
        impedance=impedance,
        excursion=excursion,
        opening_speed=np.asarray(flow / areas[:, None]),
        driver_pressure=driver_pressure,
        opening_pressure=(charge * to_opening)[:, :, None] * flow,
        leak_pressure=np.einsum("fk,fkn->fn", charge * to_leak, leak),
    )


def _table_pressure(response: ResponseTable, frequency: Floats) -> Complexes:
    """Pressure times distance (F,), Pa m per volt across the driver: the table brought to one metre and one volt."""
    return np.asarray(tabulated.pressure(response.table, frequency) * (response.distance / response.volts))


def _listening_paths(
    model: Build, areas: Floats, frequency: Floats
) -> tuple[Complexes, Complexes, Complexes, Complexes]:
    """Paths G (F, ...) from drivers, openings and leaks, and from drivers whose table holds the cabinet's diffraction.

    Per metre, p = j w rho U G / (2 pi), diffraction and placement included, the listening distance's delay removed.
    """
    variant, omega = model.variant, 2 * np.pi * frequency
    cabinet, listening = variant.cabinet, variant.listening
    box = None
    if cabinet.baffle:
        box = Box(cabinet.baffle.width, cabinet.baffle.height, cabinet.baffle.depth)
    centre = Cutout("front", (box.width / 2, box.height / 2)) if box else FRONT_ORIGIN
    axis = cabinet.cutouts.get(axis_name(variant), centre)
    places = bool(cabinet.cutouts)  # without any, all that radiates is one point
    radii = [math.sqrt(data.sd / math.pi) if data.sd and places else 0.0 for data in model.data]
    drivers = [_source(box, cabinet.cutouts.get(n, axis), a) for n, a in zip(model.names, radii, strict=True)]
    cutouts = [cutout for cell in model.cells for cutout in cell.opening_cutouts]
    openings = [
        _source(box, c or axis, math.sqrt(a / math.pi) if places else 0.0) for c, a in zip(cutouts, areas, strict=True)
    ]
    leaks = [_source(box, cabinet.cutouts.get(model.names[cell.members[0]], axis), 0.0) for cell in model.cells]
    place = variant.placement
    surroundings = Surroundings(
        in_wall=place.kind == "in_wall",
        wall_behind=place.wall_behind,
        wall_left=place.wall_left,
        wall_right=place.wall_right,
        below=place.below,
        above=place.above,
        attitude=variant.attitude,
    )
    listener = listening_point(
        _source(box, axis, 0.0).position,
        listening.distance,
        listening.angle_horizontal,
        listening.angle_vertical,
        variant.attitude,
    )
    undelayed = np.exp(1j * omega * listening.distance / model.air.speed_of_sound)[:, None]
    every = paths(box, surroundings, [*drivers, *openings, *leaks], listener, omega, model.air) * undelayed
    n, m = len(drivers), len(openings)
    in_cabinet = every[:, :n]
    if place.kind != "in_wall" and any(d.response and d.response.mounted == "this_cabinet" for d in model.data):
        in_cabinet = in_cabinet / _own_diffraction(model, box, drivers, omega)
    return every[:, :n], every[:, n : n + m], every[:, n + m :], in_cabinet


def _own_diffraction(model: Build, box: Box | None, drivers: list[Source], omega: Floats) -> Complexes:
    """What the cabinet in free air does to each driver (F, N) at its table's own point: the path there over 1/r.

    A table measured in this cabinet holds it already, so it is divided out. Ones for drivers without such a table.
    """
    result = np.ones((omega.size, len(drivers)), complex)
    for i, (data, source) in enumerate(zip(model.data, drivers, strict=True)):
        if data.response and data.response.mounted == "this_cabinet":
            distance = data.response.distance
            point = source.position + distance * source.normal
            path = paths(box, Surroundings(), [source], point, omega, model.air)[:, 0]
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


@dataclass(frozen=True, slots=True, eq=False)
class DriverPrediction:
    """One driver: rms `volts` from plus to minus mark and `current` (F,), one-way peak `excursion` (F,) in m."""

    volts: Complexes
    current: Complexes
    excursion: Floats | None
    pressure: Complexes


@dataclass(frozen=True, slots=True, eq=False)
class OpeningPrediction:
    """One port, mouth or radiator: one-way peak air `speed` (F,) in m/s, and its `pressure` (F,) in Pa."""

    speed: Floats
    pressure: Complexes


@dataclass(frozen=True, slots=True, eq=False)
class PartPrediction:
    """One fitted part: rms volts across its points, rms current, and the heat in its own resistance, W; (F,)."""

    volts: Complexes
    current: Complexes
    watts: Floats


@dataclass(frozen=True, slots=True)
class Summary:
    """Single figures on a grid of their own; None where there is no such figure."""

    sensitivity_db: float
    minus_3_db_hz: float | None
    minus_10_db_hz: float | None
    lowest_impedance_ohm: float | None  # None where no current flows
    lowest_impedance_hz: float | None
    rated_impedance_ohm: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """What one variant does at `volts` rms (amplifier's open-circuit output), at the listening point, sine by sine.

    `pressure` (F,) Pa rms with the delay of `distance` removed; `impedance` (F,) ohm as the amplifier sees it, the
    cable included and the amplifier's own output resistance not.
    """

    variant: Variant
    frequency: Floats
    volts: float
    distance: float
    pressure: Complexes
    impedance: Complexes
    drivers: Mapping[str, DriverPrediction]
    openings: Mapping[str, OpeningPrediction]
    parts: Mapping[str, PartPrediction]
    summary: Summary

    def excursion_at(self, driver: str, volts: float) -> Floats:
        """One-way peak excursion (F,) in m of a driver for another drive level, `volts` rms: everything is linear."""
        excursion = self.drivers[driver].excursion
        if excursion is None:
            raise ValueError(f"the excursion of {driver} is not known")
        return excursion * (volts / self.volts)

    def speed_at(self, opening: str, volts: float) -> Floats:
        """Peak air speed (F,) in m/s of an opening for another drive level, `volts` rms."""
        return self.openings[opening].speed * (volts / self.volts)


def predict(
    kit: Kit, variant: Variant, frequency: Floats, volts: float = 2.83, figures: Summary | None = None
) -> Prediction:
    """Predict `variant` of `kit` at `frequency` (F,) in Hz, rising, for `volts` rms at the amplifier's output.

    `figures` is the variant's summary where it is known from another prediction; without it, it is worked out.
    Raises KitError where the circuit has no solution; `system.checks.examine` judges what comes out.
    """
    model = build(kit, variant)
    acoustics = transfer(model, frequency)
    if figures is None:
        figures = summarise(model, acoustics if frequency is summary.GRID else None)
    solution = solve(model, acoustics, volts)
    current = solution.load_current
    pressures = np.einsum("fij,fj->fi", acoustics.driver_pressure, current)
    opening_pressures = np.einsum("fmj,fj->fm", acoustics.opening_pressure, current)
    speeds = PEAK * np.abs(np.einsum("fmj,fj->fm", acoustics.opening_speed, current))
    names = [name for cell in model.cells for name in cell.opening_names]
    return Prediction(
        variant=variant,
        frequency=frequency,
        volts=volts,
        distance=variant.listening.distance,
        pressure=np.einsum("fj,fj->f", acoustics.total_pressure, current),
        impedance=solution.input_impedance + kit.amplifier.cable,
        drivers={
            name: DriverPrediction(
                volts=solution.load_volts[:, i],
                current=current[:, i],
                excursion=peak_excursion(acoustics, current, i) if model.drivers[i] else None,
                pressure=pressures[:, i],
            )
            for i, name in enumerate(model.names)
        },
        openings={name: OpeningPrediction(speeds[:, m], opening_pressures[:, m]) for m, name in enumerate(names)},
        parts={
            part.reference: PartPrediction(
                solution.element_volts[:, k], solution.element_current[:, k], solution.element_watts[:, k]
            )
            for k, part in enumerate(model.network.elements)
        },
        summary=figures,
    )


def peak_excursion(acoustics: Transfer, current: Complexes, driver: int) -> Floats:
    """One-way peak excursion (..., F) in m of one driver for rms currents (..., F, N)."""
    return np.asarray(PEAK * np.abs(np.einsum("fj,...fj->...f", acoustics.excursion[:, driver, :], current)))


def solve(model: Build, acoustics: Transfer, volts: float) -> network.Solution:
    """The network's currents and voltages with the acoustics as its load. Raises KitError where it has no solution."""
    omega = 2 * np.pi * acoustics.frequency
    with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
        return network.solve(model.network, omega, acoustics.impedance, volts, model.source_resistance)


def reference_band(variant: Variant) -> tuple[float, float]:
    """The band of the reference level: 300 Hz to 3 kHz, or 100 to 400 Hz where only woofers are hooked up."""
    only_woofers = all(hookup.driver.role == "woofer" for hookup in variant.hookups.values())
    return summary.WOOFER_BAND if only_woofers else summary.BAND


def summarise(model: Build, acoustics: Transfer | None = None) -> Summary:
    """The single figures of a build, for 2.83 V and brought to 1 m; see `system.summary`.

    `acoustics` are those on the summary's grid, where they are at hand.
    """
    acoustics = acoustics or transfer(model, summary.GRID)
    solution = solve(model, acoustics, 2.83)
    pressure = np.einsum("fj,fj->f", acoustics.total_pressure, solution.load_current)
    low = summary.low_end(summary.GRID, summary.level(pressure), reference_band(model.variant))
    magnitude = np.abs(solution.input_impedance + model.kit.amplifier.cable)
    lowest = int(np.argmin(magnitude))
    flows = bool(np.isfinite(magnitude[lowest]))
    return Summary(
        sensitivity_db=low.reference + 20 * math.log10(model.variant.listening.distance),
        minus_3_db_hz=low.minus_3,
        minus_10_db_hz=low.minus_10,
        lowest_impedance_ohm=float(magnitude[lowest]) if flows else None,
        lowest_impedance_hz=float(summary.GRID[lowest]) if flows else None,
        rated_impedance_ohm=summary.rated_impedance(float(magnitude[lowest])) if flows else None,
    )
