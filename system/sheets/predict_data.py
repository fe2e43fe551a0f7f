"""All curves that the pictures of `predict` show, as tables: a file for each kind of horizontal axis."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from system.predict import Prediction
from system.sheets.data import prediction_csv, table_csv
from system.sheets.step_data import step
from system.sheets.timing_data import step_response


def tables(results: Iterable[Prediction]) -> dict[str, str]:
    """CSV texts by file name: over frequency, over time, along each line, and the step of the baffle."""
    return {f"{stem}{result.variant.name}.csv": text for result in results for stem, text in _tables(result)}


def _tables(result: Prediction) -> Iterator[tuple[str, str]]:
    yield "", prediction_csv(result)
    detail = result.detail
    if detail is None:
        return
    arrived = step_response(detail.timing)
    columns = {"time_ms": arrived["time_ms"], "pressure_pa": arrived["pressure_pa"], **arrived["parts_pa"]}
    yield "step_response_", table_csv(list(columns), zip(*columns.values(), strict=True))
    for line in detail.lines:
        header = ["position_mm", *(f"level_db.{hertz:.4g}_hz" for hertz in line.resonances)]
        rows = zip(1e3 * line.places, *line.levels, strict=True)
        yield f"line_{line.chamber}_", table_csv(header, ([_cell(value) for value in row] for row in rows))
    balance = step(detail.step)
    if "frequency_hz" in balance:
        names = ("frequency_hz", "placement_db", "board_db")
        yield "baffle_step_", table_csv(names, zip(*(balance[name] for name in names), strict=True))


def _cell(value: float) -> float | None:
    return float(value) if abs(value) < float("inf") else None
