"""What cautions are made of: a caution, and the figures of one variant that trigger them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.board import circuit
from system.build import crossover
from system.ceilings import swept_case
from system.findings import KitError
from system.kit import Kit, Place, Variant
from system.limits import Case, Limit, Limits, limits
from system.predict import flows
from system.signal import Signal
from system.stress import Stress, stress
from system.workshop import hearing
from system.workshop.runup import RunUp, run_up

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

Where = Literal["bench", "meter", "sweep", "power_up", "run_up", "cabinet", "placement", "listening"]
WHERE: tuple[Where, ...] = get_args(Where)

# Urgency of what a build triggers, above what is good practice with every build.
ALWAYS, MIND, DAMAGE, INJURY = 0, 1, 2, 3
# 220 uF at 50 V are down to a tenth of a volt within 0.14 s (U = U0 exp(-t/RC)); common practice, no source.
DISCHARGE = "bridge each capacitor with a resistor of about 100 ohm for a few seconds"


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution at one place: `short` is a line, `long` a few sentences.

    `because` is the figure of this build that triggers it, empty for what holds with every build; `urgency` sorts
    them; `top` marks the three at most that this build triggers first.
    """

    name: str
    where: Where
    short: str
    long: str
    because: str
    urgency: int
    top: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What a rule says of a build."""

    short: str
    long: str
    because: str = ""
    urgency: int = ALWAYS


@dataclass(frozen=True, slots=True, eq=False)
class Linked:
    """A link where none belongs: the lowest impedance (ohm) it leaves and where (Hz); 0 ohm and None for a short.

    `currents` (F, N) A in the drivers on one volt; None where nothing can flow.
    """

    reference: str
    lowest: float
    frequency: float | None
    currents: Complexes | None = None


@dataclass(frozen=True, slots=True)
class Loudness:
    """The loudest that a variant plays within its limits: dB(A) at the listening point, and how long that is stood."""

    level: float
    volts: float
    distance: float

    @property
    def seconds(self) -> float:
        return hearing.seconds_a_day(self.level)

    @property
    def safe_volts(self) -> float:
        """Volts rms of the same signal at 85 dB(A)."""
        return float(self.volts * 10 ** ((hearing.SAFE - self.level) / 20))


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """The figures of one variant that rules ask for; `of` works them out once for all places."""

    kit: Kit
    variant: Variant
    swept: Case
    limits: Limits
    stress: Stress
    run_up: RunUp
    links: tuple[Linked, ...]  # every place that is not linked, as if it were
    loudness: Loudness | None  # None: silent

    @classmethod
    def of(cls, kit: Kit, variant: Variant) -> Known:
        """Raises KitError where the circuit has no solution."""
        swept = swept_case(kit, variant)
        found = limits(swept, swept)
        return cls(
            kit=kit,
            variant=variant,
            swept=swept,
            limits=found,
            stress=stress(swept),
            run_up=run_up(kit, variant, swept),
            links=tuple(_linked(swept, place) for place in variant.places.values() if place.state != "link"),
            loudness=_loudness(swept, found),
        )

    def drivers(self, *roles: str) -> tuple[str, ...]:
        return tuple(name for name, hookup in self.variant.hookups.items() if hookup.driver.role in roles)

    @property
    def stands(self) -> float:
        """The lowest load (ohm) that the amplifier stands: half of its rated load where the kit does not say."""
        amplifier = self.kit.amplifier
        return amplifier.load / 2 if amplifier.lowest_load is None else amplifier.lowest_load

    @property
    def signal(self) -> Signal:
        return Signal.of(self.kit, self.variant, self.swept.result.frequency)

    def first_heat(self) -> tuple[Limit, float, float] | None:
        """The tweeter or midrange that the least volts of a sine overheat, those volts, and where (Hz)."""
        small = self.drivers("tweeter", "midrange")
        curves = [limit for limit in self.limits.limits if limit.kind == "heat" and limit.name in small]
        if not curves:
            return None
        first = min(curves, key=lambda limit: float(limit.volts.min()))
        at = int(np.argmin(first.volts))
        return first, float(first.volts[at]), float(self.limits.frequency[at])


def _linked(swept: Case, place: Place) -> Linked:
    model, acoustics = swept.model, swept.acoustics
    variant = model.variant
    places = {**variant.places, place.reference: replace(place, state="link")}
    if circuit(model.kit.input, places, variant.hookups).shorted:
        return Linked(place.reference, 0.0, None)
    varied = replace(model, network=crossover(model.kit, replace(variant, places=places)))
    try:
        solution = flows(varied, acoustics, 1.0)
    except KitError:  # it joins points that nothing holds: no current flows
        return Linked(place.reference, math.inf, None)
    impedance = np.abs(solution.input_impedance)
    heard = acoustics.frequency >= model.kit.programme.lowest
    lowest = int(np.argmin(np.where(heard, impedance, np.inf)))
    at = float(acoustics.frequency[lowest])
    return Linked(place.reference, float(impedance[lowest]), at, solution.load_current)


def _loudness(swept: Case, found: Limits) -> Loudness | None:
    """On the programme, or for a kit that is judged on a sine, where that is loudest."""
    result = swept.result
    weighted = np.abs(result.pressure / result.volts) / summary.REFERENCE_PRESSURE
    weighted *= 10 ** (hearing.a_weighting(result.frequency) / 20)
    signal = Signal.of(swept.model.kit, swept.model.variant, result.frequency)
    per_volt = signal.rms(weighted)
    if per_volt is None:
        per_volt, _ = signal.largest(weighted)
    if per_volt <= summary.SILENCE or found.ceiling.volts <= 0:
        return None
    return Loudness(20 * math.log10(per_volt * found.ceiling.volts), found.ceiling.volts, found.distance)
