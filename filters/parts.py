"""Resistor, capacitor and coil with their real losses.

Every part knows its own impedance, its admittance and the resistance in which its heat arises, at any angular
frequency omega (rad/s), shape (F,). A value may be one number or an array over builds (B,); results are then (F,) or
(B, F). The heat of a part is |I|^2 times `loss_resistance`, never Re(V I*): coupled coils pass real power to each
other. At 0 Hz a capacitor that does not leak has no admittance and an infinite impedance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]
Quantity = float | Floats  # one number, or an array over builds (B,)


class Part(Protocol):
    """What the network needs to know of a part.

    `by_admittance` says which of two forms the network's equations use: a part that may be a plain wire (zero ohm)
    is written by its impedance, one that may be an open circuit by its admittance.
    """

    by_admittance: ClassVar[bool]

    def impedance(self, omega: Floats) -> Complexes:
        """Impedance in ohm, (F,) or (B, F)."""

    def admittance(self, omega: Floats) -> Complexes:
        """Admittance in siemens, (F,) or (B, F)."""

    def loss_resistance(self, omega: Floats) -> Floats:
        """The resistance in ohm in which the part's heat arises, the real part of its impedance, (F,) or (B, F)."""


@dataclass(frozen=True, slots=True, eq=False)
class Resistor:
    """A `resistance` in ohm; zero is legal, a wire whose current is still known."""

    by_admittance: ClassVar[bool] = False
    resistance: Quantity

    def __post_init__(self) -> None:
        """Raise ValueError for a negative resistance."""
        _at_least_zero("resistor", "resistance", self.resistance)

    def impedance(self, omega: Floats) -> Complexes:
        return self.loss_resistance(omega).astype(np.complex128)

    def admittance(self, omega: Floats) -> Complexes:
        return _reciprocal(self.impedance(omega))

    def loss_resistance(self, omega: Floats) -> Floats:
        return _over_builds(self.resistance) * np.ones_like(omega)


@dataclass(frozen=True, slots=True, eq=False)
class Capacitor:
    """A `capacitance` (F) with its losses.

    `series_resistance` (ohm) is constant. A dissipation factor is the tangent of the loss angle and taken as constant
    (the tangent as IEC 60384-1 defines it), so that its series resistance tan d/(omega C) falls as 1/f;
    `dissipation_at` (Hz), where it was measured, is required as a record and has no further effect. Both may be
    given, and add. `leakage_resistance` (ohm) lies across the capacitance, inside the series resistances.
    """

    by_admittance: ClassVar[bool] = True
    capacitance: Quantity
    series_resistance: Quantity = 0.0
    dissipation_factor: Quantity | None = None
    dissipation_at: float | None = None
    leakage_resistance: Quantity | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a value out of range, or a dissipation factor without its frequency."""
        _above_zero("capacitor", "capacitance", self.capacitance)
        _at_least_zero("capacitor", "series resistance", self.series_resistance)
        if self.dissipation_factor is not None:
            _at_least_zero("capacitor", "dissipation factor", self.dissipation_factor)
            if self.dissipation_at is None:
                raise ValueError("capacitor: a dissipation factor needs the frequency it was measured at")
        if self.leakage_resistance is not None:
            _above_zero("capacitor", "leakage resistance", self.leakage_resistance)

    def impedance(self, omega: Floats) -> Complexes:
        return _reciprocal(self.admittance(omega))

    def admittance(self, omega: Floats) -> Complexes:
        """Y = Yc/(1 + R Yc) with Yc = G + j omega C and R the series resistances together."""
        inner = self._leakage + 1j * self._susceptance(omega)
        series = self._series(omega)
        blocked = np.isinf(series)  # a constant loss angle at 0 Hz
        if not blocked.any():
            return np.asarray(inner / (1 + series * inner))
        return np.asarray(np.where(blocked, 0, inner / (1 + np.where(blocked, 0, series) * inner)))

    def loss_resistance(self, omega: Floats) -> Floats:
        """Rs + tan d/(omega C) + G/(G^2 + (omega C)^2), the last being the heat of the leakage."""
        leakage = self._leakage
        square = leakage**2 + self._susceptance(omega) ** 2
        return self._series(omega) + np.divide(leakage, square, out=np.zeros_like(square), where=square > 0)

    def _susceptance(self, omega: Floats) -> Floats:
        return _over_builds(self.capacitance) * omega

    @property
    def _leakage(self) -> Floats:
        """Conductance G across the capacitance, (1,) or (B, 1)."""
        return np.zeros(1) if self.leakage_resistance is None else 1 / _over_builds(self.leakage_resistance)

    def _series(self, omega: Floats) -> Floats:
        """Rs + tan d/(omega C), (F,) or (B, F) or with one for all F; infinite at 0 Hz where there is a loss angle."""
        if self.dissipation_factor is None:
            return _over_builds(self.series_resistance)
        susceptance = self._susceptance(omega)
        tangent = _over_builds(self.dissipation_factor) + 0 * susceptance
        of_angle = np.divide(tangent, susceptance, out=np.where(tangent > 0, np.inf, 0.0), where=susceptance > 0)
        return _over_builds(self.series_resistance) + of_angle


@dataclass(frozen=True, slots=True, eq=False)
class Coil:
    """An `inductance` (H) in series with its dc `resistance` (ohm, zero is legal)."""

    by_admittance: ClassVar[bool] = False
    inductance: Quantity
    resistance: Quantity = 0.0

    def __post_init__(self) -> None:
        """Raise ValueError for an inductance not above zero or a negative resistance."""
        _above_zero("coil", "inductance", self.inductance)
        _at_least_zero("coil", "resistance", self.resistance)

    def impedance(self, omega: Floats) -> Complexes:
        return _over_builds(self.resistance) + 1j * (_over_builds(self.inductance) * omega)

    def admittance(self, omega: Floats) -> Complexes:
        return _reciprocal(self.impedance(omega))

    def loss_resistance(self, omega: Floats) -> Floats:
        return _over_builds(self.resistance) * np.ones_like(omega)


def conducts(current: Complexes, volts: ArrayLike = 1.0) -> NDArray[np.bool_]:
    """Whether a current is more than the rounding of its equations: a teraohm insulates."""
    return np.asarray(np.abs(current) > 1e-12 * np.abs(volts))


def _over_builds(value: Quantity) -> Floats:
    """A number or (B,) as (1,) or (B, 1), ready to meet a frequency axis."""
    return np.asarray(value, dtype=np.float64)[..., None]


def _reciprocal(value: Complexes) -> Complexes:
    """1/value, infinite where it is zero."""
    return np.divide(1, value, out=np.full(value.shape, np.inf, dtype=np.complex128), where=value != 0)


def _above_zero(kind: str, name: str, value: Quantity) -> None:
    if not np.all(np.isfinite(value)) or np.any(np.asarray(value) <= 0):
        raise ValueError(f"{kind}: the {name} must be above zero and finite, not {value!r}")


def _at_least_zero(kind: str, name: str, value: Quantity) -> None:
    if not np.all(np.isfinite(value)) or np.any(np.asarray(value) < 0):
        raise ValueError(f"{kind}: the {name} must not be negative and must be finite, not {value!r}")
