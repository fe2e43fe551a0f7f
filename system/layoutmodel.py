"""The kit file's model of the board as it is laid out: where each part sits, which way it points, how it is held."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, WithJsonSchema

from system.edge import Entry, Model, Name, fault, shape, text_of, what
from system.fields import Angle, Length, Mass, Position

AXES = ("up", "along", "across")


class TurnedAxis(Model):
    """An axis that lies on the board, turned from along it towards across it."""

    turned: Angle


def _axis(value: Any) -> Any:
    if text_of(value, "a word").strip() not in AXES:
        raise fault("unknown_word", f"is {what(value)}", f"it is {', '.join(AXES)}, or {{turned: 30 deg}}")
    return value.strip()


AxisValue = Annotated[
    Annotated[str, BeforeValidator(_axis), WithJsonSchema({"enum": list(AXES)}), Tag("text")]
    | Annotated[TurnedAxis, Tag("mapping")],
    Discriminator(shape),
]
Pair = Annotated[list[Length], Field(min_length=2, max_length=2)]
Middle = Annotated[list[Position], Field(min_length=2, max_length=2)]


class Spot(Model):
    """Where a part sits on the board, and how large it is."""

    at: Middle
    axis: AxisValue | None = None
    inner: Length | None = None
    outer: Length | None = None
    height: Length | None = None
    size: Annotated[list[Length], Field(min_length=2, max_length=3)] | None = None
    raised: Position | None = None
    mass: Mass | None = None
    held: Literal["hot_melt", "glue", "tie", "screw"] | None = None


class Layout(Model):
    """The board to scale."""

    board: Pair
    places: Annotated[dict[Name, Entry[Spot]], Field(min_length=1)]
