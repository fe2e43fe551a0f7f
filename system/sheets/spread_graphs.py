"""What the pictures of `spread` show, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.kit import Kit
from system.sheets.circumstances import heard, seen
from system.sheets.plots import Graph, Line, Shade
from system.sheets.spread_texts import percent
from system.spread import VOLTS, Band, Spread

Floats = NDArray[np.float64]

MOST = 6  # lines of one graph


def spread(kit: Kit, results: Sequence[Spread], seed: int) -> list[Graph]:
    """For each variant: the band of its response and of its impedance, where copies are not alike, what decides."""
    return [graph for result in results for graph in _spread(kit, result, seed)]


def _spread(kit: Kit, result: Spread, seed: int) -> Iterator[Graph]:
    name, f, copies = result.variant.name, result.frequency, result.inside.copies
    anywhere = heard(result.variant)
    yield Graph(
        "How far apart do copies sound?",
        f"{kit.name}, {heard(result.variant, VOLTS)}; {copies} copies, seed {seed}: {percent(result.inside.value)} %"
        " alike and within all limits",
        "level_near",
        f,
        _lines(result.level),
        shade=_middle(result.level, f),
    )
    if np.isfinite(result.impedance.nominal).all():
        yield Graph(
            "How far apart are their impedances?",
            seen([name], "as the amplifier sees them, cable included"),
            "impedance",
            f,
            _lines(result.impedance),
            limits=_lowest_load(kit),
            shade=_middle(result.impedance, f),
        )
    spec, window = kit.spread, kit.window
    band = {"from": window.lowest, "to": window.highest}
    if np.any(result.level_outside) or np.any(result.impedance_outside):
        yield Graph(
            "Where are copies not alike?",
            f"{anywhere}; copies off by more than {spec.level:g} dB or {100 * spec.impedance:g} % of the impedance;"
            f" {wording.hertz(window.lowest)} to {wording.hertz(window.highest)} counts",
            "percent",
            f,
            [Line("level", 100 * result.level_outside), Line("impedance", 100 * result.impedance_outside)],
            marks=band,
        )
    if result.influences:
        yield Graph(
            "Which tolerance matters where?",
            f"{anywhere}; share of the level's variance; the {min(MOST, len(result.influences))} largest in the window",
            "percent",
            f,
            [Line(each.of, 100 * each.shares) for each in result.influences[:MOST]],
            marks=band,
        )


def _lines(band: Band) -> list[Line]:
    return [
        Line("as drawn", band.nominal),
        Line("highest copy", band.quantiles["highest"]),
        Line("lowest copy", band.quantiles["lowest"]),
    ]


def _middle(band: Band, frequency: Floats) -> Shade:
    """Nine copies of ten; the words stand on the left, and point at the highest place near there."""
    low, high = band.quantiles["p5"], band.quantiles["p95"]
    at = int(np.argmax(high[frequency <= 10 * frequency[0]]))
    return Shade("shaded: 9 of 10 copies, 5 to 95 %", low, high, float(frequency[at]))


def _lowest_load(kit: Kit) -> list[tuple[str, float]]:
    allowed = kit.amplifier.lowest_load
    return [(f"the amplifier stands {allowed:g} ohm", allowed)] if allowed else []
