"""Cautions as lines: what this build triggers first, then what holds with every build."""

from __future__ import annotations

from collections.abc import Sequence

from system.sheets.tables import wrap
from system.workshop.cautions import Caution

TITLES = {
    "bench": "At the bench",
    "meter": "Before you read a meter",
    "sweep": "Before you sweep",
    "power_up": "Before the first power-up",
    "run_up": "Before the run-up",
    "cabinet": "While you build the cabinet",
    "placement": "Where it stands or hangs",
    "listening": "While it plays",
}


def cautions(found: Sequence[Caution], long: bool = False) -> list[str]:
    """A title, those on top marked with an exclamation mark and their figures, then the others; `long` with reasons."""
    if not found:
        return []
    lines = [f"{TITLES[found[0].where]}:"]
    for caution in found:
        mark = "! " if caution.top else "- "
        lines += wrap(caution.short, "    ", f"  {mark}")
        if caution.because and (caution.top or long):
            lines += wrap(f"here: {caution.because}", "      ", "    ")
        if long:
            lines += wrap(caution.long, "    ")
    return lines
