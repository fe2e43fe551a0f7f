"""The run-up as plain data for JSON."""

from __future__ import annotations

from typing import Any

from system.sheets.data import numbers
from system.workshop.runup import SECONDS, START, STOPS, RunUp


def run_up(found: RunUp) -> dict[str, Any]:
    return {
        "start_volts": START,
        "seconds_a_drive": SECONDS,
        "seconds": found.seconds,
        "steps": [
            {
                "hz": step.frequency,
                "volts": step.volts,
                "drives_volts": list(step.drives),
                "limited_by": step.limited_by,
                "mover": step.mover,
                "excursion_mm": None if step.excursion is None else step.excursion * 1e3,
                "level_dba_1m": step.level,
            }
            for step in found.steps
        ],
        "linear_limit_volts": numbers(found.linear),
        "stands_in": list(found.stands_in),
        "tweeter_unprotected_watts": None
        if found.unshielded is None
        else {"driver": found.unshielded[0], "watts": found.unshielded[1]},
        "stop_at": [{"sign": sign, "means": means} for sign, means in STOPS.items()],
    }
