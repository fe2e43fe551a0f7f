"""The kit file's cabinets as models: outline, cutouts, chambers and filling."""

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Discriminator, Field, Tag

from system.edge import Entry, Model, Name, Number, NumberOrWord, Quantity, Text, shape
from system.fields import (
    Area,
    Compliance,
    Count,
    DriverNames,
    End,
    Excursion,
    Face,
    Frequency,
    Length,
    Mass,
    Position,
    Speed,
    Volume,
)
from system.woodmodel import Boards, BoardThickness


class Baffle(Model):
    """The outside of the cabinet, standing, seen from the front."""

    width: Length
    height: Length
    depth: Length
    edge_radius: Position = 0.0


Pair = Annotated[list[Position], Field(min_length=2, max_length=2)]


class PlacedCutout(Model):
    """A cutout on any face, from its lower left corner seen from outside; the acoustic centre may lie deeper."""

    face: Face = "front"
    at: Pair
    set_back: Position = 0.0


Cutout = Annotated[
    Annotated[Pair, Tag("list")] | Annotated[PlacedCutout, Tag("mapping")],
    Discriminator(shape),
]


class Fill(Model):
    """Fibrous filling: a material and how much of it, or a flow resistivity; and the model that interprets it."""

    key_advice: ClassVar[dict[str, str]] = {"lining": "only a section of a line has one; a box takes material and mass"}
    material: Text | None = None
    density: Annotated[float, Quantity("density", low="0.1 kg/m3", high="300 kg/m3")] | None = None
    mass: Mass | None = None
    flow_resistivity: Annotated[float, Quantity("flow_resistivity")] | None = None
    spread: Annotated[float, Number(1, 10)] | None = None
    model: Literal["power_law", "power_law_1970", "low_frequency", "rigid_fibre"] = "power_law"


class SectionFill(Fill):
    """Filling of a section of a line, all of it or a lining on its walls."""

    key_advice: ClassVar[dict[str, str]] = {}
    lining: Length | None = None


LossValue = Annotated[float, NumberOrWord(0.1, 1e6, word="lossless", meaning=float("inf"))]


class SealedLosses(Model):
    """Q values at the box resonance, or lossless."""

    key_advice: ClassVar[dict[str, str]] = {"port": "port losses are for vented boxes"}
    leak: LossValue | None = None
    absorption: LossValue | None = None


class RadiatorLosses(SealedLosses):
    """Q values at the box resonance, or lossless."""

    key_advice: ClassVar[dict[str, str]] = {"port": "a passive radiator's loss is its rms"}


class VentedLosses(Model):
    """Q values at the tuning, or lossless."""

    leak: LossValue | None = None
    absorption: LossValue | None = None
    port: LossValue | None = None


class PortShape(Model):
    """The cross-section of a duct, how many there are, what its inner end faces, and how fast its air may move."""

    diameter: Length | None = None
    area: Area | None = None
    width: Length | None = None
    height: Length | None = None
    count: Count = 1
    clearance: Length | None = None
    speed_limit: Speed | None = None
    wall: BoardThickness | None = None


class Port(PortShape):
    """A duct: diameter, area or a slot, length (unless the box has a tuning), how many, and its two ends."""

    length: Length | None = None
    end: End = "flanged"
    inner_end: End = "flanged"
    cutout: Cutout | None = None


class MouthPort(PortShape):
    """The duct before the mouth of a line; its ends are those of the mouth."""

    key_advice: ClassVar[dict[str, str]] = {
        "end": "write it beside port, in the mouth",
        "inner_end": "write it beside port, in the mouth",
        "cutout": "write it beside port, in the mouth",
    }
    length: Length


class Mouth(Model):
    """An opening of a line, at its end or on its way, with or without a duct before the outside."""

    at: Length | None = None
    port: MouthPort | None = None
    end: End = "flanged"
    inner_end: End | None = None
    cutout: Cutout | None = None


class Radiator(Model):
    """A passive radiator."""

    sd: Area
    mms: Mass
    cms: Compliance
    rms: Annotated[float, Quantity("mechanical_resistance", zero=True)]  # one without loss is legal
    linear_excursion: Excursion | None = None
    damage_excursion: Excursion | None = None
    displaces: Volume | None = None
    count: Count = 1
    cutout: Cutout | None = None


class Section(Model):
    """A straight stretch of line from the closed end towards the mouth."""

    key_advice: ClassVar[dict[str, str]] = {"inner_radius": "it goes with bend, which takes the place of length"}
    length: Length
    area: Area | None = None
    width: Length | None = None
    depth: Length | None = None
    diameter: Length | None = None
    end_area: Area | None = None
    taper: Literal["area_linear", "conical", "exponential"] | None = None
    fill: SectionFill | None = None


_OF_A_BEND = "a bend takes bend, inner_radius, depth (in its own plane) and width, and is as long as its centre line"


class Bend(Model):
    """A stretch of line that bends, of rectangular section all along; its length is that of its centre line."""

    key_advice: ClassVar[dict[str, str]] = dict.fromkeys(
        ("length", "area", "diameter", "end_area", "taper"), _OF_A_BEND
    )
    bend: Annotated[float, Quantity("angle", low="1 deg", high="180 deg")]
    inner_radius: Length
    depth: Length
    width: Length
    fill: SectionFill | None = None


def _stretch(value: Any) -> str:
    """Whether a section bends, by the keys that only a bend has."""
    bends = isinstance(value, dict) and ("bend" in value or ("inner_radius" in value and "length" not in value))
    return "curved" if bends else "straight"


Stretch = Annotated[
    Annotated[Section, Tag("straight")] | Annotated[Bend, Tag("curved")],
    Discriminator(_stretch),
]


class StandingWave(Model):
    """The inner dimension along which a box has a standing wave, and where the drivers sit on it."""

    along: Length
    drivers: dict[Name, Position] | None = None


class Sealed(Model):
    """A sealed box."""

    key_advice: ClassVar[dict[str, str]] = {"ports": "ports belong to kind: vented"}
    kind: Literal["sealed"]
    drivers: DriverNames
    volume: Volume
    fill: Fill | None = None
    losses: SealedLosses | None = None
    standing_wave: StandingWave | None = None


class Vented(Model):
    """A vented box: its ports have a length, or the box a tuning."""

    kind: Literal["vented"]
    drivers: DriverNames
    volume: Volume
    ports: Annotated[list[Port], Field(min_length=1)]
    tuning: Frequency | None = None
    fill: Fill | None = None
    losses: VentedLosses | None = None


class PassiveRadiator(Model):
    """A box with passive radiators."""

    kind: Literal["passive_radiator"]
    drivers: DriverNames
    volume: Volume
    radiators: Annotated[list[Radiator], Field(min_length=1)]
    fill: Fill | None = None
    losses: RadiatorLosses | None = None


class Line(Model):
    """A quarter-wave line: its profile from the closed end to the mouth, and the drivers along it."""

    key_advice: ClassVar[dict[str, str]] = {
        "losses": "a line takes walls: lossy or lossless",
        "volume": "its profile gives it",
        "fill": "write it in a section of the profile",
        "ports": "write mouth: {port: {..}}",
    }
    kind: Literal["line"]
    profile: Annotated[list[Stretch], Field(min_length=1)]
    drivers: Annotated[dict[Name, Position], Field(min_length=1)]
    mouth: Mouth | None = None
    mouths: list[Mouth] | None = None
    walls: Literal["lossy", "lossless"] | None = None
    step_correction: Literal["on", "off"] = "off"


Chamber = Annotated[Sealed | Vented | PassiveRadiator | Line, Discriminator("kind")]


class Cabinet(Model):
    """A cabinet, written as if standing and seen from the front."""

    whole: ClassVar[bool] = False
    like: Entry[Name] = None
    baffle: Entry[Baffle] = None
    cutouts: Entry[dict[Name, Entry[Cutout]]] = None
    chambers: Entry[list[Entry[Chamber]]] = None
    boards: Entry[Boards] = None
