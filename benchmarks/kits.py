"""The kits that are measured: the example, the smallest one, and kits of any number of drivers."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np

from system.build import Build, build
from system.examples import scenarios
from system.kit import Kit
from system.kitfile import load_kit

EXAMPLE = scenarios() / "marshlight" / "kit.yaml"
FREQUENCY = np.geomspace(20.0, 20e3, 400)
VOLTS = 2.83


@cache
def example() -> Kit:
    """The example kit."""
    return load_kit(EXAMPLE)


def example_build(variant: str) -> Build:
    """A variant of it, put together."""
    return build(example(), example().variants[variant])


def places_heard(kit: Kit) -> int:
    """How many of the variants differ in their cabinet, where it stands, or where it is heard."""
    found: list[Sequence[object]] = []
    for variant in kit.variants.values():
        place = (variant.cabinet, variant.attitude, variant.placement, variant.listening)
        if place not in found:
            found.append(place)
    return len(found)


def many_drivers(folder: Path, drivers: int) -> Kit:
    """Woofers one above the other, each fed through a coil of its own, in one sealed box with a baffle."""
    names = [f"w{i}" for i in range(drivers)]
    parts = ", ".join(f"L{i}: {{coil: 1 mH, dc_resistance: 0.2 ohm, between: [in, p{i}]}}" for i in range(drivers))
    hookup = ", ".join(f"{name}: {{driver: woofer, plus: p{i}, minus: common}}" for i, name in enumerate(names))
    cutouts = ", ".join(f"{name}: [100 mm, {100 + 150 * i} mm]" for i, name in enumerate(names))
    text = f"""\
format: 1
kit: Column
amplifier: {{power: 50 W, load: 8 ohm}}
drivers:
  woofer: {{re: 5.8 ohm, fs: 50 Hz, qms: 4, qes: 0.45, vas: 12 L, sd: 88 cm2, linear_excursion: 4 mm}}
crossover: {{input: [in, common], parts: {{{parts}}}, hookup: {{{hookup}}}}}
cabinets:
  column:
    baffle: {{width: 200 mm, height: 1300 mm, depth: 250 mm}}
    cutouts: {{{cutouts}}}
    chambers: [{{kind: sealed, drivers: [{", ".join(names)}], volume: {8 * drivers} L}}]
variants: {{column: {{cabinet: column}}}}
"""
    path = folder / f"column_{drivers}.yaml"
    path.write_text(text, encoding="utf-8")
    return load_kit(path)
