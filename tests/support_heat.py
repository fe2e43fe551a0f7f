"""Second ways to the heat of voice coils, for the tests: by iteration, and by kits whose coils are stated warm."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from system import summary
from system.build import build
from system.heat import CLOSE, MOST_STEPS, STRAIGHT, Floats, WarmCoil, Watts, _resistances
from system.kit import ROOM_TEMPERATURE, Kit, Variant
from system.predict import pressure, solve
from system.transfer import transfer


def volts_reaching(
    coils: Sequence[WarmCoil], index: int, temperature: float, watts: Watts, ambient: float = ROOM_TEMPERATURE
) -> Floats:
    """Volts rms (...,) that hold the coil at `index` at `temperature` (K), the others as warm as they then are.

    `watts` are those at 1 V. math.inf where the coil draws no power, NaN where no volts are found. Another coil that
    would pass 600 K is held there. Raises ValueError for a temperature outside `ambient` to 600 K.
    """
    if not ambient < temperature <= STRAIGHT[1]:
        raise ValueError(f"a voice coil reaches {ambient:g} to {STRAIGHT[1]:g} K, not {temperature!r} K")
    to_room = np.array([coil.path.resistance for coil in coils])
    needed = coils[index].path.power_at(temperature, ambient)
    warm = np.full(len(coils), ambient)
    warm[index] = temperature
    for _ in range(MOST_STEPS):
        power = watts(_resistances(coils, warm))
        own = power[..., index]
        squared = np.divide(needed, own, out=np.full(own.shape, np.inf), where=own > 0)
        with np.errstate(invalid="ignore"):
            # no power at infinite volts is no number, and counts as burnt
            found = np.fmin(ambient + to_room * power * squared[..., None], STRAIGHT[1])
        found[..., index] = temperature
        close = np.abs(found - warm).max(axis=-1) <= CLOSE
        if close.all():
            break
        warm = (warm + found) / 2  # half of the way: where another coil's warmth sets this one's share, all overshoots
    return np.where(close, np.sqrt(squared), np.nan)


def loss_at_resonance(ratio: float, qes: float, qms: float) -> float:
    """The same at the driver's resonance, where its motion adds re qms/qes: 20 log10[(k g + 1)/(g + 1)], g = qes/qms.

    From the definitions of the Q values (Small, J. Audio Eng. Soc. 20(5), 1972).
    """
    g = qes / qms
    return 20 * math.log10((ratio * g + 1) / (g + 1))


def warmed(variant: Variant, temperatures: Mapping[str, float]) -> Variant:
    """The variant with the voice coils of the named hookups at these temperatures, K."""
    hookups = {
        name: replace(hookup, driver=replace(hookup.driver, voice_coil_temperature=temperatures[name]))
        if name in temperatures
        else hookup
        for name, hookup in variant.hookups.items()
    }
    return replace(variant, hookups=hookups)


def change_of_response(kit: Kit, variant: Variant, temperatures: Mapping[str, float], frequency: Floats) -> Floats:
    """Level hot minus cold (F,), dB, at `frequency` (F,) Hz: coils at `temperatures` (K), or at 20 degC."""
    cold = dict.fromkeys(variant.hookups, ROOM_TEMPERATURE)
    return _level(kit, warmed(variant, cold | dict(temperatures)), frequency) - _level(
        kit, warmed(variant, cold), frequency
    )


def _level(kit: Kit, variant: Variant, frequency: Floats) -> Floats:
    model = build(kit, variant)
    acoustics = transfer(model, frequency)
    return summary.level(pressure(acoustics, solve(model, acoustics, 1.0).load_current))
