"""What a driver's curves over excursion do to a sine: how much of it is lost, the cone's offset, and what is added.

Harmonics are those of the sound close to the cone, which goes with its acceleration: the k-th of the displacement
counts k^2 times. Their percentages are of the whole sound (IEC 60268-3, from memory); ten per cent of all of them
together is where a driver's displacement limit is usually drawn (IEC 62458, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from enclosures.harmonic_balance import HARMONICS, Source, SteadyStates, harmonic_balance, multiples_of
from enclosures.large_signal import LargeSignal
from filters.thevenin import thevenin
from system.build import Build, Cell, large_signal
from system.predict import PEAK, flows
from system.transfer import Motion, motion

Floats = NDArray[np.float64]

COUNT, TOP = 24, 500.0  # frequencies, from the programme's lowest to this one (Hz)
STEPS: Floats = np.sqrt(0.5) ** np.arange(10, -1, -1)  # of the rated volts, 3 dB apart
SHOWN = (4, 6, 8, 10)  # of these steps: 18, 12, 6 and 0 dB below the rated volts
TOTAL = 0.10


@dataclass(frozen=True, slots=True, eq=False)
class AtLevel:
    """One driver on a sine of `volts` rms, (F,) each; NaN where there is no answer.

    `loss` is what is missing of the fundamental in dB, `offset` the cone's mean displacement outward and `peak` its
    largest one-way displacement, m; `second`, `third` and `total` are ratios.
    """

    volts: float
    loss: Floats
    offset: Floats
    peak: Floats
    second: Floats
    third: Floats
    total: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Distortion:
    """One driver at `frequency` (F,) Hz: at a few `levels`, and the `volts` (F,) rms at which a tenth is distortion.

    `volts` is NaN where that does not happen up to the rated volts, or cannot be told; `why` (F,) says which.
    """

    frequency: Floats
    levels: tuple[AtLevel, ...]
    volts: Floats
    why: tuple[str, ...]


def distortions(model: Build) -> dict[str, Distortion]:
    """Of every driver that has curves, by name; those without share its enclosure as they are at rest.

    The drivers of other enclosures stay linear. Raises KitError where the circuit has no solution.
    """
    lowest = model.kit.programme.lowest
    if lowest >= TOP or all(data.large_signal is None for data in model.data):
        return {}
    frequency = np.geomspace(lowest, TOP, COUNT)
    found: dict[str, Distortion] = {}
    for cell in model.cells:
        curves = [large_signal(model.data[i]) for i in cell.members]
        if any(curves):
            found |= _cell(model, cell, [each or LargeSignal() for each in curves], frequency)
    return {name: found[name] for name in model.names if name in found}


def _cell(model: Build, cell: Cell, curves: Sequence[LargeSignal], frequency: Floats) -> dict[str, Distortion]:
    kit, members = model.kit, list(cell.members)
    omega = 2 * np.pi * frequency
    names = [model.names[i] for i in members]
    every = np.asarray(multiples_of(omega).ravel(), np.float64)
    rest = motion(model, every / (2 * np.pi)).impedance
    with kit.blaming("circuit_unsolvable", f"variants.{model.variant.name}"):
        seen = thevenin(model.network, every, names, rest, model.source_resistance)
    source = Source.at_multiples(seen.current, seen.admittance, seen.resistance)
    volts = kit.amplifier.rated_volts * STEPS
    drivers = [model.moving(i) for i in members]
    states = harmonic_balance(drivers, curves, cell.enclosure, omega, model.air, source, volts)
    linear = _linear(model, motion(model, frequency))
    return {
        name: _driver(states, n, linear[:, i], frequency)
        for n, (i, name) in enumerate(zip(members, names, strict=True))
        if model.data[i].large_signal is not None
    }


def _linear(model: Build, moved: Motion) -> Floats:
    """Small-signal peak displacement (F, N) in m per volt rms."""
    velocity = np.einsum("fij,fj->fi", moved.velocity, flows(model, moved, 1.0).load_current)
    return np.asarray(PEAK * np.abs(velocity) / (2 * np.pi * moved.frequency)[:, None])


def _driver(states: SteadyStates, n: int, linear: Floats, frequency: Floats) -> Distortion:
    """The n-th driver; `linear` (F,) is its small-signal peak displacement, m per volt."""
    displacement = states.displacement[:, :, n]
    sound = np.abs(displacement) * np.arange(HARMONICS + 1) ** 2  # (F, L, H + 1)
    whole = np.sqrt(np.sum(sound**2, axis=-1))
    shares = sound / whole[..., None]
    total = np.sqrt(np.sum(shares[..., 2:] ** 2, axis=-1))
    levels = [
        AtLevel(
            volts=float(states.volts[level]),
            loss=20 * np.log10(linear * states.volts[level] / np.abs(displacement[:, level, 1])),
            offset=np.asarray(states.offset[:, level, n], np.float64),
            peak=np.asarray(states.peak[:, level, n], np.float64),
            second=shares[:, level, 2],
            third=shares[:, level, 3],
            total=total[:, level],
        )
        for level in SHOWN
    ]
    crossings = [
        _crossing(np.asarray(states.volts, np.float64), each, reason)
        for each, reason in zip(total, states.reason, strict=True)
    ]
    return Distortion(frequency, tuple(levels), np.array([v for v, _ in crossings]), tuple(why for _, why in crossings))


def _crossing(volts: Floats, total: Floats, reasons: NDArray[np.str_]) -> tuple[float, str]:
    """The lowest volts at which the distortion `total` (L,) gets to a tenth, between levels on a straight line in dB;
    NaN and why where it does not."""
    for level, (ratio, reason) in enumerate(zip(total, reasons, strict=True)):
        if reason:
            return np.nan, f"{reason} at {volts[level]:.1f} V"
        if ratio >= TOTAL:
            if level == 0:
                return np.nan, f"more already at {volts[0]:.1f} V"
            share = np.log(TOTAL / total[level - 1]) / np.log(ratio / total[level - 1])
            return float(volts[level - 1] * (volts[level] / volts[level - 1]) ** share), ""
    return np.nan, "less up to the amplifier's rated volts"
