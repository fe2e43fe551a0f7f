"""A programme in time: how far cones really go in a stated length of it, and for how much of it beyond their limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from system.kit import Kit
from system.limits import Case
from system.predict import flows
from system.signal import Signal
from system.synthesis import Wave, clipped, filtered, narrowed, noise

SECONDS = 60.0
CONES = 8000.0  # Hz, samples a second that hold all that a cone of a woofer does


@dataclass(frozen=True, slots=True)
class Moments:
    """Of one driver: its largest excursion and its rms (m), and the shares of time beyond its limits, None without."""

    peak: float  # m, one-way
    rms: float
    beyond_linear: float | None  # 0 to 1
    beyond_damage: float | None  # 0 to 1

    @property
    def crest(self) -> float | None:
        """Peak over rms; None where nothing moves."""
        return self.peak / self.rms if self.rms else None


@dataclass(frozen=True, slots=True)
class InTime:
    """`seconds` of a programme of `volts` rms, drawn with `seed`, by the driver's name."""

    seconds: float
    seed: int
    volts: float
    drivers: Mapping[str, Moments]


def programme_wave(kit: Kit, seed: int) -> Wave | None:
    """`SECONDS` of the kit's programme, 1 V rms, as its crest factor says; None where a sine is the signal.

    Noise has a crest factor of about 5; a programme that states more is taken as the noise is.
    """
    if kit.programme.spectrum == "sine":
        return None
    wave = noise(kit.programme, SECONDS, seed=seed)
    crest = kit.programme.crest_factor
    return narrowed(clipped(wave, crest) if crest < wave.crest else wave, CONES)


def in_time(kit: Kit, swept: Case, wave: Wave, seed: int) -> InTime:
    """What the cones of a variant do while `wave` comes at the volume at which its peaks clip the amplifier."""
    frequency = swept.acoustics.frequency
    signal = Signal.of(kit, swept.model.variant, frequency)
    current = flows(swept.model, swept.acoustics, signal.full).load_current
    drivers = {}
    for i, (name, data) in enumerate(zip(swept.model.names, swept.model.data, strict=True)):
        if swept.model.drivers[i] is None:
            continue
        excursion = signal.gain * np.einsum("fj,fj->f", swept.acoustics.excursion[:, i], current)
        moved = filtered(wave, frequency, excursion)
        linear, damage = data.linear_excursion, data.damage_excursion
        drivers[name] = Moments(
            moved.peak,
            moved.rms,
            None if linear is None else moved.share_beyond(linear),
            None if damage is None else moved.share_beyond(damage),
        )
    return InTime(SECONDS, seed, signal.full, drivers)
