"""Vent tuning with the ports as masses: what `tuning` means and the port length it asks for. Plain floats, no numpy."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

from enclosures.air import Air
from enclosures.ends import pipe_end_mass


class PortShape(Protocol):
    """A port as a mass: `area` (m2) and `length` (m, None while the tuning is to decide it) of one of `count`.

    `clearance` (m) is the distance of the inner end to a wall that faces it, None without one.
    """

    @property
    def area(self) -> float: ...
    @property
    def length(self) -> float | None: ...
    @property
    def end(self) -> str: ...
    @property
    def inner_end(self) -> str: ...
    @property
    def count(self) -> int: ...
    @property
    def clearance(self) -> float | None: ...


def port_mass(port: PortShape, length: float, air: Air) -> float:
    """Low-frequency acoustic mass in kg/m4 of one of `port`, were it `length` (m) long, both ends included."""
    inner = pipe_end_mass(port.area, port.inner_end, air, port.clearance)
    return air.density * length / port.area + pipe_end_mass(port.area, port.end, air) + inner


def tuning_frequency(volume: float, ports: Sequence[PortShape], air: Air) -> float:
    """fb = 1/(2 pi sqrt(Cab M)) in Hz of `volume` (m3) with the masses of all `ports` in parallel.

    A port whose length is None counts as having no length, which gives the highest tuning it allows (infinite
    between ideal ends).
    """
    inverse_mass = _inverse_mass(ports, 0.0, air)
    return math.sqrt(inverse_mass * air.bulk_modulus / volume) / (2 * math.pi)


def _inverse_mass(ports: Sequence[PortShape], length: float, air: Air) -> float:
    """Sum of count/mass in m4/kg; `length` is for the ports that have none."""
    total = 0.0
    for port in ports:
        mass = port_mass(port, length if port.length is None else port.length, air)
        total += port.count / mass if mass > 0 else math.inf
    return total


def tuned_port_length(volume: float, tuning: float, ports: Sequence[PortShape], air: Air) -> float:
    """The one length in m that every port without a length must have to tune `volume` (m3) to `tuning` (Hz).

    Raises ValueError, saying which, where no port is without length, where those with a length alone tune as high or
    higher, or where even ports without any length tune lower.
    """
    for name, value in (("volume", volume), ("tuning", tuning)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above zero, not {value!r}")
    fixed = [port for port in ports if port.length is not None]
    sought = [port for port in ports if port.length is None]
    if not sought:
        raise ValueError("tuning is given, but so is the length of every port: no length is left for it to decide")
    wanted = (2 * math.pi * tuning) ** 2 * volume / air.bulk_modulus - _inverse_mass(fixed, 0.0, air)
    if wanted <= 0:
        alone = tuning_frequency(volume, fixed, air)
        raise ValueError(
            f"{tuning:g} Hz is too low: the ports whose length is given tune the box to {alone:.1f} Hz alone"
        )
    if wanted >= _inverse_mass(sought, 0.0, air):
        highest = tuning_frequency(volume, ports, air)
        raise ValueError(
            f"{tuning:g} Hz is too high: ports of this area without any length tune the box to {highest:.1f} Hz; "
            "they would have to be wider, or the box smaller"
        )
    # sum of count/(slope length + end) = wanted: falling and convex, so Newton's steps from the left stay on the left.
    # The length that one port alone would need is never too long.
    slopes = [air.density / port.area for port in sought]
    ends = [port_mass(port, 0.0, air) for port in sought]
    alone_lengths = [(p.count / wanted - end) / slope for p, slope, end in zip(sought, slopes, ends, strict=True)]
    length = max(0.0, *alone_lengths)
    for _ in range(100):
        steepness = sum(
            p.count * slope / (slope * length + end) ** 2 for p, slope, end in zip(sought, slopes, ends, strict=True)
        )
        step = (_inverse_mass(sought, length, air) - wanted) / steepness
        length += step
        if abs(step) <= 1e-14 * length:
            break
    return length
