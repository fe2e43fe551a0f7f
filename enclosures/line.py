"""The quarter-wave line: a duct closed at one end, drivers anywhere along it, its mouth open or a port.

Two solutions of the duct are enough: phi, which moves no air at the closed end, and psi, which meets the impedance
beyond the mouth. A cone at x_n that pushes q into the line makes the pressure phi(x<) psi(x>) q/W with W the
Wronskian p_phi U_psi - p_psi U_phi (Morse & Ingard, Theoretical Acoustics, 1968, on Green's functions in ducts). Each
is followed in the direction in which it grows, so that neither losses nor length spoil it, and nothing has a pole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from enclosures.acoustics import AcousticLoad
from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray
from enclosures.driver import Driver
from enclosures.duct import TAPERS, Duct, Piece, TwoPorts
from enclosures.ends import pipe_end, pipe_end_impedance
from enclosures.fibre import Fill
from enclosures.vented import Port

_TRACEABLE = 2.0  # nepers between first and last driver up to which an impulse can be followed against its decay
_SAME_PLACE = 1e-9  # m: drivers closer than this to each other or to a section's end are there


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of the line: `length` (m), `area` and `end_area` (m2; None for a straight one), `taper`, filling.

    `taper` is a word of `enclosures.duct.TAPERS`: area_linear, conical (radius linear) or exponential.
    """

    length: float
    area: float
    end_area: float | None = None
    taper: str = "area_linear"
    fill: Fill | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a length or area that is not above zero or an unknown taper."""
        for name, value in (("length", self.length), ("area", self.area), ("end area", self.piece.end_area)):
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"line section: {name} must be above zero, not {value!r}")
        if self.taper not in TAPERS:
            raise ValueError(f"line section: no taper is called {self.taper!r}; known are {', '.join(TAPERS)}")

    @property
    def piece(self) -> Piece:
        """The section as a piece of duct."""
        end_area = self.area if self.end_area is None else self.end_area
        return Piece(self.length, self.area, end_area, self.taper, self.fill)


@dataclass(frozen=True, slots=True)
class Line:
    """`sections` from the closed end to the mouth and the drivers' `positions` (m along the axis from the closed end).

    Without a `port` the last section opens with `end`; with one, the port is the last stretch of duct and has ends of
    its own: `inner_end` acts with its reactance only, like that of a vented box. `lossy_walls` covers the unfilled
    sections and the port, with the theory for round ducts of the same area. Steps of area have no correction.
    """

    sections: tuple[Section, ...]
    positions: tuple[float, ...]
    end: str = "flanged"
    port: Port | None = None
    lossy_walls: bool = True

    def __post_init__(self) -> None:
        """Raise ValueError without sections, for a driver beyond the line, or an unknown end."""
        if not self.sections:
            raise ValueError("line: at least one section is needed")
        for position in self.positions:
            if not 0 <= position <= self.length * (1 + 1e-12):
                raise ValueError(
                    f"line: a driver at {position:g} m lies outside the line, which is {self.length:g} m long"
                )
        pipe_end(self.end)

    @property
    def length(self) -> float:
        """Of the sections together, without a port, in m."""
        return math.fsum(section.length for section in self.sections)

    @property
    def opening_areas(self) -> tuple[float, ...]:
        """Area of the mouth in m2: of the port (all of its `count`), else of the last section's end."""
        return (self.sections[-1].piece.end_area if self.port is None else self.port.total_area,)

    def resonance(self, air: Air, drivers: Sequence[Driver] = ()) -> float:
        """The first resonance of the air in Hz: walls and ends without loss, no filling, the cones held still.

        It is where a closed end would take no flow from a pressure that the mouth allows. Raises ArithmeticError should
        none be found below four waves in the whole length (a flare of many thousands to one).
        """
        bare = replace(
            self,
            sections=tuple(replace(section, fill=None) for section in self.sections),
            positions=(),
            lossy_walls=False,
        )
        whole = self.length + (0.0 if self.port is None else self.port.length)
        low, high = 0.0, 4 * air.speed_of_sound / whole
        for points in (1600, 400, 400, 400, 400):
            frequency = np.linspace(low, high, points + 1)[1:]
            crossing = np.flatnonzero(bare._closed_end_balance(2 * np.pi * frequency, air) <= 0)
            if not len(crossing):
                raise ArithmeticError("line: no resonance found")
            high = float(frequency[crossing[0]])
            low = high - float(frequency[1] - frequency[0])
        return (low + high) / 2

    def _closed_end_balance(self, omega: RealArray, air: Air) -> RealArray:
        """The Wronskian at the closed end, phi = (1, 0), real for a lossless line: the flow psi has there."""
        tube = self._duct()
        body = tube.two_ports(omega, air)
        p, u = self._mouth(omega, air, reactance_only=True)[0]
        for i in reversed(range(len(tube.slices))):
            p, u = body.backward(i, p, u)
        return u.real

    def _duct(self) -> Duct:
        """The sections, cut where drivers sit."""
        places: list[float] = []
        for position in sorted(self.positions):
            if not places or position - places[-1] > _SAME_PLACE:
                places.append(position)
        pieces: list[Piece] = []
        start = 0.0
        for section in self.sections:
            stop = start + section.length
            inner = [(x - start) / section.length for x in places if start + _SAME_PLACE < x < stop - _SAME_PLACE]
            pieces += [section.piece.part(a, b) for a, b in pairwise([0.0, *inner, 1.0])]
            start = stop
        return Duct(tuple(pieces), self.lossy_walls)

    def _mouth(
        self, omega: RealArray, air: Air, reactance_only: bool = False
    ) -> tuple[tuple[ComplexArray, ComplexArray], RealArray]:
        """psi at the end of the sections for one unit of flow outside, times e^-a; and that a, (F,) in nepers."""
        ones = np.ones(len(omega), dtype=complex)
        if self.port is None:
            load = pipe_end_impedance(omega, self.sections[-1].piece.end_area, self.end, air)
            return (1j * load.imag if reactance_only else load, ones), np.zeros(len(omega))
        port, count = self.port, self.port.count
        outer = pipe_end_impedance(omega, port.area, port.end, air) / count
        inner = 1j * pipe_end_impedance(omega, port.area, port.inner_end, air).imag / count
        piece = Piece(port.length, port.total_area, port.total_area, "conical", count=count)
        duct = Duct((piece,), self.lossy_walls).two_ports(omega, air)
        p, u = duct.backward(0, 1j * outer.imag if reactance_only else outer, ones)
        return (p + inner * u, u), duct.attenuation[:, 0]

    def load(self, omega: RealArray, air: Air, drivers: Sequence[Driver]) -> AcousticLoad:
        """The acoustic load on the N `drivers` at `omega` (F,) in rad/s; one opening, the mouth.

        Raises ValueError unless there is a position for each driver.
        """
        if len(drivers) != len(self.positions):
            raise ValueError(f"line: {len(self.positions)} positions for {len(drivers)} drivers")
        tube = self._duct()
        ports = tube.two_ports(omega, air)
        boundary = np.concatenate([[0.0], np.cumsum([piece.length for piece in tube.slices])])
        spots = [int(np.abs(boundary - position).argmin()) for position in self.positions]
        count = len(tube.slices)
        zero, one = np.zeros(len(omega), dtype=complex), np.ones(len(omega), dtype=complex)

        phi = {0: (one, zero)}
        state = phi[0]
        for i in range(max(spots)):
            phi[i + 1] = state = ports.forward(i, *state)
        state, beyond = self._mouth(omega, air)
        psi = {count: state}
        for i in reversed(range(min(spots), count)):
            psi[i] = state = ports.backward(i, *state)

        # phi and psi come without e^a of their way; decay[i] is the way from the closed end to boundary i
        decay = np.concatenate([np.zeros((len(omega), 1)), np.cumsum(ports.attenuation, axis=1)], axis=1)
        last = max(spots)
        way = np.stack([decay[:, last] - decay[:, spot] for spot in spots], axis=1)  # (F, N) to the last driver
        wronskian = phi[last][0] * psi[last][1] - psi[last][0] * phi[last][1]
        phi_p = np.stack([phi[spot][0] for spot in spots], axis=1)
        psi_p = np.stack([psi[spot][0] for spot in spots], axis=1)
        traceable = way.max(axis=1) <= _TRACEABLE
        gather = phi_p * np.exp(-way)
        spread = np.where(traceable[:, None], psi_p * np.exp(np.where(traceable[:, None], way, 0.0)), 0.0)
        return AcousticLoad(
            direct=_direct(ports, spots, traceable, phi_p, psi_p, way, wronskian),
            spread=spread,
            gather=gather,
            admittance=wronskian,
            opening_flow=np.exp(decay[:, last] - decay[:, count] - beyond)[:, None].astype(complex),
            leak_flow=zero,
        )


def _direct(
    ports: TwoPorts,
    spots: Sequence[int],
    traceable: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    phi_p: ComplexArray,
    psi_p: ComplexArray,
    way: RealArray,
    wronskian: ComplexArray,
) -> ComplexArray:
    """The part of Za that does not pass through the one amplitude of psi, (F, N, N).

    psi alone says what a driver does at places nearer to the mouth than itself. At a place nearer to the closed end
    the difference (phi_m psi_n - psi_m phi_n)/W is the way of an impulse of flow between the two, which has no poles.
    Followed against its decay it would drown in rounding, so between drivers with much loss between them the whole
    impedance phi(x<) psi(x>)/W stands here instead; with such loss it has no poles either.
    """
    n = len(spots)
    direct = np.zeros((len(wronskian), n, n), dtype=complex)
    for near in range(n):  # the driver nearer to the closed end
        p, u = np.zeros(len(wronskian), dtype=complex), np.ones(len(wronskian), dtype=complex)
        grown = np.zeros(len(wronskian))
        for i in range(spots[near], max(spots)):
            p, u = ports.forward(i, p, u)
            grown = grown + ports.attenuation[:, i]
            for far in range(n):
                if spots[far] == i + 1:
                    direct[:, near, far] = np.where(traceable, p * np.exp(np.where(traceable, grown, 0.0)), 0.0)
    lossy = ~traceable
    if lossy.any():
        for m in range(n):
            for k in range(n):
                near, far = (m, k) if spots[m] <= spots[k] else (k, m)
                fade = np.exp(way[lossy, far] - way[lossy, near])
                direct[lossy, m, k] = phi_p[lossy, near] * psi_p[lossy, far] * fade / wronskian[lossy]
    return direct
