"""The drawing of the cabinet sheet: every board to scale with its holes, and the line along its axis.

Told apart without colour: a hole that is to be measured has a broken outline, a rebate a dotted one, filling is
hatched, and the board that comes to lie below has a thick edge and says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon, Rectangle

from system.cabinet import Face
from system.sheets.cabinet_texts import mm
from system.sheets.plots import INK
from system.workshop.carpentry import CabinetSheet
from system.workshop.lengths import Run, Stretch
from system.workshop.panels_cut import Hole, Panel

GAP, NAMED = 0.045, 0.14  # after a board, and after one whose holes are told beside it: of the width of all boards
SMALL, LABEL = 6.5, 7.5
LONGEST = 15  # letters of a name beside a board
LIGHT = "#8a8a8a"
BROKEN, DOTTED = (0, (4, 2)), (0, (1, 1.5))
# the edge of the front and of the rear, seen from outside, at which a side lies
EDGES: Mapping[tuple[Face, Face], str] = {
    ("front", "bottom"): "below",
    ("front", "left"): "left",
    ("front", "right"): "right",
    ("rear", "bottom"): "below",
    ("rear", "left"): "right",
    ("rear", "right"): "left",
}


@dataclass(frozen=True, slots=True)
class Laid:
    """A panel on the drawing: its lower left corner, m."""

    panel: Panel
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Spread:
    """All panels beside each other on an area of `width` by `height` (m)."""

    laid: tuple[Laid, ...]
    width: float
    height: float


def spread(sheet: CabinetSheet) -> Spread:
    """Left, front, right and rear in a row as one walks round the cabinet, then the top over the bottom."""
    by_face = {panel.face: panel for panel in sheet.panels}
    order: tuple[Face, ...] = ("left", "front", "right", "rear")
    row = [by_face[face] for face in order]
    wide = sum(panel.width for panel in row) + by_face["top"].width
    gap = 0.07 * wide  # below and above, for words
    laid, x = [], GAP * wide
    for panel in row:
        laid.append(Laid(panel, x, gap))
        x += panel.width + (NAMED if panel.holes else GAP) * wide
    bottom, top = by_face["bottom"], by_face["top"]
    laid += [Laid(bottom, x, gap), Laid(top, x, 2.2 * gap + bottom.height)]
    tallest = max(row[0].height, 1.2 * gap + bottom.height + top.height)
    beside = (NAMED if top.holes or bottom.holes else GAP) * wide
    return Spread(tuple(laid), x + top.width + beside, tallest + 1.8 * gap)


def draw_boards(axes: Axes, sheet: CabinetSheet) -> None:
    """All boards into given axes, which get one scale for both directions, in m."""
    whole = spread(sheet)
    axes.set_xlim(0, whole.width)
    axes.set_ylim(0, whole.height)
    axes.set_aspect("equal")
    axes.set_axis_off()
    for each in whole.laid:
        _board(axes, each, sheet, whole.width)


def _board(axes: Axes, each: Laid, sheet: CabinetSheet, width: float) -> None:
    panel, x, y, step = each.panel, each.x, each.y, 0.008 * width
    axes.add_patch(Rectangle((x, y), panel.width, panel.height, fill=False, edgecolor=INK, linewidth=1.1))
    left, right, low, high = panel.inside
    inner = (x + left, y + low), right - left, high - low
    axes.add_patch(Rectangle(*inner, fill=False, edgecolor=LIGHT, linewidth=0.5))
    middle = x + panel.width / 2
    axes.text(middle, y + panel.height + step, panel.face, ha="center", va="bottom", fontsize=LABEL + 1, color=INK)
    size = f"{mm(panel.width)} x {mm(panel.height)} x {mm(panel.thickness)}"
    axes.text(middle, y - step, size, ha="center", va="top", fontsize=SMALL, color=INK)
    for hole in panel.holes:
        _hole(axes, each, hole)
    _names(axes, each, width)
    below = sheet.stand.below if sheet.stand else None
    if below == panel.face:
        axes.text(middle, y - 4.2 * step, "lies below", ha="center", va="top", fontsize=LABEL, color=INK, weight="bold")
    if below is not None and (panel.face, below) in EDGES:
        ends = {
            "below": ((x, x + panel.width), (y, y)),
            "left": ((x, x), (y, y + panel.height)),
            "right": ((x + panel.width, x + panel.width), (y, y + panel.height)),
        }[EDGES[panel.face, below]]
        axes.plot(*ends, color=INK, linewidth=4, solid_capstyle="butt")


def _hole(axes: Axes, each: Laid, hole: Hole) -> None:
    x, y = each.x + hole.x, each.y + hole.y
    across, up = hole.reach
    known = hole.sides is not None or hole.diameter is not None
    style: dict[str, Any] = {"fill": False, "edgecolor": INK, "linewidth": 1.0, "linestyle": "-" if known else BROKEN}
    if hole.sides is not None:
        axes.add_patch(Rectangle((x - across, y - up), 2 * across, 2 * up, **style))
    else:
        axes.add_patch(Circle((x, y), across, **style))
    if hole.rebate is not None:
        radius = hole.rebate[0] / 2
        axes.add_patch(Circle((x, y), radius, fill=False, edgecolor=INK, linewidth=0.7, linestyle=DOTTED))
    cross = 0.15 * each.panel.width
    axes.plot((x - cross / 2, x + cross / 2), (y, y), color=INK, linewidth=0.6)
    axes.plot((x, x), (y - cross / 2, y + cross / 2), color=INK, linewidth=0.6)


def _names(axes: Axes, each: Laid, width: float) -> None:
    """What each hole is, right of the board at its height, moved apart where words would touch."""
    holes = sorted(each.panel.holes, key=lambda hole: hole.y)
    step, x = 0.052 * width, each.x + each.panel.width
    places: list[float] = []
    for hole in holes:
        wanted = each.y + hole.y
        places.append(max(wanted, places[-1] + step) if places else max(wanted, each.y))
    for hole, place in zip(holes, places, strict=True):
        start = each.x + hole.x + hole.reach[0]
        axes.plot((start, x + 0.006 * width), (each.y + hole.y, place), color=INK, linewidth=0.4)
        axes.text(x + 0.01 * width, place, _words(hole), ha="left", va="center", fontsize=SMALL, color=INK)


def _words(hole: Hole) -> str:
    """Its name, its size, and how far it is from the left and from below."""
    name = hole.name if len(hole.name) <= LONGEST else f"{hole.name[: LONGEST - 2]}.."
    many = f"{hole.count} x " if hole.count > 1 else ""
    known = f"diameter {mm(hole.diameter)}" if hole.diameter is not None else "measure"
    size = f"{mm(hole.sides[0])} x {mm(hole.sides[1])}" if hole.sides is not None else known
    return f"{many}{name}\n{size}\nat {mm(hole.x)}, {mm(hole.y)}"


def draw_line(axes: Axes, sheet: CabinetSheet, run: Run) -> None:
    """A line straightened out, with what sits along it, into given axes."""
    filled = {each.section for each in sheet.fillings if each.chamber == run.chamber}
    highest = max(max(_depths(each)) for each in run.stretches)
    axes.set_xlim(-0.02 * run.length, 1.02 * run.length)
    axes.set_ylim(-1.15 * highest, 1.35 * highest)
    axes.set_axis_off()
    for each in run.stretches:
        begin, end = (depth / 2 for depth in _depths(each))
        shape = [(each.start, -begin), (each.end, -end), (each.end, end), (each.start, begin)]
        hatch = "..." if each.number in filled else None
        axes.add_patch(Polygon(shape, fill=False, edgecolor=INK, linewidth=0.9, hatch=hatch))
        words = f"profile.{each.number}\n{mm(each.section.length)}"
        if each.section.bend is not None:
            words += f"\nturns {math.degrees(each.section.bend.angle):.0f}"
        middle = (each.start + each.end) / 2
        axes.text(middle, -0.55 * highest, words, ha="center", va="top", fontsize=SMALL, color=INK)
    axes.plot((0, 0), (-_depths(run.stretches[0])[0] / 2, _depths(run.stretches[0])[0] / 2), color=INK, linewidth=3.5)
    mouths = {name for name in run.places if name not in sheet.variant.hookups}
    for row, (name, place) in enumerate(run.places.items()):
        high = highest * (0.62 + 0.26 * (row % 2))
        dash = "-" if name in mouths else BROKEN
        axes.plot((place, place), (0, high), color=INK, linewidth=0.9, linestyle=dash)
        axes.plot(place, 0, marker="s" if name in mouths else "o", color=INK, markersize=4)
        side = "right" if place > 0.9 * run.length else "left" if place < 0.1 * run.length else "center"
        axes.text(place, high, f"{name} {mm(place)}", ha=side, va="bottom", fontsize=SMALL, color=INK)


def _depths(each: Stretch) -> tuple[float, float]:
    """What stands for the section's size at either end, m."""
    if each.section.sides is not None and each.end_sides is not None:
        return each.section.sides[1], each.end_sides[1]
    return math.sqrt(each.section.area), math.sqrt(each.section.end_area)
