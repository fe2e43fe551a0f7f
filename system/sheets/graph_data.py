"""The curves of pictures as tables: what each line shows, in the units in which it is drawn."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from system.sheets.data import numbers, table_csv
from system.sheets.pictures import UNITS, AngleMap, Graph, Picture, Polar

Columns = Iterator[tuple[str, list[float | None]]]

ACROSS: Mapping[str, str] = {
    "frequency": "frequency_hz",
    "line": "position_mm",
    "time": "time_s",
    "moments": "time_ms",
    "counts": "values_that_differ",
}


def files(pictures: Sequence[Picture]) -> dict[str, str]:
    """CSV texts by file name, a file for each picture in their order from the top of the page."""
    made = {}
    for number, picture in enumerate(pictures, 1):
        words = re.sub(r"[^a-z0-9]+", "_", picture.question.lower()).strip("_")
        columns = list(_COLUMNS[type(picture)](picture))
        rows = zip_longest(*(values for _, values in columns))
        made[f"graph_{number:02d}_{words[:60]}.csv"] = table_csv([name for name, _ in columns], rows)
    return made


def _graph(graph: Graph) -> Columns:
    """A line with places of its own brings them along; limits and marks are one cell each."""
    across, unit = ACROSS[graph.across], UNITS[graph.kind]
    yield across, numbers(graph.x)
    for line in graph.lines:
        if line.x is not None:
            yield f"{line.label}: {across}", numbers(line.x)
        yield f"{line.label} ({unit})", numbers(line.values)
    if graph.shade is not None:
        yield f"shaded from ({unit})", numbers(graph.shade.lowest)
        yield f"shaded to ({unit})", numbers(graph.shade.highest)
    for label, value in graph.limits:
        yield f"{label} ({unit})", [value]
    for label, place in graph.marks.items():
        yield f"{label}: {across}", [place]


def _map(picture: AngleMap) -> Columns:
    yield ACROSS["frequency"], numbers(picture.frequency)
    for angle, levels in zip(picture.angles, picture.levels, strict=True):
        yield f"{angle:g} degrees (dB)", numbers(levels)


def _polar(picture: Polar) -> Columns:
    yield "angle_deg", numbers(picture.angles)
    for line in picture.lines:
        yield f"{line.label} (dB)", numbers(line.values)


_COLUMNS: Mapping[type, Callable[[Any], Columns]] = {Graph: _graph, AngleMap: _map, Polar: _polar}
