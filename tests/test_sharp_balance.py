"""Harmonic balance where earlier tests saw no fault: its derivatives, and tones that know nothing of each other."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from enclosures.harmonic_balance import FOUND, Source, _equations, harmonic_balance, multiples_of
from enclosures.large_signal import LargeSignal, Polynomial, Tabulated
from enclosures.vented import Port, VentedBox
from tests.support_enclosures import AIR
from tests.support_large_signal import COIL_WOOFER, CURVES

VENTED = VentedBox(18e-3, (Port(16e-4, 0.10),), leak=15.0)
OTHER = LargeSignal(
    Polynomial((5.0, 90.0, -4e4)), Tabulated((-8e-3, 0.0, 8e-3), (2e3, 9e2, 3e3)), Polynomial((4e-4, 0.02))
)


def direct(omega: np.ndarray, count: int, harmonics: int, ohm: float = 0.4) -> Source:
    """All drivers straight on one source of one volt behind the same resistance."""
    size = (omega.size, 2 * harmonics)
    shared = np.broadcast_to(ohm * np.ones((count, count)), (*size, count, count))
    return Source.open_circuit(np.ones((omega.size, count), dtype=complex), shared.astype(complex))


def test_the_derivatives_are_those_of_what_they_belong_to() -> None:
    """Newton's matrix against central differences (their error is of second order: Taylor); two unlike drivers."""
    omega = 2 * np.pi * np.array([45.0, 160.0])
    drivers = [COIL_WOOFER, replace(COIL_WOOFER, mms=14e-3, bl=5.0)]
    equations = _equations(drivers, [CURVES, OTHER], VENTED, omega, AIR, direct(omega, 2, 3), 3)
    volts = np.array([4.0, 9.0])
    rng = np.random.default_rng(3)
    state = equations.small_signal * rng.uniform(0.7, 1.3, equations.small_signal.shape)
    state += 0.05 * rng.standard_normal(state.shape)
    point = equations.point(state, volts)
    assert point.positive.all()
    step = 1e-5
    for u in range(state.shape[1]):
        aside = np.zeros(state.shape)
        aside[:, u] = step
        one, other = (equations.point(state + sign * aside, volts).residual for sign in (1, -1))
        found, expected = point.jacobian[:, :, u], (one - other) / (2 * step)
        np.testing.assert_allclose(found, expected, atol=3e-6 * np.abs(expected).max())


def test_tones_are_worked_out_together_as_alone() -> None:
    """Each tone is a problem of its own; one that is driven beyond its curves takes nothing from the others."""
    omega, levels = 2 * np.pi * np.array([45.0, 300.0]), [2.0, 40.0]
    small = LargeSignal(Polynomial((6.3, 0.0, -8e4)), Polynomial((900.0, 0.0, 2e7)), Polynomial((5e-4, -0.06)))

    def solved(tones: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        found = harmonic_balance([COIL_WOOFER], [small], VENTED, tones, AIR, direct(tones, 1, 4), levels, 4)
        return found.reason, found.displacement

    reason, displacement = solved(omega)
    assert (reason == FOUND).any(axis=1)[-1]
    assert not (reason == FOUND).all()
    for f in range(omega.size):
        alone, moved = solved(omega[f : f + 1])
        assert list(alone[0]) == list(reason[f])
        np.testing.assert_allclose(moved[0], displacement[f], rtol=1e-6, atol=1e-12)


@pytest.mark.parametrize("levels", [[1.0, math.nan], [1.0, math.inf], [1.0, 1.0], [0.0, 1.0], [-1.0, 1.0]])
def test_levels_rise_from_above_zero_and_are_numbers(levels: list[float]) -> None:
    omega = 2 * np.pi * np.array([50.0])
    assert multiples_of(omega, 2).shape == (1, 4)
    with pytest.raises(ValueError, match="levels must rise"):
        harmonic_balance([COIL_WOOFER], [CURVES], VENTED, omega, AIR, direct(omega, 1, 2), levels, 2)
