"""The cabinet sheet as blocks for a printed page: its text under headings, and its boards drawn to scale."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from system.sheets import cabinet_graphs, cabinet_texts
from system.sheets.pages.blocks import Block, Drawing, Heading, Listing, Points, Sheet
from system.workshop.carpentry import CabinetSheet

WIDTH, TALLEST, LINE_HIGH = 180.0, 110.0, 30.0  # mm of a drawing
PROSE = ("Filling", "Standing", "Take care")  # the other sections have tables, whose lines are left as they are


def sheet(result: CabinetSheet, foot: str) -> Sheet:
    """One variant's cabinet."""
    title, *lines = cabinet_texts.heading(result)
    blocks: list[Block] = [Listing(tuple(lines))]
    for name, section in cabinet_texts.sections(result).items():
        blocks += [Heading(name), *(_told(section) if name in PROSE else [Listing(tuple(section))])]
    if result.panels:
        whole = cabinet_graphs.spread(result)
        scale = min(WIDTH / whole.width, TALLEST / whole.height)
        words = "The boards to scale, each seen from outside, with the places of the holes from its lower left corner"
        draw = partial(cabinet_graphs.draw_boards, sheet=result)
        blocks += [Heading("Drawn"), Drawing(whole.width * scale, whole.height * scale, draw, words)]
    for run in result.runs:
        draw = partial(cabinet_graphs.draw_line, sheet=result, run=run)
        blocks.append(Drawing(WIDTH, LINE_HIGH, draw, "The line straightened out, from the closed end"))
    return Sheet(title, "", tuple(blocks), foot)


def _told(lines: Sequence[str]) -> list[Block]:
    """Each text of a section as one again, for a page that is as wide as it likes: what goes on is indented further."""
    texts: list[str] = []
    for line in lines:
        if line.startswith("    ") and texts:
            texts[-1] += f" {line.strip()}"
        else:
            texts.append(line.strip())
    return [Points(tuple(texts))] if texts else []
