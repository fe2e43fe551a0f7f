"""The text of `limits` and `stress`: what gives first, and what the parts bear."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from system import wording
from system.ceilings import Ceilings
from system.distortion import AtLevel, Distortion
from system.kit import Kit
from system.limits import UPPER_SPEED, Ceiling, Limit, Limits, NotJudged
from system.moments import InTime
from system.sheets.tables import table, wrap
from system.sheets.texts import NOT_A_TEST, cabinet_text, heading, placement_text
from system.warming import Warm, Warming

TITLE = "What gives first: computed ceilings, not a test to run"
FAR = 4.0  # times full volume, beyond which a limit is not shown
ALIKE = 1e-3  # relative: such limits share a row
ROWS = 8  # of the table of distortion
SHOWN_LEVELS = (1, 3)  # of those computed: 12 and 0 dB below the rated volts
CURVES = ("loss", "offset", "second", "third")  # of a level of distortion, as shown

CAUTIONS = (
    NOT_A_TEST,
    "Connect and change parts only with the amplifier off and unplugged; the minus terminal of a bridged or class-D"
    " amplifier is not ground. Resistors get hot enough to burn, and to melt hot glue.",
)


def celsius(kelvin: float) -> str:
    return "burnt" if math.isinf(kelvin) else wording.degrees(kelvin)


# How a limit's own value reads, by its SI unit.
VALUES: Mapping[str, Callable[[float], str]] = {
    "m": wording.millimetres,
    "m/s": lambda value: f"{value:.3g} m/s",
    "K": celsius,
    "V": lambda value: f"{value:.4g} V",
    "A": lambda value: f"{value:.3g} A",
    "W": lambda value: f"{value:.3g} W",
}


def limits(kit: Kit, results: Sequence[Ceilings]) -> str:
    """A block for each variant: the most programme, every limit, the smallest by frequency, and what lies beyond."""
    lines = [*wrap(heading(kit), "  ", ""), TITLE]
    for result in results:
        variant = result.limits.variant
        lines += [
            "",
            f"{variant.name}: cabinet {cabinet_text(variant)}, {placement_text(variant.placement)};"
            f" {result.limits.distance:g} m",
        ]
        for text in (_most(result.limits), volume_text(result.limits)):
            lines += wrap(text, "  ")
        lines += _limits(result.limits)
        lines += _envelope(result.limits)
        for text in _beyond(result):
            lines += wrap(text, "    ", "  ")
        lines += _distortions(result.distortions)
        lines += wrap(f"not judged: {_not_judged(result.limits.not_judged)}", "    ", "  ")
    for text in CAUTIONS:
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join(lines)


def _most(found: Limits) -> str:
    most = found.ceiling
    stop = "the amplifier, which clips" if _clips(most) else f"the {most.limited_by.removeprefix('the ')}"
    heard = wording.sound(most.level, f" at {found.distance:g} m")
    return f"{most.signal}: at most {wording.drive(most.volts, most.load)}, {heard}; limited by {stop}"


def _clips(most: Ceiling) -> bool:
    return most.volts >= most.full * (1 - 1e-9)


def volume_text(found: Limits) -> str:
    """Whether the amplifier is too much: a place of the volume control, never a smaller amplifier."""
    most = found.ceiling
    full = f"full volume ({wording.volts_down(most.full)} rms, where its peaks clip)"
    if not found.exceeded:
        return (
            f"volume: the amplifier is not too much; up to {full} nothing that is judged gives, and beyond it only"
            " clips, which burns tweeters. More watts do no harm at the same volts"
        )
    under = 20 * math.log10(most.full / most.volts) if most.volts > 0 else math.inf
    return (
        f"volume: the amplifier is not too much, its full volume is: keep the {most.signal} at or below"
        f" {wording.volts_down(most.volts)} rms, {wording.decibels(under)} under {full}, and mark that place. The"
        " amplifier stays, since a smaller one clips sooner, and clipping burns tweeters"
    )


def _limits(found: Limits) -> list[str]:
    """Every limit that is near, the first to give first; like ones of several drivers in one row."""
    most, rows, far = found.ceiling, [], 0
    rated = next(limit.value for limit in found.limits if limit.kind == "amplifier_voltage")
    heard = most.signal == "programme"
    for like in _groups(sorted(found.limits, key=lambda limit: limit.programme)):
        limit = like[0]
        if limit.programme > FAR * most.full and limit.swept > rated:
            far += len(like)
            continue
        rows.append(
            [
                limit.phrase.format(_named([each.name for each in like])),
                VALUES[limit.unit](limit.value),
                *_drive(limit.programme, most.load),
                *(_drive(limit.swept, most.load)[:1] if heard else ()),
                wording.NOTHING if limit.swept_hz is None else f"{limit.swept_hz:.0f}",
            ]
        )
    header = ["limit", "stated", f"{most.signal} V", _into(most), *(("swept sine V",) if heard else ()), "at Hz"]
    about = "V rms and W, both rounded down."
    high_pass = found.variant.receiver_high_pass
    if high_pass is not None:
        about += (
            f" The receiver's high-pass ({high_pass.corner:g} Hz, order {high_pass.order}) counts, and the volts are"
            " those there would be without it: a volume setting."
        )
    if far:
        about += f" {far} more lie beyond {FAR:g} times full volume; --json has them."
    return [*table(header, rows, indent="  "), *wrap(about, "  ")]


def _named(names: Sequence[str]) -> str:
    return " and ".join(names) if len(names) < 3 else f"{names[0]} and {len(names) - 1} more"


def _into(most: Ceiling) -> str:
    return f"W into {most.load:g} ohm"


def _groups(found: Sequence[Limit]) -> Iterator[list[Limit]]:
    """Limits that read alike but for their names, together."""
    left = list(found)
    while left:
        first = left.pop(0)
        like = [first, *(each for each in left if _alike(first, each))]
        left = [each for each in left if each not in like]
        yield like


def _alike(one: Limit, other: Limit) -> bool:
    if (one.phrase, one.value) != (other.phrase, other.value):
        return False
    pairs = ((one.programme, other.programme), (one.swept, other.swept))
    return all(a == b or abs(a - b) <= ALIKE * a for a, b in pairs)


def _drive(volts: float, load: float) -> list[str]:
    """Two cells: volts rms and watts into the rated load, both rounded down."""
    if math.isinf(volts):
        return [wording.NOTHING, wording.NOTHING]
    return [wording.volts_down(volts).removesuffix(" V"), _watts_down(volts**2 / load)]


def _watts_down(watts: float) -> str:
    digits = 0 if watts >= 10 else 1
    return f"{math.floor(watts * 10**digits + 1e-9) / 10**digits:.{digits}f}"


def _envelope(found: Limits) -> list[str]:
    """A row a frequency: the smallest limit of a sine at the amplifier's output."""
    most, curve = found.ceiling, found.envelope
    rows = [
        [f"{hz:.3g}" if hz < 1000 else f"{hz:.0f}", *_drive(volts, most.load), wording.bare_sound(level), words]
        for hz, volts, level, words in zip(found.frequency, curve.volts, curve.level, curve.limited_by, strict=True)
    ]
    lines = wrap("the most of a sine at the amplifier's output, and what gives there:", "  ")
    return [*lines, *table(["Hz", "V rms", _into(most), "dB", "limited by"], rows, indent="  ")]


def amplifier_text(result: Ceilings) -> str:
    """What the variant asks of the amplifier at its rated volts, and what its output resistance does to the sound."""
    load, figures = result.amplifier, result.prediction.summary
    if load.current is None:
        return "the amplifier gives no current"
    low, high = load.shift
    return (
        f"the amplifier gives at most {load.current:.1f} A peak, at {wording.hertz(load.frequency)}, on a sine of"
        f" {result.rated_volts:.1f} V; its load falls to {wording.ohms(figures.lowest_impedance_ohm)}, and its output"
        f" resistance moves the level by {_signed(low, 1)} to {_signed(high, 1)} dB"
    )


def _beyond(result: Ceilings) -> Iterator[str]:
    """A line each: the amplifier's current, warm coils, and ports that are heard and lose level."""
    yield amplifier_text(result)
    if result.warming is not None:
        low, high = float(result.warming.change.min()), float(result.warming.change.max())
        yield f"{warm_text(result.warming)}; the response is then {low:+.1f} to {high:+.1f} dB from that predicted"
    if result.in_time is not None:
        yield in_time_text(result.in_time)
    for name, lost in result.port_losses.items():
        at = int(np.argmax(lost))
        if lost[at] > 0:
            limit = next(each.value for each in result.limits.limits if each.name == name)
            hertz = wording.hertz(float(result.limits.frequency[at]))
            yield (
                f"{name}: beyond {limit:.3g} m/s its air may be heard, beyond {UPPER_SPEED * limit:.3g} m/s plainly;"
                f" on a sine of {result.rated_volts:.1f} V it loses about {lost[at]:.1f} dB of its own level at {hertz}"
                " (an estimate: half of each dB beyond its limit)"
            )


def in_time_text(found: InTime) -> str:
    """How far the cones go in a minute of the programme, and for how much of it beyond their limits."""
    told = []
    for name, each in found.drivers.items():
        beyond = "" if each.beyond_linear is None else f", {_share(each.beyond_linear)} of the time beyond linear"
        damaging = each.beyond_damage is not None and each.beyond_damage > 0
        worse = f", {_share(each.beyond_damage or 0.0)} beyond damage" if damaging else ""
        crest = "" if each.crest is None else f" ({each.crest:.1f} times its rms)"
        told.append(f"{name} {each.peak * 1e3:.1f} mm{crest}{beyond}{worse}")
    drawn = f"{found.seconds:.0f} s of the programme at full volume ({wording.volts_down(found.volts)} rms"
    return f"in time, {drawn}, seed {found.seed}) move at most: {'; '.join(told)}"


def _share(share: float) -> str:
    return "none" if share == 0 else f"{100 * share:.2g} %"


def warm_text(result: Warming) -> str:
    coils = "; ".join(
        f"{' and '.join(names)} {celsius(coil.settled)}"
        + ("" if coil.loss is None else f", {coil.loss:.1f} dB lost in midband")
        + f" (stands {celsius(coil.highest)})"
        for coil, names in _warm_groups(result.coils)
    )
    return f"after hours at full volume ({wording.volts_down(result.volts)} rms) voice coils are at: {coils}"


def _warm_groups(coils: Mapping[str, Warm]) -> list[tuple[Warm, list[str]]]:
    """Coils that read alike, together."""
    groups: dict[tuple[str, str], tuple[Warm, list[str]]] = {}
    for name, coil in coils.items():
        groups.setdefault((celsius(coil.settled), celsius(coil.highest)), (coil, []))[1].append(name)
    return list(groups.values())


def _not_judged(items: Sequence[NotJudged]) -> str:
    return "; ".join(f"{item.what} ({item.why})" for item in items) or "nothing that a kit can state"


def _distortions(found: Mapping[str, Distortion]) -> list[str]:
    """A table for each driver with curves, like drivers together; or that there is none."""
    if not found:
        return wrap("beyond small signals: small-signal model only, no driver here has large_signal", "    ", "  ")
    lines = []
    for each, names in alike(found):
        levels = [each.levels[i] for i in SHOWN_LEVELS]
        lines += wrap(
            f"beyond small signals, {' and '.join(names)}: volts of a sine at which a tenth of the sound close to the"
            " cone is distortion; then, at two drives, what is lost of the tone (dB), the cone's offset outward (mm),"
            f" and second and third harmonic (%). A dash: not up to {levels[-1].volts:.1f} V, or no steady state;"
            " --json says which",
            "    ", "  ",
        )  # fmt: skip
        header = ["Hz", "10 % at V"]
        for level in levels:
            header += [f"{level.volts:.1f} V: lost", "offset", "2nd", "3rd"]
        step = max(1, -(-each.frequency.size // ROWS))
        rows = [
            [f"{each.frequency[i]:.0f}", _tenth(each, i), *(cell for level in levels for cell in _at(level, i))]
            for i in range(0, each.frequency.size, step)
        ]
        lines += table(header, rows, indent="  ")
    return lines


def alike(found: Mapping[str, Distortion]) -> list[tuple[Distortion, list[str]]]:
    """The distortions that differ, each with the names of the drivers for whom it reads the same."""
    groups: list[tuple[Distortion, list[str]]] = []
    for name, each in found.items():
        like = next((names for other, names in groups if _reads_alike(other, each)), None)
        if like is None:
            groups.append((each, [name]))
        else:
            like.append(name)
    return groups


def _reads_alike(one: Distortion, other: Distortion) -> bool:
    curves = [(one.volts, other.volts)]
    curves += [(getattr(a, k), getattr(b, k)) for a, b in zip(one.levels, other.levels, strict=True) for k in CURVES]
    return all(np.allclose(a, b, rtol=1e-3, atol=1e-6, equal_nan=True) for a, b in curves)


def _tenth(each: Distortion, i: int) -> str:
    volts = float(each.volts[i])
    return wording.NOTHING if math.isnan(volts) else wording.volts_down(volts).removesuffix(" V")


def _signed(value: float, digits: int) -> str:
    """With its sign, nothing as plain zero."""
    rounded = round(float(value), digits)
    return f"{rounded:+.{digits}f}" if rounded else f"{0.0:.{digits}f}"


def _at(level: AtLevel, i: int) -> list[str]:
    if math.isnan(level.loss[i]):
        return [wording.NOTHING] * 4
    return [
        _signed(level.loss[i], 1),
        _signed(level.offset[i] * 1e3, 2),
        f"{level.second[i] * 100:.1f}",
        f"{level.third[i] * 100:.1f}",
    ]
