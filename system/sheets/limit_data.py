"""Limits and stress as plain data for JSON and CSV, in the units their names say; what does not exist is null."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from system.ceilings import Ceilings
from system.distortion import Distortion
from system.limits import UPPER_SPEED, Limits
from system.moments import InTime
from system.sheets.data import numbers, table_csv
from system.stress import Load, PartStress, Rated, Stress
from system.units import ZERO_CELSIUS
from system.warming import Warming


def limits(result: Ceilings) -> dict[str, Any]:
    """One variant of `limits --json`."""
    found, most = result.limits, result.limits.ceiling
    return {
        "distance_m": found.distance,
        "limits": _curves(found),
        "envelope": {
            "volts": numbers(found.envelope.volts),
            "level_db": numbers(found.envelope.level),
            "limited_by": list(found.envelope.limited_by),
        },
        "programme": {
            "signal": most.signal,
            "volts": most.volts,
            "watts": most.watts,
            "into_ohm": most.load,
            "level_db": most.level,
            "limited_by": most.limited_by,
            "volts_at_clipping": most.full,
            "exceeded_at_clipping": [limit.words for limit in found.exceeded],
            "reached": [
                {
                    "limit": limit.kind,
                    "of": limit.name or None,
                    "words": limit.words,
                    "volts": number(limit.programme),
                    "swept_sine_volts": number(limit.swept),
                    "swept_sine_hz": limit.swept_hz,
                }
                for limit in found.limits
            ],
        },
        "amplifier": {
            "volts": result.rated_volts,
            "current_peak_a": result.amplifier.current,
            "at_hz": result.amplifier.frequency,
            "shift_db": list(result.amplifier.shift),
        },
        "port_compression": {
            "volts": result.rated_volts,
            "level_lost_db": {name: numbers(lost) for name, lost in result.port_losses.items()},
        },
        "heat_course": _warming(result.warming) if result.warming else None,
        "in_time": _in_time(result.in_time) if result.in_time else None,
        "large_signal": {name: _distortion(each) for name, each in result.distortions.items()} or None,
        "not_judged": [asdict(each) for each in found.not_judged],
    }


def number(value: float | None) -> float | None:
    """A JSON number, null for what does not exist."""
    return value if value is not None and math.isfinite(value) else None


def celsius(kelvin: float) -> float | None:
    return number(kelvin - ZERO_CELSIUS)


def _curves(found: Limits) -> dict[str, Any]:
    """Those of the amplifier, which has no name, without a level for it."""
    data: dict[str, Any] = {}
    for kind, curves in found.curves.items():
        each = {name: {"volts": numbers(volts)} for name, volts in curves.items()}
        if kind == "opening_speed":
            for name, volts in curves.items():
                each[name]["upper_volts"] = numbers(UPPER_SPEED * volts)
        data[kind] = each.get("", each)
    return data


def _in_time(found: InTime) -> dict[str, Any]:
    return {
        "seconds": found.seconds,
        "seed": found.seed,
        "volts": found.volts,
        "drivers": {
            name: {
                "peak_mm": each.peak * 1e3,
                "rms_mm": each.rms * 1e3,
                "crest": each.crest,
                "share_beyond_linear": each.beyond_linear,
                "share_beyond_damage": each.beyond_damage,
            }
            for name, each in found.drivers.items()
        },
    }


def _warming(result: Warming) -> dict[str, Any]:
    return {
        "volts": result.volts,
        "seconds": numbers(result.seconds),
        "drivers": {
            name: {
                "coil_c": numbers(result.temperatures[name] - ZERO_CELSIUS),
                "settled_c": celsius(coil.settled),
                "highest_c": celsius(coil.highest),
                "burns": math.isinf(coil.settled),
                "level_lost_db": coil.loss,
            }
            for name, coil in result.coils.items()
        },
        "level_change_db": numbers(result.change),
    }


def _distortion(result: Distortion) -> dict[str, Any]:
    return {
        "frequency_hz": numbers(result.frequency),
        "levels": [
            {
                "volts": level.volts,
                "compression_db": numbers(level.loss),
                "offset_mm": numbers(level.offset * 1e3),
                "excursion_mm": numbers(level.peak * 1e3),
                "second_percent": numbers(level.second * 100),
                "third_percent": numbers(level.third * 100),
                "total_percent": numbers(level.total * 100),
            }
            for level in result.levels
        ],
        "volts_at_10_percent": numbers(result.volts),
        "why_none": [why or None for why in result.why],
    }


def limits_csv(result: Ceilings) -> str:
    """One variant's curves: a row a frequency, volts of each limit, then the smallest of them, its level and whose."""
    found = result.limits
    columns: dict[str, Iterable[Any]] = {"frequency_hz": numbers(found.frequency)}
    for kind, curves in found.curves.items():
        for name, volts in curves.items():
            columns[".".join(filter(None, (kind, name, "volts")))] = numbers(volts)
    columns["envelope.volts"] = numbers(found.envelope.volts)
    columns["envelope.level_db"] = numbers(found.envelope.level)
    columns["envelope.limited_by"] = found.envelope.limited_by
    return table_csv(list(columns), list(zip(*columns.values(), strict=True)))


def stress(result: Stress) -> dict[str, Any]:
    """One variant of `stress --json`."""
    return {
        "sine_volts": result.sine_volts,
        "programme_volts": result.programme_volts,
        "parts": {name: _part(part) for name, part in result.parts.items()},
    }


def _part(result: PartStress) -> dict[str, Any]:
    surface, places = result.surface, result.places
    where = {"volts_hz": places.volts, "current_hz": places.current, "watts_hz": places.watts}
    return {
        "kind": result.part.kind,
        "value": result.part.value,
        "verdict": result.verdict,
        "sine": {**_load(result.sine), **where},
        "programme": _load(result.programme) if result.programme else None,
        "ratings": {rated.kind: _rated(rated) for rated in result.ratings},
        "surface_c": celsius(surface.temperature) if surface else None,
        "melts_hot_glue": surface.melts if surface else None,
        "share_of_rating_with_hot_glue": surface.share if surface else None,
    }


def _load(load: Load) -> dict[str, float]:
    return {
        "volts": load.volts,
        "volts_peak": load.volts_peak,
        "current_a": load.current,
        "current_peak_a": load.current_peak,
        "watts": load.watts,
    }


def _rated(rated: Rated) -> dict[str, Any]:
    return {
        "rating": rated.rating,
        "asked": rated.asked,
        "needed": rated.needed,
        "order": rated.order,
        "verdict": rated.verdict,
    }


LOADS = ("volts", "volts_peak", "current_a", "current_peak_a", "watts")


def stress_csv(results: Iterable[Stress]) -> str:
    """Every rating of every part of every variant, a row each."""
    header = ["variant", "part", "kind", "value", "part_verdict"]
    header += [f"{signal}.{key}" for signal in ("sine", "programme") for key in LOADS]
    header += ["surface_c", "rating_of", "rating", "asked", "needed", "order", "verdict"]
    rows: list[list[Any]] = []
    for result in results:
        for name, part in result.parts.items():
            data = _part(part)
            row = [result.variant.name, name, data["kind"], data["value"], data["verdict"]]
            row += [(data[signal] or {}).get(key) for signal in ("sine", "programme") for key in LOADS]
            row.append(data["surface_c"])
            rows += [[*row, kind, *rated.values()] for kind, rated in data["ratings"].items()] or [[*row, *[None] * 6]]
    return table_csv(header, rows)
