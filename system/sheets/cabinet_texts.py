"""The text of the cabinet sheet: volume, boards, holes, ducts, lines, filling, how it stands, what to take care of."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from system import wording
from system.cabinet import LineChamber, PipeEnd
from system.kit import Attitude
from system.sheets.cabinet_data import Cut, cuts, inches, weighed
from system.sheets.tables import WIDTH, table, wrap
from system.workshop.carpentry import OFF, STEADY, CabinetSheet, Filling, remedy
from system.workshop.displacement import Balance, Taken
from system.workshop.lengths import Run, Stretch, Tube
from system.workshop.panels_cut import Hole

MEASURE = "measure"
JOINT = (
    "How they meet: the front and the rear cover all edges of the others; the left and the right side stand between"
    " them, as high as the cabinet; top and bottom lie between the sides. Plain glued joints; sizes are finished, a"
    " saw's width and veneer not counted. Joined otherwise, the sizes change."
)
HOLES = (
    "Centres from the lower left corner of each board, seen from outside with the cabinet standing upright."
    " In brackets inches to 1/16. Diameters are of the hole through the board; a rebate is cut from outside."
)
LYING: Mapping[Attitude, str] = {
    "upright": "stands upright",
    "on_left_side": (
        "lies on its left side, seen from the front when upright: the left board is below, the top at the left"
    ),
    "on_right_side": (
        "lies on its right side, seen from the front when upright: the right board is below, the top at the right"
    ),
}
ENDS: Mapping[PipeEnd, str] = {
    "flanged": "flush in a board",
    "unflanged": "free in the air",
    "along_wall": "flush, along a wall",
    "in_corner": "flush, in a corner of two walls",
    "ideal": "taken as open without any air before it",
}
CAUTIONS: Mapping[str, str] = {
    "tips_over": (
        "It falls over easily. Fix it to the wall or give it a wider foot before it stands where children, animals or"
        " cables pull at it."
    ),
    "narrow": (
        "It is tall and narrow, and drivers high up or at the front make it tip sooner than computed: hold it to the"
        " wall with a strap or an angle."
    ),
    "wood_dust": (
        "Wood dust harms the lungs and the nose, that of fibreboard most of all: saw and rout with extraction or out of"
        " doors, with a close-fitting dust mask (FFP2 or better) and glasses. Fine dust in the air can burn."
    ),
    "fibre_dust": (
        "Filling sheds fibres that irritate lungs, eyes and skin: dust mask, gloves, long sleeves, and a closed bag for"
        " the rest. Keep it off the drivers and from before a port, and hold it with a net."
    ),
    "heavy": "It is heavy before its drivers are in it: two people lift it, and not by its holes.",
    "hanging": (
        "Brackets, chains and shelves are not computed here. Over people's heads only what a licensed tradesperson has"
        " fixed, with parts rated for the load and a second, separate safety line."
    ),
}


def sheet(result: CabinetSheet) -> str:
    """Everything by which one cabinet is built, in at most 100 columns."""
    parts = [heading(result), *([title, *lines] for title, lines in sections(result).items())]
    return "\n\n".join("\n".join(lines) for lines in parts)


def sections(result: CabinetSheet) -> dict[str, list[str]]:
    """The lines under each title, as far as this cabinet has them."""
    found = {
        "Volume": _volume(result, result.balance) if result.balance else [],
        "Boards to cut": _boards(result) if result.panels else [],
        "Holes": _holes(result) if result.panels else [],
        "Ducts": _ducts(result),
        "Lines": _lines(result),
        "Filling": _fillings(result),
        "Standing": _standing(result),
        "Take care": _care(result),
    }
    return {title: lines for title, lines in found.items() if lines}


def _table(header: Sequence[str], rows: Sequence[Sequence[str]], indent: str) -> list[str]:
    """A table; where long names make it too wide, a line a row with every cell named."""
    lines = table(header, rows, indent)
    if max(map(len, lines)) <= WIDTH:
        return lines
    named = ["; ".join(f"{name} {cell}" for name, cell in zip(header, row, strict=True) if cell) for row in rows]
    return [line for text in named for line in wrap(text, f"{indent}  ", indent)]


def mm(metres: float) -> str:
    return f"{metres * 1e3:.0f}"


def litres(volume: float) -> str:
    """To 0.1 L; what is less shows two digits, so that it does not read as nothing."""
    return f"{volume * 1e3:.1f} L" if abs(volume) >= 0.095e-3 or volume == 0 else f"{volume * 1e3:.2f} L"


def _sizes(*sizes: float) -> str:
    return f"{' x '.join(map(mm, sizes))} mm"


def _in_inches(*sizes: float) -> str:
    return f"{' x '.join(map(inches, sizes))} in"


def heading(result: CabinetSheet) -> list[str]:
    cabinet, boards, inside = result.cabinet, result.cabinet.boards, result.inside
    lines = [f"{result.kit.name}: cabinet {cabinet.name} as {result.variant.name} has it, one of them"]
    if cabinet.baffle is None or inside is None:
        found = "its outer size is not in the kit, so no boards can be told: give the baffle's width, height and depth"
        return [*wrap(lines[0], "  ", ""), *wrap(found, "  ")]
    outside = (cabinet.baffle.width, cabinet.baffle.height, cabinet.baffle.depth)
    assumed = " (assumed)" if "thickness" in boards.assumed else ""
    thick = f"boards {mm(boards.thickness)} mm{assumed}"
    others = {"front": boards.front, "rear": boards.rear}
    thick += "".join(f", {name} {mm(each)} mm" for name, each in others.items() if each != boards.thickness)
    lines += [
        f"outside {_sizes(*outside)} ({_in_inches(*outside)}), width x height x depth, upright",
        f"inside {_sizes(*inside)} ({_in_inches(*inside)}); {thick}",
    ]
    if cabinet.baffle.edge_radius:
        deep = cabinet.baffle.edge_radius > min(boards.thickness, boards.front)
        more = ", deeper than a board is thick: glue a block into the corner behind it" if deep else ""
        lines.append(f"edges of the front rounded by {mm(cabinet.baffle.edge_radius)} mm{more}")
    return [*wrap(lines[0], "  ", ""), *(line for text in lines[1:] for line in wrap(text, "    ", "  "))]


TAKEN: Mapping[str, str] = {
    "driver": "driver",
    "radiator": "passive",
    "duct": "duct of",
    "brace": "brace",
    "divider": "divider",
    "fold": "board in the fold",
    "corners": "corners of the bend",
    "crossover": "crossover",
}


def _taken(each: Taken) -> tuple[str, str]:
    many = f"{each.count} x " if each.count > 1 else ""
    return f"- {many}{TAKEN[each.what]} {each.name}".rstrip(), litres(each.volume)


def _volume(result: CabinetSheet, balance: Balance) -> list[str]:
    rows = [
        ("outside", litres(balance.gross)),
        ("- boards", litres(balance.boards)),
        *map(_taken, balance.taken),
        ("= air that is left", litres(balance.left)),
        ("the kit computes with", litres(balance.net)),
    ]
    notes = [f"assumed: {each.assumed}" if each.assumed else "" for each in balance.taken]
    notes = ["", "", *notes, "", "net air, before filling"]
    columns = table(["", ""], rows, "  ")[1:]
    lines = []
    for row, note in zip(columns, notes, strict=True):
        lines += wrap(f"{row}  {note}".rstrip(), "      ", "")
    difference = f"difference {balance.over * 1e3:+.1f} L, {balance.off * 100:+.1f} %"
    if abs(balance.off) > OFF:
        words = f"{difference}: NOT RIGHT, more than {OFF * 100:.0f} %: {remedy(balance)}"
    else:
        words = f"{difference}: right within {OFF * 100:.0f} %; to meet it exactly {remedy(balance)}"
    lines += wrap(words, "    ", "  ")
    for share in result.shares:
        chamber = result.cabinet.chambers[share.chamber]
        text = (
            f"chamber of {wording.listed(chamber.drivers)}: {litres(share.net)} of air and {litres(share.taken)} of its"
            f" own things, {mm(share.height)} mm of the height inside if the chambers stand above each other"
        )
        lines += wrap(text, "    ", "  ")
    return lines


def _boards(result: CabinetSheet) -> list[str]:
    rows = [_cut(row) for row in cuts(result)]
    weight = f"{result.area:.2f} m2 of board without waste, about {result.mass:.1f} kg"
    dense = " (assumed)" if "density" in result.cabinet.boards.assumed else ""
    text = f"{weight} at {result.cabinet.boards.density:.0f} kg/m3{dense}, holes not taken off"
    lines = _table(["board", "pieces", "length x width x thickness", "inches, to 1/16"], rows, "  ")
    return [*lines, *wrap(text, "    ", "  "), *wrap(JOINT, "    ", "  ")]


def _cut(row: Cut) -> list[str]:
    sizes = (row.length, row.width, row.thickness)
    return [", ".join(row.names), f"{row.count}", _sizes(*sizes), " x ".join(map(inches, sizes))]


def _holes(result: CabinetSheet) -> list[str]:
    rows = [[panel.face, *_hole(hole)] for panel in result.panels for hole in panel.holes]
    if not rows:
        return wrap("none: the kit has no cutouts for what this variant fits", "  ")
    header = ["board", "hole of", "from left", "from below", "diameter", "rebate, mm"]
    lines = [*_table(header, rows, "  "), *wrap(HOLES, "    ", "  ")]
    unknown = [
        f"{hole.name} (its cone is {mm(hole.least)} mm)" if hole.least else hole.name
        for panel in result.panels
        for hole in panel.holes
        if MEASURE in _hole(hole)
    ]
    if unknown:
        text = f"{MEASURE}: measure your driver, its hole or flange is not in the kit: {', '.join(unknown)}"
        lines += wrap(text, "    ", "  ")
    if any(hole.count > 1 for panel in result.panels for hole in panel.holes):
        lines += wrap("A number in brackets is that of like holes; the place is the middle between them.", "    ", "  ")
    outer = [each.duct.name for each in result.tubes if each.duct.cutout is not None and each.duct.sides is None]
    if outer:
        text = f"The hole of {wording.listed(outer)} takes the duct with its wall, flush with the face."
        lines += wrap(text, "    ", "  ")
    without = [name for name in result.variant.hookups if name not in result.cabinet.cutouts]
    without += [each.duct.name for each in result.tubes if each.duct.cutout is None]
    if without:
        lines += wrap(f"no place in the kit, so no hole here: {', '.join(without)}", "    ", "  ")
    left_out = [name for name in result.cabinet.cutouts if name not in result.variant.hookups]
    if left_out:
        lines += wrap(f"left out in this variant, so no hole: {', '.join(left_out)}", "    ", "  ")
    return lines


def _hole(hole: Hole) -> list[str]:
    size = _sizes(*hole.sides) if hole.sides else _both(hole.diameter) if hole.diameter is not None else MEASURE
    many = f" ({hole.count})" if hole.count > 1 else ""
    return [f"{hole.name}{many}", _both(hole.x), _both(hole.y), size, _rebate(hole)]


def _both(length: float) -> str:
    return f"{mm(length)} mm ({inches(length)})"


def _rebate(hole: Hole) -> str:
    if hole.kind != "driver":
        return ""
    if hole.rebate is None:
        return MEASURE
    diameter, depth = hole.rebate
    return f"{mm(diameter)}, {mm(depth)} deep" if depth is not None else f"{mm(diameter)}, deep as its flange"


def _ducts(result: CabinetSheet) -> list[str]:
    return [line for each in result.tubes for text in _duct(each) for line in wrap(text, "    ", "  ")]


def _duct(each: Tube) -> Iterator[str]:
    duct = each.duct
    shape = f"slot {_sizes(*duct.sides)}" if duct.sides else f"{mm(duct.diameter)} mm inside"
    many = f"{duct.spec.count} of them, " if duct.spec.count > 1 else ""
    wall = f"wall {duct.wall * 1e3:.3g} mm{'' if duct.spec.wall else ' (assumed)'}"
    face = f"the {duct.cutout.face}" if duct.cutout else "a board (its place is not in the kit)"
    yield (
        f"{duct.name}: {many}{shape}, {wall}; cut {mm(duct.length)} mm ({inches(duct.length)} in) long in all, of which"
        f" {mm(min(duct.board, duct.length))} mm lie in {face} and {mm(duct.inside)} mm behind it"
    )
    ends = f"outer end {ENDS[duct.spec.end]}, inner end {ENDS[duct.spec.inner_end]}"
    before = f", {mm(each.before)} mm before the opposite board" if each.before is not None else ""
    if each.before is not None and each.before <= 0:
        before = ": it is longer than the space inside, so it has to bend"
    yield f"{ends}{before}"
    what = "tunes its box to" if each.shorter != each.longer else "the line's first resonance is"
    offs = {"shorter": each.shorter, "longer": each.longer}
    known = [f"{length * 1e3:.1f} mm {word}" for word, length in offs.items() if length and math.isfinite(length)]
    if each.shorter == each.longer:
        known = [text.replace(" shorter", " of this duct") for text in known[:1]]
    exact = f"; 1 Hz is {' or '.join(known)}" if known else ""
    yield f"{what} {each.tuning:.1f} Hz with still cones and no filling{exact}"


def _lines(result: CabinetSheet) -> list[str]:
    return [line for run in result.runs for line in _run(result, run)]


def _run(result: CabinetSheet, run: Run) -> Iterator[str]:
    drivers = result.cabinet.chambers[run.chamber].drivers
    yield from wrap(f"line of {wording.listed(drivers)}, along its axis from the closed end:", "    ", "  ")
    filled = {each.section: each for each in result.fillings if each.chamber == run.chamber}
    rows = [_stretch(each, filled.get(each.number)) for each in run.stretches]
    yield from _table(["section", "from", "to", "length", "area", "width x depth", "filling"], rows, "    ")
    places = ", ".join(f"{name} at {mm(place)} mm" for name, place in run.places.items())
    yield from wrap(f"along it: {places}; in all {mm(run.length)} mm", "    ")
    if math.isfinite(run.per_hertz):
        text = f"first resonance {run.resonance:.1f} Hz with still cones and no filling; 1 Hz is"
        yield from wrap(f"{text} {mm(run.per_hertz)} mm of its last section", "    ")
    for bend, piece in run.boards:
        text = (
            f"fold profile.{bend}: a board {_sizes(piece.length, piece.width, piece.thickness)} between the legs, its"
            " end in the fold rounded"
        )
        yield from wrap(text, "    ")
    if any(each.section.bend for each in run.stretches):
        yield from wrap("bends are computed as round: block their outer corners, or they hold air of no use", "    ")
    if run.inside is not None:
        fits = "it goes into the cabinet" if run.inside else "IT DOES NOT GO INTO THE CABINET as its bends lay it"
        yield from wrap(f"{fits}, by the lengths and widths of its legs", "    ")


def _stretch(each: Stretch, filling: Filling | None) -> list[str]:
    section = each.section
    area = f"{section.area * 1e4:.0f} cm2"
    if not math.isclose(section.area, section.end_area):
        area += f" to {section.end_area * 1e4:.0f}"
    sides = _sizes(*section.sides) if section.sides else "not told"
    if section.sides and each.end_sides and not math.isclose(section.area, section.end_area):
        sides += f", then {mm(each.end_sides[1])} deep"
    bend = f" (turns {math.degrees(section.bend.angle):.0f} deg)" if section.bend else ""
    where = [f"{mm(each.start)} mm", f"{mm(each.end)} mm", f"{mm(section.length)} mm"]
    return [f"profile.{each.number}{bend}", *where, area, sides, _mass(filling) if filling else ""]


def _mass(filling: Filling) -> str:
    return f"{weighed(filling.mass) * 1e3:.0f} g" if filling.mass is not None else "see below"


def _fillings(result: CabinetSheet) -> list[str]:
    return [line for each in result.fillings for line in wrap(_filling(result, each), "    ", "  ")]


def _filling(result: CabinetSheet, each: Filling) -> str:
    chamber = result.cabinet.chambers[each.chamber]
    where = f"box of {wording.listed(chamber.drivers)}"
    if isinstance(chamber, LineChamber):
        where = f"profile.{each.section} of the line of {wording.listed(chamber.drivers)}"
    how = ", as a lining on its walls" if each.spec.share < 1 else ", loosened and even in all of it"
    if each.mass is None:
        sigma = f"{each.spec.flow_resistivity:.0f} Pa.s/m2"
        return (
            f"{where}: a filling of {sigma} in {litres(each.volume)}{how}; its mass cannot be told without a material"
        )
    material = (each.spec.material or "filling").replace("_", " ")
    return f"{where}: {weighed(each.mass) * 1e3:.0f} g of {material} in {litres(each.volume)}{how}"


def _standing(result: CabinetSheet) -> list[str]:
    lines = wrap(f"{result.variant.name} {LYING[result.variant.attitude]}", "    ", "  ")
    stand = result.stand
    if stand is None:
        return lines
    angles = {"to a side": stand.sideways, "to the front or back": stand.forwards}
    words = " and ".join(
        f"{math.floor(math.degrees(angle) * 10) / 10:.1f} degrees {way}" for way, angle in angles.items()
    )
    enough = "enough" if stand.tips >= STEADY else "NOT ENOUGH"
    text = (
        f"{_sizes(stand.across, stand.up, stand.deep)} as it stands, {stand.up / stand.deep:.1f} times as high as deep;"
        f" it tips over from {words}, its centre taken in its middle: {enough}, practice asks for"
        f" {math.degrees(STEADY):.0f}"
    )
    return [*lines, *wrap(text, "    ", "  ")]


def _care(result: CabinetSheet) -> list[str]:
    return [line for word in result.cautions for line in wrap(CAUTIONS[word], "    ", "  ")]
