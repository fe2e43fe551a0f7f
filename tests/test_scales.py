"""The axes of all pictures: IEC 60263's proportions, round figures, and the same for plots and for charts of a page."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from system.sheets import plots, scales
from system.sheets.pages import charts
from system.sheets.pages.blocks import Chart
from system.sheets.pictures import Graph, Line
from system.sheets.scales import ACROSS, SCALES
from tests.test_cli import HOME

HERTZ = np.geomspace(20.0, 20e3, 40)
SVG = "{http://www.w3.org/2000/svg}"
KINDS = ("level", "level_near", "impedance", "excursion", "speed", "volts")


def graph(kind: str, low: float, high: float, *limits: float) -> Graph:
    values = np.geomspace(low, high, HERTZ.size) if low > 0 else np.linspace(low, high, HERTZ.size)
    return Graph("?", ".", kind, HERTZ, [Line("a", values)], [(f"{v:g}", v) for v in limits])


@pytest.mark.parametrize(("kind", "vertical"), [("level", 25.0), ("level_near", 25.0), ("impedance", 1.25)])
def test_proportions(kind: str, vertical: float) -> None:
    """IEC 60263: 25 dB, and of impedance 1.25 decades, take the length of one decade (from memory)."""
    scale = scales.upright(graph(kind, 3.4, 87.0))
    upright = math.log10(scale.high / scale.low) if scale.logarithmic else scale.high - scale.low
    assert upright / scale.decades == pytest.approx(vertical, rel=1e-9)
    assert not scale.fills_page


@pytest.mark.parametrize("kind", KINDS)
def test_plots_and_charts_have_the_same_axes(kind: str) -> None:
    """What matplotlib was told, and what stands in the chart's file: figures, ends, and where the curve lies."""
    shown = graph(kind, 4.2, 61.0, 20.0)
    (axes,) = plots.draw([shown]).axes
    chart = ElementTree.fromstring(charts.svg(Chart("x", shown)))
    words = list(chart.iter(f"{SVG}text"))
    upright = [t.text for t in words if t.get("text-anchor") == "end" and not t.get("class")]
    across = [t.text for t in words if t.get("text-anchor") == "middle"]
    assert upright == [t.get_text() for t in axes.get_yticklabels()]
    assert across == [t.get_text() for t in axes.get_xticklabels()]
    curve = next(p for p in chart.iter(f"{SVG}path") if p.get("data-curve") == "a")
    points = np.array(re.findall(r"([-\d.]+),([-\d.]+)", curve.get("d", "")), float)
    box = next(chart.iter(f"{SVG}rect"))
    drawn = axes.transAxes.inverted().transform(
        axes.transData.transform(np.column_stack([HERTZ, shown.lines[0].values]))
    )
    wide, high = (float(box.get(side, "nan")) for side in ("width", "height"))
    seen = (drawn[:, 1] >= 0) & (drawn[:, 1] <= 1)
    np.testing.assert_allclose((points / (wide, high))[seen], np.column_stack([drawn[:, 0], 1 - drawn[:, 1]])[seen],
                               atol=1e-3)  # fmt: skip


@given(kind=st.sampled_from(sorted(SCALES)), low=st.floats(1e-3, 1e3), ratio=st.floats(1.0, 1e4))
def test_every_axis_holds_its_figures(kind: str, low: float, ratio: float) -> None:
    """Figures lie within the axis and rise; there are enough of them to read by, and not so many that they touch."""
    assume(not kind.startswith("level") or low * ratio < 1000)  # dB
    scale = scales.upright(graph(kind, low, low * ratio, low))
    assert scale.low < scale.high
    told = [value for value, words in scale.ticks.items() if words]
    assert 2 <= len(told) <= 22
    assert all(a < b for a, b in pairwise(told))
    assert -1e-6 <= scale.at(told[0]) < scale.at(told[-1]) <= 1 + 1e-6
    assert len({words for words in scale.ticks.values() if words}) == len(told)


@given(kind=st.sampled_from(["excursion", "speed", "watts"]), high=st.floats(1e-4, 1e5))
def test_steps_are_round(kind: str, high: float) -> None:
    """1, 2 or 5 times a power of ten."""
    told = [value for value, words in scales.upright(graph(kind, 0.0, high)).ticks.items() if words]
    step = told[1] - told[0]
    first = step / 10.0 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(first - figure) for figure in (1, 2, 5)) < 1e-6


def test_impedance_goes_on_in_octaves() -> None:
    """As drivers are rated, 4, 8, 16 ohm (IEC 60268-5, 16.1, from memory); what the amplifier stands is in sight."""
    scale = scales.upright(graph("impedance", 5.0, 40.0, 3.2))
    assert [words for words in scale.ticks.values() if words] == ["2", "4", "8", "16", "32", "64"]


@pytest.mark.parametrize("kind", sorted(ACROSS))
@pytest.mark.parametrize(("low", "high"), [(20.0, 20e3), (1.0, 10800.0), (3.0, 3.0 + 1e-9), (1.0, 12.0)])
def test_axes_across(kind: str, low: float, high: float) -> None:
    axis = scales.across(kind, low, high)
    assert axis.low <= low
    assert axis.high >= high
    assert all(axis.low * 0.998 <= place <= axis.high * 1.002 for place in axis.ticks)


def test_one_count_has_one_figure() -> None:
    axis = scales.across("counts", 3.0, 3.0)
    assert axis.ticks == {3.0: "3"}
    assert axis.at(3.0) == pytest.approx(0.5)


def test_a_minus_is_as_long_as_a_plus() -> None:
    assert "\N{MINUS SIGN}5" in scales.upright(graph("level_near", -12.0, 3.0)).ticks.values()


def test_a_curve_about_zero_stands_in_the_middle() -> None:
    """30 dB are shown; of what is left to either side neither is more than twice the other and a step."""
    scale = scales.upright(graph("level_near", -3.0, 3.0))
    above, below = scale.high - 3.0, -3.0 - scale.low
    assert max(above, below) <= 2 * min(above, below) + 5


def test_charts_load_nothing_that_draws() -> None:
    script = "import sys; from system.sheets.pages import charts; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, encoding="utf-8", cwd=HOME, check=True)
    assert done.stdout.strip() == "False"
