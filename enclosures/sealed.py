"""The sealed box (Small, J. Audio Eng. Soc. 20(10), 1972 and 21(1), 1973)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from enclosures.acoustics import AcousticLoad
from enclosures.air import Air
from enclosures.arrays import RealArray
from enclosures.chamber import AirSpring, highest_resonance
from enclosures.driver import Driver
from enclosures.fibre import Fill


@dataclass(frozen=True, slots=True)
class SealedBox:
    """Net `volume` (m3) before filling; `leak` and `absorption` are Q values at the box resonance, inf for none.

    Air that leaks radiates: its flow is the load's leak.
    """

    volume: float
    leak: float = math.inf
    absorption: float = math.inf
    fill: Fill | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a volume or Q that is not above zero."""
        _ = self._spring

    @property
    def _spring(self) -> AirSpring:
        return AirSpring(self.volume, self.leak, self.absorption, self.fill)

    @property
    def opening_areas(self) -> tuple[float, ...]:
        """A sealed box has no openings."""
        return ()

    def resonance(self, air: Air, drivers: Sequence[Driver]) -> float:
        """fc in Hz, fs sqrt(1 + vas/V) of one driver; of several the highest undamped resonance of them all."""
        return highest_resonance(
            [driver.sd for driver in drivers],
            [driver.mms for driver in drivers],
            [driver.cms for driver in drivers],
            self._spring.compliance(air),
        )

    def load(self, omega: RealArray, air: Air, drivers: Sequence[Driver]) -> AcousticLoad:
        """The acoustic load on the N `drivers` at `omega` (F,) in rad/s; M = 0."""
        return self._spring.load(omega, air, self.resonance(air, drivers), len(drivers))
