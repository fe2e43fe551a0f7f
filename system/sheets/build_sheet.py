"""The sheet a board is built by, as blocks: the board on one page, first sound and the job's record on the next."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from math import ceil, floor, isinf
from typing import Literal

from system import wording
from system.bench.meter import Drivers, Window
from system.kit import Kit
from system.ratings import TESTS
from system.sheets import layout_texts, runup_texts
from system.sheets.pages.blocks import (
    BLANK,
    TICK,
    Beside,
    Block,
    Drawing,
    Fields,
    Grid,
    Heading,
    Listing,
    Points,
    Sheet,
    Text,
)
from system.sheets.parts_texts import ACTIONS, JOINED
from system.sheets.texts import cabinet_text, placement_text
from system.shopping import RATED_BY, Spot
from system.workshop.buildsheet import BuildSheet
from system.workshop.cautionmodel import Caution
from system.workshop.cautions import MOST_ON_TOP
from system.workshop.jobrecord import TITLE
from system.workshop.wiring import INPUT, End, Joint, Polarity

GENERAL = (
    "Coils: axes across one another, well apart; a coil on edge is not enough, its axis must lie across the line"
    " between the two.",
    "Resistors at least 5 mm off the board, clear of glue, capacitors and wood.",
    "Tie or screw coils and other heavy parts down; glue alone does not hold them.",
)
MEASURE = (
    "Amplifier unplugged, capacitors discharged. Touch the probes together first and take that off every reading."
    " Open may climb for some seconds while a capacitor charges."
)
PLAN = (
    "From above, to scale; mm. Lines with a dot are the parts' leads and the points they go to; hatched parts get hot;"
    " an arrow is a coil's axis, a dot in a ring one that stands up."
)
AROUND = 7.0  # mm, for the numbers along the drawing's edges
SIGNED = ("built by", "checked by, date")


def sheets(built: Sequence[BuildSheet]) -> list[Sheet]:
    """The board's page, its plan where the kit lays it out, and first sound: of each variant."""
    return [page for each in built for page in (_board(each), *_plan(each), _first_sound(each))]


def foot(kit: Kit, checksum: str) -> str:
    """Which file, and that it is this one."""
    return f"{kit.path.name}, SHA-256 {checksum}. Figures are computed, not measured on this unit."


def under_of(sheet: BuildSheet) -> str:
    variant = sheet.variant
    job = [f"job {sheet.job.number}"] if sheet.job.number else []
    serials = [f"serial {wording.listed(sheet.job.serials)}"] if sheet.job.serials else []
    return ", ".join([f"Cabinet {cabinet_text(variant)}", placement_text(variant.placement), *job, *serials])


def _board(sheet: BuildSheet) -> Sheet:
    return Sheet(
        title=f"{sheet.kit.name}: board of {sheet.variant.name}",
        under=under_of(sheet),
        blocks=(
            minded(sheet.cautions[:MOST_ON_TOP], "box"),
            Heading("Parts"),
            _parts(sheet),
            Beside(
                (Heading("Solder together, point by point"), wiring(sheet.joints)),
                (Heading("Drivers"), polarity(sheet.polarities), *polarity_words(sheet.polarities)),
                0.56,
            ),
            Heading("On the board"),
            on_the_board(sheet),
            Heading("The meter must read, in ohm"),
            Text(MEASURE),
            readings(sheet),
            Heading("Mind also"),
            minded(sheet.cautions[MOST_ON_TOP:]),
            Heading("Signed"),
            Beside((Fields(((SIGNED[0], ""),)),), (Fields(((SIGNED[1], ""),)),)),
        ),
        foot=foot(sheet.kit, sheet.checksum),
    )


def minded(cautions: Sequence[Caution], mark: Literal["box", "dash"] = "dash") -> Points:
    """Cautions, each with the figures of this build that trigger it."""
    return Points(tuple(each.short for each in cautions), mark, tuple(triggered(each.because) for each in cautions))


def triggered(because: str) -> str:
    return f"Here: {because}." if because else ""


def _parts(sheet: BuildSheet) -> Grid:
    rows = [
        (
            reference,
            ACTIONS[spot.reason.action],
            part_of(spot),
            rating_of(spot),
            " to ".join(spot.reason.place.between),
            TICK,
        )
        for reference, spot in sheet.spots.items()
    ]
    return Grid(("place", "do", "part", "bears at least", "from, to", "done"), tuple(rows))


def part_of(spot: Spot) -> str:
    """`220 uF: 100 uF + 120 uF in parallel, non polar`; of a link that it is a wire."""
    place = spot.reason.place
    if place.state == "link":
        return "a wire"
    if place.state == "omit":
        return "nothing"
    part = place.part
    text = wording.part_value(part.kind, part.marked)
    if part.made_of:
        text += f": {' + '.join(wording.part_value(part.kind, v) for v in part.made_of)} {JOINED[part.made_of_how]}"
    words = [f"{part.resistance:.3g} ohm dc"] if part.kind == "coil" and part.resistance else []
    words += [part.type.replace("_", " ")] if part.type else []
    words += [f"{part.core} core"] if part.core == "iron" else []
    return ", ".join([text, *words])


def rating_of(spot: Spot) -> str:
    if spot.need is None or spot.reason.place.state != "fit":
        return ""
    return f"{spot.need.rating:g} {TESTS[RATED_BY[spot.reason.place.part.kind]].unit}"


MARKS = {"plus": "+", "minus": "\u2212", "": ""}


def wiring(joints: Sequence[Joint]) -> Grid:
    rows = [(joint.point, ", ".join(_end(end) for end in joint.ends), TICK) for joint in joints]
    return Grid(("point", "what meets there", "done"), tuple(rows))


# How each kind of end is called at its joint.
ENDS: Mapping[str, Callable[[End], str]] = {
    "input": lambda end: f"{INPUT}\u00a0{MARKS[end.mark]}",
    "part": lambda end: end.of,
    "link": lambda end: f"the wire at {end.of}",
    "driver": lambda end: f"{end.of}\u00a0{MARKS[end.mark]}",
}


def _end(end: End) -> str:
    return ENDS[end.kind](end)


def polarity(polarities: Sequence[Polarity]) -> Grid:
    return Grid(("driver", "its plus to", "its minus to"), tuple((p.driver, p.plus, p.minus) for p in polarities))


def polarity_words(polarities: Sequence[Polarity]) -> Iterator[Text]:
    """What is turned round, and that it is meant."""
    turned = [each for each in polarities if each.way_round == "against_its_marks"]
    for each in turned:
        if each.on_purpose:
            yield Text(f"{each.driver} is reversed, and that is intended: its plus goes to {each.plus}.", strong=True)
        else:
            yield Text(f"{each.driver} is wired against its marks; the kit does not say that it is meant.", strong=True)
    if not turned:
        yield Text("No driver is reversed.")


def on_the_board(sheet: BuildSheet) -> Points:
    if sheet.layout is None:
        return Points(GENERAL)
    return Points((*(layout_texts.advice(each) for each in sheet.layout.advice), *GENERAL[1:]))


def _plan(sheet: BuildSheet) -> Iterator[Sheet]:
    """The board to scale."""
    if sheet.layout is not None:
        from system.sheets import layout_graphs  # a sheet without a plan does not wait for what draws it

        length, width = (side * 1e3 for side in sheet.layout.layout.board)
        words = f"The board from above, {length:.0f} mm by {width:.0f} mm"
        drawing = Drawing(length, width, partial(layout_graphs.plan, result=sheet.layout), words, AROUND)
        yield Sheet(
            title=f"{sheet.kit.name}: plan of the board of {sheet.variant.name}",
            under=under_of(sheet),
            blocks=(Text(PLAN), drawing, Heading("Coils and heat"), Listing(tuple(layout_texts.layout(sheet.layout)))),
            foot=foot(sheet.kit, sheet.checksum),
        )


def readings(sheet: BuildSheet) -> Block:
    """Left with the drivers connected, right with their leads off."""
    return Beside((_read(sheet, "connected", "drivers connected"),), (_read(sheet, "apart", "driver leads off"),))


def _read(sheet: BuildSheet, drivers: Drivers, words: str) -> Grid:
    shown = [each for each in sheet.readings if each.drivers == drivers]
    return Grid((words, "right", "read"), tuple((" to ".join(each.between), _window(each), BLANK) for each in shown))


def _window(each: Window) -> str:
    if each.reads == "rises_to_open":
        return "open"
    low = floor(each.low * 10 + 1e-9) / 10  # never narrower than it is
    return f"{low:.1f} or more" if isinf(each.high) else f"{low:.1f} to {ceil(each.high * 10 - 1e-9) / 10:.1f}"


def _first_sound(sheet: BuildSheet) -> Sheet:
    return Sheet(
        title=f"{sheet.kit.name}: first sound of {sheet.variant.name}",
        under=under_of(sheet),
        blocks=(*runup_texts.blocks(sheet.run_up), Heading(TITLE), Fields(sheet.job.fields)),
        foot=foot(sheet.kit, sheet.checksum),
    )
