"""The tests that a builder can do on the bench, and what each finds for each mistake.

All is worked out from the wrong builds themselves: what an ohmmeter reads, what stands in a place, which cone moves.
What a cell of 1.5 V does to a cone, or air that leaks to a push on it, is common practice, without a source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.bench import microphone
from system.bench.cabinets import chamber_words, inhabited
from system.bench.faults import RIGHT, Fault, board, wrong
from system.bench.meter import Drivers, Window, windows_with
from system.board import circuit
from system.build import build
from system.builds import members, tolerance
from system.kit import Kit, Part, Place, SealedChamber, Variant
from system.predict import solve
from system.transfer import Transfer, motion, transfer

Floats = NDArray[np.float64]
Pair = tuple[str, str]

ACOUSTIC = ("air_leak", "wrong_fill", "blocked_mouth")  # mistakes in the cabinet, not on the board
SILENT = 20.0  # dB, by which a driver is softer that is called silent
SOFT = 8.0  # dB, by which one is called much softer
MOVES = 0.06  # of the impedance: what is seen to change from one sweep to the next
AUDIBLE = np.geomspace(40, 16e3, 105)  # Hz
PEAKS = np.geomspace(15, 400, 240)  # Hz, where a cabinet shows in an impedance


@dataclass(frozen=True, slots=True)
class Seen:
    """What a test finds under one mistake: in words, and for a meter the window."""

    says: str
    window: Window | None = None

    def apart_from(self, other: Seen) -> bool:
        """Whether nobody can take one for the other."""
        if self.window is not None and other.window is not None:
            return not self.window.overlaps(other.window)
        return self.says != other.says


@dataclass(frozen=True, slots=True)
class Trial:
    """Something to `do`, and what is seen `under` a mistake; None where that is not known."""

    do: str
    under: Callable[[Fault], Seen | None]


class Bench:
    """One variant on the bench, and what its wrong builds do; worked out once and kept."""

    def __init__(self, kit: Kit, variant: Variant) -> None:
        self.kit, self.variant = kit, variant
        self._windows: dict[Fault, dict[tuple[Pair, Drivers], Window]] = {}
        self._levels: dict[Fault, dict[str, float]] = {}

    def built(self, fault: Fault) -> Variant:
        return wrong(self.kit, self.variant, fault)

    def windows(self, fault: Fault) -> dict[tuple[Pair, Drivers], Window]:
        """What a meter reads, by the two terminals and whether the drivers are connected."""
        if fault not in self._windows:
            found = windows_with(self.kit, self.variant, fault)
            self._windows[fault] = {(each.between, each.drivers): each for each in found}
        return self._windows[fault]

    def levels(self, fault: Fault) -> dict[str, float]:
        """How much louder each driver is than in the right build, dB, over all that it plays."""
        if fault not in self._levels:
            right, now = self._powers(RIGHT), self._powers(fault)
            self._levels[fault] = {name: 10 * math.log10(max(now[name], 1e-30) / right[name]) for name in right}
        return self._levels[fault]

    def _powers(self, fault: Fault) -> dict[str, float]:
        model = build(self.kit, self.built(fault))
        acoustics = transfer(model, AUDIBLE, self._right.paths) if fault.kind in ACOUSTIC else self._right
        current = solve(model, acoustics, 1.0).load_current
        heard = np.einsum("fij,fj->fi", acoustics.driver_pressure, current)
        return {name: max(float(np.sum(np.abs(heard[:, i]) ** 2)), 1e-30) for i, name in enumerate(model.names)}

    @cached_property
    def _right(self) -> Transfer:
        return transfer(build(self.kit, self.variant), AUDIBLE)

    def change(self, fault: Fault) -> tuple[float, float, float]:
        """Where (Hz) a mistake in the cabinet changes the impedance most; what it is there with it and without, ohm."""
        now, right = self._impedance(fault), self._impedance(RIGHT)
        with np.errstate(invalid="ignore"):
            apart = np.abs(np.log(now / right))
        i = int(np.argmax(np.where(np.isnan(apart), 0.0, apart)))  # open with and without it is no difference
        return float(PEAKS[i]), float(now[i]), float(right[i])

    def _impedance(self, fault: Fault) -> Floats:
        """At the input's points, ohm, over `PEAKS`."""
        model = build(self.kit, self.built(fault))
        return np.asarray(np.abs(solve(model, motion(model, PEAKS), 1.0).input_impedance))

    def moves(self, fault: Fault) -> dict[str, str]:
        """What each woofer's cone does at the touch of a cell on the input, plus to plus: `out`, `in` or `nothing`."""
        made = board(self.kit, self.variant, fault)
        wired = circuit(self.kit.input, made.places, made.hookups)
        live = wired.live()
        return {
            name: TURNS[wired.way_round(name)] if name in live else "nothing"
            for name, hookup in self.variant.hookups.items()
            if hookup.driver.role == "woofer"
        }

    def sends_dc_to_a_tweeter(self, fault: Fault) -> bool:
        made = board(self.kit, self.variant, fault)
        live = circuit(self.kit.input, made.places, made.hookups).live_at_dc()
        return any(self.variant.hookups[name].driver.role == "tweeter" for name in live & set(made.hookups))


TURNS = {"by_its_marks": "out", "against_its_marks": "in", "either": "one way or the other"}


def looks(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    """At the places of the board where the suspect differs from the kit; through an opening that may be closed."""
    drawn, made = bench.variant.places, bench.built(suspect).places
    here = [name for name in drawn if _mark(made[name]) != _mark(drawn[name])]
    if here:
        read = all(_fits(drawn[name]) and _fits(made[name]) for name in here)
        what = "read what is printed on" if read else "look at"

        def under(fault: Fault) -> Seen:
            there = bench.built(fault).places
            return Seen("; ".join(f"{name}: {_visible(there[name], drawn[name])}" for name in here))

        yield Trial(f"{what} {wording.listed(here)} on the board", under)
    if suspect.kind == "blocked_mouth":
        yield Trial(
            f"look into the {suspect.place} with a lamp",
            lambda fault: Seen("closed" if fault == suspect else "open, with nothing in it"),
        )


def _mark(place: Place) -> tuple[object, ...]:
    """What can be seen of a place."""
    part = place.part
    return (part.kind, members(part), part.made_of_how if part.made_of else "") if _fits(place) else (place.state,)


def _fits(place: Place) -> bool:
    return place.state == "fit"


def _visible(place: Place, drawn: Place) -> str:
    """A place in words, as one looks at it."""
    if place.state == "omit":
        return "nothing, or a leg that is loose or badly soldered" if drawn.state != "omit" else "nothing"
    if place.state == "link":
        return "a wire"
    gone, left = list(members(drawn.part)), members(place.part)
    if _fits(drawn) and len(left) < len(gone) and set(left) <= set(gone):
        for value in left:
            gone.remove(value)
        lost = wording.listed([wording.part_value(place.part.kind, value) for value in gone])
        return f"{_printed(place.part)} only, {lost} missing or with a leg that is loose"
    return _printed(place.part)


def _printed(part: Part) -> str:
    values = [wording.part_value(part.kind, _three(value)) for value in members(part)]
    how = {"parallel": "side by side", "series": "one after the other"}[part.made_of_how]
    return f"{wording.listed(values)} {how}" if len(values) > 1 else values[0]


def _three(value: float) -> float:
    return float(f"{value:.3g}")


def readings(drivers: Drivers) -> Callable[[Bench, Fault], Iterator[Trial]]:
    """Every pair of terminals, the input first: there nothing has to be opened."""
    how = {"connected": "everything connected", "apart": "all drivers' leads pulled off"}[drivers]

    def trials(bench: Bench, _: Fault) -> Iterator[Trial]:
        for key in bench.windows(RIGHT):
            if key[1] == drivers:

                def under(fault: Fault, key: tuple[Pair, Drivers] = key) -> Seen:
                    window = bench.windows(fault)[key]
                    return Seen(window_words(window), window)

                yield Trial(f"ohmmeter between {key[0][0]} and {key[0][1]}, {how}", under)

    return trials


def window_words(window: Window) -> str:
    """What a meter shows: `3.1 to 3.6 ohm`, open, or that it climbs."""
    if window.reads == "rises_to_open":
        return "climbs and then shows open" if window.capacitance else "open at once"
    return f"{window.low:.1f} to {window.high:.1f} ohm"


def seals(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    """Of several places that may leak, one at a time."""
    if suspect.kind != "air_leak":
        return
    hertz, leaking, tight = bench.change(suspect)
    if abs(math.log(leaking / tight)) > MOVES:
        where = {"": "the terminal cup and the drivers' rims", "closed end": "the seams at the closed end"}
        goes = f"it changes, most near {hertz:.0f} Hz, with drivers as drawn from {leaking:.1f} to {tight:.1f} ohm"
        yield Trial(
            f"put tape over {where.get(suspect.form, f'the rim and the seams {suspect.form}')}, and sweep again",
            lambda fault: Seen(goes if fault == suspect else "the sweep stays as it is"),
        )


def thumbs(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    if suspect.kind != "blocked_mouth":
        return
    hertz, closed, drawn = bench.change(suspect)
    if abs(math.log(closed / drawn)) > MOVES:
        goes = f"it changes, most near {hertz:.0f} Hz, with drivers as drawn from {drawn:.1f} to {closed:.1f} ohm"
        yield Trial(
            f"close the {suspect.place} tightly with the flat of the hand, and sweep again",
            lambda fault: Seen("the sweep stays as it is" if fault == suspect else goes),
        )


def presses(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    """Air that is shut in carries one cone's push to another and is slow to leave; only a closed box does that."""
    if suspect.kind != "air_leak":
        return
    chamber = chamber_words(bench.variant)[suspect.place]
    if not isinstance(chamber, SealedChamber):
        return
    names = [name for name in chamber.drivers if name in bench.variant.hookups]
    if len(names) > 1:
        do = f"press {names[0]} in by a few millimetres, hold it and watch {names[1]}"
        tight, leaks = "it comes out and stays out for a second or more", "it comes out and sinks back at once"
    else:
        do = f"press {names[0]} in by a few millimetres, hold it for three seconds and let go"
        tight, leaks = "it comes back to its place", "it comes back too far and creeps in again"
    yield Trial(do, lambda fault: Seen(leaks if fault.kind == "air_leak" else tight))


def cells(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    """A woofer's cone jumps out where plus goes to plus; of one that is not connected the air alone moves the cone.

    Never where the cell would reach a tweeter, as the board is drawn or with the mistake suspected.
    """
    if any(bench.sends_dc_to_a_tweeter(fault) for fault in (RIGHT, suspect)):
        return

    def under(fault: Fault) -> Seen:
        moves = bench.moves(fault)
        return Seen(", ".join(f"{name} {_moves(bench, name, moves)}" for name in moves))

    conducts = math.isfinite(circuit(bench.kit.input, bench.variant.places, bench.variant.hookups).input_resistance())
    jumps = "the woofers" if conducts else "the woofers' first jump"
    yield Trial(f"touch the input with a 1.5 V cell, plus to plus, and watch {jumps}", under)


def _moves(bench: Bench, name: str, moves: Mapping[str, str]) -> str:
    if moves[name] != "nothing":
        return moves[name]
    pushed = any(
        name in chamber.drivers and any(moves.get(other, "nothing") != "nothing" for other in chamber.drivers)
        for chamber in inhabited(bench.variant)
    )
    return "only pushed by the air inside, against the other" if pushed else "still"


def listens(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    changed = [name for name, by in bench.levels(suspect).items() if by < -SOFT]
    if changed:

        def under(fault: Fault) -> Seen:
            levels = bench.levels(fault)
            return Seen(", ".join(f"{name} {_loud(levels[name])}" for name in changed))

        yield Trial(f"play something softly and put an ear close to {wording.listed(changed)}", under)


def _loud(by: float) -> str:
    return "is silent" if by < -SILENT else "is much too soft" if by < -SOFT else "plays"


def microphones(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    """Only where the drivers of one chamber, all of them and those alone, are turned."""
    null = microphone.null(bench.kit, bench.variant, tuple(suspect.place.split(", ")))
    if suspect.kind != "driver_reversed" or null is None:
        return
    hertz, depth, dips = null
    dip, none = f"a dip of about {depth:.0f} dB at {wording.hertz(hertz)}", f"no dip at {wording.hertz(hertz)}"
    turned, right = (dip, none) if dips == "turned" else (none, dip)

    def under(fault: Fault) -> Seen | None:
        if fault == suspect:
            return Seen(turned)
        return Seen(right) if fault.kind in ("none", *ACOUSTIC) else None

    yield Trial("measure the response at the listening point, and give it with --microphone", under)


def take_outs(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    """What is behind a driver: its leads, and the filling."""
    drawn, made = bench.variant.hookups, bench.built(suspect).hookups
    turned = [name for name, hookup in drawn.items() if made[name] != hookup]
    if turned:

        def under(fault: Fault) -> Seen:
            there = board(bench.kit, bench.variant, fault).hookups
            ends = (
                f"plus on {there[n].plus}, minus on {there[n].minus}" if n in there else "a lead off" for n in turned
            )
            return Seen("; ".join(f"{name} {words}" for name, words in zip(turned, ends, strict=True)))

        yield Trial(f"take {wording.listed(turned)} out and follow the leads to the board", under)
    if suspect.kind == "wrong_fill":
        name = next(n for n in chamber_words(bench.variant)[suspect.place].drivers if n in drawn)
        found = {"none": "no filling", "double": "about twice the filling that the kit asks for"}
        yield Trial(
            f"take {name} out and look at the filling, or weigh it",
            lambda fault: Seen(found[fault.form] if fault.kind == "wrong_fill" else "filled as the kit says"),
        )


def lifted_legs(bench: Bench, suspect: Fault) -> Iterator[Trial]:
    drawn, made = bench.variant.places, bench.built(suspect).places
    for name, place in drawn.items():
        if _fits(place) and _mark(place) != _mark(made[name]):

            def under(fault: Fault, name: str = name) -> Seen:
                return Seen(_measured(bench.built(fault).places[name]))

            yield Trial(f"lift one leg of {name} and measure what is there", under)


def _measured(place: Place) -> str:
    if place.state == "link":
        return "no more ohms than the meter's own leads"
    if place.state == "omit":
        return "open"
    part, far = place.part, tolerance(place.part)
    low, high = (wording.part_value(part.kind, _three(part.marked * (1 + side * far))) for side in (-1, 1))
    return f"{low} to {high}"
