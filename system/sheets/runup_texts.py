"""The run-up as a sheet to tick off at the bench."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from system import wording
from system.sheets.pages.blocks import Block, Grid, Heading, Points, Text
from system.sheets.tables import table, wrap
from system.workshop.runup import SECONDS, STOPS, RunUp, Step

BOX = "[ ]"
MOST_DRIVES = 3
ROOM = 30  # characters, for the names of a row
LEAST_SEEN = 0.05e-3  # m
# What the rows call what stops a tone: the share is that of `system.workshop.runup`.
STOPPED_BY = {
    "linear_excursion": "1/3 linear excursion",
    "opening_speed": "1/3 air speed",
    "heat": "overheating",
    "part_rating": "1/3 rating",
    "amplifier_current": "1/3 of the amplifier's current",
    "amplifier_voltage": "1/3 of the amplifier's volts",
    "hearing": "85 dB(A) at 1 m",
    "excursion_taken": "excursion taken (below)",
    "heat_taken": "heat taken (below)",
    "volts_taken": "volts taken (below)",
}


HEADER = ("Hz", "V", "half", "up to", "mm", "dB(A)", "what stops it there")


def run_up(found: RunUp) -> list[str]:
    """What to do, a row a frequency with a box for each drive, what to stop at; at most 100 columns."""
    lines = [title(found)]
    for text in _before(found):
        lines += wrap(text, "  ")
    lines += table(HEADER, [_row(step) for step in found.steps], indent="  ")
    for text in _after(found):
        lines += wrap(text, "    ", "  ")
    lines.append(f"  {STOP}:")
    for sign, means in STOPS.items():
        lines += wrap(f"{BOX} {sign}: {means}", "        ", "    ")
    return lines


def blocks(found: RunUp) -> tuple[Block, ...]:
    """The same for a sheet of pages."""
    return (
        Heading(title(found)),
        *(Text(text) for text in _before(found)),
        Grid(HEADER, tuple(tuple(_row(step)) for step in found.steps)),
        *(Text(text) for text in _after(found)),
        Text(STOP, strong=True),
        Points(tuple(f"{sign}: {means}" for sign, means in STOPS.items()), "box"),
    )


STOP = "Stop at once, volume down, at"


def title(found: RunUp) -> str:
    return f"Run-up of {found.variant.name}: sines, volts rms at the amplifier's terminals, from below"


def _before(found: RunUp) -> Iterator[str]:
    """What to do, and what has to be right first."""
    yield (
        "Only after meter readings and sweep are right. A battery meter at the terminals, on alternating volts;"
        " generator down before each new frequency, then up through the volts of its row,"
        f" {SECONDS:g} s each, a box ticked for each. About {math.ceil(found.seconds / 60)} min of sound in all. Above"
        " 1 kHz many meters read too little: go by the generator's own scale, in the proportion it had at 400 Hz."
    )
    if found.unshielded is not None:
        name, watts = found.unshielded
        yield (
            f"Not before the sweep: were the {name} joined to the amplifier without its parts, the highest of these"
            f" volts would put {_watts(watts)} into it."
        )


def _after(found: RunUp) -> Iterator[str]:
    """How the volts were found, and what stands in for what the kit does not state."""
    yield (
        "Volts are rounded down; mm is what the cone that goes farthest does each way. A third of each limit, a tenth"
        " of the volts that overheat a tweeter or midrange, and no louder than 85 dB(A) at 1 m. All of it is computed:"
        " nothing is gained by going higher."
    )
    yield from (f"taken: {text}" for text in found.stands_in)


def _row(step: Step) -> list[str]:
    """A box for each drive there is: start, half, all of it."""
    cells = [f"{_volts(drive)} {BOX}" for drive in step.drives]
    if len(cells) < MOST_DRIVES:  # no half, or the start is already all of it
        cells = [cells[0] if len(cells) > 1 else "", "", cells[-1]]
    moves = wording.NOTHING
    if step.excursion is not None and step.excursion >= LEAST_SEEN:
        moves = f"{step.excursion * 1e3:.1f}"
    names = "" if not step.names else f" of {_short(step.names)}"
    return [f"{step.frequency:g}", *cells, moves, wording.bare_sound(step.level), STOPPED_BY[step.kind] + names]


def _volts(volts: float) -> str:
    return f"{volts:.1f}" if volts >= 1 else f"{volts:.2g}"


def _short(names: Sequence[str]) -> str:
    both = " and ".join(names)
    return both if len(names) < 3 and len(both) <= ROOM else f"{names[0]} and {len(names) - 1} more"


def _watts(watts: float) -> str:
    return f"{watts:.0f} W" if watts >= 10 else f"{watts:.1f} W"
