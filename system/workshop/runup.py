"""A run-up for a finished build: sines from the lowest frequency up, each approached from below, none near a limit.

At each frequency the volts stop where the first of these is reached: a third of the volts of every limit of the cones,
openings, parts and amplifier; a tenth of those that heat a tweeter or a midrange; 85 dB(A) at one metre. What the kit
does not state is not taken for unlimited: a careful figure stands in, and is told. Volts are those at the amplifier's
terminals, where a meter reads them, rounded down.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.ceilings import swept_case
from system.kit import HIGHEST_OF_PROGRAMME, Kit, Variant
from system.limits import Case, Limits, limits
from system.predict import prediction
from system.transfer import transfer
from system.workshop import hearing

Floats = NDArray[np.float64]

# Nominal third octaves of one decade (ISO 266), as generators are set to.
NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
START = 0.1  # V rms, with which every frequency begins
SECONDS = 5.0  # of each drive: a few time constants of a tweeter's coil, long enough to hear and feel
SHARE = 1 / 3  # of the volts of a limit
FRAGILE = 1 / 10  # of the volts that heat a small coil: a hundredth of its power
# What stands in where a kit states nothing; common practice, no source.
USUAL_EXCURSION = {"woofer": 1.5e-3, "midrange": 0.5e-3, "tweeter": 0.1e-3}  # m, one-way peak, taken as linear
USUAL_WATTS = {"woofer": 1.0, "midrange": 0.1, "tweeter": 0.1}  # W in a coil of which no heat is stated
BLIND_VOLTS, BLIND_BELOW = 0.5, 500.0  # across a driver known by its tables only, below this many Hz
NEAR = math.sqrt(2)  # half an octave to either side, in which the loudest frequency counts for the ears
# What to stop at, and what it means; common practice, no source.
STOPS: Mapping[str, str] = {
    "rubbing or scraping": "a coil that touches its gap: the driver is to be looked at before anything else",
    "a smell": "a coil or a part burns: off, and to the meter",
    "warmth": "amplifier, resistor or magnet warmer than the hand at such volts: something draws too much",
    "chuffing": "air in an opening, far below where it should be heard: something is in its way",
    "rattling or buzzing": "a loose part, wire, grille or panel: find it with a hand, at half the volts",
    "distortion": "a tone that is not clean, or overtones: a driver at its end, or an amplifier that clips",
    "silence": "a driver that plays at neither side of this frequency: its branch is open",
}
NEVER_SHARED = "damage_excursion"  # a third of it may lie beyond the linear limit


@dataclass(frozen=True, slots=True)
class Step:
    """One frequency (Hz): rms volts at the amplifier's terminals, in rising `drives`, the last of which is `volts`.

    `exact` is where the first of the stops is met, `volts` rounded down from it, `limited_by` says what stops, by its
    `kind` (of a limit, `hearing`, or what was taken) and the `names` for which it is the same. `mover`
    goes farthest, `excursion` m one-way peak (None: nothing whose excursion is known); `level` in dB(A) at 1 m, that
    of the loudest frequency within half an octave, since a dip of this point is none elsewhere.
    """

    frequency: float
    exact: float
    volts: float
    limited_by: str
    kind: str
    names: tuple[str, ...]
    drives: tuple[float, ...]
    mover: str | None
    excursion: float | None
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class RunUp:
    """The run-up of one variant. `linear` (F,) V are those at which a cone first meets its whole linear limit, or inf.

    `stands_in` says where the kit states nothing and what was taken instead. `unshielded` is what a tweeter's coil
    would get (W) at the largest of these volts, were it joined to the amplifier without its parts: None without one.
    """

    variant: Variant
    steps: tuple[Step, ...]
    linear: Floats
    stands_in: tuple[str, ...]
    unshielded: tuple[str, float] | None
    rated_volts: float

    @property
    def frequency(self) -> Floats:
        return np.array([step.frequency for step in self.steps])

    @property
    def seconds(self) -> float:
        """Of all drives together."""
        return SECONDS * sum(len(step.drives) for step in self.steps)

    @property
    def lowest(self) -> Step:
        """The step with the smallest volts: a sweep of all frequencies stays at or below them."""
        return min(self.steps, key=lambda step: step.volts)


@dataclass(frozen=True, slots=True, eq=False)
class _Stop:
    """Volts (F,) of a sine, open circuit, at which to stop, and for what."""

    kind: str
    phrase: str  # with {} for the names
    name: str
    volts: Floats


def frequencies(lowest: float, highest: float = HIGHEST_OF_PROGRAMME) -> Floats:
    """The nominal third octaves from `lowest` up to `highest` (both included), Hz."""
    decades = range(math.floor(math.log10(lowest)), math.ceil(math.log10(highest)) + 1)
    every = np.array([round(10**decade * value, 9) for decade in decades for value in NOMINAL])
    return every[(every >= lowest * (1 - 1e-9)) & (every <= highest * (1 + 1e-9))]


def round_down(volts: float) -> float:
    """To two figures, but never finer than 1 mV nor coarser than 0.1 V: what a meter shows, on the safe side."""
    step = 10.0 ** min(-1, max(-3, math.floor(math.log10(volts)) - 1)) if volts > 0 else 1e-3
    return round(math.floor(volts / step + 1e-9) * step, 3)


def run_up(kit: Kit, variant: Variant, swept: Case | None = None) -> RunUp:
    """The run-up of a variant; `swept` is it on the grid of a programme, where that is at hand.

    Raises KitError where the circuit has no solution.
    """
    swept = swept or swept_case(kit, variant)
    frequency = frequencies(kit.programme.lowest)
    acoustics = transfer(swept.model, frequency)
    case = Case(swept.model, acoustics, prediction(swept.model, acoustics, 1.0, swept.result.summary))
    found = limits(case, swept)
    unknown = list(_unknown(case, found))
    level = _level_at_one_metre(swept, frequency)
    stops = [*_known(case, found), *(stop for stop, _ in unknown), _heard(level)]
    # from the open circuit to the terminals, where a meter is
    terminals = 1 / np.abs(1 + kit.amplifier.output_resistance / case.result.impedance)
    every = np.stack([stop.volts for stop in stops]) * terminals
    cones = [limit.volts for limit in found.limits if limit.kind == "linear_excursion"]
    nothing = np.full(frequency.size, np.inf)
    steps = tuple(
        _step(case, stops, every[:, i], float(terminals[i]), float(level[i]), i) for i in range(frequency.size)
    )
    return RunUp(
        variant=variant,
        steps=steps,
        linear=np.min([nothing, *cones], axis=0) * terminals,
        stands_in=tuple(dict.fromkeys(words for _, words in unknown)),
        unshielded=_unshielded(variant, max(step.volts for step in steps)),
        rated_volts=kit.amplifier.rated_volts,
    )


def _known(case: Case, found: Limits) -> Iterator[_Stop]:
    """A share of each limit that the kit states."""
    for limit in found.limits:
        if limit.kind == NEVER_SHARED:
            continue
        share, words, phrase = SHARE, "a third", f"the {limit.phrase.removeprefix('the ')}"
        if limit.kind == "heat":
            phrase = "the volts that overheat {}"
            if case.model.variant.hookups[limit.name].driver.role != "woofer":
                share, words = FRAGILE, "a tenth"
        yield _Stop(limit.kind, f"{words} of {phrase}", limit.name, share * limit.volts)


def _unknown(case: Case, found: Limits) -> Iterator[tuple[_Stop, str]]:
    """What stands in for excursions and heat that the kit does not state, with what to say of it."""
    told = {(limit.kind, limit.name) for limit in found.limits}
    per_volt = case.result.volts
    for name, driver in case.result.drivers.items():
        data = case.model.variant.hookups[name].driver
        if driver.excursion is None:
            volts = BLIND_VOLTS / np.maximum(np.abs(driver.volts) / per_volt, 1e-30)
            volts = np.where(case.result.frequency < BLIND_BELOW, volts, np.inf)
            words = f"{data.name} is known by its tables only: at most {BLIND_VOLTS:g} V across it below"
            yield _Stop("volts_taken", "volts across {}", name, volts), f"{words} {BLIND_BELOW:g} Hz"
        elif ("linear_excursion", name) not in told:
            taken = USUAL_EXCURSION[data.role]
            volts = SHARE * taken / np.maximum(driver.excursion / per_volt, 1e-30)
            words = f"{data.name} states no linear_excursion: {taken * 1e3:g} mm taken"
            yield _Stop("excursion_taken", "a third of an excursion taken for {}", name, volts), words
        if ("heat", name) not in told:
            watts = USUAL_WATTS[data.role]
            current = np.abs(driver.current) / per_volt
            volts = math.sqrt(watts / data.re) / np.maximum(current, 1e-30)  # P = I^2 Re
            words = f"{data.name} states nothing of its heat: {watts:g} W taken"
            yield _Stop("heat_taken", "watts taken for {}", name, volts), words
    for name, opening in case.result.openings.items():
        if opening.excursion is not None and ("linear_excursion", name) not in told:
            taken = USUAL_EXCURSION["woofer"]
            volts = SHARE * taken / np.maximum(opening.excursion / per_volt, 1e-30)
            words = f"{name} states no linear_excursion: {taken * 1e3:g} mm taken"
            yield _Stop("excursion_taken", "a third of an excursion taken for {}", name, volts), words


def _heard(level: Floats) -> _Stop:
    """Where whoever bends over it hears 85 dB(A), from the level (F,) of a sine of 1 V."""
    return _Stop("hearing", f"{hearing.SAFE:g} dB(A) at 1 m{{}}", "", 10 ** ((hearing.SAFE - level) / 20))


def _level_at_one_metre(swept: Case, frequency: Floats) -> Floats:
    """In dB(A), (F,), of a sine of 1 V; the level at the listening point brought to 1 m as 1/r."""
    result = swept.result
    every = summary.level(result.pressure / result.volts * result.distance)
    low, high = (np.searchsorted(result.frequency, frequency * NEAR**way) for way in (-1, 1))
    loudest = [every[max(0, a - 1) : b + 1].max() for a, b in zip(low, high, strict=True)]
    return np.asarray(loudest + hearing.a_weighting(frequency))


def _step(case: Case, stops: list[_Stop], volts: Floats, terminal: float, level: float, i: int) -> Step:
    first = int(np.argmin(volts))
    exact = float(volts[first])
    same = [
        stop.name
        for stop, each in zip(stops, volts, strict=True)
        if stop.kind == stops[first].kind and stop.phrase == stops[first].phrase and each <= exact * (1 + 1e-3)
    ]
    shown = round_down(exact)
    curves = {name: each.excursion for name, each in case.result.drivers.items()}
    curves |= {name: each.excursion for name, each in case.result.openings.items()}
    moving = {name: float(x[i]) / case.result.volts * shown / terminal for name, x in curves.items() if x is not None}
    mover = max(moving, key=lambda name: moving[name]) if moving else None
    return Step(
        frequency=float(case.result.frequency[i]),
        exact=exact,
        volts=shown,
        limited_by=stops[first].phrase.format(" and ".join(same)),
        kind=stops[first].kind,
        names=tuple(filter(None, same)),
        drives=_drives(shown),
        mover=mover,
        excursion=moving[mover] if mover else None,
        level=level + 20 * math.log10(max(shown, 1e-9) / terminal),
    )


def _drives(volts: float) -> tuple[float, ...]:
    """From below: the start, half, and all of it; fewer where that is little."""
    half = round_down(volts / 2)
    return tuple(sorted({min(START, volts), *((half,) if half > START else ()), volts}))


def _unshielded(variant: Variant, volts: float) -> tuple[str, float] | None:
    """The tweeter that would get the most of a sine of `volts` straight across it, and its watts V^2/Re."""
    tweeters: Mapping[str, float] = {n: h.driver.re for n, h in variant.hookups.items() if h.driver.role == "tweeter"}
    if not tweeters:
        return None
    worst = min(tweeters, key=lambda name: tweeters[name])
    return worst, volts**2 / tweeters[worst]
