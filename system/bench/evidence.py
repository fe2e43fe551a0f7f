"""What readings of an ohmmeter say of each mistake."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from system.bench.faults import Fault
from system.bench.meter import Reading, Window, windows_with
from system.kit import Kit, Variant

Floats = NDArray[np.float64]

MISREAD = 0.01  # of readings that are of other terminals, or of a probe that slipped; common practice, no source
READABLE = math.log(1e6)  # a misread ohm lies anywhere over so many powers of e
LEAST = 0.05  # ohm, the finest standard deviation, and what a shorted meter shows


def readings_likelihood(kit: Kit, variant: Variant, faults: Sequence[Fault], readings: Sequence[Reading]) -> Floats:
    """ln p of all `readings` under each of the faults, (H,); zeros without readings.

    Raises ValueError for a reading between terminals that the variant does not have.
    """
    if not readings:
        return np.zeros(len(faults))
    return np.array([_of_board(kit, variant, fault, readings) for fault in faults])


def _of_board(kit: Kit, variant: Variant, fault: Fault, readings: Sequence[Reading]) -> float:
    known = {_key(each): each for each in windows_with(kit, variant, fault)}
    total = 0.0
    for reading in readings:
        if _key(reading) not in known:
            raise ValueError(f"no terminals {' and '.join(reading.between)} with the drivers {reading.drivers}")
        total += _log_likelihood(known[_key(reading)], reading.ohm)
    return total


def _key(of: Reading | Window) -> tuple[frozenset[str], str]:
    return frozenset(of.between), of.drivers


def _log_likelihood(window: Window, ohm: float) -> float:
    """A window's bounds are two standard deviations; an open circuit and a number are told apart all but surely."""
    stops = window.reads == "rises_to_open"
    if math.isinf(ohm):
        return math.log(1 - MISREAD if stops else MISREAD)
    misread = MISREAD / (READABLE * (ohm + LEAST))  # a density over ohm
    if stops:
        return math.log((1 - MISREAD if window.holds(ohm) else 1.0) * misread)
    sd = max(LEAST, (window.high - window.low) / 4)
    z = (ohm - window.nominal) / sd
    return math.log((1 - MISREAD) * math.exp(-z * z / 2) / (sd * math.sqrt(2 * math.pi)) + misread)
