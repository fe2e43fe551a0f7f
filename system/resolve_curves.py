"""How a driver changes over its excursion: curves in any of two forms, held against its small-signal figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from system import kitmodel as edge
from system.context import Context, Path_, per_cent, severity_of
from system.kit import Coil, CurveSpec, LargeSignalSpec, SmallSignal


class Kind(NamedTuple):
    """The unit of a curve on a data sheet, what it is in SI, and what it is called where it must agree at rest."""

    unit: str
    si: float
    at_rest: str


KINDS: Mapping[str, Kind] = {
    "bl": Kind("T.m", 1.0, "the small-signal figures"),
    "stiffness": Kind("N/mm", 1e3, "the small-signal figures"),
    "inductance": Kind("mH", 1e-3, "voice_coil.le"),
}
_HALVINGS = 50  # of a range of some mm: far below any length that matters
_PRINTED_ALIKE = 1e-3  # relative; curves are read off to three digits or so


def resolve_large_signal(
    driver: edge.Driver, small: SmallSignal, coil: Coil | None, path: Path_, context: Context
) -> LargeSignalSpec | None:
    """The driver's curves in SI without those at fault (and reported); None where there are none."""
    if driver.large_signal is None:
        return None
    here = (*path, "large_signal")
    models = {key: model for key in KINDS if (model := getattr(driver.large_signal, key)) is not None}
    if not models:
        if not any(other[:-1] == here for other in context.report.misspelt):
            context.report.error("empty", here, f"{_where(here)} is empty", f"give {', '.join(KINDS)} or some of them")
        return None
    if "inductance" in models and coil is None:
        found = f"{path[-1]} has large_signal.inductance and no voice_coil"
        context.missing((*path, "voice_coil"), found, "say what it is at rest: voice_coil: {le: ..}")
        return None
    at_rest = {"bl": small.bl, "stiffness": 1 / small.cms, "inductance": coil.parameters.get("le") if coil else None}
    curves: dict[str, CurveSpec] = {}
    for key, model in models.items():
        curve = _curve(model, KINDS[key].si, (*here, key), context)
        if curve is not None and _agrees(curve, at_rest[key], KINDS[key], (*here, key), context):
            _check_reach(curve, driver, KINDS[key], (*here, key), context)
            curves[key] = curve
    return LargeSignalSpec(**curves)


def _where(path: Path_) -> str:
    """woofer.large_signal.bl"""
    return ".".join(path[1:])


def _curve(model: edge.CurveShape, si: float, path: Path_, context: Context) -> CurveSpec | None:
    """The curve in SI; a polynomial is written in its unit over powers of a millimetre."""
    values: Sequence[float] | None = getattr(model, "values", None)
    where = _where(path)
    if model.polynomial is not None and (model.at is not None or values is not None):
        found = f"{where} has a polynomial and {'at' if model.at is not None else 'is'}"
        context.report.error("given_twice", (*path, "polynomial"), found, "give one of the two")
        return None
    if model.polynomial is not None:
        return CurveSpec(coefficients=tuple(c * si * 1e3**power for power, c in enumerate(model.polynomial)))
    if model.at is None or values is None:
        lacking = [key for key, given in (("at", model.at), ("is", values)) if given is None]
        context.missing(
            (*path, lacking[0]), f"{where} has no {' and no '.join(lacking)}", "give at and is, or a polynomial"
        )
        return None
    return _table(model.at, values, path, context)


def _table(at: Sequence[float], values: Sequence[float], path: Path_, context: Context) -> CurveSpec | None:
    where, report = _where(path), context.report
    if len(at) != len(values):
        found = f"{where}.is has {len(values)} items, and at has {len(at)}"
        report.error("list_length", (*path, "is"), found, "give one value for each place")
        return None
    for index, (before, after) in enumerate(pairwise(at), start=1):
        if after <= before:
            here = (*path, "at", str(index))
            found = f"{where}.at is {context.text(here)} after {context.text((*path, 'at', str(index - 1)))}"
            report.error("curve_places", here, found, "the places rise, from inward (below zero) to outward")
            return None
    if not at[0] < 0 < at[-1]:
        found = f"{where}.at lies on one side of rest only"
        report.error("curve_places", (*path, "at"), found, "give places on both sides of 0 mm", key=True)
        return None
    return CurveSpec(places=tuple(at), values=tuple(values))


def value_at_rest(curve: CurveSpec) -> float:
    """The curve at x = 0, between two places of a table along a straight line."""
    if curve.coefficients:
        return curve.coefficients[0]
    after = next(i for i, place in enumerate(curve.places) if place >= 0)
    (x0, x1), (y0, y1) = curve.places[after - 1 : after + 1], curve.values[after - 1 : after + 1]
    return y0 + (y1 - y0) * -x0 / (x1 - x0)


def _agrees(curve: CurveSpec, wanted: float | None, kind: Kind, path: Path_, context: Context) -> bool:
    """Whether the curve at rest is what is known of the driver there; what little it differs is scaled away."""
    if wanted is None:
        return True
    found = value_at_rest(curve)
    relative = found / wanted - 1
    if abs(relative) <= _PRINTED_ALIKE:
        return True
    severity = severity_of(relative)
    words = (
        f"{_where(path)} is {found / kind.si:.4g} {kind.unit} at rest, {per_cent(relative)} off the "
        f"{wanted / kind.si:.4g} {kind.unit} of {kind.at_rest}"
    )
    allowed = "correct one of the two" if severity == "error" else "the curve is scaled to that"
    context.report.add(severity, "large_signal_disagrees", path, words, allowed, key=True)
    return severity != "error"


def _check_reach(curve: CurveSpec, driver: edge.Driver, kind: Kind, path: Path_, context: Context) -> None:
    """As far as the driver moves the curve must be known, and above zero."""
    limit = "damage_excursion" if driver.damage_excursion is not None else "linear_excursion"
    reach: float = getattr(driver, limit) or 0.0
    where = _where(path)
    if curve.coefficients:
        place = lowest_place(curve.coefficients, reach)
        if (lowest := polynomial(curve.coefficients, place)) <= 0:
            found = f"{where} is {lowest / kind.si:.3g} {kind.unit} at {1e3 * place:+.3g} mm"
            within = f"within +-{1e3 * reach:.4g} mm ({limit}) it stays above zero: check signs and powers"
            context.report.error("large_signal_negative", (*path, "polynomial"), found, within, key=True)
    elif min(-curve.places[0], curve.places[-1]) < reach * (1 - 1e-9):
        found = (
            f"{where} is known from {1e3 * curve.places[0]:.4g} mm to {1e3 * curve.places[-1]:.4g} mm, "
            f"and {limit} is {1e3 * reach:.4g} mm"
        )
        context.report.note("curve_short", (*path, "at"), found, "beyond its ends it is a guess", key=True)


def polynomial(coefficients: Sequence[float], x: float) -> float:
    """c0 + c1 x + c2 x^2 + ... by Horner's rule."""
    value = 0.0
    for c in reversed(coefficients):
        value = value * x + c
    return value


def lowest_place(coefficients: Sequence[float], reach: float) -> float:
    """Where between -reach and reach the polynomial is lowest."""
    slope = [power * c for power, c in enumerate(coefficients)][1:]
    return min([-reach, *_crossings(slope, reach), reach], key=lambda x: polynomial(coefficients, x))


def _crossings(coefficients: Sequence[float], reach: float) -> list[float]:
    """Where within +-reach a polynomial changes sign: once at most between two neighbours of its slope's crossings."""
    if len(coefficients) < 2:
        return []
    slope = [power * c for power, c in enumerate(coefficients)][1:]
    found = []
    for low, high in pairwise([-reach, *_crossings(slope, reach), reach]):
        falls = polynomial(coefficients, low) > 0
        if falls == (polynomial(coefficients, high) > 0):
            continue
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if (polynomial(coefficients, middle) > 0) == falls else (low, middle)
        found.append(low)
    return found
