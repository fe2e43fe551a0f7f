"""What `predict --around` prints: a speaker off its axis, in at most 100 columns."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.around import Around, decibels
from system.kit import Variant
from system.seating import Fall, Seat, Seating
from system.sheets.tables import table, wrap
from system.sheets.texts import cabinet_text, placement_text
from system.summary import level
from system.transfer import axis_name


def around(results: Sequence[Around]) -> str:
    """A block for each variant: how it is heard, its averages at the frequencies asked for, and its seats."""
    lines: list[str] = []
    for result in results:
        lines += ["", *wrap(f"{result.variant.name}, off its axis: {setting_text(result)}", "  ", "")]
        lines += wrap(_meaning(result), "  ", "  ")
        lines += table(*_rows(result), indent="  ")
        if result.seating is not None:
            lines += _seats(result.variant, result.seating)
    return "\n".join(lines[1:])


def _meaning(result: Around) -> str:
    groups, space = ("4 groups", "half space") if result.half_space else ("5 groups", "whole sphere")
    return (
        f"window: the mean of 9 directions close to the axis; early: of the {groups} of first reflections; power: of"
        f" the {space}; in room: 12 % window, 44 % early, 44 % power (squared pressures, after ANSI/CTA-2034-A, from"
        " memory). Single sines, not smoothed."
    )


def setting_text(result: Around) -> str:
    """How the cabinet hangs while it is heard all round, and what of its place does not count."""
    variant = result.variant
    lying = cabinet_text(variant)
    where = f"{result.volts:g} V, {result.distance:g} m from the {_axis(variant)} in both planes of the room"
    if result.half_space:
        return f"cabinet {lying}, in its wall; {where}; before the wall only, so without the group of the rear wall"
    planes = variant.placement.kind == "near_planes"
    left_out = f" ({placement_text(variant.placement)}: left out here)" if planes else ""
    return f"cabinet {lying}, in free air{left_out}; {where}"


def _axis(variant: Variant) -> str:
    return axis_name(variant) if axis_name(variant) in variant.cabinet.cutouts else "middle of the front"


def _rows(result: Around) -> tuple[list[str], list[list[str]]]:
    means = result.averages
    columns: dict[str, list[str]] = {
        "Hz": [f"{f:.3g}" if f < 1000 else f"{f:.0f}" for f in result.frequency],
        "on axis dB": _decibels(level(result.on_axis)),
        "window": _decibels(decibels(means.listening_window)),
        "early": _decibels(decibels(means.early_reflections)),
        "power": _decibels(decibels(means.sound_power)),
        "in room": _decibels(decibels(means.in_room)),
        "window - power": _decibels(means.directivity_index),
        "window - early": _decibels(means.early_directivity_index),
    }
    return list(columns), [list(row) for row in zip(*columns.values(), strict=True)]


def _decibels(values: NDArray[np.float64]) -> list[str]:
    return [wording.tenths(value) for value in values]


def _seats(variant: Variant, seating: Seating) -> list[str]:
    """Each seat against the middle; then its woofers there, against each other and against the textbook's pair."""
    lines = wrap(
        f"seats {seating.distance:g} m away as placed ({placement_text(variant.placement)}), against the seat in the"
        " middle, 300 Hz to 3 kHz:",
        "    ", "  ",
    )  # fmt: skip
    for seat in seating.seats:
        lines += wrap(f"{side(seat)}: {seat_text(seat)}", "      ", "    ")
    lines += wrap(woofers_text(seating), "      ", "    ")
    return lines


def side(seat: Seat) -> str:
    return f"{abs(math.degrees(seat.angle)):g} degrees {'left' if seat.angle < 0 else 'right'}"


def seat_text(seat: Seat) -> str:
    """How it is heard there against the middle, and where its woofers fall."""
    if seat.difference is None:
        return "nothing is heard"
    text = (
        f"{wording.decibels(seat.difference, sign=True)} on the whole,"
        f" {wording.decibels(seat.farthest, sign=True)} at {wording.hertz(seat.farthest_at)}"
    )
    return f"{text}; the woofers together {fall_text(seat.fall)}" if seat.fall else text


def fall_text(fall: Fall) -> str:
    marks = {"-3 dB": fall.minus_3, "-6 dB": fall.minus_6, "first null": fall.null}
    known = [f"{name} at {wording.hertz(hertz)}" for name, hertz in marks.items() if hertz is not None]
    return ", ".join(known) or "not 3 dB down up to 20 kHz"


def woofers_text(seating: Seating) -> str:
    """Which woofers play the same and what two small ones that far apart would do."""
    names = " and ".join(seating.woofers)
    if not names:
        return "no two woofers play the same"
    if seating.apart is None:
        return f"{names} play the same"
    if seating.expected is None:
        return (
            f"{names} play the same, one above the other: seats are equally far from both, and what falls there is each"
            " cone's own beam"
        )
    return (
        f"{names} play the same, {seating.apart * 1e3:.0f} mm apart across; two small ones, far away:"
        f" {fall_text(seating.expected)} (c/4, c/3 and c/2 over the distance times the sine of the angle)"
    )
