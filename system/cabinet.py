"""What a kit says of a cabinet: its outside, the chambers inside and what opens out of them. Plain frozen values in SI.

Part of `system.kit`, which has all of these names too; no numpy here either.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from typing import ClassVar, Literal

from enclosures.frozen import frozen
from system.wood import Boards

Face = Literal["front", "rear", "left", "right", "top", "bottom"]
PipeEnd = Literal["ideal", "unflanged", "flanged", "along_wall", "in_corner"]


@frozen
class Cutout:
    """The centre of a cutout on a face, from that face's lower left corner seen from outside (m)."""

    face: Face
    at: tuple[float, float]  # m, to the right and up
    set_back: float = 0.0  # acoustic centre behind the face, m


@frozen
class Baffle:
    """The outside of the cabinet, standing, seen from the front (m)."""

    width: float  # m
    height: float  # m
    depth: float  # m
    edge_radius: float = 0.0  # m


FillModel = Literal["power_law", "power_law_1970", "low_frequency", "rigid_fibre"]


@frozen
class FillSpec:
    """Fibrous filling by its flow resistivity (Pa s/m2) and the fluid model that interprets it.

    `fibre_density` is kg of fibre per m3 of the space it fills, None where only the flow resistivity is known. `share`
    is the part of the cross-section that it takes, below 1 for a lining. The true flow resistivity lies between the
    one given over `spread` and times `spread`. `material` is None where it is not told.
    """

    flow_resistivity: float  # Pa s/m2
    model: FillModel = "power_law"
    fibre_density: float | None = None
    share: float = 1.0
    spread: float = 1.0
    material: str | None = None


@frozen
class PortSpec:
    """A duct of `count` like ports: `area` (m2) of one, `length` (m; None where the box's tuning gives it).

    `hydraulic_ratio` is the hydraulic radius over that of a round port of this area (1 for round), `clearance` (m) the
    distance from the inner end to a wall that faces it, `speed_limit` (m/s) the peak speed of air it is to stay under.
    `wall` (m) is how thick the duct's own wall is, None where it is not told; `sides` are those of a slot.
    """

    word: ClassVar[str] = "port"  # what an opening of this kind is called
    area: float
    length: float | None
    count: int
    end: PipeEnd
    inner_end: PipeEnd
    cutout: Cutout | None = None
    hydraulic_ratio: float = 1.0
    clearance: float | None = None
    speed_limit: float = math.inf
    wall: float | None = None
    sides: tuple[float, float] | None = None  # width and height, m


@frozen
class RadiatorSpec:
    """`count` like passive radiators: sd (m2), mms (kg), cms (m/N), rms (kg/s) of one; excursions are one-way peaks.

    `displaces` (m3) is what one takes of the air inside, None where it is not told.
    """

    word: ClassVar[str] = "radiator"  # what an opening of this kind is called
    sd: float
    mms: float
    cms: float
    rms: float
    count: int
    cutout: Cutout | None = None
    linear_excursion: float | None = None  # m
    damage_excursion: float | None = None  # m
    displaces: float | None = None


@frozen
class SealedChamber:
    """Losses are Q values; math.inf is lossless.

    With `along` (m, an inner dimension) the box has a standing wave along it, and `positions` (m from one end, in the
    order of `drivers`) says where the drivers sit on that wave.
    """

    drivers: tuple[str, ...]
    volume: float  # m3
    leak: float  # Q
    absorption: float  # Q
    fill: FillSpec | None = None
    along: float | None = None
    positions: tuple[float, ...] = ()

    @property
    def openings(self) -> tuple[OpeningSpec, ...]:
        return ()

    @property
    def fills(self) -> tuple[FillSpec | None, ...]:
        return (self.fill,)


@frozen
class VentedChamber:
    """A vented box of `volume` (m3); `leak`, `absorption` and `port` are Q values at its tuning."""

    drivers: tuple[str, ...]
    volume: float
    ports: tuple[PortSpec, ...]
    tuning: float | None  # Hz; then the ports without a length get one
    leak: float
    absorption: float
    port: float
    fill: FillSpec | None = None

    @property
    def openings(self) -> tuple[OpeningSpec, ...]:
        return self.ports

    @property
    def fills(self) -> tuple[FillSpec | None, ...]:
        return (self.fill,)


@frozen
class RadiatorChamber:
    """A box of `volume` (m3) with passive radiators; `leak` and `absorption` are Q values at its resonance."""

    drivers: tuple[str, ...]
    volume: float
    radiators: tuple[RadiatorSpec, ...]
    leak: float
    absorption: float
    fill: FillSpec | None = None

    @property
    def openings(self) -> tuple[OpeningSpec, ...]:
        return self.radiators

    @property
    def fills(self) -> tuple[FillSpec | None, ...]:
        return (self.fill,)


@frozen
class BendSpec:
    """A bend of rectangular section in its own plane: `angle` (rad), `inner_radius` and the depth `across` it (m)."""

    angle: float
    inner_radius: float
    across: float


@frozen
class SectionSpec:
    """A stretch of line from the closed end towards the mouth: length (m), areas (m2).

    `hydraulic_ratio` is the hydraulic radius over that of a round duct of the same area. With a `bend` the length is
    that of the centre line.
    """

    length: float
    area: float
    end_area: float  # m2
    taper: Literal["area_linear", "conical", "exponential"] = "area_linear"
    fill: FillSpec | None = None
    hydraulic_ratio: float = 1.0
    bend: BendSpec | None = None
    sides: tuple[float, float] | None = None  # width and depth at its beginning, m, where they are given


@frozen
class MouthSpec:
    """An opening of a line: with `port`, the duct before the outside; without, the line itself opens in `end`.

    `at` (m from the closed end) is where it leaves the line; None: at the line's end. `speed_limit` (m/s) is the
    port's, or of a mouth without one the usual.
    """

    word: ClassVar[str] = "mouth"  # what an opening of this kind is called
    end: PipeEnd
    port: PortSpec | None = None
    cutout: Cutout | None = None
    at: float | None = None
    speed_limit: float = math.inf


@frozen
class LineChamber:
    """`positions` (m along the axis from the closed end) are in the order of `drivers`; no `mouths`: closed."""

    drivers: tuple[str, ...]
    positions: tuple[float, ...]
    profile: tuple[SectionSpec, ...]
    mouths: tuple[MouthSpec, ...]
    lossy_walls: bool = True
    step_correction: bool = False

    @property
    def openings(self) -> tuple[OpeningSpec, ...]:
        return self.mouths

    @property
    def fills(self) -> tuple[FillSpec | None, ...]:
        return tuple(section.fill for section in self.profile)


OpeningSpec = PortSpec | MouthSpec | RadiatorSpec
Chamber = SealedChamber | VentedChamber | RadiatorChamber | LineChamber


@frozen
class Cabinet:
    """A cabinet: chambers, and where it has a baffle the places of what radiates."""

    name: str
    baffle: Baffle | None
    cutouts: Mapping[str, Cutout]
    chambers: tuple[Chamber, ...]
    boards: Boards = field(default_factory=Boards)
