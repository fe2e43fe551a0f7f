"""Small-signal parameters of a driver from one impedance sweep (`fit`), or from two: with a mass added, in a known box.

All relations are products of powers but for one difference each, so the uncertainties of both sweeps, of the mass, the
volume and the cone's area go on as those of logarithms, to first order.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from enclosures.air import Air
from system.bench.fitting_errors import quantile
from system.bench.fitting_models import FS, QMS, RE, RM, Floats
from system.bench.fitting_single import DC_ERROR, fit
from system.bench.fitting_values import Estimate, Fit, Full, ModelScore, Refused
from system.bench.sweeps import Sweep

__all__ = ["DC_ERROR", "Estimate", "Fit", "Full", "ModelScore", "Refused", "added_mass", "fit", "known_box"]

MASS_ERROR = 0.01  # 95 %: 0.1 g of 10 g, what kitchen scales tell; common practice, no source
VOLUME_ERROR = 0.02  # 95 %: a box measured inside, with what the driver takes of it; common practice, no source
_NORMAL_95 = 1.959964
_MASS_SHIFT = 1.03  # fs over fs with the mass: less and the mass cannot be told
_BLURRED = 0.5  # half an interval, relative: wider is no answer
_SAME_RE = 0.05  # of both sweeps, relative
_SAME_LOSS = 0.25  # the same of rm, or of what a box's mass should be

# A figure's logarithm by those of what was measured: the unknowns of both sweeps, and whatever else counts.
Row = dict[str, float]


class _Logs:
    """Logarithms with the errors they come from: sources are independent of each other, unknowns of one fit are not."""

    def __init__(self) -> None:
        self.values: dict[str, tuple[float, Row]] = {}
        self.sources: list[tuple[list[str], Floats, float]] = []

    def source(self, names: list[str], logs: Floats, covariance: Floats, freedom: float = math.inf) -> None:
        """Figures that were measured together: their logarithms (K,) and the covariance (K, K)."""
        self.sources.append((names, covariance, freedom))
        for name, log in zip(names, logs, strict=True):
            self.values[name] = float(log), {name: 1.0}

    def product(self, name: str, factor: float, **exponents: float) -> None:
        """factor times powers of known figures."""
        row: Row = {}
        log = math.log(factor)
        for other, exponent in exponents.items():
            value, by = self.values[other]
            log += exponent * value
            for key, slope in by.items():
                row[key] = row.get(key, 0.0) + exponent * slope
        self.values[name] = log, row

    def less_one(self, name: str, ratio: str) -> None:
        """ratio - 1, for a ratio above 1."""
        log, row = self.values[ratio]
        over = math.exp(log) - 1
        self.values[name] = math.log(over), {key: slope * (over + 1) / over for key, slope in row.items()}

    def estimate(self, name: str) -> Estimate:
        """The figure with its 95 % interval; degrees of freedom after Welch & Satterthwaite (Biometrics 2, 1946)."""
        log, row = self.values[name]
        parts = []
        for names, covariance, freedom in self.sources:
            slopes = np.array([row.get(each, 0.0) for each in names])
            parts.append((max(float(slopes @ covariance @ slopes), 0.0), freedom))
        variance = sum(part for part, _ in parts)
        rest = sum(part**2 / freedom for part, freedom in parts)
        reach = quantile(variance**2 / rest if rest > 0 else math.inf) * math.sqrt(variance)
        return Estimate(math.exp(log), math.exp(log - reach), math.exp(log + reach))


def _both(first: Fit, second: Fit) -> _Logs:
    logs = _Logs()
    for fitted, mark in ((first, "1"), (second, "2")):
        which = [RE, FS, QMS, RM]
        values = [math.log(fitted.figures[name].value) for name in ("re", "fs", "qms")]
        re, qms, qes = (fitted.figures[name].value for name in ("re", "qms", "qes"))
        values.append(math.log(re * qms / qes))  # rm
        names = [name + mark for name in ("re", "fs", "qms", "rm")]
        logs.source(names, np.array(values), fitted.covariance[np.ix_(which, which)], fitted.freedom)
    return logs


def _measured(logs: _Logs, name: str, value: float, error: float) -> None:
    """A figure from outside of the sweeps, right within `error` (relative, 95 %)."""
    logs.source([name], np.array([math.log(value)]), np.array([[(error / _NORMAL_95) ** 2]]))


def _require(**values: float | None) -> None:
    for name, value in values.items():
        if value is not None and not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above zero, not {value!r}")


def _told(figures: Mapping[str, Estimate], name: str, advice: str) -> None:
    each = figures[name]
    if not math.log(each.high / each.low) < 2 * _BLURRED:
        raise Refused(f"{name} cannot be told from these two sweeps: {advice}")


def _second(second: Sweep, first: Fit, creep: bool, dc: float | None, dc_error: float) -> Fit:
    """The second sweep with the coil model of the first: what the coil is put down to is then alike in both."""
    return fit(second, dc, first.coil_model, creep, dc_error)


def _motor(logs: _Logs) -> None:
    """bl and rms once mms is there: qes = re sqrt(mms/cms)/bl^2, qms = sqrt(mms/cms)/rms (Small, JAES 20(5), 1972)."""
    logs.product("rms", 2 * math.pi, mms=1, fs1=1, qms1=-1)
    logs.product("bl", 1.0, rm1=0.5, rms=0.5)  # rm = bl^2/rms
    logs.product("cms", 1 / (4 * math.pi**2), fs1=-2, mms=-1)


def _warn_resistance(first: Fit, second: Fit, notes: list[str]) -> None:
    ratio = second.figures["re"].value / first.figures["re"].value
    if abs(ratio - 1) > _SAME_RE:
        notes.append(
            f"re is {100 * (ratio - 1):+.0f} % from one sweep to the other: a contact, a warm coil, or another scale"
        )


def added_mass(
    first: Sweep,
    second: Sweep,
    mass: float,
    sd: float | None,
    air: Air,
    *,
    dc: float | None = None,
    coil_model: str | None = None,
    creep: bool = False,
    mass_error: float = MASS_ERROR,
    sd_error: float = 0.0,
    dc_error: float = DC_ERROR,
) -> Full:
    """bl, mms, cms and rms, with `sd` (m2) vas too: `first` in free air, `second` with `mass` (kg) on the cone.

    fs = 1/(2 pi sqrt(mms cms)) in both, so mms = mass/((fs1/fs2)^2 - 1). Errors are relative, of 95 %. vas is that of
    `air`. Raises Refused where a sweep or both together cannot carry it, ValueError for a mass or sd that is not above
    zero.
    """
    _require(mass=mass, sd=sd)
    one = fit(first, dc, coil_model, creep, dc_error)
    two = _second(second, one, creep, dc, dc_error)
    shift = one.figures["fs"].value / two.figures["fs"].value
    if shift < _MASS_SHIFT:
        raise Refused(
            f"fs is {one.figures['fs'].value:.4g} Hz and {two.figures['fs'].value:.4g} Hz with the mass: it has to "
            "fall by a tenth or more; were the sweeps exchanged, did the mass sit firmly? Take a heavier one"
        )
    notes: list[str] = []
    logs = _both(one, two)
    _measured(logs, "mass", mass, mass_error)
    logs.product("shift", 1.0, fs1=2, fs2=-2)
    logs.less_one("over", "shift")
    logs.product("mms", 1.0, mass=1, over=-1)
    _motor(logs)
    names = ["mms", "cms", "rms", "bl"]
    if sd is not None:
        _measured(logs, "sd", sd, sd_error)
        logs.product("vas", air.bulk_modulus, sd=2, cms=1)
        names += ["vas", "sd"]
    figures = {**one.figures, **{name: logs.estimate(name) for name in names}}
    _told(figures, "mms", "take a mass of about that of the cone, and more points about the resonance")
    _warn_resistance(one, two, notes)
    loss = math.exp(logs.values["rm2"][0] - logs.values["rm1"][0])
    if abs(loss - 1) > _SAME_LOSS:
        notes.append(
            f"the peak changes by {100 * (loss - 1):+.0f} % with the mass and should stay: did it rattle, is it "
            "another driver?"
        )
    return Full(one, two, MappingProxyType(figures), "added_mass", tuple(notes))


def known_box(
    first: Sweep,
    second: Sweep,
    volume: float,
    air: Air,
    sd: float | None,
    *,
    dc: float | None = None,
    coil_model: str | None = None,
    creep: bool = False,
    volume_error: float = VOLUME_ERROR,
    sd_error: float = 0.0,
    dc_error: float = DC_ERROR,
) -> Full:
    """vas, with `sd` (m2) bl, mms, cms and rms too: `first` in free air, `second` in a sealed box of `volume` (m3).

    The box is ideal: airtight, empty, `volume` net with what the driver takes of it, `air` without loss. Its spring
    makes vas/volume + 1 = fc qec/(fs qes) (Small, Closed-box systems I, J. Audio Eng. Soc. 20(10), 1972; from memory),
    which holds whatever air load the box changes. Errors are relative, of 95 %; an error of the volume goes into vas as
    it is, and a leak makes vas too small. Raises as `added_mass`.
    """
    _require(volume=volume, sd=sd)
    one = fit(first, dc, coil_model, creep, dc_error)
    two = _second(second, one, creep, dc, dc_error)
    logs = _both(one, two)
    _measured(logs, "volume", volume, volume_error)
    # qe = qm re/rm; re is the same driver's and not measured twice, so it is left out of the ratio
    logs.product("stiffer", 1.0, fs2=1, qms2=1, rm2=-1, fs1=-1, qms1=-1, rm1=1)
    stiffer = math.exp(logs.values["stiffer"][0])
    if one.figures["fs"].value * _MASS_SHIFT > two.figures["fs"].value or stiffer <= 1:
        raise Refused(
            f"fs is {one.figures['fs'].value:.4g} Hz and {two.figures['fs'].value:.4g} Hz in the box: it has to rise "
            "by a tenth or more; were the sweeps exchanged, is the box airtight? Take a smaller one"
        )
    notes = ["an error of the volume goes into vas as it is; a leak makes vas too small"]
    logs.less_one("over", "stiffer")
    logs.product("vas", 1.0, over=1, volume=1)
    names = ["vas"]
    if sd is not None:
        _measured(logs, "sd", sd, sd_error)
        logs.product("cms", 1 / air.bulk_modulus, vas=1, sd=-2)
        logs.product("mms", 1 / (4 * math.pi**2), fs1=-2, cms=-1)
        _motor(logs)
        names += ["mms", "cms", "rms", "bl", "sd"]
    figures = {**one.figures, **{name: logs.estimate(name) for name in names}}
    _told(figures, "vas", "take a box of about half of vas, and more points about the resonance")
    _warn_resistance(one, two, notes)
    # with one mass fc/fs = qec/qes: (fc/fs)^2 over 1 + vas/volume is the mass in free air over that in the box
    mass = (two.figures["fs"].value / one.figures["fs"].value) ** 2 / stiffer
    if abs(mass - 1) > _SAME_LOSS:
        notes.append(
            f"fc/fs and qec/qes differ as if the moving mass were {100 * (1 / mass - 1):+.0f} % in the box: look for a "
            "leak, or filling left inside"
        )
    return Full(one, two, MappingProxyType(figures), "known_box", tuple(notes))
