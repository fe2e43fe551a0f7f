"""The moving-coil driver: its parameters, what follows from them, and models of the voice coil's inductance.

mms includes the air load on both sides of the cone; no other load is added to the cone by the enclosures. A stated mms
that lacks some of it is completed with `enclosures.parameters`, a resistance at another temperature is that of
`heated_resistance`. Time convention e^{+jwt}.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray


class VoiceCoil(Protocol):
    """What the voice coil adds to its dc resistance."""

    def impedance(self, omega: RealArray) -> ComplexArray:
        """(F,) in ohm at `omega` (F,) in rad/s, without re."""
        ...


def _require_not_negative(owner: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{owner}: {name} must not be below zero, not {value!r}")


def _require_positive(owner: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{owner}: {name} must be above zero, not {value!r}")


# What one kelvin adds to a winding's resistance, over its resistance at 20 degC.
WINDINGS: Mapping[str, float] = MappingProxyType(
    {
        "copper": 0.00393,  # IEC 60028, annealed (from memory)
        "aluminium": 0.00403,  # IEC 60889, hard-drawn (from memory)
    }
)
_REFERENCE_TEMPERATURE = 293.15  # K, of both standards


def heated_resistance(re: float, temperature_k: float, winding: str) -> float:
    """`re` (ohm at 20 degC) of a `winding` of `WINDINGS` at `temperature_k`: re (1 + alpha (T - 293.15 K)).

    Raises ValueError for a resistance that is not above zero, an unknown winding, and outside 200 to 600 K, where the
    metals leave the straight line by some per cent.
    """
    _require_positive("driver", re=re)
    if winding not in WINDINGS:
        raise ValueError(f"driver: no winding is made of {winding!r}; known are {', '.join(WINDINGS)}")
    if not 200 <= temperature_k <= 600:
        raise ValueError(f"driver: the winding's temperature must lie between 200 and 600 K, not {temperature_k!r} K")
    return re * (1 + WINDINGS[winding] * (temperature_k - _REFERENCE_TEMPERATURE))


@dataclass(frozen=True, slots=True)
class Inductance:
    """A plain coil, jw le; le in H, zero for none."""

    le: float

    def __post_init__(self) -> None:
        """Raise ValueError below zero."""
        _require_not_negative("voice coil", le=self.le)

    def impedance(self, omega: RealArray) -> ComplexArray:
        """(F,) in ohm at `omega` (F,) in rad/s, without re."""
        return 1j * omega * self.le


@dataclass(frozen=True, slots=True)
class ShuntedCoil:
    """A coil `series` (H) in series with a coil `shunted` (H) that has `shunt_resistance` (ohm) across it."""

    series: float
    shunted: float
    shunt_resistance: float

    def __post_init__(self) -> None:
        """Raise ValueError for what is not above zero (`series` may be zero)."""
        _require_not_negative("voice coil", series=self.series)
        _require_positive("voice coil", shunted=self.shunted, shunt_resistance=self.shunt_resistance)

    def impedance(self, omega: RealArray) -> ComplexArray:
        """(F,) in ohm at `omega` (F,) in rad/s, without re."""
        s = 1j * omega
        return s * self.series + s * self.shunted * self.shunt_resistance / (self.shunt_resistance + s * self.shunted)


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Z = factor (jw)^exponent (Leach, J. Audio Eng. Soc. 50(6), 2002); 1 is a coil, 1/2 Vanderkooy's eddy currents."""

    factor: float
    exponent: float

    def __post_init__(self) -> None:
        """Raise ValueError unless factor >= 0 and exponent lies between 0 and 1."""
        _require_not_negative("voice coil", factor=self.factor, exponent=self.exponent)
        if self.exponent > 1:
            raise ValueError(f"voice coil: exponent must not be above 1, not {self.exponent!r}")

    def impedance(self, omega: RealArray) -> ComplexArray:
        """(F,) in ohm at `omega` (F,) in rad/s, without re."""
        angle = self.exponent * math.pi / 2  # of j^n
        return self.factor * omega**self.exponent * complex(math.cos(angle), math.sin(angle))


@dataclass(frozen=True, slots=True)
class SemiInductance:
    """A coil `series` (H), then a coil `shunted` (H) with semi sqrt(jw) across it, semi in ohm s^1/2.

    After Thorborg & Futtrup, J. Audio Eng. Soc. 59, 2011, without the stray resistance across the whole.
    """

    series: float
    shunted: float
    semi: float

    def __post_init__(self) -> None:
        """Raise ValueError for what is not above zero (`series` may be zero)."""
        _require_not_negative("voice coil", series=self.series)
        _require_positive("voice coil", shunted=self.shunted, semi=self.semi)

    def impedance(self, omega: RealArray) -> ComplexArray:
        """(F,) in ohm at `omega` (F,) in rad/s, without re."""
        root = np.sqrt(omega) * complex(math.sqrt(0.5), math.sqrt(0.5))  # sqrt(jw)
        s = 1j * omega
        # jw L || K sqrt(jw), with sqrt(jw) divided out of both
        return s * self.series + s * self.shunted * self.semi / (root * self.shunted + self.semi)


@dataclass(frozen=True, slots=True)
class Driver:
    """re (ohm), bl (T m), mms (kg), cms (m/N), rms (kg/s), sd (m2) and the voice coil's inductance model."""

    re: float
    bl: float
    mms: float
    cms: float
    rms: float
    sd: float
    coil: VoiceCoil = Inductance(0.0)

    def __post_init__(self) -> None:
        """Raise ValueError for anything not above zero."""
        _require_positive("driver", re=self.re, bl=self.bl, mms=self.mms, cms=self.cms, rms=self.rms, sd=self.sd)

    @property
    def fs(self) -> float:
        """Free-air resonance in Hz, 1/(2 pi sqrt(mms cms))."""
        return 1 / (2 * math.pi * math.sqrt(self.mms * self.cms))

    @property
    def qms(self) -> float:
        """Mechanical Q at fs, sqrt(mms/cms)/rms."""
        return math.sqrt(self.mms / self.cms) / self.rms

    @property
    def qes(self) -> float:
        """Electrical Q at fs, re sqrt(mms/cms)/bl^2."""
        return self.re * math.sqrt(self.mms / self.cms) / self.bl**2

    @property
    def qts(self) -> float:
        """Total Q at fs, driven from zero ohm."""
        return self.qms * self.qes / (self.qms + self.qes)

    @property
    def radius(self) -> float:
        """Of the circle of area sd, in m."""
        return math.sqrt(self.sd / math.pi)

    def vas(self, air: Air) -> float:
        """The volume of air as springy as the suspension, rho c^2 sd^2 cms, in m3."""
        return air.bulk_modulus * self.sd**2 * self.cms

    def efficiency(self, air: Air) -> float:
        """Reference efficiency into half space (Small, J. Audio Eng. Soc. 20(5), 1972), a plain ratio."""
        return air.density * self.bl**2 * self.sd**2 / (2 * math.pi * air.speed_of_sound * self.re * self.mms**2)

    def blocked_impedance(self, omega: RealArray) -> ComplexArray:
        """Electrical impedance (F,) in ohm with the cone held still, at `omega` (F,) in rad/s."""
        return self.re + self.coil.impedance(omega)

    def mechanical_impedance(self, omega: RealArray) -> ComplexArray:
        """rms + jw mms + 1/(jw cms), (F,) in kg/s at `omega` (F,) in rad/s."""
        return self.rms + 1j * (omega * self.mms - 1 / (omega * self.cms))

    def free_air_impedance(self, omega: RealArray) -> ComplexArray:
        """Electrical impedance (F,) in ohm in free air, Ze + bl^2/Zm, at `omega` (F,) in rad/s."""
        return self.blocked_impedance(omega) + self.bl**2 / self.mechanical_impedance(omega)
