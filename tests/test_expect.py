"""What a right build must read: closed forms for the sweep and its band, a second solver for what readings prove."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from system.bench.copies import cold
from system.bench.expect import expect, expect_sweep, mistakes
from system.bench.faults import Fault, board
from system.bench.meter import driver_span, span
from system.examples import scenarios
from system.grid import THIRD_OCTAVES, logarithmic
from system.kit import Kit, Place
from system.kitfile import load_kit
from tests.support_kits import read_kit
from tests.support_meter import effective_resistance, handbook, resistors

MARSHLIGHT = load_kit(scenarios() / "marshlight" / "kit.yaml")
F = np.geomspace(20, 20e3, 25)
# Re 5.6 ohm, Bl 6.3 T m, Mms 9.5 g, Cms 1.1 mm/N, Rms 0.85 kg/s, and no two of them differ.
EXACT = (
    "{woofer: {re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.10 mm/N, rms: 0.85 kg/s, sd: 88 cm2,"
    " spread: {fs: 0 %, qts: 0 %, re: 0 %}}}"
)
BEHIND = "{woofer: {driver: woofer, plus: a, minus: common}}"


def woofer(frequency: np.ndarray) -> np.ndarray:
    """Small, JAES 20 (1972) 383: re and the motional impedance bl^2/(rms + j w mms + 1/(j w cms)) in series."""
    s = 2j * np.pi * frequency
    return np.asarray(5.6 + 6.3**2 / (0.85 + s * 9.5e-3 + 1 / (s * 1.10e-3)))


def resistor_kit(folder: Path, resistor: str, more: str = "") -> Kit:
    parts = f"{{R: {{resistor: {resistor}, between: [in, a]}}}}"
    return read_kit(folder, drivers=EXACT, parts=parts, hookup=BEHIND, more=more)


# ---- the sweep


def test_the_sweep_is_the_closed_form_of_its_driver_behind_a_resistor(tmp_path: Path) -> None:
    kit = resistor_kit(tmp_path, "3.3 ohm, tolerance: 0 %")
    found = expect_sweep(kit, kit.variants["v"], F, copies=100)
    expected = 3.3 + woofer(F)
    np.testing.assert_allclose(found.impedance, expected, rtol=1e-9)
    for curve, values in ((found.magnitude, np.abs(expected)), (found.phase, np.angle(expected))):
        np.testing.assert_allclose(curve.nominal, values, rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(curve.p5, values, rtol=1e-9, atol=1e-9)  # nothing is drawn
        np.testing.assert_allclose(curve.p95, values, rtol=1e-9, atol=1e-9)


def test_the_band_is_that_of_the_one_value_that_is_drawn(tmp_path: Path) -> None:
    """A uniform law has 5 % below -0.9 of its tolerance; the sample's quantile is off by sqrt(q (1 - q)/n) over the
    density (David & Nagaraja, Order Statistics, 2003, 10.2), and four of these are allowed."""
    kit, copies = resistor_kit(tmp_path, "10 ohm, tolerance: 20 %"), 4000
    found = expect_sweep(kit, kit.variants["v"], F, copies=copies, seed=3)
    off = 4 * math.sqrt(0.05 * 0.95 / copies) / 0.5
    for u, ends in ((-0.9, found.magnitude.p5), (0.9, found.magnitude.p95)):
        least, most = (np.abs(10 * (1 + 0.2 * (u + side)) + woofer(F)) for side in (-off, off))
        assert np.all((least <= ends) & (ends <= most))


def test_the_meter_widens_the_band_by_its_error_in_any_direction(tmp_path: Path) -> None:
    kit = resistor_kit(tmp_path, "3.3 ohm, tolerance: 0 %", "meter: {impedance: 0.3 ohm}\nwindow: {impedance: 0.4 ohm}")
    found = expect_sweep(kit, kit.variants["v"], F, copies=100)
    around = (3.3 + woofer(F))[:, None] + 0.3 * np.exp(1j * np.linspace(0, 2 * np.pi, 3601))
    np.testing.assert_allclose(found.magnitude.low, np.abs(around).min(axis=1), rtol=1e-6)
    np.testing.assert_allclose(found.magnitude.high, np.abs(around).max(axis=1), rtol=1e-6)
    np.testing.assert_allclose(found.phase.low, np.angle(around).min(axis=1), atol=1e-6)
    np.testing.assert_allclose(found.phase.high, np.angle(around).max(axis=1), atol=1e-6)


def test_voice_coils_are_cold_and_the_cable_is_not_there(tmp_path: Path) -> None:
    hot = EXACT.replace("{re:", "{voice_coil_temperature: 150 degC, re:")
    kit = read_kit(tmp_path, drivers=hot, amplifier="{power: 50 W, load: 8 ohm, cable: 0.5 ohm}")
    found = expect_sweep(kit, kit.variants["v"], F, copies=100)
    np.testing.assert_allclose(found.impedance, woofer(F), rtol=1e-9)
    assert cold(kit.variants["v"]) != kit.variants["v"]


def test_at_asked_frequencies_and_in_third_octaves_it_is_one_sweep() -> None:
    centre = MARSHLIGHT.variants["centre"]
    found = expect(MARSHLIGHT, centre, F, copies=200, seed=4)
    np.testing.assert_array_equal(found.sweep.frequency, F)
    np.testing.assert_array_equal(found.thirds.frequency, THIRD_OCTAVES)
    alone = expect_sweep(MARSHLIGHT, centre, F, copies=200, seed=4)
    np.testing.assert_allclose(found.sweep.impedance, alone.impedance, rtol=1e-12)
    np.testing.assert_allclose(found.sweep.magnitude.p95, alone.magnitude.p95, rtol=1e-12)
    for curve in (found.sweep.magnitude, found.sweep.phase):
        assert np.all(curve.low < curve.p5)
        assert np.all(curve.p5 <= curve.p95)
        assert np.all(curve.p95 < curve.high)


# ---- what readings prove


def ends(kit: Kit, fault: Fault, window: object, places: dict[str, Place], hookups: dict) -> tuple[float, float]:  # type: ignore[type-arg]
    """The least and the most that a meter may read, by the pseudo-inverse of the Laplacian."""
    spans = {name: span(place) for name, place in places.items()}
    spans |= {name: driver_span(hookup) for name, hookup in hookups.items()}
    found = []
    for corner in ("low", "high"):
        ohms = {name: getattr(each, corner) for name, each in spans.items()}
        edges = [edge for edge in resistors(places, hookups, ohms) if math.isfinite(edge[2])]
        found.append(effective_resistance(edges, *window.between))  # type: ignore[attr-defined]
    error, leads = kit.meter.resistance_error, kit.meter.leads
    return max(0.0, found[0] * (1 - error) - leads), found[1] * (1 + error) + leads


@pytest.mark.parametrize("name", ["centre", "tall"])
def test_a_mistake_is_shown_exactly_if_no_reading_is_allowed_by_both(name: str) -> None:
    variant = MARSHLIGHT.variants[name]
    found = expect(MARSHLIGHT, variant, F, copies=100)
    every, told = mistakes(MARSHLIGHT, variant), 0
    for proof in found.proofs:
        window = proof.window
        assert set(proof.shows) | set(proof.cannot_tell) == set(every)
        assert not set(proof.shows) & set(proof.cannot_tell)
        if window.between[0].endswith("+"):
            assert proof.shows == ()  # a voice coil says nothing of the board
            continue
        for fault in every:
            wrong = board(MARSHLIGHT, variant, fault)
            hookups = wrong.hookups if window.drivers == "connected" else {}
            low, high = ends(MARSHLIGHT, fault, window, wrong.places, hookups)
            apart = low > window.high or high < window.low
            assert (fault in proof.shows) == apart, (window, fault)
            told += apart
    assert told > 20
    shown = {fault for proof in found.proofs for fault in proof.shows}
    assert set(found.cannot_show) == set(every) - shown


def test_what_is_proved_on_the_example() -> None:
    """R1, the tweeter unhooked: 15 ohm without it, 0.44 linked, 2.40 doubled, 0.98 halved; right: 1.28 to 1.69."""
    found = expect(MARSHLIGHT, MARSHLIGHT.variants["centre"], F, copies=100)
    by = {(*proof.window.between, proof.window.drivers): proof for proof in found.proofs}
    proof = by["common", "t2", "apart"]
    assert proof.parts == ("R1",)
    assert (proof.window.low, proof.window.high) == pytest.approx((1.280, 1.695), abs=5e-4)
    right = 1 / (1 / 15 + 1 / (1.2 + 0.45))
    assert proof.window.nominal == pytest.approx(right, rel=1e-12)
    assert by["common", "w2", "connected"].drivers == ("woofer_a", "woofer_b")  # 2.95 ohm, and 5.9 with one of them
    assert set(found.unproved) == {"C1", "L1", "C2", "C3", "L2", "R2"}
    assert Fault("driver_reversed", "tweeter") in found.cannot_show
    kinds = {fault.kind for fault in mistakes(MARSHLIGHT, MARSHLIGHT.variants["centre"])}
    assert not kinds & {"none", "air_leak", "wrong_fill", "blocked_mouth"}


def test_a_link_and_what_is_needlessly_there() -> None:
    found = expect(MARSHLIGHT, MARSHLIGHT.variants["tall"], F, copies=100)
    by = {(*proof.window.between, proof.window.drivers): proof for proof in found.proofs}
    assert "C1" in by["in", "w2", "apart"].parts  # with a capacitor there, or nothing, it is open
    assert "C1" not in found.unproved  # only what is fitted is listed there


def test_finer_meters_and_parts_prove_more(tmp_path: Path) -> None:
    kit, variant = handbook(tmp_path)
    fine = replace(kit, meter=replace(kit.meter, resistance_error=1e-4, leads=1e-3))
    coarse, finer = (expect(each, variant, F, copies=100) for each in (kit, fine))
    for before, after in zip(coarse.proofs, finer.proofs, strict=True):
        assert set(before.shows) <= set(after.shows)
    assert len(finer.cannot_show) < len(coarse.cannot_show)
    luck = random.Random(1)
    for proof in coarse.proofs:  # a reading of the right build is always one that is expected
        if proof.window.reads == "value":
            true = proof.window.nominal
            assert proof.window.holds(true * (1 + luck.uniform(-0.01, 0.01)) + luck.uniform(-0.1, 0.1))


def test_an_open_circuit_has_no_band(tmp_path: Path) -> None:
    kit = read_kit(
        tmp_path,
        parts="{R: {resistor: 3 ohm, between: [in, a], reason: spare}}",
        hookup="{woofer: {driver: woofer, plus: b, minus: common}}",
        variants="{v: {cabinet: box, reason: to be wired later}}",
    )
    found = expect(kit, kit.variants["v"], logarithmic(points=10), copies=100)
    assert np.all(np.isinf(found.sweep.magnitude.nominal))
    assert np.all(np.isinf(found.sweep.magnitude.low))
    assert np.all(np.isnan(found.sweep.phase.nominal))
