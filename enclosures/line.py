"""The quarter-wave line: a duct closed at one end, drivers anywhere along it, mouths that are open or end in a port."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from enclosures import tube
from enclosures.acoustics import AcousticLoad, Branch, load_with_branches
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.driver import Driver
from enclosures.duct import SAME_PLACE, TAPERS, Duct, Piece, duct
from enclosures.ends import pipe_end, pipe_end_impedance
from enclosures.fibre import Fill
from enclosures.steps import step_mass
from enclosures.vented import Port

_BEYOND = 1 + 1e-9  # a place this much farther than the line's length is still its end


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of the line: `length` (m), `area` and `end_area` (m2; None for a straight one), `taper`, filling.

    `taper` is a word of `enclosures.duct.TAPERS`: area_linear, conical (radius linear) or exponential. The
    `hydraulic_ratio` is that of its shape (1 for round; see `enclosures.ends`), the `mass_ratio` that of its bend (1
    for none; see `enclosures.bends`).
    """

    length: float
    area: float
    end_area: float | None = None
    taper: str = "area_linear"
    fill: Fill | None = None
    hydraulic_ratio: float = 1.0
    mass_ratio: float = 1.0

    def __post_init__(self) -> None:
        """Raise ValueError for what is not above zero, ratios above one, or an unknown taper."""
        for name, value in (("length", self.length), ("area", self.area), ("end area", self.piece.end_area)):
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"line section: {name} must be above zero, not {value!r}")
        for name, value in (("hydraulic ratio", self.hydraulic_ratio), ("mass ratio", self.mass_ratio)):
            if not 0 < value <= 1:
                raise ValueError(f"line section: {name} must lie between 0 and 1, not {value!r}")
        if self.taper not in TAPERS:
            raise ValueError(f"line section: no taper is called {self.taper!r}; known are {', '.join(TAPERS)}")

    @property
    def piece(self) -> Piece:
        """The section as a piece of duct."""
        end_area = self.area if self.end_area is None else self.end_area
        return Piece(self.length, self.area, end_area, self.taper, self.fill, self.hydraulic_ratio, self.mass_ratio)


@dataclass(frozen=True, slots=True)
class Mouth:
    """An opening of the line, `at` a distance (m) along it from the closed end; None: at its end.

    Without a `port` the line itself opens with `end`. With one, the port is the last stretch of duct and has ends of
    its own: `inner_end` acts with its reactance only, like that of a vented box.
    """

    end: str = "flanged"
    port: Port | None = None
    at: float | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for an unknown end."""
        pipe_end(self.end)


@dataclass(frozen=True, slots=True)
class Line:
    """`sections` from the closed end on, the drivers' `positions` (m along the axis from there) and the `mouths`.

    Without a mouth at its end the line is closed there too: what lies beyond the last mouth is a dead end. Lossy walls
    are those of the unfilled sections and the ports. With `step_correction` each step of area between sections has the
    mass of `enclosures.steps`, and so has the step onto a port at the line's end whose `inner_end` is ideal; without
    it steps have no correction.
    """

    sections: tuple[Section, ...]
    positions: tuple[float, ...]
    mouths: tuple[Mouth, ...] = (Mouth(),)
    lossy_walls: bool = True
    step_correction: bool = False

    def __post_init__(self) -> None:
        """Raise ValueError without sections, for a driver or mouth beyond the line, or ideal openings at one place."""
        if not self.sections:
            raise ValueError("line: at least one section is needed")
        for what, places in (("driver", self.positions), ("mouth", self._mouth_places)):
            for place in places:
                if not 0 <= place <= self.length * _BEYOND:
                    raise ValueError(
                        f"line: a {what} at {place:g} m lies outside the line, which is {self.length:g} m long"
                    )

        bare = [
            place
            for mouth, place in zip(self.mouths, self._mouth_places, strict=True)
            if mouth.port is None and mouth.end == "ideal"
        ]
        if any(abs(one - other) <= SAME_PLACE for one, other in combinations(bare, 2)):
            raise ValueError("line: two ideal openings are at one place, and nothing says how they share the flow")

    @property
    def length(self) -> float:
        """Of the sections together, without a port, in m."""
        return math.fsum(section.length for section in self.sections)

    @property
    def _mouth_places(self) -> tuple[float, ...]:
        """Distance of each mouth from the closed end, m."""
        return tuple(self.length if mouth.at is None else mouth.at for mouth in self.mouths)

    def _area_at(self, place: float) -> float:
        """Area (m2) of the line at a distance (m) from the closed end; before a step where there is one."""
        start = 0.0
        for section in self.sections[:-1]:
            if place <= start + section.length:
                break
            start += section.length
        else:
            section = self.sections[-1]
        return section.piece.area_at(min(1.0, (place - start) / section.length))

    @property
    def opening_areas(self) -> tuple[float, ...]:
        """Area of each mouth in m2: of its port (all of its `count`), else of the line where it opens."""
        return tuple(
            mouth.port.total_area if mouth.port else self._area_at(place)
            for mouth, place in zip(self.mouths, self._mouth_places, strict=True)
        )

    def resonance(self, air: Air, drivers: Sequence[Driver] = ()) -> float:
        """The first of `resonances`."""
        return self.resonances(air, 1)[0]

    def resonances(self, air: Air, count: int) -> tuple[float, ...]:
        """The first `count` resonances of the air in Hz: nothing is lost, nothing filled, the cones are held still.

        They are where the amplitudes of the load need no flow from any cone. Raises ArithmeticError should there be
        fewer below 2 (`count` + 1) waves in the whole length (a flare of many thousands to one).
        """
        bare = replace(
            self,
            sections=tuple(replace(section, fill=None) for section in self.sections),
            positions=(0.0,),
            lossy_walls=False,
        )
        whole = self.length + max((mouth.port.length for mouth in self.mouths if mouth.port), default=0.0)
        highest = 2 * (count + 1) * air.speed_of_sound / whole
        brackets = bare._sign_changes(0.0, highest, 400 * (count + 1), air)[:count]
        if len(brackets) < count:
            raise ArithmeticError("line: no resonance found")
        for _ in range(4):
            brackets = [bare._sign_changes(low, high, 400, air)[0] for low, high in brackets]
        return tuple((low + high) / 2 for low, high in brackets)

    def _sign_changes(self, low: float, high: float, points: int, air: Air) -> list[tuple[float, float]]:
        """Between which neighbours (Hz) of `points` in a bracket the line's balance changes its sign."""
        frequency = np.linspace(low, high, points + 1)[1 if low == 0 else 0 :]
        sign = np.signbit(self._balance(2 * np.pi * frequency, air))
        return [(float(frequency[i]), float(frequency[i + 1])) for i in np.flatnonzero(sign[1:] != sign[:-1])]

    def _balance(self, omega: RealArray, air: Air) -> RealArray:
        """The determinant of the amplitudes of a lossless line whose cones stand still, (F,), made real."""
        matrix = self._load(omega, air, self._branches(omega, air, reactance_only=True)).admittance
        return np.asarray((np.linalg.det(matrix) / 1j ** matrix.shape[1]).real)

    def _duct(self, air: Air) -> Duct:
        step = (lambda one, two: step_mass(one, two, air)) if self.step_correction else None
        return duct([section.piece for section in self.sections], self.lossy_walls, step)

    def _branches(self, omega: RealArray, air: Air, reactance_only: bool = False) -> list[Branch]:
        """The mouths as branches of the line; `reactance_only`: they radiate nothing."""
        branches = []
        for mouth, place in zip(self.mouths, self._mouth_places, strict=True):
            area = self._area_at(place)
            if mouth.port is None:
                load = pipe_end_impedance(omega, area, mouth.end, air)
                one = np.ones(len(omega), dtype=complex)
                branches.append(Branch(1j * load.imag if reactance_only else load, one, one))
                continue
            branch = mouth.port.branch(omega, air, lossy_walls=self.lossy_walls, reactance_only=reactance_only)
            if self.step_correction and mouth.at is None and mouth.port.inner_end == "ideal":
                mass = step_mass(area, mouth.port.total_area, air)
                branch = replace(branch, pressure=branch.pressure + 1j * omega * mass * branch.flow)
            branches.append(branch)
        return branches

    def load(self, omega: RealArray, air: Air, drivers: Sequence[Driver]) -> AcousticLoad:
        """The acoustic load on the N `drivers` at `omega` (F,) in rad/s; an opening per mouth.

        Raises ValueError unless there is a position for each driver.
        """
        if len(drivers) != len(self.positions):
            raise ValueError(f"line: {len(self.positions)} positions for {len(drivers)} drivers")
        return self._load(omega, air, self._branches(omega, air))

    def _load(self, omega: RealArray, air: Air, branches: Sequence[Branch]) -> AcousticLoad:
        places = [*self.positions, *self._mouth_places]
        return load_with_branches(tube.inside(self._duct(air), places, omega, air), branches)

    def pressure_along(
        self, omega: RealArray, air: Air, flow: ComplexArray, step: float = 0.01
    ) -> tuple[RealArray, ComplexArray]:
        """Pressure in the line while the volume velocities `flow` (F, N) in m3/s leave it at its cones.

        Returns places (n,) in m from the closed end, at most `step` (m) apart, and the pressure (F, n) in Pa; `omega`
        (F,) in rad/s.
        """
        branches = self._branches(omega, air)
        load = self._load(omega, air, branches)
        amplitude = -np.linalg.solve(load.admittance, load.gather @ flow[:, :, None])[:, 1:, 0]
        out = np.stack([branch.flow for branch in branches], axis=1) * amplitude if branches else amplitude
        places = [*self.positions, *self._mouth_places]
        return tube.pressure_along(self._duct(air), places, np.concatenate([flow, out], axis=1), omega, air, step)
