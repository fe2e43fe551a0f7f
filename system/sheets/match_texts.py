"""Variant against variant at the seat, in words."""

from __future__ import annotations

from collections.abc import Iterator

from system import wording
from system.compare import Comparison
from system.matching import Match, Matches
from system.sheets.tables import table, wrap

TOLD = 0.1  # dB: what the table tells apart
CENTRE = "listening point"
HEADER = ("level", "dB/octave", "low", "middle", "high", "rms", "largest")


def matches(result: Comparison) -> str:
    """A table of every variant against the one chosen, and a sentence each; empty where there is only one."""
    if not result.matches:
        return ""
    against = result.against
    rows = [row for name, each in result.matches.items() for row in _rows(name, each)]
    lines = wrap(
        f"against {against}, each at its own seats (or its listening point, where it names none): level from 300 Hz"
        " to 3 kHz in dB; slope from 200 Hz to 8 kHz; low (100 to 300 Hz), middle, high (3 to 10 kHz) in dB; rms and"
        " largest of the third-octaves from 200 Hz to 8 kHz, once both are equally loud",
        "  ", "",
    )  # fmt: skip
    lines += table(["", "at", *HEADER], rows, indent="  ")
    for name, each in result.matches.items():
        lines += wrap(sentence(name, against, each), "    ", "  ")
    return "\n".join(lines)


def _rows(name: str, each: Matches) -> Iterator[list[str]]:
    yield [name, CENTRE, *_cells(each.centre)]
    sides = {f"outer seat, {side}": found for side, found in each.seats.items()}
    if len(sides) > 1 and _alike(*each.seats.values()):
        sides = {"outer seats": max(each.seats.values(), key=lambda found: found.rms)}
    for place, found in sides.items():
        yield ["", place, *_cells(found)]


def _alike(left: Match, right: Match) -> bool:
    """Whether the table's figures would hardly tell one side from the other."""
    pairs = [
        (left.level, right.level),
        (left.rms, right.rms),
        *zip(left.bands.values(), right.bands.values(), strict=True),
    ]
    return all(abs(one - other) < TOLD for one, other in pairs)


def _cells(match: Match) -> list[str]:
    return [
        f"{match.level:+.1f}",
        f"{match.tilt:+.2f}",
        *(f"{value:+.1f}" for value in match.bands.values()),
        f"{match.rms:.1f}",
        f"{match.largest:+.1f} at {wording.hertz(match.largest_hz)}",
    ]


def sentence(name: str, against: str, each: Matches) -> str:
    """How well the two go together: `wall matches centre within 1.5 dB rms at the listening point`."""
    told = f"{name} matches {against} within {each.centre.rms:.1f} dB rms at the {CENTRE}"
    if not each.seats:
        return told
    worst = max(found.rms for found in each.seats.values())
    return f"{told}, within {worst:.1f} dB rms at the outer seats"
