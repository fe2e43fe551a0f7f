"""Fibrous filling as an equivalent fluid: complex density and bulk modulus of the air among fibres that stand still."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from enclosures.air import Air
from enclosures.arrays import ComplexArray, RealArray


@dataclass(frozen=True, slots=True, eq=False)
class Fluid:
    """density (kg/m3) and bulk modulus (Pa) of a fluid, complex, e^{+jwt}; (F,), or (F, n) for n places at once."""

    density: ComplexArray
    bulk_modulus: ComplexArray


@dataclass(frozen=True, slots=True)
class FillModel:
    """A published model: what it makes of the air, and between which frequency/flow resistivity it was fitted."""

    fluid: Callable[[RealArray, Air, float], Fluid]  # omega (F,) rad/s, air, flow resistivity Pa s/m2
    fitted: tuple[float, float] | None  # Hz per Pa s/m2 = m3/kg; None: no stated range


def _power_law(omega: RealArray, air: Air, flow_resistivity: float) -> Fluid:
    """Miki, J. Acoust. Soc. Jpn (E) 11, 1990, equations for Zc and k, with X = 1000 f/sigma."""
    x = 1000 * omega / (2 * np.pi) / flow_resistivity
    impedance = air.impedance * (1 + (5.50 - 8.43j) * x**-0.632)
    wave_number = omega / air.speed_of_sound * (1 + (7.81 - 11.41j) * x**-0.618)
    return Fluid(density=impedance * wave_number / omega, bulk_modulus=impedance * omega / wave_number)


def _rigid_fibre(omega: RealArray, air: Air, flow_resistivity: float) -> Fluid:
    """rho_e = rho + sigma/(jw), adiabatic: the low-frequency limit of the drag (Morse & Ingard 1968)."""
    density = air.density - 1j * flow_resistivity / omega
    return Fluid(density=density, bulk_modulus=np.full_like(density, air.bulk_modulus))


MODELS: Mapping[str, FillModel] = MappingProxyType(
    {
        "power_law": FillModel(_power_law, fitted=(0.01, 1.0)),  # Miki 1990, the range of Delany & Bazley's samples
        "rigid_fibre": FillModel(_rigid_fibre, fitted=None),
    }
)


@dataclass(frozen=True, slots=True)
class Fill:
    """Fibre of this `flow_resistivity` (Pa s/m2), read by a `model` of `MODELS`.

    The power law is used as printed at every frequency; `fitted_range` says where measurements back it. It stays
    passive a decade below that; under f/sigma = 0.00105 (10 Hz at 10 000 Pa s/m2) its printed coefficients give the
    bulk modulus a phase of up to 1.3 degrees of the wrong sign.
    """

    flow_resistivity: float
    model: str = "power_law"

    def __post_init__(self) -> None:
        """Raise ValueError for a flow resistivity that is not above zero or an unknown model."""
        if not (math.isfinite(self.flow_resistivity) and self.flow_resistivity > 0):
            raise ValueError(f"fill: flow resistivity must be above zero, not {self.flow_resistivity!r}")
        if self.model not in MODELS:
            raise ValueError(f"fill: no model is called {self.model!r}; known are {', '.join(MODELS)}")

    @property
    def fitted_range(self) -> tuple[float, float] | None:
        """Lowest and highest frequency in Hz between which the model was fitted, None where it has no such range."""
        fitted = MODELS[self.model].fitted
        return None if fitted is None else (fitted[0] * self.flow_resistivity, fitted[1] * self.flow_resistivity)

    def fluid(self, omega: RealArray, air: Air) -> Fluid:
        """The equivalent fluid, both fields (F,), at `omega` (F,) in rad/s."""
        return MODELS[self.model].fluid(omega, air, self.flow_resistivity)
