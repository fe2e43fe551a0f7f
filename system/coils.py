"""The voice coils of a build as what heats them: how much power they draw, the less the warmer they get.

A coil that is warmer is a resistance more in its driver's lead. With I0 the currents that flow as the kit has the coils
and Y what flows per volt put into each lead, resistances D added to the leads leave the currents

    I = I0 - Y D I = (1 + Y D)^-1 I0

so the crossover is solved once. Only what arises in a coil's own resistance heats it; what its inductance model loses
warms the pole piece. What temperatures come of it is the business of `system.heat`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from enclosures.driver import WINDINGS
from filters.ports import port_currents
from system import programme, summary
from system.build import Build
from system.heat import STRAIGHT, ThermalPath, WarmCoil, Watts
from system.kit import ROOM_TEMPERATURE, Programme
from system.resolve_heat import COIL_SHARE, USUAL_HIGHEST, USUAL_TIMES
from system.transfer import Transfer

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

ROUNDS, CLOSE = 200, 1e-3  # K: far below what a thermal resistance is known to

RATED_ON = Programme(spectrum="iec")  # the signal that power ratings are made with (IEC 60268-5, from memory)


@dataclass(frozen=True, slots=True)
class Endurance:
    """What a coil stands: its way to the room, and the `highest` temperature (K) it is to reach."""

    path: ThermalPath
    highest: float


def endurances(model: Build, acoustics: Transfer) -> dict[str, Endurance]:
    """Of every driver whose heat can be told, by name in hookup order; `acoustics` are to cover the audio band.

    A power that is a coil's was made a thermal resistance when the kit was read. One of a system with its high-pass
    is what the coil then got of it: W over the driver's rated impedance, through that high-pass, on the programme
    that ratings are made with. The power of a system without its high-pass tells nothing.
    """
    found = {}
    for i, (name, data) in enumerate(zip(model.names, model.data, strict=True)):
        if data.thermal is not None:
            spec = data.thermal
            path = ThermalPath(spec.coil_resistance, spec.coil_time, spec.magnet_resistance, spec.magnet_time)
            found[name] = Endurance(path, spec.highest)
        elif data.power is not None and data.power.high_pass is not None:
            own = acoustics.impedance[:, i, i] - model.added_resistances[i]
            lowest = float(np.abs(own).min())
            rated = summary.rated_impedance(lowest) or lowest / 0.8
            shares = programme.power_shares(RATED_ON, acoustics.frequency)
            behind = programme.high_pass_gain(data.power.high_pass, acoustics.frequency) / np.abs(own)
            watts = data.power.rated * rated * data.re * float(shares @ behind**2)
            total = (USUAL_HIGHEST - ROOM_TEMPERATURE) / watts
            times = USUAL_TIMES[data.role]
            path = ThermalPath(COIL_SHARE * total, times[0], (1 - COIL_SHARE) * total, times[1])
            found[name] = Endurance(path, USUAL_HIGHEST)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Coils:
    """The D voice coils whose heat can be told, at F frequencies, on one volt of the source.

    The coils of other drivers stay as warm as the kit has them.
    """

    coils: tuple[WarmCoil, ...]
    places: tuple[int, ...]  # (D,) in the hookup of N drivers
    highest: Floats  # (D,) K
    present: Floats  # (D,) ohm, as the kit has them
    current: Complexes  # (N, F) A
    admittance: Complexes  # (N, D, F) S
    ambient: float  # K

    @classmethod
    def of(cls, model: Build, acoustics: Transfer, known: Mapping[str, Endurance]) -> Coils:
        """Raises KitError where the circuit has no solution."""
        with model.kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
            omega = 2 * np.pi * acoustics.frequency
            current, admittance = port_currents(model.network, omega, acoustics.impedance, model.source_resistance)
        places = [model.names.index(name) for name in known]
        data = [model.data[i] for i in places]
        return cls(
            tuple(WarmCoil(d.re, d.winding, each.path) for d, each in zip(data, known.values(), strict=True)),
            tuple(places),
            np.array([each.highest for each in known.values()]),
            np.array(model.coil_resistances)[places],
            np.ascontiguousarray(current.T),
            np.ascontiguousarray(np.moveaxis(admittance[:, :, places], 0, -1)),
            model.kit.assembly.ambient,
        )

    def sine(self, resistance: Floats) -> Floats:
        """Power (..., D, F) in W in coils of `resistance` (..., D, F) or (..., D, 1) in ohm, sine by sine."""
        return np.asarray(resistance * np.abs(self._own_currents(resistance)) ** 2)

    def currents(self, resistance: Floats) -> Complexes:
        """Of all drivers (F, N), A, with the coils at a resistance (D,) in ohm."""
        lost = (resistance - self.present)[:, None] * self._own_currents(resistance[:, None])
        return np.asarray(self.current.T - np.einsum("ndf,df->fn", self.admittance, lost))

    def _own_currents(self, resistance: Floats) -> Complexes:
        """Of the D drivers (..., D, F), A, with their coils at a resistance (..., D, F) or (..., D, 1) in ohm."""
        added = resistance - self.present[:, None]
        system = [[y * added[..., j, :] for j, y in enumerate(self.admittance[n])] for n in self.places]
        for i, row in enumerate(system):
            row[i] = row[i] + 1
        return np.stack(_eliminated(system, [self.current[n] for n in self.places]), axis=-2)

    def programme(self, weights: Floats) -> Watts:
        """Power (..., D) in W in coils of a resistance (..., D) in ohm on one volt rms of a signal.

        Its mean square at the amplifier is shared out as `weights` (F,).
        """
        return lambda resistance: np.asarray(self.sine(resistance[..., None]) @ weights)

    def sine_limits(self) -> Floats:
        """Volts (D, F) rms of a sine that hold a coil at its highest temperature in the end; inf where none do.

        The others are as hot as that sine makes them, but at most 600 K: beyond, they have burnt.
        """
        return self._limits(self.sine, self.current.shape[1:])

    def programme_limits(self, weights: Floats) -> Floats:
        """The same (D,) on a signal whose mean square at the amplifier is shared out as `weights` (F,)."""
        return self._limits(self.programme(weights), ())

    def _limits(self, watts: Watts, shape: tuple[int, ...]) -> Floats:
        """For all coils at once: the first axis is whose limit it is, the second the coils, `shape` the rest."""
        count = len(self.coils)
        each = np.arange(count)

        def column(values: Sequence[float] | Floats) -> Floats:
            return np.reshape(values, (count, *(1 for _ in shape)))

        highest, to_room = column(self.highest), column([coil.path.resistance for coil in self.coils])
        needed = np.maximum(highest - self.ambient, 0.0) / to_room
        cold, slope = column([coil.re for coil in self.coils]), column([WINDINGS[c.winding] for c in self.coils])
        warm = np.full((count, count, *shape), self.ambient)
        warm[each, each] = highest
        # Closes in by a third or so a round: a coil's power follows its resistance, and that the power, by less.
        for _ in range(ROUNDS):
            power = watts(cold * (1 + slope * (warm - ROOM_TEMPERATURE)))
            own = power[each, each]
            squared = np.divide(needed, own, out=np.zeros_like(own), where=own > 0)
            after = np.minimum(self.ambient + to_room * power * squared[:, None], STRAIGHT[1])
            after[each, each] = highest
            apart = float(np.max(np.abs(after - warm), initial=0.0))
            warm = after
            if apart < CLOSE:
                return np.where(own > 0, np.sqrt(squared), np.inf)
        raise ValueError("the temperatures of the voice coils do not settle")


def _eliminated(system: list[list[Complexes]], right: list[Complexes]) -> list[Complexes]:
    """The solution of a few equations for arrays of coefficients at once (Gauss), `system` row by row.

    Without exchanging rows, which 1 + Y D never needs: it is (1/D + Y) D, and all that is left of a passive network's
    1/D + Y while it is eliminated has a positive real part.
    """
    rows = [[*row, value] for row, value in zip(system, right, strict=True)]
    count = len(rows)
    for k in range(count):
        for i in range(k + 1, count):
            factor = rows[i][k] / rows[k][k]
            for j in range(k + 1, count + 1):
                rows[i][j] = rows[i][j] - factor * rows[k][j]
    found: list[Complexes] = []
    for k in reversed(range(count)):
        left = rows[k][count]
        for j, value in zip(reversed(range(k + 1, count)), found, strict=True):
            left = left - rows[k][j] * value
        found.append(left / rows[k][k])
    return found[::-1]
