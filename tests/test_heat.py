"""Warm voice coils and parts against closed forms, a general integrator and root finder, and figures of the trade."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import root
from scipy.signal import lti, step

from enclosures.driver import heated_resistance
from system import heat
from system.heat import ThermalPath, WarmCoil, Watts, course, settled
from tests.support_heat import change_of_response, loss_at_resonance, volts_reaching, warmed
from tests.support_kits import read_kit

ROOM = 293.15
COPPER = 0.00393  # IEC 60028, from memory
PATH = ThermalPath(coil_resistance=1.6, coil_time=9.0, magnet_resistance=0.9, magnet_time=1500.0)  # invented, 2.5 K/W
COIL = WarmCoil(6.0, "copper", PATH)


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """What D coils' resistances see (Thevenin): `volts` (F, D) rms behind `impedance` (F, D, D) ohm."""

    volts: np.ndarray
    impedance: np.ndarray

    def sine(self, resistance: np.ndarray) -> np.ndarray:
        """Power (F, D) in the coils, W, sine by sine, for `resistance` (F, D) or (D,) in ohm."""
        loop = self.impedance + resistance[..., None] * np.eye(resistance.shape[-1])
        current = np.linalg.solve(loop, self.volts[..., None])[..., 0]
        return np.asarray(resistance * np.abs(current) ** 2)

    def programme(self, shares: np.ndarray) -> Watts:
        """The same (D,) for a signal of which `shares` (F,) of the mean square lie at each frequency."""
        return lambda resistance: np.asarray(shares @ self.sine(resistance))


def held(volts: float, impedance: complex = 0.0) -> Source:
    """One coil on a fixed voltage behind an impedance, at one frequency."""
    return Source(np.array([[volts + 0j]]), np.array([[[impedance + 0j]]]))


def on_volts(volts: float, path: ThermalPath = PATH, re: float = 6.0) -> float:
    """Rise of a copper coil on fixed volts: dT (1 + a dT) = R V^2/re, a quadratic solved by hand."""
    cold = path.resistance * volts**2 / re
    return (math.sqrt(1 + 4 * COPPER * cold) - 1) / (2 * COPPER)


def test_the_coil_on_twenty_volts() -> None:
    """2.5 K/W, 20 V, 6 ohm, copper 0.00393: 114.84 K and 45.94 W, by hand from the quadratic."""
    temperature = settled([COIL], held(20.0).sine)
    assert temperature[0, 0] - ROOM == pytest.approx(114.84, abs=0.005)
    hot = COIL.resistance(temperature)
    assert held(20.0).sine(hot)[0, 0] == pytest.approx(45.94, abs=0.005)
    assert temperature[0, 0] == pytest.approx(PATH.steady_temperature(45.936), abs=0.01)
    assert PATH.power_at(ROOM + 114.84) == pytest.approx(45.94, abs=0.005)


@given(st.floats(1.0, 35.0), st.floats(0.2, 6.0), st.floats(2.0, 16.0))
def test_a_coil_on_fixed_volts_is_a_quadratic(volts: float, resistance: float, re: float) -> None:
    path = ThermalPath(0.6 * resistance, 9.0, 0.4 * resistance, 1500.0)
    exact = on_volts(volts, path, re)
    found = settled([WarmCoil(re, "copper", path)], held(volts).sine)[0, 0] - ROOM
    if exact < 600 - ROOM:
        assert found == pytest.approx(exact, abs=1e-7)
    else:
        assert found == math.inf


@pytest.mark.parametrize("ambient", [263.15, ROOM, 318.15])
def test_a_coil_on_a_fixed_current(ambient: float) -> None:
    """T = Ta + R I^2 re (1 + a (T - 20 degC)), linear; from R I^2 re a = 1 on it runs away."""
    for current in (1.0, 2.0, 3.0):
        gain = 2.5 * current**2 * 6.0
        exact = (ambient + gain * (1 - COPPER * ROOM)) / (1 - gain * COPPER)
        found = settled([COIL], lambda resistance, square=current**2: square * resistance, ambient)[0]  # type: ignore[misc]
        assert found == pytest.approx(exact, abs=1e-6) if exact <= 600 else found == math.inf
    runs_away = 1.01 / math.sqrt(2.5 * 6.0 * COPPER)
    assert settled([COIL], lambda resistance: runs_away**2 * resistance)[0] == math.inf


def test_what_never_settles_is_said() -> None:
    """A drive that no passive circuit makes: full power into a cold coil, none into a warm one."""
    with pytest.raises(ValueError, match="do not settle"):
        settled([COIL], lambda resistance: np.where(resistance < 7.0, 100.0, 0.0))


def circuit(seed: int, coils: int, lines: int, volts: float) -> tuple[list[WarmCoil], Source]:
    """Coils on a passive N-port chosen by chance: a resistive part without negative eigenvalue, any reactive part."""
    chance = np.random.default_rng(seed)
    size = (lines, coils, coils)
    half = chance.normal(size=size) * chance.uniform(0, 3)
    reactive = chance.normal(size=size) * 5
    impedance = half @ half.swapaxes(1, 2) + 1j * (reactive + reactive.swapaxes(1, 2))
    drive = (chance.normal(size=(lines, coils)) + 1j * chance.normal(size=(lines, coils))) * volts
    warm = [
        WarmCoil(chance.uniform(2, 12), "copper", ThermalPath(chance.uniform(0.5, 4), 5.0, chance.uniform(0.2, 3), 900))
        for _ in range(coils)
    ]
    return warm, Source(drive, impedance)


@given(st.integers(0, 10_000), st.integers(1, 4), st.floats(3.0, 35.0))
def test_coils_of_any_passive_circuit(seed: int, number: int, volts: float) -> None:
    """All coils together against a general root finder on the energy balance (scipy.optimize.root)."""
    coils, source = circuit(seed, number, 5, volts)
    shares = np.full(5, 0.2)
    found = settled(coils, source.programme(shares))
    if np.isinf(found).any():
        return
    re = np.array([coil.re for coil in coils])
    to_room = np.array([coil.path.resistance for coil in coils])

    def balance(rise: np.ndarray) -> np.ndarray:
        resistance = re * (1 + COPPER * rise)
        powers = np.zeros(number)
        for impedance, drive in zip(source.impedance, source.volts, strict=True):
            current = np.linalg.inv(impedance + np.diag(resistance)) @ drive
            powers += 0.2 * resistance * (current * current.conj()).real
        return rise - to_room * powers

    other = root(balance, np.full(number, 50.0), tol=1e-12)
    assert other.success
    np.testing.assert_allclose(found - ROOM, other.x, rtol=1e-7, atol=1e-6)


def test_sines_settle_each_for_itself() -> None:
    """A row of frequencies at once: each is the coil on its own volts, the quadratic again."""
    volts = np.array([2.0, 10.0, 20.0, 200.0])
    source = Source(volts[:, None] + 0j, np.zeros((4, 1, 1), complex))
    found = settled([COIL], source.sine)[:, 0] - ROOM
    np.testing.assert_allclose(found[:3], [on_volts(each) for each in volts[:3]], rtol=1e-9)
    assert found[3] == math.inf


def test_the_volts_that_reach_a_temperature() -> None:
    """One coil: V^2 = (dT/R) re (1 + a dT). Two like ones in series take 2 V each way, and share the power."""
    rise = 130.0
    exact = math.sqrt(rise / 2.5 * 6.0 * (1 + COPPER * rise))
    assert volts_reaching([COIL], 0, ROOM + rise, held(1.0).sine)[0] == pytest.approx(exact, rel=1e-9)

    def in_series(resistance: np.ndarray) -> np.ndarray:
        return resistance / resistance.sum(axis=-1, keepdims=True) ** 2

    assert volts_reaching([COIL, COIL], 1, ROOM + rise, in_series) == pytest.approx(2 * exact, rel=1e-9)
    assert volts_reaching([COIL], 0, ROOM + rise, held(0.0).sine)[0] == math.inf
    for wrong in (ROOM, 700.0, math.nan):
        with pytest.raises(ValueError, match="reaches"):
            volts_reaching([COIL], 0, wrong, held(1.0).sine)


@given(st.integers(0, 10_000), st.integers(1, 3), st.floats(310.0, 560.0))
def test_the_volts_found_do_reach_it(seed: int, number: int, temperature: float) -> None:
    """On any passive circuit, sine by sine: the steady state at those volts has that temperature."""
    coils, source = circuit(seed, number, 6, 1.0)
    volts = volts_reaching(coils, 0, temperature, source.sine, ambient=303.15)
    for f, found in enumerate(volts):
        one = Source(source.volts[f : f + 1] * found, source.impedance[f : f + 1])
        assert settled(coils, one.sine, ambient=303.15)[0, 0] == pytest.approx(temperature, abs=1e-5)


def test_the_programme_adds_powers_by_share() -> None:
    """Two sines in parallel branches that know nothing of each other: their powers add by share (Parseval)."""
    source = Source(np.array([[10.0 + 0j], [30.0 + 0j]]), np.array([[[0j]], [[4j]]]))
    found = source.programme(np.array([0.75, 0.25]))(np.array([6.0]))
    assert found[0] == pytest.approx(0.75 * 100 / 6 + 0.25 * 6 * 900 / (36 + 16), rel=1e-12)


def test_the_step_of_two_time_constants() -> None:
    """40 W come on: 40 [1.6 (1 - e^(-t/9)) + 0.9 (1 - e^(-t/1500))] K, by hand; and the same from scipy.signal."""
    times = np.array([1.0, 9.0, 60.0, 600.0, 1500.0, 7200.0])
    by_hand = np.array([6.7543, 40.6711, 65.3301, 75.8685, 86.7563, 99.7037])
    np.testing.assert_allclose(PATH.rise(times, 40.0), by_hand, atol=5e-5)
    # 1.6/(1 + 9 s) + 0.9/(1 + 1500 s) as one fraction
    network = lti([1.6 * 1500 + 0.9 * 9, 2.5], np.polymul([9.0, 1.0], [1500.0, 1.0]))
    _, response = step(network, T=np.arange(7201.0))
    np.testing.assert_allclose(PATH.rise(times, 40.0), 40 * response[times.astype(int)], rtol=1e-6)
    found = course([COIL], lambda resistance: np.full(resistance.shape, 40.0), times)[:, 0] - ROOM
    np.testing.assert_allclose(found, PATH.rise(times, 40.0), rtol=1e-3)  # 0.1 % is asked, and
    np.testing.assert_allclose(found, PATH.rise(times, 40.0), rtol=1e-9)  # constant power is exact


def test_power_that_comes_and_goes() -> None:
    """Steps of steady power are exact: the same as the closed steps laid over each other (superposition)."""
    spells = [(40.0, 30.0), (0.0, 5.0), (75.0, 400.0), (10.0, 2000.0)]  # W, s
    rises, end, last, steps = np.zeros(2), 0.0, 0.0, []
    for power, seconds in spells:
        rises = PATH.after(rises, power, seconds)
        steps.append((end, power - last))
        end, last = end + seconds, power
    total = sum(PATH.rise(np.array([end - start]), more)[0] for start, more in steps)
    assert rises.sum() == pytest.approx(total, rel=1e-12)


def test_the_course_of_coils_that_share_a_circuit() -> None:
    """Three coils whose power follows their resistance, against a general integrator (scipy's Radau), to 0.1 % of the
    rise; and long after, what `settled` says."""
    coils, source = circuit(seed=5, coils=3, lines=4, volts=40.0)
    watts = source.programme(np.full(4, 0.25))
    re = np.array([coil.re for coil in coils])
    stages = np.array([[coil.path.coil_resistance, coil.path.magnet_resistance] for coil in coils])
    constants = np.array([[coil.path.coil_time, coil.path.magnet_time] for coil in coils])

    def change(_time: float, flat: np.ndarray) -> np.ndarray:
        rises = flat.reshape(3, 2)
        power = watts(re * (1 + COPPER * rises.sum(axis=1)))
        return ((stages * power[:, None] - rises) / constants).ravel()

    times = np.array([0.05, 0.5, 3.0, 10.0, 60.0, 500.0, 3000.0])
    exact = solve_ivp(change, (0.0, 3000.0), np.zeros(6), "Radau", times, rtol=1e-9, atol=1e-9)
    rise = exact.y.T.reshape(-1, 3, 2).sum(axis=2)
    assert rise[-1].max() > 60  # hot enough that the resistance counts
    np.testing.assert_allclose(course(coils, watts, times) - ROOM, rise, rtol=1e-3)
    late = course(coils, watts, np.array([1e5]))[0]
    np.testing.assert_allclose(late, settled(coils, watts), atol=1e-6)


def test_a_coil_that_burns_in_the_course() -> None:
    """50 V on 6 ohm: 403 K of rise at last (the quadratic), which is beyond 600 K, but not after half a second."""
    watts = held(50.0).programme(np.ones(1))
    found = course([COIL], watts, np.array([0.5, 3600.0]))[:, 0]
    assert ROOM < found[0] < 600
    assert on_volts(50.0) > 600 - ROOM
    assert found[1] == math.inf


@pytest.mark.parametrize(("kelvin", "loss"), [(50, 1.558), (100, 2.879), (150, 4.025), (200, 5.038)])
def test_level_lost_in_the_band(kelvin: float, loss: float) -> None:
    """20 log10(1 + 0.00393 dT), by hand."""
    ratio = heated_resistance(5.6, ROOM + kelvin, "copper") / 5.6
    assert heat.loss_in_band(ratio) == pytest.approx(loss, abs=5e-4)


def test_level_lost_at_resonance() -> None:
    """20 log10[(k g + 1)/(g + 1)] by hand, and its limits: no loss without mechanical loss, all without a magnet."""
    assert loss_at_resonance(1.393, qes=0.4, qms=4.0) == pytest.approx(0.3049, abs=5e-5)
    assert loss_at_resonance(1.393, qes=1.0, qms=1e9) == pytest.approx(0, abs=1e-6)
    assert loss_at_resonance(1.393, qes=1e9, qms=1.0) == pytest.approx(heat.loss_in_band(1.393), abs=1e-6)


def test_the_response_of_a_hot_driver(tmp_path: Path) -> None:
    """Against Small's second-order high-pass (J. Audio Eng. Soc. 20(5), 1972), driven from zero ohm, no inductance:

    x^2 / (re sqrt((1 - x^2)^2 + (x/Qts)^2)) with x = f/fs, where Qes goes with re. The test woofer has fs 49.2336 Hz,
    qms 3.45738 and qes 0.414641 (exact definitions).
    """
    kit = read_kit(tmp_path)
    variant = kit.variants["v"]
    frequency = np.array([5.0, 20.0, 49.2336, 120.0, 400.0, 2000.0])
    found = change_of_response(kit, variant, {"woofer": ROOM + 100}, frequency)
    x, k, qms, qes = frequency / 49.2336, 1.393, 3.45738, 0.414641

    def level(ratio: float) -> np.ndarray:
        qts = qms * qes * ratio / (qms + qes * ratio)
        return -20 * np.log10(ratio * np.hypot(1 - x**2, x / qts))

    np.testing.assert_allclose(found, level(k) - level(1.0), atol=1e-4)
    assert found[2] == pytest.approx(-loss_at_resonance(k, qes, qms), abs=1e-4)
    assert found[-1] == pytest.approx(-heat.loss_in_band(k), abs=0.01)
    # cold is 20 degC, whatever the kit computes the driver at
    warm = warmed(variant, {"woofer": 330.0})
    assert warm.hookups["woofer"].driver.voice_coil_temperature == 330.0
    again = change_of_response(kit, warm, {"woofer": ROOM + 100}, frequency)
    np.testing.assert_allclose(again, found, atol=1e-12)
    assert not change_of_response(kit, warm, {}, frequency).any()


def test_the_surface_of_a_resistor() -> None:
    """A cemented resistor rises 150 to 250 K at its rating (common practice, no source; charts scatter by 30 K)."""
    assert heat.surface_temperature(5.0, 10.0, 200.0, 298.15) == pytest.approx(398.15)
    assert heat.surface_temperature(0.0, 10.0, 200.0, 298.15) == 298.15


def test_a_resistor_in_hot_melt_glue() -> None:
    """EVA glue bears 60 to 80 degC: 10 to 17 % of the rating (common practice), which are 25 K of rise of 250 to 150:
    glue of 60 degC in a cabinet of 35 degC."""
    for rise, share in ((250.0, 0.10), (150.0, 0.17)):
        found = heat.share_below(333.15, rise, 308.15)
        assert found == pytest.approx(share, abs=0.005)
        assert heat.surface_temperature(found, 1.0, rise, 308.15) == pytest.approx(333.15)
    assert heat.share_below(333.15, 200.0, 340.0) == 0
    assert heat.share_below(900.0, 200.0, 300.0) == 1


@pytest.mark.parametrize("name", ["coil_resistance", "coil_time", "magnet_resistance", "magnet_time"])
def test_impossible_paths(name: str) -> None:
    for wrong in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match=f"{name} must be above zero"):
            replace(PATH, **{name: wrong})


def test_impossible_resistors() -> None:
    with pytest.raises(ValueError, match="rated must"):
        heat.surface_temperature(1.0, 0.0, 200.0, 300.0)
    for wrong in (0.0, -200.0, math.nan):
        with pytest.raises(ValueError, match="rise_at_rating must"):
            heat.surface_temperature(1.0, 10.0, wrong, 300.0)
        with pytest.raises(ValueError, match="rise_at_rating must"):
            heat.share_below(400.0, wrong, 300.0)
