"""The impedance of a driver in free air with its derivatives: what a fit of a sweep stands on.

Unknowns are natural logarithms: of re, fs, qms, of the height rm = bl^2/rms of the motional impedance, then of the
coil's parameters; last the creep factor itself, where it is asked. With creep, qms is that of the peak: what creep
takes away at fs is in it (`enclosures.creep.Creep.loss`), as it must be for a driver that is computed without creep.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating[Any, Any]]

MOTION = ("re", "fs", "qms", "rm")
RE, FS, QMS, RM = range(4)
_LOSS = math.pi / 2 / math.log(10)  # Im log10(j)

# impedance (F,) and its derivative by the logarithm of each parameter (F, K), from s = jw (F,) and the parameters
CoilFunction = Callable[[Complexes, Floats], tuple[Complexes, Complexes]]


def _inductance(s: Complexes, values: Floats) -> tuple[Complexes, Complexes]:
    impedance = s * values[0]
    return impedance, impedance[:, None]


def _shunted_coil(s: Complexes, values: Floats) -> tuple[Complexes, Complexes]:
    series, coil, resistance = s * values[0], s * values[1], values[2]
    pair = coil * resistance / (coil + resistance)
    share = resistance / (coil + resistance)
    return series + pair, np.stack([series, pair * share, pair * (1 - share)], axis=1)


def _power_law(s: Complexes, values: Floats) -> tuple[Complexes, Complexes]:
    logs = np.log(s)
    impedance = values[0] * np.exp(values[1] * logs)
    return impedance, np.stack([impedance, impedance * values[1] * logs], axis=1)


def _semi_inductance(s: Complexes, values: Floats) -> tuple[Complexes, Complexes]:
    series, coil, semi = s * values[0], s * values[1], values[2] * np.sqrt(s)
    pair = coil * semi / (coil + semi)
    share = semi / (coil + semi)
    return series + pair, np.stack([series, pair * share, pair * (1 - share)], axis=1)


def _any_coil(s: Complexes, values: Floats) -> tuple[Complexes, Complexes]:
    series, coil, logs = s * values[0], s * values[1], np.log(s)
    other = values[2] * np.exp(values[3] * logs)
    pair = coil * other / (coil + other)
    share = other / (coil + other)
    by_other = pair * (1 - share)
    return series + pair, np.stack([series, pair * share, by_other, by_other * values[3] * logs], axis=1)


@dataclass(frozen=True, slots=True)
class CoilModel:
    """`words` for a builder, the `keys` of kit files, between which values each is looked for, and the model itself."""

    words: str
    keys: tuple[str, ...]
    ranges: tuple[tuple[float, float], ...]
    function: CoilFunction


_HENRIES = (1e-10, 1.0)
COILS: Mapping[str, CoilModel] = MappingProxyType(
    {
        "le": CoilModel("a plain coil", ("le",), (_HENRIES,), _inductance),
        "shunted_coil": CoilModel(
            "a coil and a shunted coil",
            ("series", "shunted", "shunt_resistance"),
            (_HENRIES, _HENRIES, (1e-3, 1e5)),
            _shunted_coil,
        ),
        "power_law": CoilModel("a power law", ("factor", "exponent"), ((1e-9, 100.0), (0.05, 1.0)), _power_law),
        "semi_inductance": CoilModel(
            "a coil and a semi-inductance",
            ("series", "shunted", "semi"),
            (_HENRIES, _HENRIES, (1e-6, 100.0)),
            _semi_inductance,
        ),
    }
)
# A coil, and a coil with a power law across it: all of the above are special cases. No kit file has it; it tells what
# a driver's motion is where none of those is its coil.
ANY_COIL = CoilModel(
    "any coil",
    ("series", "shunted", "factor", "exponent"),
    (_HENRIES, _HENRIES, (1e-9, 1e5), (0.02, 1.0)),
    _any_coil,
)
_MOTION_RANGES = ((0.05, 1e4), (0.1, 1e5), (0.02, 200.0), (1e-4, 1e5))
_CREEP_RANGE = (0.0, 0.35)  # 1 - lambda log10(f/fs) stays above zero up to 700 fs


@dataclass(frozen=True, slots=True)
class Model:
    """One driver model: a coil, with creep or without."""

    coil: CoilModel
    creep: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Of the unknowns, in their order."""
        return (*MOTION, *self.coil.keys, *(("creep",) if self.creep else ()))

    @property
    def bounds(self) -> tuple[Floats, Floats]:
        """Lower and upper ends of the unknowns, (P,) each."""
        ranges = np.log([*_MOTION_RANGES, *self.coil.ranges]).tolist()
        low, high = zip(*ranges, *((_CREEP_RANGE,) if self.creep else ()), strict=True)
        return np.array(low), np.array(high)

    def impedance(self, frequency: Floats, unknowns: Floats) -> tuple[Complexes, Complexes]:
        """Impedance (F,) in ohm at `frequency` (F,) in Hz and its derivatives by the unknowns (F, P)."""
        re, fs, q, rm = np.exp(unknowns[: len(MOTION)])
        s = 2j * math.pi * frequency
        blocked, by_coil = self.coil.function(s, np.exp(unknowns[len(MOTION) : len(MOTION) + len(self.coil.keys)]))
        x = frequency / fs
        factor = unknowns[-1] if self.creep else 0.0
        log_x = np.log10(x) + 1j * _LOSS
        give = 1 - factor * log_x  # C/C0, Knudsen & Jensen 1993
        spring = 1 / (x * give)
        part = factor * _LOSS
        loss = part / (1 + part**2)  # of creep, in 1/qms: rms alone makes the rest
        moving = q * (-loss + 1j * (x - spring))
        mechanical = 1 + moving  # Zm over its real part at fs
        motional = rm / mechanical  # Small, J. Audio Eng. Soc. 20(5), 1972: Res, Lces and Cmes in parallel
        slope = -motional / mechanical
        by_spring = spring / give / math.log(10)
        columns = [
            np.full(len(frequency), re, dtype=complex),
            slope * 1j * q * (-x - spring + factor * by_spring),
            slope * moving,
            motional,
            *by_coil.T,
        ]
        if self.creep:
            by_loss = _LOSS * (1 - part**2) / (1 + part**2) ** 2
            columns.append(slope * -q * (by_loss + 1j * log_x * by_spring * math.log(10)))
        return re + motional + blocked, np.stack(columns, axis=1)


def model(coil: str, creep: bool) -> Model:
    """By the name of its coil in kit files. Raises ValueError for one that is not known."""
    if coil not in COILS:
        raise ValueError(f"no voice-coil model is called {coil!r}; known are {', '.join(COILS)}")
    return Model(COILS[coil], creep)
