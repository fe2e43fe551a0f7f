"""Kinds of fields that the kit file's models share: quantities with their bounds, numbers and words."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from system.edge import Deviation, Name, Number, Quantity, Whole

Resistance = Annotated[float, Quantity("resistance", zero=True)]
PositiveResistance = Annotated[float, Quantity("resistance", low="0.1 ohm", high="10 kohm")]
Inductance = Annotated[float, Quantity("inductance")]
Volume = Annotated[float, Quantity("volume")]
Area = Annotated[float, Quantity("area")]
Length = Annotated[float, Quantity("length")]
Position = Annotated[float, Quantity("length", zero=True)]
Speed = Annotated[float, Quantity("speed", low="0.1 m/s", high="100 m/s")]
Displacement = Annotated[float, Quantity("displacement")]
Excursion = Annotated[float, Quantity("excursion")]
Mass = Annotated[float, Quantity("mass")]
Compliance = Annotated[float, Quantity("compliance")]
Stiffness = Annotated[float, Quantity("stiffness")]
ForceFactor = Annotated[float, Quantity("force_factor")]
ThermalResistance = Annotated[float, Quantity("thermal_resistance", low="0.01 K/W")]
MechanicalResistance = Annotated[float, Quantity("mechanical_resistance")]
Frequency = Annotated[float, Quantity("frequency")]
Power = Annotated[float, Quantity("power")]
Voltage = Annotated[float, Quantity("voltage")]
Current = Annotated[float, Quantity("current")]
Angle = Annotated[float, Quantity("angle")]
Tolerance = Annotated[float, Deviation()]
Q = Annotated[float, Number(0.01, 1000)]
Count = Annotated[int, Whole(1, 50)]
Order = Annotated[int, Whole(1, 8)]

Role = Literal["woofer", "midrange", "tweeter"]
End = Literal["ideal", "unflanged", "flanged", "along_wall", "in_corner"]
State = Literal["fit", "link", "omit"]
Surface = Literal["rigid", "concrete", "plaster", "wood", "carpet", "curtain", "glass"]
Face = Literal["front", "rear", "left", "right", "top", "bottom"]
Spectrum = Literal["sine", "pink", "iec", "bass_heavy"]
DriverNames = Annotated[list[Name], Field(min_length=1)]
