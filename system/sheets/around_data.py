"""What a speaker does off its axis as plain data for JSON and CSV."""

from __future__ import annotations

import math
from typing import Any

from system.around import Around, decibels
from system.seating import Fall, Seat, Seating
from system.sheets.data import numbers, table_csv
from system.summary import level


def around(result: Around) -> dict[str, Any]:
    """`around` of one variant of `predict --json`. A sound power is the mean level over the sphere at `distance_m`."""
    seating = result.seating
    return {
        "space": "half" if result.half_space else "free",
        "distance_m": result.distance,
        "angles_deg": list(result.curves["horizontal"]),
        **{
            plane: {str(angle): numbers(level(pressure)) for angle, pressure in curves.items()}
            for plane, curves in result.curves.items()
        },
        **_averages(result),
        "seats": [_seat(seat, seating) for seat in seating.seats] if seating else [],
        "middle_seat": {"distance_m": seating.distance, "level_db": numbers(level(seating.middle))}
        if seating
        else None,
        "woofers_alike": list(seating.woofers) if seating else [],
        "small_pair": _small_pair(seating) if seating else None,
    }


def _averages(result: Around) -> dict[str, list[float | None]]:
    means = result.averages
    return {
        "listening_window_db": numbers(decibels(means.listening_window)),
        "early_reflections_db": numbers(decibels(means.early_reflections)),
        "sound_power_db": numbers(decibels(means.sound_power)),
        "directivity_index_db": numbers(means.directivity_index),
        "early_directivity_index_db": numbers(means.early_directivity_index),
        "in_room_db": numbers(decibels(means.in_room)),
    }


def _seat(seat: Seat, seating: Seating) -> dict[str, Any]:
    return {
        "angle_deg": math.degrees(seat.angle),
        "distance_m": seating.distance,
        "level_db": numbers(level(seat.pressure)),
        "to_middle_db": seat.difference,
        "farthest_db": seat.farthest,
        "farthest_hz": seat.farthest_at,
        "woofers": _fall(seat.fall),
    }


def _fall(fall: Fall | None) -> dict[str, float | None] | None:
    if fall is None:
        return None
    return {"minus_3_db_hz": fall.minus_3, "minus_6_db_hz": fall.minus_6, "null_hz": fall.null}


def _small_pair(seating: Seating) -> dict[str, Any] | None:
    """What two small alike sources as far apart would do."""
    if seating.apart is None:
        return None
    return {"apart_mm": seating.apart * 1e3, "woofers": _fall(seating.expected)}


def around_csv(result: Around) -> str:
    """One variant's curves as a table: a row a frequency; `horizontal.-30`, `vertical.10`, the averages, the seats."""
    columns = {"frequency_hz": numbers(result.frequency)}
    for plane, curves in result.curves.items():
        columns |= {f"{plane}.{angle}": numbers(level(pressure)) for angle, pressure in curves.items()}
    columns |= _averages(result)
    if result.seating:
        columns["seats.0"] = numbers(level(result.seating.middle))
        columns |= {f"seats.{math.degrees(s.angle):g}": numbers(level(s.pressure)) for s in result.seating.seats}
    return table_csv(list(columns), zip(*columns.values(), strict=True))
