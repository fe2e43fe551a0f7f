"""The text of `swap`: whether a substitute may take a place, what it changes, and what helps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from system import wording
from system.findings import Finding
from system.kit import Kit, Place
from system.sheets.swap_data import result, together
from system.sheets.tables import table as tabulate
from system.sheets.tables import wrap
from system.sheets.texts import heading, polarity_text
from system.swap import Swap, Word, sized
from system.swap_advice import Advice
from system.swap_driver import Fitted
from system.swap_table import Rows

RESULTS: Mapping[Word, str] = {
    "pass": "pass",
    "marginal": "marginal",
    "fail": "FAIL",
    "cannot_tell": "CANNOT TELL",
}
ABOUT = (
    "Changes are against the kit as it is drawn, each at its largest. Excursions are one-way peaks on the programme"
    " where the amplifier clips its peaks, and in brackets on a sine of its rated volts swept over the programme's"
    " band. All is computed, not a test to run: never feed a sine at such volts to a loudspeaker. A part is changed"
    " with the amplifier off and unplugged."
)


def part(kit: Kit, reference: str, swaps: Sequence[Swap], advice: Mapping[str, Advice], told: Sequence[Finding]) -> str:
    """A part and its substitute."""
    new = next(each.after.variant.places[reference] for each in swaps if not each.untouched)
    lines = [*_head(kit, f"{place_text(new)} in place of what the kit has there", swaps), *_table(swaps)]
    for each in swaps:
        lines += _reasons(each)
        if not each.untouched:
            was = place_text(each.before.variant.places[reference])
            lines += wrap(f"{each.name}: it was {was}; {_heat(each, reference)}", "    ", "  ")
        lines += _moves(each)
    lines += _advice({name: each.texts for name, each in advice.items()})
    return "\n".join([*lines, *_notes(told), "", *wrap(ABOUT, "  ", "")])


def _heat(each: Swap, reference: str) -> str:
    """How warm the part that is now there gets."""
    here = each.after.stress.parts.get(reference)
    if here is None:
        return "no part is there now"
    if here.programme is None:
        return f"{here.sine.watts:.2g} W of heat in it now on a sine"
    return f"{here.programme.watts:.2g} W of heat in it now on the programme ({here.sine.watts:.2g} W on a sine)"


def place_text(here: Place) -> str:
    """A place with its losses: `L1 1.2 mH, 0.24 ohm, air core`."""
    words = [wording.place(here)]
    if here.state == "fit":
        words += [f"{here.part.resistance:g} ohm"] if here.part.resistance else []
        words += [f"{here.part.core} core"] if here.part.core else []
        words += [here.part.type.replace("_", " ")] if here.part.type else []
    return ", ".join(words)


def driver(
    kit: Kit, reference: str, source: str, swaps: Sequence[tuple[Swap, Fitted | None]], told: Sequence[Finding]
) -> str:
    """A driver and its substitute."""
    every = [each for each, _ in swaps]
    lines = [*_head(kit, f"{source} in place of {reference}", every), *_table(every)]
    for each, fitted in swaps:
        lines += _reasons(each)
        if fitted is not None:
            for text in _fitted(fitted):
                lines += wrap(f"{each.name}: {text}", "    ", "  ")
            lines += _moves(each)
    lines += _advice({each.name: fitted.advice for each, fitted in swaps if fitted})
    cannot = together({each.name: fitted.cannot_tell for each, fitted in swaps if fitted})
    for text in cannot:
        lines += wrap(f"cannot tell: {text}", "    ", "  ")
    return "\n".join([*lines, *_notes(told), "", *wrap(ABOUT, "  ", "")])


def _fitted(found: Fitted) -> Iterator[str]:
    before, after = (wording.hertz(hertz) for hertz in found.minus_3)
    mean, reference = (round(size, 1) + 0.0 for size in (found.mean, found.reference_change))  # no -0.0
    yield (
        f"on the mean what the {found.role} plays changes by {mean:+.1f} dB, the reference level by {reference:+.1f}"
        f" dB; -3 dB point {before} before, {after} now"
    )
    for old, new in found.boxes:
        q = f", total Q {old.q:.2f} before, {new.q:.2f} now" if old.q is not None and new.q is not None else ""
        yield f"{new.words} {wording.hertz(old.resonance)} before, {wording.hertz(new.resonance)} now{q}"
    for polarity in found.polarities:
        yield f"{polarity.driver}: {polarity_text(polarity)}"


def _head(kit: Kit, what: str, swaps: Sequence[Swap]) -> list[str]:
    meter = kit.meter
    return [
        *wrap(heading(kit), "  ", ""),
        *wrap(f"May it be swapped? {what}: {RESULTS[result(swaps)]}", "  ", ""),
        *wrap(
            f"{_window(kit)}; marginal is within {meter.level:g} dB or {meter.impedance:g} ohm of its edge, which the"
            " meter does not tell",
            "  ", "",
        ),
        "",
    ]  # fmt: skip


def _window(kit: Kit) -> str:
    window, meter = kit.window, kit.meter
    band = f"from {wording.hertz(window.lowest)} to {wording.hertz(window.highest)}"
    edges = f"{max(window.level, meter.level):g} dB and {max(window.impedance, meter.impedance):g} ohm"
    return f"the window: changes up to {edges}, {band}"


HEADER = ("variant", "result", "level", "at", "outside", "at", "impedance", "at", "lowest ohm")


def _cells(each: Swap) -> list[str]:
    change = each.change
    word = "as drawn" if each.untouched else RESULTS[each.judgement.result]
    lowest = wording.NOTHING if change.lowest_impedance is None else f"{change.lowest_impedance:.2f}"
    return [
        each.name,
        word,
        sized(change.level, "dB"),
        _at(change.level, change.level_hz),
        wording.NOTHING if change.outside is None else sized(change.outside, "dB"),
        _at(change.outside, change.outside_hz),
        sized(change.impedance, "ohm"),
        _at(change.impedance, change.impedance_hz),
        lowest,
    ]


def _at(size: float | None, hertz: float | None) -> str:
    """Where a change is at its largest; nowhere where it is none."""
    return wording.hertz(hertz) if size is not None and abs(size) >= 0.005 else wording.NOTHING


def _table(swaps: Sequence[Swap]) -> list[str]:
    return tabulate(HEADER, [_cells(each) for each in swaps], indent="  ")


def _reasons(each: Swap) -> Iterator[str]:
    if each.untouched:
        yield from wrap(f"{each.name} {each.untouched}, and is not touched", "    ", "  ")
    for text in each.judgement.because:
        yield from wrap(f"{each.name}: {text}", "    ", "  ")


def _moves(each: Swap) -> Iterator[str]:
    """Cones that move otherwise than before."""
    before = each.before.excursions
    names: dict[str, list[str]] = {}
    for name, moved in each.after.excursions.items():
        old = before.get(name)
        if old is None or not moved.alike(old, 1e-3):
            was = "" if old is None else f", before {_excursion(old.programme, old.sine)}"
            names.setdefault(f"{_excursion(moved.programme, moved.sine)}{was}", []).append(name)
    texts = [f"{' and '.join(who)} {text}" for text, who in names.items()]
    if texts and not each.untouched:
        yield from wrap(f"{each.name}: cones move {'; '.join(texts)}", "    ", "  ")


def _excursion(programme: float | None, sine: float) -> str:
    swept = wording.millimetres(sine)
    return swept if programme is None else f"{wording.millimetres(programme)} ({swept})"


def _advice(advice: Mapping[str, Sequence[str]]) -> Iterator[str]:
    for text in together(advice):
        yield from wrap(f"advice: {text}", "    ", "  ")


def _notes(told: Sequence[Finding]) -> Iterator[str]:
    """What the kit reader has to say of the substitute alone."""
    for finding in dict.fromkeys((finding.found, finding.allowed) for finding in told if finding.severity == "note"):
        yield from wrap(f"noted: {'; '.join(filter(None, finding))}", "    ", "  ")


TABLE = "What else could it be? Every value from stock around the one the kit has; a star is the kit's"
TABLE_ABOUT = (
    "Level and impedance: the largest change in the window's band, and where. Range: how much louder, on the mean, what"
    " the drivers of that branch play has become at the listening point. Heat on the programme where the amplifier"
    " clips its peaks. Losses that stock does not tell are as the kit's."
)


def table(kit: Kit, reference: str, found: Sequence[Rows]) -> str:
    """A table for each variant."""
    lines = [*wrap(heading(kit), "  ", ""), TABLE, *wrap(_window(kit), "  ", "")]
    for each in found:
        plays = f", in the branch of the {each.role}" if each.role else ", which acts on no driver's level"
        lines += ["", *wrap(f"{each.variant.name}: {place_text(each.variant.places[reference])}{plays}", "  ", "")]
        rows = [
            [
                f"{wording.part_value(each.part.kind, row.value)}{' *' if row.drawn else ''}",
                RESULTS[row.swap.judgement.result],
                *_cells(row.swap)[2:4],
                *_cells(row.swap)[6:],
                f"{row.mean:+.2f} dB",
                f"{row.watts:.2g} W",
            ]
            for row in each.rows
        ]
        lines += tabulate(
            [reference, "result", "level", "at", "impedance", "at", "lowest ohm", "range", "heat"], rows, indent="  "
        )
    return "\n".join([*lines, "", *wrap(TABLE_ABOUT, "  ", "")])
