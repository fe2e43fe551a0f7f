"""What the pictures of `parts` show, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from system import summary, wording
from system.findings import usage_error
from system.kit import HIGHEST_OF_PROGRAMME
from system.pairing import Paired
from system.reasons import Effect, content
from system.sheets.plots import Graph, Line
from system.shopping import Shopping

MOST = 6  # lines of one graph
FAR = 25.0  # dB, beyond which a change is drawn no further


def parts(result: Shopping, pairs: Sequence[Paired]) -> list[Graph]:
    """What each part that differs does in each variant; how far apart cabinets are as their parts are given out.

    Raises KitError where there is neither.
    """
    graphs = [*_differences(result), *_apart(pairs)]
    if not graphs:
        raise usage_error("a picture of no differences", "a kit whose variants differ in their parts, or --hand")
    return graphs


def _differences(result: Shopping) -> Iterator[Graph]:
    grid = summary.GRID
    heard = (grid >= result.kit.programme.lowest) & (grid <= HIGHEST_OF_PROGRAMME)
    for name, here in result.spots.items():
        found = [effect for spot in here.values() for effect in spot.reason.effects if effect.curve is not None]
        found.sort(key=lambda effect: -abs(effect.total.largest if effect.total else 0.0))
        if found:
            more = f"; the {MOST} largest of {len(found)}" if len(found) > MOST else ""
            yield Graph(
                f"What does each part that differs do? {name}",
                f"{result.kit.name}: what each changes in the sum at the listening point{more}",
                "level_near",
                grid[heard],
                [Line(_words(each), np.clip(_curve(each)[heard], -FAR, FAR)) for each in found[:MOST]],
                [("no change", 0.0)],
            )


def _curve(effect: Effect) -> summary.Floats:
    return effect.curve if effect.curve is not None else np.zeros_like(summary.GRID)


def _words(effect: Effect) -> str:
    """`R1, not 2.2 ohm` for a part that is fitted, `C1 if 220 uF` for one that is not: there is little room."""
    reference, other = effect.here.reference, content(effect.other)
    return f"{reference}, not {other}" if effect.here.state == "fit" else f"{reference} if {other}"


def _apart(pairs: Sequence[Paired]) -> Iterator[Graph]:
    for each in pairs:
        if each.chosen and each.listed.worst > 0:
            yield Graph(
                f"How alike are the cabinets? {each.variant.name}",
                "largest difference between two of them by the parts in hand alone, where it counts; at most"
                f" {each.matched.worst:.2f} dB at {wording.hertz(each.matched.frequency)} as given out",
                "difference",
                each.frequency,
                [Line("as listed", _counted(each.listed.curve)), Line("as given out", _counted(each.matched.curve))],
            )


def _counted(curve: summary.Floats) -> summary.Floats:
    """A curve of differences without the stretches where none counts."""
    return np.where(curve > 0, curve, np.nan)
