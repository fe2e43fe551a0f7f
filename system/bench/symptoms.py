"""From a complaint to ordered checks: what to do, what it shows, and which figure of this build proves it.

`system.bench.complaints` has the words, `system.bench.suspects` what each mistake would do; here both meet a build.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from system import wording
from system.bench.complaints import CHECKS, COMPLAINTS, NEEDS, CheckWords, Complaint, Effort
from system.bench.meter import Window, windows
from system.bench.suspects import GRID, Effects, Suspect
from system.checks import no_current
from system.findings import COMMAND_LINE, Finding, KitError
from system.kit import Chamber, Kit, RadiatorChamber, SealedChamber, Variant, VentedChamber
from system.limits import Limit
from system.predict import chambers
from system.workshop.cautionmodel import Known
from system.workshop.cautions import BURNS, CELL
from system.workshop.runup import Step

BOXES = (SealedChamber, VentedChamber, RadiatorChamber)
PEAKS = (20.0, 200.0)  # Hz, between which a cabinet's own peaks are looked for
USUAL_ROWS = (100.0, 1000.0, 10e3)  # Hz, of `GRID`
NEARLY_ALL = 0.7  # of the most volts that a driver gets: where it plays
MOVING = ("linear_excursion", "damage_excursion", "opening_speed")
DRIVE = 1.0  # V rms at most, for volts that are read at a driver


@dataclass(frozen=True, slots=True)
class Check:
    """One check in words of the build; `figures` are its own numbers, `only` says what it needs where no kit is given.

    `windows` is what a meter must read, `rows` are frequencies (Hz) with the impedance (ohm) that a sweep must show,
    `suspects` those of the complaint's that this check can show.
    """

    name: str
    effort: Effort
    do: str
    right: str
    wrong: str
    proof: str
    only: str = ""
    figures: tuple[str, ...] = ()
    windows: tuple[Window, ...] = ()
    rows: tuple[tuple[float, float], ...] = ()
    suspects: tuple[Suspect, ...] = ()


@dataclass(frozen=True, slots=True)
class Symptom:
    """A complaint with its checks, of one variant or (None) of any build."""

    word: str
    complaint: Complaint
    variant: Variant | None
    checks: tuple[Check, ...]
    suspects: tuple[Suspect, ...] = ()


def find(words: str) -> str:
    """The complaint that is meant: its name, or another word for it, in any case, with spaces, hyphens or lines.

    Raises KitError for a word that is none of them, with the nearest one and the list.
    """
    asked = re.sub(r"[\s\-_/]+", "_", words.strip().lower()).strip("_")
    names = {also: name for name, complaint in COMPLAINTS.items() for also in complaint.also}
    names |= {name: name for name in COMPLAINTS}
    if asked in names:
        return names[asked]
    listed = ", ".join(COMPLAINTS)
    close = difflib.get_close_matches(asked, names, 1, 0.5)
    near = f"did you mean {close[0]}? " if close else ""
    found = f'no symptom is called "{words}"'
    raise KitError([Finding("error", "unknown_symptom", COMMAND_LINE, 1, 1, "", found, f"{near}there are: {listed}")])


def symptom(word: str, kit: Kit | None = None, variant: Variant | None = None) -> Symptom:
    """The checks of a complaint (a key of COMPLAINTS), with the figures of a variant where one is given.

    Raises KitError where the variant's circuit has no solution, or draws no current.
    """
    complaint = COMPLAINTS[word]
    if kit is None or variant is None:
        checks = tuple(_plain(name) for name in complaint.checks)
        return Symptom(word, complaint, None, checks)
    facts = Facts(kit, variant)
    if not np.isfinite(facts.effects.right).all():
        raise no_current(kit, variant, "no complaint can be held against it")
    suspects = facts.effects.suspects(complaint.suspects)
    names = [name for name in complaint.checks if not CHECKS[name].needs or HAS[CHECKS[name].needs](facts)]
    checks = tuple(_check(name, facts, suspects) for name in names)
    return Symptom(word, complaint, variant, checks, suspects)


GENERAL: Mapping[str, str] = {
    "woofers": "the woofers",
    "tweeters": "the tweeter",
    "input": "the input's two points",
    "openings": "the port or mouth",
}


def _plain(name: str) -> Check:
    words = CHECKS[name]
    return Check(name, words.effort, *_said(words, GENERAL), only=NEEDS.get(words.needs, ""))


def _said(words: CheckWords, names: Mapping[str, str]) -> tuple[str, str, str, str]:
    do, right, wrong, proof = (each.format_map(names) for each in (words.do, words.right, words.wrong, words.proof))
    return do, right, wrong, proof


def _check(name: str, facts: Facts, suspects: Sequence[Suspect]) -> Check:
    words = CHECKS[name]
    do, right, wrong, proof = _said(words, facts.names)
    figures = tuple(FIGURES[words.figures](facts)) if words.figures else ()
    by = {"meter": [s for s in suspects if s.meter], "sweep": [s for s in suspects if s.sweep]}
    shown = by.get(name, [])
    read = facts.windows_of(shown) if name == "meter" else ()
    rows = facts.rows_of(by["sweep"]) if name.startswith("sweep") else ()
    return Check(name, words.effort, do, right, wrong, proof, "", figures, read, rows, tuple(shown))


@dataclass(frozen=True, eq=False)
class Facts:
    """A variant and what is worked out of it as it is asked for."""

    kit: Kit
    variant: Variant

    @cached_property
    def known(self) -> Known:
        return Known.of(self.kit, self.variant)

    @cached_property
    def effects(self) -> Effects:
        return Effects.of(self.kit, self.variant)

    @cached_property
    def windows(self) -> tuple[Window, ...]:
        return windows(self.kit, self.variant)

    def windows_of(self, suspects: Sequence[Suspect]) -> tuple[Window, ...]:
        """The reading at the input, then those that tell the suspects, each once."""
        pairs = {(s.meter.right.between, s.meter.right.drivers) for s in suspects if s.meter}
        first = (self.kit.input, "connected")
        return tuple(w for w in self.windows if (w.between, w.drivers) == first or (w.between, w.drivers) in pairs)

    def rows_of(self, suspects: Sequence[Suspect]) -> tuple[tuple[float, float], ...]:
        """Of the sweep as drawn: three that every sweep has, and those that tell the suspects."""
        wanted = {*USUAL_ROWS, *(s.sweep.frequency for s in suspects if s.sweep)}
        curve = self.effects.right
        return tuple((f, float(curve[np.argmin(np.abs(GRID - f))])) for f in sorted(wanted))

    @property
    def names(self) -> dict[str, str]:
        return {
            "woofers": _listed(self.effects.woofers, "the woofers"),
            "tweeters": _listed(self.effects.tweeters, "the tweeter"),
            "input": " to ".join(self.kit.input),
            "openings": _listed(self.openings, "the openings"),
        }

    @cached_property
    def openings(self) -> tuple[str, ...]:
        """Ports and mouths by name."""
        return tuple(limit.name for limit in self.known.limits.limits if limit.kind == "opening_speed")

    @property
    def inhabited(self) -> list[Chamber]:
        return [chamber for _, chamber, _ in chambers(self.known.swept.model)]

    def step_near(self, frequency: float) -> Step:
        return min(self.known.run_up.steps, key=lambda step: abs(math.log(step.frequency / frequency)))


def _listed(names: Sequence[str], otherwise: str) -> str:
    return wording.listed(list(names)) if names else otherwise


# -- what a build has

HAS: Mapping[str, Callable[[Facts], bool]] = {
    "opening": lambda facts: bool(facts.openings),
    "sealed": lambda facts: any(isinstance(each, SealedChamber) for each in facts.inhabited),
    "box": lambda facts: any(isinstance(each, BOXES) for each in facts.inhabited),
    "filled": lambda facts: any(fill is not None for each in facts.inhabited for fill in each.fills),
    "parts": lambda facts: bool(facts.variant.places),
    "woofer": lambda facts: bool(facts.effects.woofers),
    "tweeter": lambda facts: bool(facts.effects.tweeters),
}

# -- figures of a build, a sentence each


def window_words(window: Window) -> str:
    """`in to common, drivers connected: 3.1 to 3.6 ohm`."""
    return f"{' to '.join(window.between)}, drivers {window.drivers}: {reads_words(window)}"


def reads_words(window: Window) -> str:
    """`3.1 to 3.6 ohm`, both ends within the window; `climbs to open`."""
    if window.reads == "rises_to_open":
        return "climbs to open" if window.capacitance else "open"
    low, high = math.ceil(window.low * 10 - 1e-9) / 10, math.floor(window.high * 10 + 1e-9) / 10
    return f"{low:.1f} to {high:.1f} ohm" if low < high else f"{window.nominal:.1f} ohm"


def _input(facts: Facts) -> Iterator[str]:
    yield next(window_words(w) for w in facts.windows if w.between == facts.kit.input and w.drivers == "connected")


def _limits(facts: Facts) -> Iterator[str]:
    """What moves, the first of each kind to give way on a swept sine, and where the amplifier clips."""
    firsts: dict[str, Limit] = {}
    for limit in sorted(facts.known.limits.limits, key=lambda each: each.swept):
        if math.isfinite(limit.swept) and limit.kind in MOVING:
            firsts.setdefault(limit.kind, limit)
    for limit in firsts.values():
        yield f"{limit.words}: from {wording.volts_down(limit.swept)} on, at {wording.hertz(limit.swept_hz)}"
    yield f"the amplifier clips at {wording.volts_down(facts.kit.amplifier.rated_volts)}"


def _receiver(facts: Facts) -> Iterator[str]:
    high_pass = facts.variant.receiver_high_pass
    if high_pass is None:
        yield "the receiver takes nothing away: full range (large)"
    else:
        yield f"the receiver's high-pass is at {wording.hertz(high_pass.corner)}, order {high_pass.order} (small)"


def _board(facts: Facts) -> Iterator[str]:
    yield f"{facts.variant.name}: {', '.join(wording.place(place) for place in facts.variant.places.values())}"


def _marks(facts: Facts) -> Iterator[str]:
    for name in facts.effects.tweeters:
        hookup = facts.variant.hookups[name]
        purpose = ", against its marks on purpose" if hookup.reversed_on_purpose else ""
        yield f"{name}: plus to {hookup.plus}, minus to {hookup.minus}{purpose}"


def _step_words(step: Step) -> str:
    moves = "" if step.mover is None else f", where {step.mover} goes {wording.millimetres(step.excursion)} each way"
    return f"{wording.hertz(step.frequency)} at {step.volts:g} V{moves}"


def _most_moved(facts: Facts) -> Step:
    """The step in which the cones go farthest: best seen."""
    return max(facts.known.run_up.steps, key=lambda step: step.excursion or 0.0)


def _motion(facts: Facts) -> Iterator[str]:
    yield _step_words(_most_moved(facts))


def _run_up(facts: Facts) -> Iterator[str]:
    steps = facts.known.run_up.steps
    told = dict.fromkeys((steps[0], _most_moved(facts), facts.step_near(300.0)))
    yield f"at most: {'; '.join(_step_words(step) for step in sorted(told, key=lambda step: step.frequency))}"


def _peak(facts: Facts) -> Iterator[str]:
    """Peaks and saddles of the impedance in the bass, as a sweep at the cabinet shows them."""
    result = facts.known.swept.result
    ohms = np.abs(result.impedance - facts.kit.amplifier.cable)
    before, inner, after = ohms[:-2], ohms[1:-1], ohms[2:]
    turns = {"peak": (inner > before) & (inner > after), "dip": (inner < before) & (inner < after)}
    told = [
        (float(result.frequency[i]), f"{words} {wording.ohms(float(ohms[i]))}")
        for words, there in turns.items()
        for i in np.flatnonzero(there) + 1
        if PEAKS[0] <= result.frequency[i] <= PEAKS[1]
    ]
    if told:
        yield f"as drawn: {', '.join(f'{words} at {wording.hertz(at)}' for at, words in sorted(told))}"


def _placement(facts: Facts) -> Iterator[str]:
    placement = facts.variant.placement
    if placement.kind == "in_wall":
        yield "made to stand in a wall"
        return
    planes = {
        "the wall behind": placement.wall_behind,
        "the left wall": placement.wall_left,
        "the right wall": placement.wall_right,
        "the floor": placement.below,
        "the ceiling": placement.above,
    }
    near = [f"{distance * 1e3:.0f} mm from {name}" for name, distance in planes.items() if distance is not None]
    yield f"computed {wording.listed(near) if near else 'free standing'}"


def _load(facts: Facts) -> Iterator[str]:
    figures = facts.known.swept.result.summary
    if figures.lowest_impedance_ohm is not None:
        stands = facts.kit.amplifier.lowest_load
        limit = (
            "the kit does not say what the amplifier stands"
            if stands is None
            else f"the amplifier stands {stands:g} ohm"
        )
        at = wording.hertz(figures.lowest_impedance_hz)
        yield f"lowest {wording.ohms(figures.lowest_impedance_ohm)} at {at}; {limit}"


def _hot(facts: Facts) -> Iterator[str]:
    """The parts that get most of the programme at full volume."""
    parts = facts.known.stress.parts.values()
    loads = [((part.programme or part.sine).watts, part) for part in parts]
    for watts, part in sorted(loads, key=lambda pair: -pair[0])[:3]:
        surface = f", {wording.degrees(part.surface.temperature)}" if part.surface else ""
        hot = ", burns" if part.surface and part.surface.temperature > BURNS else ""
        yield f"{part.reference}: {watts:.1f} W at full volume on the programme{surface}{hot}"


def _air(facts: Facts) -> Iterator[str]:
    for name, limit in facts.known.swept.result.summary.limits.items():
        if limit.volts is not None:
            at = wording.hertz(limit.frequency)
            yield f"{name}: its air reaches {limit.speed:.3g} m/s from {wording.volts_down(limit.volts)} on, at {at}"


def _drive(facts: Facts) -> Iterator[str]:
    """Volts across each driver at the lowest tone of the run-up that it plays; like drivers together."""
    told: dict[str, list[str]] = {}
    steps = facts.known.run_up.steps
    at = np.log([step.frequency for step in steps])
    for name, volts in facts.effects.volts.items():
        ratios = np.interp(at, np.log(GRID), volts)
        i = int(np.argmax(ratios >= NEARLY_ALL * ratios.max()))
        step, ratio = steps[i], float(ratios[i])
        given = min(DRIVE, step.volts)
        words = f"{ratio * given:.2f} V at {wording.hertz(step.frequency)} for {given:g} V at the board's input"
        told.setdefault(words, []).append(name)
    for words, names in told.items():
        yield f"{wording.listed(names)}: {words}"
    yield "many meters read too little above 1 kHz: compare with the other cabinet"


def _filling(facts: Facts) -> Iterator[str]:
    for chamber in facts.inhabited:
        grams = _grams(chamber)
        if grams is not None:
            yield f"the chamber of {wording.listed(list(chamber.drivers))}: {grams:.0f} g"
        elif any(fill is not None for fill in chamber.fills):
            yield f"the chamber of {wording.listed(list(chamber.drivers))}: filled; the kit gives no mass"


def _grams(chamber: Chamber) -> float | None:
    """Of the filling; None for none, or where the kit gives its flow resistivity only."""
    if isinstance(chamber, BOXES):
        density = chamber.fill.fibre_density if chamber.fill else None
        return None if density is None or chamber.fill is None else density * chamber.volume * chamber.fill.share * 1e3
    filled = [(s, s.fill) for s in chamber.profile if s.fill is not None]
    masses = [
        None if fill.fibre_density is None else fill.fibre_density * fill.share * s.length * (s.area + s.end_area) / 2
        for s, fill in filled
    ]
    known = [mass for mass in masses if mass is not None]
    return sum(known) * 1e3 if masses and len(known) == len(masses) else None


def _battery(facts: Facts) -> Iterator[str]:
    told = {}
    for name in facts.effects.woofers:
        small = facts.variant.hookups[name].driver.small_signal
        if small is not None:
            told[f"{CELL * small.bl * small.cms / small.re * 1e3:.1f} mm outward"] = name  # x = Bl Cms V/Re, no box
    yield from (f"{words} on {CELL:g} V, out of its box" for words in told)


def _apart(facts: Facts) -> Iterator[str]:
    for window in facts.windows:
        if window.drivers == "apart" and window.between[0].endswith("+"):
            yield f"{window.between[0].removesuffix('+')} by itself: {reads_words(window)}"


def _values(facts: Facts) -> Iterator[str]:
    told = []
    for place in facts.variant.places.values():
        if place.state == "fit":
            tolerance = "" if place.part.tolerance is None else f" +-{place.part.tolerance * 100:g} %"
            told.append(f"{wording.place(place)}{tolerance}")
    if told:
        yield ", ".join(told)


FIGURES: Mapping[str, Callable[[Facts], Iterator[str]]] = {
    "input": _input,
    "limits": _limits,
    "receiver": _receiver,
    "board": _board,
    "marks": _marks,
    "motion": _motion,
    "run_up": _run_up,
    "peak": _peak,
    "placement": _placement,
    "load": _load,
    "hot": _hot,
    "air": _air,
    "drive": _drive,
    "filling": _filling,
    "battery": _battery,
    "apart": _apart,
    "values": _values,
}
