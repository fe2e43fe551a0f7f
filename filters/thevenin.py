"""What some of a network's loads see of it: a linear source, for loads that are not linear themselves.

By Thevenin's theorem the terminals of D loads see open-circuit volts E (D,) and an impedance Z (D, D): v = E - Z i. But
with two drivers in series no current flows until both are there, and Z is infinite; so it is behind a capacitor at
0 Hz. What is always finite is the same source seen through a resistance R at each pair of terminals:

    i = current + admittance (R i - v),        admittance = (Z + R)^-1,  current = admittance E

`current` flows where each of the loads is a resistance R; `admittance` is what flows per volt inserted beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from filters.network import Network, NetworkError
from filters.parts import Complexes, Floats
from filters.ports import port_currents

REFERENCE = 8.0  # ohm; the size of a driver's impedance, so that nothing is lost in the digits. Any other would do


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What D loads see through a `resistance` R (ohm) at each: i = current + admittance (R i - v), rms phasors."""

    current: Complexes  # (F, D) A
    admittance: Complexes  # (F, D, D) S, symmetric: the network is reciprocal
    resistance: float

    @property
    def impedance(self) -> Complexes:
        """Z (F, D, D) in ohm; LinAlgError, or sizes that mean infinity, where some terminals see an open circuit."""
        each = np.eye(self.current.shape[1])
        return np.asarray(np.linalg.inv(self.admittance) - self.resistance * each)

    @property
    def volts(self) -> Complexes:
        """Open-circuit volts E (F, D), under the same reserve as `impedance`."""
        return np.asarray(np.linalg.solve(self.admittance, self.current[..., None])[..., 0])


def thevenin(
    network: Network,
    omega: Floats,
    names: Sequence[str],
    rest_impedance: Complexes | None = None,
    source_resistance: float = 0.0,
    volts: ArrayLike = 1.0,
) -> Seen:
    """What the loads `names` see of `network` at `omega` (F,) rad/s, with the other loads kept linear.

    `rest_impedance` (F, N, N) in ohm is that of all N loads, as for `solve`; in it the D `names` may stand with
    anything, and where all loads are named it may be None. `volts` rms of the source, a number or (F,), behind
    `source_resistance` (ohm). D is in the order of `names`.

    All of it comes of one factorisation. Raises NetworkError as `solve` does, for a name that is no load or is given
    twice, and where a load that is kept linear has volts from the current of one that is not: those must be named
    together.
    """
    order = [load.name for load in network.loads]
    for name in names:
        if name not in order or list(names).count(name) > 1:
            raise NetworkError(f"network: {name} is not a load, or named twice", (name,))
    at = [order.index(name) for name in names]
    rest = [i for i in range(len(order)) if i not in at]
    omega = np.asarray(omega, dtype=np.float64)
    loads = np.zeros((omega.size, len(order), len(order)), dtype=np.complex128)
    if rest_impedance is not None:
        if np.shape(rest_impedance) != loads.shape:
            raise NetworkError(
                f"network: the loads need an impedance of shape {loads.shape}, not {np.shape(rest_impedance)}"
            )
        loads[:] = rest_impedance
    elif rest:
        raise NetworkError("network: the loads that stay linear need an impedance", tuple(order[i] for i in rest))
    joined = [(i, j) for i in rest for j in at if loads[:, i, j].any() or loads[:, j, i].any()]
    if joined:
        pair = (order[joined[0][0]], order[joined[0][1]])
        raise NetworkError(f"network: {pair[0]} has volts from the current of {pair[1]}; name both", pair)
    loads[:, at, :] = loads[:, :, at] = 0.0
    loads[:, at, at] = REFERENCE

    # one volt beside R at a pair of terminals is R i - v = 1 there, and 0 at the others: its currents are the column
    current, admittance = port_currents(network, omega, loads, source_resistance)
    drive = np.asarray(volts, dtype=np.complex128)[..., None]
    return Seen(current[:, at] * drive, admittance[:, at][:, :, at], REFERENCE)
