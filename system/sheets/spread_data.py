"""How far apart copies come out, as plain data for JSON and CSV, in the units their names say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from system.kit import Kit
from system.shares import Share
from system.sheets.data import numbers, table_csv
from system.sheets.limit_data import number
from system.spread import VOLTS, Band, Edge, Influence, Kept, Spread


def spread(kit: Kit, results: Sequence[Spread], seed: int, law: str, at_least: float) -> dict[str, Any]:
    """`spread --json`; `inside` is that of the variant with the fewest copies inside, `at_least` what is asked."""
    spec, window = kit.spread, kit.window
    return {
        "seed": seed,
        "builds": results[0].inside.copies,
        "law": law,
        "at_least": at_least,
        "inside": min(result.inside.value for result in results),
        "alike": {
            "level_db": spec.level,
            "from_hz": window.lowest,
            "to_hz": window.highest,
            "impedance_percent": 100 * spec.impedance,
        },
        "bands": {result.variant.name: _bands(result) for result in results},
        "sensitivity": [_influence(each) for result in results for each in result.influences],
        "variants": {result.variant.name: _variant(result) for result in results},
    }


def _bands(result: Spread) -> dict[str, Any]:
    return {
        "volts": VOLTS,
        "distance_m": result.variant.listening.distance,
        "frequency_hz": numbers(result.frequency),
        "level_db": _band(result.level),
        "difference_db": _band(result.difference),
        "impedance_ohm": _band(result.impedance),
        "deviation_db": {"copies": numbers(result.deviation), "expected": numbers(result.expected)},
        "outside": {"level": numbers(result.level_outside), "impedance": numbers(result.impedance_outside)},
    }


def _band(band: Band) -> dict[str, Any]:
    return {"nominal": numbers(band.nominal), **{name: numbers(values) for name, values in band.quantiles.items()}}


def _influence(each: Influence) -> dict[str, Any]:
    return {
        "variant": each.variant,
        "of": each.of,
        "tolerance": each.tolerance,
        "tolerance_unit": "dB" if each.of.endswith(".level") else "ratio",
        "assumed": each.assumed,
        "level_db": each.level,
        "at_hz": each.level_hz,
        "anywhere_db": each.anywhere,
        "anywhere_hz": each.anywhere_hz,
        "impedance_ohm": each.impedance,
        "impedance_hz": each.impedance_hz,
        "share_of_variance": each.share_of_variance,
    }


def _variant(result: Spread) -> dict[str, Any]:
    return {
        "inside": _share(result.inside),
        "alike": _share(result.alike),
        "level_alike": {**_share(result.level_alike), "leaves": _edge(result.level_edge)},
        "impedance_alike": {**_share(result.impedance_alike), "leaves": _edge(result.impedance_edge)},
        "alike_on_nominal_drivers": _share(result.of_parts),
        "in_limits": _share(result.in_limits),
        "limits": [_kept(each) for each in result.limits],
        "not_judged": [{"what": what, "why": why} for what, why in result.not_judged],
        "tolerances_assumed": [*result.assumed, *result.drivers_assumed],
        "nothing_drawn": result.nothing_drawn,
    }


def _share(share: Share) -> dict[str, float]:
    low, high = share.interval
    return {"share": share.value, "at_least_95": low, "at_most_95": high}


def _edge(edge: Edge | None) -> dict[str, float] | None:
    return {"hz": edge.frequency, "share": edge.share} if edge else None


def _kept(each: Kept) -> dict[str, Any]:
    return {
        "what": each.what,
        "limit": each.value,
        "unit": each.unit,
        "nominal": number(each.nominal),
        "nominal_keeps": each.nominal_keeps,
        **{name: number(value) for name, value in each.quantiles.items()},
        **_share(each.share),
    }


def bands_csv(result: Spread) -> str:
    """One variant's bands as a table: a row a frequency, a column a curve, `difference_db.p95` and so on."""
    data = _bands(result)
    columns = {"frequency_hz": data["frequency_hz"]}
    for key, curves in data.items():
        if isinstance(curves, dict):
            columns |= {f"{key}.{name}": values for name, values in curves.items()}
    return table_csv(list(columns), zip(*columns.values(), strict=True))


def sensitivity_csv(results: Iterable[Spread]) -> str:
    """Every part and driver figure of every variant, a row each."""
    rows = [_influence(each) for result in results for each in result.influences]
    header = ["variant", "of", "tolerance", "tolerance_unit", "assumed", "level_db", "at_hz", "anywhere_db"]
    header += ["anywhere_hz", "impedance_ohm", "impedance_hz", "share_of_variance"]
    return table_csv(header, [[row[key] for key in header] for row in rows])
