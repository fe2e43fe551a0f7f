"""What the picture of `revalue` shows: the front, then each variant before and after."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from system.kit import Kit
from system.revalue import Front
from system.sheets.circumstances import heard, heard_all
from system.sheets.plots import Graph, Line
from system.sheets.revalue_texts import OVER

Floats = NDArray[np.float64]

MOST = 5  # variants as lines beside that of all of them


def revalue(kit: Kit, result: Front) -> list[Graph]:
    """Two graphs of the front, one of each variant."""
    return [*_front(kit, result), *_responses(kit, result)]


def _front(kit: Kit, result: Front) -> Iterator[Graph]:
    counts = np.array([float(row.differing) for row in result.rows])
    names = list(result.given.figures)[:MOST]
    where = f"{heard_all([kit.variants[name] for name in result.given.figures])}, {OVER[result.spec.over]}"
    chosen, given = float(result.recommended.differing), float(result.given.differing)
    marks = (
        {"recommended": chosen, "as many as now": given} if chosen != given else {"recommended, as many as now": chosen}
    )
    together = [Line("all variants", np.array([row.rms for row in result.rows]))] if len(names) > 1 else []
    yield Graph(
        "What is each value that differs worth?",
        f"{kit.name}, {where}; rms deviation from the target; the kit as it is: {result.given.rms:.2f} dB for all",
        "difference",
        counts,
        [*(Line(n, np.array([row.figures[n].rms for row in result.rows])) for n in names), *together],
        marks=marks,
        across="counts",
    )
    yield Graph(
        "And the worst of it?",
        f"{where}; largest deviation from the target anywhere; the kit as it is: {result.given.worst:.1f} dB",
        "difference",
        counts,
        [Line(n, np.array([row.figures[n].worst for row in result.rows])) for n in names],
        marks=marks,
        across="counts",
    )


def _responses(kit: Kit, result: Front) -> Iterator[Graph]:
    target = np.array(result.target) - np.mean(result.target)
    row, over = result.recommended, OVER[result.spec.over]
    for name, before in result.given.figures.items():
        after = row.figures[name]
        yield Graph(
            f"How near the target is {name}?",
            f"{heard(kit.variants[name])}, {over}, each level set to the target's; rms {before.rms:.2f} dB as it is,"
            f" {after.rms:.2f} dB with the recommended values",
            "level_near",
            np.array(result.frequency),
            [
                Line("recommended", target + np.array(after.response)),
                Line("as it is", target + np.array(before.response)),
                Line("target", target),
            ],
        )
