"""Creep of a suspension against what its own Laplace transforms say: displacement under a constant force."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.special import exp1

from enclosures.creep import Creep

FS = 40.0


def under_constant_force(creep: Creep, time: float) -> float:
    """Displacement at `time` s after a force of 1/C0 sets in: (2/pi) of the integral of Re C(w) sin(wt)/w dw.

    The response to a step of a system at rest (Papoulis, The Fourier Integral, 1962, section 2-2; from memory).
    """

    def real(omega: float) -> float:
        ratio: NDArray[np.complex128] = creep.compliance_ratio(np.array([omega / (2 * math.pi)]), FS)
        return float(ratio[0].real)

    split = 1.0 / time
    low = quad(lambda omega: real(omega) * math.sin(omega * time) / omega, 0, split, limit=200)[0]
    top = 2 * math.pi * FS * 10 ** (0.99 / creep.factor)  # above, the logarithm alone would go below zero
    edges = np.geomspace(split, min(top, 1e4 / time), 40)
    high = sum(
        quad(lambda omega: real(omega) / omega, a, b, weight="sin", wvar=time, limit=200)[0] for a, b in pairwise(edges)
    )
    return 2 / math.pi * (low + high)


@pytest.mark.parametrize("time", [0.01, 0.1, 1.0, 10.0])
def test_it_goes_on_with_the_logarithm_of_time(time: float) -> None:
    """1 + lambda (ln(ws t) + gamma)/ln 10, by L{ln t} = -(gamma + ln s)/s.

    Abramowitz & Stegun, 1964, 29.3.98; from memory.
    """
    creep = Creep(0.1)
    expected = 1 + creep.factor * (math.log(2 * math.pi * FS * time) + np.euler_gamma) / math.log(10)
    assert under_constant_force(creep, time) == pytest.approx(expected, abs=2e-4)  # the integral ends at 1e4/time


@pytest.mark.parametrize("time", [1e-4, 1e-3, 1e-2, 1.0])
def test_a_corner_is_where_creep_begins(time: float) -> None:
    """L{E1(wc t)} = ln(1 + s/wc)/s (Abramowitz & Stegun, 1964, 29.3.100; from memory) comes to the above."""
    creep = Creep(0.1, corner=200.0)
    logarithms = math.log(2 * math.pi * FS * time) + np.euler_gamma + exp1(2 * math.pi * 200.0 * time)
    expected = 1 + creep.factor * logarithms / math.log(10)
    assert under_constant_force(creep, time) == pytest.approx(expected, abs=2e-4)


def test_far_above_its_corner_the_compliance_is_a_spring() -> None:
    ratio = Creep(0.12, corner=100.0).compliance_ratio(np.array([1e6]), FS)[0]
    assert ratio == pytest.approx(1 - 0.12 * math.log10(100.0 / FS), abs=2e-5)


def test_far_below_its_corner_it_is_the_logarithm() -> None:
    frequency = np.geomspace(1, 20, 9)
    plain, cornered = (Creep(0.12, corner).compliance_ratio(frequency, FS) for corner in (None, 1e6))
    np.testing.assert_allclose(cornered, plain, atol=2e-6)


def test_per_decade() -> None:
    """lambda is what a decade adds: the figure's own definition (Knudsen & Jensen 1993, from memory)."""
    ratio = Creep(0.15).compliance_ratio(np.array([4.0, 40.0]), FS)
    assert ratio[0].real - ratio[1].real == pytest.approx(0.15)
    assert ratio[1].real == pytest.approx(1.0)


def test_loss_at_resonance_is_that_of_a_spring_with_this_loss_factor() -> None:
    """A spring k (1 + j eta) has 1/q = eta where its mass resonates with k (Cremer, Heckl & Petersson, 2005, ch. 3)."""
    creep = Creep(0.1)
    stiffness = 1 / creep.compliance_ratio(np.array([FS]), FS)[0]
    # against C0's own stiffness, which the driver's q counts with
    assert creep.loss == pytest.approx(stiffness.imag, rel=1e-12)
    assert creep.loss == pytest.approx(0.1 * 0.6822, rel=0.006)  # pi/(2 ln 10), to first order


@given(st.floats(0, 0.3), st.floats(0.1, 2000), st.none() | st.floats(10, 1e4))
def test_it_gives_no_energy(factor: float, frequency: float, corner: float | None) -> None:
    ratio = Creep(factor, corner).compliance_ratio(np.array([frequency]), FS)[0]
    resistance = (1 / (2j * math.pi * frequency * ratio)).real
    assert resistance >= -1e-18


@pytest.mark.parametrize(
    "wrong", [{"factor": -0.1}, {"factor": 1.1}, {"factor": math.nan}, {"factor": 0.1, "corner": 0.0}]
)
def test_what_is_no_creep_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="creep"):
        Creep(**wrong)


def test_nothing_left_of_the_compliance() -> None:
    with pytest.raises(ValueError, match="corner"):
        Creep(0.5).compliance_ratio(np.array([1e5]), FS)
    with pytest.raises(ValueError, match="above zero"):
        Creep(0.1).compliance_ratio(np.array([0.0]), FS)
