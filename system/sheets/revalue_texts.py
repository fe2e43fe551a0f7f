"""The text of `revalue`: the front, then what the recommended choice has in each place, to type, and what it costs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping

from system import wording
from system.aims import Fitting
from system.front import Cell, Row
from system.kit import Kit, Place
from system.revalue import Front
from system.sheets.tables import WIDTH, table, wrap
from system.sheets.texts import heading

TITLE = "Which values may differ between the variants, and what is each worth?"
OVER = {"axis": "on the listening axis", "listening_window": "averaged in power over the listening window"}
STATES = {"link": "linked", "omit": "left out"}
HARD = "\N{NO-BREAK SPACE}"
# What an article has of its own beside its value, as the kit file calls it.
KEYS = {"coil": ("dc_resistance", "wire", "ohm"), "resistor": ("power_rating", "rating", "W")}
ABOUT = (
    "Error: the rms deviation in dB from the target, whose level is free, at {points} frequencies spread evenly over"
    " log frequency; of a choice, that of all variants together. Worst: the largest deviation of any variant. Values"
    " that differ: in every place, the number of different values and states over the variants, less one.",
    "Every choice keeps the lowest impedance that the amplifier stands (or the kit's own, where that is lower), the"
    " linear excursion and the rated watts of parts on the programme at full volume (0.5 dB more than the kit's own,"
    " where those are passed already), and at most {quieter:g} dB of the reference level is lost. A part's losses are"
    " taken over from the part it replaces{wires}.",
    "Between values the best are sought by descent, then in stock next to them: good ones, and no proof that there are"
    " no better. Computed, not a test to run: put the values into the kit, then proofread, limits and stress; what a"
    " tweeter bears changes with its crossover.",
)


def revalue(kit: Kit, result: Front) -> str:
    """The whole sheet."""
    spec = result.spec
    lines = [*wrap(heading(kit), "  ", ""), TITLE, ""]
    lines += wrap(f"target: {_target(result)}; may move: {', '.join(result.moving)}; stock: {_stock(kit)}", "  ", "")
    lines += ["", *_front(result)]
    if result.fixed:
        word = "value differs" if result.fixed == 1 else "values differ"
        lines += wrap(f"of these {result.fixed} {word} in places that may not move", "  ", "  ")
    lines += ["", *_recommended(kit, result)]
    wires = ", unless stock states the resistance of a coil" if _has_wires(result) else ""
    for text in ABOUT:
        lines += ["", *wrap(text.format(points=len(result.frequency), quieter=spec.quieter, wires=wires), "  ", "")]
    return "\n".join(lines)


def _target(result: Front) -> str:
    target = result.spec.target
    shape = f"the table {target.table.file}" if target.table else f"{target.tilt:+g} dB an octave"
    if not target.table and target.tilt == 0:
        shape = "flat"
    band = f"{wording.hertz(result.frequency[0])} to {wording.hertz(result.frequency[-1])}"
    return f"{shape}, {OVER[result.spec.over]}, {band}"


def _stock(kit: Kit) -> str:
    held = {"capacitors": kit.stock.capacitors, "coils": kit.stock.coils, "resistors": kit.stock.resistors}
    words = [f"{kind} {what if isinstance(what, str) else f'({len(what)} articles)'}" for kind, what in held.items()]
    return ", ".join(words)


def _has_wires(result: Front) -> bool:
    cells = (cell for row in result.rows for here in row.cells.values() for cell in here.values())
    return any(isinstance(cell, Fitting) and cell.wire is not None for cell in cells)


def _front(result: Front) -> list[str]:
    names = list(result.given.figures)
    header = ["differ", "error dB", "each wins", *names, "worst dB", "", "where"]
    before: Row | None = None
    rows = [[str(result.given.differing), *_errors(result.given, ""), "as it is"]]
    for row in result.rows:
        wins = f"{(before.rms - row.rms) / (row.differing - before.differing):.2f}" if before else ""
        mark = "recommended" if row is result.recommended else ""
        rows.append([str(row.differing), *_errors(row, wins), mark])
        before = row
    used = len(max(table(header[:-1], rows, indent="  "), key=len)) + 2
    lines = []
    for cells, row in zip(rows, (result.given, *result.rows), strict=True):
        first, *more = textwrap.wrap(_where(row), max(24, WIDTH - used)) or [""]
        lines += [[*cells, first], *([""] * len(cells) + [text] for text in more)]
    return [line.replace(HARD, " ") for line in table(header, lines, indent="  ")]


def _where(row: Row) -> str:
    """The places that differ, with how many values more than one: C1, L1 (2)."""
    counts = {name: len({cells[name] for cells in row.cells.values()}) - 1 for name in next(iter(row.cells.values()))}
    return ", ".join(f"{name}{HARD}({n})" if n > 1 else name for name, n in counts.items() if n)


def _errors(row: Row, wins: str) -> list[str]:
    return [f"{row.rms:.2f}", wins, *(f"{each.rms:.2f}" for each in row.figures.values()), f"{row.worst:.1f}"]


def _recommended(kit: Kit, result: Front) -> Iterator[str]:
    row, given = result.recommended, result.given
    names = list(row.cells)
    word = "value differs" if row.differing == 1 else "values differ"
    price = f"each further one would have to be worth {result.spec.price:g} dB of error"
    yield from wrap(f"Recommended: {row.differing} {word}; {price}" if len(names) > 1 else "Recommended:", "  ", "")
    places = {name: kit.variants[names[0]].places[name] for name in result.moving}
    cells = [
        [name, *(_beside(place, row.cells[v][name], given.cells[v][name]) for v in names)]
        for name, place in places.items()
    ]
    yield from table(["place", *names], cells, indent="  ")
    yield "  in brackets: as the kit has it now"
    changed = [name for name in places if any(not _alike(row, given, v, name) for v in names)]
    if not changed:
        yield "  nothing changes: the kit has these values"
        return
    yield ""
    yield "To type into the kit, in place of what each variant says of these parts:"
    for v in names:
        typed = ", ".join(f"{name}: {_typed(places[name], row.cells[v][name])}" for name in changed)
        yield from wrap(f"variants.{v}.parts: {{{typed}}}", "    ", "  ")
    yield ""
    yield "What it changes:"
    yield from table(
        ["variant", "", "error", "worst", "at", "level", "lowest", *(f"{name} moves" for name in _moves(row))],
        list(_costs(row, given)),
        "  ",
    )


def _alike(row: Row, given: Row, variant: str, name: str) -> bool:
    """Whether the choice has the same in a place: an article of the same value may have losses of its own."""
    return row.cells[variant][name] == given.cells[variant][name]


def _beside(place: Place, cell: Cell, given: Cell) -> str:
    new, old = _shown(place, cell), _shown(place, given)
    return new if new == old else f"{new} ({old})"


def _shown(place: Place, cell: Cell) -> str:
    return wording.part_value(place.part.kind, cell.value) if isinstance(cell, Fitting) else STATES[cell]


def _typed(place: Place, cell: Cell) -> str:
    """As a kit file has it: a state, a value, or a value with what the article has of its own."""
    if not isinstance(cell, Fitting):
        return cell
    kind = place.part.kind
    value = wording.part_value(kind, cell.value)
    own = ""
    if kind in KEYS:
        key, field, unit = KEYS[kind]
        figure = getattr(cell, field)
        own = f", {key}: {figure:g} {unit}" if figure is not None else ""
    return f"{{{kind}: {value}{own}}}" if own else value


def _moves(row: Row) -> list[str]:
    """The drivers whose excursion is known in any of the variants."""
    return list(dict.fromkeys(name for each in row.figures.values() for name in each.excursion))


def _costs(row: Row, given: Row) -> Iterator[list[str]]:
    drivers = _moves(row)
    for name in row.figures:
        for label, each in (("as it is", given.figures[name]), ("then", row.figures[name])):
            excursions: Mapping[str, float] = each.excursion
            yield [
                name if label == "as it is" else "",
                label,
                f"{each.rms:.2f} dB",
                wording.decibels(each.worst),
                wording.hertz(each.worst_hz),
                wording.decibels(each.level),
                wording.ohms(each.lowest),
                *(wording.millimetres(excursions.get(driver)) for driver in drivers),
            ]
