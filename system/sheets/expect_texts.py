"""The text of `expect`: how to measure, what an ohmmeter must read and what that proves, and the impedance sweep."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import zip_longest

from system import wording
from system.bench.expect import Expected, ExpectedSweep, Proof
from system.bench.faults import Fault
from system.bench.meter import Window, terminals
from system.kit import Kit, Variant
from system.sheets.tables import WIDTH, table, wrap
from system.sheets.texts import cabinet_text, heading, placement_text
from system.workshop.cautionmodel import DISCHARGE

CAUTIONS = (
    "Before an ohmmeter: no power, the amplifier's leads unplugged from the loudspeaker, capacitors discharged"
    f" ({DISCHARGE}). Hold the probes together first and subtract what the meter shows. Keep fingers off the probes'"
    " tips, and cones still: a moving cone makes volts of its own. `apart` is with every driver's wires unhooked.",
    "`climbs, open`: the meter charges a capacitor, so it shows a few ohm or kilohm, climbs and ends in overload."
    " Wait for it, and swap the probes only after that.",
)
SHOWN: Mapping[str, str] = {  # of a kind of mistake, about places
    "missing": "{} missing",
    "linked": "{} linked",
    "doubled": "{} of twice the value",
    "halved": "{} of half the value",
    "one_of_pair_open": "one part of {} open",
    "pair_in_series": "{} joined the other way",
    "exchanged": "{} exchanged",
    "fitted_needlessly": "{} fitted needlessly",
    "wrong_variant": "the board of {}",
    "driver_open": "{} not connected",
    "driver_reversed": "{} reversed",
}
SIDE_BY_SIDE = 3  # blocks of the sweep


def expect(kit: Kit, results: Sequence[Expected]) -> str:
    """How to measure; then for each variant its readings, what none of them shows, and its sweep."""
    lines = [*wrap(heading(kit), "  ", ""), "What it must read when it is built as drawn"]
    for text in CAUTIONS:
        lines += ["", *wrap(text, "  ")]
    for result in results:
        variant = result.variant
        where = f"{cabinet_text(variant)}, {placement_text(variant.placement)}"
        lines += ["", *wrap(f"{variant.name}: cabinet {where}", "  ", "")]
        lines += wrap(f"terminals: {_terminals(kit, variant)}", "    ", "  ")
        lines += ["", *_readings(result)]
        lines += ["", *(line for text in _left(result) for line in wrap(text, "    ", "  "))]
        lines += ["", *_sweep(kit, result.thirds)]
    for text in _about(kit, results):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join(lines)


def _terminals(kit: Kit, variant: Variant) -> str:
    return "; ".join(f"{each.point} ({', '.join(each.labels)})" for each in terminals(kit, variant))


def _readings(result: Expected) -> list[str]:
    """A table whose last column runs on below itself."""
    header = ["ohmmeter between", "drivers", "ohm", "drawn", "what it tells"]
    rows = [
        [" - ".join(proof.window.between), proof.window.drivers, *_ohms(proof.window), _worth(result.variant, proof)]
        for proof in result.proofs
    ]
    used = sum(max(len(row[i]) for row in [header, *rows]) + 2 for i in range(len(header) - 1)) + 2
    wrapped: list[list[str]] = []
    for row in rows:
        first, *more = textwrap.wrap(row[-1], WIDTH - used) or [""]
        wrapped += [[*row[:-1], first], *([*[""] * (len(row) - 1), words] for words in more)]
    return table(header, wrapped, indent="  ")


def _ohms(window: Window) -> tuple[str, str]:
    """The window and the nominal value, as a meter shows them."""
    if window.reads == "rises_to_open":
        return ("climbs, open" if window.charges else "open"), wording.NOTHING
    return f"{window.low:.1f} to {window.high:.1f}", f"{window.nominal:.1f}"


def _worth(variant: Variant, proof: Proof) -> str:
    own = next((name for name in variant.hookups if proof.window.between == (f"{name}+", f"{name}-")), None)
    if own is not None:
        return f"the voice coil of {own} is whole"
    places = variant.places
    proved = [f"{name} ({'link' if places[name].state == 'link' else 'left out'})" if places[name].state != "fit"
              else name for name in proof.parts]  # fmt: skip
    done = {*proof.parts, *proof.drivers}
    shows = grouped(fault for fault in proof.shows if fault.place not in done)
    words = [f"proves {', '.join(proved)}"] if proved else []
    words += [f"{wording.listed(proof.drivers)} connected"] if proof.drivers else []
    words += [f"shows {'; '.join(shows)}"] if shows else []
    return "; ".join(words) or "nothing by itself"


def grouped(faults: Iterable[Fault]) -> Iterator[str]:
    """Mistakes in words, those of a kind together: `C1, C3 linked`."""
    by_kind: dict[str, list[str]] = {}
    for fault in faults:
        places = [fault.place.replace(", ", " with ")] if fault.kind == "exchanged" else fault.place.split(", ")
        by_kind.setdefault(fault.kind, []).extend(places)
    for kind, places in by_kind.items():
        yield SHOWN[kind].format(", ".join(dict.fromkeys(places)))


def _left(result: Expected) -> Iterator[str]:
    if result.unproved:
        yield f"no reading proves {wording.listed([*result.unproved])}; an impedance sweep tells more of them"
    if result.cannot_show:
        yield f"no reading shows: {'; '.join(grouped(result.cannot_show))}"


def _sweep(kit: Kit, sweep: ExpectedSweep) -> list[str]:
    """Third octaves in blocks side by side."""
    header = ["Hz", "ohm", "from", "to", "deg"]
    rows = [
        [f"{hertz:.0f}" if hertz >= 100 else f"{hertz:.3g}", *(_ohm(value) for value in ohms), _degrees(angle)]
        for hertz, *ohms, angle in zip(
            sweep.frequency, sweep.magnitude.nominal, sweep.magnitude.low, sweep.magnitude.high, sweep.phase.nominal,
            strict=True,
        )
    ]  # fmt: skip
    size = math.ceil(len(rows) / SIDE_BY_SIDE)
    blocks = [table(header, rows[i : i + size]) for i in range(0, len(rows), size)]
    width = max(len(line) for block in blocks for line in block)
    title = (
        f"impedance sweep at {' and '.join(kit.input)}: as drawn, the band of 9 of 10 copies and the meter's"
        f" {kit.meter.impedance:g} ohm, phase"
    )
    lines = ("    ".join(line.ljust(width) for line in row).rstrip() for row in zip_longest(*blocks, fillvalue=""))
    return [*wrap(title, "    ", "  "), *(f"  {line}" for line in lines)]


def _ohm(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else wording.NOTHING


def _degrees(angle: float) -> str:
    return f"{round(math.degrees(angle)):+d}" if math.isfinite(angle) else wording.NOTHING


def _about(kit: Kit, results: Sequence[Expected]) -> Iterator[str]:
    meter = kit.meter
    assumed = " (assumed: common practice, no source)" if meter.assumed else ""
    yield (
        f"Windows: resistors and drivers' re within their tolerances, coils' dc resistances within theirs or 10 %, all"
        f" at their ends at once; then {100 * meter.resistance_error:g} % of the reading and {meter.leads:g} ohm of"
        f" leads for the meter{assumed}. Proves: no single mistake at that part gives a reading in the"
        f" window. Shows: that mistake gives a reading outside of it."
    )
    lossless = [
        name
        for name, place in results[0].variant.places.items()
        if place.part.kind == "coil" and place.part.resistance == 0
    ]
    if lossless:
        yield f"{wording.listed(lossless)} counted with 0 ohm, for want of a dc resistance: real readings are higher."
    sweep = results[0].sweep
    yield (
        f"Sweep: {sweep.copies} copies, seed {sweep.seed}, drawn as `spread` draws them; voice coils at 20 degC, at low"
        " level, measured at the crossover's input without the cable."
    )
