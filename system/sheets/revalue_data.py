"""What `revalue` found as plain data: the front, and what every variant has in every place."""

from __future__ import annotations

from typing import Any

from system.aims import Fitting
from system.front import Cell, Figures, Row
from system.kit import Kit
from system.revalue import Front
from system.sheets.data import table_csv


def revalue(result: Front) -> dict[str, Any]:
    """`revalue --json`: values in ohm, F and H, or the words link and omit."""
    spec = result.spec
    return {
        "target": {
            "over": spec.over,
            "frequency_hz": list(result.frequency),
            "level_db": list(result.target),
        },
        "moving": list(result.moving),
        "differing_elsewhere": result.fixed,
        "price_db": spec.price,
        "recommended": result.recommended.differing,
        "as_it_is": _row(result.given),
        "front": [_row(row) for row in result.rows],
    }


def _row(row: Row) -> dict[str, Any]:
    return {
        "differing": row.differing,
        "worst_db": row.worst,
        "rms_db": row.rms,
        "values": {
            variant: {name: _value(cell) for name, cell in cells.items()} for variant, cells in row.cells.items()
        },
        "coil_resistance_ohm": {
            variant: {n: c.wire for n, c in cells.items() if isinstance(c, Fitting) and c.wire is not None}
            for variant, cells in row.cells.items()
        },
        "variants": {name: _figures(each) for name, each in row.figures.items()},
    }


def _value(cell: Cell) -> float | str:
    return cell.value if isinstance(cell, Fitting) else cell


def _figures(each: Figures) -> dict[str, Any]:
    return {
        "worst_db": each.worst,
        "at_hz": each.worst_hz,
        "rms_db": each.rms,
        "lowest_impedance_ohm": each.lowest,
        "lowest_impedance_hz": each.lowest_hz,
        "level_db": each.level,
        "excursion_mm": {name: excursion * 1e3 for name, excursion in each.excursion.items()},
        "watts": dict(each.watts),
        "deviation_db": list(each.response),
    }


def tables(kit: Kit, result: Front) -> dict[str, str]:
    """CSV files: the front, a row a choice and variant; and what each of them has in each place."""
    rows = {"as_it_is": result.given, **{str(row.differing): row for row in result.rows}}
    front, values = [], []
    for choice, row in rows.items():
        for name, each in row.figures.items():
            figures = _figures(each)
            front.append([choice, row.differing, row.rms, name, *(figures[key] for key in FIGURES)])
            for place, cell in row.cells[name].items():
                kind = kit.variants[name].places[place].part.kind
                values.append([choice, name, place, kind, _value(cell)])
    return {
        "front.csv": table_csv(["choice", "differing", "all_rms_db", "variant", *FIGURES], front),
        "values.csv": table_csv(["choice", "variant", "place", "kind", "value"], values),
    }


FIGURES = ("rms_db", "worst_db", "at_hz", "level_db", "lowest_impedance_ohm", "lowest_impedance_hz")
