"""What all pictures share: inks and dashes that black and white tell apart, axes, and where words find room."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Literal

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ticker import FixedFormatter, FixedLocator, NullFormatter

from system.sheets.scales import Axis

DECADE = 2.2  # inches that a decade of frequency takes
# Where words may be parted: not between a number and its unit.
_GAP = re.compile(r"(?<!\d) | (?!(?:%|dB|k?Hz|V|ohm|m?m|m?s|W|uF|mH|g|L|degC)(?!\w))")

INK, SHADED, FAINT = "#1d2733", "#e0c98d", "#c9b8b2"
HATCHES = ("////", "....", "\\\\\\\\", "xxxx", "----", "oooo", "||||")  # told apart in black and white
# colour and dash together, so that a black-and-white print still tells the lines apart
STYLES = (
    ("#1d2733", "-", 1.8),
    ("#a4452c", (0, (6, 2)), 1.3),
    ("#2c6e63", (0, (2, 1.5)), 1.3),
    ("#7a5c99", (0, (7, 2, 1.5, 2)), 1.3),
    ("#8a6a14", (0, (1, 1)), 1.5),
    ("#3f6ea8", (0, (9, 2, 1, 2, 1, 2)), 1.3),
    ("#555b61", (0, (14, 3)), 1.3),
    ("#94407a", (0, (3, 3, 1, 3)), 1.3),
)
FONT = "DejaVu Sans"  # comes with matplotlib, so that pictures are the same everywhere
# How pictures are drawn and written, whatever the settings of who calls.
PLAIN = {
    "svg.hashsalt": "kitwright",
    "svg.fonttype": "path",
    "font.family": FONT,
    "font.size": 9,
    "text.parse_math": False,  # names of kits may hold anything
    "hatch.linewidth": 0.6,
}


@cache
def width_of(words: str, points: float, bold: bool = False) -> float:
    """How wide words are, in inches."""
    font = get_font(findfont(FontProperties(family=FONT, weight="bold" if bold else "normal")))
    font.set_size(points, 72)
    font.set_text(words)
    return float(font.get_width_height()[0]) / 64 / 72


def wrapped(words: str, points: float, width: float, bold: bool = False) -> list[str]:
    """Lines of at most `width` inches; a word that is longer has a line of its own. A number stays with its unit."""
    lines = [""]
    for word in _GAP.split(words):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if lines[-1] and width_of(longer, points, bold) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def apart(wanted: Sequence[float], step: float, most: float) -> list[float]:
    """Places as near to those `wanted` as can be with `step` between them, up from 0 and, if they fit, below `most`."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed: list[float] = []
    for i in order:
        placed.append(max(wanted[i], placed[-1] + step) if placed else max(wanted[i], 0.0))
    above = most
    for n in reversed(range(len(placed))):  # back down from the top, only as far as needed
        placed[n] = min(placed[n], above)
        above = placed[n] - step
    found = dict(zip(order, placed, strict=True))
    return [found[i] for i in range(len(wanted))]


def styles(count: int) -> list[tuple[str, object, float]]:
    """Colour, dash and weight of each of so many lines; beyond eight they come again."""
    return [STYLES[i % len(STYLES)] for i in range(count)]


class Strip:
    """Upright words along the bottom of a graph, each beside its own place, none over another; inches."""

    def __init__(self, thick: float) -> None:
        self.thick = thick
        self.taken: list[tuple[float, float, float]] = []  # left and right edge, top

    def put(self, at: float, long: float, sides: Iterable[str]) -> tuple[str, float]:
        """On which of the `sides` of the place `at` words of that length stand, and how far up they begin."""
        options = [(self._free(self._left(at, side)), n, side) for n, side in enumerate(sides)]
        start, _, side = min(options)
        left = self._left(at, side)
        self.taken.append((left, left + self.thick, start + long + 0.08))
        return side, start

    def _left(self, at: float, side: str) -> float:
        return at - self.thick if side == "left" else at

    def _free(self, left: float) -> float:
        touching = (top for a, b, top in self.taken if left < b and left + self.thick > a)
        return max(touching, default=0.0)


def rule(axes: Axes, which: Literal["x", "y"], axis: Axis) -> None:
    """Give matplotlib's axes an axis: where it begins and ends, its figures, and the words at the end of one across."""
    axes.set(**{f"{which}scale": "log" if axis.logarithmic else "linear", f"{which}lim": (axis.low, axis.high)})
    ruler = {"x": axes.xaxis, "y": axes.yaxis}[which]
    told = {place: words for place, words in axis.ticks.items() if words}
    ruler.set_major_locator(FixedLocator(list(told)))
    ruler.set_major_formatter(FixedFormatter(list(told.values())))
    ruler.set_minor_locator(FixedLocator([place for place in axis.ticks if place not in told]))
    ruler.set_minor_formatter(NullFormatter())
    ruler.set_tick_params(labelsize=9)
    if which == "x" and axis.words:
        axes.set_xlabel(axis.words, loc="right", labelpad=1, fontsize=9)
