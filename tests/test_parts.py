import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from filters.parts import Capacitor, Coil, Resistor
from tests.support_networks import capacitors, coils, omegas, resistors

OMEGA = 2 * np.pi * np.array([20.0, 120.0, 1000.0, 20e3])


def test_ideal_parts_follow_their_definitions():
    np.testing.assert_allclose(Resistor(2.2).impedance(OMEGA), 2.2)
    np.testing.assert_allclose(Coil(1.2e-3, 0.3).impedance(OMEGA), 0.3 + 1.2e-3j * OMEGA)
    np.testing.assert_allclose(Capacitor(15e-6).impedance(OMEGA), 1 / (15e-6j * OMEGA))


def test_capacitor_with_series_resistance_and_leakage():
    inner = 1 / (1 / 1e5 + 15e-6j * OMEGA)  # resistance across the capacitance
    np.testing.assert_allclose(Capacitor(15e-6, 0.05, leakage_resistance=1e5).impedance(OMEGA), 0.05 + inner)


def test_constant_loss_angle_means_a_resistance_falling_as_one_over_f():
    # IEC 60384-1: tan d = R omega C. Non-polar electrolytic, 10 % at 120 Hz, 47 uF: 0.1/(2 pi 120 47e-6) = 2.8218 ohm
    part = Capacitor(47e-6, dissipation_factor=0.1, dissipation_at=120.0)
    loss = part.loss_resistance(OMEGA)
    assert loss[1] == pytest.approx(2.8219, abs=1e-4)
    np.testing.assert_allclose(loss * OMEGA, loss[0] * OMEGA[0])
    np.testing.assert_allclose(part.impedance(OMEGA).real / -part.impedance(OMEGA).imag, 0.1)


@pytest.mark.parametrize("tangent", [None, 0.02])
def test_leakage_heat_counts(tangent):
    part = Capacitor(100e-6, 0.1, tangent, 1000.0, leakage_resistance=500.0)
    volts = 10.0
    current = volts / part.impedance(OMEGA)
    inner = current / (1 / 500 + 100e-6j * OMEGA)  # volts across the leakage
    series = 0.1 + (tangent or 0) / (OMEGA * 100e-6)
    heat = np.abs(inner) ** 2 / 500 + np.abs(current) ** 2 * series
    np.testing.assert_allclose(np.abs(current) ** 2 * part.loss_resistance(OMEGA), heat, rtol=1e-12)


def test_at_zero_hertz():
    zero = np.zeros(1)
    assert Capacitor(1e-6, 0.1).admittance(zero)[0] == 0
    assert np.isinf(Capacitor(1e-6).impedance(zero)[0])
    assert Capacitor(1e-6).loss_resistance(zero)[0] == 0
    assert Capacitor(1e-6, 2.0, leakage_resistance=1e3).impedance(zero)[0] == pytest.approx(1002)
    assert Capacitor(1e-6, dissipation_factor=0.01, dissipation_at=1e3).admittance(zero)[0] == 0
    assert Coil(1e-3, 0.4).impedance(zero)[0] == pytest.approx(0.4)
    assert np.isinf(Coil(1e-3).admittance(zero)[0])
    assert np.isinf(Resistor(0.0).admittance(zero)[0])


def test_values_over_builds_come_before_frequency():
    value = np.array([1e-6, 2e-6, 3e-6])
    for part in (Resistor(value), Coil(value, value), Capacitor(value, value, value, 1.0, value)):
        for array in (part.impedance(OMEGA), part.admittance(OMEGA), part.loss_resistance(OMEGA)):
            assert array.shape == (3, 4)
        for i, one in enumerate(value):
            same = type(part)(*(one for _ in range(2 if isinstance(part, Coil) else 1)))
            if not isinstance(part, Capacitor):
                np.testing.assert_allclose(part.impedance(OMEGA)[i], same.impedance(OMEGA))
    only_loss = Capacitor(1e-6, series_resistance=value)
    assert only_loss.impedance(OMEGA).shape == only_loss.loss_resistance(OMEGA).shape == (3, 4)


@given(st.one_of(resistors, capacitors, coils))
def test_the_loss_resistance_is_the_real_part_and_the_part_is_passive(part):
    omega = omegas(count=7)
    impedance, loss = part.impedance(omega), part.loss_resistance(omega)
    np.testing.assert_allclose(impedance.real, loss, rtol=1e-9, atol=1e-12 * np.abs(impedance).max())
    assert np.all(loss >= 0)
    finite = impedance != 0
    np.testing.assert_allclose(part.admittance(omega)[finite] * impedance[finite], 1)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Resistor(-1.0), "resistor: the resistance must not be negative"),
        (lambda: Resistor(float("nan")), "resistor: the resistance"),
        (lambda: Capacitor(0.0), "capacitor: the capacitance must be above zero"),
        (lambda: Capacitor(1e-6, -0.1), "capacitor: the series resistance"),
        (lambda: Capacitor(1e-6, dissipation_factor=0.1), "needs the frequency"),
        (lambda: Capacitor(1e-6, dissipation_factor=-0.1, dissipation_at=1e3), "capacitor: the dissipation factor"),
        (lambda: Capacitor(1e-6, leakage_resistance=0.0), "capacitor: the leakage resistance must be above zero"),
        (lambda: Coil(np.array([1e-3, -1e-3])), "coil: the inductance must be above zero"),
        (lambda: Coil(1e-3, -0.1), "coil: the resistance must not be negative"),
    ],
)
def test_values_out_of_range_are_refused(make, words):
    with pytest.raises(ValueError, match=words):
        make()
