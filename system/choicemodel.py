"""The kit file's models of what may be chosen and what a choice is held against: windows, spread and wishes."""

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, WithJsonSchema

from system.edge import Model, Name, Quantity, Text, Whole, fault, shape, text_of, what
from system.fields import Tolerance

Decibels = Annotated[float, Quantity("level", low="0 dB", high="20 dB")]
BandEnd = Annotated[float, Quantity("frequency", low="5 Hz", high="40 kHz")]


class Window(Model):
    """How far a substitute or a copy may be from the kit as it is drawn."""

    key_of: ClassVar[dict[str, str]] = {"lowest": "from", "highest": "to"}
    level: Annotated[float, Quantity("level", low="0.01 dB", high="20 dB")] | None = None
    lowest: BandEnd | None = None
    highest: BandEnd | None = None
    impedance: Annotated[float, Quantity("resistance", low="1 mohm", high="100 ohm")] | None = None


class Meter(Model):
    """The smallest differences that the instruments at hand can show, and how far an ohmmeter is off."""

    impedance: Annotated[float, Quantity("resistance", low="0.1 mohm", high="10 ohm")] | None = None
    level: Annotated[float, Quantity("level", low="0.001 dB", high="10 dB")] | None = None
    resistance_error: Tolerance | None = None
    leads: Annotated[float, Quantity("resistance", high="10 ohm", zero=True)] | None = None


class Spread(Model):
    """How many copies of the kit are drawn, and how values lie within their tolerance."""

    builds: Annotated[int, Whole(100, 1_000_000)] | None = None
    law: Literal["uniform", "normal"] | None = None
    level: Annotated[float, Quantity("level", low="0.01 dB", high="20 dB")] | None = None
    impedance: Tolerance | None = None


class DriverSpread(Model):
    """How far copies of a driver lie apart, to either side."""

    fs: Tolerance | None = None
    qts: Tolerance | None = None
    re: Tolerance | None = None
    level: Decibels | None = None
    linear_excursion: Tolerance | None = None


class Target(Model):
    """A response asked for that is not flat: a tilt or a table."""

    tilt: Annotated[float, Quantity("tilt")] | None = None
    file: Text | None = None


def _flat(value: Any) -> Any:
    if text_of(value, "a word").strip() != "flat":
        raise fault("unknown_word", f"is {what(value)}", "it is flat, {tilt: -0.5 dB} or {file: target.txt}")
    return "flat"


TargetValue = Annotated[
    Annotated[str, BeforeValidator(_flat), WithJsonSchema({"const": "flat"}), Tag("text")]
    | Annotated[Target, Tag("mapping")],
    Discriminator(shape),
]


class Revalue(Model):
    """What `revalue` may do: which parts may move, for what response, and at what price."""

    key_of: ClassVar[dict[str, str]] = {"lowest": "from", "highest": "to"}
    move: Annotated[list[Name], Field(min_length=1)] | None = None
    target: TargetValue | None = None
    over: Literal["axis", "listening_window"] | None = None
    lowest: BandEnd | None = None
    highest: BandEnd | None = None
    price: Decibels | None = None
    most_differing: Annotated[int, Whole(0, 100)] | None = None
    quieter: Decibels | None = None
