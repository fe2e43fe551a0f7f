"""What flows in a network's loads per volt of the source, and per volt put into the lead of each of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from filters.network import Equations, Network
from filters.parts import Complexes, Floats


def port_currents(
    network: Network, omega: Floats, load_impedance: Complexes, source_resistance: ArrayLike = 0.0
) -> tuple[Complexes, Complexes]:
    """Currents (F, N) in A of the loads on one volt of the source, and admittance (F, N, N) in S between their leads.

    The second is the current in each load (rows) for one volt in series with each (columns), directed as its current.
    All of it comes of one factorisation; the arguments are those of `filters.network.solve` for a single build.
    Raises NetworkError as that does.
    """
    equations = Equations.of(network, omega, load_impedance, source_resistance)
    count = len(network.loads)
    drives = np.zeros((equations.size, 1 + count))
    drives[equations.source_row, 0] = 1.0
    loads = equations.load_row + np.arange(count)
    drives[loads, 1 + np.arange(count)] = -1.0  # V+ - V- - Z I = -E: the load's own volts are E more
    found = equations.solve(drives)[:, loads]
    return found[..., 0], found[..., 1:]
