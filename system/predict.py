"""The chain: enclosure -> crossover -> baffle diffraction -> placement, for one variant at a time.

Everything a driver does is linear in its current, so the acoustics are kept per ampere (`Transfer`) and the network
says how many amperes there are. Decisions that try many parts solve the network again and keep the transfer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from filters import elimination, network
from system import summary
from system.build import Build, Cell, build
from system.kit import Chamber, Kit, OpeningSpec, RadiatorSpec, Variant
from system.transfer import Motion, Transfer, transfer

if TYPE_CHECKING:
    from system.detail import Detail

__all__ = [
    "PEAK",
    "DriverPrediction",
    "Motion",
    "OpeningPrediction",
    "PartPrediction",
    "Prediction",
    "SpeedLimit",
    "Summary",
    "Transfer",
    "chambers",
    "flows",
    "opening_specs",
    "opening_speeds",
    "peak_excursion",
    "predict",
    "prediction",
    "pressure",
    "reference_band",
    "solve",
    "summarise",
    "transfer",
]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

PEAK = math.sqrt(2)  # one-way peak of a sine over its rms


def chambers(model: Build) -> list[tuple[int, Chamber, Cell]]:
    """Every chamber with drivers: its number among the variant's chambers from 0, its description, its cell.

    What the variant leaves out whole is not counted. Their cells come first in a build and in the same order; closed
    backs follow.
    """
    here = enumerate(model.variant.cabinet.chambers)
    inhabited = [(i, chamber) for i, chamber in here if any(name in model.names for name in chamber.drivers)]
    return [(i, chamber, cell) for (i, chamber), cell in zip(inhabited, model.cells, strict=False)]


def opening_specs(model: Build) -> dict[str, OpeningSpec]:
    """Every opening by its name, in the order of the cells."""
    return {
        name: spec
        for _, chamber, cell in chambers(model)
        for name, spec in zip(cell.opening_names, chamber.openings, strict=True)
    }


@dataclass(frozen=True, slots=True, eq=False)
class DriverPrediction:
    """One driver: rms `volts` from plus to minus mark and `current` (F,), one-way peak `excursion` (F,) in m."""

    volts: Complexes
    current: Complexes
    excursion: Floats | None
    pressure: Complexes  # (F,) Pa rms, at the listening point


@dataclass(frozen=True, slots=True)
class SpeedLimit:
    """The peak air `speed` (m/s) that an opening is to stay under, and at which `volts` rms a sine reaches it.

    That is at its worst `frequency` (Hz) from the programme's lowest up; None of both where no air moves.
    """

    speed: float
    volts: float | None
    frequency: float | None


@dataclass(frozen=True, slots=True, eq=False)
class OpeningPrediction:
    """One port, mouth or radiator: one-way peak air `speed` (F,) in m/s, and its `pressure` (F,) in Pa.

    A radiator has a one-way peak `excursion` (F,) in m, a port or mouth a speed `limit`; each None for the other.
    """

    spec: OpeningSpec
    speed: Floats
    pressure: Complexes
    excursion: Floats | None
    limit: SpeedLimit | None


@dataclass(frozen=True, slots=True, eq=False)
class PartPrediction:
    """One fitted part: rms volts across its points, rms current, and the heat in its own resistance, W; (F,)."""

    volts: Complexes
    current: Complexes
    watts: Floats  # (F,) W


@dataclass(frozen=True, slots=True)
class Summary:
    """Single figures on a grid of their own; None where there is no such figure. `limits` by the opening's name."""

    sensitivity_db: float
    minus_3_db_hz: float | None
    minus_10_db_hz: float | None
    lowest_impedance_ohm: float | None  # None where no current flows
    lowest_impedance_hz: float | None
    rated_impedance_ohm: float | None
    limits: Mapping[str, SpeedLimit]


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """What one variant does at `volts` rms (amplifier's open-circuit output), at the listening point, sine by sine.

    `pressure` (F,) Pa rms with the delay of `distance` removed; `impedance` (F,) ohm as the amplifier sees it, the
    cable included and the amplifier's own output resistance not. `detail` is there only where it was asked for.
    """

    variant: Variant
    frequency: Floats  # (F,) Hz, rising
    volts: float
    distance: float
    pressure: Complexes
    impedance: Complexes
    drivers: Mapping[str, DriverPrediction]
    openings: Mapping[str, OpeningPrediction]
    parts: Mapping[str, PartPrediction]
    summary: Summary
    detail: Detail | None = None

    def excursion_at(self, driver: str, volts: float) -> Floats:
        """One-way peak excursion (F,) in m of a driver for another drive level, `volts` rms: everything is linear."""
        excursion = self.drivers[driver].excursion
        if excursion is None:
            raise ValueError(f"the excursion of {driver} is not known")
        return excursion * (volts / self.volts)

    def speed_at(self, opening: str, volts: float) -> Floats:
        """Peak air speed (F,) in m/s of an opening for another drive level, `volts` rms."""
        return self.openings[opening].speed * (volts / self.volts)

    def radiator_excursion_at(self, radiator: str, volts: float) -> Floats:
        """One-way peak excursion (F,) in m of a passive radiator for another drive level, `volts` rms."""
        excursion = self.openings[radiator].excursion
        if excursion is None:
            raise ValueError(f"{radiator} is an opening without a cone")
        return excursion * (volts / self.volts)


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
    return prediction(model, acoustics, volts, figures)


def prediction(model: Build, acoustics: Transfer, volts: float, figures: Summary) -> Prediction:
    """What a build does with its `acoustics` at `volts` rms. Raises KitError where the circuit has no solution."""
    solution = solve(model, acoustics, volts)
    current = solution.load_current
    pressures = np.einsum("fij,fj->fi", acoustics.driver_pressure, current)
    return Prediction(
        variant=model.variant,
        frequency=acoustics.frequency,
        volts=volts,
        distance=model.variant.listening.distance,
        pressure=pressure(acoustics, current),
        impedance=solution.input_impedance + model.kit.amplifier.cable,
        drivers={
            name: DriverPrediction(
                volts=solution.load_volts[:, i],
                current=current[:, i],
                excursion=peak_excursion(acoustics, current, i) if model.drivers[i] else None,
                pressure=pressures[:, i],
            )
            for i, name in enumerate(model.names)
        },
        openings=_openings(model, acoustics, current, figures.limits),
        parts={
            part.reference: PartPrediction(
                solution.element_volts[:, k], solution.element_current[:, k], solution.element_watts[:, k]
            )
            for k, part in enumerate(model.network.elements)
        },
        summary=figures,
    )


def _openings(
    model: Build, acoustics: Transfer, current: Complexes, limits: Mapping[str, SpeedLimit]
) -> dict[str, OpeningPrediction]:
    pressures = np.einsum("fmj,fj->fm", acoustics.opening_pressure, current)
    speeds = opening_speeds(acoustics, current)
    found = {}
    for m, (name, spec) in enumerate(opening_specs(model).items()):
        moves = isinstance(spec, RadiatorSpec)
        excursion = speeds[:, m] / (2 * np.pi * acoustics.frequency) if moves else None
        found[name] = OpeningPrediction(spec, speeds[:, m], pressures[:, m], excursion, limits.get(name))
    return found


def pressure(acoustics: Transfer, current: Complexes) -> Complexes:
    """All together at the listening point, (F,) Pa rms, for rms currents (F, N)."""
    return np.asarray(np.einsum("fj,fj->f", acoustics.total_pressure, current))


def opening_speeds(acoustics: Transfer, current: Complexes) -> Floats:
    """Peak air speed (F, M) in m/s of every opening for rms currents (F, N)."""
    return np.asarray(PEAK * np.abs(np.einsum("fmj,fj->fm", acoustics.opening_speed, current)))


def peak_excursion(acoustics: Transfer, current: Complexes, driver: int) -> Floats:
    """One-way peak excursion (..., F) in m of one driver for rms currents (..., F, N)."""
    return np.asarray(PEAK * np.abs(np.einsum("fj,...fj->...f", acoustics.excursion[:, driver, :], current)))


def solve(model: Build, acoustics: Transfer | Motion, volts: float) -> network.Solution:
    """The network's currents and voltages with the acoustics as its load. Raises KitError where it has no solution."""
    omega = 2 * np.pi * acoustics.frequency
    with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
        return network.solve(model.network, omega, acoustics.impedance, volts, model.source_resistance)


def flows(
    model: Build, acoustics: Transfer | Motion, volts: float, impedance: Complexes | None = None
) -> elimination.Builds:
    """The drivers' currents and the input's impedance, which is all that most ask of `solve`, in a tenth of its time.

    Of one build, or of B of them: of as many parts in a place (`system.refit.with_parts`), or with `impedance`
    (B, F, N, N) in ohm instead of that of the acoustics. Raises KitError where one has no solution.
    """
    omega = 2 * np.pi * acoustics.frequency
    loads = acoustics.impedance if impedance is None else impedance
    with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
        return elimination.solve_builds(model.network, omega, loads, volts, model.source_resistance)


def reference_band(variant: Variant) -> tuple[float, float]:
    """The band of the reference level: 300 Hz to 3 kHz, or 100 to 400 Hz where only woofers are hooked up."""
    only_woofers = all(hookup.driver.role == "woofer" for hookup in variant.hookups.values())
    return summary.WOOFER_BAND if only_woofers else summary.BAND


def summarise(model: Build, acoustics: Transfer | None = None) -> Summary:
    """The single figures of a build, for 2.83 V and brought to 1 m; see `system.summary`.

    `acoustics` are those on the summary's grid, where they are at hand.
    """
    acoustics = acoustics or transfer(model, summary.GRID)
    solution = flows(model, acoustics, 2.83)
    level = summary.level(pressure(acoustics, solution.load_current))
    low = summary.low_end(summary.GRID, level, reference_band(model.variant))
    magnitude = np.abs(solution.input_impedance + model.kit.amplifier.cable)
    lowest = int(np.argmin(magnitude))
    drawn = bool(np.isfinite(magnitude[lowest]))
    return Summary(
        sensitivity_db=low.reference + 20 * math.log10(model.variant.listening.distance),
        minus_3_db_hz=low.minus_3,
        minus_10_db_hz=low.minus_10,
        lowest_impedance_ohm=float(magnitude[lowest]) if drawn else None,
        lowest_impedance_hz=float(summary.GRID[lowest]) if drawn else None,
        rated_impedance_ohm=summary.rated_impedance(float(magnitude[lowest])) if drawn else None,
        limits=_speed_limits(model, opening_speeds(acoustics, solution.load_current) / 2.83),
    )


def _speed_limits(model: Build, speeds: Floats) -> dict[str, SpeedLimit]:
    """When the air gets too fast in each port and mouth; `speeds` (F, M) are peaks on the summary's grid, per volt."""
    heard = model.kit.programme.lowest <= summary.GRID
    frequency = summary.GRID[heard]
    limits = {}
    for m, (name, spec) in enumerate(opening_specs(model).items()):
        if isinstance(spec, RadiatorSpec):
            continue
        per_volt = speeds[heard, m]
        worst = int(np.argmax(per_volt))
        moves = bool(per_volt[worst] > 0)
        limits[name] = SpeedLimit(
            speed=spec.speed_limit,
            volts=float(spec.speed_limit / per_volt[worst]) if moves else None,
            frequency=float(frequency[worst]) if moves else None,
        )
    return limits
