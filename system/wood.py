"""What a kit says of a cabinet's boards, and of what a driver needs of them. Plain frozen values in SI.

Part of `system.kit`; no numpy here either.
"""

from __future__ import annotations

from enclosures.frozen import frozen

# What stands for figures that are not given: common practice, no source.
USUAL_THICKNESS = 0.018  # m
USUAL_DENSITY = 700.0  # kg/m3, of fibreboard and of birch plywood


@frozen
class Piece:
    """`count` like pieces of board inside a cabinet: `length`, `width` and `thickness` (m) of one."""

    length: float
    width: float
    thickness: float
    count: int = 1

    @property
    def volume(self) -> float:
        """Of all of them, m3."""
        return self.length * self.width * self.thickness * self.count


@frozen
class Boards:
    """What a cabinet is made of: the thickness (m) of its boards, of its front and of its rear.

    `dividers` stand between its chambers (None: not told), `crossover` (m3) is the space that the board with the
    crossover takes inside (None: not told), `density` (kg/m3) the wood's. `assumed` names what was not given.
    """

    thickness: float = USUAL_THICKNESS
    front: float = USUAL_THICKNESS
    rear: float = USUAL_THICKNESS
    braces: tuple[Piece, ...] = ()
    dividers: tuple[Piece, ...] | None = None
    crossover: float | None = None
    density: float = USUAL_DENSITY
    assumed: tuple[str, ...] = ("thickness", "density")


@frozen
class Mounting:
    """What a driver needs of a cabinet; None for what its data sheet does not tell.

    `displaces` (m3) is what it takes of the air inside. The hole has `cutout_diameter` (m). The flange before the
    board has `flange_diameter` and `flange_thickness` (m); `depth` (m) is what lies behind the flange.
    """

    displaces: float | None = None
    cutout_diameter: float | None = None
    flange_diameter: float | None = None
    flange_thickness: float | None = None
    depth: float | None = None
