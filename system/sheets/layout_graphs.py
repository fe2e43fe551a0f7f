"""The plan of the board: every part to scale, with its reference, its points and the way its axis points.

Told apart without colour: coils are rings or have an arrow through them, resistors are hatched, capacitors plain; what
is bridged or left out has a broken outline and says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyArrowPatch, Patch, Polygon, Rectangle
from matplotlib.ticker import MultipleLocator

from system import wording
from system.kit import Place
from system.outline import XY, Body, body
from system.sheets.plots import INK
from system.workshop.layout import LayoutResult

INCH = 25.4  # mm
LONGEST = 250.0  # mm of board that are drawn as large as they are
LEFT, RIGHT, ABOVE, BELOW = 0.6, 0.3, 0.85, 0.4  # inches
LEAST = 5.2  # inches, for the words above it
STUB = 4.0  # mm of lead that is drawn
SMALL, LABEL = 6.0, 7.5
STATES = {"link": "wire link", "omit": "leave out"}
DASHES: Mapping[str, tuple[float, Sequence[float]] | None] = {"fit": None, "link": (0, (5, 2)), "omit": (0, (1, 2))}
ROOMY = 14.0  # mm of a part's shorter side in plan, from which on two lines of words go into it


def plans(results: Sequence[LayoutResult]) -> Figure:
    """The boards of some variants of a kit below each other; up to 250 mm as large as they are."""
    length, width = (side * 1e3 for side in results[0].layout.board)
    scale = min(1.0, LONGEST / max(length, width))
    across, high = length * scale / INCH, width * scale / INCH
    page = max(across, LEAST)
    size = (LEFT + page + RIGHT, len(results) * (ABOVE + high + BELOW))
    figure = Figure(figsize=size)
    top = size[1]
    drawn = "as large as it is if printed at full size" if scale == 1 else f"to scale, 1 : {1 / scale:.2f}"
    said = f"From above, {drawn}; mm. An arrow begins at the part's first point; a coil that stands has it on the left."
    for result in results:
        top -= ABOVE
        axes = figure.add_axes((LEFT / size[0], (top - high) / size[1], across / size[0], high / size[1]))
        title = f"The board of {result.variant.name}"
        figure.text(0.15 / size[0], (top + 0.48) / size[1], title, fontsize=11, weight="bold", color=INK)
        figure.text(0.15 / size[0], (top + 0.28) / size[1], said, fontsize=6.5, color=INK)
        plan(axes, result)
        top -= high + BELOW
    return figure


def plan(axes: Axes, result: LayoutResult) -> None:
    """One variant's board into given axes, which get limits and ticks in mm and one scale for both directions."""
    layout, variant = result.layout, result.variant
    length, width = (side * 1e3 for side in layout.board)
    axes.set_xlim(0, length)
    axes.set_ylim(0, width)
    axes.set_aspect("equal")
    axes.add_patch(Rectangle((0, 0), length, width, fill=False, edgecolor=INK, linewidth=1.2, clip_on=False))
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MultipleLocator(20))
        axis.set_minor_locator(MultipleLocator(10))
    axes.tick_params(labelsize=SMALL + 0.5, length=2.5)
    axes.grid(True, which="both", color="#ececea", linewidth=0.4)
    axes.set_axisbelow(True)
    here = [(body(layout, place), place) for name, place in variant.places.items() if name in layout.spots]
    # what is not fitted first, so that a part in the same place is drawn over it
    for each, place in sorted(here, key=lambda pair: (pair[1].state == "fit", pair[0].low)):
        _part(axes, each, place)


def _part(axes: Axes, each: Body, place: Place) -> None:
    for patch in _outlines(each, place):
        patch.set_linestyle(DASHES[place.state])
        axes.add_patch(patch)
    if place.state == "fit" or place.state == "link":
        _leads(axes, each, place)
    if place.state == "fit" and each.winding is not None:
        AXES[each.spot.angle is None](axes, each)
    x, y = (1e3 * value for value in each.spot.at)
    value = STATES.get(place.state) or wording.part_value(place.part.kind, place.part.marked)
    left, right, lower, upper = (1e3 * value for value in each.reach)
    roomy = min(right - left, upper - lower) >= ROOMY
    lying = not roomy and each.spot.angle is not None
    # words in a narrow part run along it, and are never upside down
    turned = (math.degrees(each.spot.angle or 0.0) + 89.5) % 180 - 89.5 if lying else 0.0
    standing_coil = each.winding is not None and each.spot.angle is None and place.state == "fit"
    axes.text(
        x,
        y + (0.0 if not standing_coil else 3.2),
        f"{each.reference}\n{value}" if roomy and not standing_coil else f"{each.reference} {value}",
        ha="center",
        va="bottom" if standing_coil else "center",
        fontsize=LABEL if roomy else SMALL,
        color=INK,
        linespacing=1.1,
        rotation=turned,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
        zorder=4,
    )


def _outlines(each: Body, place: Place) -> list[Patch]:
    face = "white" if place.state == "fit" else "none"
    x, y = (1e3 * value for value in each.spot.at)
    line = {"edgecolor": INK, "linewidth": 1.0}
    if each.winding is not None and each.spot.angle is None:
        inner = each.winding.inner_diameter * 1e3 / 2
        return [
            Circle((x, y), each.round * 1e3, facecolor=face, **line),
            Circle((x, y), inner, facecolor="none", **{**line, "linewidth": 0.7}),
        ]
    hatch = "////" if place.part.kind == "resistor" and place.state == "fit" else None
    corners = [(1e3 * u, 1e3 * v) for u, v in each.corners]
    return [Polygon(corners, closed=True, facecolor=face, hatch=hatch, **line)]


def _ends(each: Body) -> tuple[XY, XY, XY]:
    """Where its leads leave it, mm: of the first point, of the second; and the direction from one to the other."""
    angle = each.spot.angle or 0.0
    direction = (math.cos(angle), math.sin(angle))
    half = each.round * 1e3
    if not half:
        (ax, ay), (bx, by) = each.corners[0], each.corners[1]
        half = 1e3 * math.hypot(ax - bx, ay - by) / 2
    x, y = (1e3 * value for value in each.spot.at)
    first = (x - half * direction[0], y - half * direction[1])
    return first, (x + half * direction[0], y + half * direction[1]), direction


def _leads(axes: Axes, each: Body, place: Place) -> None:
    """Two stubs with the names of the points they go to."""
    first, second, (u, v) = _ends(each)
    edge = axes.get_xlim()[1]
    for (x, y), sign, point in ((first, -1, place.between[0]), (second, 1, place.between[1])):
        tip = (x + sign * STUB * u, y + sign * STUB * v)
        axes.plot((x, tip[0]), (y, tip[1]), color=INK, linewidth=1.0, zorder=3)
        axes.plot(*tip, marker="o", markersize=2.2, color=INK, zorder=3, clip_on=False)
        beside = abs(v) > 0.7  # leads that leave upward or downward
        # what begins one part and ends its neighbour would meet: one is written over its lead, one under it
        offset = (2.0, 0.0) if beside else (0.0, -2.0 * sign)
        inward = tip[0] + 1.2 * len(point) > edge  # no room to the right
        axes.annotate(
            point,
            tip,
            xytext=offset,
            textcoords="offset points",
            ha="right" if inward and not beside else "left" if beside else "center",
            va="center" if beside else "top" if sign > 0 else "bottom",
            fontsize=SMALL,
            color=INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3},
            zorder=5,
        )


def _standing(axes: Axes, each: Body) -> None:
    """The point of an arrow that comes towards one: a dot in a ring."""
    x, y = (1e3 * value for value in each.spot.at)
    axes.add_patch(Circle((x, y), 2.0, facecolor="white", edgecolor=INK, linewidth=0.9, zorder=3))
    axes.add_patch(Circle((x, y), 0.7, facecolor=INK, edgecolor=INK, zorder=3))


def _lying(axes: Axes, each: Body) -> None:
    """An arrow along the coil's axis, beside its words."""
    first, second, (u, v) = _ends(each)
    assert each.winding is not None
    aside = 0.3 * each.winding.outer_diameter * 1e3
    shift = (-v * aside, u * aside)
    axes.add_patch(
        FancyArrowPatch(
            (first[0] + shift[0], first[1] + shift[1]),
            (second[0] + shift[0], second[1] + shift[1]),
            arrowstyle="-|>",
            mutation_scale=9,
            color=INK,
            linewidth=1.0,
            zorder=3,
        )
    )


# whether a coil stands -> how its axis is drawn
AXES: Mapping[bool, Callable[[Axes, Body], None]] = {True: _standing, False: _lying}
