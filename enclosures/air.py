"""The air: density, speed of sound and what wall losses need. Plain floats, no numpy: the kit reader imports this.

Dry air is the ideal gas of ISO 2533; moisture makes it a mixture of two ideal gases. What moisture does to viscosity
and to thermal conductivity is what the calibration of microphones reckons with (Rasmussen 1997, as in IEC 61094-2).
"""

from __future__ import annotations

import math

from enclosures.frozen import frozen

GAS_CONSTANT = 8.31432  # J/(mol K), ISO 2533:1975, 2.1
_MOLAR_MASS_DRY = 28.964420e-3  # kg/mol, ISO 2533:1975, 2.1
_MOLAR_MASS_WATER = 18.01528e-3  # kg/mol, sum of the IUPAC atomic weights
_HEAT_CAPACITY_DRY = 3.5  # molar, over the gas constant: heat ratio 1.4 as in ISO 2533:1975, 2.1
_HEAT_CAPACITY_WATER = 4.04  # molar, over the gas constant: steam at room temperature, 33.6 J/(mol K)
_KILOCALORIE = 4186.8  # J, the one of the International Steam Tables


@frozen
class Air:
    """The fluid: density (kg/m3), speed_of_sound (m/s), viscosity (Pa s), prandtl and heat_ratio (pure numbers)."""

    density: float
    speed_of_sound: float
    viscosity: float = 1.82e-5
    prandtl: float = 0.72
    heat_ratio: float = 1.401

    def __post_init__(self) -> None:
        """Raise ValueError for anything that is not a positive finite number, or a heat ratio below one."""
        for name in ("density", "speed_of_sound", "viscosity", "prandtl", "heat_ratio"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"air: {name} must be above zero, not {value!r}")
        if self.heat_ratio < 1:
            raise ValueError(f"air: heat_ratio must be at least 1, not {self.heat_ratio!r}")

    @property
    def bulk_modulus(self) -> float:
        """The adiabatic bulk modulus rho c^2 in Pa."""
        return self.density * self.speed_of_sound**2

    @property
    def impedance(self) -> float:
        """The characteristic impedance rho c in Pa s/m."""
        return self.density * self.speed_of_sound


def saturation_pressure(temperature: float) -> float:
    """Pressure of saturated water vapour in Pa at `temperature` in K (Picard et al., Metrologia 45, 2008, A1.1)."""
    return math.exp(
        1.2378847e-5 * temperature**2 - 1.9121316e-2 * temperature + 33.93711047 - 6.3431645e3 / temperature  # A1.1
    )


def moist_air(temperature: float, pressure: float, humidity: float) -> Air:
    """Air at `temperature` (K), `pressure` (Pa) and relative `humidity` (0 to 1).

    Density and speed of sound are those of an ideal mixture of dry air and water vapour. Viscosity and thermal
    conductivity are those of dry air (ISO 2533:1975) with the terms for moisture of Rasmussen, Report PL-11b, Danish
    Primary Laboratory of Acoustics, 1997 (in IEC 61094-2; from memory). Those were fitted for 15 to 27 degC, 60 to
    110 kPa and 10 to 90 % humidity, where they amount to 0.6 % at most; outside they are carried on.

    Raises ValueError outside 200 to 400 K, 10 to 1000 kPa, humidity 0 to 1, or where the vapour would outweigh the air.
    """
    if not 200 <= temperature <= 400:
        raise ValueError(f"air: temperature must lie between 200 and 400 K, not {temperature!r} K")
    if not 1e4 <= pressure <= 1e6:
        raise ValueError(f"air: pressure must lie between 10 and 1000 kPa, not {pressure!r} Pa")
    if not 0 <= humidity <= 1:
        raise ValueError(f"air: relative humidity must lie between 0 and 1, not {humidity!r}")
    water = humidity * saturation_pressure(temperature) / pressure  # mole fraction
    if water > 0.5:
        raise ValueError("air: at this temperature and pressure more than half of the air would be water vapour")
    molar_mass = (1 - water) * _MOLAR_MASS_DRY + water * _MOLAR_MASS_WATER
    heat_capacity = (1 - water) * _HEAT_CAPACITY_DRY + water * _HEAT_CAPACITY_WATER
    heat_ratio = heat_capacity / (heat_capacity - 1)  # ideal gas: cp - cv = R
    thermal = GAS_CONSTANT * temperature / molar_mass  # p/rho of an ideal gas, m2/s2
    viscosity = 1.458e-6 * temperature**1.5 / (temperature + 110.4)  # ISO 2533 (Sutherland), dry
    viscosity += 1e-8 * ((113.157 - temperature) * water - 100.015 * water**2)  # Rasmussen, a2, a3 and a5
    conductivity = 2.648151e-3 * temperature**1.5 / (temperature + 245.4 * 10 ** (-12 / temperature))  # ISO 2533, dry
    conductivity += 1e-8 * _KILOCALORIE * (40 - 1.775e-4 * temperature) * water  # Rasmussen, a3 and a4
    return Air(
        density=pressure / thermal,
        speed_of_sound=math.sqrt(heat_ratio * thermal),
        viscosity=viscosity,
        prandtl=viscosity * heat_capacity * GAS_CONSTANT / molar_mass / conductivity,
        heat_ratio=heat_ratio,
    )
