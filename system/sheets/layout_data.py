"""The board as plain data for JSON and CSV."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from system.outline import Body
from system.sheets.data import table_csv
from system.units import ZERO_CELSIUS
from system.workshop.layout import Advice, LayoutResult, Pair, Remedy


def layouts(results: Sequence[LayoutResult]) -> dict[str, Any]:
    """Per variant what lies on the board, what couples, and what to do."""
    board = results[0].layout.board
    return {
        "board_mm": [side * 1e3 for side in board],
        "variants": {result.variant.name: layout(result) for result in results},
    }


def layout(result: LayoutResult) -> dict[str, Any]:
    return {
        "parts": [part(body) for body in result.bodies],
        "not_placed": list(result.absent),
        "couplings": [pair(each) for each in result.pairs],
        "change": asdict(result.change),
        "change_at_worst": asdict(result.worst) if result.worst else None,
        "surface_degc": {name: kelvin - ZERO_CELSIUS for name, kelvin in result.temperatures.items()},
        "surface_unknown": list(result.unrated),
        "advice": [advice(each) for each in result.advice],
    }


def part(body: Body) -> dict[str, Any]:
    """`at_mm` is its middle; a coil has the measures of its winding, every part the corners of its outline."""
    winding = body.winding
    return {
        "ref": body.reference,
        "at_mm": [1e3 * value for value in body.spot.at],
        "axis": axis(body.spot.angle),
        "outline_mm": [[1e3 * x, 1e3 * y] for x, y in body.corners],
        "rounded_mm": body.round * 1e3,
        "from_mm": body.low * 1e3,
        "to_mm": body.high * 1e3,
        "mass_g": None if body.mass is None else body.mass * 1e3,
        "held": body.spot.held,
        "inner_diameter_mm": winding.inner_diameter * 1e3 if winding else None,
        "outer_diameter_mm": winding.outer_diameter * 1e3 if winding else None,
        "length_mm": winding.length * 1e3 if winding else None,
        "size_assumed": body.assumed,
    }


def axis(angle: float | None) -> str | float:
    """`up`, or degrees from along the board's length."""
    return "up" if angle is None else math.degrees(angle)


def pair(each: Pair) -> dict[str, Any]:
    return {
        "coils": list(each.coils),
        "coefficient": each.coefficient,
        "computed": each.computed,
        "from": "kit" if each.given else "layout",
        "centres_mm": each.distance * 1e3,
        "gap_mm": each.gap * 1e3,
        "change": asdict(each.change),
        "leads_exchanged": asdict(each.other_way),
    }


def advice(each: Advice) -> dict[str, Any]:
    """`figure` and `limit` are in dB, degC, g or mm, by `unit`."""
    unit, convert = UNITS[each.kind]
    return {
        "kind": each.kind,
        "refs": list(each.references),
        "unit": unit,
        "figure": None if each.figure is None else convert(each.figure),
        "limit": None if each.limit is None else convert(each.limit),
        "remedies": [remedy(way) for way in each.remedies],
    }


def _same(value: float) -> float:
    return value


def _celsius(kelvin: float) -> float:
    return kelvin - ZERO_CELSIUS


def _thousand(value: float) -> float:
    return value * 1e3


UNITS = {
    "coupling": ("dB", _same),
    "iron": (None, _same),
    "own_glue": ("degC", _celsius),
    "near_glue": ("degC", _celsius),
    "near_capacitor": ("degC", _celsius),
    "on_board": ("degC", _celsius),
    "raise": ("mm", _thousand),
    "hold": ("g", _thousand),
}


def remedy(each: Remedy) -> dict[str, Any]:
    return {
        "way": each.way,
        "ref": each.reference,
        "axis": axis(each.angle) if each.way == "turn" else None,
        "centres_mm": None if each.distance is None else each.distance * 1e3,
        "gap_mm": None if each.gap is None else each.gap * 1e3,
        "coefficient": each.coefficient,
        "level_db": each.level,
    }


def csv_files(results: Sequence[LayoutResult]) -> dict[str, str]:
    """The files of --csv: the coils that couple, a row a pair and variant."""
    header = ["variant", "coil", "other", "coefficient", "from", "centres_mm", "gap_mm", "level_db", "impedance_ohm"]
    rows = [
        [
            result.variant.name, *each.coils, each.coefficient, "kit" if each.given else "layout",
            each.distance * 1e3, each.gap * 1e3, each.change.level, each.change.impedance,
        ]
        for result in results
        for each in result.pairs
    ]  # fmt: skip
    return {"couplings.csv": table_csv(header, rows)}
