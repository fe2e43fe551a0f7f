"""Fibrous filling as an equivalent fluid: the complex density and bulk modulus of the air among the fibres.

The fibres stand still, unless their mass is known to a model that lets them be carried along. A filling that takes only
a part of a duct's cross-section makes one fluid together with the open air beside it.
"""

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

    fluid: Callable[[RealArray, Air, Fill], Fluid]  # omega (F,) rad/s, air, the filling; takes from it what it needs
    fitted: tuple[float, float] | None  # Hz per Pa s/m2 = m3/kg; None: no stated range
    passive_from: float = 0.0  # likewise; below it the printed coefficients make the filling give out power


def _from_wave(omega: RealArray, air: Air, impedance: ComplexArray, wave_number: ComplexArray) -> Fluid:
    """The fluid whose characteristic impedance and wave number are these times those of air, all (F,)."""
    zc = air.impedance * impedance
    k = omega / air.speed_of_sound * wave_number
    return Fluid(density=zc * k / omega, bulk_modulus=zc * omega / k)


def _power_law(omega: RealArray, air: Air, fill: Fill) -> Fluid:
    """Miki, J. Acoust. Soc. Jpn (E) 11, 1990, equations for Zc and k, with X = 1000 f/sigma."""
    x = 1000 * omega / (2 * np.pi) / fill.flow_resistivity
    return _from_wave(omega, air, 1 + (5.50 - 8.43j) * x**-0.632, 1 + (7.81 - 11.41j) * x**-0.618)


def _power_law_1970(omega: RealArray, air: Air, fill: Fill) -> Fluid:
    """Delany & Bazley, Applied Acoustics 3, 1970, with X = 1000 f/sigma."""
    x = 1000 * omega / (2 * np.pi) / fill.flow_resistivity
    return _from_wave(
        omega, air, 1 + 9.08 * x**-0.75 - 11.9j * x**-0.73, 1 + 10.8 * x**-0.70 - 10.3j * x**-0.59
    )  # fmt: skip


def _rigid_fibre(omega: RealArray, air: Air, fill: Fill) -> Fluid:
    """rho_e = rho + sigma/(jw), adiabatic: the low-frequency limit of the drag (Morse & Ingard 1968)."""
    density = air.density - 1j * fill.flow_resistivity / omega
    return Fluid(density=density, bulk_modulus=np.full_like(density, air.bulk_modulus))


def _low_frequency(omega: RealArray, air: Air, fill: Fill) -> Fluid:
    """Allard & Champoux, J. Acoust. Soc. Am. 91, 1992, on a frame that the air carries along (Panneton 2007).

    Their fibres lie across the flow, and both lengths of the pores follow from sigma alone: Lambda^2 = 8 mu/sigma for
    the drag, Lambda' = 2 Lambda for the heat. With these in their general expressions, every number that they print
    for one air becomes density, heat ratio or Prandtl number of this `air`. The fibres stay at one temperature.

    Panneton, J. Acoust. Soc. Am. 122, 2007: rho_limp = (rho_t rho_e - rho^2)/(rho_t + rho_e - 2 rho), with
    rho_t = rho + fibre density, is air plus the drag and the fibres' mass side by side.
    """
    sigma, rho, ratio = fill.flow_resistivity, air.density, air.heat_ratio
    drag = sigma / (1j * omega) * np.sqrt(1 + 0.5j * omega * rho / sigma)  # rho_e - rho, eq. for rho(w)
    if fill.fibre_density is not None:
        drag = drag * fill.fibre_density / (drag + fill.fibre_density)  # rho_limp - rho
    thermal = omega * rho * air.prandtl / sigma
    heat = 1 + np.sqrt(1 + 2j * thermal) / (4j * thermal)
    return Fluid(density=rho + drag, bulk_modulus=air.bulk_modulus / (ratio - (ratio - 1) / heat))  # eq. for K(w)


MODELS: Mapping[str, FillModel] = MappingProxyType(
    {
        "power_law": FillModel(_power_law, (0.01, 1.0), 0.00106),  # Miki 1990, the range of Delany & Bazley's samples
        "power_law_1970": FillModel(_power_law_1970, (0.01, 1.0), 0.0107),  # Delany & Bazley 1970
        "rigid_fibre": FillModel(_rigid_fibre, None),
        "low_frequency": FillModel(_low_frequency, None),  # right limits at both ends
    }
)


@dataclass(frozen=True, slots=True)
class Fill:
    """Fibre of this `flow_resistivity` (Pa s/m2), read by a `model` of `MODELS`.

    `fibre_density` (kg of fibre per m3 of the space it fills) lets the fibres of `low_frequency` move with the air;
    None holds them still, as the other models always do. `share` is the part of the cross-section that is filled; the
    rest is open air beside it, as with a lining along the walls.

    The power laws are used as printed at every frequency; `fitted_range` says where measurements back them. Below
    `passive_from` their coefficients give the bulk modulus a phase of the wrong sign, so that the filling would make
    power: `power_law` under f/sigma = 0.00106 (10 Hz at 10 000 Pa s/m2) by up to 1.3 degrees, `power_law_1970` from
    f/sigma = 0.0107 down, which is where its range begins. `low_frequency` and `rigid_fibre` take power everywhere.
    """

    flow_resistivity: float
    model: str = "power_law"
    fibre_density: float | None = None
    share: float = 1.0

    def __post_init__(self) -> None:
        """Raise ValueError for what is not above zero, a share above one or an unknown model."""
        if not (math.isfinite(self.flow_resistivity) and self.flow_resistivity > 0):
            raise ValueError(f"fill: flow resistivity must be above zero, not {self.flow_resistivity!r}")
        if self.model not in MODELS:
            raise ValueError(f"fill: no model is called {self.model!r}; known are {', '.join(MODELS)}")
        if self.fibre_density is not None and not (math.isfinite(self.fibre_density) and self.fibre_density > 0):
            raise ValueError(f"fill: fibre density must be above zero, not {self.fibre_density!r}")
        if not 0 < self.share <= 1:
            raise ValueError(f"fill: share must be above 0 and at most 1, not {self.share!r}")

    @property
    def fitted_range(self) -> tuple[float, float] | None:
        """Lowest and highest frequency in Hz between which the model was fitted, None where it has no such range."""
        fitted = MODELS[self.model].fitted
        return None if fitted is None else (fitted[0] * self.flow_resistivity, fitted[1] * self.flow_resistivity)

    @property
    def passive_from(self) -> float:
        """The frequency in Hz below which the model's coefficients would make this filling give out power."""
        return MODELS[self.model].passive_from * self.flow_resistivity

    def fluid(self, omega: RealArray, air: Air) -> Fluid:
        """The equivalent fluid, both fields (F,), at `omega` (F,) in rad/s.

        Filling and open air lie side by side under one pressure, so what gives way adds up: 1/rho and 1/K, each by its
        share (Munjal, Acoustics of Ducts and Mufflers, 1987: the bulk-reacting lining at low frequency). It holds while
        the duct is narrow against the wavelength in it; friction where the two meet is neglected.
        """
        among = MODELS[self.model].fluid(omega, air, self)
        return Fluid(
            density=1 / (self.share / among.density + (1 - self.share) / air.density),
            bulk_modulus=1 / (self.share / among.bulk_modulus + (1 - self.share) / air.bulk_modulus),
        )

    def volume_gain(self, omega: RealArray, air: Air) -> RealArray:
        """Apparent over real volume of a box filled so, rho c^2 Re(1/K), (F,) at `omega` (F,) in rad/s."""
        gain: RealArray = air.bulk_modulus * (1 / self.fluid(omega, air).bulk_modulus).real
        return gain
