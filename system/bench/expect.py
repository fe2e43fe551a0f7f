"""What a crossover must read when it is built as drawn: on an ohmmeter, and in an impedance sweep.

For every reading of an ohmmeter stands what it proves: each single building mistake is read at the same terminals, and
where no reading is allowed by both, this one tells them apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from filters.elimination import solve_builds
from system.bench.copies import cold
from system.bench.faults import RIGHT, Fault, board, faults
from system.bench.meter import Window, windows, windows_with
from system.build import build
from system.builds import Common, draw
from system.grid import THIRD_OCTAVES
from system.kit import Kit, Meter, Variant
from system.predict import solve

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

COPIES = 1000  # of the band; their 5 % and 95 % are sure to some 1 % of the copies
SHARES = (0.05, 0.95)  # of the copies that lie below the ends of the band
# Mistakes that make a part or driver another one in its place: a reading that shows all of them proves the part.
OF_A_PART = ("missing", "linked", "doubled", "halved", "one_of_pair_open", "pair_in_series", "fitted_needlessly")
OF_A_DRIVER = ("driver_open",)


@dataclass(frozen=True, slots=True)
class Proof:
    """A reading of the right build, and the mistakes that it shows for certain or cannot tell from it.

    `parts` and `drivers` are those that it proves: parts of which it shows every mistake, drivers that it shows to be
    connected.
    """

    window: Window
    shows: tuple[Fault, ...]
    cannot_tell: tuple[Fault, ...]
    parts: tuple[str, ...]
    drivers: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A real curve (F,) over frequency: as drawn, the ends of the middle of the copies, and those with the meter's
    error."""

    nominal: Floats  # ohm or rad, as the three pairs below
    p5: Floats  # of the copies
    p95: Floats  # of the copies
    low: Floats  # p5 less the meter's error
    high: Floats  # p95 and the meter's error


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedSweep:
    """The impedance (F,) at the input's two points, coils cold: `magnitude` in ohm, `phase` in rad, of `copies`.

    Where no current flows the magnitude is math.inf and the phase math.nan.
    """

    frequency: Floats  # (F,) Hz, rising
    impedance: Complexes  # as drawn
    magnitude: Curve
    phase: Curve
    copies: int
    seed: int

    def at(self, frequency: Floats) -> ExpectedSweep:
        """At some of its frequencies only, the nearest ones."""
        which = np.array([int(np.argmin(np.abs(np.log(self.frequency / each)))) for each in frequency])

        def some(curve: Curve) -> Curve:
            return Curve(*(getattr(curve, each.name)[which] for each in fields(Curve)))

        return replace(
            self,
            frequency=self.frequency[which],
            impedance=self.impedance[which],
            magnitude=some(self.magnitude),
            phase=some(self.phase),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """One variant built as drawn: every reading and what it proves, what none of them shows, and the sweep.

    `unproved` are the fitted parts that no reading proves, each with its mistakes that none shows.
    """

    variant: Variant
    proofs: tuple[Proof, ...]
    cannot_show: tuple[Fault, ...]
    unproved: Mapping[str, tuple[Fault, ...]]
    sweep: ExpectedSweep
    thirds: ExpectedSweep  # the same at `grid.THIRD_OCTAVES`

    @property
    def windows(self) -> tuple[Window, ...]:
        return tuple(proof.window for proof in self.proofs)


def expect(kit: Kit, variant: Variant, frequency: Floats, copies: int = COPIES, seed: int = 0) -> Expected:
    """What `variant` must read, with the sweep at `frequency` (F,) in Hz.

    Raises KitError where the circuit has no solution.
    """
    every = mistakes(kit, variant)
    both = expect_sweep(kit, variant, np.union1d(frequency, THIRD_OCTAVES), copies, seed)
    found = tuple(_proofs(kit, variant, every))
    hidden = tuple(fault for fault in every if not any(fault in proof.shows for proof in found))
    proved = {name for proof in found for name in proof.parts}
    fitted = [name for name, place in variant.places.items() if place.state == "fit"]
    return Expected(
        variant=variant,
        proofs=found,
        cannot_show=hidden,
        unproved={
            name: tuple(fault for fault in hidden if fault.place == name) for name in fitted if name not in proved
        },
        sweep=both.at(frequency),
        thirds=both.at(THIRD_OCTAVES),
    )


def mistakes(kit: Kit, variant: Variant) -> tuple[Fault, ...]:
    """The single mistakes on the board, those in the cabinet left out."""
    right = board(kit, variant, RIGHT)
    return tuple(fault for fault in faults(kit, variant) if board(kit, variant, fault) != right)


def _proofs(kit: Kit, variant: Variant, every: Sequence[Fault]) -> Iterator[Proof]:
    read = {fault: windows_with(kit, variant, fault) for fault in every}
    for i, window in enumerate(windows(kit, variant)):
        shown = {fault: not window.overlaps(read[fault][i]) for fault in every}
        yield Proof(
            window=window,
            shows=tuple(fault for fault in every if shown[fault]),
            cannot_tell=tuple(fault for fault in every if not shown[fault]),
            parts=tuple(_whole(shown, OF_A_PART, list(variant.places))),
            drivers=tuple(_whole(shown, OF_A_DRIVER, list(variant.hookups))),
        )


def _whole(shown: Mapping[Fault, bool], kinds: Sequence[str], names: Sequence[str]) -> Iterator[str]:
    """The places of which all mistakes of these kinds are shown."""
    for name in names:
        own = [told for fault, told in shown.items() if fault.place == name and fault.kind in kinds]
        if own and all(own):
            yield name


def expect_sweep(kit: Kit, variant: Variant, frequency: Floats, copies: int = COPIES, seed: int = 0) -> ExpectedSweep:
    """The impedance of copies at `frequency` (F,) in Hz, at the input's points: no cable, and voice coils cold.

    Raises KitError where the circuit has no solution.
    """
    model = build(kit, cold(variant))
    common = Common.of(model, frequency)
    nominal = solve(model, common.moved, 1.0).input_impedance
    drawn = impedance_of_copies(common, copies, seed)
    low, high = _ends(np.abs(drawn))
    first, last = _ends(_phase(drawn))
    off, angle = kit.meter.impedance, _angle(kit.meter, low)
    return ExpectedSweep(
        frequency=frequency,
        impedance=nominal,
        magnitude=Curve(np.asarray(np.abs(nominal), float), low, high, np.maximum(low - off, 0.0), high + off),
        phase=Curve(_phase(nominal), first, last, first - angle, last + angle),
        copies=copies,
        seed=seed,
    )


def impedance_of_copies(common: Common, copies: int, seed: int) -> Complexes:
    """Of `copies` drawn, (F, B) in ohm, at the input's points. Raises KitError where the circuit has no solution."""
    model, frequency = common.model, common.moved.frequency
    drawn = np.empty((frequency.size, copies), complex)
    with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
        for builds, some in common.chunks(draw(model.kit, model.variant, copies, seed)):
            solved = solve_builds(some.network, 2 * np.pi * frequency, some.impedance, 1.0, model.source_resistance)
            drawn[:, builds] = solved.input_impedance.T
    return drawn


def _phase(impedance: Complexes) -> Floats:
    return np.where(np.isfinite(impedance), np.angle(impedance), np.nan)


def _ends(values: Floats) -> tuple[Floats, Floats]:
    """Of copies (F, B), values of copies themselves, each (F,)."""
    low, high = np.quantile(values, SHARES, axis=1, method="inverted_cdf")
    return np.asarray(low), np.asarray(high)


def _angle(meter: Meter, magnitude: Floats) -> Floats:
    """How far the phase (F,) is off where the impedance is off by the meter's error in any direction, rad."""
    return np.asarray(np.arcsin(np.minimum(1.0, meter.impedance / np.maximum(magnitude, meter.impedance))))
