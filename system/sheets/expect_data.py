"""What a right build must read, as plain data for JSON and CSV, in the units their names say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from system.bench.expect import Curve, Expected, ExpectedSweep, Proof
from system.bench.faults import Fault
from system.bench.meter import Window, terminals
from system.kit import Kit
from system.sheets.data import numbers, table_csv
from system.sheets.limit_data import number


def expect(kit: Kit, results: Sequence[Expected]) -> dict[str, Any]:
    """`expect --json`; `readings` and `sweep` are those of the first variant."""
    first = _variant(kit, results[0])
    meter = kit.meter
    return {
        "variant": results[0].variant.name,
        "readings": first["readings"],
        "sweep": first["sweep"],
        "meter": {
            "resistance_error_percent": 100 * meter.resistance_error,
            "leads_ohm": meter.leads,
            "impedance_ohm": meter.impedance,
            "assumed": list(meter.assumed),
        },
        "variants": {result.variant.name: _variant(kit, result) for result in results},
    }


def _variant(kit: Kit, result: Expected) -> dict[str, Any]:
    return {
        "terminals": [{"point": each.point, "labels": list(each.labels)} for each in terminals(kit, result.variant)],
        "readings": [_reading(proof) for proof in result.proofs],
        "cannot_show": _faults(result.cannot_show),
        "unproved": {name: _faults(left) for name, left in result.unproved.items()},
        "sweep": _sweep(result.sweep),
    }


def window(found: Window) -> dict[str, Any]:
    """What a meter may read between two terminals; null is open."""
    return {
        "between": list(found.between),
        "drivers": found.drivers,
        "low_ohm": number(found.low),
        "high_ohm": number(found.high),
        "reads": found.reads,
    }


def _reading(proof: Proof) -> dict[str, Any]:
    return {
        **window(proof.window),
        "nominal_ohm": number(proof.window.nominal),
        "charges": list(proof.window.charges),
        "charges_uf": number(proof.window.capacitance * 1e6),
        "proves": [*proof.parts, *proof.drivers],
        "shows": _faults(proof.shows),
        "cannot_tell": _faults(proof.cannot_tell),
    }


def _faults(faults: Iterable[Fault]) -> list[dict[str, str]]:
    return [{"fault": fault.kind, "place": fault.place, "form": fault.form} for fault in faults]


def _sweep(sweep: ExpectedSweep) -> dict[str, Any]:
    return {
        "frequency_hz": numbers(sweep.frequency),
        "impedance_ohm": _curve(sweep.magnitude, 1.0),
        "phase_deg": _curve(sweep.phase, 180 / np.pi),
        "copies": sweep.copies,
        "seed": sweep.seed,
    }


def _curve(curve: Curve, scale: float) -> dict[str, list[float | None]]:
    return {name: numbers(scale * getattr(curve, name)) for name in ("nominal", "p5", "p95", "low", "high")}


def sweep_csv(result: Expected) -> str:
    """One variant's sweep as a table: a row a frequency, `impedance_ohm.low` and so on."""
    data = _sweep(result.sweep)
    columns = {"frequency_hz": data["frequency_hz"]}
    for key in ("impedance_ohm", "phase_deg"):
        columns |= {f"{key}.{name}": values for name, values in data[key].items()}
    return table_csv(list(columns), zip(*columns.values(), strict=True))


def readings_csv(results: Iterable[Expected]) -> str:
    """Every reading of every variant, a row each."""
    keys = ["drivers", "low_ohm", "high_ohm", "reads", "nominal_ohm"]
    rows = []
    for result in results:
        for proof in result.proofs:
            row = _reading(proof)
            rows.append([result.variant.name, *row["between"], *(row[key] for key in keys), " ".join(row["proves"])])
    return table_csv(["variant", "from", "to", *keys, "proves"], rows)
