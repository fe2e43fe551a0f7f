"""`parts --wind` as plain data for JSON and CSV."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from system.kit import Variant
from system.sheets.data import table_csv
from system.workshop.wind import Wind, Wound


def winds(results: Sequence[Wind], variants: Sequence[Variant]) -> dict[str, Any]:
    """Per variant what to wind; null where nothing is fitted there."""
    found = {name: wind(each) for each in results for name in each.variants}
    return {"wind": results[0].reference, "variants": {v.name: found.get(v.name) for v in variants}}


def wind(result: Wind) -> dict[str, Any]:
    return {
        "inductance_h": result.inductance,
        "dc_resistance_ohm": result.resistance,
        "tolerance": result.tolerance,
        "tolerance_assumed": result.assumed_tolerance,
        "instead_of_h": list(result.group),
        "choices": [wound(each, result) for each in result.choices],
        "thinnest": [each.wire.name for each in result.thinnest],
        "best": result.best.wire.name if result.best else None,
        "other_formers": [wound(each, result) for each in result.formers],
    }


def wound(each: Wound, result: Wind) -> dict[str, Any]:
    asked = result.resistance
    return {
        "wire": each.wire.name,
        "bare_mm": each.wire.diameter * 1e3,
        "overall_mm": each.overall * 1e3,
        "inner_diameter_mm": each.winding.inner_diameter * 1e3,
        "length_mm": each.winding.length * 1e3,
        "depth_mm": each.winding.depth * 1e3,
        "outer_diameter_mm": each.winding.outer_diameter * 1e3,
        "turns": int(each.winding.turns),
        "turns_per_layer": each.per_layer,
        "layers": each.layers,
        "turns_in_last_layer": each.last_layer,
        "least_turns": each.least_turns,
        "most_turns": each.most_turns,
        "wind_first": each.wind_first,
        "inductance_h": each.inductance,
        "wheeler_h": each.wheeler,
        "per_turn_h": each.per_turn,
        "wire_length_m": each.wire_length,
        "mass_g": each.mass * 1e3,
        "dc_resistance_ohm": each.resistance,
        "resistance_kept": None if asked is None else each.resistance <= asked,
    }


def csv_files(results: Sequence[Wind]) -> dict[str, str]:
    """The file of --csv: a row a wire and former."""
    rows = [
        {"variants": " ".join(result.variants), "ref": result.reference, **wound(each, result)}
        for result in results
        for each in (*result.choices, *result.formers)
    ]
    return {"wind.csv": table_csv(list(rows[0]), [list(row.values()) for row in rows])}
