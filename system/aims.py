"""What the values of a variant are held against: how far from the target it is, and the limits that stay kept.

The acoustics per ampere are those of the variant's drivers on their cabinet, which no part changes; what a part changes
is how many amperes there are. So a variant is worked out once, and every set of values is one more solution of its
network. Levels are of the amplifier's one volt; the target's own level is free.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from filters import parts
from filters.elimination import Builds, solve_builds
from filters.network import Network
from filters.sensitivity import Gradients, gradients
from system import summary
from system.around import LISTENING_WINDOW
from system.build import Build, build, capacitor
from system.document import DocumentError
from system.findings import Finding, KitError, usage_error
from system.kit import HIGHEST_OF_PROGRAMME, Kit, Part, RevalueSpec, State, Target, Variant
from system.predict import PEAK, reference_band
from system.signal import Signal
from system.tables import TARGET, TableFaults, read_table
from system.target import asked_level
from system.transfer import motion, transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

POINTS = 72  # frequencies at which the level counts
CHECKS = 64  # frequencies, from 10 Hz up, at which limits are looked at while values are sought
WORSE = 10 ** (0.5 / 20)  # what is over its limit already may grow by this much, 0.5 dB
DECIBEL = 20 / math.log(10)  # dB in a neper
FAINT = 1e-30  # of any limit: keeps logarithms finite
# Degrees sideways and up; the window's nine are those of `system.around`.
DIRECTIONS: Mapping[str, Sequence[tuple[int, int]]] = {
    "axis": ((0, 0),),
    "listening_window": (
        *((angle, 0) for angle in LISTENING_WINDOW["horizontal"]),
        *((0, angle) for angle in LISTENING_WINDOW["vertical"]),
    ),
}

# A part of its kind with other values (numbers, or arrays (B,)); the resistance is that of a coil's wire.
MADE: Mapping[str, Callable[[Part, parts.Quantity, parts.Quantity], parts.Part]] = {
    "resistor": lambda _part, value, _wire: parts.Resistor(value),
    "capacitor": lambda part, value, _wire: capacitor(part, value),
    "coil": lambda _part, value, wire: parts.Coil(value, wire),
}


def _capacitor_by_loss(part: Any, omega: Floats) -> Floats:
    """Of tan d/(w C) + G/(G^2 + (w C)^2), by C."""
    leakage = 0.0 if part.leakage_resistance is None else 1 / part.leakage_resistance
    tangent, susceptance = part.dissipation_factor or 0.0, omega * part.capacitance
    square = leakage**2 + susceptance**2
    return np.asarray(-tangent * omega / susceptance**2 - 2 * leakage * omega * susceptance / square**2)


# What the resistance in which a part's heat arises changes by its value (F,): ohm per ohm, farad and henry.
BY_LOSS: Mapping[str, Callable[[Any, Floats], Floats]] = {
    "resistor": lambda _, omega: np.ones(omega.size),
    "capacitor": _capacitor_by_loss,
    "coil": lambda _, omega: np.zeros(omega.size),
}


@dataclass(frozen=True, slots=True)
class Fitting:
    """What is fitted in one place: `value` (SI), and of an article in stock its wire (ohm) and rating, if it has any.

    None of the last two: as the kit's own part has them.
    """

    value: float
    wire: float | None = None
    rating: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """The frequencies (F,) Hz of the band that counts, and what is asked for there, (F,) dB."""

    frequency: Floats
    target: Floats

    @classmethod
    def of(cls, spec: RevalueSpec) -> Scale:
        """Raises KitError for a band that is none, and for a table that does not cover it."""
        if not 0 < spec.lowest < spec.highest:
            raise usage_error(
                f"a band from {spec.lowest:g} Hz to {spec.highest:g} Hz", "revalue.from lies below revalue.to"
            )
        frequency = np.geomspace(spec.lowest, spec.highest, POINTS)
        return cls(frequency, asked_level(spec.target, frequency))


def read_target(word: str) -> Target:
    """The target of the command line: `flat`, or a file of levels. Raises KitError."""
    if word == "flat":
        return Target()
    try:
        return Target(table=read_table(Path(word), word, TARGET))
    except DocumentError as error:
        faults = [error]
    except TableFaults as error:
        faults = error.faults
    raise KitError(
        Finding(
            "error", f.code, f.mark.file or word, max(1, f.mark.line), max(1, f.mark.column), "", f.found, f.allowed
        )
        for f in faults
    )


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """The acoustics of a variant at `omega` (G,): the F frequencies of the band, then the H at which limits count."""

    model: Build  # with the kit's own values
    scale: Scale
    omega: Floats  # (G,)
    load: Complexes  # (G, N, N) ohm
    heard: Complexes  # (F, D, N) Pa/A in each direction
    axis: Complexes  # (H, N) Pa/A
    excursion: Complexes  # (H, N, N) m/A
    signal: Signal  # at the H frequencies
    shares: Floats  # (H,) of the reference level

    @classmethod
    def of(cls, kit: Kit, variant: Variant, over: str, scale: Scale, checks: Floats | None = None) -> Scene:
        """`checks` (H,) Hz are those of a closer look. Raises KitError where a direction cannot be heard."""
        model = build(kit, variant)
        checks = np.geomspace(10.0, HIGHEST_OF_PROGRAMME, CHECKS) if checks is None else checks
        band, whole = transfer(model, scale.frequency), transfer(model, checks)
        return cls(
            model=model,
            scale=scale,
            omega=2 * np.pi * np.concatenate([scale.frequency, checks]),
            load=np.concatenate([band.impedance, whole.impedance]),
            heard=np.stack(list(_directions(model, over, scale.frequency)), axis=1),
            axis=whole.total_pressure,
            excursion=whole.excursion,
            signal=Signal.of(kit, variant, checks),
            shares=_shares(checks, reference_band(variant)),
        )

    @property
    def count(self) -> int:
        return self.scale.frequency.size


def _directions(model: Build, over: str, frequency: Floats) -> Iterator[Complexes]:
    """Pressure per ampere (F, N) in each of the directions about the one in which the kit is listened to."""
    kit, variant, moved = model.kit, model.variant, motion(model, frequency)
    for sideways, upward in DIRECTIONS[over]:
        listening = variant.listening
        turned = replace(
            listening,
            angle_horizontal=listening.angle_horizontal + math.radians(sideways),
            angle_vertical=listening.angle_vertical + math.radians(upward),
        )
        with kit.blaming("listening_outside", f"variants.{variant.name}", f"{over}: {sideways} and {upward} degrees"):
            here = replace(model, variant=replace(variant, listening=turned))
            yield transfer(here, frequency, moved=moved).total_pressure


def _shares(frequency: Floats, band: tuple[float, float]) -> Floats:
    """How much each frequency counts in a mean over the band, evenly in log frequency; they add up to 1."""
    inside = (frequency >= band[0]) & (frequency <= band[1])
    return np.asarray(
        np.where(inside, np.gradient(np.log(frequency)), 0.0) / np.gradient(np.log(frequency))[inside].sum()
    )


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What sets of values make of a variant; `...` is nothing, or (B,) for a batch."""

    deviation: Floats  # (..., F) dB from the target, whose level is free
    level: Floats  # (...,) dB, the reference level on the axis
    impedance: Floats  # (..., H) ohm
    excursion: Floats  # (..., E, S) m, one-way peak; S is 1 on a programme, H on a swept sine
    watts: Floats  # (..., W, S)

    @property
    def rms(self) -> Floats:
        return np.asarray(np.sqrt(np.mean(self.deviation**2, axis=-1)))

    @property
    def worst(self) -> Floats:
        return np.asarray(np.max(np.abs(self.deviation), axis=-1))


@dataclass(frozen=True, slots=True)
class Bounds:
    """What stays kept: `impedance` (ohm) and `level` (dB) at least, `excursion` (m) and `watts` by name at most."""

    impedance: float
    level: float
    excursion: Mapping[str, float]
    watts: Mapping[str, float]


@dataclass(frozen=True, slots=True, eq=False)
class Aim:
    """One variant with its places in certain states, and `moving`, the fitted parts whose values are sought."""

    scene: Scene
    network: Network
    places: Mapping[str, Part]  # every fitted part
    moving: tuple[str, ...]
    bounds: Bounds

    @classmethod
    def of(cls, scene: Scene, moving: Sequence[str], quieter: float) -> Aim:
        """The variant as the kit has it, its own figures giving the bounds. Raises KitError as `solve` does."""
        model = scene.model
        places = {name: place.part for name, place in model.variant.places.items() if place.state == "fit"}
        fitted = tuple(name for name in moving if name in places)
        free = Bounds(
            0.0,
            -math.inf,
            dict.fromkeys(_judged(model), math.inf),
            {name: math.inf for name, part in places.items() if part.power_rating is not None},
        )
        unbound = cls(scene, model.network, places, fitted, free)
        own = unbound.measure(unbound.own)
        return replace(unbound, bounds=_bounds(model, own, unbound, quieter))

    @property
    def own(self) -> dict[str, Fitting]:
        """The kit's own values of the moving parts."""
        return {name: Fitting(self.places[name].value) for name in self.moving}

    def in_states(self, states: Mapping[str, State], moving: Sequence[str]) -> Aim:
        """With some places in other states, under the same bounds; a part that is fitted now may be of those moving."""
        variant = self.scene.model.variant
        changed = {name: replace(place, state=states.get(name, place.state)) for name, place in variant.places.items()}
        model = build(self.scene.model.kit, replace(variant, places=changed))
        places = {name: place.part for name, place in changed.items() if place.state == "fit"}
        watts = {n: self.bounds.watts.get(n, part.power_rating) for n, part in places.items() if part.power_rating}
        return replace(
            self,
            network=model.network,
            places=places,
            moving=tuple(name for name in moving if name in places),
            bounds=replace(self.bounds, watts={name: limit for name, limit in watts.items() if limit is not None}),
        )

    def measure(self, fittings: Mapping[str, Fitting]) -> Measured:
        """One set of values. Raises KitError where the circuit has no solution."""
        values = {name: np.array(each.value) for name, each in fittings.items()}
        wires = {name: np.array(self._wire(name, each)) for name, each in fittings.items()}
        return self._solved(values, wires)

    def measure_all(self, sets: Sequence[Sequence[Fitting]]) -> Measured:
        """A batch (B,) of sets, each in the order of `moving`."""
        values, wires = {}, {}
        for name, column in zip(self.moving, zip(*sets, strict=True), strict=True):
            values[name] = np.array([each.value for each in column])
            wires[name] = np.array([self._wire(name, each) for each in column])
        found = self._solved(values, wires)
        return found if self.moving else _repeated(found, len(sets))

    def excess(self, found: Measured, ratings: Mapping[str, Floats] | None = None) -> Floats:
        """By how many dB (...,) the worst of the limits is passed; zero where all are kept.

        `ratings` (B,) of resistors are those of the articles in them, where they have any.
        """
        rows = [decibels for _, decibels in self._passed(found, ratings or {})]
        return np.asarray(np.maximum(0.0, np.max(np.concatenate(rows, axis=-1), axis=-1)))

    def passed(self, found: Measured, ratings: Mapping[str, float]) -> list[str]:
        """What of one set of values passes its limit, in words."""
        there = {name: np.array(rating) for name, rating in ratings.items()}
        return [what for what, decibels in self._passed(found, there) if np.max(decibels) > 0]

    def slope(self, values: Mapping[str, float]) -> tuple[Floats, Floats]:
        """Residuals (R,) of one set of values and their derivatives (R, K) by each moving value's logarithm.

        The first F are the deviation in dB, the rest how far limits are passed, zero where they are kept. The circuit's
        slopes are exact (`filters.sensitivity`).
        """
        model = self.scene.model
        here = {name: np.array(each) for name, each in values.items()}
        network = self._network(here, {name: np.array(self.places[name].resistance) for name in values})
        loads = np.broadcast_to(np.eye(len(network.loads), dtype=complex), self.scene.load.shape)
        with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
            found = gradients(
                network, self.scene.omega, self.scene.load, loads, 1.0, model.source_resistance, of_currents=True
            )
        return self._residuals(network, found, np.array([values[name] for name in self.moving]))

    def _wire(self, name: str, fitting: Fitting) -> float:
        return self.places[name].resistance if fitting.wire is None else fitting.wire

    def _solved(self, values: Mapping[str, Floats], wires: Mapping[str, Floats]) -> Measured:
        scene, model, rated = self.scene, self.scene.model, list(self.bounds.watts)
        network = self._network(values, wires)
        with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
            found = solve_builds(network, scene.omega, scene.load, 1.0, model.source_resistance, rated)
        parts = [network.element(name).part for name in rated]
        return self._measured(found, [part.loss_resistance(scene.omega[scene.count :]) for part in parts])

    def _network(self, values: Mapping[str, Floats], wires: Mapping[str, Floats]) -> Network:
        made = {name: MADE[self.places[name].kind](self.places[name], v, wires[name]) for name, v in values.items()}
        elements = tuple(replace(e, part=made.get(e.reference, e.part)) for e in self.network.elements)
        return replace(self.network, elements=elements)

    def _measured(self, solution: Builds, losses: Sequence[Floats]) -> Measured:
        """`losses` (..., H) in ohm are those of the parts whose rating counts."""
        scene, count = self.scene, self.scene.count
        current = solution.load_current
        heard = np.einsum("fdn,...fn->...fd", scene.heard, current[..., :count, :])
        level = 10 * np.log10(np.maximum(np.mean(np.abs(heard) ** 2, axis=-1), summary.SILENCE))
        off = level - scene.scale.target
        below = current[..., count:, :]
        axis = np.abs(np.einsum("hn,...hn->...h", scene.axis, below)) ** 2 @ scene.shares
        judged = [scene.model.names.index(name) for name in self.bounds.excursion]
        moved = PEAK * np.abs(np.einsum("hen,...hn->...eh", scene.excursion[:, judged], below))
        squares = np.moveaxis(np.abs(solution.element_current[..., count:, :]) ** 2, -1, 0)
        heat = np.zeros((*below.shape[:-2], len(losses), below.shape[-2]))
        for i, (square, loss) in enumerate(zip(squares, losses, strict=True)):
            # no heat without current, where a resistance may be infinite
            np.multiply(square, loss, out=heat[..., i, :], where=square > 0)
        return Measured(
            deviation=off - off.mean(axis=-1, keepdims=True),
            level=10 * np.log10(np.maximum(axis, summary.SILENCE)),
            impedance=np.abs(solution.input_impedance[..., count:] + scene.model.kit.amplifier.cable),
            excursion=np.sqrt(self._over(moved**2)) * (scene.signal.crest / PEAK * scene.signal.full),
            watts=self._over(heat) * scene.signal.full**2,
        )

    def _index(self, name: str) -> int:
        return [element.reference for element in self.network.elements].index(name)

    def _over(self, squares: Floats) -> Floats:
        """The mean over a programme, (..., 1), of squares (..., H) on sines; or those of a swept sine, (..., H)."""
        signal = self.scene.signal
        if signal.weights is not None:
            return np.asarray((squares @ signal.weights)[..., None])
        return np.asarray(squares * np.where(signal.frequency >= signal.lowest, signal.gain, 0.0) ** 2)

    def _passed(self, found: Measured, ratings: Mapping[str, Floats]) -> Iterator[tuple[str, Floats]]:
        """Each limit in words, and by how many dB (..., S) it is passed; below zero where it is kept."""
        bounds = self.bounds
        yield (
            "the lowest impedance",
            DECIBEL * np.log(max(bounds.impedance, FAINT) / np.clip(found.impedance, FAINT, 1 / FAINT)),
        )
        yield "the reference level", (bounds.level - found.level)[..., None]
        for i, (name, limit) in enumerate(bounds.excursion.items()):
            yield f"the excursion of {name}", DECIBEL * np.log(np.maximum(found.excursion[..., i, :] / limit, FAINT))
        for i, (name, limit) in enumerate(bounds.watts.items()):
            part = self.places[name]
            # an article's own rating counts; what the kit's part passes already, its successor may pass as far
            over = limit if part.power_rating is not None and limit > part.power_rating else 0.0
            allowed = np.maximum(ratings[name], over)[..., None] if name in ratings else limit
            yield f"the heat in {name}", DECIBEL / 2 * np.log(np.maximum(found.watts[..., i, :] / allowed, FAINT))

    def _residuals(self, network: Network, found: Gradients, by_log: Floats) -> tuple[Floats, Floats]:
        """Of one set of values; the derivatives follow `_measured` and `_passed` line by line."""
        scene, count, bounds = self.scene, self.scene.count, self.bounds
        moving = [self._index(name) for name in self.moving]
        current, by_current = found.output, found.by_value[..., moving] * by_log  # (G, N), (G, N, K)
        heard = np.einsum("fdn,fn->fd", scene.heard, current[:count])
        by_heard = np.einsum("fdn,fnk->fdk", scene.heard, by_current[:count])
        power = np.maximum(np.sum(np.abs(heard) ** 2, axis=1), summary.SILENCE)
        by_level = DECIBEL * np.einsum("fd,fdk->fk", heard.conj(), by_heard).real / power[:, None]
        off = 10 * np.log10(power) - scene.scale.target
        rows = [(off - off.mean(), by_level - by_level.mean(axis=0))]

        seen = found.input_impedance[count:] + scene.model.kit.amplifier.cable
        by_seen = (seen.conj()[:, None] * found.input_by_value[count:, moving]).real * by_log
        square = np.clip(np.abs(seen) ** 2, FAINT, 1 / FAINT)  # of an open input, too
        short = DECIBEL / 2 * np.log(max(bounds.impedance, FAINT) ** 2 / square)
        rows.append((short, -DECIBEL * by_seen / square[:, None]))

        below, by_below = current[count:], by_current[count:]
        pressure = np.einsum("hn,hn->h", scene.axis, below)
        by_pressure = np.einsum("hn,hnk->hk", scene.axis, by_below)
        mean = max(float(np.abs(pressure) ** 2 @ scene.shares), summary.SILENCE)
        by_mean = 2 * ((scene.shares * pressure.conj()) @ by_pressure).real
        rows.append((np.array([bounds.level - 10 * math.log10(mean)]), -DECIBEL / 2 * by_mean[None] / mean))

        for name, limit in bounds.excursion.items():
            driver = scene.model.names.index(name)
            moved = np.einsum("hn,hn->h", scene.excursion[:, driver], below)
            by_moved = 2 * (moved.conj()[:, None] * np.einsum("hn,hnk->hk", scene.excursion[:, driver], by_below)).real
            scaled = (scene.signal.crest * scene.signal.full / limit) ** 2
            rows.append(self._grown(np.abs(moved) ** 2, by_moved, scaled))
        for name, limit in bounds.watts.items():
            k, omega = self._index(name), scene.omega[count:]
            part: parts.Part = network.elements[k].part
            amperes, by_amperes = (
                found.element_current[count:, k],
                found.current_by_value[count:, k][:, moving] * by_log,
            )
            loss = part.loss_resistance(omega)
            by_heat = 2 * (amperes.conj()[:, None] * by_amperes).real * loss[:, None]
            if name in self.moving:
                at = self.moving.index(name)
                by_heat[:, at] += np.abs(amperes) ** 2 * BY_LOSS[self.places[name].kind](part, omega) * by_log[at]
            rows.append(self._grown(np.abs(amperes) ** 2 * loss, by_heat, scene.signal.full**2 / limit))
        residuals = [rows[0][0], *(np.maximum(0.0, value) for value, _ in rows[1:])]
        derivatives = [rows[0][1], *(np.where(value[:, None] > 0, slope, 0.0) for value, slope in rows[1:])]
        return np.concatenate(residuals), np.concatenate(derivatives)

    def _grown(self, squares: Floats, by_squares: Floats, scale: float) -> tuple[Floats, Floats]:
        """dB by which squares (H,) pass one over `scale`, over the signal; and their derivatives (., K)."""
        value = np.maximum(self._over(squares) * scale, FAINT)
        return DECIBEL / 2 * np.log(value), DECIBEL / 2 * self._over(by_squares.T).T * scale / value[:, None]


def _repeated(found: Measured, count: int) -> Measured:
    """Of a variant in which nothing moves, as a batch."""
    return Measured(**{
        name: np.repeat(getattr(found, name)[None], count, axis=0)
        for name in ("deviation", "level", "impedance", "excursion", "watts")
    })  # fmt: skip


def _judged(model: Build) -> list[str]:
    """Drivers whose excursion is known, and its linear limit too."""
    return [
        name
        for name, data, driver in zip(model.names, model.data, model.drivers, strict=True)
        if driver is not None and data.linear_excursion is not None
    ]


def _bounds(model: Build, own: Measured, aim: Aim, quieter: float) -> Bounds:
    """A limit of the kit, or what the kit's own values make of it where those are beyond it already.

    Raises KitError where no current flows.
    """
    lowest = float(own.impedance.min())
    if math.isinf(lowest):
        name = model.variant.name
        found = f"{name} draws no current, so that no value does anything"
        allowed = "fit what is left out, or ask without it"
        raise KitError([model.kit.finding("error", "revalue_impossible", f"variants.{name}", found, allowed)])
    stands = model.kit.amplifier.lowest_load
    data = dict(zip(model.names, model.data, strict=True))
    excursion, watts = {}, {}
    for i, name in enumerate(aim.bounds.excursion):
        linear, reached = data[name].linear_excursion, float(own.excursion[i].max())
        assert linear is not None
        excursion[name] = linear if reached <= linear else reached * WORSE
    for i, name in enumerate(aim.bounds.watts):
        rating, reached = aim.places[name].power_rating, float(own.watts[i].max())
        assert rating is not None
        watts[name] = rating if reached <= rating else reached * WORSE**2
    return Bounds(lowest if stands is None else min(stands, lowest), float(own.level) - quieter, excursion, watts)


@dataclass(slots=True, eq=False)
class Aims:
    """The variants of a kit, each in the states that were asked for so far."""

    variants: Sequence[Variant]
    moving: tuple[str, ...]
    own: Sequence[Aim]
    restated: dict[tuple[int, tuple[State, ...]], Aim] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        kit: Kit,
        variants: Sequence[Variant],
        moving: tuple[str, ...],
        spec: RevalueSpec,
        checks: Floats | None = None,
    ) -> Aims:
        """`checks` as for `Scene.of`; raises KitError as that, `Scale.of` and `Aim.of` do."""
        scale = Scale.of(spec)
        scenes = [Scene.of(kit, each, spec.over, scale, checks) for each in variants]
        return cls(variants, moving, [Aim.of(scene, moving, spec.quieter) for scene in scenes])

    def at(self, variant: int, states: Mapping[str, State]) -> Aim:
        """The variant of this number with the moving places in these states."""
        key = variant, tuple(states[name] for name in self.moving)
        if key not in self.restated:
            places, aim = self.variants[variant].places, self.own[variant]
            same = all(places[name].state == state for name, state in states.items())
            self.restated[key] = aim if same else aim.in_states(states, self.moving)
        return self.restated[key]
