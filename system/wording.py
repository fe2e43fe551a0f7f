"""Numbers as a builder reads them: rounding conventions and units, one function a quantity.

Limits on drive are rounded down and needed ratings up by the caller that knows which it has.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from system.kit import Place
from system.units import ZERO_CELSIUS

NOTHING = "-"  # a figure that does not exist
SILENT = -100.0  # dB, below which there is nothing to speak of


def listed(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def millimetres(metres: float | None) -> str:
    """One-way peak excursion to 0.1 mm; below 0.05 mm two figures, so that nothing moving reads as zero."""
    if metres is None:
        return NOTHING
    return f"{metres * 1e3:.1f} mm" if metres >= 0.05e-3 else f"{metres * 1e3:.2g} mm"


def hertz(frequency: float | None) -> str:
    """Whole hertz below 100 Hz, three figures above, kHz from 1000."""
    if frequency is None:
        return NOTHING
    if frequency < 1000:
        return f"{frequency:.0f} Hz"
    return f"{frequency / 1000:.3g} kHz"


def decibels(value: float | None, sign: bool = False) -> str:
    if value is None:
        return NOTHING
    return f"{value:+.1f} dB" if sign else f"{value:.1f} dB"


def sound(level: float, more: str = "", digits: int = 0) -> str:
    """A level in dB with what else is to be said of it, or that there is none."""
    return f"{level:.{digits}f} dB{more}" if level > SILENT else "silent"


def bare_sound(level: float) -> str:
    """Of a table's cell, in whole dB."""
    return f"{level:.0f}" if level > SILENT else NOTHING


def degrees(kelvin: float) -> str:
    """A temperature in whole degC."""
    return f"{kelvin - ZERO_CELSIUS:.0f} degC"


def ohms(value: float | None) -> str:
    return NOTHING if value is None else f"{value:.1f} ohm"


def tenths(value: float) -> str:
    """Of a table's cell; what is infinite or unknown is nothing."""
    return f"{value:z.1f}" if math.isfinite(value) else NOTHING


def volts_down(value: float) -> str:
    """A limit on drive, rounded down to 0.1 V."""
    return f"{math.floor(value * 10 + 1e-9) / 10:.1f} V"


def drive(value: float, load: float) -> str:
    """A limit on drive in volts rms, then in watts into the rated load (ohm), both rounded down."""
    watts = value**2 / load
    digits = 0 if watts >= 10 else 1
    down = math.floor(watts * 10**digits + 1e-9) / 10**digits
    return f"{volts_down(value)} rms ({down:.{digits}f} W into {load:g} ohm)"


def farads(value: float) -> str:
    """A capacitance as it is marked: uF, below 1 uF nF."""
    return f"{_figures(value * 1e6)} uF" if value >= 1e-6 else f"{_figures(value * 1e9)} nF"


def henries(value: float) -> str:
    return f"{_figures(value * 1e3)} mH" if value >= 1e-4 else f"{_figures(value * 1e6)} uH"


def state(value: float | None) -> str:
    """A protective place: `linked`, or its capacitor."""
    return "linked" if value is None else farads(value)


def group(value: float | None, parts: tuple[float, ...]) -> str:
    """`220 uF (100 uF + 120 uF)` for parts in parallel, `220 uF` for a single one."""
    return f"{state(value)} ({' + '.join(map(farads, parts))})" if len(parts) > 1 else state(value)


def part_value(kind: str, value: float) -> str:
    """A part's value with its unit, by kind: capacitor, coil, resistor."""
    return PART_UNITS[kind](value)


def _figures(value: float) -> str:
    """Up to four significant figures without trailing zeros and without an exponent."""
    digits = max(0, 3 - math.floor(math.log10(value))) if value > 0 else 0
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


PART_UNITS: dict[str, Callable[[float], str]] = {
    "capacitor": farads,
    "coil": henries,
    "resistor": lambda value: f"{_figures(value)} ohm",
}


def place(here: Place) -> str:
    """What a place has in it: `C1 linked`, `R2 left out`, `R1 1.5 ohm`."""
    state = {"link": "linked", "omit": "left out"}.get(here.state)
    return f"{here.reference} {state or part_value(here.part.kind, here.part.value)}"
