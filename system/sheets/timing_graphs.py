"""Phase, group delay and step response as graphs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from system import wording
from system.kit import Kit
from system.predict import Prediction
from system.sheets.circumstances import LATER, heard, seen
from system.sheets.data import degrees
from system.sheets.pictures import joined
from system.sheets.plots import Graph, Line
from system.summary import level

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

# Blauert and Laws, J. Acoust. Soc. Am. 63 (1978), 1478 (from memory): the group delay, in ms, from which some listeners
# hear it, alone and on impulses, by frequency in Hz.
AUDIBLE = {500.0: 3.2, 1000.0: 2.0, 2000.0: 1.0, 4000.0: 1.5, 8000.0: 2.0}
BASS = 200.0  # Hz
HEARD = 20.0  # dB below all together: what is quieter has no say in the phase


def phase(_kit: Kit, result: Prediction) -> Iterator[Graph]:
    """Of all together, and of each driver where it counts."""
    if result.frequency.size < 2 or not np.any(result.pressure):
        return
    whole = level(result.pressure)
    parts = {name: driver.pressure for name, driver in result.drivers.items()}
    parts |= {name: opening.pressure for name, opening in result.openings.items()}
    lines = [Line("together", degrees(result.pressure))]
    for name, pressure in parts.items():
        counts = level(pressure) >= whole - HEARD
        if np.any(counts):
            lines.append(Line(name, np.where(counts, degrees(pressure), np.nan)))
    x = result.frequency
    yield Graph(
        "Do the drivers pull together?",
        f"{heard(result.variant, result.volts)}; phase without the delay of the distance, of each where it is within"
        f" {HEARD:.0f} dB of all together",
        "phase",
        x,
        [_broken(line, x) for line in joined(lines, 1.0)],
    )


def impedance_phase(_kit: Kit, result: Prediction) -> Iterator[Graph]:
    """Of what the amplifier sees."""
    if result.summary.lowest_impedance_ohm is None:
        return
    yield Graph(
        "How far is its current out of step?",
        f"{seen([result.variant.name], 'phase of the impedance, cable included')}; {LATER}",
        "phase",
        result.frequency,
        [_broken(Line("impedance", degrees(result.impedance)), result.frequency)],
    )


def _broken(line: Line, x: Floats) -> Line:
    """With a gap where the phase goes out at one edge of the graph and in at the other."""
    jumps = np.flatnonzero(np.abs(np.diff(line.values)) > 180) + 1
    return Line(line.label, np.insert(line.values, jumps, np.nan), np.insert(x, jumps, x[jumps]))


def _latest(frequency: Floats, delay: Floats) -> str:
    """The bass may be later than the graph reaches."""
    bass = np.where((frequency <= BASS) & np.isfinite(delay), delay, -np.inf)
    i = int(np.argmax(bass))
    return f", at most {1e3 * bass[i]:.0f} ms at {wording.hertz(float(frequency[i]))}" if np.isfinite(bass[i]) else ""


def arrival(_kit: Kit, result: Prediction) -> Iterator[Graph]:
    """Group delay with what ears notice, and the response to a step."""
    yield from group_delay(result)
    yield from step_response(result)


def group_delay(result: Prediction) -> Iterator[Graph]:
    """Of all together, with what ears notice."""
    timing = result.detail.timing if result.detail else None
    if timing is None or np.count_nonzero(np.isfinite(timing.group_delay)) < 2:
        return
    x = result.frequency
    noted = [hertz for hertz in AUDIBLE if x[0] <= hertz <= x[-1]]
    lines = [Line("together", 1e3 * timing.group_delay)]
    noticed = ""
    if len(noted) > 1:
        lines.append(Line("audible from", np.array([AUDIBLE[f] for f in noted]), np.array(noted)))
        noticed = "; dashed: from where some ears notice (Blauert and Laws 1978)"
    yield Graph(
        "Does the bass come late?",
        f"{heard(result.variant, result.volts)}; group delay without that of the distance"
        f"{_latest(x, timing.group_delay)}{noticed}",
        "delay",
        x,
        lines,
    )


def step_response(result: Prediction) -> Iterator[Graph]:
    """Of all together, and of drivers and openings."""
    timing = result.detail.timing if result.detail else None
    if timing is None or not np.any(timing.step):
        return
    lines = [Line("together", timing.step), *(Line(name, values) for name, values in timing.parts.items())]
    near = 0.004 * float(np.ptp(timing.step))
    yield Graph(
        "Does everything arrive together?",
        f"{heard(result.variant, timing.volts)}; what a step of so many volts sends, 0 ms: from where the axis begins;"
        " up to 10 kHz, faded out to 20 kHz",
        "pressure",
        1e3 * timing.moments,
        joined(lines, near),
        across="moments",
    )
