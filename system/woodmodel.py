"""The kit file's models of wood: the boards of a cabinet, and what a driver needs of them."""

from typing import Annotated

from pydantic import Field

from system.edge import Model, Quantity
from system.fields import Count, Length, Volume

BoardThickness = Annotated[float, Quantity("length", low="1 mm", high="200 mm")]


class Piece(Model):
    """A piece of board inside the cabinet."""

    length: Length
    width: Length
    thickness: BoardThickness | None = None
    count: Count = 1


class Boards(Model):
    """What the cabinet is made of, and what stands inside it."""

    thickness: BoardThickness | None = None
    front: BoardThickness | None = None
    rear: BoardThickness | None = None
    braces: Annotated[list[Piece], Field(min_length=1)] | None = None
    dividers: Annotated[list[Piece], Field(min_length=1)] | None = None
    crossover: Volume | None = None
    density: Annotated[float, Quantity("density", low="50 kg/m3")] | None = None


class Mounting(Model):
    """The driver as a thing to be built in."""

    displaces: Volume | None = None
    cutout_diameter: Length | None = None
    flange_diameter: Length | None = None
    flange_thickness: Length | None = None
    depth: Length | None = None
