"""The validated kit: plain frozen values in SI units, one fully worked-out `Variant` per build.

Nothing here computes acoustics and nothing imports numpy, so that reading and checking a kit file stays instant.
Angles are in radians, levels as plain ratios, everything else in SI. `system.kitfile` makes these values from a file;
`system.predict` turns them into enclosures, networks and radiation.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import field
from pathlib import Path
from typing import Literal

from enclosures.frozen import frozen
from system.cabinet import (
    Baffle,
    BendSpec,
    Cabinet,
    Chamber,
    Cutout,
    Face,
    FillModel,
    FillSpec,
    LineChamber,
    MouthSpec,
    OpeningSpec,
    PipeEnd,
    PortSpec,
    RadiatorChamber,
    RadiatorSpec,
    SealedChamber,
    SectionSpec,
    VentedChamber,
)
from system.choice import (
    DriverSpread,
    Meter,
    Offers,
    PartKind,
    RevalueSpec,
    SpreadSpec,
    Stock,
    StockItem,
    Target,
    Window,
)
from system.findings import Finding, KitError, Severity
from system.outline import LayoutSpec
from system.wood import Mounting

__all__ = [  # of a cabinet and of what may be chosen, told from here too
    "Baffle",
    "BendSpec",
    "Cabinet",
    "Chamber",
    "Cutout",
    "DriverSpread",
    "Face",
    "FillModel",
    "FillSpec",
    "LineChamber",
    "Meter",
    "MouthSpec",
    "Offers",
    "OpeningSpec",
    "PartKind",
    "PipeEnd",
    "PortSpec",
    "RadiatorChamber",
    "RadiatorSpec",
    "RevalueSpec",
    "SealedChamber",
    "SectionSpec",
    "SpreadSpec",
    "Stock",
    "StockItem",
    "Target",
    "VentedChamber",
    "Window",
]

Attitude = Literal["upright", "on_left_side", "on_right_side"]
Surface = Literal["rigid", "concrete", "plaster", "wood", "carpet", "curtain", "glass"]
State = Literal["fit", "link", "omit"]
Role = Literal["woofer", "midrange", "tweeter"]
AirLoad = Literal["included", "free_air", "none"]
Winding = Literal["copper", "aluminium"]
Outputs = Literal["ground_referenced", "bridged", "unknown"]  # whether an amplifier's minus terminal is its ground
ROOM_TEMPERATURE = 293.15  # K, 20 degC: re is that of a coil this warm


@frozen
class AirSpec:
    """The air as the kit gives it; `density` and `speed_of_sound` are both given or both worked out from the rest."""

    density: float  # kg/m3
    speed_of_sound: float  # m/s
    viscosity: float  # Pa.s
    prandtl: float  # a number
    heat_ratio: float  # a number


@frozen
class Amplifier:
    """The amplifier: rated `power` (W) into `load` (ohm), the lowest load it stands, and what lies in its lead."""

    power: float
    load: float
    lowest_load: float | None = None  # ohm
    output_resistance: float = 0.0  # ohm
    cable: float = 0.0  # ohm, both conductors together
    current_limit: float | None = None  # A, peak
    outputs: Outputs = "unknown"

    @property
    def rated_volts(self) -> float:
        """The rms voltage of a sine at rated power, sqrt(power load)."""
        return math.sqrt(self.power * self.load)


@frozen
class Table:
    """Columns of a text file: `frequency` (Hz, rising), `magnitude` (ohm or dB) and, where given, `phase` (rad)."""

    file: str
    frequency: tuple[float, ...]
    magnitude: tuple[float, ...]
    phase: tuple[float, ...] | None = None


HIGHEST_OF_PROGRAMME = 20e3  # Hz, upper end of every programme


@frozen
class Programme:
    """The signal's long-term spectrum and its crest factor (a plain ratio of peak to rms, at the amplifier's input)."""

    spectrum: Literal["sine", "pink", "iec", "bass_heavy", "table"] = "iec"
    crest_factor: float = 10 ** (12 / 20)  # a ratio
    lowest: float = 20.0  # Hz
    table: Table | None = None  # third-octave band levels in dB, for spectrum "table"


@frozen
class Coil:
    """A voice-coil model by its kit-file name and its SI parameters; `filters`-side coils are `Part`s."""

    model: Literal["le", "shunted_coil", "power_law", "semi_inductance"]
    parameters: Mapping[str, float]  # le | series, shunted, shunt_resistance | factor, exponent | series, shunted, semi


@frozen
class SmallSignal:
    """The independent small-signal parameters: re (ohm), bl (T m), mms (kg), cms (m/N), rms (kg/s), sd (m2)."""

    re: float
    bl: float
    mms: float
    cms: float
    rms: float
    sd: float


@frozen
class ResponseTable:
    """A measured response: pressure level (dB re 20 uPa) at `distance` for `volts` rms across the driver.

    The phase has the delay of `distance` removed. `mounted` says whether the cabinet's diffraction is in the table.
    """

    table: Table
    volts: float
    distance: float
    mounted: Literal["wall", "standard_baffle", "this_cabinet"]


@frozen
class HighPass:
    """An electrical Butterworth high-pass of the given `corner` (Hz, -3 dB) and `order`."""

    corner: float
    order: int


@frozen
class PowerRating:
    """What a driver stands: of its coil alone, or as a driver in a system with a high-pass."""

    rated: float  # W, on the driver's rated impedance
    of: Literal["coil", "system"]
    high_pass: HighPass | None = None


@frozen
class CurveSpec:
    """A quantity over displacement (m, outward positive), in SI: `coefficients` of 1, x, x^2, ..., or `values` at
    rising `places` on both sides of rest."""

    coefficients: tuple[float, ...] = ()
    places: tuple[float, ...] = ()
    values: tuple[float, ...] = ()


@frozen
class LargeSignalSpec:
    """How a driver changes over its excursion, as its data sheet draws it; None where it is taken as constant.

    At rest the curves agree with the small-signal figures to within what a data sheet is rounded to, not exactly.
    """

    bl: CurveSpec | None = None  # T m
    stiffness: CurveSpec | None = None  # N/m
    inductance: CurveSpec | None = None  # H


@frozen
class ThermalSpec:
    """How the heat leaves a voice coil: K/W and s of the step from coil to magnet, and of that from magnet to air.

    `highest` (K) is the temperature that the coil stands; `assumed` names what of the five was not given.
    """

    coil_resistance: float  # K/W
    coil_time: float  # s
    magnet_resistance: float  # K/W
    magnet_time: float  # s
    highest: float
    assumed: tuple[str, ...] = ()


@frozen
class DriverData:
    """A driver as its data sheet gives it.

    Either `small_signal` is there, or `impedance` and `response` are (a driver known by its tables only). `sd` is
    then optional. `linear_excursion` and `damage_excursion` are one-way peaks in metres. `re` and `impedance` are
    those of a cold coil; `voice_coil_temperature` (K) is the one it is computed at. `air_load` says how much of the
    air's mass is in small_signal.mms: all of it, or only what a cone in free air carries (a mass stated without any
    has had that added by the reader). Without `thermal` nothing is known of its heat but what `power` says.
    """

    name: str
    role: Role
    re: float
    sd: float | None = None
    small_signal: SmallSignal | None = None
    coil: Coil | None = None
    impedance: Table | None = None
    response: ResponseTable | None = None
    linear_excursion: float | None = None
    linear_excursion_by: Literal["overhang", "distortion", "bl_82", "unknown"] = "unknown"
    damage_excursion: float | None = None
    power: PowerRating | None = None
    origin: Literal["measured", "published", "derived", "assumed"] = "published"
    air_load: AirLoad = "included"
    voice_coil_temperature: float = ROOM_TEMPERATURE
    winding: Winding = "copper"
    large_signal: LargeSignalSpec | None = None  # only with small_signal
    thermal: ThermalSpec | None = None
    spread: DriverSpread = field(default_factory=DriverSpread)
    mounting: Mounting | None = None


@frozen
class Part:
    """A resistor (ohm), capacitor (F) or coil (H) with its losses and ratings; zero or None where not given."""

    kind: PartKind
    value: float  # ohm, F or H
    resistance: float = 0.0  # capacitor: series_resistance; coil: dc_resistance; ohm, of the whole group
    dissipation_factor: float | None = None  # capacitor, at `dissipation_at`
    dissipation_at: float | None = None  # Hz
    leakage_resistance: float | None = None  # capacitor, ohm
    tolerance: float | None = None  # a ratio, 0.1 for 10 %
    made_of: tuple[float, ...] = ()  # ohm, F or H
    made_of_how: Literal["parallel", "series"] = "parallel"
    type: str | None = None
    core: Literal["air", "iron"] | None = None
    voltage_rating: float | None = None  # V, peak or dc
    current_rating: float | None = None  # A rms
    power_rating: float | None = None  # W
    temperature_rise: float | None = None  # K, of a resistor's surface at its power_rating
    saturation_current: float | None = None  # A peak
    marked_value: float | None = None  # what is printed on the part, where `value` was measured on this one

    @property
    def marked(self) -> float:
        """The value that is printed on the part, or on its group."""
        return self.value if self.marked_value is None else self.marked_value


@frozen
class Place:
    """A place on the board, as one variant has it: the part is the one to fit, or the one it would take."""

    reference: str
    part: Part
    between: tuple[str, str]
    state: State = "fit"
    reason: str | None = None


@frozen
class Hookup:
    """A driver on the board: its `plus` and `minus` marks go to these points."""

    name: str
    driver: DriverData
    plus: str
    minus: str
    reversed_on_purpose: bool = False


@frozen
class Coupling:
    """Two coils that share flux; positive with the dotted ends at the first point of each."""

    coils: tuple[str, str]
    coefficient: float  # -1 to 1


@frozen
class Panel:
    """A rigid panel near the cabinet, as `enclosures.panels.Panel`: lengths in m; None is as the cabinet has it."""

    side: Literal["left", "right", "below", "above", "behind"]
    distance: float = 0.0  # m
    front: float = 0.0  # m
    width: float | None = None  # m
    height: float | None = None  # m


@frozen
class Placement:
    """Where the cabinet stands. Distances (m) run from the cabinet's own sides as it stands; None is far away.

    `tilt` (front upward) and `lean` (to the right) in rad; `surfaces` by plane, rigid where it says nothing.
    """

    kind: Literal["in_wall", "free_standing", "near_planes"]
    wall_behind: float | None = None  # m
    wall_left: float | None = None  # m
    wall_right: float | None = None  # m
    below: float | None = None  # m
    above: float | None = None  # m
    tilt: float = 0.0
    lean: float = 0.0
    surfaces: Mapping[str, Surface] = field(default_factory=dict)
    panels: tuple[Panel, ...] = ()


@frozen
class Listening:
    """The listening point: `distance` (m) from the cutout of hookup `axis`, turned by two angles (rad)."""

    distance: float = 1.0
    axis: str | None = None
    angle_horizontal: float = 0.0  # rad, to the right
    angle_vertical: float = 0.0  # rad, up


@frozen
class Seats:
    """Where people sit."""

    distance: float  # m
    angle: float  # rad, to either side


@frozen
class AssemblySpec:
    """How the board is put together (K): the air about its parts, and what the hot-melt glue on it bears."""

    ambient: float = 298.15  # K
    hot_melt_bears: float = 343.15  # K


@frozen
class Variant:
    """One build of the kit, everything resolved."""

    name: str
    cabinet: Cabinet
    attitude: Attitude
    placement: Placement
    places: Mapping[str, Place]  # every place on the board, in file order
    hookups: Mapping[str, Hookup]  # drivers of this variant, in file order
    couplings: tuple[Coupling, ...]
    listening: Listening
    receiver_high_pass: HighPass | None = None
    seats: Seats | None = None


@frozen
class Kit:
    """The whole kit. `findings` holds its notes and warnings; a kit with errors is never made."""

    name: str
    path: Path
    air: AirSpec
    amplifier: Amplifier
    programme: Programme
    stock: Stock
    drivers: Mapping[str, DriverData]
    input: tuple[str, str]
    variants: Mapping[str, Variant]
    findings: tuple[Finding, ...]
    positions: Mapping[str, tuple[int, int]] = field(default_factory=dict)  # line and column of each dotted path
    assembly: AssemblySpec = AssemblySpec()
    window: Window = field(default_factory=Window)
    meter: Meter = field(default_factory=Meter)
    spread: SpreadSpec = field(default_factory=SpreadSpec)
    revalue: RevalueSpec = field(default_factory=RevalueSpec)
    step_set_by: str | None = None  # the place whose part balances low against high; some variant fits it
    layout: LayoutSpec | None = None  # the board to scale

    def locate(self, path: str) -> tuple[int, int]:
        """Line and column (from 1) of a dotted path in the file, or of its nearest parent, else of its beginning."""
        while path and path not in self.positions:
            path = path.rpartition(".")[0]
        return self.positions.get(path, (1, 1))

    def finding(self, severity: Severity, code: str, path: str, found: str, allowed: str = "") -> Finding:
        """A finding about what stands at a dotted path of this kit's file."""
        line, column = self.locate(path)
        return Finding(severity, code, str(self.path), line, column, path, found, allowed)

    @contextmanager
    def blaming(self, code: str, path: str, allowed: str = "") -> Iterator[None]:
        """Turn a ValueError of the physics inside the `with` block into a KitError that points at `path`."""
        try:
            yield
        except KitError:
            raise
        except ValueError as error:
            raise KitError([self.finding("error", code, path, str(error), allowed)], self.name) from error
