"""The verdict on a finished speaker: what was measured against what the kit says, and what to do about it.

Each kind of measurement is a test of its own, and the speaker is as good as its worst. Readings of an ohmmeter lie in
their windows or not. A sweep passes if the speaker as drawn, with drivers as they may be, is by far the most likely of
all that could have been built (`system.bench.diagnosis`). A microphone tells what a sweep is blind to.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from filters.elimination import solve_builds
from system.bench.copies import cold
from system.bench.diagnosis import (
    LEAST_OCTAVES,
    USUAL_FREQUENCY,
    Candidate,
    Diagnosis,
    FittedDriver,
    diagnose,
)
from system.bench.expect import expect_sweep
from system.bench.faults import RIGHT, Fault
from system.bench.hypotheses import Hypotheses
from system.bench.meter import Reading, Window, windows
from system.bench.microphone import Heard, WayRound, listen
from system.bench.proving import Proof, prove
from system.bench.sides import Sides, compare_sides
from system.bench.sweeps import MicrophoneTable, Sweep
from system.bench.trials import Bench
from system.build import build
from system.builds import Common, Draws, DriverFactors
from system.checks import no_current
from system.kit import Kit, Variant

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

Result = Literal["pass", "marginal", "fail", "cannot_tell", "not_tested"]
WORSE: Sequence[Result] = ("not_tested", "pass", "cannot_tell", "marginal", "fail")

# Our own judgement: from here on the right build is well above the rest, and below here it is out.
SURE, OUT = 0.90, 0.05
MARGIN = 0.5  # of a window's width, to either side: marginal
OPEN_MARGIN = 0.5  # of the least ohm that counts as open
WORTH_TELLING = 0.01  # probability
RIVALS = 8  # mistakes that a proof is to tell from the suspect
PROOFS_OF_GROUP = 2
NEW = 0.15  # of fs: how much stiffer a new suspension may be (common practice, no source)
BAND_POINTS = 240  # frequencies at which copies are drawn


@dataclass(frozen=True, slots=True)
class Checked:
    """One kind of measurement with its result, and what it rests on in a sentence."""

    name: Literal["readings", "sweep", "microphone", "against"]
    result: Result
    says: str


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading, the window it should lie in, and whether it does."""

    reading: Reading
    window: Window
    result: Result


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """The magnitude (F,) in ohm of nine copies in ten, with the meter's error, about that of the kit as drawn."""

    nominal: Floats  # (F,) ohm
    low: Floats  # (F,) ohm
    high: Floats  # (F,) ohm


@dataclass(frozen=True, slots=True)
class Worst:
    """Where (Hz) a sweep is farthest, as a ratio, from the right build with its fitted drivers: ohm, ohm.

    `low` and `high` are what copies have there, `outside` the share of the sweep's points that are outside of that.
    """

    frequency: float  # Hz
    measured: float  # ohm
    expected: float  # ohm
    low: float
    high: float
    outside: float

    @property
    def percent(self) -> float:
        return 100 * (self.measured / self.expected - 1)


@dataclass(frozen=True, slots=True)
class Ranked:
    """Faults that what was measured cannot tell apart, most likely first, and tests that do."""

    candidates: tuple[tuple[Fault, float], ...]  # each with its probability, 0 to 1
    probability: float  # 0 to 1, of all of them together
    splits: tuple[Proof, ...]


@dataclass(frozen=True, slots=True)
class Unseen:
    """Faults that no sweep of this variant tells apart (`with_right`: nor from the right build), and tests that do."""

    faults: tuple[Fault, ...]
    with_right: bool
    proofs: tuple[Proof, ...]


@dataclass(frozen=True, slots=True)
class Driver:
    """A fitted driver and how that is: `as drawn`, `normal when new` or `outside the usual spread`."""

    fitted: FittedDriver
    verdict: Literal["as drawn", "normal when new", "outside the usual spread"]


@dataclass(frozen=True, slots=True, eq=False)
class Verified:
    """What is said of one speaker. `suspect` is the mistake to prove first, None where there is none.

    `expected` (F,) ohm is the right build with its fitted drivers, at the sweep's frequencies; None without a sweep.
    `right_probability` counts in what no sweep can tell from the right build; None without sweep and readings.
    """

    variant: Variant
    result: Result
    tests: tuple[Checked, ...]
    readings: tuple[Judged, ...]
    sweep: Sweep | None
    expected: Complexes | None
    worst: Worst | None
    band: Band | None
    diagnosis: Diagnosis | None
    right_probability: float | None
    suspect: Fault | None
    proofs: tuple[Proof, ...]
    likely: tuple[Ranked, ...]
    drivers: tuple[Driver, ...]
    cannot_show: tuple[Unseen, ...]
    heard: Heard | None
    sides: Sides | None


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """What of a variant is worked out before anything is measured, for sweeps at the same frequencies.

    `alike` are the groups of faults that no such sweep tells apart, `band` is None without a sweep.
    """

    bench: Bench
    hypotheses: Hypotheses
    alike: tuple[tuple[Fault, ...], ...]
    band: Band | None

    @classmethod
    def of(cls, kit: Kit, variant: Variant, frequency: Floats | None = None) -> Prepared:
        """At a sweep's `frequency` (F,) Hz. Raises ValueError for too few octaves."""
        f = np.geomspace(*USUAL_FREQUENCY) if frequency is None else frequency
        if math.log2(f[-1] / f[0]) < LEAST_OCTAVES:
            raise ValueError(f"the sweep covers less than {LEAST_OCTAVES:g} octaves")
        made = Hypotheses.of(kit, variant, f)
        alike = tuple(tuple(made.all[h].fault for h in each) for each in made.alike() if len(each) > 1)
        return cls(Bench(kit, variant), made, alike, None if frequency is None else _band(kit, variant, frequency))


def verify(
    kit: Kit,
    variant: Variant,
    readings: Sequence[Reading] = (),
    sweep: Sweep | None = None,
    microphone: MicrophoneTable | None = None,
    against: Sweep | None = None,
    prepared: Prepared | None = None,
) -> Verified:
    """Judge one speaker of `variant` by what was measured of it; `against` is the sweep of the other one of a pair.

    `prepared` for this variant and the sweep's frequencies saves the set-up. Raises KitError where the circuit has no
    solution, ValueError for sweeps that are too short to be compared.
    """
    made = prepared or Prepared.of(kit, variant, sweep.frequency if sweep is not None else None)
    bench, alike = made.bench, made.alike
    judged = tuple(judge(kit, variant, readings))
    found = diagnose(kit, variant, sweep, readings, made.hypotheses) if sweep is not None or readings else None
    heard = listen(kit, variant, microphone) if microphone is not None else None
    blind = next((each for each in alike if RIGHT in each), (RIGHT,))
    right = _probability(found, blind) if found else None
    expected = _expected(kit, variant, found, blind) if found is not None and sweep is not None else None
    sides = None
    if against is not None and sweep is not None and found is not None:
        sides = compare_sides(kit, variant, sweep, against, found)
    tests = (
        _of_readings(judged),
        _of_sweep(found, sweep, right),
        _of_microphone(heard),
        _of_sides(sides),
    )
    done = ("microphone",) if heard is not None and heard.verdict != "cannot_tell" else ()
    groups = _weighed(found, heard)
    ranking = sorted((pair for group in groups for pair in group), key=lambda pair: -pair[1])
    doubtful = any(test.result in ("fail", "marginal", "cannot_tell") for test in tests[:2])
    shown = ranking
    if sweep is None and judged:
        shown = [pair for pair in ranking if _turned(pair[0], heard) or _reads_so(bench, pair[0], judged)]
    suspect = None
    if doubtful or tests[2].result == "fail":
        cleared = blind if doubtful else (RIGHT,)
        suspect = next((fault for fault, _ in shown if fault not in cleared), None)
    rivals = [RIGHT, *(fault for fault, p in shown if p >= WORTH_TELLING and fault != RIGHT)][: RIVALS + 1]
    return Verified(
        variant=variant,
        result=max((test.result for test in tests), key=WORSE.index),
        tests=tests,
        readings=judged,
        sweep=sweep,
        expected=expected,
        worst=_worst(sweep, expected, made.band),
        band=made.band,
        diagnosis=found,
        right_probability=right,
        suspect=suspect,
        proofs=prove(bench, suspect, rivals, done) if suspect is not None else (),
        likely=tuple(_ranked(bench, groups, done)),
        drivers=tuple(_driver(variant, each) for each in found.drivers) if found and sweep is not None else (),
        cannot_show=tuple(_unseen(bench, alike)),
        heard=heard,
        sides=sides,
    )


# -- readings


def judge(kit: Kit, variant: Variant, readings: Sequence[Reading]) -> Iterator[Judged]:
    """Each reading against its window: inside, within half its width outside, or farther off."""
    every: Mapping[tuple[tuple[str, str], str], Window] = {
        (window.between, window.drivers): window for window in windows(kit, variant)
    }
    for reading in readings:
        window = every[reading.between, reading.drivers]
        yield Judged(reading, window, _in_window(reading.ohm, window))


def _in_window(ohm: float, window: Window) -> Result:
    if window.holds(ohm):
        return "pass"
    if window.reads == "rises_to_open":  # still charging, or damp fingers
        return "marginal" if window.holds(ohm / OPEN_MARGIN) else "fail"
    off = MARGIN * (window.high - window.low)
    return "marginal" if window.low - off <= ohm <= window.high + off else "fail"


def _of_readings(judged: Sequence[Judged]) -> Checked:
    if not judged:
        return Checked("readings", "not_tested", "no readings were given")
    counts = {result: sum(each.result == result for each in judged) for result in ("pass", "marginal", "fail")}
    rest = ", ".join(
        f"{count} {word}" for word, count in (("marginal", counts["marginal"]), ("outside", counts["fail"]))
    )
    return Checked(
        "readings",
        max((each.result for each in judged), key=WORSE.index),
        f"{counts['pass']} of {len(judged)} in their windows, {rest}",
    )


# -- the sweep


def _probability(found: Diagnosis, faults: Sequence[Fault]) -> float:
    return math.fsum(each.probability for each in _candidates(found) if each.fault in faults)


def _candidates(found: Diagnosis) -> list[Candidate]:
    """All of them, most likely first."""
    every = (each for group in found.groups for each in group.candidates)
    return sorted(every, key=lambda each: -each.probability)


def _of_sweep(found: Diagnosis | None, sweep: Sweep | None, right: float | None) -> Checked:
    if found is None or sweep is None or right is None:
        return Checked("sweep", "not_tested", "no sweep was given")
    if found.unexplained:
        return Checked(
            "sweep",
            "fail",
            "nothing explains it, neither the kit as drawn nor any single mistake: two mistakes at once, other drivers,"
            " or the sweep itself is off (sweep a resistor of known value first)",
        )
    result: Result = "pass" if right >= SURE else "fail" if right < OUT else "marginal"
    return Checked("sweep", result, f"the kit as drawn has {percent(right)} of the probability ({_needs(result)})")


def _needs(result: Result) -> str:
    sure, out = f"{100 * SURE:.0f} % passes", f"below {100 * OUT:.0f} % fails"
    return {"pass": sure, "fail": out}.get(result, f"{sure}, {out}")


def percent(probability: float) -> str:
    """To whole percent, without calling certain or impossible what is not."""
    if probability > 0.99:
        return ">99 %"
    return "<1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def _band(kit: Kit, variant: Variant, f: Floats) -> Band:
    """At a sweep's frequencies (F,), from copies drawn at fewer: log ohm over log Hz between them. Raises KitError."""
    few = f if f.size <= BAND_POINTS else np.geomspace(f[0], f[-1], BAND_POINTS)
    drawn = expect_sweep(kit, variant, few).magnitude
    if not np.isfinite(drawn.nominal).all():
        raise no_current(kit, variant, "no sweep can be held against it")

    def at(values: Floats) -> Floats:
        return np.asarray(np.exp(np.interp(np.log(f), np.log(few), np.log(np.maximum(values, 1e-6)))))

    return Band(at(drawn.nominal), at(drawn.low), at(drawn.high))


def _expected(kit: Kit, variant: Variant, found: Diagnosis, blind: Sequence[Fault]) -> Complexes:
    """The impedance (F,) in ohm of the right build with its fitted drivers.

    Where a mistake explains the sweep better, the drivers are those of that explanation and the parts as drawn: parts
    that stretch until they hide the mistake are no expectation.
    """
    if _candidates(found)[0].fault in blind:
        return found.right
    model = build(kit, cold(variant))
    factors = {each.name: _factors(each) for each in found.drivers}
    parts = {name: np.array([place.part.value]) for name, place in variant.places.items()}
    some = Common.of(model, found.frequency).copies(Draws(1, parts, factors))
    solved = solve_builds(
        some.network, 2 * np.pi * found.frequency, some.impedance, 1.0, model.source_resistance
    )  # fmt: skip
    return np.asarray(solved.input_impedance[0])


def _factors(fitted: FittedDriver) -> DriverFactors:
    """One copy: the figures that were fitted, the others as they are."""

    def of(value: tuple[float, float] | None) -> Floats:
        return np.array([1.0 if value is None else value[0]])

    return DriverFactors(of(fitted.fs), of(fitted.qts), of(fitted.re), of(None), of(None))


def _worst(sweep: Sweep | None, expected: Complexes | None, band: Band | None) -> Worst | None:
    if sweep is None or expected is None or band is None:
        return None
    expected = np.abs(expected)
    i = int(np.argmax(np.abs(np.log(sweep.magnitude / expected))))
    outside = (sweep.magnitude < band.low) | (sweep.magnitude > band.high)
    return Worst(
        float(sweep.frequency[i]),
        float(sweep.magnitude[i]),
        float(expected[i]),
        float(band.low[i]),
        float(band.high[i]),
        float(np.mean(outside)),
    )


def _driver(variant: Variant, fitted: FittedDriver) -> Driver:
    """By how far copies differ, and by one standard deviation of the fit more; fs may be high in a new driver."""
    spread = variant.hookups[fitted.name].driver.spread
    stiff = False
    for value, below, above in (
        (fitted.fs, spread.fs, max(NEW, spread.fs)),
        (fitted.qts, spread.qts, spread.qts),
        (fitted.re, spread.re, spread.re),
    ):
        if value is not None:
            off, sd = value[0] - 1, value[1]
            if off - sd > above or off + sd < -below:
                return Driver(fitted, "outside the usual spread")
            stiff |= off > below < above
    return Driver(fitted, "normal when new" if stiff else "as drawn")


# -- the microphone and the other side


def _of_microphone(heard: Heard | None) -> Checked:
    if heard is None:
        return Checked("microphone", "not_tested", "no microphone table was given")
    results: Mapping[str, Result] = {"as_built": "pass", "other_way_round": "fail", "cannot_tell": "cannot_tell"}
    says = "; ".join(_way_words(way.drivers, way.verdict, way.why) for way in heard.ways)
    return Checked("microphone", results[heard.verdict], says or "there is nothing to turn")


def _way_words(drivers: Sequence[str], verdict: str, why: str) -> str:
    words = {
        "as_built": "the right way round",
        "other_way_round": "the other way round",
        "cannot_tell": "cannot be told",
    }
    return f"{', '.join(drivers)}: {words[verdict]}{f' ({why})' if why else ''}"


def _of_sides(sides: Sides | None) -> Checked:
    if sides is None:
        return Checked("against", "not_tested", "no sweep of the other speaker was given")
    return Checked("against", sides.result, sides.says)


# -- what to do


def _weighed(found: Diagnosis | None, heard: Heard | None) -> list[list[tuple[Fault, float]]]:
    """What a sweep and readings say, group by group, weighed by what the microphone says of ways round.

    A group that the microphone tells apart becomes two. Without sweep and readings only ways round are weighed, as
    likely as the right one before.
    """
    ways = [way for way in (heard.ways if heard else ()) if way.verdict != "cannot_tell"]
    groups = [[(each.fault, each.probability) for each in group.candidates] for group in found.groups] if found else []
    if not groups:
        turned = [Fault("driver_reversed", ", ".join(names)) for way in ways for names in (way.drivers, way.others)]
        groups = [[(RIGHT, 1.0), *((fault, 0.5) for fault in turned)]] if turned else []
    split: list[list[tuple[Fault, float]]] = []
    for group in groups:
        parts: dict[tuple[bool, ...], list[tuple[Fault, float]]] = {}
        for fault, p in group:
            turns = tuple(_turns(fault, way) for way in ways)
            weight = math.exp(sum(way.evidence for way, turn in zip(ways, turns, strict=True) if turn))
            parts.setdefault(turns, []).append((fault, p * weight))
        split += [sorted(part, key=lambda pair: -pair[1]) for part in parts.values()]
    whole = math.fsum(p for group in split for _, p in group)
    shares = [[(fault, p / whole) for fault, p in group] for group in split]
    return sorted(shares, key=lambda group: -math.fsum(p for _, p in group))


def _turns(fault: Fault, way: WayRound) -> bool:
    """Whether this mistake sounds like the group of drivers turned."""
    return fault.kind == "driver_reversed" and set(fault.place.split(", ")) in (set(way.drivers), set(way.others))


def _turned(fault: Fault, heard: Heard | None) -> bool:
    """Whether the microphone hears this mistake."""
    return any(_turns(fault, way) for way in (heard.ways if heard else ()) if way.verdict == "other_way_round")


def _reads_so(bench: Bench, fault: Fault, judged: Sequence[Judged]) -> bool:
    """Whether this mistake makes any of the readings that are not as they should be."""
    under = bench.windows(fault)
    return any(
        under[each.reading.between, each.reading.drivers].holds(each.reading.ohm)
        for each in judged
        if each.result != "pass"
    )


def _ranked(bench: Bench, groups: Sequence[Sequence[tuple[Fault, float]]], done: Sequence[str]) -> Iterator[Ranked]:
    for group in groups:
        probability = math.fsum(p for _, p in group)
        if probability < WORTH_TELLING / 10:
            break
        some = [pair for pair in group if pair[1] >= WORTH_TELLING / 10] or [group[0]]
        suspect, *rivals = sorted((fault for fault, _ in some), key=lambda fault: fault == RIGHT)
        proofs = prove(bench, suspect, rivals[:RIVALS], done)[:PROOFS_OF_GROUP] if rivals else ()
        yield Ranked(tuple(some), probability, proofs)


def _unseen(bench: Bench, alike: Sequence[Sequence[Fault]]) -> Iterator[Unseen]:
    """Each mistake that looks like the right build by itself, then each set of mistakes that look alike."""
    for faults in alike:
        if RIGHT in faults:
            for fault in faults:
                if fault != RIGHT:
                    yield Unseen((fault,), True, prove(bench, fault, [RIGHT])[:PROOFS_OF_GROUP])
        else:
            yield Unseen(tuple(faults), False, prove(bench, faults[0], faults[1:])[:PROOFS_OF_GROUP])
