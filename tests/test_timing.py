"""Group delay and step response against the closed forms of filters, and of a driver in an infinite wall."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from system.detail import predict_in_detail
from system.timing import FADE, group_delay, step_response
from tests.support_kits import WOOFER, read_kit

Floats = NDArray[np.float64]
Complexes = NDArray[np.complexfloating]

F = np.geomspace(10.0, 20e3, 41)
DENSE = np.concatenate([np.geomspace(1.0, 5e3, 1500), np.arange(5020.0, 20001.0, 20.0)])
RIPPLE = 1e-3  # of a step's height: what the band's end leaves of an edge 0.3 ms away from it
NEAR = 0.3e-3  # s
RHO, SD, BL, RE, MMS, RMS, CMS = 1.2041, 88e-4, 6.3, 5.6, 9.5e-3, 0.85, 1.10e-3


def first_low(corner: float) -> Callable[[Floats], Complexes]:
    return lambda f: 1 / (1 + 1j * f / corner)


def second(corner: float, q: float, power: int) -> Callable[[Floats], Complexes]:
    """Low-pass (power 0), band-pass (1) or high-pass (2) of the second order."""

    def response(f: Floats) -> Complexes:
        s = 1j * f / corner
        return np.asarray(s**power / (s**2 + s / q + 1))

    return response


def test_group_delay_of_first_order_filters() -> None:
    """tau/(1 + (w tau)^2) of a low-pass or high-pass, twice that of the all-pass of one pole.

    From phase = -atan(w tau), differentiated (Zverev, Handbook of Filter Synthesis, 1967, from memory). The phase is
    read over a ninety-sixth of an octave, h = 0.36 % to either side, and a slope over 2 h is off by h^2/6 of the third
    derivative: 1e-5 of the largest.
    """
    corner = 800.0
    x, tau = F / corner, 1 / (2 * math.pi * corner)
    for times, response in (
        (1, first_low(corner)),
        (1, lambda f: 1j * f / corner / (1 + 1j * f / corner)),
        (2, lambda f: (1 - 1j * f / corner) / (1 + 1j * f / corner)),
    ):
        np.testing.assert_allclose(group_delay(response, F), times * tau / (1 + x**2), rtol=0, atol=1e-5 * tau)


@pytest.mark.parametrize("q", [0.5, 1 / math.sqrt(2), 2.0])
@pytest.mark.parametrize("power", [0, 1, 2])
def test_group_delay_of_second_order_filters(q: float, power: int) -> None:
    """(1/(w0 Q)) (1 + x^2)/((1 - x^2)^2 + (x/Q)^2), the same for low-, band- and high-pass (Zverev, as above)."""
    corner = 60.0
    x = F / corner
    expected = (1 + x**2) / ((1 - x**2) ** 2 + (x / q) ** 2) / (2 * math.pi * corner * q)
    np.testing.assert_allclose(group_delay(second(corner, q, power), F), expected, rtol=0, atol=1e-4 * expected.max())


def test_group_delay_of_a_pure_delay_and_of_nothing() -> None:
    """A delay of 3 ms has that group delay everywhere, at any level; silence has none."""
    np.testing.assert_allclose(group_delay(lambda f: 1e-9 * np.exp(-2j * np.pi * f * 3e-3), F), 3e-3, rtol=1e-9)
    assert np.isnan(group_delay(lambda f: np.zeros(f.shape, complex), F)).all()


def test_step_of_a_first_order_high_pass() -> None:
    """exp(-t/tau), half of it at the edge itself: what ends the band is the same to both sides of it."""
    corner = 30.0
    moments, step = step_response(DENSE, 1j * DENSE / corner / (1 + 1j * DENSE / corner))
    expected = np.where(moments >= 0, np.exp(-2 * np.pi * corner * moments), 0.0)
    away = np.abs(moments) > NEAR
    np.testing.assert_allclose(step[away], expected[away], rtol=0, atol=RIPPLE)
    assert step[moments == 0] == pytest.approx(0.5, abs=RIPPLE)
    edge = np.abs(moments) < 0.1e-3
    early, late = np.interp([0.1, 0.9], step[edge], moments[edge])
    assert late - early == pytest.approx(0.033e-3, abs=0.5e-6)  # as the module says


@pytest.mark.parametrize("q", [0.6, 1 / math.sqrt(2), 1.5])
def test_step_of_second_order_filters(q: float) -> None:
    """High-pass e^(-a t) (cos w1 t - (a/w1) sin w1 t), band-pass (w0/w1) e^(-a t) sin w1 t.

    With a = w0/2Q and w1^2 = w0^2 - a^2 (Laplace pairs; Doetsch, Introduction to the Laplace Transformation, from
    memory). The first is the pressure of a driver in a sealed box, the second its cone's velocity.
    """
    corner = 50.0
    w0 = 2 * math.pi * corner
    a = w0 / (2 * q)
    w1 = math.sqrt(w0**2 - a**2)
    both = np.stack([second(corner, q, power)(DENSE) for power in (2, 1)], axis=1)
    moments, steps = step_response(DENSE, both)
    t = np.maximum(moments, 0.0)
    fall, after = np.exp(-a * t), moments > 0
    high = np.where(after, fall * (np.cos(w1 * t) - a / w1 * np.sin(w1 * t)), 0.0)
    band = np.where(after, w0 / w1 * fall * np.sin(w1 * t), 0.0)
    away = np.abs(moments) > NEAR
    np.testing.assert_allclose(steps[away, 0], high[away], rtol=0, atol=RIPPLE)
    np.testing.assert_allclose(steps[away, 1], band[away], rtol=0, atol=RIPPLE)


def test_step_of_a_bass_and_a_treble_that_comes_late() -> None:
    """Two exponentials, exp(-a t) - exp(-b t) over 1 - a/b, and the same 8 ms later (Laplace pair, shift theorem)."""
    low, high, late = 30.0, 1000.0, 8e-3
    s = 2j * np.pi * DENSE
    a, b = 2 * math.pi * low, 2 * math.pi * high
    response = s / (s + a) * b / (s + b)
    moments, steps = step_response(DENSE, np.stack([response, response * np.exp(-s * late)], axis=1))
    for delay, step in ((0.0, steps[:, 0]), (late, steps[:, 1])):
        t = np.maximum(moments - delay, 0.0)
        expected = (np.exp(-a * t) - np.exp(-b * t)) / (1 - a / b)
        away = np.abs(moments - delay) > NEAR
        np.testing.assert_allclose(step[away], expected[away], rtol=0, atol=RIPPLE)


def test_nothing_above_the_band_counts() -> None:
    """A tone's worth of response beyond 20 kHz, where the band ends, changes nothing."""
    further = np.concatenate([DENSE, [30e3, 60e3]])
    response = first_low(500.0)(further) * 1j * further / (40 + 1j * further)
    loud = response.copy()
    loud[further > FADE[1]] *= 100
    one, other = (step_response(DENSE, values[: DENSE.size])[1] for values in (response, loud))
    np.testing.assert_array_equal(one, other)


def test_a_driver_in_an_infinite_wall(tmp_path: Path) -> None:
    """Small, J. Audio Eng. Soc. 20(10), 1972: a second-order high-pass at 1 m, of rho Sd Bl V/(2 pi Re Mms) Pa.

    Its phase and step start where the axis begins: no delay is left of the metre.
    """
    kit = read_kit(tmp_path, drivers=f"{{woofer: {WOOFER}}}")
    result = predict_in_detail(kit, kit.variants["v"], F, 2.83)
    timing = result.detail.timing if result.detail else None
    assert timing is not None
    w0 = 1 / math.sqrt(MMS * CMS)
    a = (RMS + BL**2 / RE) / (2 * MMS)
    w1 = cmath.sqrt(w0**2 - a**2)  # imaginary: this driver is overdamped
    height = RHO * SD * BL * 2.83 / (2 * math.pi * RE * MMS)
    t = np.maximum(timing.moments, 0.0)
    expected = np.where(timing.moments > 0, np.exp(-a * t) * (np.cos(w1 * t) - a / w1 * np.sin(w1 * t)), 0.0).real
    away = np.abs(timing.moments) > NEAR
    np.testing.assert_allclose(timing.step[away], height * expected[away], rtol=0, atol=RIPPLE * height)
    np.testing.assert_allclose(timing.parts["woofer"], timing.step, rtol=0, atol=1e-9 * height)
    x, q = 2 * np.pi * F / w0, w0 / (2 * a)
    delay = (1 + x**2) / ((1 - x**2) ** 2 + (x / q) ** 2) / (w0 * q)
    np.testing.assert_allclose(timing.group_delay, delay, rtol=0, atol=1e-4 * delay.max())


def test_parts_add_up_and_follow_the_volts(tmp_path: Path) -> None:
    """Superposition: drivers and port of a box without leak are all there is; twice the volts, twice the step."""
    box = (
        "{box: {chambers: [{kind: vented, drivers: [woofer], volume: 20 L, ports: [{diameter: 60 mm, length: 120 mm}],"
    )
    box += " losses: {leak: lossless, absorption: lossless}}]}}"
    kit = read_kit(tmp_path, cabinets=box)
    one, two = (predict_in_detail(kit, kit.variants["v"], F, volts).detail for volts in (1.0, 2.0))
    assert one is not None
    assert two is not None
    assert set(one.timing.parts) == {"woofer", "port"}
    size = float(np.abs(one.timing.step).max())
    np.testing.assert_allclose(sum(one.timing.parts.values()), one.timing.step, rtol=0, atol=1e-9 * size)
    np.testing.assert_allclose(two.timing.step, 2 * one.timing.step, rtol=0, atol=1e-9 * size)
