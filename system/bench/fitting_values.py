"""What a fit of impedance sweeps gives: the figures with their intervals, how well each coil model does, refusals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from system.bench.sweeps import Sweep

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating[Any, Any]]


class Refused(ValueError):  # noqa: N818 - the data cannot carry what is asked; no error of ours
    """The sweep cannot carry the figures; `why` says what to measure otherwise."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(why)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure in SI units and its 95 % interval; `low` may be 0 and `high` inf where the sweep does not bound it."""

    value: float  # SI units
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ModelScore:
    """How one voice-coil model (its name in kit files) does; `score` is a BIC, lower is better, the best one has 0."""

    name: str
    residual_rms: float  # of modelled over measured, less one
    score: float
    supported: bool
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The driver that fits a sweep best.

    `figures`: re, fs, qms, qes, qts, the coil's parameters by their keys in kit files, and creep where it was asked.
    `impedance` (F,) complex is the modelled curve and `residual` (F,) modelled over measured minus one, complex where
    the phase was used, else real, at every point of the sweep as it was given (a phase that was turned round: turned).
    `kept` (F,) is false where a point was left out as an outlier. `residual_rms` is over the points kept.
    `covariance` (P, P) is that of the natural logarithms of `names` (creep: of itself), inflated as the intervals are.
    `inflation` is how many times wider the intervals are than white residuals would make them, `freedom` the degrees
    of freedom left.
    """

    sweep: Sweep
    coil_model: str
    creep: bool
    figures: Mapping[str, Estimate]
    impedance: Complexes
    residual: Floats | Complexes
    residual_rms: float
    kept: NDArray[np.bool_]
    models: tuple[ModelScore, ...]
    covariance: Floats
    names: tuple[str, ...]
    inflation: float
    freedom: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Full:
    """The figures of two sweeps: those of `first`, the driver in free air, with bl, mms, cms, rms, vas and sd.

    `method` is added_mass or known_box. Without sd: no vas from an added mass, nothing but vas from a known box.
    """

    first: Fit
    second: Fit
    figures: Mapping[str, Estimate]
    method: str
    notes: tuple[str, ...]
