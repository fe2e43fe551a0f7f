"""How what goes all round is drawn: a map of level over frequency and angle, and polar graphs.

Both stand on ordinary axes. The map's bands are told apart by how dark they are, their borders by dash, and both by
words; lines of a polar graph are told apart by dash.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import MultipleLocator

from system.sheets import scales
from system.sheets.ink import DECADE, FAINT, INK, rule, styles
from system.sheets.pictures import AngleMap, Floats, Polar

# dB, where one band of the map ends, how its border is drawn, and the ink of the band above it
BORDERS = (-20.0, -12.0, -6.0, -3.0, 3.0)
DASHES: list[Any] = ["dotted", "dashdot", "dashed", "solid", "solid"]
WEIGHTS = (1.0, 1.0, 1.1, 1.5, 0.6)
BANDS = ("#5d6570", "#8c949c", "#b4bac0", "#d9dcdf", "#ffffff", "#f3e3b6")
HATCHING = [None, None, None, None, None, "...."]  # louder than straight ahead: as light as what is alike
BAND_WORDS = ("below -20 dB", "-20 to -12 dB", "-12 to -6 dB", "-6 to -3 dB", "within 3 dB", "above +3 dB")
FAR = 1e4  # dB, beyond anything
TOLD = (-6.0, -3.0, 3.0)  # dB, borders that lie on a light ground and have figures

CENTRE = -30.0  # dB, in the middle of a polar graph
RING = 10.0  # dB from one ring to the next
ROUND = 3.6  # inches, of a polar graph
SPOKE = 30  # degrees
OUT = 1.12  # of the radius, where the axes end


def map_size(picture: AngleMap) -> tuple[float, float]:
    """Width and height of the axes, inches."""
    return float(np.log10(picture.frequency[-1] / picture.frequency[0])) * DECADE, 1.35 * DECADE


def fill_map(axes: Axes, picture: AngleMap) -> None:
    """Bands of level over frequency and angle, their borders as lines, and what each means at the right."""
    f, angles = picture.frequency, picture.angles
    rule(axes, "x", scales.across("frequency", float(f[0]), float(f[-1])))
    axes.set_ylim(float(angles[0]), float(angles[-1]))
    axes.yaxis.set_major_locator(MultipleLocator(30))
    axes.tick_params(labelsize=9)
    levels = np.clip(picture.levels, -FAR / 2, FAR / 2)
    axes.contourf(f, angles, levels, [-FAR, *BORDERS, FAR], colors=BANDS, hatches=HATCHING)
    drawn = axes.contour(f, angles, levels, BORDERS, colors=INK, linewidths=WEIGHTS)
    drawn.set_linestyle(DASHES)
    axes.clabel(drawn, TOLD, fmt=lambda value: f"{value:+.0f}", fontsize=7.5, inline_spacing=2)
    axes.axhline(0.0, color=INK, linewidth=0.5)
    axes.text(-0.015, 1.03, "degrees", transform=axes.transAxes, ha="right", va="bottom", fontsize=9)
    _key(axes)
    for edge, va, side in ((0.0, "bottom", picture.sides[0]), (1.0, "top", picture.sides[1])):
        axes.text(
            0.01, edge + (0.02 if edge == 0 else -0.02), side, transform=axes.transAxes, va=va, fontsize=8.5,
            color=INK, bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )  # fmt: skip


def _key(axes: Axes) -> None:
    """A box of each band with its words, from the loudest down, to the right of the axes."""
    wide, high = (side / axes.figure.dpi for side in (axes.bbox.width, axes.bbox.height))
    told = list(zip(BANDS, HATCHING, BAND_WORDS, strict=True))
    for n, (ink, hatch, words) in enumerate(reversed(told)):
        bottom = 1.0 - (0.22 * (n + 1)) / high
        box = Rectangle(
            (1 + 0.1 / wide, bottom), 0.22 / wide, 0.15 / high, transform=axes.transAxes, facecolor=ink, edgecolor=INK,
            linewidth=0.6, clip_on=False, hatch=hatch,
        )  # fmt: skip
        axes.add_patch(box)
        axes.text(1 + 0.38 / wide, bottom + 0.075 / high, words, transform=axes.transAxes, va="center", fontsize=8.5)


def polar_size(picture: Polar) -> tuple[float, float]:
    """Width and height of the axes, inches: before a wall there is half of it."""
    (left, right), (low, high) = _reach(picture)
    return ROUND * (right - left) / (2 * OUT), ROUND * (high - low) / (2 * OUT)


def _whole(picture: Polar) -> bool:
    return bool(picture.angles[-1] > 90)


def _reach(picture: Polar) -> tuple[tuple[float, float], tuple[float, float]]:
    """How far the axes go to left and right, down and up, against the radius of the outermost ring."""
    if _whole(picture):
        return (-OUT, OUT), (-OUT, OUT)
    half = {"above": ((-OUT, OUT), (-OUT, 0.12)), "side": ((-0.12, OUT), (-OUT, OUT))}
    return half[picture.view]


# Where on the page an angle (radians) goes, as a unit vector: right and up.
VIEWS: Mapping[str, Callable[[Floats], tuple[Floats, Floats]]] = {
    "above": lambda angle: (np.sin(angle), -np.cos(angle)),
    "side": lambda angle: (np.cos(angle), np.sin(angle)),
}
SIDES: Mapping[str, Mapping[int, str]] = {
    "above": {0: "you", 90: "right 90", -90: "left 90", 180: "180, behind"},
    "side": {0: "you", 90: "up 90", -90: "down 90", 180: "behind"},
}


def fill_polar(axes: Axes, picture: Polar) -> None:
    """Lines about a middle, ring by ring, and the names of the lines with their dashes at the right."""
    highest = max(float(np.max(line.values)) for line in picture.lines)
    outer = max(0.0, min(20.0, RING / 2 * np.ceil(highest / (RING / 2))))
    view = VIEWS[picture.view]
    reach = outer - CENTRE
    axes.set_aspect("equal")
    axes.set_axis_off()
    (left, right), (low, high) = _reach(picture)
    axes.set_xlim(left * reach, right * reach)
    axes.set_ylim(low * reach, high * reach)
    axes.apply_aspect()  # so that what is measured below is as large as it will be
    _rings(axes, picture, outer)
    for (colour, dash, weight), line in zip(styles(len(picture.lines)), picture.lines, strict=True):
        angles, values = picture.angles, np.clip(line.values, CENTRE, outer)
        if _whole(picture):  # closed: the last angle is that before the first
            angles, values = np.append(angles, angles[0] + 360.0), np.append(values, values[0])
        fine = np.linspace(angles[0], angles[-1], 8 * (angles.size - 1) + 1)
        x, y = view(np.radians(fine))
        r = np.interp(fine, angles, values) - CENTRE
        axes.plot(r * x, r * y, color=colour, linestyle=dash, linewidth=weight)
    wide, tall = (side / axes.figure.dpi for side in (axes.bbox.width, axes.bbox.height))
    for n, ((colour, dash, weight), line) in enumerate(zip(styles(len(picture.lines)), picture.lines, strict=True)):
        at = 0.92 - 0.2 * n / tall
        axes.plot(
            [1 + 0.5 / wide, 1 + 0.95 / wide], [at, at], transform=axes.transAxes, color=colour, linestyle=dash,
            linewidth=weight, clip_on=False,
        )  # fmt: skip
        axes.text(1 + 1.05 / wide, at, line.label, transform=axes.transAxes, va="center", fontsize=8.5, color=colour)


def _rings(axes: Axes, picture: Polar, outer: float) -> None:
    """Circles with their levels, spokes with their angles, and words at the four ends."""
    view = VIEWS[picture.view]
    farthest = float(picture.angles[-1])  # 180, or 90 before a wall
    arc = np.radians(np.linspace(-farthest, farthest, 181))
    x, y = view(arc)
    rings = [outer, *np.arange(RING * np.floor(outer / RING), CENTRE, -RING)]
    for ring in dict.fromkeys(float(r) for r in rings):
        r = ring - CENTRE
        bold = ring == 0.0
        axes.plot(r * x, r * y, color=INK if bold else FAINT, linewidth=0.9 if bold else 0.7, zorder=0.5)
    reach = outer - CENTRE
    for angle in range(-180 + SPOKE, 180 + SPOKE, SPOKE):
        if abs(angle) > farthest:
            continue
        (sx,), (sy,) = view(np.radians(np.array([float(angle)])))
        axes.plot([0, reach * sx], [0, reach * sy], color=FAINT, linewidth=0.6, zorder=0.4)
        words = SIDES[picture.view].get(angle, f"{abs(angle)}")
        ha = "left" if sx > 0.3 else "right" if sx < -0.3 else "center"
        axes.text(1.04 * reach * sx, 1.06 * reach * sy, words, ha=ha, va="center", fontsize=8, color=INK)
    (lx,), (ly,) = view(np.radians(np.array([45.0])))
    for ring in dict.fromkeys(float(r) for r in rings):
        r = ring - CENTRE
        axes.text(
            r * lx, r * ly, f"{ring:g} dB" if ring == 0 else f"{ring:g}", ha="center", va="center", fontsize=7.5,
            color=INK, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.85},
        )  # fmt: skip
