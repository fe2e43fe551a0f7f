"""The sealed box (Small, J. Audio Eng. Soc. 20(10), 1972 and 21(1), 1973), with or without depth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from enclosures import tube
from enclosures.acoustics import AcousticLoad, load_with_branches
from enclosures.air import Air
from enclosures.arrays import RealArray
from enclosures.chamber import AirSpring, highest_resonance
from enclosures.driver import Driver
from enclosures.duct import Piece, duct
from enclosures.fibre import Fill, Fluid


@dataclass(frozen=True, slots=True)
class SealedBox:
    """Net `volume` (m3) before filling; `leak` and `absorption` are Q values at the box resonance, inf for none.

    Air that leaks radiates: its flow is the load's leak. With `along` (m), the largest inner dimension, sound takes its
    time along it: the box is a duct of that length and of its volume, closed at both ends, with the drivers at
    `positions` (m from one end, one for each) and the leak at that end; without it there is one pressure in the box.
    """

    volume: float
    leak: float = math.inf
    absorption: float = math.inf
    fill: Fill | None = None
    along: float | None = None
    positions: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Raise ValueError for a volume, Q or length that is not above zero, or a position beyond the length."""
        _ = self._spring
        if self.along is not None:
            if not (math.isfinite(self.along) and self.along > 0):
                raise ValueError(f"sealed box: the length along it must be above zero, not {self.along!r}")
            for position in self.positions:
                if not 0 <= position <= self.along:
                    raise ValueError(f"sealed box: a driver at {position:g} m lies outside its {self.along:g} m")

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
        """The acoustic load on the N `drivers` at `omega` (F,) in rad/s; M = 0.

        Raises ValueError where the box has a length and not a position for each driver.
        """
        resonance = self.resonance(air, drivers)
        if self.along is None:
            return self._spring.load(omega, air, resonance, len(drivers))
        if len(drivers) != len(self.positions):
            raise ValueError(f"sealed box: {len(self.positions)} positions for {len(drivers)} drivers")
        medium = _Absorbing(self.fill, 1 / (2 * math.pi * resonance * self.absorption))
        area = self.volume / self.along
        body = duct([Piece(self.along, area, area, "conical", medium)], lossy_walls=False)
        leak = self._spring.leak_branch(omega, air, resonance)
        places = [*self.positions, *([0.0] if leak else [])]
        return load_with_branches(tube.inside(body, places, omega, air), [], leak)


@dataclass(frozen=True, slots=True)
class _Absorbing:
    """Air or filling whose compression lags by `time` (s): a box's absorption, spread over its length.

    RAB in series with the compliance (see `AirSpring.admittance`) is an addition of jw V RAB = jw rho c^2 time to the
    bulk modulus.
    """

    fill: Fill | None
    time: float

    def fluid(self, omega: RealArray, air: Air) -> Fluid:
        """Density and bulk modulus, each (F,), at `omega` (F,) in rad/s."""
        lag = 1j * omega * (air.bulk_modulus * self.time)
        if self.fill is None:
            return Fluid(air.density + 0 * lag, air.bulk_modulus + lag)
        fluid = self.fill.fluid(omega, air)
        return Fluid(fluid.density, fluid.bulk_modulus + lag)
