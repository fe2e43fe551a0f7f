"""Boxes with openings: ports (Thiele 1961, repr. J. Audio Eng. Soc. 19, 1971; Small, JAES 21(5-8), 1973) and passive
radiators (Small, JAES 22(8,9), 1974). A port is a duct, a radiator a mass on a spring; the box is one pressure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from enclosures.acoustics import AcousticLoad, Branch
from enclosures.air import Air
from enclosures.arrays import RealArray
from enclosures.chamber import AirSpring, highest_resonance, require_loss_q
from enclosures.driver import Driver
from enclosures.duct import Piece, duct
from enclosures.ends import pipe_end, pipe_end_impedance
from enclosures.fibre import Fill
from enclosures.tuning import port_mass, tuned_port_length, tuning_frequency

__all__ = ["Port", "Radiator", "RadiatorBox", "VentedBox", "tuned_port_length"]


@dataclass(frozen=True, slots=True)
class Port:
    """`count` like ports side by side: `area` (m2) and `length` (m) of one, its outer `end` and its `inner_end`.

    The ends are words of `enclosures.ends.PIPE_ENDS`. Other shapes count as the circle of the same area, but for their
    `hydraulic_ratio`: the hydraulic radius 2 S/P of one port over sqrt(S/pi), which walls with losses need (those of a
    line; a box's ports have none). `clearance` (m) is the distance of the inner end to a wall that faces it.
    """

    area: float
    length: float
    end: str = "flanged"
    inner_end: str = "flanged"
    count: int = 1
    clearance: float | None = None
    hydraulic_ratio: float = 1.0

    def __post_init__(self) -> None:
        """Raise ValueError for a size or count that is not above zero, an unknown end, or a ratio beyond 1."""
        for name, value in (("area", self.area), ("length", self.length)):
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"port: {name} must be above zero, not {value!r}")
        if self.count < 1:
            raise ValueError(f"port: count must be at least 1, not {self.count!r}")
        if self.clearance is not None and not self.clearance > 0:
            raise ValueError(f"port: clearance must be above zero, not {self.clearance!r}")
        if not 0 < self.hydraulic_ratio <= 1:
            raise ValueError(f"port: hydraulic_ratio must lie above 0 and up to 1, not {self.hydraulic_ratio!r}")
        pipe_end(self.end)
        pipe_end(self.inner_end)

    @property
    def total_area(self) -> float:
        """Of all `count` ports, m2."""
        return self.area * self.count

    def branch(
        self,
        omega: RealArray,
        air: Air,
        resistance: float = 0.0,
        lossy_walls: bool = False,
        reactance_only: bool = False,
    ) -> Branch:
        """All `count` ports as an opening, (F,), with or without wall losses.

        Each is a duct between the reactance of its inner end and, in series, `resistance` (Pa s/m3, of one port) and
        the full impedance of its outer end, or that end's reactance only. At the inner end only the reactance acts:
        what a pipe end radiates into a closed box without losses comes back to it.
        """
        outer = pipe_end_impedance(omega, self.area, self.end, air) + resistance
        inner = 1j * pipe_end_impedance(omega, self.area, self.inner_end, air, self.clearance).imag
        tube = duct([Piece(self.length, self.area, self.area, "conical", None, self.hydraulic_ratio)], lossy_walls)
        walls = tube.two_ports(omega, air)
        one = np.ones(len(omega), dtype=complex)
        p, u = walls.backward(0, 1j * outer.imag if reactance_only else outer, one)
        return Branch(
            pressure=(p + inner * u) / self.count, flow=u, outside=np.exp(-walls.attenuation[:, 0]).astype(complex)
        )


@dataclass(frozen=True, slots=True)
class VentedBox:
    """Net `volume` (m3) before filling, with `ports`; losses are Q values at the tuning, inf for none.

    `leak` is across the box, `absorption` in series with its compliance, `port_loss` in series with each port at its
    outer end: with several ports each has the same Q, R = wb M/QP of its own mass M, which for one port is Small's
    1/(wb Cab QP). The ports have no other wall friction. Air that leaks radiates.
    """

    volume: float
    ports: tuple[Port, ...]
    leak: float = math.inf
    absorption: float = math.inf
    port_loss: float = math.inf
    fill: Fill | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a volume or Q that is not above zero, or without ports."""
        _ = self._spring
        require_loss_q(port=self.port_loss)
        if not self.ports:
            raise ValueError("vented box: at least one port is needed")

    @property
    def _spring(self) -> AirSpring:
        return AirSpring(self.volume, self.leak, self.absorption, self.fill)

    @property
    def opening_areas(self) -> tuple[float, ...]:
        """Total area of each entry of `ports`, m2."""
        return tuple(port.total_area for port in self.ports)

    def resonance(self, air: Air, drivers: Sequence[Driver] = ()) -> float:
        """fb = 1/(2 pi sqrt(Cab M)) in Hz, M of all ports in parallel as masses; drivers do not matter."""
        return tuning_frequency(self.volume, self.ports, air)

    def load(self, omega: RealArray, air: Air, drivers: Sequence[Driver]) -> AcousticLoad:
        """The acoustic load on the N `drivers` at `omega` (F,) in rad/s; an opening per entry of `ports`."""
        tuning = self.resonance(air)
        branches = [
            port.branch(omega, air, 2 * math.pi * tuning * port_mass(port, port.length, air) / self.port_loss)
            for port in self.ports
        ]
        return self._spring.load(omega, air, tuning, len(drivers), branches)


@dataclass(frozen=True, slots=True)
class Radiator:
    """`count` like passive radiators: sd (m2), mms (kg, air load included), cms (m/N), rms (kg/s, may be 0) of one."""

    sd: float
    mms: float
    cms: float
    rms: float
    count: int = 1

    def __post_init__(self) -> None:
        """Raise ValueError for sd, mms, cms or count not above zero or rms below zero."""
        for name in ("sd", "mms", "cms"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"passive radiator: {name} must be above zero, not {value!r}")
        if not (math.isfinite(self.rms) and self.rms >= 0):
            raise ValueError(f"passive radiator: rms must not be below zero, not {self.rms!r}")
        if self.count < 1:
            raise ValueError(f"passive radiator: count must be at least 1, not {self.count!r}")

    @property
    def total_area(self) -> float:
        """Of all `count` radiators, m2."""
        return self.sd * self.count

    @property
    def fp(self) -> float:
        """Free-air resonance in Hz, where the radiator's output is lowest."""
        return 1 / (2 * math.pi * math.sqrt(self.mms * self.cms))

    def branch(self, omega: RealArray) -> Branch:
        """All `count` radiators as an opening of a box, (F,)."""
        mechanical = self.rms + 1j * (omega * self.mms - 1 / (omega * self.cms))
        one = np.ones(len(omega), dtype=complex)
        return Branch(pressure=mechanical / (self.sd**2 * self.count), flow=one, outside=one)


@dataclass(frozen=True, slots=True)
class RadiatorBox:
    """Net `volume` (m3) before filling, with passive `radiators`; losses are Q values at fb, inf for none."""

    volume: float
    radiators: tuple[Radiator, ...]
    leak: float = math.inf
    absorption: float = math.inf
    fill: Fill | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a volume or Q that is not above zero, or without radiators."""
        _ = self._spring
        if not self.radiators:
            raise ValueError("radiator box: at least one passive radiator is needed")

    @property
    def _spring(self) -> AirSpring:
        return AirSpring(self.volume, self.leak, self.absorption, self.fill)

    @property
    def opening_areas(self) -> tuple[float, ...]:
        """Total sd of each entry of `radiators`, m2."""
        return tuple(radiator.total_area for radiator in self.radiators)

    def resonance(self, air: Air, drivers: Sequence[Driver] = ()) -> float:
        """fb in Hz, where the reactances of box and radiators cancel; of several unlike radiators the highest.

        With one kind it is fp sqrt(1 + delta), delta = Cmp rho c^2 Sp^2/V of all together; drivers do not matter.
        """
        return highest_resonance(
            [radiator.sd * radiator.count for radiator in self.radiators],
            [radiator.mms * radiator.count for radiator in self.radiators],
            [radiator.cms / radiator.count for radiator in self.radiators],
            self._spring.compliance(air),
        )

    def load(self, omega: RealArray, air: Air, drivers: Sequence[Driver]) -> AcousticLoad:
        """The acoustic load on the N `drivers` at `omega` (F,) in rad/s; an opening per entry of `radiators`."""
        branches = [radiator.branch(omega) for radiator in self.radiators]
        return self._spring.load(omega, air, self.resonance(air), len(drivers), branches)
