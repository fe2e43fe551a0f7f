"""The text of the board as it is laid out: what its coils do to each other, and what to do about it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from system import wording
from system.heat import CHART_SPREAD
from system.kit import Kit
from system.sheets.tables import table, wrap
from system.sheets.texts import heading
from system.units import ZERO_CELSIUS
from system.workshop.layout import CLEAR, HEAVY, MANY, NEAR, Advice, Change, LayoutResult, Pair, Remedy

WORDS = {0: "along the board", 90: "across the board"}
NONE = 5e-5  # a coefficient that is printed as zero
ABOUT = (
    "Coupling is that of the windings as they lie, air coils wound alike with their starts at the first point; level:"
    " the largest change of the sum at the listening point within the window's band, impedance: of what the amplifier"
    " sees. `exchanged`: the same with the two leads of one coil exchanged, which turns the sign round. All of it is in"
    " every prediction of this kit, unless `coupled` gives a coefficient. 0.1 dB is what may be left."
)
PRACTICE = (
    f"Common practice, no source: {NEAR * 1e3:.0f} mm from a hot resistor to glue and capacitors (85 degC), resistors"
    f" {CLEAR * 1e3:.0f} mm off the board, wood 90 degC, no glue alone for more than {HEAVY * 1e3:.0f} g. A resistor's"
    f" surface is that on the programme at clipping; makers' charts scatter by {CHART_SPREAD:.0f} K, so it may get"
    " that much hotter."
)


def layouts(kit: Kit, results: Sequence[LayoutResult]) -> str:
    """Every variant's board."""
    length, width = (side * 1e3 for side in results[0].layout.board)
    lines = [*wrap(heading(kit), "  ", ""), f"The board, {length:.0f} mm x {width:.0f} mm, as it is laid out"]
    for result in results:
        lines += ["", f"{result.variant.name}:", *layout(result)]
    for text in (ABOUT, PRACTICE):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join(lines)


def layout(result: LayoutResult) -> list[str]:
    """One variant's, without its name."""
    lines = _pairs(result.pairs)
    for text in _together(result):
        lines += wrap(text, "    ", "  ")
    lines += ["  to do:"] if result.advice else ["  nothing to do"]
    for each in result.advice:
        lines += wrap(advice(each), "      ", "    ")
    return lines


def _pairs(pairs: Sequence[Pair]) -> list[str]:
    rows = [
        [
            " - ".join(each.coils),
            f"{each.coefficient:+.4f}{' (kit)' if each.given else ''}",
            f"{each.distance * 1e3:.0f} mm",
            f"{each.gap * 1e3:.0f} mm",
            *_change(each.change),
            _level(each.other_way),
        ]
        for each in pairs
    ]
    header = ["coils", "coefficient", "centres", "gap", "level", "impedance", "exchanged"]
    return table(header, rows, indent="  ") if rows else ["  no two air coils that couple"]


def _change(change: Change) -> tuple[str, str]:
    """Level and impedance, and where; of what is printed as zero there is no where."""
    level, ohms = (round(value or 0.0, digits) + 0.0 for value, digits in ((change.level, 2), (change.impedance, 1)))
    at = f" at {wording.hertz(change.impedance_at)}" if ohms else ""
    return (
        f"{_level(change)} at {wording.hertz(change.level_at)}" if level else _level(change),
        f"{ohms:+.1f} ohm{at}" if change.impedance is not None else wording.NOTHING,
    )


def _level(change: Change) -> str:
    return wording.NOTHING if change.level is None else f"{round(change.level, 2) + 0.0:+.2f} dB"


def _together(result: LayoutResult) -> list[str]:
    texts = []
    if len(result.couplings) > 1:
        level, impedance = _change(result.change)
        worst = f"; with leads exchanged in the worst way {_level(result.worst)}" if result.worst else ""
        unknown = "" if result.worst else f"; of more than {MANY} coils not every way of connecting them is tried"
        texts.append(f"all together: {level}, {impedance}{worst}{unknown}")
    if result.temperatures:
        degrees = [f"{name} {wording.degrees(kelvin)}" for name, kelvin in result.temperatures.items()]
        texts.append(f"surfaces on the programme: {wording.listed(degrees)}")
    if result.unrated:
        texts.append(f"how hot {wording.listed(result.unrated)} gets cannot be told: no power_rating")
    if result.absent:
        texts.append(f"not on the plan: {wording.listed(result.absent)}")
    assumed = [body.reference for body in result.bodies if body.assumed]
    if assumed:
        texts.append(f"size assumed, of Brooks's shape: {wording.listed(assumed)}")
    return texts


def axis(angle: float | None) -> str:
    """Where an axis points, as the kit file says it."""
    if angle is None:
        return "up"
    degrees = round(math.degrees(angle)) % 180  # an axis points both ways
    return WORDS.get(degrees, f"turned {degrees} deg from along the board")


def remedy(each: Remedy) -> str:
    left = f"{each.coefficient:+.4f}, {each.level:.2f} dB" if abs(each.coefficient) >= NONE else "no coupling"
    if each.way == "turn":
        return f"turn {each.reference} where it is, its axis {axis(each.angle)} ({left})"
    assert each.distance is not None
    assert each.gap is not None
    return (
        f"move {each.reference} until centres are {math.ceil(each.distance * 1e3):d} mm apart, which leaves"
        f" {math.ceil(each.gap * 1e3):d} mm between ({left})"
    )


def advice(each: Advice) -> str:
    """One thing to do, as a sentence."""
    return SENTENCES[each.kind](each)


def _coupling(each: Advice) -> str:
    found = f"{wording.listed(each.references)} couple by up to {each.figure:.2f} dB"
    ways = [remedy(way) for way in each.remedies]
    return f"{found}: {'; or '.join(ways) if ways else 'move them apart; turning neither where it is helps'}"


def _degrees(each: Advice) -> str:
    degrees = (each.figure or ZERO_CELSIUS) - ZERO_CELSIUS
    return f"{each.references[0]} may get {degrees + CHART_SPREAD:.0f} degC ({degrees:.0f} computed)"


def _bears(each: Advice) -> str:
    return wording.degrees(each.limit or ZERO_CELSIUS)


def _hold(each: Advice) -> str:
    mass = "has an iron core" if each.figure is None else f"has about {each.figure * 1e3:.0f} g"
    return f"{each.references[0]} {mass}: tie or screw it down (no iron in an air coil), glue alone does not hold it"


SENTENCES: Mapping[str, Callable[[Advice], str]] = {
    "coupling": _coupling,
    "iron": lambda a: (
        f"{wording.listed(a.references)} with iron: how it couples cannot be told; keep other coils their own outer"
        " diameter away"
    ),
    "own_glue": lambda a: f"{_degrees(a)}, and hot-melt glue bears {_bears(a)}: hold it by its leads, not by such glue",
    "near_glue": lambda a: (
        f"{_degrees(a)}, and the hot-melt glue of {wording.listed(a.references[1:])} bears {_bears(a)}: keep"
        f" {NEAR * 1e3:.0f} mm away, or tie"
    ),
    "near_capacitor": lambda a: (
        f"{_degrees(a)}, and {wording.listed(a.references[1:])} bears {_bears(a)}: keep {NEAR * 1e3:.0f} mm away"
    ),
    "on_board": lambda a: f"{_degrees(a)}, and wood bears {_bears(a)}: raise it {CLEAR * 1e3:.0f} mm off the board",
    "raise": lambda a: f"raise {wording.listed(a.references)} {CLEAR * 1e3:.0f} mm off the board: air all round cools",
    "hold": _hold,
}
