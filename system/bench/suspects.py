"""What each building mistake would do to one variant, and which of them a complaint points at.

Every mistake that the variant can have is computed: what is heard of it, what a meter and a sweep would read. A mistake
is suspected where what it does is what is complained of; those that are made most often come first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from filters.stock import values
from system import summary
from system.bench.faults import RIGHT, Fault, faults, wrong
from system.bench.meter import Window, windows, windows_with
from system.board import circuit
from system.build import Build, build, crossover
from system.findings import KitError
from system.kit import Kit, Variant
from system.predict import pressure, solve
from system.transfer import Paths, Transfer, listening_paths, transfer

Floats = NDArray[np.float64]

GRID = np.array(values("E24", 20.0, 20e3))  # Hz, 24 a decade, as a sweep's rows are named
MOST = 8  # suspects of one complaint
TELLS = 2.0  # times the spread of copies by which a sweep must be off to tell
HEARD = 1.5  # dB over a band from which it is complained of
HEARD_FROM, HEARD_TO = 40.0, 16e3  # Hz, between which the largest change is told
STILL_THERE = 10.0  # dB that the middle may lose and still be called bright
HOLE = 6.0  # dB, of a hollow
BARED = 12.0  # dB more than a tweeter gets below its band
UNDER_TWEETER = 1000.0  # Hz
# How often a mistake is made, the likelier the higher; common practice, no source.
OFTEN: Mapping[str, int] = {
    "driver_open": 3,
    "missing": 3,
    "driver_reversed": 3,
    "wrong_variant": 2,
    "exchanged": 2,
    "one_of_pair_open": 2,
    "linked": 2,
    "air_leak": 2,
    "blocked_mouth": 2,
    "wrong_fill": 2,
    "fitted_needlessly": 1,
    "pair_in_series": 1,
    "doubled": 1,
    "halved": 1,
}


@dataclass(frozen=True, slots=True, eq=False)
class Effect:
    """One mistake: the change it makes to the level (F,) in dB and the impedance (F,) in ohm that a sweep would find.

    `change` and `impedance` are None where its circuit has no solution. `silent` are the drivers that no current
    reaches, `bared` (dB) how much more the tweeter that gains most gets below 1 kHz, `lowest` ohm the least impedance.
    """

    fault: Fault
    change: Floats | None
    impedance: Floats | None
    silent: tuple[str, ...]
    bared: float
    lowest: float

    def mean(self, low: float, high: float) -> float:
        """Of the change between two frequencies (Hz), dB; 0 where it is not known."""
        if self.change is None:
            return 0.0
        return float(self.change[(low <= GRID) & (high >= GRID)].mean())


@dataclass(frozen=True, slots=True)
class MeterProof:
    """What a meter reads between two points as drawn, and with the mistake."""

    right: Window
    wrong: Window


@dataclass(frozen=True, slots=True)
class SweepProof:
    """Where (Hz) a sweep is farthest from the build as drawn, and both impedances there (ohm)."""

    frequency: float
    right: float
    wrong: float


@dataclass(frozen=True, slots=True)
class Suspect:
    """A mistake that a complaint points at, and what proves it; a proof is None where that cannot show it.

    `faults` are several where like places cannot be told apart. `heard` is the largest change of the level (dB) from
    40 Hz to 16 kHz and `heard_at` where (Hz); None of both where it is not known.
    """

    faults: tuple[Fault, ...]
    meter: MeterProof | None
    sweep: SweepProof | None
    heard: float | None
    heard_at: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Effects:
    """All mistakes of one variant; `right` is the impedance (F,) as drawn at `GRID`."""

    kit: Kit
    variant: Variant
    right: Floats
    volts: Mapping[str, Floats]  # rms across each driver (F,) on one volt, as drawn
    effects: tuple[Effect, ...]

    @classmethod
    def of(cls, kit: Kit, variant: Variant) -> Effects:
        """Raises KitError where the variant's own circuit has no solution."""
        model = build(kit, variant)
        paths = listening_paths(model, GRID)
        own = transfer(model, GRID, paths)
        solution = solve(model, own, 1.0)
        base = _Heard(
            summary.level(pressure(own, solution.load_current)),
            np.abs(solution.input_impedance),
            np.abs(solution.load_volts),
        )
        found = []
        for fault in faults(kit, variant):
            if fault != RIGHT:
                made = wrong(kit, variant, fault)
                # what changes the cabinet changes its acoustics, what changes the board leaves them
                acoustics = own if made.cabinet is variant.cabinet else _acoustics(build(kit, made), paths)
                found.append(_effect(kit, variant, made, fault, base, acoustics))
        across = {name: base.volts[:, i] for i, name in enumerate(model.names)}
        return cls(kit, variant, base.impedance, across, tuple(found))

    def suspects(self, complaint: str) -> tuple[Suspect, ...]:
        """What a complaint (a key of `SUSPECTS`, or "" for none) points at, the likeliest first, at most `MOST`."""
        if not complaint:
            return ()
        score = SUSPECTS[complaint]
        scored = [(OFTEN[e.fault.kind], score(self, e), e) for e in self.effects]
        pointed = sorted((s for s in scored if s[1] > 0), key=lambda s: s[:2], reverse=True)
        groups: list[list[Effect]] = []
        for _, _, effect in pointed:
            like = next((group for group in groups if self._alike(group[0], effect)), None)
            if like is not None:
                like.append(effect)
            elif len(groups) < MOST:
                groups.append([effect])
        return tuple(self._suspect(group) for group in groups)

    def _alike(self, one: Effect, other: Effect) -> bool:
        """Whether the same was done to two drivers of one make, and a sweep finds the same: twins in one chamber."""
        drivers = [self.variant.hookups.get(effect.fault.place) for effect in (one, other)]
        if one.fault.kind != other.fault.kind or drivers[0] is None or drivers[1] is None:
            return False
        if drivers[0].driver != drivers[1].driver or one.impedance is None or other.impedance is None:
            return False
        return bool(np.allclose(one.impedance, other.impedance, rtol=1e-2))

    def _suspect(self, group: list[Effect]) -> Suspect:
        effect, heard, heard_at = group[0], None, None
        if effect.change is not None:
            inside = (GRID >= HEARD_FROM) & (GRID <= HEARD_TO)
            at = int(np.argmax(np.where(inside, np.abs(effect.change), -1.0)))
            heard, heard_at = float(effect.change[at]), float(GRID[at])
        faults = tuple(each.fault for each in group)
        meter, sweep = self._meter(effect.fault), self._sweep(effect)
        return Suspect(faults, meter, sweep, heard, heard_at)

    def _meter(self, fault: Fault) -> MeterProof | None:
        """The first pair of points that tells, in the order in which they are least trouble to reach."""
        pairs = zip(windows(self.kit, self.variant), windows_with(self.kit, self.variant, fault), strict=True)
        return next((MeterProof(a, b) for a, b in pairs if not a.overlaps(b)), None)

    def _sweep(self, effect: Effect) -> SweepProof | None:
        if effect.impedance is None:
            return None
        apart = np.abs(np.log(effect.impedance / self.right))
        at = int(np.argmax(apart))
        right, other = float(self.right[at]), float(effect.impedance[at])
        tells = apart[at] > TELLS * self.kit.spread.impedance and abs(other - right) > self.kit.meter.impedance
        return SweepProof(float(GRID[at]), right, other) if tells else None

    @property
    def tweeters(self) -> tuple[str, ...]:
        return self._of("tweeter")

    @property
    def woofers(self) -> tuple[str, ...]:
        return self._of("woofer")

    def _of(self, role: str) -> tuple[str, ...]:
        return tuple(name for name, hookup in self.variant.hookups.items() if hookup.driver.role == role)


def _acoustics(model: Build, paths: Paths) -> Transfer:
    """Of another cabinet; the ways from what radiates to the ears stay unless a hole is made or closed."""
    count = sum(len(cell.opening_names) for cell in model.cells)
    return transfer(model, GRID, paths if count == paths.openings.shape[1] else None)


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    """Level (F,) in dB, impedance (F,) in ohm, and volts across the drivers (F, N), all for one volt."""

    level: Floats
    impedance: Floats
    volts: Floats


def _effect(kit: Kit, variant: Variant, made: Variant, fault: Fault, base: _Heard, acoustics: Transfer) -> Effect:
    live = circuit(kit.input, made.places, made.hookups).live()
    silent = tuple(name for name in made.hookups if name not in live)
    model = replace(build(kit, variant), variant=made, network=crossover(kit, made))
    try:
        solution = solve(model, acoustics, 1.0)
    except KitError:
        return Effect(fault, None, None, silent, 0.0, math.inf)
    low = GRID <= UNDER_TWEETER
    before, after = (np.maximum(volts[low], 1e-9) for volts in (base.volts, np.abs(solution.load_volts)))
    gained = 20 * np.log10(after / before).mean(axis=0)
    tweeters = [i for i, hookup in enumerate(variant.hookups.values()) if hookup.driver.role == "tweeter"]
    impedance = np.abs(solution.input_impedance)
    return Effect(
        fault=fault,
        change=summary.level(pressure(acoustics, solution.load_current)) - base.level,
        impedance=impedance if np.isfinite(impedance).all() and (impedance > 0).all() else None,
        silent=silent,
        bared=max((float(gained[i]) for i in tweeters), default=0.0),
        lowest=float(impedance.min()),
    )


# -- how well a mistake fits what is complained of: above zero where it does, the more the higher


def _silent(effects: Effects, effect: Effect) -> float:
    return float(set(effect.silent) >= set(effects.variant.hookups))


def _no_tweeter(effects: Effects, effect: Effect) -> float:
    return float(_gone(effects.tweeters, effect)) - _silent(effects, effect)


def _no_bass(effects: Effects, effect: Effect) -> float:
    return max(100.0 * _gone(effects.woofers, effect), -effect.mean(40, 160) - 2 * HEARD)


def _one_silent(effects: Effects, effect: Effect) -> float:
    gone = set(effects.woofers) & set(effect.silent)
    return float(bool(gone) and gone < set(effects.woofers))


def _quieter(_: Effects, effect: Effect) -> float:
    return -effect.mean(200, 3000) - HEARD


def _thin(effects: Effects, effect: Effect) -> float:
    lost = effect.mean(300, 3000) - effect.mean(60, 250)
    return lost - HEARD if not _gone(effects.woofers, effect) else 0.0


def _boomy(effects: Effects, effect: Effect) -> float:
    """More bass than drawn, and more than of the rest; heard sooner, since one note of it is enough."""
    more = effect.mean(40, 200)
    rise = min(more, more - effect.mean(300, 3000))
    return rise - HEARD / 3 if not _gone(effects.tweeters, effect) else 0.0


def _harsh(effects: Effects, effect: Effect) -> float:
    """Brighter than drawn while the middle is still there."""
    middle = effect.mean(200, 1000)
    return effect.mean(2000, 10_000) - middle - HEARD if middle > -STILL_THERE else 0.0


def _gone(names: tuple[str, ...], effect: Effect) -> bool:
    return bool(names) and set(names) <= set(effect.silent)


def _dull(effects: Effects, effect: Effect) -> float:
    return effect.mean(200, 1000) - effect.mean(2000, 16_000) - HEARD


def _hollow(_: Effects, effect: Effect) -> float:
    """A hole somewhere in the middle while every driver plays."""
    if effect.silent or effect.change is None:
        return 0.0
    middle = (GRID >= 150) & (GRID <= 6000)
    return float(-effect.change[middle].min()) - HOLE


def _leaky(_: Effects, effect: Effect) -> float:
    return float(effect.fault.kind in ("air_leak", "blocked_mouth", "wrong_fill"))


def _unprotected(effects: Effects, effect: Effect) -> float:
    """More bass where it does harm: into a tweeter, or into woofers that a capacitor was to spare."""
    return max(effect.bared - BARED, _boomy(effects, effect), effect.mean(20, 40) - HEARD)


def _low_impedance(effects: Effects, effect: Effect) -> float:
    """Under what the amplifier stands, and lower than as drawn."""
    amplifier = effects.kit.amplifier
    stands = amplifier.load / 2 if amplifier.lowest_load is None else amplifier.lowest_load
    return stands / max(effect.lowest, 1e-3) - 1 if effect.lowest < 0.9 * float(effects.right.min()) else 0.0


def _hot(effects: Effects, effect: Effect) -> float:
    return max(_low_impedance(effects, effect), effect.bared - BARED)


SUSPECTS: Mapping[str, Callable[[Effects, Effect], float]] = {
    "silent": _silent,
    "no_tweeter": _no_tweeter,
    "no_bass": _no_bass,
    "one_silent": _one_silent,
    "quieter": _quieter,
    "thin": _thin,
    "boomy": _boomy,
    "hollow": _hollow,
    "harsh": _harsh,
    "dull": _dull,
    "leaky": _leaky,
    "unprotected": _unprotected,
    "low_impedance": _low_impedance,
    "hot": _hot,
}
