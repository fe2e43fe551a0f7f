"""The text of `characterise`: a driver's figures and how sure they are, what to measure next, and pairs of a batch."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath

from system import wording
from system.bench.characterise import ALIKE, ENOUGH, Batch, Measured, Second, next_measurement
from system.bench.fitting import MASS_ERROR, VOLUME_ERROR, Estimate, Fit
from system.bench.fitting_models import COILS
from system.sheets.characterise_data import FIGURES, HENRIES, area_of, block, differences, notes, plain
from system.sheets.tables import table, wrap

LONGEST = 18  # letters of a file's name in a table
WHAT: Mapping[str, str] = {
    "re": "dc resistance",
    "fs": "resonance in free air",
    "qms": "mechanical Q",
    "qes": "electrical Q",
    "qts": "total Q",
    "vas": "volume as springy as the suspension",
    "bl": "force factor",
    "mms": "moving mass with its air",
    "cms": "compliance of the suspension",
    "rms": "mechanical resistance",
    "sd": "moving area",
    "le": "inductance",
    "series": "coil in series",
    "shunted": "coil that is shunted",
    "shunt_resistance": "resistance across it",
    "factor": "factor of (jw)^exponent, ohm",
    "exponent": "exponent",
    "semi": "semi-inductance across it",
    "creep": "creep of the suspension",
}
METHODS: Mapping[str, str] = {
    "added_mass": "on the cone",
    "known_box": "behind the cone",
}
CAUTIONS = (
    "For sound figures: the driver hangs or stands free in air, nothing within half a metre of either side of the cone;"
    " the level is low, 0.1 V or less at the driver, or suspension and force factor are those of another stroke; the"
    " coil is at room temperature. A new driver has its fs up to a fifth too high until it has run in (common practice,"
    " no source)."
)
INTERVALS = (
    "Intervals: 95 %, from what the fit leaves over{more}. They tell how sure this sweep is, not how well the meter is"
    " calibrated."
)
TAKEN_AS: Mapping[str, str] = {
    "added_mass": f", with a mass that is right to {100 * MASS_ERROR:g} %",
    "known_box": f", with a volume that is right to {100 * VOLUME_ERROR:g} %",
}
PAIRS = (
    "Pairs: the least total of squared differences. Alike (A) is what one unit measured twice shows: "
    + ", ".join(f"{name} {100 * limit:g} %{' rms' if name == 'impedance' else ''}" for name, limit in ALIKE.items())
    + "; B up to twice that, C up to four times, D beyond. Impedance: magnitudes over the band that both sweeps have."
    " Limits of our own (common practice, no source)."
)


def single(unit: Measured, second: Second | None, name: str) -> str:
    """One driver: its figures, the models of its coil, what is to be said of it, and its lines in a kit file."""
    lines = [
        *wrap(f"{unit.name}: the driver from its impedance in free air", "  ", ""),
        *wrap(_sweep(unit), "  ", "  "),
    ]
    if second is not None:
        lines += wrap(f"{amount(second)} {METHODS[second.method]}: {second.sweep.name}", "    ", "  ")
    if unit.refused:
        what = "REFUSED" if unit.fit is None else "REFUSED, the second sweep"
        lines += ["", *wrap(f"{what}: {unit.refused}", "  ", "")]
    if unit.fit is not None:
        lines += ["", *_figures(unit, unit.fit)]
        lines += ["", "the voice coil, by model", *_models(unit.fit), *_coil(unit, unit.fit)]
    for text in notes(unit):
        lines += ["", *wrap(f"note: {text}", "  ", "")]
    if unit.fit is not None:
        for text in _next(unit, second):
            lines += ["", *wrap(text, "  ", "")]
    more = TAKEN_AS[unit.full.method] if unit.full else ""
    for text in (CAUTIONS, *([INTERVALS.format(more=more)] if unit.fit else ())):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join([*lines, *_block(block(unit, made(unit, second)), name)])


def several(found: Batch, name: str) -> str:
    """A batch: a row a unit, how far they lie apart, the odd ones, pairs, and the lines of the most typical."""
    lines = [f"{len(found.units)} drivers from their impedance in free air", "", *_rows(found)]
    for unit in filter(lambda unit: unit.refused, found.units):
        lines += ["", *wrap(f"REFUSED: {unit.name}: {unit.refused}", "  ", "")]
    if found.ranges:
        without = ", without the odd ones" if found.outliers else ""
        lines += ["", f"how far apart they lie{without}", *_ranges(found)]
    lines += _odd(found)
    if found.pairs:
        lines += ["", "pairs, best first", *_pairs(found)]
    if found.left_over is not None:
        lines += ["", f"left over: {found.units[found.left_over].name}"]
    if not found.complete:
        lines += ["", "pairs were searched from many beginnings; not every pairing was tried"]
    for text, of in _notes(found).items():
        lines += ["", *wrap(f"note on {wording.listed(of)}: {text}", "  ", "")]
    for text in (*([PAIRS] if found.pairs else ()), CAUTIONS):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join([*lines, *_block(typical_block(found), name)])


def made(unit: Measured, second: Second | None) -> str:
    more = f" and {second.sweep.name} with {amount(second)} {METHODS[second.method]}" if second else ""
    return f"from {unit.name}{more}"


def typical_block(found: Batch) -> list[str]:
    """The lines of the unit nearest to all others, with the spread of all but the odd ones: two standard deviations."""
    if found.typical is None:
        return []
    unit = found.units[found.typical]
    many = bool(found.ranges) and sum(each.refused is None for each in found.units) >= ENOUGH
    spread = {name: 2 * found.ranges[name].deviation for name in ("fs", "qts", "re")} if many else None
    return block(unit, f"from {unit.name}, the most typical of {len(found.units)}", spread)


def kit_file(lines: Sequence[str]) -> str:
    """A file that holds one driver: `swap --with` takes it, and it goes under a name in `drivers:`."""
    told = "# one driver: `swap --with` takes this file; in a kit it goes under drivers: and a name"
    return "\n".join([lines[0], told, *lines[1:], ""])


def _block(lines: Sequence[str], name: str) -> list[str]:
    if not lines:
        return []
    return ["", "for the kit file:", "", "drivers:", f"  {name}:", *(f"    {line}" for line in lines)]


def _sweep(unit: Measured) -> str:
    sweep = unit.sweep
    low, high = (wording.hertz(float(f)) for f in (sweep.frequency[0], sweep.frequency[-1]))
    phase = "without phase" if sweep.phase is None else "with phase"
    kept = ""
    if unit.fit is not None:
        kept = f"; the model is {_percent(unit.fit.residual_rms)} rms off it"
    return f"{sweep.frequency.size} points from {low} to {high}, {phase}{kept}"


def amount(second: Second) -> str:
    """The mass or the volume, as it is typed."""
    if second.method == "added_mass":
        return f"{plain(second.amount * 1e3)} g"
    return f"{plain(second.amount * 1e3)} L"


def short(unit: Measured) -> str:
    """The file's own name, cut at its beginning: files of a batch differ at their end."""
    name = PurePath(unit.name).name
    return name if len(name) <= LONGEST else f"..{name[2 - LONGEST :]}"


def _percent(ratio: float, digits: int = 2) -> str:
    return f"{plain(100 * ratio, digits)} %"


def _figures(unit: Measured, fit: Fit) -> list[str]:
    rows = []
    for name in FIGURES:
        each = unit.figures.get(name)
        if each is not None:
            rows.append([name, *value(name, each), WHAT[name]])
    lines = table(["", "value", "95 % interval", ""], rows, indent="  ")
    lacking = [name for name in FIGURES if name not in unit.figures]
    if lacking:
        lines += wrap(f"not known from this: {wording.listed(lacking)}", "  ", "  ")
    return lines


def value(name: str, each: Estimate) -> tuple[str, str]:
    """A figure and its interval, to as many digits as the interval gives a reason for."""
    if name in HENRIES:
        unit, factor = ("mH", 1e3) if each.value >= 1e-4 else ("uH", 1e6)
    else:
        _, unit, factor = FIGURES.get(name, ("", {"shunt_resistance": "ohm"}.get(name, ""), 1.0))
    here, low, high = (factor * number for number in (each.value, each.low, each.high))
    if low == high:
        return f"{plain(here)} {unit}".rstrip(), "as given"
    places = _places(here, high - low)
    told = f"{here:.{places}f} {unit}".rstrip()
    if not math.isfinite(high):
        return told, f"{low:.{places}f} or more" if low > 0 else "not bounded"
    return told, f"{low:.{places}f} to {high:.{places}f}"


def _places(here: float, width: float) -> int:
    """Two figures of half the interval, and at most five of the value."""
    most = 4 - math.floor(math.log10(abs(here))) if here else 4
    if not (math.isfinite(width) and width > 0):
        return max(0, most - 1)
    return max(0, min(most, 1 - math.floor(math.log10(width / 2))))


def _models(fit: Fit) -> list[str]:
    rows = []
    for each in fit.models:
        taken = "taken" if each.name == fit.coil_model else "possible" if each.supported else "not supported"
        off = _percent(each.residual_rms) if math.isfinite(each.residual_rms) else wording.NOTHING
        rows.append([each.name, COILS[each.name].words, off, taken])
    lines = table(["", "", "rms off", ""], rows, indent="  ")
    for each in fit.models:
        lines += wrap(f"{each.name}: {each.why}", "    ", "  ")
    return lines


def _coil(unit: Measured, fit: Fit) -> list[str]:
    names = [*COILS[fit.coil_model].keys, *(["creep"] if "creep" in unit.figures else [])]
    rows = [[name, *value(name, unit.figures[name]), WHAT[name]] for name in names]
    return ["", *table([fit.coil_model, "value", "95 % interval", ""], rows, indent="  ")]


def _next(unit: Measured, second: Second | None) -> Iterator[str]:
    """What to measure for the figures that are not known."""
    sd = area_of(unit)
    if second is None:
        fs = unit.figures["fs"].value
        asked = next_measurement(fs, sd)
        mass = f"about {_round(asked.mass * 1e3)} g by its size, " if asked.mass else ""
        volume = f"about {_litres(asked.volume)} by its size, " if asked.volume else ""
        yield (
            f"Next, for {wording.listed([name for name in FIGURES if name not in unit.figures and name != 'sd'])}: a"
            f" second sweep of the same driver, either with a known mass on the cone ({mass}half of mms: fs falls by"
            f" 18 %, to {_hertz(asked.falls_to)}; --added-mass), or on a closed box of known volume, nothing in it"
            f" ({volume}as large as vas: fs rises to {_hertz(asked.rises_to)}; --known-box). The mass lies close to the"
            " dust cap's edge, evenly round it, and does not buzz; the box is tight, and of its volume take off what"
            " the driver fills."
        )
    if sd is None:
        yield (
            "The moving area, sd, comes from --diameter: across the cone from the middle of the surround to the middle"
            " of the surround opposite."
        )


def _litres(volume: float) -> str:
    return f"{_round(volume * 1e3)} L" if volume >= 1e-4 else f"{_round(volume * 1e6)} mL"


def _round(number: float) -> str:
    return plain(number, 2) if number < 10 else plain(number, 1 if number < 20 else 2)


def _hertz(frequency: float) -> str:
    return f"{plain(frequency, 3)} Hz"


def _rows(found: Batch) -> list[str]:
    header = ["", "sweep", "re ohm", "fs Hz", "qms", "qes", "qts", "coil", "rms off", ""]
    rows = []
    for i, unit in enumerate(found.units):
        if unit.fit is None:
            rows.append([str(i + 1), short(unit), *[wording.NOTHING] * 7, "refused"])
            continue
        told = [value(name, unit.figures[name])[0].split(" ")[0] for name in ("re", "fs", "qms", "qes", "qts")]
        remark = "odd" if i in found.outliers else "typical" if i == found.typical else ""
        rows.append([str(i + 1), short(unit), *told, unit.fit.coil_model, _percent(unit.fit.residual_rms), remark])
    return table(header, rows, indent="  ")


def _ranges(found: Batch) -> list[str]:
    rows = []
    for name, each in found.ranges.items():
        unit, places = FIGURES[name][1], _places(each.median, 0.0)
        told = (f"{number:.{places}f} {unit}".rstrip() for number in (each.median, each.lowest, each.highest))
        rows.append([name, *told, f"{200 * each.deviation:.1f} %"])
    return table(["", "median", "lowest", "highest", "two standard deviations"], rows, indent="  ")


def _notes(found: Batch) -> dict[str, list[str]]:
    """Which units, by their number, each note is on."""
    every: dict[str, list[str]] = {}
    for i, unit in enumerate(found.units, 1):
        for text in notes(unit):
            every.setdefault(text, []).append(str(i))
    return every


def _odd(found: Batch) -> list[str]:
    count = sum(unit.refused is None for unit in found.units)
    if count < ENOUGH:
        return ["", *wrap(f"Odd ones are looked for among {ENOUGH} units or more.", "  ", "")]
    if not found.outliers:
        return ["", "no unit is odd"]
    lines = [""]
    for i, figures in found.outliers.items():
        told = ", ".join(f"{name} {100 * off:+.1f} % off the median" for name, off in figures.items())
        lines += wrap(f"odd: {i + 1}, {found.units[i].name}: {told}; measure it again before you judge it", "  ", "")
    return lines


def _pairs(found: Batch) -> list[str]:
    header = ["", "left", "right", "impedance rms", "fs", "qts", "re"]
    rows = []
    for pair in found.pairs:
        off = differences(pair)
        told = [f"{100 * off[name]:+.1f} %".replace("-0.0", "+0.0") for name in ("fs", "qts", "re")]
        curve = f"{100 * off['impedance']:.1f} %" if math.isfinite(off["impedance"]) else "no common band"
        names = (f"{i + 1}, {short(found.units[i])}" for i in (pair.first, pair.second))
        rows.append([pair.grade, *names, curve, *told])
    return table(header, rows, indent="  ")
