"""Everything that `limits` says of one variant: its limits, warm coils, ports and drivers beyond small signals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.build import build
from system.distortion import Distortion, distortions
from system.kit import Kit, Variant
from system.limits import Case, Limits, limits, port_losses
from system.moments import InTime, in_time, programme_wave
from system.predict import PEAK, Prediction, flows, prediction, pressure, summarise
from system.synthesis import Wave
from system.transfer import transfer
from system.warming import Warming, warming

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AmplifierLoad:
    """What a variant asks of the amplifier, and what the amplifier's own resistance makes of the variant.

    On a sine of its rated volts swept over the programme's band: the largest one-way peak `current` (A) and where (Hz),
    None of both where nothing flows. `shift` are the lowest and the highest change of level (dB) over the band that its
    output resistance makes, against none.
    """

    current: float | None
    frequency: float | None  # Hz
    shift: tuple[float, float]


def amplifier_load(kit: Kit, swept: Case) -> AmplifierLoad:
    """Of a variant on the grid of a programme."""
    frequency, impedance = swept.acoustics.frequency, swept.result.impedance
    heard = frequency >= kit.programme.lowest
    current = PEAK * kit.amplifier.rated_volts / np.abs(impedance + kit.amplifier.output_resistance)
    most = int(np.argmax(np.where(heard, current, 0.0)))
    stiff = replace(swept.model, source_resistance=kit.amplifier.cable)
    levels = [
        summary.level(pressure(swept.acoustics, flows(model, swept.acoustics, 1.0).load_current))[heard]
        for model in (swept.model, stiff)
    ]
    shift = levels[0] - levels[1]
    drawn = bool(current[most] > 0)
    return AmplifierLoad(
        float(current[most]) if drawn else None,
        float(frequency[most]) if drawn else None,
        (float(shift.min()), float(shift.max())),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Ceilings:
    """`port_losses` are (F,) in dB by the opening's name, `distortions` by the driver's, empty without any curves.

    `in_time` is None where a sine is the signal.
    """

    prediction: Prediction
    limits: Limits
    rated_volts: float  # of the amplifier
    amplifier: AmplifierLoad
    port_losses: Mapping[str, Floats]
    warming: Warming | None
    distortions: Mapping[str, Distortion]
    in_time: InTime | None


def ceilings(kit: Kit, variants: Iterable[Variant], frequency: Floats, seed: int = 0) -> list[Ceilings]:
    """For sines of `frequency` (F,) in Hz, and for the programme, whose moments are drawn with `seed`.

    Raises KitError where a circuit has no solution.
    """
    wave = programme_wave(kit, seed)
    return [_ceilings(kit, variant, frequency, wave, seed) for variant in variants]


def _ceilings(kit: Kit, variant: Variant, frequency: Floats, wave: Wave | None, seed: int) -> Ceilings:
    swept = swept_case(kit, variant)
    acoustics = transfer(swept.model, frequency)
    case = Case(swept.model, acoustics, prediction(swept.model, acoustics, 2.83, swept.result.summary))
    return Ceilings(
        prediction=case.result,
        limits=limits(case, swept),
        rated_volts=kit.amplifier.rated_volts,
        amplifier=amplifier_load(kit, swept),
        port_losses=port_losses(case),
        warming=warming(case, swept),
        distortions=distortions(swept.model),
        in_time=in_time(kit, swept, wave, seed) if wave else None,
    )


def swept_case(kit: Kit, variant: Variant) -> Case:
    """A variant on the grid of a programme. Raises KitError where the circuit has no solution."""
    model = build(kit, variant)
    acoustics = transfer(model, summary.GRID)
    return Case.swept(model, acoustics, summarise(model, acoustics))
