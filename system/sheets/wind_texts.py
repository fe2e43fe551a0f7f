"""The text of `parts --wind`: what coil to wind of which wire, and how to trim it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from system import wording
from system.sheets.tables import table, wrap
from system.workshop.wind import MORE, Wind, Wound

SPACE = "\u00a0"  # where a line is not to break
SERIES = {"metric": "metric wire", "awg": "American gauge"}
ABOUT = (
    "former: the inner diameter, to a whole millimetre; length: between the cheeks; outer: of the winding; mm. Every"
    " coil has the shape that Brooks found nearly the best for a length of wire: a square section, as wide as the"
    " former's radius. Inductance is exact for a current spread evenly over the section; wire at 20 degC, annealed"
    " copper (IEC 60028), without its leads; enamel of grade 2; by hand, 5 % more room than the wire both ways (common"
    " practice, no source). No iron, brass or closed ring of metal in or near it: screw it down with plastic, tie it"
    " to the board."
)
TRIM = (
    "Measure the coil in air, away from metal, at 1 kHz; without a meter for inductance, measure the volts across it"
    " and across a known resistor in series. What it has too much is unwound; what it lacks cannot be added so easily."
)


def winds(kit_name: str, results: Sequence[Wind]) -> str:
    """Every value that the variants ask for."""
    lines = wrap(f"{kit_name}: a coil to wind for {results[0].reference}", "  ", "")
    for result in results:
        lines += ["", *wrap(_asked(result), "  ", ""), *_choices(result)]
        for text in _verdict(result):
            lines += wrap(text, "    ", "  ")
        for each in result.thinnest:
            lines += ["", *wrap(f"{SERIES[each.wire.series]}: {_how(each, result)}", "    ", "  ")]
        if result.best is not None and result.formers:
            lines += ["", f"  {result.best.wire.name} on other formers", *_table(result.formers, result)]
    for text in (ABOUT, TRIM):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join(lines).replace(SPACE, " ")


def _asked(result: Wind) -> str:
    resistance = "dc resistance not told" if result.resistance is None else f"{result.resistance:g} ohm or less"
    usual = " (usual; the kit gives none)" if result.assumed_tolerance else ""
    instead = f", instead of {' + '.join(map(wording.henries, result.group))}" if result.group else ""
    return (
        f"{', '.join(result.variants)}: {wording.henries(result.inductance)}, {resistance}, within"
        f" {100 * result.tolerance:g} %{usual}{instead}"
    )


def _choices(result: Wind) -> list[str]:
    return _table(result.choices, result)


def _table(coils: Sequence[Wound], result: Wind) -> list[str]:
    rows = [
        [
            each.wire.name,
            f"{each.winding.inner_diameter * 1e3:.0f}",
            f"{math.ceil(each.winding.length * 1e3 - 0.05):d}",
            f"{each.winding.outer_diameter * 1e3:.0f}",
            f"{each.winding.turns:.0f}",
            f"{each.layers} x {each.per_layer}",
            f"{each.wire_length:.1f}",
            f"{each.mass * 1e3:.0f}",
            f"{each.resistance:.3f}",
            _word(each, result),
        ]
        for each in coils
    ]
    header = ["wire", "former", "length", "outer", "turns", "layers", "wire m", "copper g", "ohm", ""]
    return table(header, rows, indent="  ")


def _word(each: Wound, result: Wind) -> str:
    if result.resistance is None:
        return ""
    if each.resistance > result.resistance:
        return "too much"
    return "enough, thinnest" if each in result.thinnest else "enough"


def _verdict(result: Wind) -> Iterator[str]:
    if result.resistance is None:
        yield "The kit gives no dc resistance: it is part of the value, so choose the wire with a reason."
    elif not result.thinnest:
        yield f"No wire here has {result.resistance:g} ohm or less."
    elif min(each.resistance for each in result.thinnest) < 0.8 * result.resistance:
        yield "Less resistance than the kit has changes the response as another value does: see swap."


def _how(each: Wound, result: Wind) -> str:
    last = "" if each.last_layer == each.per_layer else f", {each.last_layer} in the last"
    off = _percent(round(100 * (each.inductance / result.inductance - 1), 1) + 0.0, "+.1f")  # no -0.0
    turn = _percent(100 * each.per_turn / each.inductance, ".1f")
    return (
        f"{each.wire.name} ({each.overall * 1e3:.2f} mm with enamel), {each.winding.turns:.0f} turns in {each.layers}"
        f" layers of {each.per_layer}{last}: {wording.henries(each.inductance)} ({off}; by Wheeler's formula"
        f" {wording.henries(each.wheeler)}), {each.resistance:.2f} ohm. {each.least_turns} to {each.most_turns} turns"
        f" are within {_percent(100 * result.tolerance)}. Wind {each.wind_first} ({_percent(100 * MORE)} more),"
        f" measure, and unwind: each turn is {wording.henries(each.per_turn)}, {turn}."
    )


def _percent(value: float, form: str = "g") -> str:
    return f"{value:{form}}{SPACE}%"
