"""The text of `verify`: the result, how far it is off, what to do first, then what is likely and what is not known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from system import wording
from system.bench.faults import Fault
from system.bench.microphone import WayRound
from system.bench.proving import Proof
from system.bench.sides import Sides
from system.bench.trials import window_words
from system.bench.verify import Driver, Judged, Ranked, Unseen, Verified, percent
from system.kit import Kit
from system.sheets.fault_texts import fault_text
from system.sheets.tables import table, wrap
from system.sheets.texts import cabinet_text

RESULTS: Mapping[str, str] = {
    "pass": "pass",
    "marginal": "MARGINAL",
    "fail": "FAIL",
    "cannot_tell": "CANNOT TELL",
    "not_tested": "not tested",
}
TOLD = 6  # groups that are listed
LISTED = 6  # faults of one group
LEAST = 0.01  # probability of the last of them
CERTAIN_NULL = 30.0  # dB: deeper is not told


def verified(kit: Kit, result: Verified) -> str:
    """Everything that is said of one speaker."""
    lines = [*_head(kit, result), *_worst(result), *_proofs(result), *_likely(result)]
    lines += [*_readings(result.readings), *_drivers(result.drivers)]
    lines += [*_heard(result), *_sides(result.sides), *_cannot_show(result)]
    return "\n".join(lines)


def _head(kit: Kit, result: Verified) -> Iterator[str]:
    variant = result.variant
    yield from wrap(f"{RESULTS[result.result]}: {kit.name}, {variant.name} (cabinet {cabinet_text(variant)})", "  ", "")
    for test in result.tests:
        says = f", {test.says}" if test.result != "not_tested" else ""
        yield from wrap(f"{test.name}: {RESULTS[test.result]}{says}", "    ", "  ")


def _worst(result: Verified) -> Iterator[str]:
    worst = result.worst
    if worst is None:
        return
    yield ""
    yield from wrap(
        f"worst deviation: {worst.measured:.1f} ohm at {wording.hertz(worst.frequency)}, where the kit as drawn with"
        f" the drivers that fit best has {worst.expected:.1f} ohm ({worst.percent:+.1f} %); nine copies in ten have"
        f" {worst.low:.1f} to {worst.high:.1f} ohm there, and {100 * worst.outside:.0f} % of the sweep's points are"
        " outside of what copies have",
        "    ",
        "  ",
    )  # fmt: skip


def _proofs(result: Verified) -> Iterator[str]:
    if result.suspect is None:
        if any(each.result != "pass" for each in result.readings) and result.sweep is None:
            yield ""
            yield from wrap(
                "what to do first: no single mistake makes these readings; read again those that are off, with the"
                " meter's leads shorted once before",
                "    ",
                "  ",
            )
        return
    yield ""
    if result.diagnosis is not None and result.diagnosis.unexplained:
        yield from wrap(
            "what to do first: sweep a resistor of known value, which must come out at its value all over; only then"
            " look for what comes nearest, though it does not explain all of it",
            "    ",
            "  ",
        )
    if not result.proofs:
        yield from wrap(f"suspected: {fault_text(result.suspect)}; no test at hand proves it", "    ", "  ")
        return
    yield from wrap(f"what to do first, to prove or to clear: {fault_text(result.suspect)}", "    ", "  ")
    for i, proof in enumerate(result.proofs, 1):
        yield from wrap(f"{i}. {proof.do}", "       ", "    ")
        for outcome in proof.outcomes:
            yield from wrap(f"{_if(outcome.faults)}: {outcome.seen.says}", "           ", "       - ")
    cautions = dict.fromkeys(caution for proof in result.proofs for caution in proof.cautions)
    yield from wrap(f"mind: {'; '.join(cautions)}", "      ", "    ")


def _if(faults: Sequence[Fault]) -> str:
    shown = [fault_text(fault) for fault in faults[:3]]
    more = f" (and {len(faults) - 3} more)" if len(faults) > 3 else ""
    return f"{' or '.join(shown)}{more}"


def _likely(result: Verified) -> Iterator[str]:
    groups = [group for group in result.likely if group.probability >= LEAST][:TOLD]
    if not groups:
        return
    yield ""
    unexplained = result.diagnosis is not None and result.diagnosis.unexplained
    yield "  what comes nearest, none of it near enough" if unexplained else "  how likely, all together 100 %"
    for group in groups:
        told = _told(group)
        for i, (fault, probability) in enumerate(told[:LISTED]):
            alike = "   or " if i else "      "
            yield from wrap(f"{percent(probability):>6}{alike}{fault_text(fault)}", " " * 14, "  ")
        if len(told) > LISTED:
            yield f"{'':8}   or {len(told) - LISTED} others"
        splits = "; ".join(dict.fromkeys(proof.do for proof in group.splits))
        if splits:
            yield from wrap(f"told apart by: {splits}", " " * 16, " " * 14)
    if result.sweep is None and result.readings:
        yield from wrap("(by readings alone: a sweep tells much more)", "    ", "  ")


def _told(group: Ranked) -> list[tuple[Fault, float]]:
    some = [pair for pair in group.candidates if pair[1] >= LEAST / 2]
    return some or list(group.candidates[:1])


def _readings(readings: Sequence[Judged]) -> Iterator[str]:
    if not readings:
        return
    yield ""
    yield "  readings"
    rows = [
        [
            f"{each.reading.between[0]} to {each.reading.between[1]}",
            each.reading.drivers,
            "open" if math.isinf(each.reading.ohm) else f"{each.reading.ohm:.1f} ohm",
            window_words(each.window),
            RESULTS[each.result],
        ]
        for each in readings
    ]
    yield from table(["between", "drivers", "read", "should be", ""], rows, indent="  ")


def _drivers(drivers: Sequence[Driver]) -> Iterator[str]:
    if not drivers:
        return
    yield ""
    yield "  drivers as they fit the sweep best, over their data (%, with one standard deviation)"
    rows = []
    for each in drivers:
        figures = (each.fitted.fs, each.fitted.qts, each.fitted.re)
        rows.append([each.fitted.name, *(_ratio(value) for value in figures), each.verdict])
    yield from table(["", "fs", "qts", "re", ""], rows, indent="  ")


def _ratio(value: tuple[float, float] | None) -> str:
    return "-" if value is None else f"{100 * (value[0] - 1):+.1f} +- {100 * value[1]:.1f}"


def _heard(result: Verified) -> Iterator[str]:
    heard = result.heard
    if heard is None or not heard.frequency.size:
        return
    yield ""
    away = f"{result.variant.listening.distance:g} m"
    yield f"  way round, by the microphone at the kit's listening point, {away} away (--set listening.distance)"
    for way in heard.ways:
        yield from wrap(f"{', '.join(way.drivers)}: {_way(way)}", "      ", "    ")


WAYS = {"as_built": "as built", "other_way_round": "THE OTHER WAY ROUND", "cannot_tell": "CANNOT TELL"}


def _way(way: WayRound) -> str:
    words = WAYS[way.verdict]
    if way.low is None or way.high is None or way.as_built is None or way.turned is None:
        return f"{words}: {way.why}"
    text = (
        f"{words}{f' ({way.why})' if way.why else ''}: between {wording.hertz(way.low)} and {wording.hertz(way.high)}"
    )
    text += f" the table is {way.as_built:.1f} dB (rms) off what it should be and {way.turned:.1f} dB off the other way"
    if way.null is not None and way.null_at is not None and way.measured_null is not None:
        dips = "as built" if way.dips == "as_built" else "the other way round"
        deep = f"more than {CERTAIN_NULL:.0f}" if way.null > CERTAIN_NULL else f"{way.null:.0f}"
        text += (
            f"; {dips} it has a dip of {deep} dB at {wording.hertz(way.null_at)}, and the table is"
            f" {max(way.measured_null, 0.0):.0f} dB down there"
        )
    if way.verdict == "other_way_round" and way.others:
        text += f"; all of {', '.join(way.others)} the other way round would sound the same"
    return text


def _sides(sides: Sides | None) -> Iterator[str]:
    if sides is None:
        return
    yield ""
    yield from wrap(f"against {sides.name}: {sides.says}", "    ", "  ")
    if sides.suggests is None:
        return
    every = [each for group in sides.suggests.groups for each in group.candidates if each.probability >= LEAST]
    every.sort(key=lambda each: -each.probability)
    shown = ", ".join(f"{fault_text(each.fault)} ({percent(each.probability)})" for each in every[:4])
    yield from wrap(f"if that one is right, this one has: {shown}", "      ", "    ")


def _cannot_show(result: Verified) -> Iterator[str]:
    if not result.cannot_show:
        return
    settled = {
        name
        for way in (result.heard.ways if result.heard else ())
        if way.verdict != "cannot_tell"
        for names in (way.drivers, way.others)
        for name in [", ".join(names)]
    }
    open_ = [
        each
        for each in result.cannot_show
        if not (each.with_right and each.faults[0].kind == "driver_reversed" and each.faults[0].place in settled)
    ]
    if not open_:
        return
    yield ""
    yield "  what no sweep of this variant shows, or tells one from the other, and what does"
    for each in open_:
        yield from wrap(f"{_same(each)}{_by(each.proofs)}", "      ", "    ")


def _same(each: Unseen) -> str:
    """`tweeter the wrong way round`, or which of several it is."""
    words = [fault_text(fault) for fault in each.faults]
    return words[0] if each.with_right else " or ".join(words)


def _by(proofs: Sequence[Proof]) -> str:
    return f": {proofs[0].do}" if proofs else ""
