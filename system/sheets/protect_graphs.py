"""What the picture of a protective high-pass shows: how far the cone goes in each state of the place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from system import wording
from system.candidates import WIRINGS
from system.findings import usage_error
from system.kit import Kit
from system.protect import Verdict, alike
from system.sheets.circumstances import seen
from system.sheets.plots import Graph, Line
from system.sheets.texts import VERDICTS, programme_text

TOP = 1000.0  # Hz, of the graph: above, no cone moves far


def protection(kit: Kit, verdicts: Mapping[str, Sequence[Verdict]]) -> list[Graph]:
    """Excursion of each woofer over frequency: linked, the kit's own capacitor, the best choices and other forms."""
    graphs = [
        _graph(name, verdict, woofers)
        for name, each in verdicts.items()
        for verdict, woofers in alike(each)
        if verdict.curves
    ]
    if not graphs:
        raise usage_error("a picture of no woofers", f"a variant with a woofer ({programme_text(kit.programme)})")
    return graphs


def _graph(name: str, verdict: Verdict, woofers: Sequence[str]) -> Graph:
    low = verdict.frequency <= TOP
    limits = [("linear limit", verdict.linear_limit), ("damage limit", verdict.damage_limit)]
    band = verdict.worse_band
    hatched = ""
    if band and verdict.subject:
        span = f"{wording.hertz(band[0])} to {wording.hertz(band[1])}"
        hatched = f"; hatched: {span}, where {verdict.subject.short} moves it further"
    signs = [wiring for wiring in WIRINGS.values() if any(f" {wiring.sign} " in label for label in verdict.curves)]
    resistors = "".join(f"; {wiring.sign} resistor {wiring.words}" for wiring in signs)
    return Graph(
        f"Is the woofer safe? {name}, {' and '.join(woofers)}: high-pass {VERDICTS[verdict.verdict]}",
        f"{seen([name], 'one-way peak', f'on a swept sine of {verdict.sine_volts:.1f} V')}{resistors}{hatched}",
        "excursion",
        verdict.frequency[low],
        [Line(label, curve[low] * 1e3) for label, curve in verdict.curves.items()],
        [(label, value * 1e3) for label, value in limits if value is not None],
        band,
    )
