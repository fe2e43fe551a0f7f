"""Which way round a driver is, as a microphone tells it: closed forms of ideal crossovers, and whole kits turned."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from system.bench.microphone import Heard, listen, shares, smoothed
from system.bench.sweeps import MicrophoneTable
from system.build import build
from system.kit import Kit
from system.kitfile import load_kit
from system.predict import predict
from system.summary import level
from tests.support_kits import read_kit
from tests.test_cli import MARSHLIGHT

Floats = NDArray[np.float64]

OHM, CORNER = 8.0, 2000.0
F = np.geomspace(100, 16e3, 500)
LOADED = 1 / (2 * math.pi * CORNER)
# Of second order with Q = 1/2 into a resistor R: L = 2 R/w0, C = 1/(2 R w0).
SECOND = (
    f"{{L1: {{coil: {2e3 * OHM * LOADED} mH, between: [in, low]}},"
    f" C1: {{capacitor: {1e6 * LOADED / (2 * OHM)} uF, between: [low, common]}},"
    f" C2: {{capacitor: {1e6 * LOADED / (2 * OHM)} uF, between: [in, high]}},"
    f" L2: {{coil: {2e3 * OHM * LOADED} mH, between: [high, common]}}}}"
)
# Of first order: L = R/w0, C = 1/(R w0).
FIRST = (
    f"{{L1: {{coil: {1e3 * OHM * LOADED} mH, between: [in, low]}},"
    f" C2: {{capacitor: {1e6 * LOADED / OHM} uF, between: [in, high]}}}}"
)
TWO = "{woofer: {driver: one, plus: low, minus: common}, tweeter: {driver: two, plus: high, minus: common}}"
FLAT = "re: 7.9 ohm, sd: 50 cm2, impedance: z.txt, response: {file: r.txt, volts: 2.83 V, distance: 1 m, mounted: wall}"
DRIVERS = f"{{one: {{{FLAT}}}, two: {{role: tweeter, {FLAT}}}}}"


def flat_kit(folder: Path, parts: str, hookup: str = TWO) -> Kit:
    """Drivers of 8 ohm and 90 dB at all frequencies, all in one place in a wall."""
    (folder / "z.txt").write_text("".join(f"{f} {OHM} 0\n" for f in (10, 100, 1000, 10000, 40000)), encoding="utf-8")
    (folder / "r.txt").write_text("".join(f"{f} 90 0\n" for f in (10, 100, 1000, 10000, 40000)), encoding="utf-8")
    return read_kit(folder, drivers=DRIVERS, parts=parts, hookup=hookup)


def heard(kit: Kit, decibels: Floats, name: str = "v", frequency: Floats = F) -> Heard:
    return listen(kit, kit.variants[name], MicrophoneTable("room.txt", frequency, decibels))


def test_smoothing() -> None:
    """Means over a band of log frequency: a constant stays, a straight line too; a cosine of k ln f keeps
    sin(k w/2)/(k w/2) of itself (its integral, in closed form)."""
    x = np.geomspace(50, 20e3, 4000)
    at = np.array([100.0, 777.0, 5000.0])
    assert smoothed(x, np.full(x.size, 3.0), at) == pytest.approx(3.0)
    assert smoothed(x, 5 + np.log(x), at) == pytest.approx(5 + np.log(at))
    k, w = 20.0, math.log(2) / 6
    exact = 1 + np.cos(k * np.log(at)) * math.sin(k * w / 2) / (k * w / 2)
    # trapezia of step h are short by (k h)^2/12 = 1e-4 of the cosine
    assert smoothed(x, 1 + np.cos(k * np.log(x)), at) == pytest.approx(exact, abs=2e-4)


def test_second_order_in_phase_has_its_null_at_the_corner(tmp_path: Path) -> None:
    """Low-pass 1/(1+s)^2 and high-pass s^2/(1+s)^2: their sum is nothing at s = j, their difference (1-s)/(1+s) is
    flat (Linkwitz 1976, JAES 24, for order two)."""
    kit = flat_kit(tmp_path, SECOND)
    s = 1j * F / CORNER
    alone = shares(build(kit, kit.variants["v"]), F)
    flat = 20e-6 * 10 ** (90 / 20) / 2.83
    assert np.abs(alone[:, 0]) == pytest.approx(flat / np.abs(1 + s) ** 2, rel=1e-6)
    assert np.abs(alone[:, 1]) == pytest.approx(flat * np.abs(s) ** 2 / np.abs(1 + s) ** 2, rel=1e-6)
    assert np.abs(alone.sum(axis=1)) == pytest.approx(flat * np.abs((1 + s**2) / (1 + s) ** 2), abs=flat * 1e-6)
    in_phase, flat_way = 20 * np.log10(np.abs((1 + s**2) / (1 + s) ** 2)), np.zeros(F.size)
    (way,) = heard(kit, in_phase).ways
    assert (way.drivers, way.others, way.verdict, way.dips) == (("tweeter",), ("woofer",), "as_built", "as_built")
    assert way.null_at == pytest.approx(CORNER, rel=0.02)
    assert way.null is not None
    assert way.measured_null is not None
    # |1 - w^2|/(1 + w^2) = |tanh x|, x = ln w, which is x near the null: its mean square over x = +-h is h^2/3
    assert way.null == pytest.approx(-10 * math.log10((math.log(2) / 12) ** 2 / 3), abs=0.1)
    (way,) = heard(kit, flat_way).ways
    assert way.verdict == "other_way_round"
    assert way.measured_null == pytest.approx(0.0, abs=0.5)


def test_first_order_sounds_alike_either_way(tmp_path: Path) -> None:
    """1/(1+s) and s/(1+s): their sum is 1 and their difference (1-s)/(1+s), both flat: nothing tells them apart."""
    kit = flat_kit(tmp_path, FIRST)
    alone = shares(build(kit, kit.variants["v"]), F)
    assert np.abs(alone[:, 0] + alone[:, 1]) == pytest.approx(np.abs(alone[:, 0] - alone[:, 1]), rel=1e-6)
    for decibels in (np.zeros(F.size), np.interp(F, [100, 1500, 2000, 3000, 16e3], [0.0, 0.0, -20.0, 0.0, 0.0])):
        (way,) = heard(kit, decibels).ways
        assert way.verdict == "cannot_tell"
        assert "differ by" in way.why


def test_equal_sources_cancel(tmp_path: Path) -> None:
    """Two equal drivers in one place: twice one in phase, nothing at all the other way round (p - p = 0). The table's
    level is free, so the difference between loud and soft tells nothing."""
    box = "{a: {driver: woofer, plus: in, minus: common}, b: {driver: woofer, plus: PLUS, minus: MINUS}}"
    kits = [
        read_kit(tmp_path, hookup=box.replace("PLUS", plus).replace("MINUS", minus))
        for plus, minus in (("in", "common"), ("common", "in"))
    ]
    right, wrong = (predict(kit, kit.variants["v"], F).pressure for kit in kits)
    alone = shares(build(kits[0], kits[0].variants["v"]), F)
    assert alone[:, 0] == pytest.approx(alone[:, 1])
    assert np.max(np.abs(wrong)) < 1e-12 * np.max(np.abs(right))
    assert heard(kits[0], level(right)).verdict == "cannot_tell"


@pytest.mark.parametrize("variant", ["centre", "wall", "tall"])
@pytest.mark.parametrize(
    ("turned", "verdict"),
    [
        ((), "as_built"),
        (("tweeter",), "other_way_round"),
        (("woofer_a", "woofer_b"), "other_way_round"),  # all the others turned sound the same
        (("tweeter", "woofer_a", "woofer_b"), "as_built"),
    ],
)
def test_whole_kits_in_a_room(variant: str, turned: tuple[str, ...], verdict: str) -> None:
    """What the full prediction gives for a board with drivers turned, 11 dB too loud, tilted, one reflection 10 dB
    down and 3 ms late, and 1 dB of noise."""
    bad = load_kit(MARSHLIGHT, turn(*turned))
    pressure = predict(bad, bad.variants[variant], F).pressure
    late = 1 + 10 ** (-10 / 20) * np.exp(-2j * np.pi * F * 3e-3)
    noise = np.random.default_rng(11).normal(0, 1.0, F.size)
    told = heard(load_kit(MARSHLIGHT), level(pressure * late) + 11 - 0.5 * np.log2(F / 1000) + noise, variant)
    assert told.verdict == verdict
    (way,) = told.ways
    assert way.as_built is not None
    assert way.turned is not None
    assert (way.as_built < way.turned) is (verdict == "as_built")
    assert min(way.as_built, way.turned) < 2.0
    assert told.frequency.shape == told.measured.shape == told.as_built.shape == told.turned.shape


def turn(*names: str) -> tuple[str, ...]:
    """Settings that swap the marks of Marshlight's drivers."""
    marks = {"tweeter": ("t2", "common"), "woofer_a": ("common", "w2"), "woofer_b": ("common", "w2")}
    settings: tuple[str, ...] = ()
    for name in names:
        plus, minus = marks[name]
        settings += (f"crossover.hookup.{name}.plus={plus}", f"crossover.hookup.{name}.minus={minus}")
    return settings


def test_noise_alone_tells_nothing() -> None:
    kit = load_kit(MARSHLIGHT)
    for seed in range(20):
        noise = np.random.default_rng(seed).normal(0, 6.0, F.size)
        ((way),) = heard(kit, noise, "wall").ways
        assert way.as_built is not None
        assert way.turned is not None
        assert way.verdict == "cannot_tell" or max(way.as_built, way.turned) >= 2 * min(way.as_built, way.turned)


def test_three_groups(tmp_path: Path) -> None:
    """A three-way with each driver in its own air: whichever is turned is told, and the others stand."""
    low, high = 1 / (2 * math.pi * 500), 1 / (2 * math.pi * 4000)
    coil, capacitor = 2e3 * OHM, 1e6 / (2 * OHM)
    parts = (
        f"{{L1: {{coil: {coil * low} mH, between: [in, low]}}, C1: {{capacitor: {capacitor * low} uF, between:"
        f" [low, common]}}, C2: {{capacitor: {capacitor * low} uF, between: [in, m]}}, L2: {{coil: {coil * low} mH,"
        f" between: [m, common]}}, L3: {{coil: {coil * high} mH, between: [m, mid]}}, C3: {{capacitor:"
        f" {capacitor * high} uF, between: [mid, common]}}, C4: {{capacitor: {capacitor * high} uF, between:"
        f" [in, high]}}, L4: {{coil: {coil * high} mH, between: [high, common]}}}}"
    )
    names = ("woofer", "midrange", "tweeter")

    def kit_with(*turned: str) -> Kit:
        entries = []
        for name, point, driver in zip(names, ("low", "mid", "high"), ("one", "one", "two"), strict=True):
            right = name != "midrange"  # of order two: neighbours go opposite ways
            plus, minus = (point, "common") if right is (name not in turned) else ("common", point)
            entries.append(f"{name}: {{driver: {driver}, plus: {plus}, minus: {minus}}}")
        return flat_kit(tmp_path, parts, "{" + ", ".join(entries) + "}")

    kit = kit_with()
    for turned in [(), ("woofer",), ("midrange",), ("tweeter",)]:
        bad = kit_with(*turned)
        told = heard(kit, level(predict(bad, bad.variants["v"], F).pressure))
        found = {way.drivers[0]: way.verdict for way in told.ways}
        assert set(found) == set(names)
        assert {name for name, verdict in found.items() if verdict == "other_way_round"} == set(turned), turned
        assert {name for name, verdict in found.items() if verdict == "as_built"} == set(names) - set(turned), turned


def test_nothing_to_turn(tmp_path: Path) -> None:
    kit = read_kit(tmp_path)
    told = heard(kit, np.zeros(F.size))
    assert told.verdict == "cannot_tell"
    assert told.ways[0].why == "there is one driver only"
    short = np.array([1000.0, 1200.0])
    told = heard(load_kit(MARSHLIGHT), np.zeros(2), "wall", short)
    assert told.verdict == "cannot_tell"
    assert "less than half an octave" in told.ways[0].why


def test_a_table_of_thirds(tmp_path: Path) -> None:
    """A coarse table, a third of an octave apart, still tells a deep null from none."""
    kit = flat_kit(tmp_path, SECOND)
    thirds = 1010 * 2 ** (np.arange(-9, 13) / 3)
    s = 1j * thirds / CORNER
    dip = 20 * np.log10(np.abs((1 + s**2) / (1 + s) ** 2))
    assert heard(kit, np.zeros(thirds.size), frequency=thirds).verdict == "other_way_round"
    assert heard(kit, dip, frequency=thirds).verdict == "as_built"
