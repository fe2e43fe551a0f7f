"""What a part may be asked to bear: the four kinds of rating, and the sizes they are sold in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system.kit import Part
from system.predict import PartPrediction

Floats = NDArray[np.float64]

# Sizes that parts are made in; common practice, no source. Nothing is sold by its saturation or current alone.
PREFERRED: Mapping[str, tuple[float, ...]] = {
    "voltage": (50, 63, 100, 160, 250, 400, 630),  # V
    "power": (2, 3, 5, 7, 10, 15, 20, 25),  # W
}


@dataclass(frozen=True, slots=True)
class Test:
    """One kind of rating: what the kit says of it, and what a part is asked for, as a quantity that grows with volts.

    `peak` says that the signal's peak counts, else its rms; a power grows with the `order` 2 of the volts.
    """

    rating: Callable[[Part], float | None]
    asked: Callable[[PartPrediction], Floats]  # (F,) rms on a sine; of a power, its root
    phrase: str  # what it is called where it limits, with {} for the part
    unit: str
    peak: bool
    order: int = 1


TESTS: Mapping[str, Test] = {
    "voltage": Test(lambda p: p.voltage_rating, lambda p: np.abs(p.volts), "volts across {}", "V", peak=True),
    "current": Test(lambda p: p.current_rating, lambda p: np.abs(p.current), "current in {}", "A", peak=False),
    "power": Test(lambda p: p.power_rating, lambda p: np.sqrt(p.watts), "heat in {}", "W", peak=False, order=2),
    "saturation": Test(lambda p: p.saturation_current, lambda p: np.abs(p.current), "saturation of {}", "A", peak=True),
}


def preferred(kind: str, needed: float) -> float | None:
    """The smallest size sold that is at least `needed`; None where nothing is, or where this is not sold by size."""
    return next((size for size in PREFERRED.get(kind, ()) if size >= needed), None)
