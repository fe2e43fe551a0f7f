"""What the pictures of `limits` and `stress` show, as graphs for `system.sheets.plots` to draw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.ceilings import Ceilings
from system.findings import usage_error
from system.kit import Kit
from system.limits import Case, Limits
from system.ratings import TESTS
from system.sheets.circumstances import heard, seen
from system.sheets.limit_texts import alike, celsius
from system.sheets.pictures import joined
from system.sheets.plots import Graph, Line, Span
from system.signal import Signal
from system.units import ZERO_CELSIUS

Floats = NDArray[np.float64]

NOT_A_TEST = "computed ceilings, not a test to run"
# Each kind of limit as one line, the lowest of its kind at each frequency; in this order.
KINDS = {
    "linear_excursion": "linear excursion",
    "damage_excursion": "damage excursion",
    "opening_speed": "air speed",
    "heat": "heat of a coil",
    "part_rating": "a part's rating",
    "amplifier_current": "amplifier's current",
}
SAME_HEAT = 1.0  # K: coils as alike are one line
MOST_PARTS = 6  # lines of one graph


def limits(kit: Kit, result: Ceilings) -> Iterator[Graph]:
    """Volts of every limit over frequency; the highest level, and what ends it."""
    found = result.limits
    name = found.variant.name
    rated = kit.amplifier.rated_volts
    lines = []
    for kind, label in KINDS.items():
        if kind in found.curves:
            lowest = np.min(list(found.curves[kind].values()), axis=0)
            if np.any(lowest < 2 * rated):  # else it lies above the graph
                lines.append(Line(label, np.where(np.isfinite(lowest), lowest, np.nan)))
    tenths = [each for each in result.distortions.values() if np.any(np.isfinite(each.volts))]
    if tenths:
        every = np.array([each.volts for each in tenths])
        first = np.where(np.isnan(every).all(axis=0), np.nan, np.fmin.reduce(every))
        lines.append(Line("10 % distortion", first, tenths[0].frequency))
    if lines:
        yield Graph(
            "What gives first?",
            f"{kit.name}, {seen([name], 'limits', 'in V rms of a sine')}; {NOT_A_TEST}",
            "volts",
            found.frequency,
            lines,
            [(f"the amplifier clips at {rated:.1f} V", rated)],
        )
    yield Graph(
        "How loud, and what ends it?",
        f"{heard(found.variant, 'on a sine up to its first limit')}, cold and small-signal; {NOT_A_TEST}",
        "level",
        found.frequency,
        [Line("at most", found.envelope.level)],
        spans=spans(found),
    )


def spans(found: Limits) -> list[Span]:
    """Stretches in which limits of one kind give first, with the names of all that do so there."""
    first = [found.limits[i] for i in found.envelope.first]
    starts = [0, *(i for i in range(1, len(first)) if first[i].phrase != first[i - 1].phrase), len(first)]
    f = found.frequency
    borders = np.concatenate([f[:1], np.sqrt(f[1:] * f[:-1]), f[-1:]])  # halfway to the next point
    spans = []
    for a, b in pairwise(starts):
        phrase = first[a].phrase
        there = {limit.name for limit in first[a:b]}
        names = [limit.name for limit in found.limits if limit.phrase == phrase and limit.name in there]
        spans.append(Span(phrase.format(" or ".join(names)), phrase, float(borders[a]), float(borders[b])))
    return spans


def coils(kit: Kit, result: Ceilings) -> Iterator[Graph]:
    """How hot the voice coils get over hours."""
    warm = result.warming
    whole = {name: values for name, values in warm.temperatures.items() if np.isfinite(values[0])} if warm else {}
    if warm is None or not whole:
        return
    loud = f"at full volume, {wording.volts_down(warm.volts)} rms"
    stood: dict[float, list[str]] = {}
    for name, coil in warm.coils.items():
        stood.setdefault(coil.highest, []).append(name)
    yield Graph(
        "How hot do the voice coils get?",
        f"{seen([result.limits.variant.name], 'coils on the programme', loud)}, from {celsius(kit.assembly.ambient)}"
        " on; marked: what they stand; a line that ends: burnt",
        "temperature",
        warm.seconds,
        joined([Line(n, np.where(np.isfinite(t), t - ZERO_CELSIUS, np.nan)) for n, t in whole.items()], SAME_HEAT),
        [(f"{', '.join(names)}: {celsius(highest)}", highest - ZERO_CELSIUS) for highest, names in stood.items()],
        across="time",
    )


def distortion(result: Ceilings) -> Iterator[Graph]:
    """How clean each driver with curves is, at a few drives."""
    for each, names in alike(result.distortions):
        known = [level for level in each.levels if np.isfinite(level.total).any()]
        lines = [Line(f"{level.volts:.1f} V", 100 * level.total) for level in known]
        if lines:
            yield Graph(
                f"How clean {'is' if len(names) == 1 else 'are'} {' and '.join(names)}?",
                f"{seen([result.limits.variant.name], 'total distortion close to the cone', 'on a sine')}, from its"
                " large_signal curves",
                "percent",
                each.frequency,
                lines,
                [("a tenth", 10.0)],
            )


def stress(kit: Kit, cases: Sequence[Case]) -> list[Graph]:
    """For each variant: peak volts across its capacitors, and the heat in its other parts, on a sine at rated volts."""
    graphs = [graph for case in cases for graph in _stress(kit, case)]
    if not graphs:
        raise usage_error("a picture of no parts", "a variant with a part fitted")
    return graphs


def _stress(kit: Kit, case: Case) -> Iterator[Graph]:
    variant, result = case.model.variant, case.result
    signal = Signal.of(kit, variant, result.frequency)
    played = np.arange(result.frequency.size) >= int(np.searchsorted(result.frequency, signal.lowest)) - 1
    drive = signal.rated / result.volts * signal.gain
    across, heat, limits_across, limits_heat = [], [], [], []
    for name, part in result.parts.items():
        spec = variant.places[name].part
        label = f"{name} {wording.part_value(spec.kind, spec.value)}"
        if spec.kind == "capacitor":
            across.append(Line(label, (np.sqrt(2) * np.abs(part.volts) * drive)[played]))
            if (rating := TESTS["voltage"].rating(spec)) is not None:
                limits_across.append((name, rating))
        else:
            heat.append(Line(label, (part.watts * drive**2)[played]))
            if (rating := TESTS["power"].rating(spec)) is not None:
                limits_heat.append((name, rating))
    rated = f"on a sine of {signal.rated:.1f} V rms"
    borne, heated = (f"{seen([variant.name], what, rated)}; {NOT_A_TEST}" for what in ("peak volts", "heat"))
    f = result.frequency[played]
    if across:
        yield Graph("What do the capacitors bear?", borne, "peak_volts", f, _largest(across), _joined(limits_across))
    if heat:
        yield Graph("How much heat is in the parts?", heated, "watts", f, _largest(heat), _joined(limits_heat))


def _largest(lines: Sequence[Line]) -> list[Line]:
    """As many as a graph can show, in their order."""
    kept = sorted(lines, key=lambda line: -float(line.values.max()))[:MOST_PARTS]
    return [line for line in lines if line in kept]


def _joined(levels: Sequence[tuple[str, float]]) -> list[tuple[str, float]]:
    """Equal ratings of parts under one label."""
    together: dict[float, list[str]] = {}
    for name, value in levels:
        together.setdefault(value, []).append(name)
    return [(f"rating of {wording.listed(names)}", value) for value, names in together.items()]
