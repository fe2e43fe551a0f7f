"""What the pictures show: each question a person asks of a kit, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.along import LinePressure
from system.ceilings import Ceilings
from system.compare import Comparison
from system.filling import Band
from system.kit import Kit, RadiatorSpec
from system.predict import Prediction
from system.protect import Verdict
from system.sheets import limit_graphs
from system.sheets.circumstances import heard, heard_all, seen
from system.sheets.limit_graphs import stress
from system.sheets.pictures import joined
from system.sheets.plots import Graph, Line, Shade
from system.sheets.protect_graphs import protection
from system.sheets.step_graphs import step
from system.sheets.texts import cabinet_text, placement_text, polarity_text
from system.sheets.timing_graphs import arrival, impedance_phase, phase
from system.summary import level

Floats = NDArray[np.float64]

__all__ = ["comparison", "limits", "predictions", "protection", "stress"]

MOVING = 1000.0  # Hz, top of the graphs of excursion and air speed
HANDOVER = 200.0  # Hz, bottom of the graph of a tweeter both ways round
LINE, HAIR = 0.15, 0.004  # dB and share of the largest: curves nearer than this are drawn as one
ORDINALS = ("first", "second", "third")


def _setting(kit: Kit, result: Prediction) -> str:
    variant = result.variant
    return (
        f"{kit.name}, {variant.name} ({cabinet_text(variant)}, {placement_text(variant.placement)}):"
        f" {result.volts:g} V, {result.distance:g} m, not smoothed"
    )


def _moved(result: Prediction, rated: float) -> str:
    return seen([result.variant.name], "one-way peak", _rated(rated))


def _rated(volts: float) -> str:
    return f"on a sine of {volts:.1f} V, the amplifier's rated volts"


def _as_one(lines: Sequence[Line]) -> list[Line]:
    """What moves alike is one line."""
    return joined(lines, HAIR * max(float(np.nanmax(line.values)) for line in lines))


def moving(frequency: Floats) -> NDArray[np.bool_]:
    """The part of a grid in which cones and port air move far enough to be seen; all of it where that is nothing."""
    low = frequency <= MOVING
    return low if np.count_nonzero(low) > 1 else np.ones_like(low)


def predictions(kit: Kit, results: Sequence[Prediction]) -> list[Graph]:
    """For each variant: level with its components, what moves at rated volts, inside its lines, impedance, timing."""
    return [graph for result in results for question in QUESTIONS for graph in question(kit, result)]


def _how_low(kit: Kit, result: Prediction) -> Iterator[Graph]:
    figures = result.summary
    parts = [Line(n, level(driver.pressure)) for n, driver in result.drivers.items()]
    parts += [Line(n, level(opening.pressure)) for n, opening in result.openings.items()]
    corners = {"-3 dB": figures.minus_3_db_hz, "-10 dB": figures.minus_10_db_hz}
    marks = {label: hertz for label, hertz in corners.items() if hertz is not None}
    together = Line("together", level(result.pressure))
    filling = result.detail.filling if result.detail else None
    shade = _filling_shade(filling.band) if filling else None
    lines = joined([together, *parts], LINE, deep=60.0)
    yield Graph(
        "How low and how even?", _setting(kit, result), "level", result.frequency, lines, marks=marks, shade=shade
    )


def _filling_shade(band: Band) -> Shade:
    label = f"shaded: thinnest to densest filling, up to {wording.decibels(band.widest)}"
    return Shade(label, band.lowest, band.highest, band.widest_at)


def _turned_round(kit: Kit, result: Prediction) -> Iterator[Graph]:
    for polarity in result.detail.polarities if result.detail else ():
        shown = result.frequency >= HANDOVER
        if np.count_nonzero(shown) > 1:
            yield Graph(
                f"Is {polarity.driver} the right way round?",
                f"{heard(result.variant, result.volts)}; {polarity_text(polarity)}",
                "level_near",
                result.frequency[shown],
                [
                    Line("as wired", level(result.pressure[shown])),
                    Line(f"{polarity.driver} turned", level(polarity.turned[shown])),
                ],
                marks={"takes over": polarity.crossover},
            )


def _cones(kit: Kit, result: Prediction) -> Iterator[Graph]:
    low, rated = moving(result.frequency), kit.amplifier.rated_volts
    cones = [n for n, driver in result.drivers.items() if driver.excursion is not None]
    if cones:
        lines = [Line(n, result.excursion_at(n, rated)[low] * 1e3) for n in cones]
        sentence = _moved(result, rated)
        limits = excursion_limits(result, cones)
        yield Graph("Is the woofer safe?", sentence, "excursion", result.frequency[low], _as_one(lines), limits)


def _radiators(kit: Kit, result: Prediction) -> Iterator[Graph]:
    low, rated = moving(result.frequency), kit.amplifier.rated_volts
    specs = {n: opening.spec for n, opening in result.openings.items() if isinstance(opening.spec, RadiatorSpec)}
    if specs:
        lines = [Line(n, result.radiator_excursion_at(n, rated)[low] * 1e3) for n in specs]
        sentence = _moved(result, rated)
        limits = [(f"linear limit of {n}", s.linear_excursion * 1e3) for n, s in specs.items() if s.linear_excursion]
        limits += [(f"damage limit of {n}", s.damage_excursion * 1e3) for n, s in specs.items() if s.damage_excursion]
        yield Graph("Is the radiator safe?", sentence, "excursion", result.frequency[low], _as_one(lines), limits)


def _air(kit: Kit, result: Prediction) -> Iterator[Graph]:
    low, rated = moving(result.frequency), kit.amplifier.rated_volts
    limits = {name: opening.limit for name, opening in result.openings.items() if opening.limit is not None}
    if limits:
        lines = [Line(n, result.speed_at(n, rated)[low]) for n in limits]
        reached = [
            f"{name} at its limit from {wording.volts_down(limit.volts)} on, at {wording.hertz(limit.frequency)}"
            for name, limit in limits.items()
            if limit.volts is not None and limit.volts <= rated
        ]
        told = seen([result.variant.name], "peak air speed", _rated(rated))
        sentence = "; ".join([told, *reached])
        marks: dict[float, list[str]] = {}
        for name, limit in limits.items():
            marks.setdefault(limit.speed, []).append(name)
        levels = [(f"limit of {', '.join(names)}, {speed:.3g} m/s", speed) for speed, names in marks.items()]
        yield Graph("Does the opening make noise?", sentence, "speed", result.frequency[low], _as_one(lines), levels)


def _inside_lines(kit: Kit, result: Prediction) -> Iterator[Graph]:
    for line in result.detail.lines if result.detail else ():
        if np.isfinite(line.levels).all():  # else nothing moves
            yield _inside(result.variant.name, line)


def _inside(variant: str, line: LinePressure) -> Graph:
    named = zip(ORDINALS, line.resonances, line.levels, strict=False)
    lines = [Line(f"{ordinal}, {wording.hertz(hertz)}", levels) for ordinal, hertz, levels in named]
    there: dict[float, list[str]] = {}
    for name, place in (*line.drivers.items(), *line.mouths.items()):
        there.setdefault(place, []).append(name)
    return Graph(
        "Where along the line is the pressure?",
        f"{seen([variant], 'level at the first resonances of the line, below the largest of each')}; dotted: drivers"
        " and mouths",
        "below_largest",
        line.places * 1e3,
        lines,
        marks={", ".join(names): place * 1e3 for place, names in there.items()},
        across="line",
    )


def _amplifier(kit: Kit, result: Prediction) -> Iterator[Graph]:
    figures = result.summary
    if figures.lowest_impedance_ohm is None:
        return  # no current, no impedance
    lowest = f"lowest {figures.lowest_impedance_ohm:.1f} ohm at {wording.hertz(figures.lowest_impedance_hz)}"
    allowed = kit.amplifier.lowest_load
    limits = [(f"the amplifier stands {allowed:g} ohm", allowed)] if allowed else []
    impedance = [Line("impedance", np.abs(result.impedance))]
    sentence = f"{seen([result.variant.name], 'the impedance that it sees, cable included')}; {lowest}"
    yield Graph("Is the amplifier safe?", sentence, "impedance", result.frequency, impedance, limits)


QUESTIONS: Sequence[Callable[[Kit, Prediction], Iterator[Graph]]] = (
    _how_low,
    _turned_round,
    step,
    _cones,
    _radiators,
    _air,
    _inside_lines,
    _amplifier,
    impedance_phase,
    phase,
    arrival,
)


def excursion_limits(result: Prediction, names: Iterable[str]) -> list[tuple[str, float]]:
    """What the drivers of these hookups stand, mm, each driver once."""
    limits: dict[str, float] = {}
    for name in names:
        data = result.variant.hookups[name].driver
        if data.linear_excursion is not None:
            limits[f"linear limit of {data.name}"] = data.linear_excursion * 1e3
        if data.damage_excursion is not None:
            limits[f"damage limit of {data.name}"] = data.damage_excursion * 1e3
    return list(limits.items())


def comparison(result: Comparison) -> list[Graph]:
    """Every variant's level and impedance laid over each other."""
    first = next(iter(result.predictions.values()))
    f = first.frequency
    where = heard_all([p.variant for p in result.predictions.values()], first.volts)
    levels = [Line(name, level(p.pressure)) for name, p in result.predictions.items()]
    drawing = {name: p for name, p in result.predictions.items() if p.summary.lowest_impedance_ohm is not None}
    impedances = [Line(name, np.abs(p.impedance)) for name, p in drawing.items()]
    graphs = [Graph("How low and how even?", where, "level", f, levels)]
    if impedances:
        sentence = seen(list(drawing), "the impedance that it sees, cable included")
        graphs.append(Graph("Is the amplifier safe?", sentence, "impedance", f, impedances))
    return graphs


def limits(kit: Kit, results: Sequence[Ceilings], verdicts: Mapping[str, Sequence[Verdict]]) -> list[Graph]:
    """For each variant: volts, level, excursion in each state of the protective place, hot coils, distortion."""
    graphs: list[Graph] = []
    for result in results:
        name = result.limits.variant.name
        graphs += limit_graphs.limits(kit, result)
        if any(verdict.curves for verdict in verdicts[name]):
            graphs += protection(kit, {name: verdicts[name]})
        graphs += [*limit_graphs.coils(kit, result), *limit_graphs.distortion(result)]
    return graphs
