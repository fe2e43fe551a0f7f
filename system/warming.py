"""How warm the voice coils get over hours of the programme at full volume, and what that costs in level."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from system import summary
from system.coils import Coils, endurances
from system.heat import STRAIGHT, course, loss_in_band, settled
from system.limits import Case
from system.predict import pressure
from system.signal import Signal

Floats = NDArray[np.float64]

SECONDS = np.geomspace(1.0, 3 * 3600.0, 97)


@dataclass(frozen=True, slots=True)
class Warm:
    """One voice coil after hours: `settled` (K; inf: burnt), the `highest` it stands (K), and its `loss` in dB.

    The loss is that of constant volts where only the coil's resistance counts, against a coil of 20 degC; None for a
    burnt one.
    """

    settled: float
    highest: float
    loss: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Warming:
    """The coils from the surrounding air up, on the programme at `volts` rms, its peaks at clipping.

    `temperatures` (T,) K by hookup name at `seconds` (T,), inf once burnt; `change` (F,) dB is the level with all coils
    as they settle over that of the prediction, sine by sine.
    """

    volts: float
    seconds: Floats
    temperatures: Mapping[str, Floats]
    coils: Mapping[str, Warm]
    change: Floats


def warming(case: Case, swept: Case) -> Warming | None:
    """None for a kit that is judged on a sine, or where nothing tells of the heat of any coil.

    `case` is at the frequencies that `change` is asked for, `swept` the same build on the grid of a programme.
    """
    signal = Signal.of(case.model.kit, case.model.variant, swept.acoustics.frequency)
    known = endurances(swept.model, swept.acoustics)
    if signal.weights is None or not known:
        return None
    watts = Coils.of(swept.model, swept.acoustics, known).programme(signal.full**2 * signal.weights)
    here = Coils.of(case.model, case.acoustics, known)
    over_time = course(here.coils, watts, SECONDS, here.ambient)
    final = settled(here.coils, watts, here.ambient)
    hot = np.array(
        [float(coil.resistance(t)) for coil, t in zip(here.coils, np.minimum(final, STRAIGHT[1]), strict=True)]
    )
    coils = {
        name: Warm(float(t), each.highest, loss_in_band(ohm / coil.re) if np.isfinite(t) else None)
        for (name, each), coil, t, ohm in zip(known.items(), here.coils, final, hot, strict=True)
    }
    heard = pressure(case.acoustics, here.currents(hot))
    return Warming(
        signal.full,
        SECONDS,
        {name: over_time[:, i] for i, name in enumerate(known)},
        coils,
        summary.level(heard) - summary.level(case.result.pressure / case.result.volts),
    )
