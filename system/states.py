"""What each state of a protective place means for a woofer: linked, the kit's own capacitor, everything in stock.

A series capacitor resonates with the woofer in its box: it lowers the excursion in one band and raises it in another.
So every figure comes from the whole curve, worked out cold at the amplifier's rated sine voltage, never from a corner
frequency. The network is linear, so the place is swept over all its capacitors at once (`filters.network.sweep_branch`)
and the acoustics, which no capacitor changes, are computed once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from filters.network import sweep_branch
from system import programme, summary
from system.build import Build, build, capacitor
from system.candidates import Candidate, candidates
from system.kit import HIGHEST_OF_PROGRAMME, HighPass, Kit, Placement, Programme
from system.place import ProtectivePlace
from system.predict import PEAK, Transfer, peak_excursion, reference_band, transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

RAISED = 1.06  # excursion over the linked one from which a band counts as made worse (0.5 dB)
LOW_END_COST = 1.25  # the -3 dB point may rise by this factor
RIPPLE = 3.0  # dB
IN_WALL = Placement("in_wall")
ROWS_AT_ONCE = 256  # keeps a sweep over hundreds of capacitors in tens of megabytes


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
class Figures:
    """One state of the place, for one woofer; SI units, excursions one-way peak.

    `value` is None for the linked place. `peak_excursion` is that of a swept sine at the amplifier's rated voltage.
    `part_volts_peak` and `part_current` (rms) are the capacitor's own on that sine. Where the capacitor is judged over
    its tolerance (`Candidate.values`), margins, its own stress and `refused` (why the choice is not practicable) are
    the worst of it; the other figures are those of the nominal value. `worse_band` (Hz) is where it moves the cone
    further than the link does.
    """

    value: float | None
    made_of: tuple[float, ...]
    peak_excursion: float
    peak_excursion_hz: float
    programme_excursion: float | None
    minus_3: float | None
    ripple: float | None
    lowest_impedance: float
    part_volts_peak: float
    part_current: float
    margins: Margins
    worse_band: tuple[float, float] | None
    refused: tuple[str, ...] = ()


def programme_volts(kit: Kit, signal: Programme) -> float | None:
    """Programme rms voltage with its peaks at the clipping point, sqrt(2) V_rated / crest; None for a sine."""
    return None if signal.spectrum == "sine" else PEAK * kit.amplifier.rated_volts / signal.crest_factor


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """The sweep over the place's impedance, per volt at the amplifier; C rows, the linked place first."""

    excursion: Floats  # (C, F, N) one-way peak, m/V
    level: Floats  # (C, F) dB at 1 V
    lowest_impedance: Floats  # (C,)
    part_volts: Floats  # (C, F) rms per volt
    part_current: Floats  # (C, F) rms per volt

    @property
    def linked(self) -> _Rows:
        return _Rows(*(getattr(self, field.name)[:1] for field in fields(self)))


@dataclass(frozen=True, slots=True, eq=False)
class States:
    """One place with the sweep over all its states, at `frequency` (F,); `swept` (F,) is the band that counts.

    `first_rows` holds the row of each candidate's nominal value; the other values it is judged at follow. `in_wall`
    says that levels are those of the same build in a wall: where a dip from a plane hides the bass of the variant as
    placed (its -3 dB point leaves no room for a ripple), what a capacitor costs could not be seen otherwise.
    """

    kit: Kit
    model: Build
    place: ProtectivePlace
    frequency: Floats
    swept: NDArray[np.bool_]
    candidates: tuple[Candidate, ...]
    first_rows: tuple[int, ...]
    rows: _Rows
    in_wall: bool

    @classmethod
    def of(cls, kit: Kit, place: ProtectivePlace) -> States:
        """Sweep the place over its candidates. Raises NetworkError where the circuit has no solution."""
        model = build(kit, place.variant)
        lowest = kit.programme.lowest
        coarse = summary.GRID[::3]  # enough for cones, and hundreds of capacitors are tried
        below = coarse[coarse < 0.999 * lowest]
        frequency = np.concatenate([below, np.geomspace(lowest, HIGHEST_OF_PROGRAMME, coarse.size)])
        offered = candidates(kit, model, place)
        values: list[float] = []
        first_rows = []
        for candidate in offered:
            first_rows.append(1 + len(values))
            values += candidate.values
        impedance = np.zeros((1 + len(values), frequency.size), complex)
        if values:
            impedance[1:] = capacitor(place.place.part, np.array(values)).impedance(2 * np.pi * frequency)
        acoustics = transfer(model, frequency)
        linked = _sweep(model, place, acoustics, acoustics.total_pressure, impedance[:1])
        low_end = summary.low_end(frequency, linked.level[0], reference_band(place.variant))
        in_wall = low_end.ripple is None and place.variant.placement.kind != "in_wall"
        heard = transfer(build(kit, replace(place.variant, placement=IN_WALL)), frequency) if in_wall else acoustics
        rows = _sweep(model, place, acoustics, heard.total_pressure, impedance)
        return cls(kit, model, place, frequency, frequency >= lowest, offered, tuple(first_rows), rows, in_wall)

    def figures(
        self, woofer: str, signal: Programme, receiver: HighPass | None, linked_only: bool = False
    ) -> list[Figures]:
        """Figures for the linked place, then (unless `linked_only`) each candidate, on `signal` behind `receiver`."""
        curves = _Curves.of(self, woofer, signal, receiver, self.rows.linked if linked_only else self.rows)
        result = [curves.figures(None, range(1))]
        if not linked_only:
            for candidate, first in zip(self.candidates, self.first_rows, strict=True):
                result.append(curves.figures(candidate, range(first, first + len(candidate.values))))
        return result

    def excursion(self, woofer: str, figures: Figures, receiver: HighPass | None) -> Floats:
        """One-way peak excursion (m) of the swept sine at rated voltage in one state, over `frequency[swept]`."""
        row = 0
        for candidate, first in zip(self.candidates, self.first_rows, strict=True):
            if (candidate.value, candidate.made_of) == (figures.value, figures.made_of):
                row = first
        volts = self.kit.amplifier.rated_volts * programme.high_pass_gain(receiver, self.frequency)
        return np.asarray((self.rows.excursion[row, :, self.model.names.index(woofer)] * volts)[self.swept])


def _sweep(
    model: Build, place: ProtectivePlace, acoustics: Transfer, pressure: Complexes, impedance: Complexes
) -> _Rows:
    """The rows for each impedance (C, F) in the place; `pressure` (F, N) is what is heard per ampere in each driver."""
    index = [e.reference for e in model.network.elements].index(place.place.reference)
    pieces = []
    for start in range(0, len(impedance), ROWS_AT_ONCE):
        solution = sweep_branch(
            model.network,
            place.place.reference,
            impedance[start : start + ROWS_AT_ONCE],
            2 * np.pi * acoustics.frequency,
            acoustics.impedance,
            1.0,
            model.source_resistance,
        )
        current = solution.load_current
        pieces.append(
            _Rows(
                np.stack([peak_excursion(acoustics, current, i) for i in range(len(model.drivers))], axis=-1),
                summary.level(np.einsum("fj,cfj->cf", pressure, current)),
                np.min(np.abs(solution.input_impedance + model.kit.amplifier.cable), axis=-1),
                np.abs(solution.element_volts[..., index]),
                np.abs(solution.element_current[..., index]),
            )
        )
    return _Rows(*(np.concatenate([getattr(piece, field.name) for piece in pieces]) for field in fields(_Rows)))


@dataclass(frozen=True, slots=True, eq=False)
class _Curves:
    """All rows of a sweep for one woofer and one signal: at rated volts behind the receiver's high-pass."""

    states: States
    rows: _Rows
    limits: tuple[float | None, float | None]  # linear and damage, m
    sine: Floats  # (C, F) one-way peak, m
    noise: Floats | None  # (C,) one-way peak of the programme, m
    part_volts: Floats  # (C,) peak
    part_current: Floats  # (C,) rms
    low_ends: Sequence[summary.LowEnd]

    @classmethod
    def of(cls, states: States, woofer: str, signal: Programme, receiver: HighPass | None, rows: _Rows) -> _Curves:
        index = states.model.names.index(woofer)
        data = states.model.data[index]
        volts = states.kit.amplifier.rated_volts
        gain = programme.high_pass_gain(receiver, states.frequency)
        per_volt = rows.excursion[:, :, index] * gain
        rms = programme_volts(states.kit, signal)
        noise = None
        if rms is not None:
            shares = programme.power_shares(signal, states.frequency)
            crest = max(programme.EXCURSION_CREST, signal.crest_factor)
            noise = crest * rms / PEAK * np.sqrt(per_volt**2 @ shares)
        band = reference_band(states.model.variant)
        return cls(
            states,
            rows,
            (data.linear_excursion, data.damage_excursion),
            volts * np.where(states.swept, per_volt, 0.0),
            noise,
            PEAK * volts * np.max(np.where(states.swept, rows.part_volts * gain, 0.0), axis=1),
            volts * np.max(np.where(states.swept, rows.part_current * gain, 0.0), axis=1),
            [summary.low_end(states.frequency, level, band) for level in rows.level],
        )

    def figures(self, candidate: Candidate | None, over: range) -> Figures:
        """Figures of the candidate whose rows are `over`, the nominal value first."""
        row = over[0]
        peak = int(self.sine[row].argmax())
        margins = [self._margins(each) for each in over]
        return Figures(
            value=candidate.value if candidate else None,
            made_of=candidate.made_of if candidate else (),
            peak_excursion=float(self.sine[row, peak]),
            peak_excursion_hz=float(self.states.frequency[peak]),
            programme_excursion=float(self.noise[row]) if self.noise is not None else None,
            minus_3=self.low_ends[row].minus_3,
            ripple=self.low_ends[row].ripple,
            lowest_impedance=float(self.rows.lowest_impedance[row]),
            part_volts_peak=float(max(self.part_volts[each] for each in over)),
            part_current=float(max(self.part_current[each] for each in over)),
            margins=Margins(
                _least(m.programme for m in margins),
                _least(m.sine for m in margins),
                _least(m.sine_to_linear for m in margins),
            ),
            worse_band=_worse_band(self.states.frequency, self.sine[row], self.sine[0]),
            refused=self._refused(candidate, over) if candidate else (),
        )

    def _margins(self, row: int) -> Margins:
        linear, damage = self.limits
        peak = float(self.sine[row].max())
        return Margins(
            programme=_decibels(linear, float(self.noise[row])) if self.noise is not None else None,
            sine=_decibels(damage, peak),
            sine_to_linear=_decibels(linear, peak),
        )

    def _refused(self, candidate: Candidate, over: range) -> tuple[str, ...]:
        """Why a choice is not practicable, in words; empty where it is. Row 0 is the linked place."""
        linked = self.low_ends[0]
        reasons = []
        corners = [self.low_ends[row].minus_3 or math.inf for row in over]
        if max(corners) > LOW_END_COST * (linked.minus_3 or math.inf):
            reasons.append("the -3 dB point rises by more than a quarter")
        allowed_ripple = max(RIPPLE, linked.ripple or 0.0)
        ripples = [self.low_ends[row].ripple for row in over]
        if None in ripples and linked.ripple is not None:
            reasons.append("no ripple can be told, since nothing is left of the bass")
        elif max(ripple or 0.0 for ripple in ripples) > allowed_ripple:
            reasons.append(f"ripple above {allowed_ripple:.1f} dB")
        lowest = self.rows.lowest_impedance
        allowed = min(float(lowest[0]), self.states.kit.amplifier.lowest_load or math.inf)
        if min(lowest[row] for row in over) < allowed * (1 - 1e-9):
            reasons.append(f"the lowest impedance falls below {allowed:.2f} ohm")
        rating = candidate.voltage_rating
        if rating is not None and max(self.part_volts[row] for row in over) > rating:
            reasons.append(f"its peak volts exceed the rating of {rating:g} V")
        current_rating = self.states.place.place.part.current_rating  # of the group, whatever it is made of
        if current_rating is not None and max(self.part_current[row] for row in over) > current_rating:
            reasons.append(f"its current exceeds the rating of {current_rating:g} A")
        return tuple(reasons)


def _worse_band(frequency: Floats, choice: Floats, linked: Floats) -> tuple[float, float] | None:
    """The band (Hz) in which a choice moves the cone further than the link.

    Of several, the one in which the motion it adds, summed over log frequency, is the largest.
    """
    raised = choice > RAISED * linked
    if not raised.any():
        return None
    added = np.where(raised, choice - linked, 0.0) * np.gradient(np.log(frequency))
    bounds = np.flatnonzero(np.diff(np.concatenate([[0], raised.astype(np.int8), [0]])))
    bands = bounds.reshape(-1, 2)  # first and one past the last point of each band
    start, stop = max(bands, key=lambda band: float(added[band[0] : band[1]].sum()))
    return float(frequency[start]), float(frequency[stop - 1])


def _decibels(limit: float | None, value: float) -> float | None:
    """20 log10(limit/value); None without a limit or without any motion."""
    return 20 * math.log10(limit / value) if limit is not None and value > 0 else None


def _least(margins: Iterable[float | None]) -> float | None:
    return min((m for m in margins if m is not None), default=None)
