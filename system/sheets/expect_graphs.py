"""What the picture of `expect` shows, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from system.bench.expect import Curve, Expected
from system.findings import usage_error
from system.kit import Kit
from system.sheets.circumstances import LATER, SMALL, seen
from system.sheets.plots import Graph, Line, Shade

Floats = NDArray[np.float64]

INPUT = "at the crossover's input, without the cable, voice coils cold"


def expect(kit: Kit, results: Sequence[Expected]) -> list[Graph]:
    """For each variant the impedance with its band, and the phase with its own. Raises KitError where there is none."""
    graphs = [graph for result in results for graph in _expect(kit, result)]
    if not graphs:
        raise usage_error(
            "a picture of the expected sweep", "there is nothing to draw: no current flows, or one frequency"
        )
    return graphs


def _expect(kit: Kit, result: Expected) -> Iterator[Graph]:
    sweep, name = result.sweep, result.variant.name
    finite = np.isfinite(sweep.magnitude.high) & np.isfinite(sweep.impedance)
    if np.count_nonzero(finite) < 2:
        return
    x = sweep.frequency[finite]
    yield Graph(
        "Which impedance should a sweep find?",
        f"{kit.name}, {seen([name], f'impedance {INPUT}', SMALL)}",
        "impedance",
        x,
        _lines(sweep.magnitude, finite, 1.0),
        shade=_shade(kit, sweep.magnitude, finite, x, 1.0),
    )
    degrees = 180 / np.pi
    yield Graph(
        "And which phase?",
        f"{seen([name], f'phase of the impedance {INPUT}', SMALL)}; {LATER}",
        "phase",
        x,
        _lines(sweep.phase, finite, degrees),
        shade=_shade(kit, sweep.phase, finite, x, degrees),
    )


def _lines(curve: Curve, finite: NDArray[np.bool_], scale: float) -> list[Line]:
    return [
        Line("as drawn", scale * curve.nominal[finite]),
        Line("highest", scale * curve.high[finite]),
        Line("lowest", scale * curve.low[finite]),
    ]


def _shade(kit: Kit, curve: Curve, finite: NDArray[np.bool_], x: Floats, scale: float) -> Shade:
    """The words stand on the left, and point at the highest place near there."""
    low, high = scale * curve.low[finite], scale * curve.high[finite]
    at = float(x[int(np.argmax(high[x <= 10 * x[0]]))])
    return Shade(f"shaded: 9 of 10 copies, and {kit.meter.impedance:g} ohm for the meter", low, high, at)
