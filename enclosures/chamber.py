"""What boxes small against the wavelength have in common: one pressure, a spring of air, a leak, and openings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from enclosures.acoustics import AcousticLoad, Branch, Inside, load_with_branches
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.fibre import Fill


@dataclass(frozen=True, slots=True)
class AirSpring:
    """The air of a box: net `volume` (m3), the Q values of `leak` and `absorption` (inf for none), and its filling."""

    volume: float
    leak: float = math.inf
    absorption: float = math.inf
    fill: Fill | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a volume or Q that is not above zero (a Q may be infinite)."""
        if not (math.isfinite(self.volume) and self.volume > 0):
            raise ValueError(f"box: volume must be above zero, not {self.volume!r}")
        require_loss_q(leak=self.leak, absorption=self.absorption)

    def compliance(self, air: Air) -> float:
        """Cab = V/(rho c^2) of the unfilled volume in m3/Pa: what resonances and the Q values refer to."""
        return self.volume / air.bulk_modulus

    def admittance(self, omega: RealArray, air: Air, resonance: float) -> ComplexArray:
        """Of the spring with its absorption, (F,) in m3/(Pa s); `resonance` in Hz is where the Q holds.

        RAB = 1/(wb Cab QA) stands in series with the compliance (Small, J. Audio Eng. Soc. 21(5), 1973); filling
        puts the bulk modulus of its equivalent fluid in the place of rho c^2.
        """
        compliance: ComplexArray = np.full(len(omega), self.compliance(air), dtype=complex)
        if self.fill is not None:
            compliance = self.volume / self.fill.fluid(omega, air).bulk_modulus
        series = 1 / (2 * math.pi * resonance * self.compliance(air) * self.absorption)  # RAB
        admittance = 1j * omega * compliance
        return admittance / (1 + admittance * series)

    def leak_resistance(self, air: Air, resonance: float) -> float:
        """RAL = QL/(wb Cab) across the box in Pa s/m3 (Small, J. Audio Eng. Soc. 21(5), 1973)."""
        return self.leak / (2 * math.pi * resonance * self.compliance(air))

    def leak_branch(self, omega: RealArray, air: Air, resonance: float) -> Branch | None:
        """The leak as a branch of the box; None where nothing leaks."""
        if math.isinf(self.leak):
            return None
        one: ComplexArray = np.ones(len(omega), dtype=complex)
        return Branch(one * self.leak_resistance(air, resonance), one, one)

    def load(
        self, omega: RealArray, air: Air, resonance: float, cones: int, branches: Sequence[Branch] = ()
    ) -> AcousticLoad:
        """The load of this box with its openings on `cones` cones; all see the one pressure, the amplitude x."""
        leak = self.leak_branch(omega, air, resonance)
        points = cones + len(branches) + (leak is not None)
        inside = Inside(
            direct=np.zeros((len(omega), points, points), dtype=complex),
            spread=np.ones((len(omega), points), dtype=complex),
            gather=np.ones((len(omega), points), dtype=complex),
            admittance=self.admittance(omega, air, resonance),
        )
        return load_with_branches(inside, branches, leak)


def require_loss_q(**losses: float) -> None:
    """Raise ValueError for a Q that is not above zero; infinity means no such loss."""
    for name, q in losses.items():
        if not q > 0:
            raise ValueError(f"box: the Q of {name} must be above zero, not {q!r}")


def highest_resonance(sd: Sequence[float], mms: Sequence[float], cms: Sequence[float], compliance: float) -> float:
    """Highest undamped resonance in Hz of pistons (m2, kg, m/N) that share a spring of air (`compliance`, m3/Pa)."""
    root_mass = np.sqrt(np.asarray(mms))
    pull = np.asarray(sd) / root_mass
    stiffness = np.diag(1 / (np.asarray(cms) * root_mass**2)) + np.outer(pull, pull) / compliance
    return math.sqrt(float(np.linalg.eigvalsh(stiffness)[-1])) / (2 * math.pi)
