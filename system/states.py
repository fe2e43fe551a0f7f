"""What each state of a protective place means for a woofer: linked, the kit's own capacitor, everything in stock.

A series capacitor resonates with the woofer in its box: it lowers the excursion in one band and raises it in another.
So every figure comes from the whole curve, worked out cold at the amplifier's rated sine voltage, never from a corner
frequency. The network is linear, so the place is swept over all its capacitors at once (`system.inserted`)
and the acoustics, which no capacitor changes, are computed once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.build import Build, build
from system.candidates import Candidate, candidates
from system.inserted import Inserted, Span
from system.kit import HIGHEST_OF_PROGRAMME, Kit, Placement
from system.place import ProtectivePlace
from system.predict import reference_band
from system.transfer import Transfer, transfer

Floats = NDArray[np.float64]

IN_WALL = Placement("in_wall")


@dataclass(frozen=True, slots=True)
class Margins:
    """How far below its limits a woofer stays, in dB; None where there is no such limit or no such signal.

    `programme`: linear limit over the programme's excursion; `sine`: damage limit over the highest excursion of a
    swept sine at rated voltage; `sine_to_linear`: the same to the linear limit.
    """

    programme: float | None
    sine: float | None
    sine_to_linear: float | None

    @property
    def decisive(self) -> float | None:
        """What a verdict goes by: the smaller of the first two, or whichever of the three there is."""
        known = [m for m in (self.programme, self.sine) if m is not None]
        return min(known) if known else self.sine_to_linear

    @property
    def decided_by(self) -> Literal["programme", "sine"]:
        return "programme" if self.programme is not None and self.decisive == self.programme else "sine"


@dataclass(frozen=True, slots=True)
class Heat:
    """The heat (W) in a resistor: the most on the swept sine at rated volts, and on the programme, None for a sine."""

    sine: float
    programme: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """One state of the place, for one woofer; SI units, excursions one-way peak.

    `value` is None for the linked place. `peak_excursion` is that of a swept sine at the amplifier's rated voltage.
    `part_volts_peak` and `part_current` (rms) are the capacitor's own on that sine. Where the capacitor is judged over
    its tolerance (`Candidate.values`), margins, its own stress and `refused` (why the choice is not practicable) are
    the worst of it; the other figures are those of the nominal value. `worse_band` (Hz) is where it moves the cone
    further than the link does. `full_level` (dB) is that of the signal at the listening point with the amplifier at its
    full volts, `reference` (dB) the reference level per volt. `candidate` and `heat` are those of the capacitor and of
    the resistor that it may have.
    """

    value: float | None
    made_of: tuple[float, ...]  # F
    peak_excursion: float
    peak_excursion_hz: float
    programme_excursion: float | None  # m; None where a sine is the signal
    minus_3: float | None  # Hz
    ripple: float | None  # dB
    lowest_impedance: float | None  # ohm; None where no current flows
    part_volts_peak: float
    part_current: float
    margins: Margins
    worse_band: tuple[float, float] | None
    refused: tuple[str, ...] = ()
    full_level: float | None = None
    reference: float | None = None
    candidate: Candidate | None = None
    heat: Heat | None = None

    @property
    def maximum_level(self) -> float | None:
        """How loud the signal goes (dB) before this woofer's own limit or the amplifier's, whichever is first.

        The limit is that of the signal itself: a programme's excursion against the linear limit. None without one.
        """
        margin = self.margins.decisive if self.margins.programme is None else self.margins.programme
        return None if self.full_level is None or margin is None else self.full_level + min(0.0, margin)

    @property
    def words(self) -> str:
        return self.candidate.words if self.candidate else "linked"

    @property
    def short(self) -> str:
        return self.candidate.short if self.candidate else "linked"


@dataclass(frozen=True, slots=True, eq=False)
class Ear:
    """What is heard of the place at the listening point, per volt, and from what its cost in bass is told.

    `judged` differs from `placed` where a dip from a plane hides the bass of the variant as placed (its -3 dB point
    leaves no room for a ripple): what a capacitor costs could not be seen, and is that of the same build in a wall.
    """

    placed: Span  # (F,) Pa
    judged: Span
    in_wall: bool


@dataclass(frozen=True, slots=True, eq=False)
class States:
    """One place with all that can be in it, at `frequency` (F,); `swept` (F,) is the band that counts."""

    kit: Kit
    model: Build
    place: ProtectivePlace
    frequency: Floats
    swept: NDArray[np.bool_]
    candidates: tuple[Candidate, ...]
    acoustics: Transfer
    inserted: Inserted
    ear: Ear

    @classmethod
    def of(cls, kit: Kit, place: ProtectivePlace, like: States | None = None) -> States:
        """Look into the place. Raises NetworkError where the circuit has no solution.

        `like` are the states of another build with everything in the same places, where they are at hand: its costs are
        then told as theirs are.
        """
        model = build(kit, place.variant)
        lowest = kit.programme.lowest
        coarse = summary.GRID[::3]  # enough for cones, and hundreds of capacitors are tried
        below = coarse[coarse < 0.999 * lowest]
        frequency = np.concatenate([below, np.geomspace(lowest, HIGHEST_OF_PROGRAMME, coarse.size)])
        acoustics = transfer(model, frequency, like.acoustics.paths if like else None)
        inserted = Inserted.of(model, place.place.reference, acoustics)
        placed = inserted.heard(acoustics.total_pressure)
        if like is None:
            low_end = summary.low_end(frequency, summary.level(placed.linked), reference_band(place.variant))
            in_wall = low_end.ripple is None and place.variant.placement.kind != "in_wall"
        else:
            in_wall = like.ear.in_wall
        judged = placed
        if in_wall:
            flush = build(kit, replace(place.variant, placement=IN_WALL))
            judged = inserted.heard(transfer(flush, frequency).total_pressure)
        offered = () if like else candidates(kit, model, place)
        ear = Ear(placed, judged, in_wall)
        return cls(kit, model, place, frequency, frequency >= lowest, offered, acoustics, inserted, ear)
