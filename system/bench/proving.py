"""What proves a suspected mistake, or clears it: the tests that a builder can do, the cheapest and gentlest first.

A test tells two mistakes apart where what it finds under one cannot be taken for what it finds under the other: two
windows of an ohmmeter that no reading is in, two things to see, two ways a cone moves (`system.bench.trials`). It is
offered only where it works on this board. Which tests cost less than others is common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from system.bench import trials
from system.bench.faults import RIGHT, Fault
from system.bench.trials import Bench, Seen, Trial


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of test: its name, how it goes on a variant that may have a fault, and what to mind with it.

    `measures` is false of a look, which does not see a joint that is bad inside; `solder`: it takes a soldering iron.
    """

    words: str
    trials: Callable[[Bench, Fault], Iterator[Trial]]
    cautions: tuple[str, ...]
    measures: bool = True
    solder: bool = False


DEAD = "nothing plugged in, the amplifier's leads off the terminals, capacitors empty: bridge each for a second"
QUIET = "sweep at low level, a few tenths of a volt"
# In the order of what they cost.
KINDS: Mapping[str, Kind] = {
    "look": Kind("look", trials.looks, (DEAD,), measures=False),
    "meter": Kind("ohmmeter, everything connected", trials.readings("connected"), (DEAD,)),
    "apart": Kind(
        "ohmmeter, drivers' leads pulled off", trials.readings("apart"), (DEAD, "pull push-on leads by their sleeves")
    ),
    "seal": Kind("seal and sweep again", trials.seals, (QUIET,)),
    "thumb": Kind("close an opening and sweep again", trials.thumbs, (QUIET,)),
    "press": Kind("press a cone", trials.presses, (DEAD, "press a woofer evenly near its middle; never a tweeter")),
    "battery": Kind(
        "a 1.5 V cell",
        trials.cells,
        (DEAD, "touch for half a second at most, on the input only; never a cell on a tweeter"),
    ),
    "listen": Kind("listen", trials.listens, ("as soft as can still be heard",)),
    "microphone": Kind("microphone", trials.microphones, ("a sweep no louder than speech",)),
    "take_out": Kind("take a driver out", trials.take_outs, (DEAD, "cabinet on its back, tools off the cones")),
    "lift_leg": Kind("unsolder one leg", trials.lifted_legs, (DEAD,), solder=True),
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is seen under each of some `faults`."""

    faults: tuple[Fault, ...]
    seen: Seen


@dataclass(frozen=True, slots=True)
class Proof:
    """A test for a suspect: its outcomes, that of the right build first, and the rivals that it `splits` from it."""

    kind: str
    do: str
    outcomes: tuple[Outcome, ...]
    splits: tuple[Fault, ...]

    @property
    def solder(self) -> bool:
        return KINDS[self.kind].solder

    @property
    def cautions(self) -> tuple[str, ...]:
        return KINDS[self.kind].cautions


def prove(bench: Bench, suspect: Fault, rivals: Sequence[Fault], done: Sequence[str] = ()) -> tuple[Proof, ...]:
    """Tests that tell `suspect` from any of `rivals`, one a kind, the cheapest first; not the kinds that are `done`.

    A soldering iron comes in only where something is left that no other measurement tells.
    """
    rivals = [each for each in rivals if each != suspect]
    best: dict[str, Proof] = {}
    for name, kind in KINDS.items():
        if name in done:
            continue
        every = [_proof(name, trial, suspect, rivals) for trial in kind.trials(bench, suspect)]
        telling = [proof for proof in every if proof.splits]
        if telling:
            best[name] = max(telling, key=lambda proof: len(proof.splits))  # of several the first
    measured = {
        each for name, proof in best.items() if KINDS[name].measures and not proof.solder for each in proof.splits
    }
    needed = not set(rivals) <= measured
    return tuple(proof for proof in best.values() if needed or not proof.solder)


def _proof(kind: str, trial: Trial, suspect: Fault, rivals: Sequence[Fault]) -> Proof:
    found = {fault: seen for fault in (suspect, *rivals) if (seen := trial.under(fault)) is not None}
    mine = found.get(suspect)
    splits = tuple(fault for fault, seen in found.items() if mine is not None and seen.apart_from(mine))
    alike: dict[str, list[Fault]] = {}
    for fault in sorted(found, key=lambda each: each != RIGHT):
        alike.setdefault(found[fault].says, []).append(fault)
    return Proof(
        kind, trial.do, tuple(Outcome(tuple(faults), found[faults[0]]) for faults in alike.values()), splits
    )  # fmt: skip
