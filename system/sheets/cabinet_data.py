"""The cabinet sheet as plain data for JSON and CSV, in the units their names say."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from system.sheets.data import table_csv
from system.wood import Piece
from system.workshop.carpentry import CabinetSheet, Filling, Share, Stand
from system.workshop.displacement import Balance
from system.workshop.lengths import Run, Stretch, Tube
from system.workshop.panels_cut import Hole, Panel, sixteenths

STEP_OF_MASS = 0.005  # kg: filling is not weighed finer


@dataclass(frozen=True, slots=True)
class Cut:
    """A row of the cutting list: `count` boards of one size (m), the longer side first, and what they are."""

    names: tuple[str, ...]
    count: int
    length: float
    width: float
    thickness: float


def cuts(sheet: CabinetSheet) -> list[Cut]:
    """The cutting list; boards of one size are one row."""
    rows: dict[tuple[int, int, int], Cut] = {}
    for name, piece in _boards(sheet):
        long, short = max(piece.length, piece.width), min(piece.length, piece.width)
        size = (round(long * 1e6), round(short * 1e6), round(piece.thickness * 1e6))
        old = rows.get(size)
        names = tuple(dict.fromkeys((*(old.names if old else ()), name)))
        rows[size] = Cut(names, piece.count + (old.count if old else 0), long, short, piece.thickness)
    return list(rows.values())


def _boards(sheet: CabinetSheet) -> Iterable[tuple[str, Piece]]:
    for panel in sheet.panels:
        yield panel.face, Piece(panel.height, panel.width, panel.thickness)
    yield from sheet.pieces


def inches(metres: float) -> str:
    """A length to a sixteenth of an inch: `7 1/16`, `3/4`, `18`."""
    whole, part = divmod(sixteenths(metres), 16)
    if not part:
        return f"{whole}"
    shared = math.gcd(part, 16)
    fraction = f"{part // shared}/{16 // shared}"
    return f"{whole} {fraction}" if whole else fraction


def weighed(mass: float) -> float:
    """A mass of filling (kg) to 5 g; what is less than that stays, so that it does not vanish."""
    return STEP_OF_MASS * max(1, math.floor(mass / STEP_OF_MASS + 0.5))


def cabinet(sheet: CabinetSheet) -> dict[str, Any]:
    """Everything of one variant's cabinet."""
    inside, baffle, boards = sheet.inside, sheet.cabinet.baffle, sheet.cabinet.boards
    outside = (baffle.width, baffle.height, baffle.depth) if baffle else None
    return {
        "cabinet": sheet.cabinet.name,
        "attitude": sheet.variant.attitude,
        "outside_mm": _mm(outside),
        "inside_mm": _mm(inside),
        "boards": {
            "thickness_mm": boards.thickness * 1e3,
            "front_mm": boards.front * 1e3,
            "rear_mm": boards.rear * 1e3,
            "area_m2": sheet.area,
            "mass_kg": sheet.mass,
        },
        "volume": _balance(sheet.balance) if sheet.balance else None,
        "chambers": [_share(share) for share in sheet.shares],
        "cut": [_cut(row) for row in cuts(sheet)],
        "panels": [_panel(panel) for panel in sheet.panels],
        "ducts": {each.duct.name: _tube(each) for each in sheet.tubes},
        "lines": [_run(run) for run in sheet.runs],
        "filling": [_filling(each) for each in sheet.fillings],
        "stand": _stand(sheet.stand) if sheet.stand else None,
        "cautions": list(sheet.cautions),
    }


def _mm(sizes: Iterable[float] | None) -> list[float] | None:
    return None if sizes is None else [size * 1e3 for size in sizes]


def _maybe_mm(length: float | None) -> float | None:
    return None if length is None or not math.isfinite(length) else length * 1e3


def _balance(balance: Balance) -> dict[str, Any]:
    return {
        "outside_l": balance.gross * 1e3,
        "boards_l": balance.boards * 1e3,
        "inside_l": balance.inner * 1e3,
        "taken": [
            {
                "what": each.what,
                "name": each.name,
                "count": each.count,
                "chamber": each.chamber,
                "volume_l": each.volume * 1e3,
                "assumed": each.assumed or None,
            }
            for each in balance.taken
        ],
        "left_l": balance.left * 1e3,
        "net_l": balance.net * 1e3,
        "difference_l": balance.over * 1e3,
        "difference_percent": balance.off * 100,
        "deeper_mm": balance.deeper * 1e3,
    }


def _share(share: Share) -> dict[str, Any]:
    return {
        "chamber": share.chamber,
        "net_l": share.net * 1e3,
        "taken_l": share.taken * 1e3,
        "height_mm": share.height * 1e3,
    }


def _cut(row: Cut) -> dict[str, Any]:
    return {
        "names": list(row.names),
        "count": row.count,
        "length_mm": row.length * 1e3,
        "width_mm": row.width * 1e3,
        "thickness_mm": row.thickness * 1e3,
        "length_in": inches(row.length),
        "width_in": inches(row.width),
        "thickness_in": inches(row.thickness),
    }


def _panel(panel: Panel) -> dict[str, Any]:
    return {
        "face": panel.face,
        "width_mm": panel.width * 1e3,
        "height_mm": panel.height * 1e3,
        "thickness_mm": panel.thickness * 1e3,
        "holes": [_hole(hole) for hole in panel.holes],
    }


def _hole(hole: Hole) -> dict[str, Any]:
    return {
        "name": hole.name,
        "kind": hole.kind,
        "count": hole.count,
        "left_mm": hole.x * 1e3,
        "below_mm": hole.y * 1e3,
        "diameter_mm": _maybe_mm(hole.diameter),
        "sides_mm": _mm(hole.sides),
        "rebate_diameter_mm": hole.rebate[0] * 1e3 if hole.rebate else None,
        "rebate_depth_mm": _maybe_mm(hole.rebate[1]) if hole.rebate else None,
    }


def _tube(tube: Tube) -> dict[str, Any]:
    duct = tube.duct
    return {
        "count": duct.spec.count,
        "diameter_mm": None if duct.sides else duct.diameter * 1e3,
        "sides_mm": _mm(duct.sides),
        "wall_mm": duct.wall * 1e3,
        "length_mm": duct.length * 1e3,
        "behind_board_mm": duct.inside * 1e3,
        "face": duct.cutout.face if duct.cutout else None,
        "end": duct.spec.end,
        "inner_end": duct.spec.inner_end,
        "tuning_hz": tube.tuning,
        "shorter_for_1_hz_mm": _maybe_mm(tube.shorter),
        "longer_for_1_hz_mm": _maybe_mm(tube.longer),
        "before_inner_end_mm": _maybe_mm(tube.before),
    }


def _run(run: Run) -> dict[str, Any]:
    return {
        "chamber": run.chamber,
        "length_mm": run.length * 1e3,
        "resonance_hz": run.resonance,
        "length_for_1_hz_mm": _maybe_mm(run.per_hertz),
        "goes_in": run.inside,
        "sections": [_stretch(each) for each in run.stretches],
        "places_mm": {name: place * 1e3 for name, place in run.places.items()},
        "fold_boards": [
            {"section": bend, "length_mm": p.length * 1e3, "width_mm": p.width * 1e3, "thickness_mm": p.thickness * 1e3}
            for bend, p in run.boards
        ],
    }


def _stretch(each: Stretch) -> dict[str, Any]:
    section = each.section
    return {
        "section": each.number,
        "from_mm": each.start * 1e3,
        "to_mm": each.end * 1e3,
        "length_mm": section.length * 1e3,
        "area_cm2": section.area * 1e4,
        "end_area_cm2": section.end_area * 1e4,
        "width_depth_mm": _mm(section.sides),
        "bend_deg": math.degrees(section.bend.angle) if section.bend else None,
    }


def _filling(each: Filling) -> dict[str, Any]:
    return {
        "chamber": each.chamber,
        "section": each.section,
        "material": each.spec.material,
        "volume_l": each.volume * 1e3,
        "mass_g": None if each.mass is None else weighed(each.mass) * 1e3,
        "flow_resistivity_pa_s_m2": each.spec.flow_resistivity,
        "share": each.spec.share,
    }


def _stand(stand: Stand) -> dict[str, Any]:
    return {
        "below": stand.below,
        "across_mm": stand.across * 1e3,
        "up_mm": stand.up * 1e3,
        "deep_mm": stand.deep * 1e3,
        "tips_sideways_deg": math.degrees(stand.sideways),
        "tips_forwards_deg": math.degrees(stand.forwards),
    }


CUT_HEADER = ("boards", "count", "length_mm", "width_mm", "thickness_mm", "length_in", "width_in", "thickness_in")
HOLE_HEADER = (
    "panel",
    "hole",
    "count",
    "left_mm",
    "below_mm",
    "diameter_mm",
    "width_mm",
    "height_mm",
    "rebate_diameter_mm",
    "rebate_depth_mm",
)


def csv_files(sheet: CabinetSheet) -> dict[str, str]:
    """The cutting list and the holes of a cabinet, by file name."""
    rows = [list(_cut(row).values()) for row in cuts(sheet)]
    holes = []
    for panel in sheet.panels:
        for hole in panel.holes:
            data = _hole(hole)
            sides = data["sides_mm"] or [None, None]
            place = (panel.face, hole.name, hole.count, data["left_mm"], data["below_mm"], data["diameter_mm"])
            holes.append([*place, *sides, data["rebate_diameter_mm"], data["rebate_depth_mm"]])
    name = sheet.variant.name
    return {
        f"{name}-boards.csv": table_csv(CUT_HEADER, [[" ".join(row[0]), *row[1:]] for row in rows]),
        f"{name}-holes.csv": table_csv(HOLE_HEADER, holes),
    }
