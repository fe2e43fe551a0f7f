"""The text of `spread`: how many copies stay inside, how far apart they come out, and what decides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from system import wording
from system.kit import Kit
from system.shares import Share
from system.sheets.tables import table, wrap
from system.sheets.texts import cabinet_text, heading, placement_text
from system.spread import Edge, Influence, Kept, Spread

SHOWN_HZ = (31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000)
LAWS = {
    "uniform": "anywhere within their tolerances alike",
    "normal": "normal within their tolerances, which are two standard deviations",
}
READING = (
    "Bands: a sine of 2.83 V, not smoothed; the differences (dB) below which so many of the copies lie; one standard"
    " deviation (dB) of these copies, and as the sensitivities expect it. What matters: the share of the level's"
    " variance that each tolerance makes, and what it does alone, at its end, to level and impedance, where it does"
    " most inside the window's band; last, to the level anywhere from 20 Hz up. Exact derivatives at the nominal"
    " values."
)
ABOUT = (
    "Drawn apart for every copy: each part, each member of a group, and of each driver fs, qts (qms and qes alike), re,"
    " the level of its response table and its linear excursion. Held: losses of parts, so the dc resistance of coils;"
    " the inductance of voice coils, mms and sd; cabinets. Copies of one driver are taken as strangers, while those of"
    " one batch lie closer together."
)
ASSUMED = (
    "Assumed where the kit gives none (common practice, no source): 10 % for capacitors, 5 % for resistors and coils;"
    " for drivers 10 % of fs, qts and linear excursion, 4 % of re, 0.5 dB of level."
)


def spread(kit: Kit, results: Sequence[Spread], seed: int, law: str, at_least: float) -> str:
    """For each variant what copies keep, their bands and what decides; then whether enough are inside."""
    copies = results[0].inside.copies
    lines = [
        *wrap(heading(kit), "  ", ""),
        *wrap(f"How far apart copies come out: {copies} copies, seed {seed}, values {LAWS[law]}", "  ", ""),
    ]
    for result in results:
        variant = result.variant
        where = f"{cabinet_text(variant)}, {placement_text(variant.placement)}; {variant.listening.distance:g} m"
        lines += ["", *wrap(f"{variant.name}: cabinet {where}", "  ", "")]
        for text in _verdict(kit, result, at_least):
            lines += wrap(text, "    ", "  ")
        lines += _shares(kit, result)
        for text in _remarks(result):
            lines += wrap(text, "    ", "  ")
        lines += ["", "  how far apart (level in dB, impedance in ohm)", *_bands(result)]
        if result.influences:
            lines += ["", "  what matters most", *_influences(result.influences)]
    assumed = any(result.assumed or result.drivers_assumed for result in results)
    for text in (READING, ABOUT, *([ASSUMED] if assumed else [])):
        lines += ["", *wrap(text, "  ", "")]
    return "\n".join(lines)


def percent(share: float) -> str:
    """To 0.1 %, without calling all or none what is not."""
    text = f"{100 * share:.1f}"
    if text == "100.0" and share < 1:
        return ">99.9"
    return "<0.1" if text == "0.0" and share > 0 else text


def _verdict(kit: Kit, result: Spread, at_least: float) -> Iterator[str]:
    share = result.inside
    low, high = share.interval
    word = "enough" if share.value >= at_least else "NOT ENOUGH"
    yield (
        f"alike and within all limits: {percent(share.value)} % of copies"
        f" ({percent(low)} to {percent(high)} % with 95 %); {word}, at least {percent(at_least)} % is asked for"
    )
    if result.nothing_drawn:
        yield "nothing is drawn: every tolerance is 0, so all copies are the kit itself"


def _shares(kit: Kit, result: Spread) -> list[str]:
    """What each condition leaves of the copies."""
    spec, window = kit.spread, kit.window
    band = f"{wording.hertz(window.lowest)} to {wording.hertz(window.highest)}"
    rows = [
        _row(f"level within {spec.level:g} dB, {band}", result.level_alike, _leave(result.level_edge)),
        _row(f"impedance within {100 * spec.impedance:g} %, {band}", result.impedance_alike,
             _leave(result.impedance_edge)),
        _row("both, with the drivers as their data say", result.of_parts, ""),
        *(_row(_limit(each), each.share, _reached(each)) for each in result.limits),
    ]  # fmt: skip
    return table(["copies that keep", "%", "with 95 %", ""], rows, indent="  ")


def _row(what: str, share: Share, more: str) -> list[str]:
    low, high = share.interval
    return [what, percent(share.value), f"{percent(low)} to {percent(high)}", more]


def _leave(edge: Edge | None) -> str:
    return f"most leave at {wording.hertz(edge.frequency)}, {percent(edge.share)} %" if edge else ""


def _limit(each: Kept) -> str:
    if each.unit == "m":
        return f"{each.what} up to {wording.millimetres(each.value)}"
    return f"{each.what} from {each.value:g} {each.unit}"


def _reached(each: Kept) -> str:
    """As drawn, and nine copies of ten."""
    scale, digits = (1e3, 1) if each.unit == "m" else (1.0, 2)
    values = (each.nominal, each.quantiles["p5"], each.quantiles["p95"])
    drawn, low, high = (f"{scale * value:.{digits}f}" for value in values)
    return f"drawn {drawn}, copies {low} to {high}"


def _remarks(result: Spread) -> Iterator[str]:
    lost = [each.what for each in result.limits if not each.nominal_keeps]
    if lost:
        yield f"the kit as it is drawn does not keep: {', '.join(lost)}; no spread makes that better"
    yield "not judged: " + ", ".join(f"{what} ({why})" for what, why in result.not_judged)
    given = [*result.assumed, *_by_driver(result.drivers_assumed)]
    if given:
        yield f"tolerances assumed: {', '.join(given)}"


def _by_driver(names: Sequence[str]) -> list[str]:
    """`woofer_a (fs, qts)` from `woofer_a.fs` and `woofer_a.qts`."""
    figures: dict[str, list[str]] = {}
    for name in names:
        driver, figure = name.rsplit(".", 1)
        figures.setdefault(driver, []).append(figure.replace("_", " "))
    return [f"{driver} ({', '.join(each)})" for driver, each in figures.items()]


def _bands(result: Spread) -> list[str]:
    header = ["Hz", "dB", "lowest", "5 %", "25 %", "50 %", "75 %", "95 %", "highest", "dev.", "exp.", "ohm", "5 %",
              "95 %"]  # fmt: skip
    rows = []
    for hertz in SHOWN_HZ:
        i = int(np.argmin(np.abs(np.log(result.frequency / hertz))))
        off = [f"{values[i]:+.2f}" for values in result.difference.quantiles.values()]
        ohms = result.impedance
        rows.append(
            [
                f"{result.frequency[i]:.0f}",
                f"{result.level.nominal[i]:.1f}",
                *(text.replace("-0.00", "0.00").replace("+0.00", "0.00") for text in off),
                f"{result.deviation[i]:.2f}",
                f"{result.expected[i]:.2f}",
                *(wording.tenths(values[i]) for values in (ohms.nominal, ohms.quantiles["p5"], ohms.quantiles["p95"])),
            ]
        )
    return table(header, rows, indent="  ")


def _influences(influences: Sequence[Influence]) -> list[str]:
    header = ["of", "tolerance", "share %", "dB", "at", "ohm", "at", "anywhere dB", "at"]
    rows = [
        [
            each.of,
            _tolerance(each),
            percent(each.share_of_variance),
            f"{each.level:.2f}",
            wording.hertz(each.level_hz),
            *((f"{each.impedance:.2f}", wording.hertz(each.impedance_hz)) if each.impedance > 0 else ("-", "-")),
            f"{each.anywhere:.2f}",
            wording.hertz(each.anywhere_hz),
        ]
        for each in influences
    ]
    return table(header, rows, indent="  ")


def _tolerance(each: Influence) -> str:
    size = f"{each.tolerance:g} dB" if each.of.endswith(".level") else f"{100 * each.tolerance:.3g} %"
    return f"{size} assumed" if each.assumed else size
