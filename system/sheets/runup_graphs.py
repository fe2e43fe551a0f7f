"""The run-up as a small graph."""

from __future__ import annotations

import numpy as np

from system.sheets.plots import Graph, Line
from system.workshop.runup import START, RunUp


def run_up(found: RunUp) -> Graph:
    """Volts over frequency, under the volts of the linear limit and of the amplifier."""
    lines = [Line("run-up", np.array([step.volts for step in found.steps]))]
    if np.isfinite(found.linear).any():
        lines.append(Line("linear limit", np.where(np.isfinite(found.linear), found.linear, np.nan)))
    return Graph(
        "How far may each tone be turned up?",
        f"{found.variant.name}: volts rms at the terminals, each from below; the start is {START:g} V",
        "volts",
        found.frequency,
        lines,
        [(f"the amplifier clips at {found.rated_volts:.1f} V", found.rated_volts)],
    )
