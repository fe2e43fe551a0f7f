"""What every enclosure gives, and the electro-acoustic heart: drivers on an enclosure as one electrical N-port.

Conventions: e^{+jwt}; rms phasors; frequency on axis 0; cone velocity and the flow of every opening and leak are
positive outward, so the pressure in a box falls as its cones move out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, cast

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.driver import Driver


@dataclass(frozen=True, slots=True, eq=False)
class AcousticLoad:
    """The air behind N cones, in a form that stays finite at the resonances of a lossless enclosure.

    Every enclosure here answers the volume velocities q (outward, m3/s) of its cones through K amplitudes x:

        admittance x = -gather q          p = spread x - direct q          opening flow = opening_flow x

    In a box they are its pressure and the flow of each opening; in a line the wave that leaves towards the far end
    stands for the pressure. The impedance matrix Za = direct + spread admittance^-1 gather, p = -Za q, goes to infinity
    where `admittance` is singular (a lossless vented box at its tuning); the drivers on it still move by finite
    amounts, and `electrical_load` finds them from the parts without ever inverting `admittance`.
    """

    direct: ComplexArray  # (F, N, N) Pa s/m3
    spread: ComplexArray  # (F, N, K) Pa per x
    gather: ComplexArray  # (F, K, N)
    admittance: ComplexArray  # (F, K, K)
    opening_flow: ComplexArray  # (F, M, K) m3/s per x
    leak_flow: ComplexArray  # (F, K) m3/s per x

    @property
    def _amplitude(self) -> ComplexArray:
        return np.linalg.solve(self.admittance, self.gather)

    @property
    def impedance(self) -> ComplexArray:
        """Za (F, N, N) in Pa s/m3, p = -Za q. Raises LinAlgError exactly at a pole of a lossless enclosure."""
        return self.direct + self.spread @ self._amplitude

    @property
    def openings(self) -> ComplexArray:
        """Outward volume velocity of each opening per outward cone volume velocity (F, M, N); raises as `impedance`."""
        return -self.opening_flow @ self._amplitude

    @property
    def leak(self) -> ComplexArray:
        """Outward volume velocity of the leak per outward cone volume velocity (F, N); raises as `impedance`."""
        flow: ComplexArray = (self.leak_flow[:, None, :] @ self._amplitude)[:, 0]
        return -flow


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """A way out of an enclosure, per unit of its own amplitude y, each (F,).

    `pressure` (Pa) before it, `flow` (m3/s) that leaves the enclosure through it and `outside` (m3/s) that arrives
    behind it. A branch rather than its admittance, because that of a lossless opening passes through infinity.
    """

    pressure: ComplexArray
    flow: ComplexArray
    outside: ComplexArray


@dataclass(frozen=True, slots=True, eq=False)
class Inside:
    """The air of an enclosure seen from P points where flow q (outward, m3/s) may leave it, through one amplitude x:

    admittance x = -gather . q          p = spread x - direct q

    `spread` and `gather` (F, P), `direct` (F, P, P), `admittance` (F,).
    """

    direct: ComplexArray
    spread: ComplexArray
    gather: ComplexArray
    admittance: ComplexArray


def load_with_branches(inside: Inside, openings: Sequence[Branch], leak: Branch | None = None) -> AcousticLoad:
    """Cones and branches on the air of one enclosure: its points are the N cones, the M openings, then the leak.

    A branch of amplitude y takes q = flow y from its point and needs p = pressure y there; the amplitudes are x and
    every y.
    """
    branches = [*openings, leak] if leak else list(openings)
    frequencies, points = inside.spread.shape
    n = points - len(branches)
    pressure = np.stack([branch.pressure for branch in branches], axis=1) if branches else np.zeros((frequencies, 0))
    flow = np.stack([branch.flow for branch in branches], axis=1) if branches else np.zeros((frequencies, 0))
    k = 1 + len(branches)
    direct = inside.direct[:, :, n:] * flow[:, None, :]  # of each branch, per y
    admittance = np.empty((frequencies, k, k), dtype=complex)
    admittance[:, 0, 0] = inside.admittance
    admittance[:, 0, 1:] = inside.gather[:, n:] * flow
    admittance[:, 1:, 0] = -inside.spread[:, n:]
    admittance[:, 1:, 1:] = direct[:, n:]
    each = np.arange(len(branches))
    admittance[:, 1 + each, 1 + each] += pressure
    outside = np.zeros((frequencies, k, k), dtype=complex)
    for i, branch in enumerate(branches, start=1):
        outside[:, i, i] = branch.outside
    return AcousticLoad(
        direct=inside.direct[:, :n, :n],
        spread=np.concatenate([inside.spread[:, :n, None], -direct[:, :n]], axis=2),
        gather=np.concatenate([inside.gather[:, None, :n], inside.direct[:, n:, :n]], axis=1),
        admittance=admittance,
        opening_flow=outside[:, 1 : 1 + len(openings)],
        leak_flow=outside[:, -1] if leak else np.zeros((frequencies, k), dtype=complex),
    )


class Enclosure(Protocol):
    """One chamber: what a kind of enclosure has to offer. `enclosures.kinds` is the register."""

    @property
    def opening_areas(self) -> tuple[float, ...]:
        """Area in m2 of each of the M openings (ports, radiators, mouth), all of its `count` together."""
        ...

    def load(self, omega: RealArray, air: Air, drivers: Sequence[Driver]) -> AcousticLoad:
        """The acoustic load on the N `drivers` at `omega` (F,) in rad/s."""
        ...

    def resonance(self, air: Air, drivers: Sequence[Driver]) -> float:
        """The system's resonance in Hz with every resistance taken as zero."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class ElectricalLoad:
    """N drivers with their enclosure as the crossover sees them, and what moves per ampere into each terminal pair."""

    impedance: ComplexArray  # (F, N, N) ohm
    velocity: ComplexArray  # (F, N, N) m/s of cone n per A into driver m
    openings: ComplexArray  # (F, M, N) m3/s per A
    leak: ComplexArray  # (F, N) m3/s per A


def electrical_load(
    drivers: Sequence[Driver], enclosure: Enclosure | None, omega: RealArray, air: Air
) -> ElectricalLoad:
    """Drivers on one enclosure as an electrical N-port: Z = diag(Ze) + B (diag(Zm) + S Za S)^-1 B.

    (diag(Zm) + S Za S) u = B i and v = Ze i + B u, with B = diag(bl), S = diag(sd); `omega` (F,) in rad/s, above
    zero and of any order. The load's amplitudes x are kept as unknowns, which makes the infinite and the singular Za
    ordinary cases:

        [diag(Zm) + S direct S   -S spread ] [u]   [B]
        [gather S                admittance] [x] = [0] i

    Without an enclosure (None) the cones work on nothing but themselves: no openings, no coupling.
    Raises ValueError for frequencies that are not above zero and finite, or without drivers.
    """
    omega = np.asarray(omega, dtype=float)
    if omega.ndim != 1 or not np.all(np.isfinite(omega) & (omega > 0)):
        raise ValueError("frequencies must be a row of finite numbers above zero")
    if not drivers:
        raise ValueError("an enclosure needs at least one driver")
    load = _no_load(len(omega), len(drivers)) if enclosure is None else enclosure.load(omega, air, drivers)

    n = len(drivers)
    each = np.arange(n)
    bl = np.array([driver.bl for driver in drivers])
    sd = np.array([driver.sd for driver in drivers])
    mechanical = sd[:, None] * load.direct * sd  # (F, N, N)
    mechanical[:, each, each] += np.stack([driver.mechanical_impedance(omega) for driver in drivers], axis=1)
    push = sd[:, None] * load.spread
    pull = load.gather * sd

    # The amplitudes and their equations are scaled so that every entry has the size of a mechanical impedance:
    # pivoting then compares like with like.
    size = np.abs(mechanical[:, each, each]).max(axis=1)[:, None]
    column = size / _nonzero(_largest(push, 1), _largest(load.admittance, 1))
    column_admittance = load.admittance * column[:, None, :]
    row = size / _nonzero(np.maximum(_largest(pull, 2), _largest(column_admittance, 2)))
    k = load.admittance.shape[1]
    system = np.empty((len(omega), n + k, n + k), dtype=complex)
    system[:, :n, :n] = mechanical
    system[:, :n, n:] = -push * column[:, None, :]
    system[:, n:, :n] = pull * row[:, :, None]
    system[:, n:, n:] = column_admittance * row[:, :, None]
    forces = np.zeros((len(omega), n + k, n), dtype=complex)
    forces[:, each, each] = bl
    solution = cast("ComplexArray", np.linalg.solve(system, forces))  # numpy's own types say real
    velocity = solution[:, :n]
    amplitude = solution[:, n:] * column[:, :, None]  # (F, K, N) x per A

    impedance = velocity * bl[:, None]
    impedance[:, each, each] += np.stack([driver.blocked_impedance(omega) for driver in drivers], axis=1)
    return ElectricalLoad(
        impedance=impedance,
        velocity=velocity,
        openings=load.opening_flow @ amplitude,
        leak=(load.leak_flow[:, None, :] @ amplitude)[:, 0],
    )


def _largest(matrix: ComplexArray, axis: int) -> RealArray:
    """The largest magnitude along `axis` of (F, ., .)."""
    largest: RealArray = np.abs(matrix).max(axis=axis, initial=0.0)
    return largest


def _nonzero(*choices: RealArray) -> RealArray:
    """The first of `choices` that is above zero, element by element; one where none is."""
    value = np.ones_like(choices[0])
    for choice in reversed(choices):
        value = np.where(choice > 0, choice, value)
    return value


def _no_load(frequencies: int, n: int) -> AcousticLoad:
    return AcousticLoad(
        direct=np.zeros((frequencies, n, n), dtype=complex),
        spread=np.zeros((frequencies, n, 0), dtype=complex),
        gather=np.zeros((frequencies, 0, n), dtype=complex),
        admittance=np.zeros((frequencies, 0, 0), dtype=complex),
        opening_flow=np.zeros((frequencies, 0, 0), dtype=complex),
        leak_flow=np.zeros((frequencies, 0), dtype=complex),
    )
