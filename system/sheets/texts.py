"""The text each command prints: what a person reads first, in at most 100 columns."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.along import LinePressure
from system.compare import Column, Comparison
from system.filling import Filling
from system.handover import Join, Polarity
from system.kit import ROOM_TEMPERATURE, Amplifier, Kit, Placement, Programme, Variant
from system.overview import Loudest, Overview, Row
from system.predict import Prediction, SpeedLimit
from system.protect import alike
from system.room import Room
from system.sheets.step_texts import step_text
from system.sheets.tables import WIDTH, table, wrap
from system.summary import level

Floats = NDArray[np.float64]

VERDICTS = {
    "needed": "NEEDED",
    "helps": "helps",
    "not_needed": "not needed",
    "makes_worse": "MAKES WORSE",
    "undecided": "undecided",
}
NOT_A_TEST = (
    "These are computed ceilings, not a test to run: never feed a sine at such volts to a loudspeaker, least of all to"
    " a tweeter. Loud sound damages hearing."
)
SCREEN = 24  # lines of the first screen


def programme_text(programme: Programme) -> str:
    """The signal in words."""
    if programme.spectrum == "sine":
        return f"sine sweep from {programme.lowest:g} Hz"
    crest = 20 * np.log10(programme.crest_factor)
    name = programme.table.file if programme.table else programme.spectrum.replace("_", "-")
    return f"{name} programme, crest {crest:.3g} dB, from {programme.lowest:g} Hz"


PLANES = {
    "wall_behind": "wall behind",
    "wall_left": "wall left",
    "wall_right": "wall right",
    "below": "floor",
    "above": "ceiling",
}


def placement_text(placement: Placement) -> str:
    """Where the cabinet stands, in words."""
    if placement.kind == "in_wall":
        return "in a wall"
    near = []
    for key, name in PLANES.items():
        distance, cover = getattr(placement, key), placement.surfaces.get(key, "rigid")
        if distance is not None:
            text = f"{name} {distance * 1e3:.0f} mm" if distance > 0 else f"on the {name}"
            near.append(text if cover == "rigid" else f"{text} ({cover})")
    near = near or ["free standing"]
    near += [f"panel {panel.side} {panel.distance * 1e3:.0f} mm" for panel in placement.panels]
    turned = {"tilted": placement.tilt, "leaning": placement.lean}
    near += [f"{word} {math.degrees(angle):.3g} deg" for word, angle in turned.items() if angle]
    return ", ".join(near)


def heading(kit: Kit) -> str:
    amplifier = kit.amplifier
    return (
        f"{kit.name}: amplifier {amplifier.power:g} W into {amplifier.load:g} ohm"
        f" ({amplifier.rated_volts:.1f} V), {programme_text(kit.programme)}"
    )


def cabinet_text(variant: Variant) -> str:
    """Which cabinet, and how it lies: `compact, on left side`."""
    lying = "" if variant.attitude == "upright" else f", {variant.attitude.replace('_', ' ')}"
    return variant.cabinet.name + lying


def predictions(kit: Kit, results: Sequence[Prediction]) -> str:
    """A block for each variant: what it is, its single figures, and the curves at the frequencies asked for."""
    lines = wrap(heading(kit), "  ", "")
    for result in results:
        variant = result.variant
        lines += [
            "",
            f"{variant.name}: cabinet {cabinet_text(variant)}, {placement_text(variant.placement)};"
            f" {result.volts:g} V, {result.distance:g} m",
            f"  {summary_text(result)}",
        ]
        for text in _details(kit, result):
            lines += wrap(text, "    ", "  ")
        lines += table(*_curves(result), indent="  ")
    return "\n".join(lines)


def summary_text(result: Prediction) -> str:
    figures = result.summary
    ohms = figures.rated_impedance_ohm
    rated = f"rated {ohms:g} ohm" if ohms else "below every rated impedance"
    return (
        f"sensitivity {wording.sound(figures.sensitivity_db, digits=1)} (2.83 V, 1 m),"
        f" -3 dB {wording.hertz(figures.minus_3_db_hz)}, -10 dB {wording.hertz(figures.minus_10_db_hz)},"
        f" lowest {wording.ohms(figures.lowest_impedance_ohm)}"
        f" at {wording.hertz(figures.lowest_impedance_hz)} ({rated})"
    )


def _details(kit: Kit, result: Prediction) -> Iterator[str]:
    """A line each: what the filling does and leaves open, every line and its bends, every opening that may be heard."""
    if result.detail is not None:
        if result.detail.filling is not None:
            yield f"filling: {filling_text(result.detail.filling)}"
        for line in result.detail.lines:
            yield _line_text(line)
        for join in result.detail.joins:
            yield _join_text(join)
        for polarity in result.detail.polarities:
            yield f"{polarity.driver}: {polarity_text(polarity)}"
        yield step_text(result.detail.step)
        if result.detail.room is not None:
            yield from _room_texts(result.detail.room, result.frequency)
    for name, opening in result.openings.items():
        if opening.limit is not None:
            yield f"{name}: {speed_text(opening.limit, kit.amplifier)}"


def _room_texts(room: Room, frequency: Floats) -> Iterator[str]:
    """What the planes do to the power at low frequency, and how far panels are to be trusted."""
    if room.power.size:
        high, low = int(np.argmax(room.power)), int(np.argmin(room.power))
        yield (
            f"planes near by: the power radiated at low frequency, against free space, is at most"
            f" {wording.decibels(room.power[high], sign=True)} ({wording.hertz(room.frequency[high])}) and at least"
            f" {wording.decibels(room.power[low], sign=True)} ({wording.hertz(room.frequency[low])}); told up to"
            f" {wording.hertz(room.frequency[-1])}"
        )
    if np.any(room.uncertain):
        worst = int(np.argmax(room.uncertain))
        yield (
            f"panels near by, an approximation: the level may be off by {wording.decibels(room.uncertain[worst])}"
            f" ({wording.hertz(frequency[worst])}), half of what they do to it"
        )


def speed_text(limit: SpeedLimit, amplifier: Amplifier) -> str:
    """From which drive on the air of a port or mouth is too fast."""
    if limit.volts is None:
        return "no air moves"
    if limit.volts > amplifier.rated_volts:
        return f"air under its limit of {limit.speed:.3g} m/s at the amplifier's rated volts"
    drive = wording.drive(limit.volts, amplifier.load)
    return f"air at its limit of {limit.speed:.3g} m/s from {drive} on, at {wording.hertz(limit.frequency)}"


def filling_text(filling: Filling) -> str:
    """How much larger its boxes act, and how far apart thin and dense fillings are, by either model."""
    gains = [
        f"the box of {' and '.join(gain.drivers)} acts {gain.volume_gain:.2f} times as large"
        f" ({wording.hertz(gain.frequency)})"
        for gain in filling.gains
    ]
    band = filling.band
    widest = f"{wording.decibels(band.widest)} ({wording.hertz(band.widest_at)})"
    apart = f"from thinnest to densest the level moves by up to {widest}"
    if band.minus_3:
        low, high = (wording.hertz(corner) for corner in band.minus_3)
        apart += f", -3 dB {low}" if low == high else f", -3 dB {low} to {high}"
    return "; ".join([*gains, apart])


def _join_text(join: Join) -> str:
    """Where a driver's response table takes over, and how far apart it and the parameters are halfway."""
    return (
        f"{join.driver}: a piston up to {wording.hertz(join.low)}, its response table from {wording.hertz(join.high)};"
        f" halfway the table is {join.level:+.1f} dB and {join.phase:+.0f} degrees from the piston"
    )


def polarity_text(polarity: Polarity) -> str:
    """Where a tweeter takes over, and what it would be the other way round."""
    better, worse = ("as wired", "the other way round") if polarity.gain > 0 else ("the other way round", "as wired")
    return (
        f"takes over at {wording.hertz(polarity.crossover)}; the octave about it sums"
        f" {abs(polarity.gain):.1f} dB louder {better},"
        f" and {worse} falls {polarity.null:.0f} dB short at {wording.hertz(polarity.null_at)}"
    )


def _line_text(line: LinePressure) -> str:
    resonances = ", ".join(wording.hertz(resonance) for resonance in line.resonances)
    bends = [
        f"; the bend in profile.{bend.section}, {bend.centre * 1e3:.0f} mm along its centre, acts as"
        f" {bend.acts * 1e3:.0f} mm"
        for bend in line.bends
    ]
    return f"the line of {' and '.join(line.drivers)}: resonances {resonances}{''.join(bends)}"


def _curves(result: Prediction) -> tuple[list[str], list[list[str]]]:
    """Header and rows: a row a frequency; excursion of each driver and radiator that has one, air speed elsewhere."""
    columns: dict[str, list[str]] = {
        "Hz": [f"{f:.3g}" if f < 1000 else f"{f:.0f}" for f in result.frequency],
        "level dB": [f"{v:.1f}" for v in level(result.pressure)],
        "ohm": [f"{v:.1f}" if np.isfinite(v) else wording.NOTHING for v in np.abs(result.impedance)],
        "degrees": [f"{v:+.0f}" for v in np.degrees(np.angle(result.impedance))],
    }
    for name, driver in result.drivers.items():
        columns[f"{name} V"] = [f"{v:.2f}" for v in np.abs(driver.volts)]
        if driver.excursion is not None:
            columns[f"{name} mm"] = [f"{v * 1e3:.2f}" for v in driver.excursion]
    for name, opening in result.openings.items():
        if opening.excursion is None:
            columns[f"{name} m/s"] = [f"{v:.2f}" for v in opening.speed]
        else:
            columns[f"{name} mm"] = [f"{v * 1e3:.2f}" for v in opening.excursion]
    return list(columns), [list(row) for row in zip(*columns.values(), strict=True)]


def comparison(result: Comparison) -> str:
    """Variants as columns, figures as rows; below each other where they are too many for one page's width."""
    return columns(result.columns, result)


def columns(names: Iterable[str], result: Comparison) -> str:
    """The columns of these variants."""
    blocks: list[list[str]] = []
    for name in names:
        wider = [*blocks[-1], name] if blocks else [name]
        if blocks and max(map(len, _columns(wider, result))) <= WIDTH:
            blocks[-1] = wider
        else:
            blocks.append([name])
    return "\n\n".join("\n".join(_columns(block, result)) for block in blocks)


def _columns(names: Sequence[str], result: Comparison) -> list[str]:
    rows = [[label, *(cell(result.columns[name]) for name in names)] for label, cell in COMPARED]
    return table(["", *names], rows)


def _worst(column: Column, what: str) -> str:
    worst = column.excursion if what == "excursion" else column.opening_speed
    if worst is None:
        return wording.NOTHING
    value = wording.millimetres(worst.value) if what == "excursion" else f"{worst.value:.0f} m/s"
    return f"{value} at {wording.hertz(worst.frequency)}"


def _verdict_words(row: Row) -> str:
    """One word where all woofers agree, else each woofer's."""
    words = {verdict.driver: VERDICTS[verdict.verdict] for verdict in row.verdicts}
    if len(set(words.values())) == 1:
        return next(iter(words.values()))
    return ", ".join(f"{name} {word}" for name, word in words.items()) or wording.NOTHING


def _loudest_text(loudest: Loudest) -> str:
    return wording.sound(loudest.level, f" at {wording.volts_down(loudest.volts)} rms")


def _limited_by(loudest: Loudest) -> str:
    return loudest.limited_by if loudest.level > wording.SILENT else wording.NOTHING


COMPARED: tuple[tuple[str, Callable[[Column], str]], ...] = (
    ("cabinet", lambda c: cabinet_text(c.row.variant)),
    ("placement", lambda c: placement_text(c.row.variant.placement)),
    ("sensitivity, 2.83 V, 1 m", lambda c: wording.sound(c.row.prediction.summary.sensitivity_db, digits=1)),
    ("-3 dB point", lambda c: wording.hertz(c.row.prediction.summary.minus_3_db_hz)),
    ("-10 dB point", lambda c: wording.hertz(c.row.prediction.summary.minus_10_db_hz)),
    ("lowest impedance", lambda c: wording.ohms(c.row.prediction.summary.lowest_impedance_ohm)),
    ("  at", lambda c: wording.hertz(c.row.prediction.summary.lowest_impedance_hz)),
    ("rated impedance", lambda c: wording.ohms(c.row.prediction.summary.rated_impedance_ohm)),
    ("excursion, sine at rated volts", lambda c: _worst(c, "excursion")),
    ("opening, sine at rated volts", lambda c: _worst(c, "speed")),
    ("woofer high-pass", lambda c: _verdict_words(c.row)),
    ("loudest", lambda c: _loudest_text(c.row.loudest)),
    ("  limited by", lambda c: _limited_by(c.row.loudest)),
    ("places that differ", lambda c: ", ".join(c.row.differing) or "none"),
)


def first_screen(path: Path, screen: Overview) -> str:
    """At most 24 lines of 100 columns: a row a variant, why, what it rests on, stops, and the next step."""
    kit = screen.kit
    header = ["variant", "woofer high-pass", "loudest", "limited by", "-3 dB", "lowest", "the amplifier"]
    rows = [
        [
            row.variant.name,
            _verdict_words(row),
            wording.sound(row.loudest.level),
            _limited_by(row.loudest),
            wording.hertz(row.prediction.summary.minus_3_db_hz),
            wording.ohms(row.prediction.summary.lowest_impedance_ohm),
            _amplifier_word(kit, row),
        ]
        for row in screen.rows
    ]
    tail = [*_rests_on(screen), *_stops(screen), _next(path)]
    lines = [*wrap(heading(kit), "  ", ""), "", *table(header, rows), ""]
    because = wrap(f"places that differ: {'; '.join(_differing(row) for row in screen.rows)}", "  ", "")
    for row in screen.rows:
        for verdict, woofers in alike(row.verdicts):
            whose = "" if len(woofers) == len(row.verdicts) else f" {' and '.join(woofers)}"
            because += wrap(f"{row.variant.name}{whose}: {verdict.because}", "  ", "")
    lines = _fitted(lines, SCREEN - len(tail), "... more variants: kitwright compare shows them all")
    lines += _fitted(because, SCREEN - len(tail) - len(lines), "... the rest: kitwright protect shows it")
    return "\n".join(_fitted_across(line) for line in lines + tail)


def _next(path: Path) -> str:
    line = f"next: kitwright protect {path}"
    return line if len(line) <= WIDTH else f"next: kitwright protect {path.name}"


def _fitted(lines: list[str], room: int, rest: str) -> list[str]:
    """At most `room` lines; where some had to go, the last says where the rest is."""
    return lines if len(lines) <= room else [*lines[: max(0, room - 1)], rest][: max(0, room)]


def _fitted_across(line: str) -> str:
    return line if len(line) <= WIDTH else f"{line[: WIDTH - 3]}..."


def _differing(row: Row) -> str:
    return f"{row.variant.name} {', '.join(row.differing) or 'none'}"


def _amplifier_word(kit: Kit, row: Row) -> str:
    allowed = kit.amplifier.lowest_load
    if allowed is None:
        return "states no lowest load"
    lowest = row.prediction.summary.lowest_impedance_ohm
    enough = lowest is None or lowest >= allowed
    return f"stands {allowed:g} ohm" if enough else f"TOO LOW, it stands {allowed:g}"


def _rests_on(screen: Overview) -> list[str]:
    assumed = sum(finding.code == "assumed" for finding in screen.findings)
    hookups = [hookup.driver for row in screen.rows for hookup in row.variant.hookups.values()]
    cold = all(driver.voice_coil_temperature == ROOM_TEMPERATURE for driver in hookups)
    coils = "cold voice coils" if cold else "voice coils as warm as stated"
    open_ = len({item.what for row in screen.rows for item in row.not_judged})
    return wrap(
        f"rests on: {coils} (hot ones where heat limits), small-signal motion, {open_} limits not judged (kitwright"
        f" limits lists them), {assumed} assumed figures (kitwright proofread lists them)",
        "  ", "",
    )  # fmt: skip


def _stops(screen: Overview) -> list[str]:
    warnings = [finding for finding in screen.findings if finding.severity == "warning"]
    if not warnings:
        return ["stops: none found"]
    more = f" (and {len(warnings) - 1} more)" if len(warnings) > 1 else ""
    first = warnings[0]
    return wrap(f"stops: {first.message or first.found}; {first.allowed}{more}", "  ", "")
