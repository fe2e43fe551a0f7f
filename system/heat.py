"""How warm a voice coil gets and what that costs in level; how warm a resistor's surface gets.

A coil passes its heat to the magnet and the magnet to the room: two stages, two time constants (Henricksen, J. Audio
Eng. Soc. 35(10), 1987; Button, J. Audio Eng. Soc. 40(1/2), 1992; both from memory). A hot coil has more resistance and
draws another power, so steady states are found together with it, for all coils of a circuit at once. Temperatures in K.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from enclosures.driver import heated_resistance
from system.kit import ROOM_TEMPERATURE

Floats = NDArray[np.float64]
Watts = Callable[[Floats], Floats]  # power (..., D) in the D coils, W, for their resistances (..., D) or (D,) in ohm

STRAIGHT = (200.0, 600.0)  # K, where `heated_resistance` holds; a coil beyond is held there, for it burns
MOST_STEPS = 500
CLOSE = 1e-9  # K
COURSE_STEPS = 400
# The rise at full rating is read off makers' charts, which scatter by this much; common practice, no source.
CHART_SPREAD = 30.0  # K


@dataclass(frozen=True, slots=True)
class ThermalPath:
    """A voice coil's way to the room as two stages in series (Foster's form), resistances in K/W, times in s."""

    coil_resistance: float
    coil_time: float
    magnet_resistance: float
    magnet_time: float

    def __post_init__(self) -> None:
        """Raise ValueError for what is not above zero."""
        _require_positive(
            "thermal path",
            coil_resistance=self.coil_resistance,
            coil_time=self.coil_time,
            magnet_resistance=self.magnet_resistance,
            magnet_time=self.magnet_time,
        )

    @property
    def resistance(self) -> float:
        """From the coil to the room, K/W."""
        return self.coil_resistance + self.magnet_resistance

    def steady_temperature(self, power: float, ambient: float = ROOM_TEMPERATURE) -> float:
        """Where the coil settles with `power` (W) in it, K."""
        return ambient + self.resistance * power

    def power_at(self, temperature: float, ambient: float = ROOM_TEMPERATURE) -> float:
        """The power (W) that holds the coil at `temperature` (K)."""
        return (temperature - ambient) / self.resistance

    def rise(self, time: Floats, power: float) -> Floats:
        """Of the coil over the room (...,), K, at `time` (...,) s after `power` (W) came on, never to change."""
        total = np.zeros_like(time)
        for resistance, constant in self._stages:
            total += resistance * -np.expm1(-time / constant)  # sum of R_i (1 - e^(-t/tau_i))
        return np.asarray(power * total)

    def after(self, rises: Floats, power: float, seconds: float) -> Floats:
        """The rises (2,) of coil over magnet and magnet over room, K, `seconds` of steady `power` (W) later: exact."""
        resistance, constant = np.array(self._stages).T
        return np.asarray(rises - (resistance * power - rises) * np.expm1(-seconds / constant))

    @property
    def _stages(self) -> tuple[tuple[float, float], tuple[float, float]]:
        return (self.coil_resistance, self.coil_time), (self.magnet_resistance, self.magnet_time)


@dataclass(frozen=True, slots=True)
class WarmCoil:
    """A voice coil of `re` (ohm at 20 degC), what it is wound of, and its way to the room."""

    re: float
    winding: str
    path: ThermalPath

    def resistance(self, temperature: Floats) -> Floats:
        """In ohm at `temperature` (...,) K: the straight line of `heated_resistance`, held beyond its ends."""
        ends = [heated_resistance(self.re, end, self.winding) for end in STRAIGHT]
        return np.asarray(np.interp(temperature, STRAIGHT, ends))


def settled(coils: Sequence[WarmCoil], watts: Watts, ambient: float = ROOM_TEMPERATURE) -> Floats:
    """Temperatures (..., D) at which the coils stay, each as hot as the power makes it that it then draws, K.

    `watts` are those of the drive in question. A coil that would pass 600 K has math.inf, and the others what they
    have with it held there: it has burnt. Raises ValueError where nothing settles, which a passive circuit always does.
    """
    # Step by step, T = ambient + R P(T). A per cent more resistance changes P by -1 to 1 per cent, since no eigenvalue
    # of 2 (Z + R)^-1 R - 1 exceeds 1 for a passive Z, and a per cent more rise the resistance by a dT/(1 + a dT) < 1.
    to_room = np.array([coil.path.resistance for coil in coils])
    temperature = np.full(len(coils), ambient)
    for _ in range(MOST_STEPS):
        before, temperature = temperature, ambient + to_room * watts(_resistances(coils, temperature))
        if np.allclose(temperature, before, rtol=1e-12, atol=CLOSE):
            return _unless_burnt(temperature)
    raise ValueError("the temperatures of the voice coils do not settle")


def course(coils: Sequence[WarmCoil], watts: Watts, times: Floats, ambient: float = ROOM_TEMPERATURE) -> Floats:
    """Temperatures (T, D) of coils that were at `ambient`, at `times` (T,) s, rising, after the signal came on, K.

    A step in which the power is taken as constant is exact; its power is the mean of those before and after it (a
    first step with the power before foretells it), on a grid of its own. A coil beyond 600 K has math.inf.
    """
    shortest = min(min(coil.path.coil_time, coil.path.magnet_time) for coil in coils)
    grid = np.geomspace(1e-3 * min(shortest, times[-1]), times[-1], COURSE_STEPS)
    grid = np.unique(np.concatenate([[0.0], grid[:-1], times]))
    rises = np.zeros((len(coils), 2))
    found = [rises]
    for seconds in np.diff(grid):
        power = _drawn(coils, watts, rises, ambient)
        ahead = _after(coils, rises, power, seconds)
        rises = _after(coils, rises, (power + _drawn(coils, watts, ahead, ambient)) / 2, seconds)
        found.append(rises)
    at = np.searchsorted(grid, times)
    return _unless_burnt(ambient + np.stack(found)[at].sum(axis=-1))


def _unless_burnt(temperature: Floats) -> Floats:
    return np.where(temperature > STRAIGHT[1], np.inf, temperature)


def _resistances(coils: Sequence[WarmCoil], temperature: Floats) -> Floats:
    return np.stack([coil.resistance(temperature[..., i]) for i, coil in enumerate(coils)], axis=-1)


def _drawn(coils: Sequence[WarmCoil], watts: Watts, rises: Floats, ambient: float) -> Floats:
    return watts(_resistances(coils, ambient + rises.sum(axis=-1)))


def _after(coils: Sequence[WarmCoil], rises: Floats, power: Floats, seconds: float) -> Floats:
    steps = zip(coils, rises, power, strict=True)
    return np.stack([coil.path.after(each, float(watt), seconds) for coil, each, watt in steps])


def loss_in_band(ratio: float) -> float:
    """Level (dB) that a coil of `ratio` times its cold resistance costs at constant volts: 20 log10(1 + a dT)."""
    return 20 * math.log10(ratio)


def surface_temperature(power: float, rated: float, rise_at_rating: float, ambient: float) -> float:
    """Of a resistor's body with `power` (W) of its `rated` (W) in it, K; `rise_at_rating` (K) is that at full rating.

    Taken as a straight line; makers' charts bend a little below it at high power. Raises ValueError for a rating or
    rise that is not above zero.
    """
    _require_positive("resistor", rated=rated, rise_at_rating=rise_at_rating)
    return ambient + rise_at_rating * power / rated


def share_below(highest: float, rise_at_rating: float, ambient: float) -> float:
    """The share of its rating, 0 to 1, at which a resistor's body stays below `highest` (K), say what a glue bears.

    Raises ValueError for a rise that is not above zero.
    """
    _require_positive("resistor", rise_at_rating=rise_at_rating)
    return min(1.0, max(0.0, (highest - ambient) / rise_at_rating))


def _require_positive(owner: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{owner}: {name} must be above zero, not {value!r}")
