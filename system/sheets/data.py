"""Predictions as plain data for JSON and CSV, in the units their names say.

Nothing that is not a finite number gets out: it becomes null, and a finding says so.
"""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from system.along import LinePressure
from system.filling import Filling
from system.findings import Finding
from system.predict import OpeningPrediction, Prediction
from system.room import Room
from system.sheets import step_data, timing_data
from system.summary import level

if TYPE_CHECKING:  # what it takes is slow to load, and most commands that show data have no use for it
    from system.compare import Column, Comparison, Worst

SCHEMA_VERSION = 1


def document(kit: str, findings: Iterable[Finding], **content: Any) -> str:
    """A JSON document of schema version 1: the kit's name, the content, then the findings."""
    body = {"schema_version": SCHEMA_VERSION, "kit": kit, **content}
    body["findings"] = [finding.to_dict() for finding in findings]
    return json.dumps(body, ensure_ascii=False, allow_nan=False, indent=1)


def numbers(values: NDArray[Any]) -> list[float | None]:
    """An array (F,) as JSON numbers, null where it is not finite."""
    return [value if math.isfinite(value) else None for value in np.asarray(values, float).tolist()]


def degrees(phasors: NDArray[np.complexfloating]) -> NDArray[np.float64]:
    """Phase of phasors (F,) in degrees, in (-180, 180]."""
    angle = np.degrees(np.angle(phasors))
    return np.where(angle <= -180, 180.0, angle)


def prediction(result: Prediction) -> dict[str, Any]:
    """One variant of `predict --json`; of `compare --json` without what only a detailed prediction has."""
    data = {"volts": result.volts, "distance_m": result.distance, **_curves(result)}
    for name, opening in result.openings.items():
        data["openings"][name] |= _limit(opening)
    figures = asdict(result.summary)
    del figures["limits"]  # said with the openings
    data["summary"] = figures
    if result.detail is not None:
        data["filling"] = _filling(result.detail.filling) if result.detail.filling else None
        data["lines"] = [_line(line) for line in result.detail.lines]
        data["joins"] = {
            join.driver: {"from_hz": join.low, "to_hz": join.high, "level_db": join.level, "phase_deg": join.phase}
            for join in result.detail.joins
        }
        data["polarity"] = {
            polarity.driver: {
                "crossover_hz": polarity.crossover,
                "gain_db": polarity.gain,
                "null_db": polarity.null,
                "null_hz": polarity.null_at,
                "turned_level_db": numbers(level(polarity.turned)),
            }
            for polarity in result.detail.polarities
        }
        data["step"] = step_data.step(result.detail.step)
        data["group_delay_ms"] = numbers(1e3 * result.detail.timing.group_delay)
        data["step_response"] = timing_data.step_response(result.detail.timing)
        data["room"] = _room(result.detail.room) if result.detail.room else None
    return data


def _room(room: Room) -> dict[str, Any]:
    """Both in dB; the power only as far up as it can be told."""
    return {
        "power": {"frequency_hz": numbers(room.frequency), "gain_db": numbers(room.power)},
        "panels_uncertainty_db": numbers(room.uncertain),
    }


def _curves(result: Prediction) -> dict[str, Any]:
    """Everything that has a value for each frequency (F,)."""
    nothing: list[None] = [None] * result.frequency.size
    return {
        "level_db": numbers(level(result.pressure)),
        "phase_deg": numbers(degrees(result.pressure)),
        "impedance_ohm": numbers(np.abs(result.impedance)),
        "impedance_phase_deg": numbers(degrees(result.impedance)),
        "drivers": {
            name: {
                "volts": numbers(np.abs(driver.volts)),
                "volts_phase_deg": numbers(degrees(driver.volts)),
                "current_a": numbers(np.abs(driver.current)),
                "excursion_mm": nothing if driver.excursion is None else numbers(driver.excursion * 1e3),
                "level_db": numbers(level(driver.pressure)),
                "phase_deg": numbers(degrees(driver.pressure)),
            }
            for name, driver in result.drivers.items()
        },
        "openings": {
            name: {
                "speed_m_s": numbers(opening.speed),
                "level_db": numbers(level(opening.pressure)),
                "phase_deg": numbers(degrees(opening.pressure)),
                **({} if opening.excursion is None else {"excursion_mm": numbers(opening.excursion * 1e3)}),
            }
            for name, opening in result.openings.items()
        },
        "parts": {
            reference: {
                "volts": numbers(np.abs(part.volts)),
                "current_a": numbers(np.abs(part.current)),
                "watts": numbers(part.watts),
            }
            for reference, part in result.parts.items()
        },
    }


def _limit(opening: OpeningPrediction) -> dict[str, float | None]:
    """A port's or mouth's: of a radiator there is none."""
    limit = opening.limit
    if limit is None:
        return {}
    return {"speed_limit_m_s": limit.speed, "volts_at_limit": limit.volts, "at_hz": limit.frequency}


def _filling(filling: Filling) -> dict[str, Any]:
    band = filling.band
    return {
        "gains": [
            {"chamber": gain.chamber, "volume_gain": gain.volume_gain, "at_hz": gain.frequency}
            for gain in filling.gains
        ],
        "level_db": {"lowest": numbers(band.lowest), "highest": numbers(band.highest)},
        "minus_3_db_hz": list(band.minus_3) if band.minus_3 else None,
        "widest_db": band.widest,
        "widest_hz": band.widest_at,
    }


def _line(line: LinePressure) -> dict[str, Any]:
    return {
        "chamber": line.chamber,
        "resonances_hz": list(line.resonances),
        "position_mm": numbers(line.places * 1e3),
        "pressure_db": [numbers(levels) for levels in line.levels],
        "drivers": {name: place * 1e3 for name, place in line.drivers.items()},
        "mouths": {name: place * 1e3 for name, place in line.mouths.items()},
        "bends": [
            {"section": bend.section, "centre_mm": bend.centre * 1e3, "path_mm": bend.acts * 1e3} for bend in line.bends
        ],
    }


def prediction_csv(result: Prediction) -> str:
    """One variant's curves as a table: a row a frequency, a column a curve, `driver.woofer_a.volts` and so on."""
    columns = {"frequency_hz": numbers(result.frequency), **_columns(_curves(result))}
    detail = result.detail
    if detail is not None:
        columns["group_delay_ms"] = numbers(1e3 * detail.timing.group_delay)
        for each in detail.polarities:
            columns[f"polarity.{each.driver}.turned_level_db"] = numbers(level(each.turned))
        if detail.filling is not None:
            columns |= _columns(_filling(detail.filling)["level_db"], "filling.level_db.")
    return table_csv(list(columns), zip(*columns.values(), strict=True))


def _columns(data: Mapping[str, Any], prefix: str = "") -> dict[str, list[float | None]]:
    """The lists in nested data, by dotted name."""
    columns: dict[str, list[float | None]] = {}
    for name, value in data.items():
        if isinstance(value, Mapping):
            columns |= _columns(value, f"{prefix}{name}.")
        elif isinstance(value, list):
            columns[prefix + name] = value
    return columns


def table_csv(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A CSV text (RFC 4180, line feeds) with a header row; None is an empty cell."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


def comparison(result: Comparison) -> dict[str, Any]:
    """`compare --json`: the frequencies, then per variant its prediction and what the table shows."""
    frequency = next(iter(result.predictions.values())).frequency
    return {
        "frequency_hz": numbers(frequency),
        "variants": {
            name: {**prediction(result.predictions[name]), "compared": _compared(column)}
            for name, column in result.columns.items()
        },
    }


def _compared(column: Column) -> dict[str, Any]:
    row = column.row
    return {
        "worst_excursion_mm": _worst(column.excursion, 1e3),
        "worst_opening_speed_m_s": _worst(column.opening_speed, 1.0),
        "verdicts": {v.driver: v.verdict for v in row.verdicts},
        "loudest": asdict(row.loudest),
        "differing": list(row.differing),
    }


def _worst(worst: Worst | None, factor: float) -> dict[str, Any] | None:
    return {"value": worst.value * factor, "hz": worst.frequency, "of": worst.name} if worst else None
