"""Other passive forms and other means: each against the real circuit, a kit that has it, or a closed form."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from filters.network import solve
from system import programme, summary
from system.build import build
from system.candidates import Candidate, Damping, in_series
from system.inserted import Inserted
from system.kit import HighPass, Kit, Part, Place, Variant
from system.limits import Case, limits
from system.low_ends import low_ends
from system.means import VOLUMES, Means
from system.place import protective_place
from system.predict import predict, prediction, summarise
from system.protect import Closely, Verdict, decide, protect
from system.sheets import protect_data, protect_graphs, protect_texts
from system.signal import Signal
from system.states import States
from system.summary import level
from system.transfer import transfer
from system.view import View
from tests.support_kits import WOOFER, read_kit

TWO = "{a: {driver: woofer, plus: w, minus: common}, b: {driver: woofer, plus: w, minus: common}}"
CAPACITOR = "{C1: {capacitor: 220 uF, between: [in, w], series_resistance: 0.05 ohm, tolerance: 10 %}}"
EIGHT_LITRES = "{box: {chambers: [{kind: sealed, drivers: [a, b], volume: 8 L, losses: {leak: 20}}]}}"
STOCK = "stock: {capacitors: [150 uF, 180 uF, 470 uF], resistors: [1 ohm, 10 ohm, 22 ohm]}"
FEW = Closely(builds=20)
# one woofer: 5.6 ohm and a resonance at 99 Hz allow capacitors from 72 uF up
ALONE = {
    "hookup": "{a: {driver: woofer, plus: w, minus: common}}",
    "cabinets": "{box: {chambers: [{kind: sealed, drivers: [a], volume: 4 L, losses: {leak: 20}}]}}",
}


def sealed_kit(folder: Path, **pieces: str) -> Kit:
    return read_kit(folder, **{"parts": CAPACITOR, "hookup": TWO, "cabinets": EIGHT_LITRES, "more": STOCK, **pieces})


def first(kit: Kit) -> Variant:
    return next(iter(kit.variants.values()))


def view_of(kit: Kit, woofer: str = "a") -> View:
    variant = first(kit)
    states = States.of(kit, protective_place(variant, kit.input, woofer))
    return View.of(states, woofer, Signal.of(kit, variant, states.frequency))


def wired(kit: Kit, places: dict[str, tuple[Part, tuple[str, str]]]) -> Variant:
    """The variant with these parts on the board for C1."""
    built = {name: Place(name, part, between) for name, (part, between) in places.items()}
    return replace(first(kit), places=built)


CIRCUITS = {
    "across": lambda c, r: {"C1": (c, ("in", "w")), "R": (r, ("in", "w"))},
    "in_series": lambda c, r: {"C1": (c, ("in", "x")), "R": (r, ("x", "w"))},
}


@pytest.mark.parametrize("wiring", CIRCUITS)
@pytest.mark.parametrize(("farads", "ohm"), [(150e-6, 22.0), (47e-6, 1.0), (180e-6, 3.3)])
def test_a_resistor_with_the_capacitor_is_the_circuit_that_has_both(
    tmp_path: Path, wiring: str, farads: float, ohm: float
) -> None:
    """Capacitor and resistor as elements of a network of their own, solved outright: 1e-6."""
    variants = "{v: {cabinet: box, receiver_high_pass: {corner: 40 Hz, order: 2}}}"
    kit = sealed_kit(tmp_path, variants=variants, amplifier="{power: 50 W, load: 8 ohm, output_resistance: 0.1 ohm}")
    view = view_of(kit)
    candidate = Candidate(farads, (farads,), 0.1, None, damping=Damping(ohm, wiring))
    (found,) = view.figures([candidate])
    capacitor, resistor = replace(first(kit).places["C1"].part, value=farads), Part("resistor", ohm)
    variant = wired(kit, CIRCUITS[wiring](capacitor, resistor))
    frequency = view.states.frequency[view.states.swept]
    volts = kit.amplifier.rated_volts
    result = predict(kit, variant, frequency, volts)
    gain = programme.high_pass_gain(variant.receiver_high_pass, frequency)
    excursion = result.drivers["a"].excursion
    assert excursion is not None
    assert view.curve(found) == pytest.approx(excursion * gain, rel=1e-9)
    assert found.peak_excursion == pytest.approx((excursion * gain).max(), rel=1e-9)
    shares = programme.power_shares(kit.programme, frequency)
    ratio = math.sqrt(2) / kit.programme.crest_factor
    expected = 4 * ratio * math.sqrt(((excursion * gain) ** 2 / 2) @ shares)
    assert found.programme_excursion == pytest.approx(expected, rel=1e-3)  # the grid goes on below the sweep
    assert found.minus_3 == pytest.approx(result.summary.minus_3_db_hz, rel=2e-3)
    assert found.lowest_impedance == pytest.approx(result.summary.lowest_impedance_ohm, rel=2e-3)
    part, watts = result.parts["C1"], result.parts["R"].watts
    assert found.part_volts_peak == pytest.approx(math.sqrt(2) * (np.abs(part.volts) * gain).max(), rel=1e-9)
    assert found.part_current == pytest.approx((np.abs(part.current) * gain).max(), rel=1e-9)
    assert found.heat is not None
    assert found.heat.sine == pytest.approx((watts * gain**2).max(), rel=1e-9)
    assert found.heat.programme == pytest.approx(ratio**2 * (watts * gain**2) @ shares, rel=1e-3)


def test_two_in_series_are_the_circuit_that_has_both(tmp_path: Path) -> None:
    """100 and 470 uF one behind the other; the rating of the pair is where the first of the two reaches its own."""
    (tmp_path / "stock.csv").write_text(
        "kind,value,tolerance,rating\ncapacitor,100 uF,0 %,20 V\ncapacitor,470 uF,0 %,63 V\n"
    )
    lossless = "{C1: {capacitor: 220 uF, between: [in, w]}}"
    kit = sealed_kit(tmp_path, parts=lossless, more="stock: {capacitors: stock.csv}", **ALONE)
    view = view_of(kit)
    states = view.states
    pair = next(c for c in in_series(kit, states.model, states.place, states.candidates) if len(set(c.made_of)) == 2)
    assert pair.how == "series"
    assert pair.value == pytest.approx(100e-6 * 470e-6 / 570e-6)
    (found,) = view.figures([pair])
    small, large = Part("capacitor", 100e-6), Part("capacitor", 470e-6)
    variant = wired(kit, {"C1": (small, ("in", "x")), "C2": (large, ("x", "w"))})
    frequency = states.frequency[states.swept]
    result = predict(kit, variant, frequency, kit.amplifier.rated_volts)
    excursion = result.drivers["a"].excursion
    assert excursion is not None
    assert view.curve(found) == pytest.approx(excursion, rel=1e-9)
    each = [math.sqrt(2) * np.abs(result.parts[name].volts) for name in ("C1", "C2")]
    over = (each[0] > 20) | (each[1] > 63)
    together = math.sqrt(2) * np.abs(result.parts["C1"].volts + result.parts["C2"].volts)
    assert pair.voltage_rating is not None
    assert np.array_equal(over, together > pair.voltage_rating)
    assert over.any()


def test_the_rating_of_two_in_series_holds_over_their_tolerances(tmp_path: Path) -> None:
    """At its rating neither of the two bears more than its own, whichever way their values lie."""
    (tmp_path / "stock.csv").write_text(
        "kind,value,tolerance,rating\ncapacitor,100 uF,20 %,40 V\ncapacitor,470 uF,10 %,63 V\n"
    )
    kit = sealed_kit(tmp_path, more="stock: {capacitors: stock.csv}", **ALONE)
    states = view_of(kit).states
    pair = next(c for c in in_series(kit, states.model, states.place, states.candidates) if len(set(c.made_of)) == 2)
    assert pair.voltage_rating is not None
    worst = 0.0
    for a in np.linspace(80, 120, 5):
        for b in np.linspace(423, 517, 5):
            shares = b / (a + b), a / (a + b)
            worst = max(worst, pair.voltage_rating * shares[0] / 40, pair.voltage_rating * shares[1] / 63)
            assert abs(a * b / (a + b) / (pair.value * 1e6) - 1) <= pair.tolerance * 1.01 + 0.005
    assert worst == pytest.approx(1.0)


def test_two_in_series_only_where_nothing_else_is_near(tmp_path: Path) -> None:
    dense = view_of(sealed_kit(tmp_path, more="stock: {capacitors: E24}", **ALONE)).states
    assert not in_series(dense.kit, dense.model, dense.place, dense.candidates)
    states = view_of(sealed_kit(tmp_path, **ALONE)).states
    pairs = in_series(states.kit, states.model, states.place, states.candidates)
    there = [candidate.value for candidate in states.candidates]
    # of 150, 180 and 470 uF: 75, 82, 90, 114, 130 and 235 uF; 82 is near 75, and 235 near the kit's own 220
    assert [round(pair.value * 1e6) for pair in pairs] == [75, 90, 114, 130]
    for pair in pairs:
        assert min(abs(pair.value / value - 1) for value in there) > 0.1
    assert all(len(pair.made_of) == 2 and pair.made_of[0] <= pair.made_of[1] for pair in pairs)


def test_forms_are_of_the_best_capacitors_and_judged_by_the_rules(tmp_path: Path) -> None:
    kit = sealed_kit(tmp_path)
    verdict = protect(kit, first(kit), FEW)[0]
    assert verdict.link is not None
    bases = [f.candidate.value for f in (verdict.named, verdict.fitted) if f and f.candidate]
    dampings = [form.figures.candidate for form in verdict.forms if form.figures.candidate]
    assert {c.value for c in dampings if c.damping} >= {bases[0]}
    for form in verdict.forms:
        assert form.judged == decide(verdict.link, [form.figures])[0]
    assert {c.damping.wiring for c in dampings if c.damping} == {"across", "in_series"}
    assert all(c.how == "series" for c in dampings if not c.damping)


def test_a_resistor_beyond_its_power_is_refused(tmp_path: Path) -> None:
    """10 W asked of 5 W on the programme is refused, of 20 W not; a sine that does not last is no reason."""
    kit = sealed_kit(tmp_path, amplifier="{power: 500 W, load: 8 ohm}")
    view = view_of(kit)
    (plain,) = view.figures([Candidate(150e-6, (150e-6,), 0.1, None, damping=Damping(10.0, "across"))])
    assert plain.heat is not None
    assert plain.heat.programme is not None
    assert plain.heat.sine > 2 * plain.heat.programme
    for ratio, refused in ((0.9, True), (1.1, False)):
        damping = Damping(10.0, "across", plain.heat.programme * ratio)
        (found,) = view.figures([Candidate(150e-6, (150e-6,), 0.1, None, damping=damping)])
        assert any("heat" in why for why in found.refused) == refused


def test_a_large_resistor_across_and_none_in_series_change_nothing(tmp_path: Path) -> None:
    view = view_of(sealed_kit(tmp_path))
    alone = Candidate(150e-6, (150e-6,), 0.1, None)
    plain, across, series = view.figures(
        [alone, replace(alone, damping=Damping(1e9, "across")), replace(alone, damping=Damping(1e-9, "in_series"))]
    )
    for other in (across, series):
        assert view.curve(other) == pytest.approx(view.curve(plain), rel=1e-6)
    (linked,) = view.figures([replace(alone, damping=Damping(1e-9, "across"))])
    assert view.curve(linked) == pytest.approx(view.curve(view.linked()), rel=1e-6)


def test_the_third_order_alignment_of_a_sealed_box(tmp_path: Path) -> None:
    """A capacitor in series makes G = s^3 tau/(s^3 tau + s^2 (1 + tau/qtc) + s (tau + 1/qmc) + 1), s in units of wc.

    tau = R C wc, R all resistance in series, without any voice-coil inductance (derived by hand from the mesh). With
    qtc = 0.94281 and tau = 2.82843 its denominator is Butterworth's, corner at 0.70711 fc.
    """
    re, mms, cms, sd, rms, volume, series = 6.0, 20e-3, 1.0e-3, 140e-4, 0.05, 20e-3, 0.3
    stiffness = 1 / cms + 1.2041 * 343.21**2 * sd**2 / volume
    wc = math.sqrt(stiffness / mms)
    resistance = re + series
    qmc = wc * mms / rms
    qec = 1 / (1 / 0.94281 - 1 / qmc)
    bl = math.sqrt(wc * mms * resistance / qec)
    farads = 2.82843 / (resistance * wc)
    driver = (
        f"{{woofer: {{re: {re} ohm, bl: {bl!r} T.m, mms: 20 g, cms: 1 mm/N, rms: {rms} kg/s, sd: 140 cm2,"
        " linear_excursion: 4 mm, damage_excursion: 9 mm}}"
    )
    kit = sealed_kit(
        tmp_path,
        drivers=driver,
        parts=f"{{C1: {{capacitor: {farads * 1e6!r} uF, between: [in, w], series_resistance: {series} ohm}}}}",
        hookup="{a: {driver: woofer, plus: w, minus: common}}",
        cabinets="{box: {chambers: [{kind: sealed, drivers: [a], volume: 20 L,"
        " losses: {leak: lossless, absorption: lossless}}]}}",
    )
    view = view_of(kit)
    (found,) = view.figures([Candidate(farads, (farads,), 0.0, None)])
    frequency = view.states.frequency[view.states.swept]
    s = 2j * np.pi * frequency / wc
    tau = 2.82843
    g = s**3 * tau / (s**3 * tau + s**2 * (1 + tau / 0.94281) + s * (tau + 1 / qmc) + 1)
    above = math.sqrt(2) * kit.amplifier.rated_volts * bl / (resistance * mms * (2 * np.pi * frequency) ** 2)
    assert view.curve(found) == pytest.approx(above * np.abs(g), rel=2e-5)  # six figures of the alignment
    f3 = 0.70711 * wc / (2 * math.pi)
    # the reference band is 100 to 400 Hz, where the response still rises by 0.1 dB
    assert found.minus_3 == pytest.approx(f3, rel=5e-3)


def means_of(verdict: Verdict, name: str) -> list[Means]:
    return [item for item in verdict.other_means if item.means == name]


def linked_of(kit: Kit) -> Verdict:
    return protect(kit, first(kit))[0]


def test_another_volume_is_the_kit_with_that_box(tmp_path: Path) -> None:
    kit = sealed_kit(tmp_path)
    found = means_of(protect(kit, first(kit), FEW)[0], "box_volume")
    assert len(found) == len(VOLUMES)
    for item, factor in zip(found, VOLUMES, strict=True):
        other = sealed_kit(tmp_path, cabinets=EIGHT_LITRES.replace("8 L", f"{8 * factor} L"))
        expected = linked_of(other).link
        assert expected is not None
        assert item.figures is not None
        assert item.volume == pytest.approx(8e-3 * factor)
        assert item.margin == pytest.approx(expected.margins.decisive, abs=1e-9)
        assert item.figures.minus_3 == pytest.approx(expected.minus_3, rel=1e-9)
        assert item.figures.ripple == pytest.approx(expected.ripple, abs=1e-9)
        assert item.figures.maximum_level == pytest.approx(expected.maximum_level, abs=1e-9)
        assert item.figures.lowest_impedance == pytest.approx(expected.lowest_impedance, rel=1e-9)


def test_less_air_in_a_sealed_box_holds_the_cone(tmp_path: Path) -> None:
    """The largest excursion of a sine is V Bl/(R K) q^2/sqrt(q^2 - 1/4) above q = 0.707 (Small, J. Audio Eng. Soc.
    20(10), 1972, from memory), K the stiffness of cone and air, rho c^2 sd^2/V of it the air's, q = sqrt(K M)/(Rms +
    Bl^2/R)."""
    kit = sealed_kit(
        tmp_path,
        hookup="{a: {driver: woofer, plus: w, minus: common}}",
        cabinets="{box: {chambers: [{kind: sealed, drivers: [a], volume: 4 L,"
        " losses: {leak: lossless, absorption: lossless}}]}}",
        more=f"{STOCK}\nprogramme: {{spectrum: sine, from: 5 Hz}}",
    )
    verdict = protect(kit, first(kit), FEW)[0]
    link = verdict.link
    assert link is not None
    assert link.margins.decisive is not None
    for item, factor in zip(means_of(verdict, "box_volume"), VOLUMES, strict=True):
        stiffness = 1 / 1.10e-3 + 1.2041 * 343.21**2 * 88e-4**2 / (4e-3 * factor)
        q = math.sqrt(stiffness * 9.5e-3) / (0.85 + 6.3**2 / 5.6)
        rise = q**2 / math.sqrt(q**2 - 0.25) if q > math.sqrt(0.5) else 1.0
        assert item.figures is not None
        assert item.margin is not None
        expected = math.sqrt(2) * kit.amplifier.rated_volts * 6.3 / 5.6 / stiffness * rise
        assert item.figures.peak_excursion == pytest.approx(expected, rel=2e-3)
        assert (item.margin > link.margins.decisive) == (factor < 1)


@pytest.mark.parametrize(
    "port", ["tuning: 45 Hz, ports: [{diameter: 50 mm}]", "ports: [{diameter: 50 mm, length: 0.1 m}]"]
)
def test_another_volume_of_a_vented_box_keeps_its_tuning(tmp_path: Path, port: str) -> None:
    """As the kit with that box and that tuning stated; the box resonance by sqrt(1/(M Cab)) is the same."""
    box = "{{box: {{chambers: [{{kind: vented, drivers: [a, b], volume: {} L, {}}}]}}}}"
    kit = sealed_kit(tmp_path, cabinets=box.format(12, port))
    states = view_of(kit).states
    tuned = _helmholtz(kit, first(kit))
    verdict = protect(kit, first(kit), FEW)[0]
    found = means_of(verdict, "box_volume")
    assert states.place.own
    for item, factor in zip(found, VOLUMES, strict=True):
        assert item.figures is not None, item.text
        stated = f"tuning: {tuned!r} Hz, ports: [{{diameter: 50 mm}}]"
        expected = linked_of(sealed_kit(tmp_path, cabinets=box.format(12 * factor, stated))).link
        assert expected is not None
        assert item.margin == pytest.approx(expected.margins.decisive, abs=1e-6)
        assert item.figures.minus_3 == pytest.approx(expected.minus_3, rel=1e-6)


def _helmholtz(kit: Kit, variant: Variant) -> float:
    enclosure = build(kit, variant).cells[0].enclosure
    assert enclosure is not None
    return enclosure.resonance(build(kit, variant).air, [build(kit, variant).moving(0)])


def test_a_port_that_cannot_keep_its_tuning_is_said(tmp_path: Path) -> None:
    """A wide and short port: with more air the same tuning asks for less mass than its ends have."""
    box = "{box: {chambers: [{kind: vented, drivers: [a, b], volume: 12 L, ports: [{diameter: 80 mm, length: 5 mm}]}]}}"
    kit = sealed_kit(tmp_path, cabinets=box)
    found = means_of(protect(kit, first(kit), FEW)[0], "box_volume")
    told = [item.figures is not None for item in found]
    assert told == [True, False, False]
    assert "shorter than nothing" in found[1].text


def test_a_line_has_no_volume_to_change(tmp_path: Path) -> None:
    line = (
        "{box: {chambers: [{kind: line, profile: [{length: 1 m, area: 150 cm2}], drivers: {a: 100 mm, b: 300 mm},"
        " mouth: {end: flanged}}]}}"
    )
    kit = sealed_kit(tmp_path, cabinets=line)
    (item,) = means_of(protect(kit, first(kit), FEW)[0], "box_volume")
    assert (item.figures, item.margin) == (None, None)
    assert "sealed and vented boxes only" in item.text


def test_the_receivers_high_pass_is_that_of_a_variant_that_has_it(tmp_path: Path) -> None:
    """Margins of a variant with each high-pass; the -3 dB point and ripple of its response times the high-pass."""
    kit = sealed_kit(tmp_path)
    found = means_of(linked_of(kit), "receiver_high_pass")
    assert [(m.high_pass.corner, m.high_pass.order) for m in found if m.high_pass] == [
        (60, 2), (80, 2), (100, 2), (120, 2)
    ]  # fmt: skip
    places = {"C1": replace(first(kit).places["C1"], state="link")}
    result = predict(kit, replace(first(kit), places=places), summary.GRID)
    for item in found:
        assert item.high_pass is not None
        assert item.figures is not None
        having = replace(first(kit), receiver_high_pass=item.high_pass)
        link = protect(kit, having)[0].link
        assert link is not None
        assert item.margin == pytest.approx(link.margins.decisive, abs=1e-12)
        assert item.figures.maximum_level == pytest.approx(link.maximum_level, abs=1e-12)
        gain = 1 / np.sqrt(1 + (item.high_pass.corner / summary.GRID) ** 4)
        low = summary.low_end(summary.GRID, level(result.pressure * gain), summary.WOOFER_BAND)
        assert item.figures.minus_3 == pytest.approx(low.minus_3, rel=1e-3)
        assert item.figures.ripple == pytest.approx(low.ripple, abs=0.02)


def test_where_the_variant_has_a_high_pass_it_is_the_only_one(tmp_path: Path) -> None:
    kit = sealed_kit(tmp_path, variants="{v: {cabinet: box, receiver_high_pass: {corner: 50 Hz, order: 4}}}")
    (item,) = means_of(linked_of(kit), "receiver_high_pass")
    assert item.high_pass == HighPass(50.0, 4)
    assert "in use here" in item.text


@pytest.mark.parametrize("power", [10, 200])
@pytest.mark.parametrize("spectrum", ["iec", "sine"])
def test_the_loudest_is_that_of_the_limits(tmp_path: Path, power: int, spectrum: str) -> None:
    """With the amplifier and the cones' linear excursion the only limits, `limits` says the same, linked."""
    driver = f"{{woofer: {WOOFER.replace(', damage_excursion: 9 mm', '')}}}"
    more = f"{STOCK}\nprogramme: {{spectrum: {spectrum}}}"
    kit = sealed_kit(tmp_path, more=more, drivers=driver, amplifier=f"{{power: {power} W, load: 8 ohm}}")
    link = linked_of(kit).link
    assert link is not None
    places = {"C1": replace(first(kit).places["C1"], state="link")}
    model = build(kit, replace(first(kit), places=places))
    acoustics = transfer(model, summary.GRID)
    figures = summarise(model, acoustics)
    case = Case(model, acoustics, prediction(model, acoustics, 1.0, figures))
    ceiling = limits(case, case).ceiling
    assert ceiling.limited_by.startswith("the amplifier" if power == 10 else "linear excursion")
    assert link.maximum_level == pytest.approx(ceiling.level, abs=0.02)


def test_a_lower_setting_has_no_margin_left(tmp_path: Path) -> None:
    """At its volts the decisive margin is used up: the same kit with that much less power has a margin of 0 dB."""
    kit = sealed_kit(tmp_path, amplifier="{power: 200 W, load: 8 ohm}")
    (item,) = means_of(linked_of(kit), "lower_volume")
    assert item.volts is not None
    link = linked_of(kit).link
    assert link is not None
    full = kit.amplifier.rated_volts
    if link.margins.decided_by == "programme":
        full *= math.sqrt(2) / kit.programme.crest_factor
    power = kit.amplifier.power * (item.volts / full) ** 2
    lower = linked_of(replace(kit, amplifier=replace(kit.amplifier, power=power))).link
    assert lower is not None
    assert lower.margins.decisive == pytest.approx(0.0, abs=1e-9)
    assert item.level == pytest.approx(lower.full_level, abs=1e-9)


@given(st.integers(0, 2**32 - 1))
def test_many_low_ends_at_once_are_those_of_one(seed: int) -> None:
    """`summary.low_end` row by row: rising, rippled, never up, always up."""
    random = np.random.default_rng(seed)
    frequency = np.geomspace(random.uniform(8, 30), 20e3, int(random.integers(80, 400)))
    corners = random.uniform(5, 600, 12)[:, None]
    steep = random.uniform(0, 40, 12)[:, None]
    noise = random.normal(0, random.uniform(0, 4, 12)[:, None], (12, frequency.size))
    decibels = 90 - steep * np.log10(1 + (corners / frequency) ** 2) + noise
    for band in (summary.BAND, summary.WOOFER_BAND):
        found = low_ends(frequency, decibels, band)
        for i, row in enumerate(decibels):
            one = summary.low_end(frequency, row, band)
            assert found.reference[i] == pytest.approx(one.reference, abs=1e-9)
            for values, expected in ((found.minus_3, one.minus_3), (found.ripple, one.ripple)):
                assert values[i] == pytest.approx(math.nan if expected is None else expected, rel=1e-9, nan_ok=True)


def test_what_is_inserted_is_what_the_network_says(tmp_path: Path) -> None:
    """Currents everywhere, by the dense equations with the capacitor in them."""
    parts = (
        "{C1: {capacitor: 150 uF, between: [in, w], series_resistance: 0.05 ohm}, L1: {coil: 1 mH, between: [w, x]},"
        " C2: {capacitor: 22 uF, between: [x, common]}}"
    )
    kit = sealed_kit(tmp_path, parts=parts, hookup=TWO.replace("plus: w", "plus: x"))
    model = build(kit, first(kit))
    acoustics = transfer(model, np.geomspace(20, 20e3, 40))
    inserted = Inserted.of(model, "C1", acoustics)
    omega = 2 * np.pi * acoustics.frequency
    expected = solve(model.network, omega, acoustics.impedance, 1.0, model.source_resistance)
    share = inserted.share(model.network.element("C1").part.impedance(omega)[None])
    heard = inserted.heard(acoustics.total_pressure).at(share)[0]
    direct = np.einsum("fj,fj->f", acoustics.total_pressure, expected.load_current)
    assert heard == pytest.approx(direct, rel=1e-9)
    assert inserted.drawn.at(share)[0] == pytest.approx(expected.input_current, rel=1e-9)
    assert (inserted.through * (1 - share))[0] == pytest.approx(expected.element_current[:, 0], rel=1e-9)
    assert (inserted.across * share)[0] == pytest.approx(expected.element_volts[:, 0], rel=1e-9)


def test_sheets_say_it_all(tmp_path: Path) -> None:
    """Every form, means and share is in the words and in the data; no line is too long, nothing is NaN."""
    kit = sealed_kit(tmp_path, **ALONE)
    verdicts = protect(kit, first(kit), FEW)
    text = protect_texts.protection(kit, {"v": verdicts})
    assert max(map(len, text.splitlines())) <= 100
    assert "of 20 builds, seed 0" in text
    for word in (
        "across: ",
        "series: ",
        "two: ",
        "receiver's high-pass 60 Hz",
        "box of 3.2 L",
        "boxes: less volume helps",
    ):
        assert word in text
    data = json.loads(json.dumps(protect_data.verdict(verdicts[0]), allow_nan=False))
    keys = set(data["link"])
    assert {"judged", "resistor_ohm", "resistor_sine_w", "resistor_programme_w"} | keys <= set(data["forms"][0])
    assert set(data["confidence"]) == {"seed", "builds", "law", "link", "fitted", "named"}
    costs = {"minus_3_db_hz", "ripple_db", "maximum_level_db", "lowest_impedance_ohm"}
    assert all(costs <= set(item) for item in data["other_means"])
    rows = protect_data.choices_csv(verdicts).splitlines()
    assert len(rows) == 1 + sum(2 + len(v.choices) + len(v.forms) for v in verdicts)
    (graph,) = protect_graphs.protection(kit, {"v": verdicts})
    labels = [line.label for line in graph.lines]
    assert labels[:2] == ["linked", "220 uF"]
    assert any("||" in label for label in labels)
    assert [label for label, _ in graph.limits] == ["linear limit", "damage limit"]


def test_a_kit_without_a_place_or_limits_is_looked_at_closely(tmp_path: Path) -> None:
    driver = f"{{woofer: {WOOFER.replace(' linear_excursion: 4 mm,', '')}}}"
    for drivers in (f"{{woofer: {WOOFER}}}", driver):
        kit = sealed_kit(tmp_path, parts="{}", hookup=TWO.replace("plus: w", "plus: in"), drivers=drivers)
        verdicts = protect(kit, first(kit), FEW)
        text = protect_texts.protection(kit, {"v": verdicts})
        assert max(map(len, text.splitlines())) <= 100
        for verdict in verdicts:
            json.dumps(protect_data.verdict(verdict), allow_nan=False)
