"""The step of the baffle as a graph."""

from __future__ import annotations

from collections.abc import Iterator

from system.kit import Kit
from system.predict import Prediction
from system.sheets.circumstances import heard
from system.sheets.plots import Graph, Line
from system.step import Step


def step(_kit: Kit, result: Prediction) -> Iterator[Graph]:
    """What the placement does to the sound against a wall, what board and drivers do in a wall, and their sum."""
    found = result.detail.step if result.detail else None
    if not isinstance(found, Step):
        return
    told = f"low to high: the placement takes {found.step:.1f} dB, the board gives {found.correction:.1f} dB"
    yield Graph(
        "How much of the step is left?",
        f"{heard(result.variant, smoothing='in third-octaves about the seat')}; {told}",
        "level_near",
        found.frequency,
        [
            Line("both", found.placed + found.board),
            Line("placement", found.placed),
            Line("board, in a wall", found.board),
        ],
        marks={
            "low from": found.low[0],
            "low to": found.low[1],
            "high from": found.high[0],
            "high to": found.high[1],
        },
    )
