"""The states of a protective place as one woofer meets them on one signal: every figure that a choice is judged by."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from filters.parts import conducts
from system import summary
from system.build import capacitor
from system.candidates import WIRINGS, Candidate
from system.inserted import Span
from system.low_ends import LowEnds, low_ends
from system.predict import PEAK, reference_band
from system.signal import Signal
from system.states import Figures, Heat, Margins, States

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

RAISED = 1.06  # excursion over the linked one from which a band counts as made worse (0.5 dB)
LOW_END_COST = 1.25  # the -3 dB point may rise by this factor
RIPPLE = 3.0  # dB
ROWS_AT_ONCE = 32  # keeps a sweep over hundreds of capacitors near a core's own cache: twice as fast as all at once


@dataclass(frozen=True, slots=True, eq=False)
class _Tally:
    """What is read off the curves of C impedances in the place, each (C,)."""

    peak: Floats  # of the swept sine, m one-way
    peak_at: Floats  # Hz
    noise: Floats | None  # of the programme, m one-way
    low_ends: LowEnds
    full_level: Floats  # dB; NaN but for the nominal ones
    lowest_impedance: Floats
    volts_peak: Floats  # of the capacitor
    current: Floats
    heat: Floats  # W of its resistor on the swept sine
    heat_programme: Floats | None
    worse: Floats  # (C, 2) Hz, NaN where none and but for the nominal ones


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One place for one woofer and one signal: at rated volts behind the receiver's high-pass."""

    states: States
    limits: tuple[float | None, float | None]  # linear and damage, m
    gain: Floats  # (F,) of the high-pass
    volts: Floats  # (F,) of the swept sine, rms; zero where it does not go
    shares: Floats | None  # (F,) mean square of the programme behind the high-pass, V^2; None for a sine
    crest: float
    motion: Span  # (F,) of the cone, m/V rms
    linked_sine: Floats  # (F,) one-way peak, m

    @classmethod
    def of(cls, states: States, woofer: str, signal: Signal) -> View:
        """`signal` is at the frequencies of `states`."""
        index = states.model.names.index(woofer)
        data = states.model.data[index]
        volts = np.where(states.swept, signal.rated * signal.gain, 0.0)
        motion = states.inserted.heard(states.acoustics.excursion[:, index])
        return cls(
            states=states,
            limits=(data.linear_excursion, data.damage_excursion),
            gain=signal.gain,
            volts=volts,
            shares=None if signal.weights is None else signal.weights * signal.full**2,
            crest=signal.crest,
            motion=motion,
            linked_sine=PEAK * np.abs(motion.linked) * volts,
        )

    def like(self, other: View) -> bool:
        """Whether this woofer moves as another of the same states and the same signal does, against the same limits."""
        return self.limits == other.limits and all(
            np.allclose(mine, theirs, rtol=1e-9, atol=0.0)
            for mine, theirs in (
                (self.motion.linked, other.motion.linked),
                (self.motion.left_out, other.motion.left_out),
            )
        )

    def linked(self, heard: bool = False) -> Figures:
        """Figures of the linked place; `heard` puts the high-pass into the costs of bass, as that which costs."""
        nothing = np.zeros((1, self.states.frequency.size), complex)
        return self._figures(None, self._tally(nothing, nothing, [None], np.zeros(1, np.int64), heard), range(1))

    def figures(self, offered: Iterable[Candidate]) -> list[Figures]:
        """Figures of each candidate, in their order."""
        linked = self.linked()
        found: list[Figures] = []
        for some in _batches(offered):
            rows = [(candidate, value) for candidate in some for value in candidate.values]
            nominal = np.cumsum([0, *(len(candidate.values) for candidate in some[:-1])])
            tally = self._tally(*self._impedances(rows), [candidate for candidate, _ in rows], nominal)
            first = 0
            for candidate in some:
                over = range(first, first + len(candidate.values))
                found.append(self._figures(candidate, tally, over, linked))
                first = over.stop
        return found

    def curve(self, figures: Figures) -> Floats:
        """One-way peak excursion (m) of the swept sine at rated volts in one state, over `frequency[swept]`."""
        sine = self.linked_sine
        if figures.candidate is not None:
            whole, _ = self._impedances([(figures.candidate, figures.candidate.value)])
            sine = self._moves(self.states.inserted.share(whole))[0] * self.volts
        return sine[self.states.swept]

    def _moves(self, share: Complexes) -> Floats:
        """One-way peak excursion (C, F), m per volt rms."""
        return np.asarray(PEAK * np.abs(self.motion.at(share)))

    def _impedances(self, rows: Sequence[tuple[Candidate, float]]) -> tuple[Complexes, Complexes]:
        """Impedance (C, F) of all that stands in the place, and of the capacitor in it."""
        omega = 2 * np.pi * self.states.frequency
        alone = capacitor(self.states.place.place.part, np.array([value for _, value in rows])).impedance(omega)
        whole = alone.copy()
        for i, (candidate, _) in enumerate(rows):
            if candidate.damping is not None:
                whole[i] = WIRINGS[candidate.damping.wiring].whole(alone[i], np.asarray(candidate.damping.value))
        return whole, alone

    def _tally(
        self,
        whole: Complexes,
        alone: Complexes,
        rows: Sequence[Candidate | None],
        nominal: NDArray[np.int64],
        heard: bool = False,
    ) -> _Tally:
        """Of rows (C,), of which the `nominal` are candidates' own values: some figures are told of them only."""
        states, inserted = self.states, self.states.inserted
        share = inserted.share(whole)
        moves = self._moves(share)
        sine = moves * self.volts
        peak = sine.argmax(axis=1)
        level = summary.level(states.ear.judged.at(share) * (self.gain if heard else 1.0))
        across, through = np.abs(inserted.across * share), np.abs(inserted.through * (1 - share))
        own_volts, own_current, watts = _divided(across, through, np.abs(alone), rows)
        drawn = inserted.drawn.at(share)
        impedance = np.divide(1, drawn, out=np.full(drawn.shape, np.inf, complex), where=conducts(drawn))
        return _Tally(
            peak=sine[np.arange(len(sine)), peak],
            peak_at=states.frequency[peak],
            noise=None if self.shares is None else self.crest / PEAK * np.sqrt(moves**2 @ self.shares),
            low_ends=low_ends(states.frequency, level, self._band),
            full_level=_spread(self._full_level(states.ear.placed.at(share[nominal])), nominal, len(rows)),
            lowest_impedance=np.min(np.abs(impedance - states.kit.amplifier.output_resistance), axis=1),
            volts_peak=PEAK * np.max(own_volts * self.volts, axis=1),
            current=np.max(own_current * self.volts, axis=1),
            heat=np.max(watts * self.volts**2, axis=1),
            heat_programme=None if self.shares is None else watts @ self.shares,
            worse=_spread(_worse_bands(states.frequency, sine[nominal], self.linked_sine), nominal, len(rows)),
        )

    @property
    def _band(self) -> tuple[float, float]:
        return reference_band(self.states.model.variant)

    def _full_level(self, pressure: Complexes) -> Floats:
        """Level (C,) in dB with the amplifier at its full volts: of the whole programme, or a sine's reference level.

        `pressure` (C, F) is Pa per volt at the listening point.
        """
        if self.shares is None:
            level = low_ends(self.states.frequency, summary.level(pressure), self._band).reference
            return np.asarray(level + 20 * math.log10(self.states.kit.amplifier.rated_volts))
        return summary.level(np.sqrt(np.abs(pressure) ** 2 @ self.shares) + 0j)

    def _figures(
        self, candidate: Candidate | None, tally: _Tally, over: range, linked: Figures | None = None
    ) -> Figures:
        """Figures of the candidate whose rows are `over`, the nominal value first."""
        row = over[0]
        rows = slice(over.start, over.stop)
        margins = [self._margins(tally, each) for each in over]
        heat = None
        if candidate is not None and candidate.damping is not None:
            lasting = tally.heat_programme
            heat = Heat(float(tally.heat[rows].max()), None if lasting is None else float(lasting[rows].max()))
        return Figures(
            value=candidate.value if candidate else None,
            made_of=candidate.made_of if candidate else (),
            peak_excursion=float(tally.peak[row]),
            peak_excursion_hz=float(tally.peak_at[row]),
            programme_excursion=float(tally.noise[row]) if tally.noise is not None else None,
            minus_3=_known(tally.low_ends.minus_3[row]),
            ripple=_known(tally.low_ends.ripple[row]),
            lowest_impedance=_known(tally.lowest_impedance[row]),
            part_volts_peak=float(tally.volts_peak[rows].max()),
            part_current=float(tally.current[rows].max()),
            margins=Margins(
                _least(m.programme for m in margins),
                _least(m.sine for m in margins),
                _least(m.sine_to_linear for m in margins),
            ),
            worse_band=None if np.isnan(tally.worse[row, 0]) else (tally.worse[row, 0], tally.worse[row, 1]),
            refused=self._refused(candidate, tally, rows, linked, heat) if candidate and linked else (),
            full_level=float(tally.full_level[row]),
            reference=float(tally.low_ends.reference[row]),
            candidate=candidate,
            heat=heat,
        )

    def _margins(self, tally: _Tally, row: int) -> Margins:
        linear, damage = self.limits
        peak = float(tally.peak[row])
        return Margins(
            programme=_decibels(linear, float(tally.noise[row])) if tally.noise is not None else None,
            sine=_decibels(damage, peak),
            sine_to_linear=_decibels(linear, peak),
        )

    def _refused(
        self, candidate: Candidate, tally: _Tally, rows: slice, linked: Figures, heat: Heat | None
    ) -> tuple[str, ...]:
        """Why a choice is not practicable, in words; empty where it is."""
        reasons = []
        corners = [_known(corner) or math.inf for corner in tally.low_ends.minus_3[rows]]
        if max(corners) > LOW_END_COST * (linked.minus_3 or math.inf):
            reasons.append("the -3 dB point rises by more than a quarter")
        allowed_ripple = max(RIPPLE, linked.ripple or 0.0)
        ripples = [_known(ripple) for ripple in tally.low_ends.ripple[rows]]
        if None in ripples and linked.ripple is not None:
            reasons.append("no ripple can be told, since nothing is left of the bass")
        elif max(ripple or 0.0 for ripple in ripples) > allowed_ripple:
            reasons.append(f"ripple above {allowed_ripple:.1f} dB")
        allowed = min(linked.lowest_impedance or math.inf, self.states.kit.amplifier.lowest_load or math.inf)
        if tally.lowest_impedance[rows].min() < allowed * (1 - 1e-9):
            reasons.append(f"the lowest impedance falls below {allowed:.2f} ohm")
        rating = candidate.voltage_rating
        if rating is not None and tally.volts_peak[rows].max() > rating:
            reasons.append(f"its peak volts exceed the rating of {rating:g} V")
        current_rating = self.states.place.place.part.current_rating  # of the group, whatever it is made of
        if current_rating is not None and tally.current[rows].max() > current_rating:
            reasons.append(f"its current exceeds the rating of {current_rating:g} A")
        power_rating = candidate.damping.rating if candidate.damping else None
        if heat is not None and power_rating is not None:
            lasting = heat.sine if heat.programme is None else heat.programme
            if lasting > power_rating:
                reasons.append(f"the heat in its resistor exceeds the rating of {power_rating:g} W")
        return tuple(reasons)


def _spread(values: Floats, rows: NDArray[np.int64], count: int) -> Floats:
    """`values` in their `rows` of `count`, NaN in the others."""
    spread = np.full((count, *values.shape[1:]), np.nan)
    spread[rows] = values
    return spread


def _batches(offered: Iterable[Candidate]) -> Iterator[list[Candidate]]:
    """Some at a time, so that their rows stay in bounds."""
    some: list[Candidate] = []
    rows = 0
    for candidate in offered:
        some.append(candidate)
        rows += len(candidate.values)
        if rows >= ROWS_AT_ONCE:
            yield some
            some, rows = [], 0
    if some:
        yield some


def _divided(
    across: Floats, through: Floats, alone: Floats, rows: Sequence[Candidate | None]
) -> tuple[Floats, Floats, Floats]:
    """The capacitor's own volts and current, and the heat in its resistor (W), per volt; all (C, F), magnitudes.

    `across` and `through` are those of the place, `alone` the impedance of the capacitor.
    """
    volts, current, watts = across, through, np.zeros_like(across)
    for i, candidate in enumerate(rows):
        damping = candidate.damping if candidate else None
        if damping is None:
            continue
        if WIRINGS[damping.wiring].in_series:
            volts[i] = through[i] * alone[i]
            watts[i] = through[i] ** 2 * damping.value
        else:
            current[i] = across[i] / alone[i]
            watts[i] = across[i] ** 2 / damping.value
    return volts, current, watts


def _worse_bands(frequency: Floats, choices: Floats, linked: Floats) -> Floats:
    """The band (C, 2) in Hz in which each choice (C, F) moves the cone further than the link (F,); NaN where none.

    Of several, the one in which the motion it adds, summed over log frequency, is the largest.
    """
    bands = np.full((len(choices), 2), np.nan)
    raised = choices > RAISED * linked
    added = np.where(raised, choices - linked, 0.0) * np.gradient(np.log(frequency))
    edge = np.zeros((len(choices), 1), np.int8)
    turns = np.diff(np.concatenate([edge, raised.astype(np.int8), edge], axis=1), axis=1)  # (C, F + 1)
    row, start = np.nonzero(turns == 1)
    _, stop = np.nonzero(turns == -1)  # one past the last point; row by row in the same order
    total = np.concatenate([np.zeros((len(choices), 1)), np.cumsum(added, axis=1)], axis=1)
    weight = total[row, stop] - total[row, start]
    order = np.lexsort((-start, weight, row))  # in each row the largest last, of equals the first
    bands[row[order]] = np.stack([frequency[start[order]], frequency[stop[order] - 1]], axis=1)
    return bands


def _decibels(limit: float | None, value: float) -> float | None:
    """20 log10(limit/value); None without a limit or without any motion."""
    return 20 * math.log10(limit / value) if limit is not None and value > 0 else None


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _least(margins: Iterable[float | None]) -> float | None:
    return min((m for m in margins if m is not None), default=None)
