"""What takes of the space inside a cabinet: drivers, ducts, wood and the crossover; and what is left as air.

Whatever is not told is estimated, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass

from enclosures.air import Air
from enclosures.tuning import tuned_port_length
from system import wording
from system.cabinet import (
    Baffle,
    Cabinet,
    Chamber,
    Cutout,
    Face,
    LineChamber,
    MouthSpec,
    OpeningSpec,
    PortSpec,
    RadiatorChamber,
    RadiatorSpec,
    SealedChamber,
    SectionSpec,
    VentedChamber,
)
from system.kit import DriverData, Kit, Variant
from system.resolve_lines import MEAN_AREA
from system.resolve_wood import inner_size
from system.wood import Boards, Piece
from system.workshop.folding import corners, fold_boards, fold_volume
from system.workshop.panels_cut import Panel

# What is usual where nothing is told: common practice, no source.
OF_A_DRIVER = 0.3  # times the effective diameter cubed: magnet, frame and cone of a woofer or midrange
OF_A_RADIATOR = 0.15  # the same without a magnet
OF_A_TWEETER = 0.1e-3  # m3, closed back and all
OF_A_CROSSOVER = 0.3e-3  # m3
DUCT_WALL = 0.003  # m, of a round duct; a slot is made of the cabinet's boards
NEARLY = 0.001  # m: a slot that is as wide as the space inside to this has no side walls of its own
# of the four walls of a slot, how many are the cabinet's own
SHARED_WALLS: Mapping[str, int] = {"along_wall": 1, "in_corner": 2}


@dataclass(frozen=True, slots=True)
class Taken:
    """What takes `volume` (m3, of all `count`) of the space inside; `chamber` None: of the whole cabinet.

    `assumed` says how an estimate was made, empty where the kit tells.
    """

    what: str  # driver, radiator, port, mouth, brace, divider, fold, corners, crossover
    name: str
    volume: float
    count: int = 1
    chamber: int | None = None
    assumed: str = ""


@dataclass(frozen=True, slots=True)
class Duct:
    """The duct of a port or a mouth as a thing: `length` (m) in all, `inside` of it behind the board that it goes in.

    `sides` (width, height, m) for a slot, else a `diameter`; `wall` (m) is its own.
    """

    name: str
    chamber: int
    spec: PortSpec
    length: float
    board: float
    wall: float
    assumed: tuple[str, ...]

    @property
    def cutout(self) -> Cutout | None:
        return self.spec.cutout

    @property
    def inside(self) -> float:
        return max(0.0, self.length - self.board)

    @property
    def sides(self) -> tuple[float, float] | None:
        return self.spec.sides

    @property
    def diameter(self) -> float:
        """Of a round one of this area."""
        return 2 * math.sqrt(self.spec.area / math.pi)

    @property
    def outer(self) -> float:
        """Outer diameter of a round one, m."""
        return self.diameter + 2 * self.wall


@dataclass(frozen=True, slots=True)
class Balance:
    """The volume (m3) of a cabinet: `gross` outside, of the boards, `taken` inside, and the `net` air of the kit.

    `room` (m2) is by how much the space inside grows with each metre of depth.
    """

    gross: float
    boards: float
    taken: tuple[Taken, ...]
    net: float
    room: float

    @property
    def inner(self) -> float:
        """Between the boards, empty."""
        return self.gross - self.boards

    @property
    def left(self) -> float:
        """The air that is left inside."""
        return self.inner - sum(each.volume for each in self.taken)

    @property
    def over(self) -> float:
        """How much more air there is than the kit computes with; below zero: too little."""
        return self.left - self.net

    @property
    def off(self) -> float:
        """The same as a ratio."""
        return self.over / self.net

    @property
    def deeper(self) -> float:
        """By how much (m) the cabinet would have to be deeper to be right; below zero: shallower."""
        return -self.over / self.room


def section_volume(section: SectionSpec) -> float:
    """The air of a section of a line, m3; of a bend centre line times area (Pappus)."""
    return section.length * MEAN_AREA[section.taper](section.area, section.end_area)


# The net air (m3) of a chamber.
NET: Mapping[type[Chamber], Callable[..., float]] = {
    SealedChamber: lambda chamber: chamber.volume,
    VentedChamber: lambda chamber: chamber.volume,
    RadiatorChamber: lambda chamber: chamber.volume,
    LineChamber: lambda chamber: sum(map(section_volume, chamber.profile)),
}


def effective_diameter(area: float) -> float:
    """Of a cone of `area` (m2), in m."""
    return 2 * math.sqrt(area / math.pi)


def of_driver(data: DriverData) -> tuple[float, str]:
    """What a driver takes of the air inside (m3), and how that was estimated."""
    if data.mounting is not None and data.mounting.displaces is not None:
        return data.mounting.displaces, ""
    if data.role == "tweeter":
        return OF_A_TWEETER, "usual for a tweeter"
    if data.sd is None:
        return 0.0, "nothing: it has neither mounting.displaces nor sd"
    return OF_A_DRIVER * effective_diameter(data.sd) ** 3, f"{OF_A_DRIVER:g} times its effective diameter cubed"


def of_radiator(sd: float, displaces: float | None) -> tuple[float, str]:
    """What a passive radiator takes of the air inside (m3), and how that was estimated."""
    if displaces is not None:
        return displaces, ""
    return OF_A_RADIATOR * effective_diameter(sd) ** 3, f"{OF_A_RADIATOR:g} times its effective diameter cubed"


def board_at(cutout: Cutout | None, boards: Boards) -> float:
    """Thickness (m) of the board that an opening goes through: without a place the front's."""
    face: Face = cutout.face if cutout is not None else "front"
    return {"front": boards.front, "rear": boards.rear}.get(face, boards.thickness)


def inside(cabinet: Cabinet) -> tuple[float, float, float] | None:
    """Width, height and depth (m) between the boards; None where the outer size is not given."""
    boards = cabinet.boards
    return inner_size(cabinet.baffle, boards.thickness, boards.front, boards.rear) if cabinet.baffle else None


def named_openings(cabinet: Cabinet) -> Iterator[tuple[int, str, OpeningSpec]]:
    """The chamber and the name of each opening, as a prediction calls it: `port`, then `port2` and so on."""
    counts: dict[str, int] = {}
    for index, chamber in enumerate(cabinet.chambers):
        for opening in chamber.openings:
            number = counts[opening.word] = counts.get(opening.word, 0) + 1
            yield index, opening.word if number == 1 else f"{opening.word}{number}", opening


def ducts(kit: Kit, variant: Variant) -> list[Duct]:
    """Every port, and every mouth with a port, named as in a prediction."""
    found = []
    for index, name, opening in named_openings(variant.cabinet):
        spec = opening.port if isinstance(opening, MouthSpec) else opening
        if isinstance(spec, PortSpec):
            found.append(_duct(name, index, spec, variant, kit))
    return found


def _duct(name: str, index: int, spec: PortSpec, variant: Variant, kit: Kit) -> Duct:
    chamber, boards = variant.cabinet.chambers[index], variant.cabinet.boards
    assumed = []
    if spec.length is not None:
        length = spec.length
    else:
        assert isinstance(chamber, VentedChamber)  # only those have a tuning instead
        assert chamber.tuning is not None
        length = tuned_port_length(chamber.volume, chamber.tuning, chamber.ports, Air(*astuple(kit.air)))
    wall = spec.wall
    if wall is None:
        wall = DUCT_WALL if spec.sides is None else boards.thickness
        assumed.append(f"a wall of {wall * 1e3:g} mm")
    if spec.cutout is None:
        assumed.append("that it goes through the front")
    return Duct(name, index, spec, length, board_at(spec.cutout, boards), wall, tuple(assumed))


def of_duct(duct: Duct, inner_width: float | None) -> float:
    """What the ducts of one port take of the space inside (m3): their walls, and their air, which is not the box's."""
    if duct.sides is None:
        return math.pi / 4 * duct.outer**2 * duct.inside * duct.spec.count
    air = math.prod(duct.sides) * duct.inside * duct.spec.count
    return air + math.fsum(piece.volume for piece in slot_boards(duct, inner_width))


def slot_boards(duct: Duct, inner_width: float | None) -> tuple[Piece, ...]:
    """The boards of a slot behind the board that it goes through: those over and under it, then those beside it.

    It has the walls that are not the cabinet's own: of one along a wall three, in a corner two, and one as wide as the
    space inside has none beside it. None for a round duct, or where nothing of it is inside.
    """
    if duct.sides is None or duct.inside == 0:
        return ()
    (width, height), wall, count = duct.sides, duct.wall, duct.spec.count
    shared = SHARED_WALLS.get(duct.spec.inner_end, 0)
    whole = inner_width is not None and width >= inner_width - NEARLY
    beside = 0 if whole else 2 - (shared == 2)
    above = 2 - (shared > 0)
    flat = Piece(duct.inside, width + beside * wall, wall, above * count)
    return (flat, Piece(duct.inside, height, wall, beside * count)) if beside else (flat,)


def balance(kit: Kit, variant: Variant, baffle: Baffle, bare: Sequence[Panel], tubes: Sequence[Duct]) -> Balance:
    """The volume of the cabinet of `variant`, whose panels are `bare` and whose ducts `tubes`."""
    cabinet, boards = variant.cabinet, variant.cabinet.boards
    width, height, _ = inner_size(baffle, boards.thickness, boards.front, boards.rear)
    taken = list(_drivers(variant))
    for index, chamber in enumerate(cabinet.chambers):
        taken += [_radiator(index, number, spec) for number, spec in enumerate(_radiators(chamber), 1)]
        taken += _folds(index, chamber)
    for duct in tubes:
        volume, words = of_duct(duct, width), wording.listed(duct.assumed) if duct.assumed else ""
        taken.append(Taken("duct", duct.name, volume, duct.spec.count, duct.chamber, words))
    taken += [Taken("brace", _sizes(piece), piece.volume, piece.count) for piece in boards.braces]
    between = dividers(variant, baffle)
    words = "" if boards.dividers is not None else "one for each further chamber"
    taken += [Taken("divider", _sizes(piece), piece.volume, piece.count, assumed=words) for piece in between]
    if boards.crossover is not None:
        taken.append(Taken("crossover", "", boards.crossover))
    else:
        taken.append(Taken("crossover", "", OF_A_CROSSOVER, assumed="usual for a board with a crossover"))
    across = 0.0 if boards.dividers is not None else sum(piece.thickness * piece.count for piece in between)
    return Balance(
        gross=baffle.width * baffle.height * baffle.depth,
        boards=math.fsum(panel.volume for panel in bare),
        taken=tuple(taken),
        net=math.fsum(NET[type(chamber)](chamber) for chamber in cabinet.chambers),
        room=width * (height - across if across < height else height),
    )


def dividers(variant: Variant, baffle: Baffle) -> tuple[Piece, ...]:
    """The boards between chambers: as told, else one across the cabinet for each chamber after the first."""
    boards, further = variant.cabinet.boards, len(variant.cabinet.chambers) - 1
    if boards.dividers is not None or further < 1:
        return boards.dividers or ()
    width, _, depth = inner_size(baffle, boards.thickness, boards.front, boards.rear)
    return (Piece(width, depth, boards.thickness, further),)


def _drivers(variant: Variant) -> Iterator[Taken]:
    housed = {name: index for index, chamber in enumerate(variant.cabinet.chambers) for name in chamber.drivers}
    for name, hookup in variant.hookups.items():
        volume, words = of_driver(hookup.driver)
        yield Taken("driver", name, volume, 1, housed.get(name), words)


def _radiators(chamber: Chamber) -> tuple[RadiatorSpec, ...]:
    return chamber.radiators if isinstance(chamber, RadiatorChamber) else ()


def _radiator(index: int, number: int, spec: RadiatorSpec) -> Taken:
    volume, words = of_radiator(spec.sd, spec.displaces)
    return Taken("radiator", f"radiator {number}", volume * spec.count, spec.count, index, words)


def _folds(index: int, chamber: Chamber) -> Iterator[Taken]:
    if isinstance(chamber, LineChamber):
        for number, board in fold_boards(chamber.profile):
            yield Taken("fold", f"profile.{number}", fold_volume(board), 1, index)
        for number, section in enumerate(chamber.profile):
            if section.bend is not None:
                yield Taken("corners", f"profile.{number}", corners(section), 1, index)


def _sizes(piece: Piece) -> str:
    return " x ".join(f"{size * 1e3:.0f}" for size in (piece.length, piece.width, piece.thickness)) + " mm"
