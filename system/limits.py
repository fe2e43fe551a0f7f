"""What gives first: at how many volts, on a sine of each frequency and on the programme, each limit is reached.

Volts are rms at the amplifier's open-circuit output. What moves is judged cold and small-signal, so everything grows
with the volts and one prediction tells every limit; the heat of a coil is judged hot, since it draws less then. A
limit that the kit does not state is not judged, and that is said.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.build import Build
from system.coils import Coils, Endurance, endurances
from system.kit import DriverData, Kit, RadiatorSpec, Variant
from system.predict import PEAK, Prediction, Summary, opening_specs, prediction
from system.ratings import TESTS
from system.signal import Signal
from system.transfer import Transfer

Floats = NDArray[np.float64]

ALIKE = 1e-3  # of the volts, 0.01 dB: such limits give together
COARSE = 3  # of the summary's grid, every such point is enough for a programme, and for the worst of a sine
EXCURSIONS = ("linear_excursion", "damage_excursion")
UPPER_SPEED = 2.0  # times an opening's limit, where its noise is plain (and its level lost 3 dB, see port_losses)


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """A quantity that grows with the volts, (F,) rms for one volt rms, and where it is to stop."""

    kind: str
    name: str
    phrase: str  # with {} for the name
    value: float
    unit: str
    per_volt: Floats
    peak: bool = False  # whether the signal's peak is held against `value`, else its rms
    order: int = 1  # 2: `per_volt` is the root of a power

    @property
    def size(self) -> float:
        """What `per_volt` grows to where the limit is reached."""
        return float(self.value ** (1 / self.order))

    @property
    def share(self) -> Floats:
        """How much of the limit a sine of one volt rms uses up, (F,); it grows with the volts."""
        return np.asarray(self.per_volt * (PEAK if self.peak else 1.0) / self.size)


@dataclass(frozen=True, slots=True, eq=False)
class Limit:
    """One limit of a variant: its `value` (SI, in `unit`) and the volts rms at which it is reached, inf where never.

    `volts` (F,) are those of a sine at the amplifier's output; `programme` those of the programme; `swept`, at
    `swept_hz`, those of the sine that reaches it first from the programme's lowest frequency up. The last two are
    volume settings: a receiver's high-pass counts, and the volts are those that there would be without it.
    """

    kind: str
    name: str
    phrase: str  # with {} for the name
    value: float
    unit: str
    volts: Floats
    programme: float
    swept: float
    swept_hz: float | None

    @property
    def words(self) -> str:
        return self.phrase.format(self.name)


@dataclass(frozen=True, slots=True, eq=False)
class Envelope:
    """The smallest of all limits (F,), volts rms of a sine; its `level` in dB at the listening point.

    `first` (F,) is whose it is, by its place among the limits, and `limited_by` says it, all names that give together.
    """

    volts: Floats
    level: Floats
    first: NDArray[np.intp]
    limited_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ceiling:
    """The most programme: `volts` rms, `level` in dB of all of it, what stops it; `full` are those at clipping.

    Volts are those that there would be without the receiver's high-pass, the level is behind it. For a kit that is
    judged on a sine, all of them are those of a swept one, and the level is the reference level.
    """

    volts: float
    level: float
    limited_by: str
    full: float
    load: float  # ohm, the amplifier's rated one
    signal: Literal["programme", "sine"]

    @property
    def watts(self) -> float:
        """Into the rated load."""
        return self.volts**2 / self.load


@dataclass(frozen=True, slots=True)
class NotJudged:
    """A limit that there is not, and why."""

    what: str
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """All limits of one variant at `frequency` (F,) Hz."""

    variant: Variant
    frequency: Floats
    distance: float  # m
    limits: tuple[Limit, ...]
    envelope: Envelope
    ceiling: Ceiling
    not_judged: tuple[NotJudged, ...]

    @property
    def curves(self) -> dict[str, dict[str, Floats]]:
        """Volts (F,) of a sine by kind and name; of several ratings of one part the first that is reached."""
        lowest: dict[str, dict[str, Floats]] = {}
        for limit in self.limits:
            kind = lowest.setdefault(limit.kind, {})
            kind[limit.name] = np.minimum(kind.get(limit.name, np.inf), limit.volts)
        return lowest

    @property
    def exceeded(self) -> tuple[Limit, ...]:
        """The limits that the programme passes before the amplifier clips, the first to give way first."""
        over = [limit for limit in self.limits if limit.programme < self.ceiling.full * (1 - 1e-9)]
        return tuple(sorted(over, key=lambda limit: limit.programme))


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One build with its acoustics and what it does at some volts, all at the same frequencies."""

    model: Build
    acoustics: Transfer
    result: Prediction

    @classmethod
    def swept(cls, model: Build, acoustics: Transfer, figures: Summary) -> Case:
        """The coarse grid of a programme, out of `acoustics` on the summary's. Raises KitError as a prediction does."""
        coarse = acoustics.some(slice(None, None, COARSE))
        return cls(model, coarse, prediction(model, coarse, 1.0, figures))


def limits(case: Case, swept: Case) -> Limits:
    """The limits of a build at the frequencies of `case`; `swept` is the same build on the grid of a programme."""
    known = endurances(swept.model, swept.acoustics)
    found = _limits(case, swept, known)
    return Limits(
        variant=case.model.variant,
        frequency=case.result.frequency,
        distance=case.result.distance,
        limits=found,
        envelope=_envelope(case.result, found),
        ceiling=_ceiling(swept, found),
        not_judged=tuple(_not_judged(case.model, known)),
    )


def port_losses(case: Case) -> dict[str, Floats]:
    """What each port or mouth loses of its own level (F,), dB, on a sine at the amplifier's rated volts; an estimate.

    Beyond its speed limit the air leaves the edges and tumbles: its drop of pressure grows with the square of the
    speed, so the speed with the root of what drives it, and half of every dB beyond is lost. Measured ports lose about
    as much (Salvatti, Devantier & Button, J. Audio Eng. Soc. 50, 2002, from memory).
    """
    drive = case.model.kit.amplifier.rated_volts / case.result.volts
    return {
        name: 10 * np.log10(np.maximum(1.0, opening.speed * drive / opening.spec.speed_limit))
        for name, opening in case.result.openings.items()
        if not isinstance(opening.spec, RadiatorSpec)
    }


def _limits(case: Case, swept: Case, known: Mapping[str, Endurance]) -> tuple[Limit, ...]:
    kit = case.model.kit
    signal = Signal.of(kit, case.model.variant, swept.result.frequency)
    found = [_limit(here, there, signal) for here, there in zip(_bounds(case), _bounds(swept), strict=True)]
    found += _heat(case, swept, known, signal)
    rated = np.full(case.result.frequency.size, signal.rated)
    first, at = _first_setting(1 / np.full(swept.result.frequency.size, signal.rated), signal)
    amplifier = Limit(
        "amplifier_voltage", "", "the amplifier's volts", signal.rated, "V", rated, signal.full, first, at
    )
    return (*found, amplifier)


def _limit(here: Bound, there: Bound, signal: Signal) -> Limit:
    """From the same bound at the frequencies that are asked for and on the grid of the signal."""
    first, at = _first_setting(there.share, signal)
    rms = signal.rms(there.per_volt)
    volts = first if rms is None else _over(there.size / (signal.crest if there.peak else 1.0), rms)
    return Limit(here.kind, here.name, here.phrase, here.value, here.unit, _reciprocal(here.share), volts, first, at)


def _heat(case: Case, swept: Case, known: Mapping[str, Endurance], signal: Signal) -> Iterator[Limit]:
    """Of every coil whose endurance is known: the volts that hold it at its highest temperature in the end.

    The others are as hot as that signal then makes them.
    """
    if not known:
        return
    here, there = (Coils.of(each.model, each.acoustics, known) for each in (case, swept))
    sines, settings = here.sine_limits(), there.sine_limits()
    heard = there.programme_limits(signal.weights) if signal.weights is not None else None
    for i, (name, endurance) in enumerate(known.items()):
        first, at = _first_setting(_reciprocal(settings[i]), signal)
        volts = first if heard is None else float(heard[i])
        yield Limit("heat", name, "heat of {}", endurance.highest, "K", sines[i], volts, first, at)


def _first_setting(share: Floats, signal: Signal) -> tuple[float, float | None]:
    """The volume setting (volts rms) at which a swept sine first reaches a limit, and where (Hz).

    `share` (F,) is how much of the limit a sine of one volt at the amplifier uses up.
    """
    most, at = signal.largest(share)
    return (1 / most, at) if most > 0 else (math.inf, None)


def _reciprocal(values: Floats) -> Floats:
    """Of none infinite, and the other way round."""
    return np.asarray(np.divide(1.0, values, out=np.full(values.shape, np.inf), where=values > 0))


def _over(size: float, rms: float) -> float:
    return size / rms if rms > 0 else math.inf


def _bounds(case: Case) -> Iterator[Bound]:
    for bounds in BOUNDS:
        yield from bounds(case.model, case.result)


def _excursions(model: Build, result: Prediction) -> Iterator[Bound]:
    """Of drivers and radiators, one-way peaks; the linear limit before that of damage."""
    moving: dict[str, tuple[Floats, DriverData | RadiatorSpec]] = {}
    for name, driver in result.drivers.items():
        if driver.excursion is not None:
            moving[name] = driver.excursion, model.variant.hookups[name].driver
    for name, opening in result.openings.items():
        if isinstance(opening.spec, RadiatorSpec) and opening.excursion is not None:
            moving[name] = opening.excursion, opening.spec
    for kind in EXCURSIONS:
        for name, (excursion, spec) in moving.items():
            value = getattr(spec, kind)
            if value is not None:
                yield Bound(kind, name, f"{_spaced(kind)} of {{}}", value, "m", excursion / (PEAK * result.volts), True)


def _spaced(key: str) -> str:
    return key.replace("_", " ")


def _air(_model: Build, result: Prediction) -> Iterator[Bound]:
    for name, opening in result.openings.items():
        if not isinstance(opening.spec, RadiatorSpec):
            speed = opening.speed / (PEAK * result.volts)
            limit = opening.spec.speed_limit
            yield Bound("opening_speed", name, "air speed in {}", limit, "m/s", speed, peak=True)


def _parts(model: Build, result: Prediction) -> Iterator[Bound]:
    for name, part in result.parts.items():
        for test in TESTS.values():
            rating = test.rating(model.variant.places[name].part)
            if rating is not None:
                asked = test.asked(part) / result.volts
                yield Bound("part_rating", name, test.phrase, rating, test.unit, asked, test.peak, test.order)


def _amplifier(model: Build, result: Prediction) -> Iterator[Bound]:
    limit = model.kit.amplifier.current_limit
    if limit is not None:
        current = 1 / np.abs(result.impedance + model.kit.amplifier.output_resistance)
        yield Bound("amplifier_current", "", "the amplifier's current", limit, "A", current, peak=True)


BOUNDS: Sequence[Callable[[Build, Prediction], Iterator[Bound]]] = (_excursions, _air, _parts, _amplifier)


def _envelope(result: Prediction, found: Sequence[Limit]) -> Envelope:
    every = np.stack([limit.volts for limit in found])  # (L, F)
    volts = every.min(axis=0)
    alike = every <= volts * (1 + ALIKE)
    words: dict[tuple[int, bytes], str] = {}  # by who gives first: few
    whose, limited_by = every.argmin(axis=0), []
    for column, first in zip(alike.T, whose, strict=True):
        key = int(first), column.tobytes()
        if key not in words:
            words[key] = _together(found, found[first], column)
        limited_by.append(words[key])
    return Envelope(volts, summary.level(result.pressure * (volts / result.volts)), whose, tuple(limited_by))


def _together(found: Sequence[Limit], first: Limit, alike: NDArray[np.bool_]) -> str:
    """The first to give, with every name for which the same is as good as true; `alike` (L,) is who gives there."""
    near = [limit for limit, too in zip(found, alike, strict=True) if too and limit.phrase == first.phrase]
    return first.phrase.format(" and ".join(limit.name for limit in near))


def _ceiling(swept: Case, found: Sequence[Limit]) -> Ceiling:
    kit, result = swept.model.kit, swept.result
    first = min(found, key=lambda limit: limit.programme)
    full = next(limit.programme for limit in found if limit.kind == "amplifier_voltage")
    return Ceiling(
        first.programme,
        programme_level(kit, result, first.programme),
        first.words,
        full,
        kit.amplifier.load,
        "sine" if kit.programme.spectrum == "sine" else "programme",
    )


def programme_level(kit: Kit, result: Prediction, volts: float) -> float:
    """Level (dB) of the signal at `volts` rms: of the whole programme, or for a sine the reference level."""
    volts = max(volts, summary.SILENCE)
    per_volt = np.abs(result.pressure / result.volts / summary.REFERENCE_PRESSURE)
    together = Signal.of(kit, result.variant, result.frequency).rms(per_volt)
    if together is None:
        return result.summary.sensitivity_db + 20 * math.log10(volts / 2.83 / result.distance)
    return 20 * math.log10(max(together, summary.SILENCE) * volts)


def _not_judged(model: Build, known: Mapping[str, Endurance]) -> Iterator[NotJudged]:
    """What the kit states no limit for, or what cannot be told, each with its reason."""
    for name, hookup in model.variant.hookups.items():
        data = hookup.driver
        if data.small_signal is None:
            yield NotJudged(f"excursion of {name}", f"{data.name} is known by its tables only")
        else:
            for key in EXCURSIONS:
                if getattr(data, key) is None:
                    yield NotJudged(f"{_spaced(key)} of {name}", f"{data.name} has no {key}")
        if name not in known:
            why = "has no power rating and no thermal"
            if data.power is not None:
                why = "has the power rating of a system without its high-pass, and no thermal"
            yield NotJudged(f"heat of {name}", f"{data.name} {why}")
    for name, spec in opening_specs(model).items():
        if isinstance(spec, RadiatorSpec):
            for key in EXCURSIONS:
                if getattr(spec, key) is None:
                    yield NotJudged(f"{_spaced(key)} of {name}", f"{name} has no {key}")
    for element in model.network.elements:
        part = model.variant.places[element.reference].part
        if all(test.rating(part) is None for test in TESTS.values()):
            yield NotJudged(f"ratings of {element.reference}", "the kit gives none")
        elif part.core == "iron" and part.saturation_current is None:
            yield NotJudged(f"saturation of {element.reference}", "it has an iron core and no saturation_current")
    if model.kit.amplifier.current_limit is None:
        yield NotJudged("the amplifier's current", "the kit gives no current_limit")
