"""The cabinet of a variant as a thing to be built: its volume, its boards, ducts, lines, filling, and how it stands."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from system import wording
from system.cabinet import Cabinet, Cutout, Face, FillSpec, LineChamber, MouthSpec, RadiatorSpec
from system.findings import Finding
from system.kit import Attitude, Kit, Variant
from system.wood import Mounting, Piece
from system.workshop import displacement
from system.workshop.displacement import Balance, Duct, Taken, inside, named_openings
from system.workshop.lengths import BEHIND, Run, Stretch, Tube, runs, tube
from system.workshop.panels_cut import Hole, HoleKind, Panel, drilled, over_joint, overlaps, panels

OFF = 0.05  # ratio of volumes beyond which a word is said: our own judgement, of the size of a driver's spread in vas
STEADY = math.radians(10)  # lean that a cabinet must stand: common practice, no source
NARROW = math.radians(15)  # up to this drivers high up may take what is missing: our own judgement
LEANS: Mapping[str, float] = {"tips_over": STEADY, "narrow": NARROW}
HEAVY = 15.0  # kg of boards alone, from which two people lift: common practice, no source
LOWEST: Mapping[Attitude, Face] = {"upright": "bottom", "on_left_side": "left", "on_right_side": "right"}
# what of a cabinet that stands upright is across, up and to the back, as it lies
LYING: Mapping[Attitude, tuple[int, int, int]] = {
    "upright": (0, 1, 2),
    "on_left_side": (1, 0, 2),
    "on_right_side": (1, 0, 2),
}


@dataclass(frozen=True, slots=True)
class Filling:
    """Filling of a box (`section` None) or a section of a line: the `volume` (m3) it fills and its `mass` (kg).

    The mass is None where the kit tells no material.
    """

    chamber: int
    section: int | None
    spec: FillSpec
    volume: float

    @property
    def mass(self) -> float | None:
        return None if self.spec.fibre_density is None else self.spec.fibre_density * self.volume


@dataclass(frozen=True, slots=True)
class Stand:
    """How the cabinet stands: which face lies `below`, its sizes as it stands (m), and from which lean (rad) it tips.

    The centre is taken in the middle. A cabinet that the kit tilts or leans has that much less.
    """

    below: Face
    across: float
    up: float
    deep: float
    sideways: float
    forwards: float

    @property
    def tips(self) -> float:
        return min(self.sideways, self.forwards)


@dataclass(frozen=True, slots=True)
class Share:
    """What one of several chambers takes of the space inside (m3), and how much of the height inside (m) that is."""

    chamber: int
    net: float
    taken: float
    height: float


@dataclass(frozen=True, slots=True)
class CabinetSheet:
    """Everything one builds a variant's cabinet by. Without its outer size there are no panels and no balance."""

    kit: Kit
    variant: Variant
    balance: Balance | None
    shares: tuple[Share, ...]
    panels: tuple[Panel, ...]
    pieces: tuple[tuple[str, Piece], ...]  # braces, dividers and boards in folds, by what they are
    tubes: tuple[Tube, ...]
    runs: tuple[Run, ...]
    fillings: tuple[Filling, ...]
    stand: Stand | None
    cautions: tuple[str, ...]  # key words, most grave first
    findings: tuple[Finding, ...]

    @property
    def cabinet(self) -> Cabinet:
        return self.variant.cabinet

    @property
    def inside(self) -> tuple[float, float, float] | None:
        """Width, height and depth (m) between the boards."""
        return inside(self.cabinet)

    @property
    def wood(self) -> float:
        """Of boards and pieces together, m3, holes not taken off."""
        return math.fsum((*(p.volume for p in self.panels), *(piece.volume for _, piece in self.pieces)))

    @property
    def mass(self) -> float:
        """Of the wood, kg."""
        return self.wood * self.cabinet.boards.density

    @property
    def area(self) -> float:
        """Of boards and pieces to be cut, m2, without the cuts."""
        pieces = math.fsum(piece.length * piece.width * piece.count for _, piece in self.pieces)
        return math.fsum(panel.area for panel in self.panels) + pieces


def cabinet_sheet(kit: Kit, variant: Variant) -> CabinetSheet:
    """The sheet of the cabinet of `variant`, with the drivers that it has.

    Raises KitError where boards of the usual thickness leave nothing inside.
    """
    cabinet = variant.cabinet
    with kit.blaming("boards_too_thick", f"cabinets.{cabinet.name}", "say how thick its boards are"):
        bare = panels(cabinet.baffle, cabinet.boards) if cabinet.baffle else ()
    ducts = displacement.ducts(kit, variant)
    balance = None
    if cabinet.baffle is not None and cabinet.chambers:
        balance = displacement.balance(kit, variant, cabinet.baffle, bare, ducts)
    lines = tuple(runs(kit, variant))
    sheet = CabinetSheet(
        kit=kit,
        variant=variant,
        balance=balance,
        shares=tuple(_shares(variant, balance)) if balance else (),
        panels=drilled(bare, [*_driver_holes(variant), *_opening_holes(variant, ducts)]),
        pieces=tuple(_pieces(variant, lines, ducts)),
        tubes=tuple(tube(kit, variant, duct) for duct in ducts),
        runs=lines,
        fillings=tuple(_fillings(cabinet)),
        stand=_stand(variant),
        cautions=(),
        findings=(),
    )
    careful = replace(sheet, cautions=tuple(_cautions(sheet)))
    return replace(careful, findings=tuple(_findings(careful)))


def _shares(variant: Variant, balance: Balance) -> Iterator[Share]:
    """How much of the height each of several chambers takes, were they above each other."""
    cabinet, room = variant.cabinet, inside(variant.cabinet)
    assert room is not None
    if len(cabinet.chambers) > 1:
        for index, chamber in enumerate(cabinet.chambers):
            net = displacement.NET[type(chamber)](chamber)
            taken = math.fsum(each.volume for each in balance.taken if each.chamber == index)
            yield Share(index, net, taken, (net + taken) / (room[0] * room[2]))


def _driver_holes(variant: Variant) -> Iterator[tuple[Cutout, Hole]]:
    for name, hookup in variant.hookups.items():
        cutout, data = variant.cabinet.cutouts.get(name), hookup.driver
        if cutout is not None:
            least = displacement.effective_diameter(data.sd) if data.sd else 0.0
            mounting = data.mounting or Mounting()
            flange = mounting.flange_diameter
            rebate = None if flange is None else (flange, mounting.flange_thickness)
            yield cutout, Hole(name, "driver", 0.0, 0.0, mounting.cutout_diameter, least, rebate=rebate)


def _opening_holes(variant: Variant, ducts: Sequence[Duct]) -> Iterator[tuple[Cutout, Hole]]:
    """Ducts go through the board as far as its face; of a slot the hole is the slot itself."""
    for duct in ducts:
        if duct.cutout is not None:
            kind: HoleKind = "mouth" if duct.name.startswith(MouthSpec.word) else "port"
            hole = Hole(duct.name, kind, 0.0, 0.0, duct.outer, duct.diameter, duct.sides, duct.spec.count)
            yield duct.cutout, hole
    for index, name, opening in named_openings(variant.cabinet):
        if opening.cutout is None:
            continue
        if isinstance(opening, RadiatorSpec):
            least = displacement.effective_diameter(opening.sd)
            yield opening.cutout, Hole(name, "radiator", 0.0, 0.0, None, least, count=opening.count)
        elif isinstance(opening, MouthSpec) and opening.port is None:
            chamber = variant.cabinet.chambers[index]
            assert isinstance(chamber, LineChamber)
            yield opening.cutout, _open_end(name, Stretch(0, 0.0, chamber.profile[-1]))


def _open_end(name: str, last: Stretch) -> Hole:
    """The hole of a mouth without a port: as wide as the line's end, round where its sides are not told."""
    wide = displacement.effective_diameter(last.section.end_area)
    return Hole(name, "mouth", 0.0, 0.0, None if last.end_sides else wide, wide, last.end_sides)


def _pieces(variant: Variant, runs: Sequence[Run], ducts: Sequence[Duct]) -> Iterator[tuple[str, Piece]]:
    cabinet = variant.cabinet
    yield from (("brace", piece) for piece in cabinet.boards.braces)
    if cabinet.baffle is not None:
        yield from (("divider", piece) for piece in displacement.dividers(variant, cabinet.baffle))
    yield from ((f"fold profile.{bend}", piece) for run in runs for bend, piece in run.boards)
    room = inside(cabinet)
    for duct in ducts:
        boards = displacement.slot_boards(duct, room[0] if room else None)
        yield from ((f"slot of {duct.name}", piece) for piece in boards)


def _fillings(cabinet: Cabinet) -> Iterator[Filling]:
    for index, chamber in enumerate(cabinet.chambers):
        if isinstance(chamber, LineChamber):
            for number, section in enumerate(chamber.profile):
                if section.fill is not None:
                    volume = displacement.section_volume(section) * section.fill.share
                    yield Filling(index, number, section.fill, volume)
        elif chamber.fill is not None:
            yield Filling(index, None, chamber.fill, chamber.volume)


def _stand(variant: Variant) -> Stand | None:
    """It tips over an edge of what it stands on when its middle is above that edge: tan = half its foot over half."""
    baffle = variant.cabinet.baffle
    if baffle is None:
        return None
    sizes = (baffle.width, baffle.height, baffle.depth)
    across, up, deep = (sizes[i] for i in LYING[variant.attitude])
    place = variant.placement
    sideways, forwards = math.atan2(across, up) - abs(place.lean), math.atan2(deep, up) - abs(place.tilt)
    return Stand(LOWEST[variant.attitude], across, up, deep, sideways, forwards)


def _cautions(sheet: CabinetSheet) -> Iterator[str]:
    """Key words of what to take care of, for the words of `system.sheets.cabinet_texts`."""
    if sheet.stand is not None and sheet.variant.placement.kind != "in_wall":
        yield from [word for word, angle in LEANS.items() if sheet.stand.tips < angle][:1]
    if sheet.panels:
        yield "wood_dust"
    if sheet.fillings:
        yield "fibre_dust"
    if sheet.mass >= HEAVY:
        yield "heavy"
    yield "hanging"


def _findings(sheet: CabinetSheet) -> Iterator[Finding]:
    yield from _assumed(sheet)
    yield from _volume_off(sheet)
    yield from _line_faults(sheet)
    yield from _hole_faults(sheet)
    yield from _depth_faults(sheet)
    if "tips_over" in sheet.cautions and sheet.stand is not None:
        kit, path = sheet.kit, f"variants.{sheet.variant.name}"
        found = f"{sheet.variant.name} falls over when it is leaned by {math.degrees(sheet.stand.tips):.0f} degrees"
        yield kit.finding("warning", "tips_over", path, found, "give it a wider foot, or fix it to the wall")


def _assumed(sheet: CabinetSheet) -> Iterator[Finding]:
    kit, cabinet = sheet.kit, sheet.cabinet
    where = f"cabinets.{cabinet.name}"
    if sheet.panels and "thickness" in cabinet.boards.assumed:
        found = f"{cabinet.name} does not say how thick its boards are"
        yield kit.finding("note", "assumed", where, found, f"{cabinet.boards.thickness * 1e3:g} mm assumed")
    for each in sheet.balance.taken if sheet.balance else ():
        if each.assumed:
            found = f"what {_named(each)} takes of the air in {cabinet.name} is not told"
            yield kit.finding("note", "assumed", where, found, f"{each.volume * 1e3:.2g} L assumed: {each.assumed}")


def _named(taken: Taken) -> str:
    return (
        "the crossover" if taken.what == "crossover" else f"the {taken.what} {taken.name}".replace("duct ", "duct of ")
    )


def _volume_off(sheet: CabinetSheet) -> Iterator[Finding]:
    balance, name = sheet.balance, sheet.cabinet.name
    if balance is not None and abs(balance.off) > OFF:
        word = "more" if balance.over > 0 else "less"
        found = (
            f"{name} has {balance.left * 1e3:.1f} L of air inside, {abs(balance.over) * 1e3:.1f} L or"
            f" {abs(balance.off) * 100:.0f} % {word} than the {balance.net * 1e3:.1f} L that are computed"
        )
        yield sheet.kit.finding("warning", "volume_off", f"cabinets.{name}", found, remedy(balance))


def remedy(balance: Balance) -> str:
    """What brings the volume right."""
    depth = f"{abs(balance.deeper) * 1e3:.0f} mm"
    litres = f"{abs(balance.over) * 1e3:.1f} L"
    if balance.over > 0:
        return f"make it {depth} less deep, or put in braces or blocks of {litres} more"
    braces = math.fsum(each.volume for each in balance.taken if each.what == "brace")
    less = f", or take out {litres} of its braces" if braces >= -balance.over else ""
    return f"make it {depth} deeper{less}"


def _line_faults(sheet: CabinetSheet) -> Iterator[Finding]:
    kit, name = sheet.kit, sheet.cabinet.name
    for run in sheet.runs:
        path = f"cabinets.{name}.chambers.{run.chamber}"
        if run.inside is False and sheet.inside is not None:
            sizes = " x ".join(f"{size * 1e3:.0f}" for size in sheet.inside)
            drivers = wording.listed(sheet.cabinet.chambers[run.chamber].drivers)
            found = f"the line of {drivers} does not go into {name}, {sizes} mm inside"
            yield kit.finding("warning", "line_outside", path, found, "fold it otherwise, or make the cabinet larger")
        for bend, piece in run.boards:
            if not math.isclose(piece.thickness, sheet.cabinet.boards.thickness, abs_tol=0.5e-3):
                at = f"{path}.profile.{bend}"
                found = (
                    f"the fold profile.{bend} goes round a board of {piece.thickness * 1e3:.0f} mm, and the boards have"
                    f" {sheet.cabinet.boards.thickness * 1e3:.0f} mm"
                )
                yield kit.finding(
                    "warning", "fold_thickness", at, found, "its inner radius is half the board's thickness"
                )


def _hole_faults(sheet: CabinetSheet) -> Iterator[Finding]:
    kit, path = sheet.kit, f"cabinets.{sheet.cabinet.name}"
    for panel in sheet.panels:
        for hole in panel.holes:
            beyond = over_joint(panel, hole)
            if beyond > 1e-6 and hole.count == 1:
                found = f"the hole of {hole.name} reaches {beyond * 1e3:.0f} mm over what is free of the {panel.face}"
                yield kit.finding(
                    "warning", "hole_over_joint", path, found, "move it, or take thinner boards beside it"
                )
            if hole.rebate and hole.rebate[1] is not None and hole.rebate[1] >= panel.thickness:
                found = (
                    f"the flange of {hole.name} is {hole.rebate[1] * 1e3:g} mm thick, and the {panel.face} no thicker"
                )
                yield kit.finding("warning", "rebate_too_deep", path, found, "take a thicker board, or no rebate")
        for one, other in overlaps(panel):
            found = f"{one.name} and {other.name} reach into each other on the {panel.face}"
            yield kit.finding("warning", "holes_overlap", path, found, "move one of the two")


def _depth_faults(sheet: CabinetSheet) -> Iterator[Finding]:
    """A driver's depth counts from the underside of its flange, which lies before the board or in its rebate."""
    for panel in sheet.panels:
        for hole in panel.holes:
            mounting = sheet.variant.hookups[hole.name].driver.mounting if hole.kind == "driver" else None
            if sheet.inside is None or mounting is None or mounting.depth is None:
                continue
            room = panel.thickness - (mounting.flange_thickness or 0.0) + sheet.inside[BEHIND[panel.face]]
            if mounting.depth > room:
                found = (
                    f"{hole.name} is {mounting.depth * 1e3:.0f} mm deep, and {room * 1e3:.0f} mm are behind its flange"
                )
                path = f"drivers.{sheet.variant.hookups[hole.name].driver.name}.mounting"
                yield sheet.kit.finding("warning", "driver_too_deep", path, found, "make the cabinet deeper")
