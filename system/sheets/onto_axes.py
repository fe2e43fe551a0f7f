"""Results drawn onto axes that somebody else has made, as the commands draw them onto theirs.

Each function sets the scales, limits and grid of the axes, and labels the lines at their right-hand end. What stands
around the axes (title, size, page) is the caller's. The proportions of IEC 60263, 25 dB to the length of one decade,
are a matter of the axes' size: `axes.set_box_aspect(2 / 3)` gives them to the 50 dB and three decades of `plot_level`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from system.around import Around
from system.bench.expect import Expected
from system.ceilings import Ceilings
from system.compare import Comparison
from system.predict import Prediction
from system.protect import Verdict
from system.sheets import around_graphs, plots, timing_graphs
from system.sheets.graphs import excursion_limits, moving
from system.sheets.limit_graphs import KINDS, spans
from system.sheets.plots import Graph, Line, Shade
from system.spread import Spread
from system.summary import level

Floats = NDArray[np.float64]


def plot_level(axes: Axes, result: Prediction | Comparison, components: bool = True) -> None:
    """Draw the level in dB (re 20 uPa, at the listening point, for the prediction's volts) over frequency in Hz.

    Of one prediction with its drivers and openings, unless `components` is False; of a comparison all its variants.
    Raises ValueError for a prediction at fewer than two frequencies.
    """
    whole = _by_name(result)
    lines = [Line(name, level(each.pressure)) for name, each in whole.items()]
    if isinstance(result, Prediction):
        lines = [Line("together", level(result.pressure))]
        if components:
            lines += [Line(name, level(driver.pressure)) for name, driver in result.drivers.items()]
            lines += [Line(name, level(opening.pressure)) for name, opening in result.openings.items()]
    _draw(axes, Graph("", "", "level", _frequency(whole), lines))


def plot_impedance(axes: Axes, result: Prediction | Comparison | Expected, lowest_load: float | None = None) -> None:
    """Draw the magnitude of the impedance in ohm over frequency in Hz, as the amplifier sees it.

    Of an `Expected`, that of a right build at the crossover's input with the band in which nine copies of ten lie.
    `lowest_load` (ohm) is drawn across, if given. Raises ValueError where no current flows.
    """
    limits = [] if lowest_load is None else [(f"{lowest_load:g} ohm", lowest_load)]
    if isinstance(result, Expected):
        curve, x = result.sweep.magnitude, result.sweep.frequency
        known = np.isfinite(curve.high)
        lines = [Line("as drawn", curve.nominal[known])]
        shade = _shade("shaded: 9 of 10 copies, with the meter", x[known], curve.low[known], curve.high[known])
        _draw(axes, Graph("", "", "impedance", _enough(x[known]), lines, limits, shade=shade))
        return
    whole = {name: each for name, each in _by_name(result).items() if np.isfinite(each.impedance).all()}
    lines = [Line("impedance" if len(whole) == 1 else name, np.abs(each.impedance)) for name, each in whole.items()]
    _draw(axes, Graph("", "", "impedance", _frequency(whole), lines, limits))


def plot_group_delay(axes: Axes, prediction: Prediction) -> None:
    """Draw the group delay in ms, that of the distance taken out, over frequency in Hz, and from where ears notice it.

    Raises ValueError for a prediction without `detail`, and where nothing is heard at two frequencies.
    """
    _draw_first(axes, timing_graphs.group_delay(prediction), "a prediction with its detail, of what is heard")


def plot_step_response(axes: Axes, prediction: Prediction) -> None:
    """Draw what arrives of a step of the prediction's volts, in Pa over ms: together, drivers and openings.

    Lines that are one are drawn once. Raises ValueError for a prediction without `detail`, and where nothing is heard.
    """
    _draw_first(axes, timing_graphs.step_response(prediction), "a prediction with its detail, of what is heard")


def plot_angle_map(axes: Axes, around: Around, plane: str = "horizontal") -> None:
    """Draw the level in dB against straight ahead, over frequency in Hz and angle in degrees, in bands of a `plane`.

    The `plane` is `horizontal` or `vertical`. What the bands mean stands to the right of the axes. Raises ValueError
    for another plane, for fewer than two frequencies, and where nothing is heard.
    """
    _enough(around.frequency)
    plots.fill(axes, around_graphs.angle_map(_audible(around), _plane(plane)))


def plot_polar(axes: Axes, around: Around, plane: str = "horizontal") -> None:
    """Draw the level in dB against straight ahead, round about in a `plane`, a line for each octave from 125 Hz on.

    The axes lose their frame and have the same scale both ways. The `plane` is `horizontal`, seen from above with the
    listener at the bottom, or `vertical`, seen from the side. Raises ValueError for another plane, and where nothing is
    heard.
    """
    plots.fill(axes, around_graphs.polar(_audible(around), _plane(plane)))


def plot_excursion(axes: Axes, prediction: Prediction, volts: float | None = None) -> None:
    """Draw how far the cones go, one-way peak in mm, over frequency in Hz up to 1 kHz, with what their drivers stand.

    For a sine of `volts` rms, the prediction's own where it is None. Raises ValueError where no motion is known.
    """
    moved = {name: driver for name, driver in prediction.drivers.items() if driver.excursion is not None}
    drive = prediction.volts if volts is None else volts
    low = moving(prediction.frequency)
    lines = [Line(name, prediction.excursion_at(name, drive)[low] * 1e3) for name in moved]
    limits = excursion_limits(prediction, moved)
    _draw(axes, Graph("", "", "excursion", _enough(prediction.frequency[low]), lines, limits))


def plot_air_speed(axes: Axes, prediction: Prediction, volts: float | None = None) -> None:
    """Draw the peak speed of the air in ports and mouths, m/s, over frequency in Hz up to 1 kHz, with its limits.

    For a sine of `volts` rms, the prediction's own where it is None. Raises ValueError where there is no opening.
    """
    drive = prediction.volts if volts is None else volts
    low = moving(prediction.frequency)
    ducts = {name: opening.limit for name, opening in prediction.openings.items() if opening.limit is not None}
    lines = [Line(name, prediction.speed_at(name, drive)[low]) for name in ducts]
    limits = [(f"limit of {name}", limit.speed) for name, limit in ducts.items()]
    _draw(axes, Graph("", "", "speed", _enough(prediction.frequency[low]), lines, limits))


def plot_limits(axes: Axes, ceilings: Ceilings) -> None:
    """Draw the volts rms of a sine at which each kind of limit is reached, over frequency in Hz.

    The amplifier's own stand across. Limits above twice that are left out. Raises ValueError where none is left.
    """
    found, rated = ceilings.limits, ceilings.rated_volts
    lowest = {kind: np.min(list(curves.values()), axis=0) for kind, curves in found.curves.items()}
    lines = [
        Line(words, np.where(np.isfinite(lowest[kind]), lowest[kind], np.nan))
        for kind, words in KINDS.items()
        if kind in lowest and np.any(lowest[kind] < 2 * rated)
    ]
    limits = [(f"the amplifier clips at {rated:.1f} V", rated)]
    _draw(axes, Graph("", "", "volts", _enough(found.frequency), lines, limits))


def plot_maximum_level(axes: Axes, ceilings: Ceilings) -> None:
    """Draw the highest level of a sine in dB (re 20 uPa, at the listening point) over frequency in Hz.

    What ends it is written into the stretches where it does. Raises ValueError for fewer than two frequencies.
    """
    found = ceilings.limits
    lines = [Line("at most", found.envelope.level)]
    _draw(axes, Graph("", "", "level", _enough(found.frequency), lines, spans=spans(found)))


def plot_protection(axes: Axes, verdict: Verdict) -> None:
    """Draw the cone's one-way peak in mm over frequency in Hz up to 1 kHz, a line for each state of the place.

    On a swept sine of the verdict's `sine_volts`. Hatched where its capacitor moves the cone further. Raises ValueError
    for a woofer whose motion is not known.
    """
    low = moving(verdict.frequency)
    lines = [Line(label, curve[low] * 1e3) for label, curve in verdict.curves.items()]
    both = (("linear limit", verdict.linear_limit), ("damage limit", verdict.damage_limit))
    limits = [(label, value * 1e3) for label, value in both if value is not None]
    _draw(axes, Graph("", "", "excursion", verdict.frequency[low], lines, limits, verdict.worse_band))


def plot_spread(axes: Axes, spread: Spread) -> None:
    """Draw the level in dB (re 20 uPa, 2.83 V, at the listening point) of the kit and its copies over frequency in Hz.

    Shaded where nine copies of ten lie. Raises ValueError for fewer than two frequencies.
    """
    band = spread.level.quantiles
    lines = [
        Line("as drawn", spread.level.nominal),
        Line("highest copy", band["highest"]),
        Line("lowest copy", band["lowest"]),
    ]
    shade = _shade("shaded: 9 of 10 copies", spread.frequency, band["p5"], band["p95"])
    _draw(axes, Graph("", "", "level_near", _enough(spread.frequency), lines, shade=shade))


def _plane(plane: str) -> str:
    if plane not in around_graphs.PLANES:
        raise ValueError(f"plane {plane!r} is none of {', '.join(around_graphs.PLANES)}")
    return plane


def _audible(around: Around) -> Around:
    if around.silent:
        raise ValueError("there is nothing to draw: nothing is heard")
    return around


def _by_name(result: Prediction | Comparison) -> Mapping[str, Prediction]:
    return {result.variant.name: result} if isinstance(result, Prediction) else result.predictions


def _frequency(whole: Mapping[str, Prediction]) -> Floats:
    if not whole:
        raise ValueError("there is nothing to draw: no current flows")
    return _enough(next(iter(whole.values())).frequency)


def _enough(frequency: Floats) -> Floats:
    if frequency.size < 2:
        raise ValueError("there is nothing to draw: fewer than two frequencies")
    return frequency


def _shade(label: str, x: Floats, low: Floats, high: Floats) -> Shade | None:
    """The words point at the highest place in the lowest decade, where they stand."""
    return Shade(label, low, high, float(x[int(np.argmax(high[x <= 10 * x[0]]))])) if x.size else None


def _draw_first(axes: Axes, graphs: Iterator[Graph], needs: str) -> None:
    graph = next(graphs, None)
    if graph is None:
        raise ValueError(f"there is nothing to draw: it takes {needs}")
    _draw(axes, graph)


def _draw(axes: Axes, graph: Graph) -> None:
    if not graph.lines:
        raise ValueError("there is nothing to draw: no such figure is known")
    plots.fill(axes, graph)
