"""What the pictures of `swap` show, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.kit import Kit
from system.programme import high_pass_gain
from system.sheets.circumstances import heard, seen
from system.sheets.plots import Graph, Line, Shade
from system.sheets.swap_texts import RESULTS
from system.summary import GRID
from system.swap import Swap, sized
from system.swap_table import Rows

VOLTS = 2.83  # for which levels are shown
LOUDER = 20 * math.log10(VOLTS)  # dB
MOVING = 1000.0  # Hz, top of the graph of excursion
SHOWN = 2  # values of a table to either side of the kit's
SAME = 0.03  # a ratio: cones that move so nearly alike are not drawn again


def swap(kit: Kit, swaps: Sequence[Swap], what: str) -> list[Graph]:
    """For each variant that is changed: level with the window about it, impedance, and what moves otherwise."""
    changed = [each for each in swaps if not each.untouched]
    return [graph for each in changed for graph in _swap(kit, each, what)]


def _swap(kit: Kit, each: Swap, what: str) -> Iterator[Graph]:
    change, word = each.change, RESULTS[each.judgement.result]
    played = kit.programme.lowest <= GRID
    f, before, after = GRID[played], each.before.curves, each.after.curves
    yield Graph(
        f"Does {what} sound alike?",
        f"{kit.name}, {heard(each.before.variant, VOLTS)}; {word}: {sized(change.level, 'dB')} at"
        f" {wording.hertz(change.level_hz)}",
        "level_near",
        f,
        [Line("as drawn", before.level[played] + LOUDER), Line("swapped", after.level[played] + LOUDER)],
        shade=_window(kit, each, played),
    )
    lowest = "no current flows" if change.lowest_impedance is None else f"lowest {change.lowest_impedance:.2f} ohm"
    finite = np.isfinite(before.impedance) & np.isfinite(after.impedance) & played
    if finite.any():
        yield Graph(
            "Does the amplifier see the same?",
            f"{seen([each.name], 'the impedance that it sees, cable included')};"
            f" {sized(change.impedance, 'ohm')} at {wording.hertz(change.impedance_hz)}, {lowest}",
            "impedance",
            GRID[finite],
            [Line("as drawn", before.impedance[finite]), Line("swapped", after.impedance[finite])],
        )
    yield from _cones(kit, each)


def _window(kit: Kit, each: Swap, played: NDArray[np.bool_]) -> Shade:
    """About the level as it is drawn, in the band that counts."""
    edge = max(kit.window.level, kit.meter.level)
    level = each.before.curves.level + LOUDER
    level = np.where((kit.window.lowest <= GRID) & (kit.window.highest >= GRID), level, np.nan)[played]
    at = max(kit.window.lowest, kit.programme.lowest) * 1.01  # where the words are near
    return Shade(f"shaded: the window, {edge:g} dB to either side", level - edge, level + edge, at)


def _cones(kit: Kit, each: Swap) -> Iterator[Graph]:
    """Of cones that move otherwise now, those that move alike as one."""
    old, new = each.before.excursions, each.after.excursions
    shown: list[str] = []
    for name, moved in new.items():
        if name in old and moved.alike(old[name], SAME):
            continue
        if not any(moved.alike(new[other], SAME) for other in shown):
            shown.append(name)
    low = (kit.programme.lowest <= GRID) & (GRID <= MOVING)
    drive, high_pass = kit.amplifier.rated_volts, each.after.variant.receiver_high_pass
    gain = high_pass_gain(high_pass, GRID)[low]
    rated = f"the amplifier's rated volts{', behind the high-pass' if high_pass else ''}"
    lines, limits = [], dict[float, str]()
    for name in shown[:3]:
        for word, shot in (("", each.before), (" swapped", each.after)):
            peak = shot.result.drivers[name].excursion  # at 1 V
            if peak is not None:
                lines.append(Line(f"{name}{word}", peak[low] * gain * drive * 1e3))
        data = each.after.variant.hookups[name].driver
        for key, limit in (("linear", data.linear_excursion), ("damage", data.damage_excursion)):
            if limit is not None:
                limits.setdefault(limit * 1e3, f"{key} excursion of {data.name}")
    if lines:
        yield Graph(
            "Is the cone safe?",
            f"{seen([each.name], 'one-way peak', f'on a sine of {drive:.1f} V, {rated}')}; not a test to run",
            "excursion",
            GRID[low],
            lines,
            [(label, size) for size, label in limits.items()],
        )


def table(kit: Kit, reference: str, found: Sequence[Rows]) -> list[Graph]:
    """For each variant the level with a few values to either side of the kit's."""
    return [_table(kit, reference, each) for each in found]


def _table(kit: Kit, reference: str, found: Rows) -> Graph:
    played = kit.programme.lowest <= GRID
    drawn = next(i for i, row in enumerate(found.rows) if row.drawn)
    shown = found.rows[max(0, drawn - SHOWN) : drawn + SHOWN + 1]
    lines = []
    for row in sorted(shown, key=lambda row: not row.drawn):
        word = "as drawn" if row.drawn else RESULTS[row.swap.judgement.result]
        label = f"{wording.part_value(found.part.kind, row.value)} {word}"
        lines.append(Line(label, row.swap.after.curves.level[played] + LOUDER))
    return Graph(
        f"What else could {reference} be?",
        f"{kit.name}, {heard(found.variant, VOLTS)}; values from stock",
        "level_near",
        GRID[played],
        lines,
        shade=_window(kit, found.rows[drawn].swap, played),
    )
