"""The passive radiator against Small, J. Audio Eng. Soc. 22(8,9), 1974."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.vented import Radiator, RadiatorBox
from tests.support_enclosures import AIR, WOOFER, db, driven, peak, response

RADIATOR = Radiator(137e-4, 48e-3, 1.4e-3, 0.0)
BOX = RadiatorBox(18e-3, (RADIATOR,))
FP, DELTA, FB = 19.415, 2.0705, 34.021  # worked from the definitions


def test_resonances() -> None:
    assert RADIATOR.fp == pytest.approx(FP, abs=5e-4)
    assert BOX.resonance(AIR) == pytest.approx(FB, abs=5e-4)
    assert (BOX.resonance(AIR) / RADIATOR.fp) ** 2 - 1 == pytest.approx(DELTA, abs=5e-5)


def test_output_is_nil_where_the_radiator_resonates_and_the_cone_rests_at_fb() -> None:
    frequency = np.linspace(15, 40, 25001)
    one = driven([WOOFER], BOX, frequency)
    assert frequency[np.abs(one.total).argmin()] == pytest.approx(RADIATOR.fp, abs=0.001)
    assert frequency[np.abs(one.velocity[:, 0]).argmin()] == pytest.approx(BOX.resonance(AIR), abs=0.001)
    exact = driven([WOOFER], BOX, [RADIATOR.fp, BOX.resonance(AIR)])
    assert abs(exact.total[0]) < 1e-12 * abs(exact.openings[0, 0])
    assert abs(exact.velocity[1, 0]) < 1e-12 * abs(WOOFER.bl / WOOFER.re / WOOFER.rms)


def test_far_below_the_radiator_is_a_spring() -> None:
    """12 dB an octave, x/V tends to (bl/re)/(1/cms + sd^2/(Cab + Cmp sp^2)); with a leak 18 dB an octave."""
    low, high = db(response(WOOFER, BOX, [0.1, 0.2]))
    assert high - low == pytest.approx(40 * math.log10(2), abs=2e-3)
    compliance = 18e-3 / AIR.bulk_modulus + 1.4e-3 * 137e-4**2
    static = WOOFER.bl / WOOFER.re / (1 / WOOFER.cms + WOOFER.sd**2 / compliance)
    assert abs(driven([WOOFER], BOX, [0.01]).displacement[0, 0]) == pytest.approx(static, rel=1e-6)
    low, high = db(response(WOOFER, RadiatorBox(18e-3, (RADIATOR,), leak=7.0), [0.01, 0.02]))
    assert high - low == pytest.approx(60 * math.log10(2), abs=2e-3)


def test_impedance_peaks_lie_on_both_sides_of_the_tuning() -> None:
    """With the cone blocked by the box at fb the impedance is re; two peaks, as in a vented box."""

    def impedance(f: float) -> float:
        return float(abs(driven([WOOFER], BOX, [f]).impedance[0]))

    assert impedance(BOX.resonance(AIR)) == pytest.approx(WOOFER.re, rel=1e-9)
    assert impedance(peak(impedance, 19.5, 33)[0]) > 3 * WOOFER.re
    assert impedance(peak(impedance, 35, 120)[0]) > 3 * WOOFER.re


def test_two_radiators_are_one_of_twice_the_area() -> None:
    lossy = Radiator(137e-4, 48e-3, 1.4e-3, 0.9)
    double = Radiator(2 * 137e-4, 96e-3, 0.7e-3, 1.8)
    frequency = np.geomspace(5, 500, 80)
    pair = Radiator(137e-4, 48e-3, 1.4e-3, 0.9, count=2)
    boxes = [RadiatorBox(18e-3, radiators, leak=9.0) for radiators in ((lossy, lossy), (pair,), (double,))]
    curves = [driven([WOOFER], box, frequency) for box in boxes]
    for box, curve in zip(boxes[1:], curves[1:], strict=True):
        assert box.resonance(AIR) == pytest.approx(boxes[0].resonance(AIR), rel=1e-12)
        assert box.opening_areas == pytest.approx((2 * 137e-4,))
        np.testing.assert_allclose(curve.impedance, curves[0].impedance, rtol=1e-11)
        np.testing.assert_allclose(curve.openings[:, 0], curves[0].openings.sum(axis=1), rtol=1e-10)


def test_impossible_radiators() -> None:
    for name in ("sd", "mms", "cms"):
        with pytest.raises(ValueError, match=name):
            Radiator(**{"sd": 0.01, "mms": 0.05, "cms": 1e-3, "rms": 0.5, name: 0.0})
    with pytest.raises(ValueError, match="rms"):
        Radiator(0.01, 0.05, 1e-3, -0.1)
    with pytest.raises(ValueError, match="count"):
        Radiator(0.01, 0.05, 1e-3, 0.1, 0)
    with pytest.raises(ValueError, match="at least one"):
        RadiatorBox(18e-3, ())
