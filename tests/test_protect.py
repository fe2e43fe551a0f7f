"""Protection: every figure against another route to it, and the trap that a series capacitor sets."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from system import programme, summary
from system.examples import scenarios
from system.kit import Kit, Placement, Variant
from system.kitfile import load_kit
from system.place import protective_place
from system.predict import predict
from system.protect import Verdict, protect
from system.summary import level
from tests.support_kits import WOOFER, read_kit

TWO = "{a: {driver: woofer, plus: w, minus: common}, b: {driver: woofer, plus: w, minus: common}}"
CAPACITOR = "{C1: {capacitor: 220 uF, between: [in, w], series_resistance: 0.05 ohm, tolerance: 10 %}}"
EIGHT_LITRES = "{box: {chambers: [{kind: sealed, drivers: [a, b], volume: 8 L, losses: {leak: 20}}]}}"
STOCK = "stock: {capacitors: [150 uF, 180 uF, 470 uF]}"


def sealed_kit(folder: Path, **pieces: str) -> Kit:
    return read_kit(folder, **{"parts": CAPACITOR, "hookup": TWO, "cabinets": EIGHT_LITRES, "more": STOCK, **pieces})


def first(kit: Kit) -> Variant:
    return next(iter(kit.variants.values()))


def with_capacitor(variant: Variant, farads: float | None) -> Variant:
    place = variant.places["C1"]
    changed = replace(place, state="link") if farads is None else replace(place, part=replace(place.part, value=farads))
    return replace(variant, places={**variant.places, "C1": changed})


@pytest.mark.parametrize("farads", [None, 150e-6, 180e-6, 330e-6])
def test_figures_are_those_of_a_kit_with_that_capacitor(tmp_path: Path, farads: float | None) -> None:
    """The sweep over the place against a prediction of the kit with the capacitor soldered in, 1e-6."""
    kit = sealed_kit(tmp_path, variants="{v: {cabinet: box, receiver_high_pass: {corner: 40 Hz, order: 2}}}")
    verdict = protect(kit, first(kit))[0]
    states = [verdict.link, *verdict.choices]
    found = next(f for f in states if (f.value is None and farads is None) or f.value == pytest.approx(farads))
    volts = kit.amplifier.rated_volts
    variant = with_capacitor(first(kit), farads)
    result = predict(kit, variant, verdict.frequency, volts)
    gain = programme.high_pass_gain(variant.receiver_high_pass, verdict.frequency)
    excursion = result.drivers["a"].excursion
    assert excursion is not None
    assert found.peak_excursion == pytest.approx((excursion * gain).max(), rel=1e-6)
    assert found.peak_excursion_hz == verdict.frequency[(excursion * gain).argmax()]
    rms = math.sqrt(2) * volts / kit.programme.crest_factor
    shares = programme.power_shares(kit.programme, verdict.frequency)
    expected = 4 * rms / volts * math.sqrt(((excursion * gain) ** 2 / 2) @ shares)
    assert found.programme_excursion == pytest.approx(expected, rel=1e-3)
    assert found.minus_3 == pytest.approx(result.summary.minus_3_db_hz, rel=2e-3)
    assert found.lowest_impedance == pytest.approx(result.summary.lowest_impedance_ohm, rel=2e-3)
    if farads is not None and farads <= 200e-6:
        part = result.parts["C1"]
        assert found.part_volts_peak == pytest.approx(math.sqrt(2) * (np.abs(part.volts) * gain).max(), rel=1e-6)
        assert found.part_current == pytest.approx((np.abs(part.current) * gain).max(), rel=1e-6)


def test_the_trap_of_the_series_capacitor(tmp_path: Path) -> None:
    """It resonates with the woofer in its sealed box: far less motion at 20 Hz, more near 70 Hz, and it sees far more
    than the amplifier's own voltage; 1/(2 pi R C) knows nothing of it. The band in which it is worse is named."""
    kit = sealed_kit(tmp_path)
    verdict = protect(kit, first(kit))[0]
    linked, capacitor = verdict.curves["linked"], verdict.curves["220 uF"]
    gain = 20 * np.log10(capacitor / linked)
    assert gain[0] < -15
    assert gain[verdict.frequency < 200].max() > 2
    assert verdict.fitted is not None
    assert verdict.fitted.part_volts_peak > 1.3 * math.sqrt(2) * kit.amplifier.rated_volts
    low, high = verdict.fitted.worse_band or (0, 0)
    assert 50 < low < verdict.frequency[gain[verdict.frequency < 200].argmax()] < high < 130


def test_choices_are_all_of_stock_single_and_two_in_parallel(tmp_path: Path) -> None:
    kit = sealed_kit(tmp_path)
    offered = sorted((c.value, c.made_of) for c in protect(kit, first(kit))[0].choices)
    u = 1e-6
    expected = [(150, 150), (150, 180), (150, 470), (180, 180), (180, 470), (470, 470)]
    pairs = [((a + b) * u, (a * u, b * u)) for a, b in expected]
    singles = [(v * u, (v * u,)) for v in (150, 180, 470)]
    for (value, made_of), (wanted, parts) in zip(offered, sorted(pairs + singles), strict=True):
        assert value == pytest.approx(wanted)
        assert made_of == pytest.approx(parts)


def test_the_range_follows_the_box_and_the_woofers(tmp_path: Path) -> None:
    """Reactance equal to the woofers' re (two in parallel, 2.8 ohm) between fc/8 and 4 fc."""
    kit = sealed_kit(tmp_path, more="stock: {capacitors: E24}")
    values = [c.value for c in protect(kit, first(kit))[0].choices]
    alpha = 1.2041 * 343.21**2 * 2 * 88e-4**2 * 1.10e-3 / 8e-3
    fc = math.sqrt(1 + alpha) * 49.2336
    low, high = 1 / (2 * math.pi * 2.8 * 4 * fc), 1 / (2 * math.pi * 2.8 * fc / 8)
    assert low <= min(values) < 1.1 * low
    assert high / 1.1 < max(values) <= high


def test_one_in_stock_makes_no_pair(tmp_path: Path) -> None:
    (tmp_path / "stock.csv").write_text(
        "kind,value,tolerance,rating,type,article,price,in_stock\n"
        "capacitor,150 uF,10 %,100 V,non_polar,A1,3.20,1\n"
        "capacitor,180 uF,10 %,63 V,non_polar,A2,3.60,0\n"
        "capacitor,200 uF,5 %,50 V,non_polar,A3,4.10,5\n"
    )
    kit = sealed_kit(tmp_path, more="stock: {capacitors: stock.csv}")
    choices = protect(kit, first(kit))[0].choices
    found = sorted(tuple(round(part * 1e6) for part in c.made_of) for c in choices)
    assert found == [(150,), (150, 200), (200,), (200, 200)]
    # 20 V rms with resonance is more than 28 V peak across it: the 50 V part is judged by its rating
    for choice in choices:
        rating = 100 if choice.made_of == (150e-6,) else 50
        assert any("rating" in why for why in choice.refused) == (choice.part_volts_peak > rating)


def test_a_missing_place_is_imagined_before_the_woofers_of_the_chamber(tmp_path: Path) -> None:
    """A kit without the place gets the same figures as one with a linked place there."""
    direct = TWO.replace("plus: w", "plus: in")
    kit = sealed_kit(tmp_path, parts="{}", hookup=direct)
    place = protective_place(first(kit), kit.input, "b")
    assert not place.own
    assert place.place.between[0] == "in"
    imagined = protect(kit, first(kit))[1]
    own = protect(*_pair(sealed_kit(tmp_path, parts=CAPACITOR.replace("series_resistance: 0.05 ohm, ", ""))))[1]
    assert imagined.place is None
    assert imagined.state == "none"
    _same(imagined, own)


def _pair(kit: Kit) -> tuple[Kit, Variant]:
    return kit, first(kit)


def _same(one: Verdict, other: Verdict) -> None:
    assert one.verdict == other.verdict
    assert one.link.peak_excursion == pytest.approx(other.link.peak_excursion, rel=1e-9)
    assert [c.margins.decisive for c in one.choices] == pytest.approx([c.margins.decisive for c in other.choices])


def test_woofers_in_series_share_the_place_before_the_first(tmp_path: Path) -> None:
    chain = "{a: {driver: woofer, plus: in, minus: mid}, b: {driver: woofer, plus: mid, minus: common}}"
    kit = sealed_kit(tmp_path, parts="{}", hookup=chain)
    for name in ("a", "b"):
        assert protective_place(first(kit), kit.input, name).place.between[0] == "in"


def test_a_capacitor_elsewhere_is_not_the_place(tmp_path: Path) -> None:
    """A shunt capacitor and a tweeter's own are in nobody's dc path to the woofers."""
    parts = (
        "{L1: {coil: 1 mH, between: [in, w]}, C2: {capacitor: 22 uF, between: [w, common]},"
        " C1: {capacitor: 150 uF, between: [common, m]}}"
    )
    behind = TWO.replace("minus: common", "minus: m")
    kit = sealed_kit(tmp_path, parts=parts, hookup=behind)
    assert protective_place(first(kit), kit.input, "a").place.reference == "C1"


@pytest.mark.parametrize("driver", [WOOFER.replace(" linear_excursion: 4 mm,", ""), WOOFER[:-1] + ", origin: assumed}"])
def test_without_a_real_limit_nothing_is_decided(tmp_path: Path, driver: str) -> None:
    kit = sealed_kit(tmp_path, drivers=f"{{woofer: {driver}}}")
    for verdict in protect(kit, first(kit)):
        assert (verdict.verdict, verdict.named) == ("undecided", None)


def test_not_needed_says_what_breaks_it(tmp_path: Path) -> None:
    """A small amplifier: inside on the programme; a crest factor of 6 dB is 6 dB more, and is named with its volts."""
    kit = sealed_kit(tmp_path, amplifier="{power: 12 W, load: 8 ohm}")
    verdict = protect(kit, first(kit))[0]
    assert verdict.verdict == "not_needed"
    margin = verdict.link.margins.programme
    assert margin is not None
    crest = next(b for b in verdict.breaks if "crest" in b.means)
    assert crest.margin == pytest.approx(margin - 6.0, abs=0.02)
    # a margin of m dB at 12 dB crest is used up at the same rms voltage whatever the crest
    rms = math.sqrt(2 * 96) / kit.programme.crest_factor
    assert crest.volts == pytest.approx(rms * 10 ** (margin / 20), rel=1e-3)


def test_margins_follow_the_amplifier(tmp_path: Path) -> None:
    """Four times the power is 6.02 dB less margin, on every signal."""
    small, large = (
        protect(*_pair(sealed_kit(tmp_path, amplifier=f"{{power: {power} W, load: 8 ohm}}")))[0].link.margins
        for power in (20, 80)
    )
    for one, other in zip(
        (small.programme, small.sine, small.sine_to_linear),
        (large.programme, large.sine, large.sine_to_linear),
        strict=True,
    ):
        assert one is not None
        assert other is not None
        assert one - other == pytest.approx(20 * math.log10(2), abs=1e-9)


def test_a_sine_alone_is_held_against_the_damage_limit_or_the_linear_one(tmp_path: Path) -> None:
    sine = STOCK + "\nprogramme: {spectrum: sine}"
    with_damage = protect(*_pair(sealed_kit(tmp_path, more=sine)))[0].link.margins
    assert (with_damage.programme, with_damage.decisive) == (None, with_damage.sine)
    driver = f"{{woofer: {WOOFER.replace(', damage_excursion: 9 mm', '')}}}"
    without = protect(*_pair(sealed_kit(tmp_path, more=sine, drivers=driver)))[0].link.margins
    assert (without.sine, without.decisive) == (None, without.sine_to_linear)


def test_big_capacitors_are_judged_over_their_tolerance(tmp_path: Path) -> None:
    """330 uF at +-10 %: its margin is the least of 297, 330 and 363 uF, each as a capacitor of its own."""
    kit = sealed_kit(tmp_path)
    choice = next(c for c in protect(kit, first(kit))[0].choices if c.value == pytest.approx(330e-6))
    frequency = np.geomspace(20, 20e3, 593)
    peaks = []
    for value in (297e-6, 330e-6, 363e-6):
        excursion = predict(kit, with_capacitor(first(kit), value), frequency, kit.amplifier.rated_volts)
        curve = excursion.drivers["a"].excursion
        assert curve is not None
        peaks.append(curve.max())
    assert choice.margins.sine == pytest.approx(20 * math.log10(9e-3 / max(peaks)), abs=1e-6)
    assert choice.peak_excursion == pytest.approx(peaks[1], rel=1e-6)


def test_ripple_and_points_are_those_of_the_variant_as_placed(tmp_path: Path) -> None:
    kit = sealed_kit(tmp_path)
    verdict = protect(kit, first(kit))[0]
    result = predict(kit, with_capacitor(first(kit), None), summary.GRID)
    low = summary.low_end(summary.GRID, level(result.pressure), summary.WOOFER_BAND)
    assert verdict.link.ripple == pytest.approx(low.ripple, abs=0.02)
    assert verdict.link.minus_3 == pytest.approx(low.minus_3, rel=1e-3)


def test_like_woofers_in_chambers_of_their_own_get_the_same_verdict(tmp_path: Path) -> None:
    """Two imagined places on the same point, each before the woofer of one chamber."""
    cabinets = (
        "{box: {chambers: [{kind: sealed, drivers: [a], volume: 4 L}, {kind: sealed, drivers: [b], volume: 4 L}]}}"
    )
    kit = sealed_kit(tmp_path, parts="{}", hookup=TWO.replace("plus: w", "plus: in"), cabinets=cabinets)
    _same(*protect(kit, first(kit)))


def test_costs_are_judged_in_a_wall_where_a_dip_hides_the_bass() -> None:
    """Against a wall, a dip puts the example's -3 dB point so high that no ripple is left to judge; the same build in a
    wall has the costs that are used."""
    kit = load_kit(scenarios() / "marshlight" / "kit.yaml")
    variant = kit.variants["wall"]
    placed = protect(kit, variant)[0]
    reference = protect(kit, replace(variant, placement=Placement("in_wall")))[0]
    assert placed.costs_in_wall
    assert not reference.costs_in_wall
    assert placed.link.minus_3 == pytest.approx(reference.link.minus_3)
    costs = [{(c.value, c.made_of): (c.minus_3, c.ripple) for c in verdict.choices} for verdict in (placed, reference)]
    assert costs[0].keys() == costs[1].keys()
    for key, cost in costs[0].items():
        assert cost == pytest.approx(costs[1][key])


def test_no_current_rating_is_exceeded(tmp_path: Path) -> None:
    """The place's current rating holds for whatever is put there."""
    rated = CAPACITOR.replace("tolerance: 10 %", "tolerance: 10 %, current_rating: 3 A")
    kit = sealed_kit(tmp_path, parts=rated)
    for choice in protect(kit, first(kit))[0].choices:
        assert any("current" in why for why in choice.refused) == (choice.part_current > 3)
