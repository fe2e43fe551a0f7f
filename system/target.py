"""The course that a kit's target asks of the level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from system.findings import usage_error
from system.kit import Target

Floats = NDArray[np.float64]


def asked_level(target: Target, frequency: Floats) -> Floats:
    """dB (F,): straight over log frequency, or the table's own levels joined so. Raises KitError beyond the table."""
    if target.table is None:
        return np.asarray(target.tilt * np.log2(frequency / frequency[0]))
    table = target.table
    first, last = table.frequency[0], table.frequency[-1]
    if first > frequency[0] * (1 + 1e-9) or last < frequency[-1] * (1 - 1e-9):
        raise usage_error(
            f"the target {table.file} reaches from {first:g} Hz to {last:g} Hz",
            f"it covers the band that counts, {frequency[0]:g} Hz to {frequency[-1]:g} Hz (revalue.from, revalue.to)",
        )
    return np.interp(np.log(frequency), np.log(table.frequency), table.magnitude)
