"""What a builder measures, as files: whole kits with their mistakes, put through the full prediction.

The mistakes are written as `--set` changes of the kit file, and drivers that differ are changed in the kit: nothing of
`system.bench` takes part. Sweeps are at the input's points, so without the cable. Noise has a seed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from system.kit import Kit, Variant
from system.kitfile import load_kit
from system.predict import predict
from system.summary import level
from tests.test_cli import MARSHLIGHT

Floats = NDArray[np.float64]

FREQUENCY = np.geomspace(10, 20e3, 250)
NOISE, ANGLE_NOISE = 0.003, math.radians(0.3)

# Marshlight's board with a mistake, by what is wrong: settings of the variant `wall`.
MISTAKES = {
    "C2 left out": ("variants.wall.parts.C2=omit",),
    "R1 a wire": ("variants.wall.parts.R1=link",),
    "C1 a wire": ("variants.wall.parts.C1=link",),
    "C3 twice": ("crossover.parts.C3.capacitor=13.6 uF",),
    "L1 half": ("crossover.parts.L1={coil: 0.75 mH, dc_resistance: 0.16 ohm, between: [w1, w2], core: air}",),
    "120 uF open": ("crossover.parts.C1={capacitor: 100 uF, between: [in, w1], series_resistance: 0.13 ohm}",),
    "tweeter turned": ("crossover.hookup.tweeter.plus=t2", "crossover.hookup.tweeter.minus=common"),
    "woofer_a turned": ("crossover.hookup.woofer_a.plus=common", "crossover.hookup.woofer_a.minus=w2"),
}


def stiffer(variant: Variant, fs: float) -> Variant:
    """With all woofers' fs times this and qts as it was: cms as 1/fs^2, rms and bl^2 as fs (definitions)."""
    hookups = dict(variant.hookups)
    for name, hookup in hookups.items():
        small = hookup.driver.small_signal
        if small is not None:
            other = replace(small, cms=small.cms / fs**2, rms=small.rms * fs, bl=small.bl * math.sqrt(fs))
            hookups[name] = replace(hookup, driver=replace(hookup.driver, small_signal=other))
    return replace(variant, hookups=hookups)


def copy_of(kit: Kit, variant: Variant, random: np.random.Generator) -> Variant:
    """Every part anywhere within its tolerance, or 10 % (capacitors) or 5 %, and all woofers' fs within 10 %."""
    places = {}
    for name, place in variant.places.items():
        far = place.part.tolerance or (0.10 if place.part.kind == "capacitor" else 0.05)
        value = place.part.value * (1 + random.uniform(-far, far))
        places[name] = replace(place, part=replace(place.part, value=value, made_of=()))
    return stiffer(replace(variant, places=places), 1 + random.uniform(-0.10, 0.10))


def impedance(kit: Kit, variant: Variant, frequency: Floats = FREQUENCY, seed: int | None = 1) -> Floats:
    """Complex (F,) ohm with noise; without a seed none."""
    exact = predict(kit, variant, frequency).impedance - kit.amplifier.cable
    if seed is None:
        return np.asarray(exact)
    random = np.random.default_rng(seed)
    off = NOISE * random.normal(size=frequency.size) + 1j * ANGLE_NOISE * random.normal(size=frequency.size)
    return np.asarray(exact * np.exp(off))


def sweep_file(path: Path, settings: Sequence[str] = (), variant: str = "wall", fs: float = 1.0, seed: int = 1) -> Path:
    kit = load_kit(MARSHLIGHT, settings)
    ohms = impedance(kit, stiffer(kit.variants[variant], fs), seed=seed)
    rows = zip(FREQUENCY, np.abs(ohms), np.degrees(np.angle(ohms)), strict=True)
    path.write_text("".join(f"{f:.3f} {z:.4f} {p:.3f}\n" for f, z, p in rows), encoding="utf-8")
    return path


def microphone_file(path: Path, settings: Sequence[str] = (), variant: str = "wall", seed: int = 1) -> Path:
    kit = load_kit(MARSHLIGHT, settings)
    heard = level(predict(kit, kit.variants[variant], FREQUENCY).pressure)
    heard = heard + np.random.default_rng(seed).normal(0, 1.0, heard.size) - 8.0
    rows = zip(FREQUENCY, heard, strict=True)
    path.write_text("".join(f"{f:.3f} {db:.2f}\n" for f, db in rows), encoding="utf-8")
    return path
