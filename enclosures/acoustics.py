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

    Every enclosure here answers the volume velocities q (outward, m3/s) of its cones through one amplitude x:

        admittance x = -gather . q          p = spread x - direct q          opening flow = opening_flow x

    In a box x is its pressure; in a line it is the wave that leaves towards the mouth. The impedance matrix
    Za = direct + spread gather^T / admittance, p = -Za q, goes to infinity where `admittance` passes through zero
    (a lossless vented box at its tuning); the drivers on it still move by finite amounts, and `electrical_load`
    finds them from the parts without ever dividing by `admittance`.
    """

    direct: ComplexArray  # (F, N, N) Pa s/m3
    spread: ComplexArray  # (F, N) Pa per x
    gather: ComplexArray  # (F, N)
    admittance: ComplexArray  # (F,) m3/s per x
    opening_flow: ComplexArray  # (F, M) m3/s per x
    leak_flow: ComplexArray  # (F,) m3/s per x

    @property
    def _amplitude(self) -> ComplexArray:
        with np.errstate(divide="raise", invalid="raise"):
            return self.gather / self.admittance[:, None]

    @property
    def impedance(self) -> ComplexArray:
        """Za (F, N, N) in Pa s/m3, p = -Za q. Raises FloatingPointError exactly at a pole of a lossless enclosure."""
        return self.direct + self.spread[:, :, None] * self._amplitude[:, None, :]

    @property
    def openings(self) -> ComplexArray:
        """Outward volume velocity of each opening per outward cone volume velocity (F, M, N); raises as `impedance`."""
        return -self.opening_flow[:, :, None] * self._amplitude[:, None, :]

    @property
    def leak(self) -> ComplexArray:
        """Outward volume velocity of the leak per outward cone volume velocity (F, N); raises as `impedance`."""
        return -self.leak_flow[:, None] * self._amplitude


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
    zero and of any order. The load's amplitude x is kept as one more unknown, which makes the infinite and the
    singular Za ordinary cases:

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
    push = load.spread * sd
    pull = load.gather * sd

    # x and its equation are scaled so that every entry has the size of a mechanical impedance: pivoting then compares
    # like with like.
    size = np.abs(mechanical[:, each, each]).max(axis=1)
    push_size = _size(push)
    pull_size = _size(pull)
    system = np.empty((len(omega), n + 1, n + 1), dtype=complex)
    system[:, :n, :n] = mechanical
    system[:, :n, n] = -push * (size / push_size)[:, None]
    system[:, n, :n] = pull * (size / pull_size)[:, None]
    system[:, n, n] = load.admittance * (size / push_size) * (size / pull_size)
    forces = np.zeros((len(omega), n + 1, n), dtype=complex)
    forces[:, each, each] = bl
    solution = cast("ComplexArray", np.linalg.solve(system, forces))  # numpy's own types say real
    velocity = solution[:, :n]
    amplitude = solution[:, n] * (size / push_size)[:, None]  # (F, N) x per A

    impedance = velocity * bl[:, None]
    impedance[:, each, each] += np.stack([driver.blocked_impedance(omega) for driver in drivers], axis=1)
    return ElectricalLoad(
        impedance=impedance,
        velocity=velocity,
        openings=load.opening_flow[:, :, None] * amplitude[:, None, :],
        leak=load.leak_flow[:, None] * amplitude,
    )


def _size(row: ComplexArray) -> RealArray:
    """The largest magnitude of each row of (F, N), one where the row is all zero."""
    largest: RealArray = np.abs(row).max(axis=1)
    return np.where(largest > 0, largest, 1.0)


def _no_load(frequencies: int, n: int) -> AcousticLoad:
    return AcousticLoad(
        direct=np.zeros((frequencies, n, n), dtype=complex),
        spread=np.zeros((frequencies, n), dtype=complex),
        gather=np.zeros((frequencies, n), dtype=complex),
        admittance=np.ones(frequencies, dtype=complex),
        opening_flow=np.zeros((frequencies, 0), dtype=complex),
        leak_flow=np.zeros(frequencies, dtype=complex),
    )
