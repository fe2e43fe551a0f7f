"""An ohmmeter on a crossover: what it must read between its terminals, with the drivers connected and apart.

A meter sends direct current: a capacitor stops it, a coil is its wire, a driver its voice coil. The resistance between
two terminals never falls when any one resistance rises (Rayleigh's monotonicity law: Doyle & Snell, Random Walks and
Electric Networks, 1984, 1.4.1), so its least and most are those with all resistances at their least and at their most.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Literal, get_args

from system import quantity
from system.bench.faults import Fault, board
from system.bench.sweeps import as_finding
from system.board import circuit
from system.builds import ASSUMED_TOLERANCES
from system.circuit import Circuit
from system.document import DocumentError, Mark, advice, read_text
from system.findings import KitError
from system.kit import Hookup, Kit, Meter, Part, Place, Variant
from system.tables import Cell

Drivers = Literal["connected", "apart"]
Reads = Literal["value", "rises_to_open"]

COIL_WIRE = (
    0.10  # of a coil's dc resistance, to either side, where its kit gives no tolerance; common practice, no source
)
CHARGING = (
    100e3  # ohm: more than this is only read while a capacitor charges, or over a hand; common practice, no source
)
HOT, COMMON = "input+", "input-"  # labels of the input's two points

OPEN = (
    "open",
    "ol",
    "o.l",
    "o.l.",
    "0l",
    "0.l",
    "0.l.",
    ".ol",
    "o/l",
    "inf",
    "infinite",
    "overload",
)  # as meters say it
_WORD = re.compile(r"[+-]?[0-9]+,[0-9]+(?=[\s;]|$)|[^\s;,]+")  # a decimal comma stays in its word, to be told
_BARE = re.compile(r"[+-]?[0-9]*\.?[0-9]+")
_FORM = "write two terminals, connected or apart, and ohm: in common connected 3.4"


@dataclass(frozen=True, slots=True)
class Terminal:
    """A point that a probe can reach; `labels` say what is there: `input+`, `woofer_a+`, `woofer_b+`."""

    point: str
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read between two terminals (ohm; math.inf: open), and its line in the file."""

    between: tuple[str, str]
    drivers: Drivers
    ohm: float
    line: int = 0


@dataclass(frozen=True, slots=True)
class Window:
    """What a meter may read between two terminals (ohm, with its error), and what is there `nominal`ly (without).

    `between` names two terminals' points; with the drivers apart also a driver's own wires, `woofer_a+` and
    `woofer_a-`. math.inf is an open circuit. `rises_to_open`: at most capacitors lead there, so that a meter climbs
    while it charges `capacitance` (F) in `charges`; none: it is open at once. `low` is finite there only if a
    capacitor leaks.
    """

    between: tuple[str, str]
    drivers: Drivers
    low: float
    high: float  # ohm
    reads: Reads
    nominal: float
    capacitance: float = 0.0
    charges: tuple[str, ...] = ()

    def holds(self, ohm: float) -> bool:
        """Whether a reading (math.inf: open) is one that this window allows."""
        if self.reads == "rises_to_open":
            return ohm >= min(self.low, CHARGING)
        return self.low <= ohm <= self.high

    def overlaps(self, other: Window) -> bool:
        """Whether some reading is allowed by both."""
        return self.holds(max(self.low, other.low)) and other.holds(max(self.low, other.low))


def terminals(kit: Kit, variant: Variant) -> tuple[Terminal, ...]:
    """The input's two points, then those of each driver's wires, in file order."""
    hot, common = kit.input
    labels: dict[str, list[str]] = {hot: [HOT], common: [COMMON]}
    for name, hookup in variant.hookups.items():
        labels.setdefault(hookup.plus, []).append(f"{name}+")
        labels.setdefault(hookup.minus, []).append(f"{name}-")
    return tuple(Terminal(point, tuple(words)) for point, words in labels.items())


def windows(
    kit: Kit,
    variant: Variant,
    hookups: Mapping[str, Hookup] | None = None,
    places: Mapping[str, Place] | None = None,
) -> tuple[Window, ...]:
    """Every pair of terminals with the drivers connected, then apart, then each driver across its own wires.

    `hookups` and `places` are those of another build, read at the terminals of this variant; a driver that it does not
    connect is still there to be read by itself. The order is always the same, so that the windows of two builds
    belong together one by one.
    """
    places = variant.places if places is None else places
    hookups = variant.hookups if hookups is None else hookups
    connected, apart = _Board.of(places, hookups, kit.meter), _Board.of(places, {}, kit.meter)
    points = [terminal.point for terminal in terminals(kit, variant)]
    found = [connected.window(pair, "connected") for pair in combinations(points, 2)]
    found += [apart.window(pair, "apart") for pair in combinations(points, 2)]
    for name in variant.hookups:
        ends = f"{name}+", f"{name}-"
        alone = replace(hookups.get(name, variant.hookups[name]), plus=ends[0], minus=ends[1])
        found.append(_Board.of({}, {name: alone}, kit.meter).window(ends, "apart"))
    return tuple(found)


def windows_with(kit: Kit, variant: Variant, fault: Fault) -> tuple[Window, ...]:
    """The same with a mistake on the board, at the terminals of this variant."""
    made = board(kit, variant, fault)
    return windows(kit, variant, made.hookups, made.places)


@dataclass(frozen=True, slots=True)
class Span:
    """A resistance at direct current, ohm: the least, that of the kit, and the most."""

    low: float
    nominal: float
    high: float


def _coil(part: Part) -> Span:
    far = COIL_WIRE if part.tolerance is None else part.tolerance
    return Span(part.resistance * (1 - far), part.resistance, part.resistance * (1 + far))


def _resistor(part: Part) -> Span:
    """About what is printed on it; one that was measured may lie anywhere, also outside."""
    far = ASSUMED_TOLERANCES[part.kind] if part.tolerance is None else part.tolerance
    return Span(min(part.value, part.marked * (1 - far)), part.value, max(part.value, part.marked * (1 + far)))


def _capacitor(part: Part) -> Span:
    """Open, but for a leak: its data are the least insulation, so there may be none."""
    leak = math.inf if part.leakage_resistance is None else part.leakage_resistance + part.resistance
    return Span(leak, leak, math.inf)


SPANS: Mapping[str, Callable[[Part], Span]] = {"coil": _coil, "resistor": _resistor, "capacitor": _capacitor}


def span(place: Place) -> Span:
    """What the part of a place has at direct current."""
    return SPANS[place.part.kind](place.part)


def driver_span(hookup: Hookup) -> Span:
    re, far = hookup.driver.re, hookup.driver.spread.re
    return Span(re * (1 - far), re, re * (1 + far))


@dataclass(frozen=True, slots=True)
class _Board:
    """A build as a meter meets it."""

    places: Mapping[str, Place]
    hookups: Mapping[str, Hookup]
    meter: Meter
    spans: Mapping[str, Span]
    elastances: Mapping[str, float]  # 1/F of capacitors; 0 of what conducts

    @classmethod
    def of(cls, places: Mapping[str, Place], hookups: Mapping[str, Hookup], meter: Meter) -> _Board:
        fitted = {name: place for name, place in places.items() if place.state == "fit"}
        spans = {name: span(place) for name, place in fitted.items()}
        spans |= {name: driver_span(hookup) for name, hookup in hookups.items()}
        capacitors = {name: 1 / place.part.value for name, place in fitted.items() if place.part.kind == "capacitor"}
        elastances = {
            name: capacitors.get(name, 0.0 if math.isfinite(each.nominal) else math.inf) for name, each in spans.items()
        }
        return cls(places, hookups, meter, spans, elastances)

    def window(self, between: tuple[str, str], drivers: Drivers) -> Window:
        made = circuit(between, self.places, self.hookups)
        low, nominal, high = (
            replace(made, ohms={name: getattr(each, corner) for name, each in self.spans.items()}).input_resistance()
            for corner in ("low", "nominal", "high")
        )
        stops = math.isinf(high)
        return Window(
            between,
            drivers,
            low=max(0.0, low * (1 - self.meter.resistance_error) - self.meter.leads),
            high=high * (1 + self.meter.resistance_error) + self.meter.leads,
            reads="rises_to_open" if stops else "value",
            nominal=nominal,
            capacitance=self._capacitance(made) if stops else 0.0,
            charges=tuple(self._charged(made)) if stops else (),
        )

    def _capacitance(self, made: Circuit) -> float:
        """What is charged through the terminals, F: elastances add as resistances do, and what conducts is a wire."""
        elastance = replace(made, ohms=self.elastances).input_resistance()
        return 0.0 if math.isinf(elastance) else math.inf if elastance == 0 else 1 / elastance

    def _charged(self, made: Circuit) -> Iterator[str]:
        """The capacitors that stand between the terminals, in the order of the board."""
        live = made.live()
        for name in self.places:
            if name in live and 0 < self.elastances[name] < math.inf:
                yield name


def read_readings(path: Path, kit: Kit, variant: Variant) -> tuple[Reading, ...]:
    """The readings in `path`: two terminals, `connected` or `apart`, and ohm or `open` a line; # begins a comment.

    Terminals are named as in `windows` or by their labels, in either order; `between` comes back as `windows` has it.
    Raises KitError with every line that is at fault.
    """
    shown = str(path)
    try:
        found, faults = _ReadingsFile(shown, _names(kit, variant), [*variant.hookups]).read(read_text(path, shown))
    except DocumentError as error:
        found, faults = (), [error]
    if faults:
        raise KitError([as_finding(fault) for fault in faults], kit.name)
    return found


def _names(kit: Kit, variant: Variant) -> dict[str, str]:
    """The point of every terminal by its own name and by its labels, points in the order of `terminals`."""
    found = terminals(kit, variant)
    return {each.point: each.point for each in found} | {label: each.point for each in found for label in each.labels}


@dataclass(frozen=True, slots=True)
class _ReadingsFile:
    shown: str
    points: Mapping[str, str]  # by every name
    drivers: list[str]

    def read(self, text: str) -> tuple[tuple[Reading, ...], list[DocumentError]]:
        readings: dict[tuple[tuple[str, str], str], Reading] = {}
        faults: list[DocumentError] = []
        for number, line in enumerate(text.splitlines(), 1):
            words = [(m.start() + 1, m.group()) for m in _WORD.finditer(re.split("#|//", line, maxsplit=1)[0])]
            if not words:
                continue
            try:
                reading = self._reading(number, words)
                first = readings.setdefault((reading.between, reading.drivers), reading)
                if first is not reading:
                    found = f"{' to '.join(reading.between)}, {reading.drivers}, comes twice"
                    raise self._fault("reading_twice", number, words[0], found, f"it is on line {first.line} already")
            except DocumentError as fault:
                faults.append(fault)
        if not readings and not faults:
            faults.append(self._fault("reading_line", 1, (1, ""), "there is no reading in this file", _FORM))
        return tuple(readings.values()), faults

    def _fault(self, code: str, line: int, cell: Cell, found: str, allowed: str) -> DocumentError:
        return DocumentError(code, Mark(self.shown, line, cell[0]), found, allowed)

    def _reading(self, number: int, words: list[Cell]) -> Reading:
        if not 4 <= len(words) <= 5:
            found = f"this line has {len(words)} word{'' if len(words) == 1 else 's'}"
            raise self._fault("reading_line", number, words[0], found, _FORM)
        state = next((known for known in get_args(Drivers) if known == words[2][1].casefold()), None)
        if state is None:
            found = f'the drivers are "{words[2][1]}"'
            raise self._fault("reading_line", number, words[2], found, "they are connected or apart")
        return Reading(self._between(number, words, state), state, self._ohm(number, words[3:]), number)

    def _between(self, number: int, words: list[Cell], state: Drivers) -> tuple[str, str]:
        ends = words[0][1], words[1][1]
        known = [*self.points]
        for cell in words[:2]:
            if cell[1] not in self.points:
                found = f'"{cell[1]}" is no terminal of this variant'
                raise self._fault("reading_point", number, cell, found, advice(cell[1], known))
        if state == "apart":
            own = next(((f"{n}+", f"{n}-") for n in self.drivers if {f"{n}+", f"{n}-"} == set(ends)), None)
            if own is not None:
                return own
            for cell in words[:2]:
                if cell[1][:-1] in self.drivers and cell[1] not in self.points.values():
                    found = f"with the drivers apart, {cell[1]} is a wire by itself"
                    allowed = f"name the point on the board, {self.points[cell[1]]}, or both wires of the driver"
                    raise self._fault("reading_point", number, cell, found, allowed)
        first, second = sorted((self.points[end] for end in ends), key=known.index)
        if first == second:
            found = f"{ends[0]} and {ends[1]} are one point, {first}"
            raise self._fault("reading_point", number, words[1], found, "a reading is between two points")
        return first, second

    def _ohm(self, number: int, words: list[Cell]) -> float:
        text = " ".join(word for _, word in words)
        if text.casefold() in OPEN:
            return math.inf
        try:
            return quantity.read(f"{text} ohm" if _BARE.fullmatch(text) else text, "resistance", zero=True)
        except quantity.QuantityError as error:
            found = f"the reading {error.found}"
            raise self._fault("reading_value", number, words[0], found, f"{error.allowed}, or open") from None
