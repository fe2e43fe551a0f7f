"""The text of `stress`: what each part bears, against its ratings, and what to order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from system import wording
from system.kit import Kit
from system.sheets.limit_texts import CAUTIONS, VALUES, celsius
from system.sheets.tables import table, wrap
from system.sheets.texts import heading
from system.stress import WORST_FIRST, Load, PartStress, Rated, Stress

TITLE = "What the parts bear: computed, not a test to run"
VERDICTS = {
    "pass": "pass",
    "marginal": "marginal",
    "fail": "FAIL",
    "cannot_tell": "cannot tell",
    "not_tested": "not tested",
}
# What is asked of a part, in the unit of its rating.
ASKED = {
    "voltage": "{} peak across it",
    "current": "{} rms through it",
    "power": "{} of heat in it",
    "saturation": "{} peak through it",
}
LACKING = {"voltage": "voltage_rating", "power": "power_rating", "saturation": "saturation_current"}
UNITS = {"voltage": "V", "current": "A", "power": "W", "saturation": "A"}
ABOUT = (
    "V and A rms, peak V, W of heat in the part itself; the sine at its worst frequency for each. Peaks are judged on"
    " both signals, what heats on the programme. A marginal part is within the model's 1.5 dB of its rating. Enough is"
    " the size that leaves those, of the sizes sold (50 63 100 160 250 400 630 V; 2 3 5 7 10 15 20 25 W; common"
    " practice)."
)


def stress(kit: Kit, results: Sequence[Stress]) -> str:
    """A table for each variant, then what is wrong, what to order, and how hot the resistors get."""
    lines = [*wrap(heading(kit), "  ", ""), TITLE]
    for result in results:
        signals = f"a sine of {result.sine_volts:.1f} V rms swept over the programme's band"
        if result.programme_volts is not None:
            signals += f", and the programme at {result.programme_volts:.1f} V rms, where the amplifier clips its peaks"
        lines += ["", *wrap(f"{result.variant.name}: {signals}", "  ", "")]
        if not result.parts:
            lines.append("  no parts are fitted")
            continue
        lines += _table(result)
        for part in result.parts.values():
            for text in _wrong(part):
                lines += wrap(text, "    ", "  ")
        for text in (*_lasting(result), *_surfaces(kit, result)):
            lines += wrap(text, "    ", "  ")
    for text in (ABOUT, *CAUTIONS):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join(lines)


def _table(result: Stress) -> list[str]:
    header = ["part", "verdict", "rating", "enough", "sine V", "peak", "A", "W"]
    if result.programme_volts is not None:
        header += ["prog. V", "peak", "A", "W"]
    rows = []
    for part in result.parts.values():
        loads = [part.sine, *([part.programme] if part.programme else [])]
        decisive = min(part.ratings, key=lambda rated: WORST_FIRST.index(rated.verdict), default=None)
        rows.append(
            [
                f"{part.reference} {wording.part_value(part.part.kind, part.part.value)}",
                VERDICTS[part.verdict],
                _size(decisive, decisive.rating) if decisive else wording.NOTHING,
                _order(decisive),
                *(cell for load in loads for cell in _load(load)),
            ]
        )
    return table(header, rows, indent="  ")


def _size(rated: Rated, value: float | None) -> str:
    return wording.NOTHING if value is None else VALUES[UNITS[rated.kind]](value)


def _order(rated: Rated | None) -> str:
    """The size that leaves the model's uncertainty, where parts are sold by it."""
    if rated is None or rated.order is None:
        return wording.NOTHING
    return _size(rated, rated.order)


def _load(load: Load) -> list[str]:
    return [_figure(load.volts), _figure(load.volts_peak), _figure(load.current), _figure(load.watts)]


def _figure(value: float) -> str:
    """Two or three figures without an exponent, nothing as 0."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 or value < 0.005 else f"{value:.2f}"


def _wrong(part: PartStress) -> Iterator[str]:
    """A line for each rating that is missing, passed or nearly so."""
    for rated in part.ratings:
        asked = ASKED[rated.kind].format(_size(rated, rated.asked))
        enough = f"{_order(rated)} or more" if rated.order else f"more than {_size(rated, rated.needed)}"
        if rated.verdict == "cannot_tell":
            yield f"{part.reference}: no {LACKING[rated.kind]}; {asked}: {enough} will do"
        elif rated.verdict in ("fail", "marginal"):
            word = "over" if rated.verdict == "fail" else "close to"
            rating = _size(rated, rated.rating)
            yield f"{part.reference}: {asked}, {word} its {rated.kind} rating of {rating}; order {enough}"


def _lasting(result: Stress) -> Iterator[str]:
    """What a lasting sine would do to parts that the programme leaves cool."""
    over = [
        f"{name} ({part.sine.watts:.0f} W)"
        for name, part in result.parts.items()
        if part.part.power_rating is not None and part.sine.watts > part.part.power_rating
    ]
    if over and result.programme_volts is not None:
        yield f"a sine that lasted at {result.sine_volts:.1f} V would pass the rated watts of {' and '.join(over)}"


def _surfaces(kit: Kit, result: Stress) -> Iterator[str]:
    """How hot resistors get, and which must have no hot glue on them."""
    bears = celsius(kit.assembly.hot_melt_bears)
    known = {name: part.surface for name, part in result.parts.items() if part.surface}
    if not known:
        return
    bodies = ", ".join(f"{name} {celsius(surface.temperature)}" for name, surface in known.items())
    yield f"bodies in air of {celsius(kit.assembly.ambient)}, within 30 K or so: {bodies}"
    glued = [name for name, surface in known.items() if surface.melts]
    if glued:
        yield f"NO HOT GLUE on {' and '.join(glued)}: it bears {bears}"
    shares = sorted({f"{surface.share * 100:.0f} %" for surface in known.values()})
    yield f"a resistor that hot glue touches may have at most {' to '.join(shares)} of its rated watts in it"
