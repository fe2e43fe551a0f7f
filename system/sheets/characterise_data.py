"""What sweeps say of drivers, as plain data for JSON and CSV, and as keys of a driver in a kit file."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from system.bench.characterise import ALIKE, ROOM, Batch, Measured, Next, Pair, Second, next_measurement
from system.bench.fitting import Estimate, Fit
from system.bench.fitting_models import COILS
from system.sheets.data import degrees, numbers, table_csv
from system.sheets.limit_data import number

# The figures by their key in a kit file: how JSON calls them, their unit, and what to multiply the SI value with.
FIGURES: Mapping[str, tuple[str, str, float]] = {
    "re": ("re_ohm", "ohm", 1.0),
    "fs": ("fs_hz", "Hz", 1.0),
    "qms": ("qms", "", 1.0),
    "qes": ("qes", "", 1.0),
    "qts": ("qts", "", 1.0),
    "vas": ("vas_l", "L", 1e3),
    "bl": ("bl_t_m", "T.m", 1.0),
    "mms": ("mms_g", "g", 1e3),
    "cms": ("cms_mm_n", "mm/N", 1e3),
    "rms": ("rms_kg_s", "kg/s", 1.0),
    "sd": ("sd_cm2", "cm2", 1e4),
}
HENRIES = {"le", "series", "shunted"}
# What a kit file takes of a driver; the others follow from these. vas goes by its air, so the mass is preferred.
TAKEN = ("re", "fs", "qms", "qes")


def plain(value: float, digits: int = 4) -> str:
    """So many significant figures, no exponent: as the kit reader takes numbers."""
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{float(f'{value:.{digits}g}'):.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def quantity(name: str, value: float) -> str:
    """A figure of the driver or its coil as a kit file writes it."""
    if name in HENRIES:
        return f"{plain(value * 1e3)} mH" if value >= 1e-4 else f"{plain(value * 1e6)} uH"
    if name == "shunt_resistance":
        return f"{plain(value)} ohm"
    _, unit, factor = FIGURES.get(name, ("", "", 1.0))
    return f"{plain(value * factor)} {unit}".rstrip()


def coil(fit: Fit) -> dict[str, Any]:
    """The voice coil as the keys of a kit file: its model, then the values in SI units."""
    return {"model": fit.coil_model, **{key: fit.figures[key].value for key in COILS[fit.coil_model].keys}}


def block(unit: Measured, made: str, spread: Mapping[str, float] | None = None) -> list[str]:
    """The lines of a kit file for this driver, from column 1; none where its sweep was refused.

    `made` says in a comment what it was made from. `spread` is by figure to either side.
    """
    if unit.fit is None:
        return []
    figures = unit.figures
    mass = "mms" if "mms" in figures and "sd" in figures else "vas"
    lines = [f"# {made}"]
    lines += [f"{key}: {quantity(key, figures[key].value)}" for key in (*TAKEN, mass, "sd") if key in figures]
    inside = [f"{key}: {quantity(key, figures[key].value)}" for key in COILS[unit.fit.coil_model].keys]
    lines.append(f"voice_coil: {{model: {unit.fit.coil_model}, {', '.join(inside)}}}")
    if spread:
        widths = ", ".join(f"{key}: {plain(100 * value, 2)} %" for key, value in spread.items())
        lines.append(f"spread: {{{widths}}}")
    lines.append("origin: measured")
    if "sd" not in figures:
        lines.append("# sd: ...     to fill in; it comes from the effective diameter, cone and half of the surround")
    if mass not in figures:
        lines.append("# mms: ...    or vas, to fill in; it comes from a second sweep")
    return lines


def driver(unit: Measured) -> dict[str, Any]:
    """The figures by their kit keys in SI units, and again by names that say a unit; null what is not known."""
    known = {name: number(unit.figures[name].value) if name in unit.figures else None for name in FIGURES}
    named = {}
    for name, (key, _, factor) in FIGURES.items():
        value = known[name]
        named[key] = None if value is None else value * factor
    return {**known, **named, "voice_coil": coil(unit.fit) if unit.fit else None}


def intervals(unit: Measured) -> dict[str, list[float | None]]:
    """By kit key in SI units; of what was given rather than measured there is none."""
    figures = unit.figures.items()
    return {name: [number(each.low), number(each.high)] for name, each in figures if each.low != each.high}


def one(unit: Measured) -> dict[str, Any]:
    """What is told of every sweep."""
    return {
        "driver": driver(unit),
        "interval_95": intervals(unit),
        "residual_rms": number(unit.fit.residual_rms) if unit.fit else None,
        "refused": unit.refused,
        "voice_coil_models": _models(unit.fit) if unit.fit else [],
        "notes": list(notes(unit)),
    }


def notes(unit: Measured) -> tuple[str, ...]:
    """What is to be said of a sweep as it was read, and as it was fitted."""
    read = [f"{each.found}; {each.allowed}" if each.allowed else each.found for each in unit.sweep.notes]
    fitted = [*(unit.fit.notes if unit.fit else ()), *(unit.full.notes if unit.full else ())]
    return tuple(dict.fromkeys([*read, *fitted]))


def _models(fit: Fit) -> list[dict[str, Any]]:
    return [
        {
            "model": each.name,
            "residual_rms": number(each.residual_rms),
            "score": number(each.score),
            "supported": each.supported,
            "chosen": each.name == fit.coil_model,
            "why": each.why,
        }
        for each in fit.models
    ]


def single(unit: Measured, second: Second | None) -> dict[str, Any]:
    """`characterise --json` of one driver."""
    told = None
    if second is not None:
        key, factor = {"added_mass": ("mass_g", 1e3), "known_box": ("volume_l", 1e3)}[second.method]
        told = {"method": second.method, key: second.amount * factor, "file": second.sweep.name}
    return {"file": unit.name, **one(unit), "second_sweep": told, "next": _next(unit, second)}


def _next(unit: Measured, second: Second | None) -> dict[str, float | None] | None:
    if unit.fit is None or second is not None:
        return None
    asked: Next = next_measurement(unit.figures["fs"].value, area_of(unit), ROOM)
    return {
        "added_mass_g": None if asked.mass is None else asked.mass * 1e3,
        "fs_falls_to_hz": asked.falls_to,
        "box_l": None if asked.volume is None else asked.volume * 1e3,
        "fs_rises_to_hz": asked.rises_to,
    }


def area_of(unit: Measured) -> float | None:
    return unit.figures["sd"].value if "sd" in unit.figures else None


def several(found: Batch) -> dict[str, Any]:
    """`characterise --json` of a batch: the first sweep at the top, then each, and what they are together."""
    names = [unit.name for unit in found.units]
    return {
        **one(found.units[0]),
        "sweeps": [
            {
                "file": unit.name,
                **one(unit),
                "outlier": {name: 100 * off for name, off in found.outliers.get(i, {}).items()},
            }
            for i, unit in enumerate(found.units)
        ],
        "batch": {
            name: {
                "median": each.median,
                "lowest": each.lowest,
                "highest": each.highest,
                "standard_deviation_percent": 100 * each.deviation,
            }
            for name, each in found.ranges.items()
        },
        "typical": None if found.typical is None else names[found.typical],
        "pairs": [
            {
                "left": names[pair.first],
                "right": names[pair.second],
                "grade": pair.grade,
                **{f"{name}_percent": number(100 * off) for name, off in differences(pair).items()},
            }
            for pair in found.pairs
        ],
        "left_over": None if found.left_over is None else names[found.left_over],
        "every_pairing_judged": found.complete,
        "alike_within_percent": {name: 100 * limit for name, limit in ALIKE.items()},
    }


def differences(pair: Pair) -> dict[str, float]:
    """By what a pair is judged."""
    return {name: getattr(pair, name) for name in ALIKE}


def figures_csv(units: Sequence[Measured]) -> str:
    """Every figure of every sweep, a row each, in the unit that stands beside it."""
    rows: list[list[Any]] = []
    for unit in units:
        for name, each in unit.figures.items():
            _, word, factor = FIGURES.get(name, ("", _coil_unit(name), 1.0))
            rows.append([unit.name, name, *(number(value * factor) for value in _three(each)), word])
    return table_csv(["file", "figure", "value", "low_95", "high_95", "unit"], rows)


def _three(each: Estimate) -> tuple[float, float, float]:
    return each.value, each.low, each.high


def _coil_unit(name: str) -> str:
    return "H" if name in HENRIES else {"shunt_resistance": "ohm"}.get(name, "")


def curve_csv(unit: Measured) -> str:
    """One sweep, measured and modelled; empty cells where nothing was fitted or the sweep has no phase."""
    sweep, fit = unit.sweep, unit.fit
    nothing: list[None] = [None] * sweep.frequency.size
    columns = {
        "frequency_hz": numbers(sweep.frequency),
        "measured_ohm": numbers(sweep.magnitude),
        "measured_phase_deg": nothing if sweep.phase is None else numbers(np.degrees(sweep.phase)),
        "modelled_ohm": nothing if fit is None else numbers(np.abs(fit.impedance)),
        "modelled_phase_deg": nothing if fit is None else numbers(degrees(fit.impedance)),
        "modelled_over_measured_percent": nothing if fit is None else numbers(100 * off(fit)),
    }
    return table_csv(list(columns), zip(*columns.values(), strict=True))


def off(fit: Fit) -> Any:
    """By how much the model's magnitude is off the measured one (F,), a ratio."""
    return np.abs(1 + fit.residual) - 1


def pairs_csv(found: Batch) -> str:
    names = [unit.name for unit in found.units]
    header = ["left", "right", "grade", *(f"{name}_percent" for name in ALIKE)]
    rows = [
        [names[p.first], names[p.second], p.grade, *(number(100 * off) for off in differences(p).values())]
        for p in found.pairs
    ]
    return table_csv(header, rows)
