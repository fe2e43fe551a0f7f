"""What an impedance put into one place of the network does to everything else.

The network is linear, so whatever is linear in the source is, for an impedance Z in the place,

    X(Z) = X(0) + (X(inf) - X(0)) Z/(Z + Zth)

with Zth what the place looks into (Thevenin's theorem; of the equations it is what Sherman & Morrison, Ann. Math. Stat.
21, 1950, say). Two solutions, linked and left out, tell it for any number of impedances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from filters.network import sweep_branch
from system.build import Build
from system.transfer import Transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]


@dataclass(frozen=True, slots=True, eq=False)
class Span:
    """A quantity (F,) that is linear in the source, with the place `linked`, and what leaving it out adds."""

    linked: Complexes
    added: Complexes

    @property
    def left_out(self) -> Complexes:
        return np.asarray(self.linked + self.added)

    def at(self, share: Complexes) -> Complexes:
        """Its values (C, F) for C impedances of these shares (C, F)."""
        return np.asarray(self.linked + self.added * share)


@dataclass(frozen=True, slots=True, eq=False)
class Inserted:
    """One place of a build at `frequency` (F,), per volt rms at the amplifier.

    `through` (F,) is the current in the linked place, `across` (F,) the volts over the place left out; `looks_into` is
    1/Zth (F,), siemens; zero where the place is in a dead end. `current` (2, F, N) is that of the drivers, linked and
    left out; `drawn` is the amplifier's own.
    """

    frequency: Floats
    through: Complexes
    across: Complexes
    looks_into: Complexes
    current: Complexes
    drawn: Span

    @classmethod
    def of(cls, model: Build, reference: str, acoustics: Transfer) -> Inserted:
        """Look into the place of the element `reference`. Raises NetworkError where the circuit has no solution."""
        ends = np.zeros((2, acoustics.frequency.size), complex)
        ends[1] = np.inf
        solution = sweep_branch(
            model.network,
            reference,
            ends,
            2 * np.pi * acoustics.frequency,
            acoustics.impedance,
            1.0,
            model.source_resistance,
        )
        index = [element.reference for element in model.network.elements].index(reference)
        through, across = solution.element_current[0, :, index], solution.element_volts[1, :, index]
        looks_into = np.divide(through, across, out=np.zeros_like(through), where=across != 0)
        drawn = Span(solution.input_current[0], solution.input_current[1] - solution.input_current[0])
        return cls(acoustics.frequency, through, across, looks_into, solution.load_current, drawn)

    def share(self, impedance: Complexes) -> Complexes:
        """Z/(Z + Zth) (C, F) of finite impedances (C, F): how far each is on the way from linked to left out."""
        ratio = impedance * self.looks_into
        return np.asarray(ratio / (1 + ratio))

    def heard(self, per_ampere: Complexes) -> Span:
        """What is `per_ampere` (F, N) in the drivers, summed over them."""
        linked, open_ = np.einsum("fj,cfj->cf", per_ampere, self.current)
        return Span(linked, open_ - linked)
