"""What each fitted part bears, against its ratings: on a swept sine at rated volts, and on the programme at clipping.

Coils and drivers are cold, which draws the most. A peak (volts across a capacitor, a core that saturates) counts at
once, so the worse of both signals is held against its rating; what heats counts over minutes, so the programme is,
since no music is a lasting sine at full power. Where a sine is the signal, it is held against everything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from system.heat import CHART_SPREAD, share_below, surface_temperature
from system.kit import AssemblySpec, Part, Variant
from system.limits import Case
from system.predict import PEAK, PartPrediction
from system.protect import UNCERTAINTY
from system.ratings import TESTS, preferred
from system.signal import Signal

Floats = NDArray[np.float64]
Word = Literal["pass", "marginal", "fail", "cannot_tell", "not_tested"]

WORST_FIRST: tuple[Word, ...] = ("fail", "cannot_tell", "marginal", "pass", "not_tested")


@dataclass(frozen=True, slots=True)
class Load:
    """What a part bears: rms `volts` and `current`, the peak of each, the heat in it in W."""

    volts: float
    volts_peak: float  # V
    current: float
    current_peak: float  # A
    watts: float  # W


@dataclass(frozen=True, slots=True)
class Places:
    """Where (Hz) a sweep makes the most of a part's volts, current and heat; None where there is none of it."""

    volts: float | None
    current: float | None
    watts: float | None  # Hz


@dataclass(frozen=True, slots=True)
class Rated:
    """One rating of a part (`kind` of `system.ratings.TESTS`), what is `asked` of it, and the size to `order`.

    `rating` is None where the kit gives none. `order` is the smallest size sold that leaves the model's uncertainty,
    None where no size is large enough or parts are not sold by this; `needed` is what that size has to reach.
    """

    kind: str
    rating: float | None
    asked: float
    needed: float
    order: float | None
    verdict: Word


@dataclass(frozen=True, slots=True)
class Surface:
    """A resistor's body on the signal that heats it: `temperature` (K), whether it `melts` hot glue that touches it.

    Charts of such temperatures scatter, and their spread counts. `share` is how much of its rating it may have with
    glue on it.
    """

    temperature: float
    melts: bool
    share: float


@dataclass(frozen=True, slots=True)
class PartStress:
    """One fitted part. `sine` is the worst of a sweep at rated volts, `programme` None where a sine is the signal."""

    reference: str
    part: Part
    sine: Load
    places: Places
    programme: Load | None
    ratings: tuple[Rated, ...]
    verdict: Word
    surface: Surface | None


@dataclass(frozen=True, slots=True)
class Stress:
    """Every fitted part of a variant, at these volts rms."""

    variant: Variant
    sine_volts: float  # V rms
    programme_volts: float | None  # V rms; None where a sine is the signal
    parts: Mapping[str, PartStress]

    @property
    def fails(self) -> tuple[str, ...]:
        return tuple(name for name, part in self.parts.items() if part.verdict == "fail")


def stress(swept: Case) -> Stress:
    """The parts of a build, from what they do on the grid of a programme."""
    kit, result = swept.model.kit, swept.result
    signal = Signal.of(kit, swept.model.variant, result.frequency)
    parts = {}
    for reference, found in result.parts.items():
        part = swept.model.variant.places[reference].part
        parts[reference] = _part(reference, part, found, result.volts, signal, kit.assembly)
    programme = None if signal.weights is None else signal.full
    return Stress(swept.model.variant, signal.rated, programme, parts)


def _part(
    reference: str, part: Part, found: PartPrediction, volts: float, signal: Signal, assembly: AssemblySpec
) -> PartStress:
    curves = (np.abs(found.volts) / volts, np.abs(found.current) / volts, np.sqrt(found.watts) / volts)
    swept = [signal.largest(curve) for curve in curves]
    sine = _load([most * signal.rated for most, _ in swept], PEAK)
    noise = [signal.rms(curve) for curve in curves]
    programme = None
    if signal.weights is not None:
        programme = _load([rms * signal.full for rms in noise if rms is not None], signal.crest)
    ratings = tuple(_rated(kind, part, sine, programme) for kind in TESTS if _concerns(kind, part))
    verdicts: set[Word] = {rated.verdict for rated in ratings}
    return PartStress(
        reference=reference,
        part=part,
        sine=sine,
        places=Places(*(at if most > 0 else None for most, at in swept)),
        programme=programme,
        ratings=ratings,
        verdict=next((word for word in WORST_FIRST if word in verdicts), "not_tested"),
        surface=_surface(part, (programme or sine).watts, assembly),
    )


def _load(rms: list[float], crest: float) -> Load:
    volts, current, root_of_watts = rms
    return Load(volts, crest * volts, current, crest * current, root_of_watts**2)


# What a rating is held against in a load.
ASKED: Mapping[str, Callable[[Load], float]] = {
    "voltage": lambda load: load.volts_peak,
    "current": lambda load: load.current,
    "power": lambda load: load.watts,
    "saturation": lambda load: load.current_peak,
}
# The rating without which nothing can be told of a part; an air-core coil has none.
WANTED = {"capacitor": "voltage", "resistor": "power"}


def _concerns(kind: str, part: Part) -> bool:
    wanted = WANTED.get(part.kind, "saturation" if part.core == "iron" else None)
    return kind == wanted or TESTS[kind].rating(part) is not None


def _rated(kind: str, part: Part, sine: Load, programme: Load | None) -> Rated:
    test, asked_of = TESTS[kind], ASKED[kind]
    asked = asked_of(programme or sine)
    if test.peak:
        asked = max(asked, asked_of(sine))
    needed = asked * 10 ** (test.order * UNCERTAINTY / 20)
    rating = test.rating(part)
    return Rated(kind, rating, asked, needed, preferred(kind, needed), _verdict(rating, asked, needed))


def _verdict(rating: float | None, asked: float, needed: float) -> Word:
    if asked == 0:
        return "not_tested"
    if rating is None:
        return "cannot_tell"
    return "pass" if rating >= needed else "marginal" if rating >= asked else "fail"


def _surface(part: Part, watts: float, assembly: AssemblySpec) -> Surface | None:
    """Of a resistor whose rating and rise are known."""
    if part.power_rating is None or part.temperature_rise is None:
        return None
    temperature = surface_temperature(watts, part.power_rating, part.temperature_rise, assembly.ambient)
    return Surface(
        temperature,
        temperature + CHART_SPREAD > assembly.hot_melt_bears,
        share_below(assembly.hot_melt_bears, part.temperature_rise, assembly.ambient),
    )
