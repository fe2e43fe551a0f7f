"""The fit of one impedance sweep.

The curve is fitted in relative terms, ln Z with its phase or ln|Z| without, by weighted least squares in the
logarithms of the figures, from values read off the sweep itself (`fitting_first`). re, fs and the Qs are those of the
model that does best (`fitting_motion`); where the curve is to be told with another coil, only its own parameters are
fitted: a coil that cannot follow the curve would pull re and qts by tens of per cent. re is held at a dc reading where
there is one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from system.bench.fitting_errors import quantile
from system.bench.fitting_first import look
from system.bench.fitting_models import FS, MOTION, QMS, RE, RM, Complexes, Floats, model
from system.bench.fitting_motion import Judged, at_reading, motion, search, with_coil
from system.bench.fitting_solve import Points, Solution
from system.bench.fitting_values import Estimate, Fit, Refused
from system.bench.sweeps import Sweep

DC_ERROR = 0.01  # 95 % of readings of a meter with its leads zeroed lie so near; common practice, no source
_STRANGE = 0.12  # rms of ln|Z| within an octave of the resonance
_LOOSE = 0.1  # rms: no driver alone is so far off
_BLURRED = {"fs": 0.2, "qts": 0.5}  # half an interval, relative: wider is no answer
_UNKNOWN = 2.0  # sd of a logarithm from which on the interval is open


def _check(found: Solution, points: Points) -> None:
    """Raise Refused where what was fitted is no resonance of this sweep, or not one driver in free air."""
    fs = math.exp(found.unknowns[FS])
    first, last = points.frequency[0], points.frequency[-1]
    if not 1.02 * first < fs < last / 1.5:
        raise Refused(
            f"the sweep shows no resonance inside its {first:.3g} to {last:.3g} Hz: begin at a third of the resonance "
            "or lower and go on to ten times it"
        )
    near = np.abs(np.log2(points.frequency / fs)) < 1
    missed = float(np.sqrt(np.mean(found.residual[near, 0] ** 2))) if near.any() else math.inf
    if missed > _STRANGE:
        raise Refused(
            f"within an octave of {fs:.3g} Hz the curve is {100 * missed:.0f} % off that of one driver in free air: "
            "measure the driver alone, out of any box and with nothing in series"
        )


def _figures(judged: Judged, freedom: float, notes: list[str]) -> dict[str, Estimate]:
    """Every figure with its interval: Student's t times the sd of its logarithm, to first order in the unknowns."""
    unknowns, names = judged.solution.unknowns, judged.solution.model.names
    re, _, qms, rm = np.exp(unknowns[: len(MOTION)])
    qes = qms * re / rm  # r0 - 1 = qms/qes (Small, J. Audio Eng. Soc. 20(5), 1972)
    qts = qms * qes / (qms + qes)
    rows = np.eye(len(unknowns))
    by_qes = rows[QMS] + rows[RE] - rows[RM]
    by_qts = qts / qms * rows[QMS] + qts / qes * by_qes
    logs: dict[str, tuple[float, Floats]] = {
        "re": (re, rows[RE]),
        "fs": (math.exp(unknowns[FS]), rows[FS]),
        "qms": (qms, rows[QMS]),
        "qes": (qes, by_qes),
        "qts": (qts, by_qts),
        **{key: (math.exp(unknowns[i]), rows[i]) for i, key in enumerate(names) if i >= len(MOTION)},
    }
    t = quantile(freedom)
    found = {}
    for name, (value, row) in logs.items():
        sd = math.sqrt(max(float(row @ judged.covariance @ row), 0.0))
        if name == "creep":
            found[name] = Estimate(
                float(unknowns[-1]), max(0.0, float(unknowns[-1]) - t * sd), float(unknowns[-1]) + t * sd
            )
        elif sd < _UNKNOWN:
            found[name] = Estimate(float(value), float(value) * math.exp(-t * sd), float(value) * math.exp(t * sd))
        else:
            found[name] = Estimate(float(value), 0.0, math.inf)
            notes.append(f"the sweep does not tell {name} of the voice coil")
    return found


def _check_told(figures: Mapping[str, Estimate]) -> None:
    for name, most in _BLURRED.items():
        each = figures[name]
        if not math.log(each.high / max(each.low, 1e-12)) < 2 * most:
            raise Refused(
                f"the resonance shows too little in this sweep ({name} lies anywhere from {each.low:.3g} to "
                f"{each.high:.3g}): measure with more points and less noise, from a third of the resonance up"
            )


def _residual(sweep: Sweep, impedance: Complexes, way: int) -> Floats | Complexes:
    """Modelled over measured minus one (F,); the phase counts with the sign `way`, 0 for a sweep without."""
    if sweep.phase is None or way == 0:
        return np.abs(impedance) / sweep.magnitude - 1
    return np.asarray(impedance / (sweep.magnitude * np.exp(1j * way * sweep.phase)) - 1)


def fit(
    sweep: Sweep,
    dc: float | None = None,
    coil_model: str | None = None,
    creep: bool = False,
    dc_error: float = DC_ERROR,
) -> Fit:
    """The driver that fits `sweep` best, with 95 % intervals.

    `dc` (ohm) is a reading of a meter, right within `dc_error` (relative, 95 %): re is held at it. `coil_model` is one
    of the kit file's names; without it the one with the best score is taken. `creep` has the suspension creep.
    Raises Refused where the sweep cannot carry the figures, ValueError for an unknown model or a dc that is not above
    zero.
    """
    if coil_model is not None:
        model(coil_model, creep)
    if dc is not None and not (math.isfinite(dc) and dc > 0):
        raise ValueError(f"the dc resistance must be above zero, not {dc!r}")
    ready = look(sweep)
    around = search(ready, creep)
    notes = list(ready.notes)
    told = motion(around, creep, notes)
    _check(told.solution, around.points)
    points = around.points
    if dc is not None:
        told, around = at_reading(told, around, dc, dc_error, notes)
    name = around.models[0].name if coil_model is None else coil_model
    score = next(each for each in around.models if each.name == name)
    if not score.supported:
        notes.append(f"{name} {score.why}; re, fs and the Qs do not follow it")
    judged = with_coil(told, around, name)
    if not told.white:
        notes.append(
            f"the model misses the curve over wide bands: intervals are {math.sqrt(told.tau):.1f} times as wide"
        )
    least = around.models[0].residual_rms
    if least > _LOOSE:
        notes.append(
            f"even the best model misses the curve by {100 * least:.0f} %: is it the driver alone, with nothing in "
            "series or across?"
        )
    figures = _figures(judged, told.freedom, notes)
    _check_told(figures)
    gain = math.exp(float(points.level[0] - around.points.level[0]))
    impedance = gain * judged.solution.model.impedance(sweep.frequency, judged.solution.unknowns)[0]
    kept = ready.kept[ready.place]
    residual = _residual(sweep, impedance, ready.way)
    return Fit(
        sweep=sweep,
        coil_model=name,
        creep=creep,
        figures=MappingProxyType(figures),
        impedance=impedance,
        residual=residual,
        residual_rms=float(np.sqrt(np.mean(np.abs(residual[kept]) ** 2))),
        kept=kept,
        models=around.models,
        covariance=judged.covariance,
        names=judged.solution.model.names,
        inflation=math.sqrt(told.tau),
        freedom=told.freedom,
        notes=tuple(notes),
    )
