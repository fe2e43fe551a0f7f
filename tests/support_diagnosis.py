"""The example's variants with every mistake, built the ordinary way, for the tests of the diagnosis and its copies."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from filters.network import solve
from system.bench.copies import grounded
from system.bench.hypotheses import Hypotheses
from system.build import build
from system.examples import scenarios
from system.kit import Kit, Variant
from system.kitfile import load_kit
from system.transfer import motion

KIT = load_kit(scenarios() / "marshlight" / "kit.yaml")
FREQUENCY = np.geomspace(10, 20e3, 200)
NAMES = tuple(KIT.variants)


@cache
def hypotheses(name: str) -> Hypotheses:
    return Hypotheses.of(KIT, KIT.variants[name], FREQUENCY)


def impedance(kit: Kit, variant: Variant, frequency: np.ndarray = FREQUENCY) -> np.ndarray:
    """By the ordinary way, one build at a time; what hangs in the air is tied to the input's second point."""
    model = build(kit, variant)
    network = grounded(model.network)
    assert network is not None
    return solve(network, 2 * np.pi * frequency, motion(model, frequency).impedance).input_impedance


def with_woofers(variant: Variant, **factors: float) -> Variant:
    """Woofers whose fs, qts and re are other: with mms held (Small, J. Audio Eng. Soc. 20(5), 1972)."""
    fs, q, re = (factors.get(name, 1.0) for name in ("fs", "qts", "re"))
    hookups = dict(variant.hookups)
    for name, hookup in hookups.items():
        s = hookup.driver.small_signal
        if s is not None:
            other = replace(s, re=s.re * re, cms=s.cms / fs**2, rms=s.rms * fs / q, bl=s.bl * math.sqrt(re * fs / q))
            hookups[name] = replace(hookup, driver=replace(hookup.driver, re=other.re, small_signal=other))
    return replace(variant, hookups=hookups)
