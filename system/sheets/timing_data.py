"""When it arrives as plain data."""

from __future__ import annotations

from typing import Any

from system.timing import Timing


def step_response(found: Timing) -> dict[str, Any]:
    """`predict --json`, per variant: what arrives of a step of `volts`, in Pa, of all together and of each part."""
    return {
        "volts": found.volts,
        "time_ms": [round(1e3 * float(moment), 6) for moment in found.moments],
        "pressure_pa": found.step.tolist(),
        "parts_pa": {name: values.tolist() for name, values in found.parts.items()},
    }
