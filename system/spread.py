"""How far apart copies of a kit come out, how many of them stay alike and within its limits, and what decides.

Copies are drawn (`system.builds`) and all of them solved. Beside that stands what needs no drawing: the exact
derivatives of level and impedance by every part and driver figure, which say whose tolerance matters.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from filters.elimination import solve_builds
from filters.sensitivity import gradients
from system import summary
from system.build import Build, build
from system.builds import (
    VARIANCES,
    Common,
    Draws,
    DriverFactors,
    draw,
    figures,
    tolerance,
)
from system.findings import Finding
from system.kit import HIGHEST_OF_PROGRAMME, Kit, SpreadSpec, Variant, Window
from system.members import member_weights
from system.predict import PEAK, peak_excursion, pressure, solve
from system.shares import Share
from system.signal import Signal
from system.transfer import transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]
Mask = NDArray[np.bool_]

VOLTS = 2.83  # rms at the amplifier, of every level that is told
AN_OCTAVE = 12  # frequencies
# What is told of a curve over all copies: its name, and the share of copies that lie below it.
QUANTILES: Mapping[str, float] = {
    "lowest": 0.0,
    "p5": 0.05,
    "p25": 0.25,
    "p50": 0.5,
    "p75": 0.75,
    "p95": 0.95,
    "highest": 1.0,
}
DECIBELS = 20 / math.log(10)  # of a small relative change
STEP = 1e-4  # of a driver's figure, in the derivative of the acoustics


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """A curve over frequency: that of the kit itself, and by the names of `QUANTILES` those of all copies, (F,)."""

    nominal: Floats  # (F,) dB or ohm
    quantiles: Mapping[str, Floats]  # (F,) dB or ohm


@dataclass(frozen=True, slots=True)
class Edge:
    """Where (Hz) most copies are not alike any more, and how many of them there (a share)."""

    frequency: float  # Hz
    share: float


@dataclass(frozen=True, slots=True)
class Kept:
    """One limit: its `value` and what comes of it in the copies (SI, in `unit`), for the kit itself and at quantiles.

    A linear excursion is that of each copy's own driver, and `value` the nominal one.
    """

    what: str
    value: float
    unit: str
    nominal: float
    nominal_keeps: bool
    quantiles: Mapping[str, float]
    share: Share


@dataclass(frozen=True, slots=True, eq=False)
class Influence:
    """What one part or driver figure does to the kit, alone: `tolerance` is a ratio, of a driver's level in dB.

    The largest change of `level` (dB) that its tolerance makes, in the window's band at `level_hz` and `anywhere`;
    that of the `impedance` (ohm) in the window's band; and its share of the variance of the level, over that band and
    at each frequency (F,).
    """

    variant: str
    of: str
    tolerance: float
    assumed: bool
    level: float
    level_hz: float
    anywhere: float
    anywhere_hz: float
    impedance: float
    impedance_hz: float
    share_of_variance: float  # 0 to 1
    shares: Floats  # (F,) 0 to 1


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """One variant: `level` in dB at `distance` for `VOLTS`, `difference` the same against the kit, `impedance` in ohm.

    `of_parts` is the share of alike copies if all drivers were as their data say. `deviation` and `expected` (F,)
    are the standard deviation of the level (dB), of the copies and from the derivatives; `level_outside` and
    `impedance_outside` (F,) the shares of copies that are off by more than the kit's `spread` allows, in the band and
    elsewhere.
    An edge is None where no copy leaves. `assumed` are parts and `drivers_assumed` driver figures whose tolerances the
    kit does not give.
    """

    variant: Variant
    frequency: Floats  # (F,) Hz
    level: Band
    difference: Band
    impedance: Band
    deviation: Floats
    expected: Floats
    level_outside: Floats
    impedance_outside: Floats
    inside: Share
    alike: Share
    level_alike: Share
    impedance_alike: Share
    of_parts: Share
    level_edge: Edge | None
    impedance_edge: Edge | None
    limits: tuple[Kept, ...]
    in_limits: Share
    not_judged: tuple[tuple[str, str], ...]
    influences: tuple[Influence, ...]
    assumed: tuple[str, ...]
    drivers_assumed: tuple[str, ...]
    nothing_drawn: bool  # all tolerances are zero


def spread(kit: Kit, variant: Variant, count: int, seed: int, law: str | None = None) -> Spread:
    """Draw `count` copies of a variant and solve them all; `law` is that of the kit where it is None.

    Raises KitError where the circuit has no solution.
    """
    model = build(kit, variant)
    frequency = _grid(kit)
    acoustics = transfer(model, frequency)
    common = Common.of(model, frequency, acoustics)
    draws = draw(kit, variant, count, seed, law)
    band = _in_band(kit.window, frequency)
    of_parts = Share.of(np.logical_and(*_Rows.of(common, draws.of_parts).alike(kit.spread, band)))
    rows = _Rows.of(common, draws)

    level_kept, impedance_kept = rows.alike(kit.spread, band)
    level_outside = np.mean(np.abs(rows.level) > kit.spread.level, axis=1)
    impedance_outside = np.mean(np.abs(rows.impedance_change) > kit.spread.impedance, axis=1)
    limits = list(_limits(model, rows))
    in_limits = np.all([np.ones(count, bool), *(kept for _, kept in limits)], axis=0)
    sources = list(_sources(common, VARIANCES[law or kit.spread.law]))
    variance = sum((source.variance for source in sources), np.zeros(frequency.size))
    level = summary.level(VOLTS * rows.nominal_pressure)
    differences = _quantiles(rows.level)
    return Spread(
        variant=variant,
        frequency=frequency,
        level=Band(level, {name: level + values for name, values in differences.items()}),
        difference=Band(np.zeros(frequency.size), differences),
        impedance=Band(rows.nominal_impedance, _quantiles(rows.impedance)),
        deviation=np.std(rows.level, axis=1, dtype=np.float64),
        expected=np.sqrt(variance),
        inside=Share.of(level_kept & impedance_kept & in_limits),
        alike=Share.of(level_kept & impedance_kept),
        level_alike=Share.of(level_kept),
        impedance_alike=Share.of(impedance_kept),
        of_parts=of_parts,
        level_outside=level_outside,
        impedance_outside=impedance_outside,
        level_edge=_edge(frequency, level_outside, band),
        impedance_edge=_edge(frequency, impedance_outside, band),
        limits=tuple(limit for limit, _ in limits),
        in_limits=Share.of(in_limits),
        not_judged=tuple(_not_judged(model)),
        influences=tuple(_influences(sources, variant.name, frequency, band)),
        assumed=draws.assumed,
        drivers_assumed=tuple(
            f"{n}.{figure}" for n, d in zip(model.names, model.data, strict=True) for figure in d.spread.assumed
        ),
        nothing_drawn=_nothing_drawn(model, draws),
    )


def nothing_to_draw(kit: Kit, results: Sequence[Spread]) -> tuple[Finding, ...]:
    """A note for every variant in which all tolerances are zero."""
    return tuple(
        kit.finding(
            "note", "nothing_to_draw", f"variants.{result.variant.name}",
            f"every tolerance in {result.variant.name} is 0", "all copies are the kit itself",
        )
        for result in results
        if result.nothing_drawn
    )  # fmt: skip


def _grid(kit: Kit) -> Floats:
    """Frequencies (F,) in Hz that hold the ends of the window and the lowest of the programme."""
    window, lowest = kit.window, kit.programme.lowest
    ends = min(20.0, lowest, window.lowest), max(HIGHEST_OF_PROGRAMME, window.highest)
    count = 1 + math.ceil(AN_OCTAVE * math.log2(ends[1] / ends[0]))
    every = np.concatenate([np.geomspace(*ends, count), [lowest, window.lowest, window.highest]])
    every = np.sort(every)
    return np.asarray(every[np.append(True, every[1:] > every[:-1] * (1 + 1e-9))])


def _in_band(window: Window, frequency: Floats) -> Mask:
    return (frequency >= window.lowest * (1 - 1e-9)) & (frequency <= window.highest * (1 + 1e-9))


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """What is kept of every copy: `level` (F, B) in dB against the kit, `impedance` (F, B) in ohm, as the amplifier
    sees it, and by the driver's name the `excursion` (B,) in m on the signal at full volume and the `allowed` (B,).

    Single precision is enough for a dB and halves the memory. On the nominal drivers no excursion is kept.
    """

    level: NDArray[np.float32]
    impedance: NDArray[np.float32]
    excursion: Mapping[str, Floats]
    allowed: Mapping[str, Floats]
    nominal_pressure: Complexes  # (F,) for one volt
    nominal_impedance: Floats  # (F,)
    nominal_excursion: Mapping[str, float]

    @classmethod
    def of(cls, common: Common, draws: Draws) -> _Rows:
        model, frequency, cable = common.model, common.moved.frequency, common.model.kit.amplifier.cable
        signal = Signal.of(model.kit, model.variant, frequency)
        solution = solve(model, common.nominal, 1.0)
        nominal = pressure(common.nominal, solution.load_current)
        moving = _limited(model) if draws.drivers else {}
        level, impedance = np.empty((2, frequency.size, draws.builds), np.float32)
        excursion = {name: np.empty(draws.builds) for name in moving}
        for builds, copies in common.chunks(draws):
            with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
                found = solve_builds(
                    copies.network, 2 * np.pi * frequency, copies.impedance, 1.0, model.source_resistance
                )
            heard = summary.level(copies.pressure(found.load_current)) - summary.level(nominal)
            level[:, builds] = heard.T
            impedance[:, builds] = np.abs(found.input_impedance + cable).T
            if moving:
                moves = copies.excursion(found.load_current)
                for name in moving:
                    excursion[name][builds] = _at_full_volume(signal, moves[:, :, model.names.index(name)])
        return cls(
            level=level,
            impedance=impedance,
            excursion=excursion,
            allowed={name: limit * draws.drivers[name].linear_excursion for name, limit in moving.items()},
            nominal_pressure=nominal,
            nominal_impedance=np.abs(solution.input_impedance + cable),
            nominal_excursion={
                name: float(_at_full_volume(signal, peak_excursion(common.nominal, solution.load_current, i)))
                for i, name in enumerate(model.names)
                if name in moving
            },
        )

    @property
    def impedance_change(self) -> NDArray[np.float32]:
        """Of the magnitude (F, B) over that of the kit, less one; none between two that are infinite."""
        nominal = self.nominal_impedance[:, None].astype(np.float32)
        ratio = np.divide(self.impedance, nominal, out=np.ones_like(self.impedance), where=self.impedance != nominal)
        return ratio - 1

    def alike(self, spec: SpreadSpec, band: Mask) -> tuple[Mask, Mask]:
        """Which copies (B,) keep the level, the mean difference kept in, and the impedance, in the band."""
        level, impedance = (np.max(np.abs(rows[band]), axis=0) for rows in (self.level, self.impedance_change))
        return level <= spec.level, impedance <= spec.impedance


def _limited(model: Build) -> dict[str, float]:
    """The linear excursion (m) of every driver that has one and whose excursion can be told."""
    known = zip(model.names, model.data, model.drivers, strict=True)
    return {
        name: data.linear_excursion
        for name, data, driver in known
        if driver is not None and data.linear_excursion is not None
    }


def _at_full_volume(signal: Signal, peak: Floats) -> Floats:
    """One-way peak (...) of the signal at full volume, from those of sines of one volt rms (..., F)."""
    if signal.weights is None:
        heard = np.where(signal.frequency >= signal.lowest * (1 - 1e-9), signal.gain, 0.0)
        return np.asarray(signal.rated * np.max(peak * heard, axis=-1))
    return np.asarray(signal.crest * signal.full * np.sqrt((peak / PEAK) ** 2 @ signal.weights))


def _limits(model: Build, rows: _Rows) -> Iterator[tuple[Kept, Mask]]:
    """Each limit, and which copies (B,) keep it."""
    for name, value in _limited(model).items():
        reached, nominal = rows.excursion[name], rows.nominal_excursion[name]
        kept = reached <= rows.allowed[name]
        what = f"linear excursion of {name}"
        yield Kept(what, value, "m", nominal, nominal <= value, _single_quantiles(reached), Share.of(kept)), kept
    load = model.kit.amplifier.lowest_load
    if load is not None:
        reached, nominal = rows.impedance.min(axis=0).astype(np.float64), float(rows.nominal_impedance.min())
        kept = reached >= load
        what = "lowest impedance"
        yield Kept(what, load, "ohm", nominal, nominal >= load, _single_quantiles(reached), Share.of(kept)), kept


def _not_judged(model: Build) -> Iterator[tuple[str, str]]:
    for name, data, driver in zip(model.names, model.data, model.drivers, strict=True):
        if driver is None:
            yield f"excursion of {name}", f"{data.name} is known by its tables only"
        elif data.linear_excursion is None:
            yield f"excursion of {name}", f"{data.name} has no linear_excursion"
    if model.kit.amplifier.lowest_load is None:
        yield "lowest impedance", "the amplifier has no lowest_load"
    yield "ratings of parts", "stress judges them, on the nominal values"


def _quantiles(rows: NDArray[np.floating[Any]]) -> dict[str, Floats]:
    """Of rows (..., B): values of copies themselves, none between two."""
    found = np.quantile(rows, list(QUANTILES.values()), axis=-1, method="inverted_cdf").astype(np.float64)
    return dict(zip(QUANTILES, found, strict=True))


def _single_quantiles(values: Floats) -> dict[str, float]:
    return {name: float(value) for name, value in _quantiles(values).items()}


def _edge(frequency: Floats, outside: Floats, band: Mask) -> Edge | None:
    """From the shares of copies that are outside (F,)."""
    shares = np.where(band, outside, 0.0)
    most = int(np.argmax(shares))
    return Edge(float(frequency[most]), float(shares[most])) if shares[most] > 0 else None


def _nothing_drawn(model: Build, draws: Draws) -> bool:
    drawn = [draws.values[element.reference] for element in model.network.elements]
    drawn += [getattr(factors, each.name) for factors in draws.drivers.values() for each in fields(factors)]
    return all(np.ptp(values) == 0 for values in drawn)


@dataclass(frozen=True, slots=True, eq=False)
class _Source:
    """What one part or driver figure does at its full tolerance: `level` (F,) in dB, `impedance` (F,) in ohm.

    `variance` (F,) in dB^2 is what it adds to that of the level.
    """

    of: str
    tolerance: float
    assumed: bool
    level: Floats
    impedance: Floats
    variance: Floats


def _sources(common: Common, variance: float) -> Iterator[_Source]:
    """All that is drawn and heard; `variance` is that of the law for a tolerance of one."""
    model, acoustics = common.model, common.nominal
    heard = acoustics.total_pressure[:, None, :]
    omega = 2 * np.pi * acoustics.frequency
    with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
        found = gradients(model.network, omega, acoustics.impedance, heard, 1.0, model.source_resistance)
    if not np.all(found.output):
        return  # nothing is heard
    impedance = found.input_impedance + model.kit.amplifier.cable

    def source(
        of: str, far: float, assumed: bool, of_pressure: Complexes, of_impedance: Complexes, group: float = 1.0
    ) -> _Source:
        """From derivatives by the relative value; `group` is the square sum of what the members of a group count."""
        level = far * DECIBELS * (of_pressure / found.output[:, 0]).real
        ohms = far * (of_impedance * impedance.conj()).real / np.abs(impedance)
        return _Source(of, far, assumed, level, ohms, variance * group * level**2)

    for k, element in enumerate(model.network.elements):
        part = model.variant.places[element.reference].part
        far, value = tolerance(part), part.marked
        if far * value > 0:
            by_pressure, by_input = found.by_value[:, 0, k] * value, found.input_by_value[:, k] * value
            group = sum(weight**2 for weight in member_weights(part))
            yield source(element.reference, far, part.tolerance is None, by_pressure, by_input, group)
    current = solve(model, acoustics, 1.0).load_current
    for i, figure, of_load, of_heard in _of_drivers(common):
        far, assumed = getattr(model.data[i].spread, figure), figure in model.data[i].spread.assumed
        by_pressure = np.einsum("fn,fn->f", of_heard, current)
        by_pressure += np.einsum("fmn,fmn->f", found.by_load[:, 0], of_load)
        by_input = np.einsum("fmn,fmn->f", found.input_by_load, of_load)
        yield source(f"{model.names[i]}.{figure}", far, assumed, by_pressure, by_input)


def _of_drivers(common: Common) -> Iterator[tuple[int, str, Complexes, Complexes]]:
    """How the load (F, N, N) and what is heard per ampere (F, N) go with each figure of each driver that has a spread.

    By the relative figure, by dB for a level: central differences of `Copies`, good to the square of `STEP`.
    """
    model = common.model
    spreading = [
        (i, figure) for i, data in enumerate(model.data) for figure in figures(data) if getattr(data.spread, figure) > 0
    ]
    if not spreading:
        return
    count = 2 * len(spreading)
    drivers = {}
    for i, name in enumerate(model.names):
        factors = {each.name: np.ones(count) for each in fields(DriverFactors)}
        for row, (at, figure) in enumerate(spreading):
            if at == i:
                step = 10 ** (STEP / 20) if figure == "level" else 1 + STEP
                back = 1 / step if figure == "level" else 1 - STEP
                factors[figure][2 * row : 2 * row + 2] = step, back
        drivers[name] = DriverFactors(**factors)
    copies = common.copies(Draws(count, {}, drivers))
    for row, (i, figure) in enumerate(spreading):
        slopes = [
            (array[2 * row] - array[2 * row + 1]) / (2 * STEP) for array in (copies.impedance, copies.total_pressure)
        ]
        if any(np.any(slope) for slope in slopes):
            yield i, figure, *slopes


def _influences(sources: Sequence[_Source], variant: str, frequency: Floats, band: Mask) -> Iterator[Influence]:
    """The one that makes most of the variance first, those alike in their order on the board."""
    everything = sum((source.variance for source in sources), np.zeros(frequency.size))
    total = float(everything[band].sum())

    def largest(values: Floats, where: Mask) -> tuple[float, float]:
        size = np.where(where, np.abs(values), -1.0)
        most = int(np.argmax(size))
        return float(size[most]), float(frequency[most])

    for source in sorted(sources, key=lambda each: -round(float(each.variance[band].sum()) / (total or 1.0), 6)):
        yield Influence(
            variant,
            source.of,
            source.tolerance,
            source.assumed,
            *largest(source.level, band),
            *largest(source.level, np.ones_like(band)),
            *largest(source.impedance, band),
            float(source.variance[band].sum()) / total if total > 0 else 0.0,
            np.divide(source.variance, everything, out=np.zeros_like(everything), where=everything > 0),
        )
