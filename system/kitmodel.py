"""The kit file's mappings as models: keys, words and quantities, in the order a person writes them.

These are the edge: what they hold is checked for form only. `system.resolve` makes the values of `system.kit` of them,
and `kit_schema` the JSON Schema that a YAML editor checks against.
"""

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, WithJsonSchema

from system.cabinetmodel import Cabinet
from system.choicemodel import DriverSpread, Meter, Revalue, Spread, Window
from system.edge import Entry, Model, Name, Number, Quantity, Text, fault, shape, what
from system.fields import (
    Angle,
    Compliance,
    Current,
    Displacement,
    Excursion,
    ForceFactor,
    Frequency,
    Inductance,
    Length,
    Mass,
    MechanicalResistance,
    Order,
    Position,
    PositiveResistance,
    Power,
    Q,
    Resistance,
    Role,
    State,
    Stiffness,
    Surface,
    ThermalResistance,
    Tolerance,
    Voltage,
    Volume,
)
from system.layoutmodel import Layout
from system.woodmodel import Mounting


class Air(Model):
    """The air: temperature, pressure and humidity, or density and speed of sound."""

    temperature: Annotated[float, Quantity("temperature")] | None = None
    pressure: Annotated[float, Quantity("pressure")] | None = None
    humidity: Annotated[float, Quantity("percent")] | None = None
    density: Annotated[float, Quantity("density", low="0.1 kg/m3", high="10 kg/m3")] | None = None
    speed_of_sound: Annotated[float, Quantity("speed", low="100 m/s", high="1500 m/s")] | None = None


class Amplifier(Model):
    """The amplifier: rated power into its rated load, the lowest load it stands, and what lies in its lead."""

    power: Power
    load: Annotated[float, Quantity("resistance", low="0.5 ohm", high="1 kohm")]
    lowest_load: Annotated[float, Quantity("resistance", low="0.1 ohm", high="1 kohm")] | None = None
    output_resistance: Resistance | None = None
    cable: Resistance | None = None
    current_limit: Current | None = None
    outputs: Literal["ground_referenced", "bridged", "unknown"] | None = None


class Programme(Model):
    """The signal: its long-term spectrum (a word or a table file), crest factor and lowest frequency."""

    key_of: ClassVar[dict[str, str]] = {"lowest": "from"}
    spectrum: Text = "iec"
    crest_factor: Annotated[float, Quantity("level", low="0 dB", high="40 dB")] | None = None
    lowest: Annotated[float, Quantity("frequency", high="19 kHz")] | None = None


class Listening(Model):
    """The listening point, from the cutout of a hookup name along the front normal, turned by two angles."""

    distance: Length | None = None
    axis: Name | None = None
    angle_horizontal: Angle = 0.0
    angle_vertical: Angle = 0.0


StockOfKind = Annotated[
    Annotated[Text, Tag("text")] | Annotated[Annotated[list[Text], Field(min_length=1)], Tag("list")],
    Discriminator(shape),
]


class Stock(Model):
    """The drawer: for each kind of part a series name (E3 to E192), a list of values, or a CSV file."""

    capacitors: StockOfKind | None = None
    resistors: StockOfKind | None = None
    coils: StockOfKind | None = None


class HighPass(Model):
    """A Butterworth high-pass."""

    corner: Frequency
    order: Order


class DriverPower(Model):
    """The rated power, and whether the coil alone or the driver in a system with a high-pass stands it."""

    rated: Power
    of: Literal["coil", "system"] | None = None
    high_pass: HighPass | None = None


class Response(Model):
    """A response table (Hz, dB, degrees) and how it was measured."""

    file: Text
    volts: Voltage | None = None
    distance: Length | None = None
    mounted: Literal["wall", "standard_baffle", "this_cabinet"] | None = None
    phase: Literal["measured", "minimum"] | None = None


class PlainCoil(Model):
    """A voice coil of one inductance."""

    model: Literal["le"] = "le"
    le: Inductance
    at: Frequency | None = None


class ShuntedCoil(Model):
    """A coil in series with a coil that has a resistance across it."""

    model: Literal["shunted_coil"]
    series: Inductance
    shunted: Inductance
    shunt_resistance: Annotated[float, Quantity("resistance")]


class PowerLaw(Model):
    """Z = factor (j omega)^exponent, factor in ohm s^exponent."""

    model: Literal["power_law"]
    factor: Annotated[float, Number(1e-6, 100)]
    exponent: Annotated[float, Number(0.05, 1)]


class SemiInductance(Model):
    """A coil in series with a coil that has semi sqrt(j omega) across it, semi in ohm s^0.5."""

    model: Literal["semi_inductance"]
    series: Inductance
    shunted: Inductance
    semi: Annotated[float, Number(1e-6, 100)]


def _coil_model(value: Any) -> Any:
    """The model a voice coil names; le where it names none, unless its keys are those of another."""
    if not isinstance(value, dict) or "model" in value:
        return value["model"] if isinstance(value, dict) else "le"
    others = {*ShuntedCoil.fields(), *PowerLaw.fields(), *SemiInductance.fields()}
    return None if others & set(value) and "le" not in value else "le"


VoiceCoil = Annotated[
    Annotated[PlainCoil, Tag("le")]
    | Annotated[ShuntedCoil, Tag("shunted_coil")]
    | Annotated[PowerLaw, Tag("power_law")]
    | Annotated[SemiInductance, Tag("semi_inductance")],
    Discriminator(_coil_model),
]


Rows = Field(min_length=1, max_length=200)


class CurveShape(Model):
    """What the curves over excursion share."""

    key_of: ClassVar[dict[str, str]] = {"values": "is"}
    at: Annotated[list[Displacement], Rows] | None = None
    polynomial: Annotated[list[Annotated[float, Number(-1e6, 1e6)]], Field(min_length=1, max_length=11)] | None = None


class BlCurve(CurveShape):
    """The force factor over excursion: values at places, or a polynomial."""

    values: Annotated[list[ForceFactor], Rows] | None = None


class StiffnessCurve(CurveShape):
    """The suspension's stiffness over excursion: values at places, or a polynomial."""

    values: Annotated[list[Stiffness], Rows] | None = None


class InductanceCurve(CurveShape):
    """The voice coil's inductance over excursion: values at places, or a polynomial."""

    values: Annotated[list[Inductance], Rows] | None = None


class LargeSignal(Model):
    """What changes over the excursion; what is left out stays as it is at rest."""

    bl: BlCurve | None = None
    stiffness: StiffnessCurve | None = None
    inductance: InductanceCurve | None = None


class Thermal(Model):
    """The way of the heat from the voice coil through the magnet to the air, and how hot the coil may get."""

    coil_resistance: ThermalResistance | None = None
    coil_time: Annotated[float, Quantity("time", low="0.05 s", high="10 min")] | None = None
    magnet_resistance: ThermalResistance | None = None
    magnet_time: Annotated[float, Quantity("time", low="5 s", high="24 h")] | None = None
    highest: Annotated[float, Quantity("temperature", low="40 degC", high="300 degC")] | None = None


class Driver(Model):
    """A driver as its data sheet gives it: any sufficient set of small-signal parameters, or two tables."""

    role: Role = "woofer"
    re: PositiveResistance | None = None
    fs: Annotated[float, Quantity("frequency", low="1 Hz", high="30 kHz")] | None = None
    qms: Q | None = None
    qes: Q | None = None
    qts: Q | None = None
    vas: Volume | None = None
    sd: Annotated[float, Quantity("area", low="0.1 cm2", high="1 m2")] | None = None
    effective_diameter: Annotated[float, Quantity("length", low="3 mm", high="1.2 m")] | None = None
    mms: Mass | None = None
    cms: Compliance | None = None
    rms: MechanicalResistance | None = None
    bl: ForceFactor | None = None
    prefer: Annotated[list[Name], Field(min_length=1)] | None = None
    voice_coil: VoiceCoil | None = None
    impedance: Text | None = None
    response: Response | None = None
    linear_excursion: Excursion | None = None
    linear_excursion_by: Literal["overhang", "distortion", "bl_82", "unknown"] = "unknown"
    damage_excursion: Excursion | None = None
    large_signal: LargeSignal | None = None
    power: DriverPower | None = None
    thermal: Thermal | None = None
    spread: DriverSpread | None = None
    origin: Literal["measured", "published", "derived", "assumed"] | None = None
    air_load: Literal["included", "free_air", "none"] = "included"
    voice_coil_temperature: Annotated[float, Quantity("temperature", low="-40 degC", high="300 degC")] | None = None
    winding: Literal["copper", "aluminium"] = "copper"
    mounting: Mounting | None = None


class MadeOf(Model):
    """A group of like parts, all in parallel or all in series."""

    parallel: Annotated[list[Text], Field(min_length=2)] | None = None
    series: Annotated[list[Text], Field(min_length=2)] | None = None


MadeOfValue = Annotated[
    Annotated[Annotated[list[Text], Field(min_length=2)], Tag("list")] | Annotated[MadeOf, Tag("mapping")],
    Discriminator(shape),
]


class PartFields(Model):
    """What a part and a variant's change of it can say."""

    capacitor: Annotated[float, Quantity("capacitance")] | None = None
    coil: Inductance | None = None
    resistor: Resistance | None = None
    made_of: MadeOfValue | None = None
    measured: Text | None = None
    type: Text | None = None
    tolerance: Tolerance | None = None
    series_resistance: Resistance | None = None
    dissipation_factor: Annotated[float, Number(0, 1, percent=True)] | None = None
    at: Frequency | None = None
    leakage_resistance: Annotated[float, Quantity("resistance")] | None = None
    dc_resistance: Resistance | None = None
    core: Literal["air", "iron"] | None = None
    saturation_current: Current | None = None
    voltage_rating: Voltage | None = None
    current_rating: Current | None = None
    power_rating: Power | None = None
    temperature_rise: Annotated[float, Quantity("temperature_difference", low="10 K", high="500 K")] | None = None
    reason: Text | None = None


Points = Annotated[list[Name], Field(min_length=2, max_length=2)]


class Part(PartFields):
    """A place on the board: its part, the two points it joins, and its usual state."""

    between: Points
    normally: State = "fit"


class PartChange(PartFields):
    """What a variant changes about a place."""

    state: State | None = None


class Coupled(Model):
    """Two coils that share flux; positive with the dotted ends at the first point of each."""

    coils: Points
    coefficient: Annotated[float, Number(-1, 1)]


class Hookup(Model):
    """A driver on the board: the points that its plus and minus marks go to."""

    driver: Name
    plus: Name
    minus: Name
    reversed: Literal["on_purpose"] | None = None


class Crossover(Model):
    """The crossover: its input points, its places, and the drivers that hang on it."""

    whole: ClassVar[bool] = False
    required: ClassVar[tuple[str, ...]] = ("input", "hookup")
    input: Entry[Points] = None
    parts: Entry[dict[Name, Entry[Part]]] = None
    coupled: Entry[list[Entry[Coupled]]] = None
    hookup: Entry[Annotated[dict[Name, Entry[Hookup]], Field(min_length=1)]] = None
    step_set_by: Entry[Name] = None


class Assembly(Model):
    """How the board is put together: the air about its parts, and what the glue on it bears."""

    ambient: Annotated[float, Quantity("temperature", low="-20 degC", high="60 degC")] | None = None
    hot_melt_bears: Annotated[float, Quantity("temperature", low="30 degC", high="250 degC")] | None = None


class Surfaces(Model):
    """What the walls, the floor and the ceiling are covered with."""

    wall_behind: Surface | None = None
    wall_left: Surface | None = None
    wall_right: Surface | None = None
    below: Surface | None = None
    above: Surface | None = None


class Panel(Model):
    """A finite rigid panel near the cabinet, or the opening of a niche it stands in."""

    kind: Literal["shelf", "desk", "screen", "opening"]
    side: Literal["left", "right", "below", "above", "behind"] | None = None
    distance: Position | None = None
    front: Annotated[float, Quantity("displacement", low="-2 m", high="5 m")] | None = None
    width: Length | None = None
    height: Length | None = None


Turned = Annotated[float, Quantity("angle", low="-30 deg", high="30 deg")]


class Distances(Model):
    """Distances from the cabinet's outermost points to walls, floor and ceiling, what these are, how it is turned."""

    wall_behind: Position | None = None
    wall_left: Position | None = None
    wall_right: Position | None = None
    below: Position | None = None
    above: Position | None = None
    surfaces: Surfaces | None = None
    tilt: Turned | None = None
    lean: Turned | None = None
    panels: Annotated[list[Entry[Panel]], Field(min_length=1)] | None = None


Placement = Annotated[
    Annotated[Literal["in_wall", "free_standing", "on_floor"], Tag("text")] | Annotated[Distances, Tag("mapping")],
    Discriminator(shape),
]


class Seats(Model):
    """Where people sit: distance and the angle to either side."""

    distance: Length
    angle: Annotated[float, Quantity("angle", low="0 deg", high="90 deg")]


ReceiverHighPass = Annotated[
    Annotated[Literal["omit"], Tag("text")] | Annotated[HighPass, Tag("mapping")], Discriminator(shape)
]
PartState = Annotated[
    Annotated[Text, Tag("text")] | Annotated[PartChange, Tag("mapping")],
    Discriminator(shape),
]


class Variant(Model):
    """One build: a cabinet, how and where it stands, and what differs on the board."""

    whole: ClassVar[bool] = False
    required: ClassVar[tuple[str, ...]] = ("cabinet",)
    like: Entry[Name] = None
    cabinet: Entry[Name] = None
    attitude: Entry[Literal["upright", "on_left_side", "on_right_side"]] = None
    placement: Entry[Placement] = None
    seats: Entry[Seats] = None
    receiver_high_pass: Entry[ReceiverHighPass] = None
    parts: Entry[dict[Name, Entry[PartState]]] = None
    hookup: Entry[dict[Name, Entry[Literal["omit", "fit"]]]] = None
    reason: Entry[Text] = None


def _format(value: Any) -> Any:
    if not isinstance(value, str) or value.strip() != "1":
        raise fault("format", f"is {what(value)}", "this program reads format 1")
    return value


class KitFile(Model):
    """A kit: drivers, a crossover, cabinets, and the variants that are built of them."""

    whole: ClassVar[bool] = False
    required: ClassVar[tuple[str, ...]] = (
        "format",
        "kit",
        "amplifier",
        "drivers",
        "crossover",
        "cabinets",
        "variants",
    )
    format: Entry[Annotated[str, BeforeValidator(_format), WithJsonSchema({"enum": [1, "1"]})]] = None
    kit: Entry[Text] = None
    air: Entry[Air] = None
    amplifier: Entry[Amplifier] = None
    programme: Entry[Programme] = None
    listening: Entry[Listening] = None
    stock: Entry[Stock] = None
    window: Entry[Window] = None
    meter: Entry[Meter] = None
    spread: Entry[Spread] = None
    drivers: Entry[Annotated[dict[Name, Entry[Driver]], Field(min_length=1)]] = None
    crossover: Entry[Crossover] = None
    assembly: Entry[Assembly] = None
    layout: Entry[Layout] = None
    cabinets: Entry[Annotated[dict[Name, Entry[Cabinet]], Field(min_length=1)]] = None
    variants: Entry[Annotated[dict[Name, Entry[Variant]], Field(min_length=1)]] = None
    revalue: Entry[Revalue] = None
