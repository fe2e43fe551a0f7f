"""The charts of a report, by the question each answers, and the tables in which its curves are read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from system import grid, wording
from system.bench.sweeps import Sweep
from system.report import FREQUENCY, READ, Account, Report
from system.sheets.around_texts import side
from system.sheets.circumstances import heard, heard_all, seen
from system.sheets.pages.blocks import Beside, Block, Chart, Grid, Heading, Points, Text
from system.sheets.pages.charts import LINES
from system.sheets.pictures import Graph, Line
from system.sheets.texts import NOT_A_TEST, speed_text
from system.summary import level

Floats = NDArray[np.float64]
MOVING = 1000.0  # Hz, above which no cone moves far enough to be seen
ABREAST = 6  # columns of a table of which two halves go beside each other
SAME = 0.15  # dB, the width of a line: sides nearer than this are told as one
THIRDS = tuple(f"{f:.3g}" if f < 1000 else f"{f:.0f}" for f in grid.THIRD_OCTAVES)


def questions(report: Report) -> Iterator[Block]:
    """What all variants do, each question once."""
    for question in QUESTIONS:
        yield from question(report)


def _how_low(report: Report) -> Iterator[Block]:
    first = report.accounts[0].prediction
    sentence = f"{heard_all([a.variant for a in report.accounts], first.volts)}, sine by sine"
    curves = {a.variant.name: level(a.prediction.pressure) for a in report.accounts}
    lines = dict(curves)
    if len(report.accounts) == 1:  # room for what it is made of
        lines = {"together": next(iter(curves.values()))}
        lines |= {name: level(driver.pressure) for name, driver in first.drivers.items()}
        lines |= {name: level(opening.pressure) for name, opening in first.openings.items()}
    told = "; ".join(f"{a.variant.name} {_low_end(a)}" for a in report.accounts)
    graph = _graph("How low and how even?", f"Level of {sentence}; {told}", "level", lines)
    yield Heading(graph.question)
    yield Text(f"{graph.sentence}. 25 dB are as long as a decade (IEC 60263).")
    yield from _charts("level", graph, reads=True)
    yield from _table("Level, dB", {name: _numbers(values, 1) for name, values in curves.items()})


def _low_end(account: Account) -> str:
    figures = account.prediction.summary
    return f"-3 dB {wording.hertz(figures.minus_3_db_hz)}, -10 dB {wording.hertz(figures.minus_10_db_hz)}"


def _woofers(report: Report) -> Iterator[Block]:
    rated = report.kit.amplifier.rated_volts
    question = "Is the woofer safe?"
    curves: dict[str, Floats] = {}
    told = []
    limits: dict[tuple[str, float], None] = {}
    for account in report.accounts:
        result = account.prediction
        moving = {n: result.excursion_at(n, rated) for n, d in result.drivers.items() if d.excursion is not None}
        if moving:
            name = max(moving, key=lambda n: round(float(moving[n].max()), 9))  # the first of equal ones
            curves[account.variant.name] = moving[name] * 1e3
            told.append(f"{account.variant.name} {name}")
            data = account.variant.hookups[name].driver
            for word, limit in (("linear", data.linear_excursion), ("damage", data.damage_excursion)):
                if limit is not None:
                    limits[f"{word} limit of {data.name}", limit * 1e3] = None
    if not curves:
        yield Heading(question)
        yield Text("Not known: its drivers are known by their tables only.")
        return
    what = f"how far the cone that goes farthest moves each way ({', '.join(told)})"
    drive = f"on a sine of {rated:.1f} V, the amplifier's rated volts, a receiver's high-pass not counted"
    below = int(np.searchsorted(FREQUENCY, MOVING * 1.01))
    shown = {name: values[:below] for name, values in curves.items()}
    graph = _graph(question, seen(list(curves), what, drive), "excursion", shown, tuple(limits))
    yield Heading(question)
    yield Text(f"{graph.sentence}. {NOT_A_TEST}")
    yield from _charts("excursion", graph)
    rows = int(np.searchsorted(grid.THIRD_OCTAVES, MOVING * 1.01))
    yield from _table("Excursion, mm", {name: _numbers(v, 2) for name, v in curves.items()}, rows)
    yield from _openings(report)


def _openings(report: Report) -> Iterator[Block]:
    items = tuple(
        f"{account.variant.name}, {name}: {speed_text(opening.limit, report.kit.amplifier)}"
        for account in report.accounts
        for name, opening in account.prediction.openings.items()
        if opening.limit is not None
    )
    if items:
        yield Points(items)


def _how_loud(report: Report) -> Iterator[Block]:
    curves = {a.variant.name: a.limits.envelope.level for a in report.accounts}
    where = heard_all([a.variant for a in report.accounts], "on a sine up to its first limit")
    sentence = f"Highest level of {where}, cold and small-signal"
    graph = _graph("How loud, and what gives?", sentence, "level", curves)
    yield Heading(graph.question)
    yield Text(f"{graph.sentence}; {_on_the_signal(report)}.")
    yield from _charts("loudest", graph)
    rows = tuple((a.variant.name, "; ".join(_spans(a))) for a in report.accounts)
    yield Grid(("variant", "what gives first, from the lowest frequency up"), rows, "What gives first", heads=True)
    columns = {}
    for account in report.accounts:
        found = account.limits.envelope
        columns[f"{account.variant.name} V"] = _numbers(np.floor(found.volts * 10 + 1e-9) / 10, 1)
        columns[f"{account.variant.name} dB"] = _numbers(found.level, 0)
    yield from _table("Volts rms, rounded down, and level", columns)


def _on_the_signal(report: Report) -> str:
    told = []
    for account in report.accounts:
        most = account.limits.ceiling
        heard, drive = wording.sound(most.level), wording.drive(most.volts, most.load)
        told.append(f"{account.variant.name} {heard} at {drive}, limited by {most.limited_by}")
    return f"on the {report.accounts[0].limits.ceiling.signal}: {'; '.join(told)}"


def _spans(account: Account) -> Iterator[str]:
    """Stretches of third octaves in which the same gives first: `20 Hz to 40 Hz the amplifier's volts`."""
    first = [account.limits.envelope.limited_by[i] for i in READ]
    for words, group in groupby(range(READ.size), lambda i: first[i]):
        where = [float(grid.THIRD_OCTAVES[i]) for i in group]
        at = wording.hertz(where[0])
        yield f"{at if len(where) == 1 else f'{at} to {wording.hertz(where[-1])}'} {words}"


def _amplifier(report: Report) -> Iterator[Block]:
    question = "Is the amplifier safe?"
    yield Heading(question)
    drawing = [a for a in report.accounts if a.prediction.summary.lowest_impedance_ohm is not None]
    if not drawing:
        yield Text("No current flows: nothing joins the two input points.")
        return
    told = [
        f"{a.variant.name} {wording.ohms(a.prediction.summary.lowest_impedance_ohm)} at"
        f" {wording.hertz(a.prediction.summary.lowest_impedance_hz)}"
        for a in drawing
    ]
    allowed = report.kit.amplifier.lowest_load
    stands = f"it stands {allowed:g} ohm" if allowed else "the kit does not say what it stands"
    curves = {a.variant.name: np.abs(a.prediction.impedance) for a in drawing}
    where = seen(list(curves), "the impedance that it sees, cable included")
    sentence = f"{where}; lowest: {', '.join(told)}; {stands}"
    yield Text(f"{sentence}.")
    if report.measured is not None:
        yield Text(f"Measured on this unit: {report.measured.name}; kitwright verify judges it.", strong=True)
        curves["measured"] = _between(report.measured)
    limits = ((f"the amplifier stands {allowed:g} ohm", allowed),) if allowed else ()
    yield from _charts("impedance", _graph(question, sentence, "impedance", curves, limits))
    yield from _table("Impedance, ohm", {name: _numbers(values, 1) for name, values in curves.items()})


def _between(measured: Sweep) -> Floats:
    """The sweep at the frequencies of the curves, its own joined evenly in logarithm; NaN beyond its ends."""
    x = np.log(measured.frequency)
    ohms = np.interp(np.log(FREQUENCY), x, np.log(np.maximum(measured.magnitude, 1e-3)), left=np.nan, right=np.nan)
    return np.asarray(np.exp(ohms))


QUESTIONS: Sequence[Callable[[Report], Iterator[Block]]] = (_how_low, _woofers, _how_loud, _amplifier)


def seats(account: Account, number: int) -> Iterator[Block]:
    """The middle and the sides, as the variant stands."""
    seating = account.seating
    if seating is None:
        yield Text("The kit names no seats for this variant; kitwright predict --around tells directions.")
        return
    curves = {"in the middle": level(seating.middle)}
    sides = {side(seat): level(seat.pressure) for seat in seating.seats}
    if len(sides) == 2 and np.max(np.abs(np.subtract(*sides.values()))) <= SAME:
        both, curve = next(iter(sides.items()))
        sides = {f"{both.rpartition(' ')[0]} to a side": curve}
    curves |= sides
    falls = [seat.fall for seat in seating.seats if seat.fall]
    marks: Mapping[str, list[float]] = {
        "woofers -3 dB": [fall.minus_3 for fall in falls if fall.minus_3 is not None],
        "woofers -6 dB": [fall.minus_6 for fall in falls if fall.minus_6 is not None],
        "their null": [fall.null for fall in falls if fall.null is not None],
    }
    first = {label: min(places) for label, places in marks.items() if places}
    told = "; ".join(f"{name} {_mean_text(values)}" for name, values in curves.items())
    name = account.variant.name
    where = heard(account.variant, account.prediction.volts, seating.distance)
    shown = {label: values[_HEARD:] for label, values in curves.items()}
    graph = _graph(f"Where may people sit? {name}", f"{where}; {told}", "level_near", shown, marks=first, start=_HEARD)
    yield from _charts(f"seats-{number}", graph)
    table = {label: _numbers(values, 1) for label, values in curves.items()}
    yield from _table(f"Level at the seats of {name}, dB", table)


_HEARD = int(np.searchsorted(FREQUENCY, 99.0))


def _mean_text(values: Floats) -> str:
    band = (FREQUENCY >= 300) & (FREQUENCY <= 3000)
    return f"{float(np.mean(values[band])):.1f} dB on the mean of 300 Hz to 3 kHz"


def _numbers(values: Floats, digits: int) -> list[str]:
    """At the third octaves."""
    return [f"{value:.{digits}f}" if np.isfinite(value) else wording.NOTHING for value in values[READ]]


def _graph(
    question: str,
    sentence: str,
    kind: str,
    curves: Mapping[str, Floats],
    limits: tuple[tuple[str, float], ...] = (),
    marks: Mapping[str, float] | None = None,
    start: int = 0,
) -> Graph:
    """Of curves over `FREQUENCY` from the place `start` on."""
    x = FREQUENCY[start : start + next(iter(curves.values())).size]
    return Graph(question, sentence, kind, x, [Line(*each) for each in curves.items()], limits, marks=marks or {})


def _charts(name: str, graph: Graph, reads: bool = False) -> Iterator[Chart]:
    """One chart, or as many as it takes to tell its lines apart; only the first may be read along."""
    for number, first in enumerate(range(0, len(graph.lines), LINES)):
        some = replace(graph, lines=graph.lines[first : first + LINES])
        yield Chart(f"{name}-{number}", some, reads=reads and number == 0)


def _table(name: str, columns: Mapping[str, Sequence[str]], rows: int = len(THIRDS)) -> Iterator[Block]:
    """A curve's readings at third octaves; in two halves where there is room beside each other."""
    yield Text(f"{name}, at third octaves:")
    header = ("Hz", *columns)
    lines = list(zip(THIRDS[:rows], *(column[:rows] for column in columns.values()), strict=True))
    if len(header) > ABREAST:
        yield Grid(header, tuple(lines), name, heads=True, dense=True)
        return
    half = -(-len(lines) // 2)
    lower, upper = (
        Grid(header, tuple(some), f"{name}, {part}", heads=True, dense=True)
        for some, part in ((lines[:half], "lower half"), (lines[half:], "upper half"))
    )
    yield Beside((lower,), (upper,))
