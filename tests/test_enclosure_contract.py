"""What every kind of enclosure must keep: shapes, reciprocity, passivity, and the balance of power."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from enclosures.acoustics import Enclosure, electrical_load
from enclosures.air import Air
from enclosures.arrays import RealArray
from enclosures.driver import Driver
from enclosures.kinds import KINDS
from tests.strategies_enclosures import OPENING_RESISTANCE, STRATEGIES, airs

FREQUENCY = np.geomspace(11.0, 19000.0, 13)
OMEGA = 2 * np.pi * FREQUENCY
few = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])

every_kind = pytest.mark.parametrize("kind", sorted(KINDS))


def test_every_kind_has_a_strategy() -> None:
    assert set(STRATEGIES) == set(KINDS)
    assert set(OPENING_RESISTANCE) == set(KINDS)


@every_kind
@few
@given(data=st.data(), air=airs)
def test_shapes_and_finiteness(kind: str, data: st.DataObject, air: Air) -> None:
    enclosure, drivers = data.draw(STRATEGIES[kind]())
    assert type(enclosure) is KINDS[kind]
    f, n, m = len(OMEGA), len(drivers), len(enclosure.opening_areas)
    assert all(area > 0 for area in enclosure.opening_areas)
    assert 0 < enclosure.resonance(air, drivers) < 20000
    load = enclosure.load(OMEGA, air, drivers)
    assert load.impedance.shape == (f, n, n)
    assert load.openings.shape == (f, m, n)
    assert load.leak.shape == (f, n)
    electrical = electrical_load(drivers, enclosure, OMEGA, air)
    assert electrical.impedance.shape == electrical.velocity.shape == (f, n, n)
    assert electrical.openings.shape == (f, m, n)
    assert electrical.leak.shape == (f, n)
    for array in (load.impedance, electrical.impedance, electrical.velocity, electrical.openings, electrical.leak):
        assert np.isfinite(array).all()


@every_kind
@few
@given(data=st.data(), air=airs)
def test_reciprocity(kind: str, data: st.DataObject, air: Air) -> None:
    """The pressure that one cone makes at another is that which the other would make at it."""
    enclosure, drivers = data.draw(STRATEGIES[kind]())
    za = enclosure.load(OMEGA, air, drivers).impedance
    scale = np.abs(za).max(axis=(1, 2), keepdims=True)
    scale[scale == 0] = 1.0  # all drivers in an ideal mouth
    np.testing.assert_allclose(za / scale, za.swapaxes(1, 2) / scale, atol=1e-12, rtol=0)
    z = electrical_load(drivers, enclosure, OMEGA, air).impedance
    scale = np.abs(z).max(axis=(1, 2), keepdims=True)
    np.testing.assert_allclose(z / scale, z.swapaxes(1, 2) / scale, atol=1e-12, rtol=0)


@every_kind
@few
@given(data=st.data(), air=airs)
def test_passivity(kind: str, data: st.DataObject, air: Air) -> None:
    """No current and no motion of the cones gets power out of it."""
    enclosure, drivers = data.draw(STRATEGIES[kind]())
    for matrix in (
        enclosure.load(OMEGA, air, drivers).impedance,
        electrical_load(drivers, enclosure, OMEGA, air).impedance,
    ):
        resistance = (matrix + matrix.conj().swapaxes(1, 2)) / 2
        assert (np.linalg.eigvalsh(resistance)[:, 0] >= -1e-11 * np.abs(matrix).max(axis=(1, 2))).all()


def powers(
    kind: str, enclosure: Enclosure, drivers: tuple[Driver, ...], air: Air, seed: int
) -> tuple[RealArray, RealArray, RealArray]:
    """For random currents: power into the moving parts, that which suspensions and openings take, and rounding."""
    load = electrical_load(drivers, enclosure, OMEGA, air)
    rng = np.random.default_rng(seed)
    current = rng.normal(size=(len(OMEGA), len(drivers))) + 1j * rng.normal(size=(len(OMEGA), len(drivers)))
    velocity = np.einsum("fnm,fm->fn", load.velocity, current)
    flow = np.einsum("fnm,fm->fn", load.openings, current)
    blocked = np.stack([driver.blocked_impedance(OMEGA) for driver in drivers], axis=1)
    volts = np.einsum("fnm,fm->fn", load.impedance, current) - blocked * current
    electrical = (volts * current.conj()).sum(axis=1)
    taken = (np.abs(velocity) ** 2 * [driver.rms for driver in drivers]).sum(axis=1)
    for m, resistance in enumerate(OPENING_RESISTANCE[kind](enclosure, OMEGA, air)):
        taken += resistance * np.abs(flow[:, m]) ** 2
    # far above resonance the motional part is small beside Ze and almost all reactive: Z itself is rounded to 1e-16
    rounding = 1e-15 * np.einsum("fnm,fn,fm->f", np.abs(load.impedance), np.abs(current), np.abs(current))
    return electrical.real, taken, 1e-13 * np.abs(electrical) + rounding


@every_kind
@few
@given(data=st.data(), air=airs, seed=st.integers(0, 2**31))
def test_power_balance(kind: str, data: st.DataObject, air: Air, seed: int) -> None:
    """Lossless walls: Re(Z - Ze)|I|^2 = rms |u|^2 + what the openings radiate, to 1e-8, for any currents."""
    enclosure, drivers = data.draw(STRATEGIES[kind](lossless=True))
    electrical, taken, rounding = powers(kind, enclosure, drivers, air, seed)
    assert (np.abs(electrical - taken) <= 1e-8 * taken + rounding).all()


@every_kind
@few
@given(data=st.data(), air=airs, seed=st.integers(0, 2**31))
def test_losses_take_power_and_never_give_it(kind: str, data: st.DataObject, air: Air, seed: int) -> None:
    enclosure, drivers = data.draw(STRATEGIES[kind]())
    electrical, taken, rounding = powers(kind, enclosure, drivers, air, seed)
    assert (electrical - taken >= -1e-8 * taken - rounding).all()


@every_kind
@few
@given(data=st.data(), air=airs)
def test_the_heart_is_the_textbook_formula(kind: str, data: st.DataObject, air: Air) -> None:
    """Z = diag(Ze) + B (diag(Zm) + S Za S)^-1 B, written out and inverted, wherever Za is finite."""
    enclosure, drivers = data.draw(STRATEGIES[kind]())
    acoustic = enclosure.load(OMEGA, air, drivers)
    electrical = electrical_load(drivers, enclosure, OMEGA, air)
    bl = np.diag([driver.bl for driver in drivers])
    sd = np.diag([driver.sd for driver in drivers])
    for i in range(len(OMEGA)):
        w = OMEGA[i : i + 1]
        ze = np.diag([driver.blocked_impedance(w)[0] for driver in drivers])
        zm = np.diag([driver.mechanical_impedance(w)[0] for driver in drivers])
        mechanical = zm + sd @ acoustic.impedance[i] @ sd
        if np.linalg.cond(mechanical) > 1e6:
            continue  # beside a lossless pole this very formula loses its digits
        velocity = np.linalg.inv(mechanical) @ bl
        np.testing.assert_allclose(electrical.velocity[i], velocity, rtol=1e-8, atol=1e-8 * np.abs(velocity).max())
        np.testing.assert_allclose(electrical.impedance[i], ze + bl @ velocity, rtol=1e-8, atol=1e-8)
        flow = acoustic.openings[i] @ sd @ velocity
        np.testing.assert_allclose(electrical.openings[i], flow, rtol=1e-7, atol=1e-8 * np.abs(sd @ velocity).max())
        np.testing.assert_allclose(
            electrical.leak[i], acoustic.leak[i] @ sd @ velocity, rtol=1e-7, atol=1e-8 * np.abs(sd @ velocity).max()
        )


@every_kind
@few
@given(data=st.data(), air=airs)
def test_order_of_drivers_does_not_matter(kind: str, data: st.DataObject, air: Air) -> None:
    enclosure, drivers = data.draw(STRATEGIES[kind]())
    turned = replace(enclosure, positions=enclosure.positions[::-1]) if hasattr(enclosure, "positions") else enclosure
    there = electrical_load(drivers, enclosure, OMEGA, air).impedance
    back = electrical_load(drivers[::-1], turned, OMEGA, air).impedance[:, ::-1, ::-1]
    np.testing.assert_allclose(there, back, rtol=1e-9, atol=1e-10)
