"""The steady state of drivers beyond small signals, in their enclosure and behind a crossover, by harmonic balance.

Everything but the drivers' curves is linear, and known at each harmonic of the tone (Nakhla & Vlach, IEEE Trans.
Circuits Syst. 23, 1976); `enclosures.balance` has the equations. They are solved by Newton's method, level by level
from small signals up. What the enclosure does comes from `enclosures.acoustics.electrical_load`, so that the poles of
a lossless one are ordinary here too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from enclosures.acoustics import Enclosure, electrical_load
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.balance import Equations, Linear, Point
from enclosures.driver import Driver
from enclosures.harmonics import Fourier
from enclosures.large_signal import LargeSignal

HARMONICS = 10
SAMPLES = 8  # instants per harmonic: no product of up to six signals folds back, so x^5 beside a current is exact
REFERENCE = 8.0  # ohm, see `Source`
# rad/s; what is slower counts as lasting. A leak empties a box in less time, and ducts still keep their digits.
LASTING = 2 * np.pi * 1e-3

STEPS = 30  # of Newton's method
HALVINGS = 8  # of one such step
DIVISIONS = 6  # how often the way from one level to the next may be halved
CHANGE = 0.3  # how far a step in level may take a state, in parts of it, lest it end on another branch
EXACT = 1e-10  # what may be left over, in parts of the small-signal motion and current
# How large the last two harmonics may be beside the largest. So much leaves the offset and the first three within 0.3 %
# of the fundamental, mostly 0.1 % (measured against 24 harmonics).
LAST_HARMONICS = 2e-2

FOUND = ""
NOT_FOUND = "no steady state found"
BEYOND_CURVES = "the cone moves to where a curve is not above zero"
COARSE = "the last harmonics are not small"
UNSTABLE = "the cone does not stay in this state"


def multiples_of(omega: RealArray, harmonics: int = HARMONICS) -> RealArray:
    """k omega (F, 2 H) in rad/s for k = 1/2, 1, 3/2 ... H: where the equations need to know what is linear."""
    return np.asarray(np.multiply.outer(omega, np.arange(1, 2 * harmonics + 1) / 2))


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """What the D drivers' terminals see, through a resistance R (ohm) at each: i = current + admittance (R i - v).

    `current` (F, D) is what a source of one volt rms at the fundamental drives through R in the drivers' places, and
    `admittance` (F, 2 H, D, D) flows per volt inserted beside R, at each of `multiples_of`. Unlike open-circuit volts
    and impedance both are finite whatever the crossover; any R above zero says the same.
    """

    current: ComplexArray
    admittance: ComplexArray
    resistance: float = REFERENCE

    @classmethod
    def open_circuit(cls, volts: ComplexArray, impedance: ComplexArray) -> Self:
        """From the open-circuit `volts` (F, D) per volt of the source, and the `impedance` (F, 2 H, D, D) in ohm."""
        admittance = np.linalg.inv(impedance + REFERENCE * np.eye(volts.shape[1]))
        return cls((admittance[:, 1] @ volts[..., None])[..., 0], admittance)

    @classmethod
    def at_multiples(
        cls, current: ComplexArray, admittance: ComplexArray, resistance: float, harmonics: int = HARMONICS
    ) -> Self:
        """From `current` (2 H F, D) and `admittance` (2 H F, D, D), both at `multiples_of(...).ravel()`."""
        count = current.shape[1]
        return cls(
            current.reshape(-1, 2 * harmonics, count)[:, 1],
            admittance.reshape(-1, 2 * harmonics, count, count),
            resistance,
        )


@dataclass(frozen=True, slots=True, eq=False)
class SteadyStates:
    """D drivers at F frequencies `omega` (rad/s) and L levels `volts` (rms of the source); amplitudes are peaks.

    x(t) = Re sum_k x_k e^{jkwt}, k = 0 to H: `displacement` (F, L, D, H + 1) in m, `current` likewise in A. Both are
    NaN where `reason` (F, L) is not empty and says why there is no answer.
    """

    omega: RealArray
    volts: RealArray
    displacement: ComplexArray
    current: ComplexArray
    reason: NDArray[np.str_]

    @property
    def velocity(self) -> ComplexArray:
        """Amplitudes (F, L, D, H + 1) in m/s."""
        k = np.arange(self.displacement.shape[-1])
        return np.asarray(1j * self.omega[:, None, None, None] * k * self.displacement)

    @property
    def offset(self) -> RealArray:
        """The mean displacement (F, L, D) in m, outward positive."""
        return np.asarray(self.displacement[..., 0].real)

    def over_a_period(self, instants: int = 128) -> RealArray:
        """Displacement (F, L, D, instants) in m."""
        fourier = Fourier(np.arange(float(self.displacement.shape[-1])), instants)
        return fourier.samples(fourier.real(self.displacement))

    @property
    def peak(self) -> RealArray:
        """The largest displacement to either side (F, L, D) in m."""
        return np.asarray(np.abs(self.over_a_period()).max(axis=-1))


def harmonic_balance(
    drivers: Sequence[Driver],
    large: Sequence[LargeSignal],
    enclosure: Enclosure | None,
    omega: RealArray,
    air: Air,
    source: Source,
    volts: Sequence[float] | RealArray,
    harmonics: int = HARMONICS,
) -> SteadyStates:
    """Steady states of D `drivers` with their curves `large` on one `enclosure` (None: on nothing but themselves).

    Tones of `omega` (F,) rad/s, each at the rising levels `volts` (L,), rms of the source behind `source`. A level
    starts from the one below and goes there in smaller steps where it must, so that what is followed is the branch that
    grows from rest.

    There is a reason instead of an answer where none is found; where a cone moves to where a curve is not above zero;
    where the last of the `harmonics` are not small, so that more are needed; and where the cone does not stay in the
    state found: it jumps, drifts to one side, as it may above resonance (Klippel, J. Audio Eng. Soc. 54, 2006), or
    begins to move at half the frequency. That is told by the signs of two determinants. Beats of any other period are
    not looked for; in integrations in time they came up in vented boxes well beyond the linear limit. Nor is it told
    where a cone could also stay in another state.

    Raises ValueError for shapes that do not fit, levels that do not rise from above zero, fewer than 2 harmonics, and
    as `electrical_load`.
    """
    levels = np.asarray(volts, dtype=float)
    omega = np.asarray(omega, dtype=float)
    count = len(drivers)
    if levels.ndim != 1 or not np.all(np.isfinite(levels)) or np.any(np.diff(levels, prepend=0.0) <= 0):
        raise ValueError("harmonic balance: the levels must rise from above zero")
    if harmonics < 2:
        raise ValueError(f"harmonic balance: at least 2 harmonics are needed, not {harmonics}")
    if len(large) != count:
        raise ValueError(f"harmonic balance: curves of {len(large)} drivers for {count}")
    expected = (omega.size, count), (omega.size, 2 * harmonics, count, count)
    given = source.current.shape, source.admittance.shape
    if given != expected:
        raise ValueError(f"harmonic balance: the source's current and admittance need shapes {expected}, not {given}")
    equations = _equations(drivers, large, enclosure, omega, air, source, harmonics)
    shape = (omega.size, levels.size, count, harmonics + 1)
    displacement = np.full(shape, np.nan, dtype=complex)
    current = np.full(shape, np.nan, dtype=complex)
    reasons = np.full(shape[:2], NOT_FOUND, dtype=object)
    state, reached = equations.small_signal, np.zeros(omega.size)
    at_rest = equations.point(equations.at_rest, np.ones(omega.size)).signs
    for n, level in enumerate(levels):
        state, found = _climb(equations, state, reached, np.full(omega.size, level), DIVISIONS)
        reached[found] = level
        rows = np.flatnonzero(found)
        point = equations.take(rows).point(state[rows], reached[rows])
        reasons[rows, n] = _judged(point, at_rest[:, rows])
        good = reasons[rows, n] == FOUND
        displacement[rows[good], n], current[rows[good], n] = point.x[good], point.i[good]
    return SteadyStates(omega, levels, displacement, current, reasons.astype(np.str_))


def _equations(
    drivers: Sequence[Driver],
    large: Sequence[LargeSignal],
    enclosure: Enclosure | None,
    omega: RealArray,
    air: Air,
    source: Source,
    harmonics: int,
) -> Equations:
    """The equations at `omega` (F,), and the units of their unknowns."""
    multiples = multiples_of(omega, harmonics)
    every = np.append(multiples.ravel(), LASTING)
    bl = np.array([driver.bl for driver in drivers])
    moved = electrical_load(drivers, enclosure, every, air).velocity / bl / (1j * every[:, None, None])  # m/N
    receptance = moved[:-1].reshape(*multiples.shape, *moved.shape[1:])
    coils = [driver.coil.impedance(every[:-1]).reshape(multiples.shape) for driver in drivers]
    flux = np.stack(coils, axis=1) / (1j * multiples[:, None])
    halves = Linear(
        fourier=Fourier(np.arange(harmonics) + 0.5, SAMPLES * harmonics),
        jkw=1j * multiples[:, ::2],
        receptance=receptance[:, ::2],
        admittance=source.admittance[:, ::2],
        flux=flux[..., ::2],
    )
    lasting = np.broadcast_to(moved[-1].real, receptance[:, :1].shape)
    whole = Linear(
        fourier=Fourier(np.arange(harmonics + 1.0), SAMPLES * harmonics),
        jkw=np.concatenate([np.zeros((omega.size, 1)), 1j * multiples[:, 1::2]], axis=1),
        receptance=np.concatenate([lasting, receptance[:, 1::2]], axis=1),
        admittance=np.concatenate([np.zeros_like(source.admittance[:, :1]), source.admittance[:, 1::2]], axis=1),
        # no model of an alternating current says what the lasting part of n i meets; it counts as at the fundamental
        flux=np.concatenate([flux[..., 1:2].real, flux[..., 1::2]], axis=2),
    )
    one = np.ones(omega.size)
    unscaled = Equations(drivers, large, whole, halves, np.sqrt(2) * source.current, source.resistance, one, one)
    small = unscaled.point(unscaled.small_signal, one)
    sizes = [np.abs(signal[..., 1]).max(axis=1) for signal in (small.x, small.i)]
    motion, flow = (np.where(size > 0, size, 1.0) for size in sizes)  # nothing moves where nothing is driven
    return replace(unscaled, motion=motion, flow=flow)


def _judged(point: Point, at_rest: RealArray) -> NDArray[np.object_]:
    """Why each of these solutions (B,) is no answer, empty where it is one; `at_rest` (2, B) are the signs there."""
    reason = np.full(at_rest.shape[1], FOUND, dtype=object)
    reason[(point.signs != at_rest).any(axis=0)] = UNSTABLE
    for signal in (point.x, point.i):
        size = np.abs(signal).max(axis=1)  # (B, H + 1) of the largest driver
        reason[size[:, -2:].max(axis=1) > LAST_HARMONICS * size.max(axis=1)] = COARSE
    reason[~point.positive] = BEYOND_CURVES
    return reason


def _climb(
    equations: Equations, start: RealArray, low: RealArray, high: RealArray, divisions: int
) -> tuple[RealArray, NDArray[np.bool_]]:
    """From the solutions `start` at levels `low` (F,) to those at `high`: (state, whether found), kept where not."""
    state, found = _newton(equations, start, high)
    if not divisions:
        return state, found
    size = np.linalg.norm(start, axis=1)
    far = np.flatnonzero(~found | (np.linalg.norm(state - start, axis=1) > CHANGE * size))
    if far.size:
        part, middle = equations.take(far), (low[far] + high[far]) / 2
        state[far], found[far] = start[far], False
        half, good = _climb(part, start[far], low[far], middle, divisions - 1)
        rows = np.flatnonzero(good)
        reached, there = _climb(part.take(rows), half[rows], middle[rows], high[far[rows]], divisions - 1)
        state[far[rows[there]]], found[far[rows[there]]] = reached[there], True
    return state, found


def _newton(equations: Equations, start: RealArray, volts: RealArray) -> tuple[RealArray, NDArray[np.bool_]]:
    """Newton's method from `start` at the levels `volts` (F,): (state, whether found), kept where not."""
    state, found = start.copy(), np.zeros(len(start), dtype=bool)
    rows, trial = np.arange(len(start)), start  # those still under way
    for _ in range(STEPS):
        part = equations.take(rows)
        point = part.point(trial, volts[rows])
        residual = point.residual
        done = np.abs(residual).max(axis=1, initial=0.0) < EXACT
        state[rows[done]], found[rows[done]] = trial[done], True
        go = np.flatnonzero(~done & np.isfinite(residual).all(axis=1))
        if not go.size:
            break
        step = -np.linalg.solve(point.jacobian[go], residual[go][..., None])[..., 0]
        trial, better = _damped(part.take(go), trial[go], step, volts[rows[go]], np.linalg.norm(residual[go], axis=1))
        rows, trial = rows[go[better]], trial[better]
    return state, found


def _damped(
    equations: Equations, start: RealArray, step: RealArray, volts: RealArray, size: RealArray
) -> tuple[RealArray, NDArray[np.bool_]]:
    """As much of `step` as leaves less than `size` (B,), halving it; and whether any does."""
    trial = start + step
    rows = np.arange(len(start))  # those that are no better yet
    for _ in range(HALVINGS):
        now = np.linalg.norm(equations.take(rows).point(trial[rows], volts[rows]).residual, axis=1)
        rows = rows[~(now < size[rows])]  # nor are those that are not a number
        if not rows.size:
            break
        trial[rows] = (start[rows] + trial[rows]) / 2
    better = np.ones(len(start), dtype=bool)
    better[rows] = False
    return trial, better
