"""What the pictures of `characterise` show, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system.bench.characterise import Batch, Measured, Second, impedance_apart
from system.bench.fitting import Fit
from system.bench.sweeps import Sweep
from system.sheets.characterise_data import off
from system.sheets.characterise_texts import amount, short, value
from system.sheets.circumstances import LATER, bare
from system.sheets.plots import Graph, Line

Floats = NDArray[np.float64]

MOST = 6  # lines of one graph
WITH = {"added_mass": "with", "known_box": "on a box of"}


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """One sweep and its model: what its lines are called, if there are two."""

    called: str
    sweep: Sweep
    fit: Fit | None


def single(unit: Measured, second: Second | None) -> list[Graph]:
    """The impedance as measured and as modelled, its phase, and what is left between the two."""
    curves = [_Curve("", unit.sweep, unit.fit)]
    if second is not None:
        curves = [
            _Curve(" in free air", unit.sweep, unit.full.first if unit.full else unit.fit),
            _Curve(f", {amount(second)}", second.sweep, unit.full.second if unit.full else None),
        ]
    x = max((each.sweep.frequency for each in curves), key=lambda f: float(f[-1] / f[0]))
    fitted = [(each, each.fit) for each in curves if each.fit is not None]
    where = "in free air" if second is None else f"in free air, and {WITH[second.method]} {amount(second)}"
    impedance = bare(short(unit), f"impedance {where}")
    graphs = [Graph("Which driver is this?", f"{impedance}; {_figures(unit)}", "impedance", x, _magnitudes(curves))]
    if phases := _phases(fitted):
        sentence = bare(short(unit), f"phase of the impedance {where}")
        graphs.append(Graph("Does the phase agree?", f"{sentence}; {LATER}", "phase", x, phases))
    if fitted:
        told = " and ".join(f"{100 * fit.residual_rms:.2g} %" for _, fit in fitted)
        lines = [Line(f"magnitude{each.called}", 100 * off(fit), each.sweep.frequency) for each, fit in fitted]
        off_by = bare(short(unit), f"modelled impedance over the measured one {where}")
        sentence = f"{off_by}; {told} rms with {fitted[0][1].coil_model}"
        graphs.append(Graph("What does the model leave over?", sentence, "percent_off", x, lines))
    return graphs


def _figures(unit: Measured) -> str:
    if unit.fit is None:
        return "no model, the sweep was refused"
    told = ", ".join(f"{name} {value(name, unit.figures[name])[0]}" for name in ("re", "fs", "qms", "qes", "qts"))
    return f"{told}; voice coil {unit.fit.coil_model}"


def _magnitudes(curves: Sequence[_Curve]) -> list[Line]:
    lines = []
    for each in curves:
        lines.append(Line(f"measured{each.called}", each.sweep.magnitude, each.sweep.frequency))
        if each.fit is not None:
            lines.append(Line(f"modelled{each.called}", np.abs(each.fit.impedance), each.sweep.frequency))
    return lines


def _phases(fitted: Sequence[tuple[_Curve, Fit]]) -> list[Line]:
    lines = []
    for each, fit in fitted:
        if np.iscomplexobj(fit.residual):
            measured = fit.impedance / (1 + fit.residual)  # a phase that came turned round is turned back here
            for word, phasors in (("measured", measured), ("modelled", fit.impedance)):
                lines.append(Line(f"{word}{each.called}", np.degrees(np.angle(phasors)), each.sweep.frequency))
    return lines


def several(found: Batch) -> list[Graph]:
    """All units, a few to a graph; then how the impedances of each pair differ."""
    return [*_all(found.units), *_pairs(found)]


def _all(units: Sequence[Measured]) -> Iterator[Graph]:
    for start in range(0, len(units), MOST):
        some = units[start : start + MOST]
        # the widest band: beyond its own ends a sweep is not drawn
        widest = max(some, key=lambda unit: float(unit.sweep.frequency[-1] / unit.sweep.frequency[0])).sweep.frequency
        lines = [
            Line(f"{start + i}, {short(unit)}", unit.sweep.magnitude, unit.sweep.frequency)
            for i, unit in enumerate(some, 1)
        ]
        sentence = bare(f"units {start + 1} to {start + len(some)}", "measured impedance")
        yield Graph("How alike are they?", sentence, "impedance", widest, lines)


def _pairs(found: Batch) -> Iterator[Graph]:
    shown = [
        (pair, impedance_apart(*(found.units[i].sweep for i in (pair.first, pair.second)))) for pair in found.pairs
    ]
    shown = [each for each in shown if each[1][0].size]
    for start in range(0, len(shown), MOST):
        some = shown[start : start + MOST]
        lines = [Line(f"{p.grade}: {p.first + 1} and {p.second + 1}", 100 * curve, x) for p, (x, curve) in some]
        widest = max((x for _, (x, _) in some), key=lambda x: float(x[-1] / x[0]))
        yield Graph(
            "How far apart are the pairs?",
            f"{bare('pairs', 'impedance of the second over the first')}; numbers as in the list of units",
            "percent_off",
            widest,
            lines,
        )
