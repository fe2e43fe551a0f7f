"""What gives first: against closed forms, against predictions at the volts found, and in time."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from system import summary
from system.build import build
from system.ceilings import amplifier_load, swept_case
from system.coils import Coils, endurances
from system.distortion import TOTAL, distortions
from system.examples import scenarios
from system.kit import Kit, Variant
from system.kitfile import load_kit
from system.limits import Case, Limit, Limits, limits, port_losses
from system.predict import predict, prediction, summarise
from system.programme import high_pass_gain, power_shares
from system.signal import Signal
from system.synthesis import clipped, filtered, noise
from system.transfer import transfer
from system.warming import warming
from tests.support_heat import volts_reaching, warmed
from tests.support_kits import WOOFER, read_kit

RHO, C = 1.2041, 343.21
RE, BL, MMS, CMS, RMS, SD = 5.6, 6.3, 9.5e-3, 1.10e-3, 0.85, 88e-4
COPPER = 0.00393  # IEC 60028, from memory
F = np.geomspace(10, 2000, 120)
LOSSLESS = "losses: {leak: lossless, absorption: lossless}"
SIX_LITRES = f"{{box: {{chambers: [{{kind: sealed, drivers: [woofer], volume: 6 L, {LOSSLESS}}}]}}}}"
RATED = f"{{woofer: {WOOFER[:-1]}, power: {{rated: 40 W, of: coil}}}}}}"
AMBIENT, HIGHEST = 298.15, 423.15  # K, what is assumed where nothing is stated


def of(kit: Kit, variant: Variant, frequency: np.ndarray = F) -> Limits:
    swept = swept_case(kit, variant)
    acoustics = transfer(swept.model, frequency)
    return limits(Case(swept.model, acoustics, prediction(swept.model, acoustics, 1.0, swept.result.summary)), swept)


def only(folder: Path, frequency: np.ndarray = F, **pieces: str) -> Limits:
    kit = read_kit(folder, **{"cabinets": SIX_LITRES, **pieces})
    return of(kit, next(iter(kit.variants.values())), frequency)


def found(result: Limits, kind: str, name: str = "woofer") -> Limit:
    return next(limit for limit in result.limits if (limit.kind, limit.name) == (kind, name))


@cache
def marshlight() -> Kit:
    return load_kit(scenarios() / "marshlight" / "kit.yaml")


@cache
def example(name: str) -> tuple[Case, Case]:
    """The example's variant at forty frequencies, and on the grid of its programme."""
    swept = swept_case(marshlight(), marshlight().variants[name])
    acoustics = transfer(swept.model, np.geomspace(20, 20e3, 40))
    return Case(swept.model, acoustics, prediction(swept.model, acoustics, 1.0, swept.result.summary)), swept


@pytest.mark.parametrize(("kind", "excursion"), [("linear_excursion", 4e-3), ("damage_excursion", 9e-3)])
def test_displacement_limited_volts_of_a_sealed_box(kind: str, excursion: float, tmp_path: Path) -> None:
    """Small, J. Audio Eng. Soc. 20(10), 1972: x/V = Bl Cms/(Re (1 + alpha)) times a second-order low-pass, rms.

    So a peak of xmax is reached at xmax/(sqrt(2) |x/V|); within 0.1 %.
    """
    result = only(tmp_path)
    alpha = RHO * C**2 * SD**2 * CMS / 6e-3
    fc = math.sqrt(1 + alpha) / (2 * math.pi * math.sqrt(MMS * CMS))
    qtc = 2 * math.pi * fc * MMS / (RMS + BL**2 / RE)
    per_volt = BL * CMS / (RE * (1 + alpha)) / np.abs(1 - (F / fc) ** 2 + 1j * F / (fc * qtc))
    np.testing.assert_allclose(found(result, kind).volts, excursion / (math.sqrt(2) * per_volt), rtol=1e-3)


def test_thermally_limited_volts_of_a_sealed_box(tmp_path: Path) -> None:
    """Small, J. Audio Eng. Soc. 21(1), 1973: the input power at which the coil is as hot as it stands; hot, 0.1 %.

    (150 - 20) K at 40 W is 3.25 K/W, so from 25 degC on (150 - 25)/3.25 W in a coil of Re (1 + 0.00393 130). The volts
    drive that power through Re hot + Bl^2/Zm, Zm the cone on its own and the box's spring.
    """
    result = only(tmp_path, drivers=RATED)
    hot = RE * (1 + COPPER * 130)
    watts = (HIGHEST - AMBIENT) / (130 / 40)
    w = 2 * np.pi * F
    mechanical = RMS + 1j * w * MMS + (1 / CMS + RHO * C**2 * SD**2 / 6e-3) / (1j * w)
    volts = np.sqrt(watts / hot) * np.abs(hot + BL**2 / mechanical)
    np.testing.assert_allclose(found(result, "heat").volts, volts, rtol=1e-3)


def test_the_amplifiers_own_limits(tmp_path: Path) -> None:
    """sqrt(P R) volts; the current's peak through all that the source sees, Ohm's law on a resistor across it."""
    result = only(
        tmp_path,
        amplifier="{power: 50 W, load: 8 ohm, current_limit: 6 A, output_resistance: 0.5 ohm, cable: 0.3 ohm}",
        parts="{R1: {resistor: 4 ohm, between: [in, common]}, R2: {resistor: 1 Mohm, between: [in, w]}}",
        hookup="{woofer: {driver: woofer, plus: w, minus: common}}",
    )
    np.testing.assert_allclose(found(result, "amplifier_voltage", "").volts, 20.0, rtol=1e-12)
    np.testing.assert_allclose(found(result, "amplifier_current", "").volts, 6 / math.sqrt(2) * 4.8, rtol=1e-5)


@pytest.mark.parametrize("name", ["centre", "wall", "tall"])
def test_at_the_envelope_one_limit_is_reached_and_none_is_passed(name: str) -> None:
    """The kit is predicted again at the volts of the envelope: what moves, flows and heats is at the limit at most."""
    kit, (case, swept) = marshlight(), example(name)
    result = limits(case, swept)
    np.testing.assert_array_equal(result.envelope.volts, np.min([each.volts for each in result.limits], axis=0))
    for i in range(0, result.frequency.size, 5):
        volts = float(result.envelope.volts[i])
        acoustics = transfer(case.model, result.frequency[i : i + 1])
        there = prediction(case.model, acoustics, volts, swept.result.summary)
        shares = {}
        for driver in ("woofer_a", "woofer_b"):
            excursion = there.drivers[driver].excursion
            assert excursion is not None
            shares[f"linear excursion of {driver}"] = excursion[0] / 4e-3
        for opening in there.openings:
            shares[f"air speed in {opening}"] = there.openings[opening].speed[0] / (0.05 * 343.2)
        for reference, part in there.parts.items():
            spec = case.model.variant.places[reference].part
            if spec.power_rating is not None:
                shares[f"heat in {reference}"] = math.sqrt(part.watts[0] / spec.power_rating)
            if spec.voltage_rating is not None:
                shares[f"volts across {reference}"] = math.sqrt(2) * abs(part.volts[0]) / spec.voltage_rating
            if spec.current_rating is not None:
                shares[f"current in {reference}"] = abs(part.current[0]) / spec.current_rating
        shares["the amplifier's volts"] = volts / kit.amplifier.rated_volts
        assert max(shares.values()) <= 1 + 2e-3
        words = result.envelope.limited_by[i]
        if not words.startswith("heat of"):
            first = words.split(" and ")[0]
            assert shares[first] == pytest.approx(1, abs=2e-3)
        assert result.envelope.level[i] == pytest.approx(summary.level(there.pressure)[0], abs=1e-9)


def test_those_that_give_together_are_named_together() -> None:
    """The two woofers of a sealed box behind one filter are alike."""
    words = limits(*example("wall")).envelope.limited_by
    assert "linear excursion of woofer_a and woofer_b" in words
    assert not {"linear excursion of woofer_a", "linear excursion of woofer_b"} & set(words)


@pytest.mark.parametrize("name", ["centre", "wall", "tall"])
def test_heat_is_that_of_the_general_solver(name: str) -> None:
    """`volts_reaching` finds each coil's volts by itself, from powers that solve the drivers' equations by
    LAPACK; here all coils are found at once by elimination. 1e-5, which is what a thousandth of a kelvin makes."""
    case, swept = example(name)
    known = endurances(swept.model, swept.acoustics)
    coils = Coils.of(case.model, case.acoustics, known)

    def watts(resistance: np.ndarray) -> np.ndarray:
        added = np.broadcast_to(resistance, (case.result.frequency.size, len(known))) - coils.present
        own = coils.admittance[list(coils.places)]
        system = np.eye(len(known)) + np.moveaxis(own, -1, 0) * added[:, None, :]
        current = np.linalg.solve(system, coils.current[list(coils.places)].T[..., None])[..., 0]
        return np.asarray(resistance * np.abs(current) ** 2)

    result = limits(case, swept)
    for i, (driver, endurance) in enumerate(known.items()):
        expected = volts_reaching(coils.coils, i, endurance.highest, watts, coils.ambient)
        np.testing.assert_allclose(found(result, "heat", driver).volts, expected, rtol=1e-5)


def test_hot_coils_draw_what_a_kit_with_hot_coils_draws() -> None:
    """The powers behind every heat limit, against a prediction of the kit with its coils stated to be that warm, 1e-9.

    Its two woofers and tweeter get temperatures of their own, on one common source.
    """
    kit, (case, swept) = marshlight(), example("tall")
    warm = {"woofer_a": 350.0, "woofer_b": 440.0, "tweeter": 390.0}
    coils = Coils.of(case.model, case.acoustics, endurances(swept.model, swept.acoustics))
    ohms = np.array([float(coil.resistance(np.array(t))) for coil, t in zip(coils.coils, warm.values(), strict=True)])
    hot = predict(kit, warmed(case.model.variant, warm), case.result.frequency, 1.0, swept.result.summary)
    drawn = np.array([np.abs(hot.drivers[name].current) ** 2 for name in warm]) * ohms[:, None]
    np.testing.assert_allclose(coils.sine(ohms[:, None]), drawn, rtol=1e-9)
    np.testing.assert_allclose(
        coils.currents(ohms), np.stack([hot.drivers[name].current for name in warm], axis=1), rtol=1e-9
    )


def test_woofers_in_series_warm_each_other_up(tmp_path: Path) -> None:
    """Two like ones in series share the volts: each limit is twice that of one alone, at every frequency."""
    chain = "{a: {driver: woofer, plus: in, minus: mid}, b: {driver: woofer, plus: mid, minus: common}}"
    alone = only(tmp_path, drivers=RATED, cabinets="{box: {}}")
    pair = only(tmp_path, drivers=RATED, cabinets="{box: {}}", hookup=chain)
    for name in ("a", "b"):
        np.testing.assert_allclose(found(pair, "heat", name).volts, 2 * found(alone, "heat").volts, rtol=1e-6)


def test_a_power_of_a_system_is_what_its_high_pass_leaves_of_it(tmp_path: Path) -> None:
    """A coil of 5 ohm behind a flat 6.4 ohm (rated 8 ohm, since 6.4 is 80 % of it: IEC 60268-5).

    30 W are 15.49 V; behind 2 kHz, first order, on pink noise 20 Hz to 20 kHz the mean of |H|^2 would be
    ln((1 + 100)/(1 + 1e-4))/(2 ln 1000) in closed form. The standard's programme holds less above 4 kHz, so its own
    shares are summed; the coil's power is 15.49^2 (5/6.4^2) of that. At 130 K over the room it sits at that power.
    """
    rows = np.geomspace(20, 20e3, 20)
    (tmp_path / "z.txt").write_text("\n".join(f"{f} 6.4 0" for f in rows))
    (tmp_path / "p.txt").write_text("\n".join(f"{f} 86 0" for f in rows))
    response = "response: {file: p.txt, volts: 2.83 V, distance: 1 m}"
    power = "power: {rated: 30 W, of: system, high_pass: {corner: 2 kHz, order: 1}}"
    pieces = {
        "drivers": f"{{dome: {{role: tweeter, re: 5 ohm, impedance: z.txt, {response}, {power}}}}}",
        "hookup": "{dome: {driver: dome, plus: in, minus: common}}",
        "cabinets": "{box: {}}",
    }
    result = only(tmp_path, **pieces)
    grid = np.geomspace(20, 20e3, 4001)
    shares = power_shares(marshlight().programme, grid)
    watts = 30 * 8 * 5 / 6.4**2 * float(shares @ (1 / (1 + (2000 / grid) ** 2)))
    ohms = 5 * (1 + COPPER * 130)
    volts = math.sqrt(watts * (HIGHEST - AMBIENT) / 130 / ohms) * (6.4 + ohms - 5)
    np.testing.assert_allclose(found(result, "heat", "dome").volts, volts, rtol=1e-3)
    bare = {**pieces, "drivers": pieces["drivers"].replace(", high_pass: {corner: 2 kHz, order: 1}", "")}
    none = only(tmp_path, **bare)
    assert not [limit for limit in none.limits if limit.kind == "heat"]
    assert any(item.what == "heat of dome" and "without its high-pass" in item.why for item in none.not_judged)


PROGRAMME = "programme: {{spectrum: pink, crest_factor: {crest} dB, from: 40 Hz}}"
FINE = np.geomspace(40, 20e3, 6001)
BOARD = (
    "{C1: {capacitor: 150 uF, voltage_rating: 63 V, current_rating: 3 A, between: [in, w]},"
    " R1: {resistor: 1 ohm, power_rating: 5 W, between: [w, x]}}"
)
BEHIND = "{woofer: {driver: woofer, plus: x, minus: common}}"


@pytest.mark.parametrize(("crest", "peak"), [(12, 4.0), (6, 4.0), (15, 10 ** (15 / 20))])
def test_programme_limits_are_their_definition(crest: int, peak: float, tmp_path: Path) -> None:
    """Volts rms at which max(4, crest) times the rms (peaks), or the rms (current, heat), is at the limit.

    Pink noise behind a receiver's high-pass, its mean squares integrated on a grid of their own; 0.1 %. The amplifier
    clips at sqrt(2) V_rated/crest.
    """
    pieces = {
        "parts": BOARD,
        "hookup": BEHIND,
        "more": PROGRAMME.format(crest=crest),
        "variants": "{v: {cabinet: box, receiver_high_pass: {corner: 60 Hz, order: 2}}}",
        "cabinets": "{box: {chambers: [{kind: vented, drivers: [woofer], volume: 12 L, tuning: 50 Hz,"
        " losses: {leak: 7}, ports: [{diameter: 40 mm}]}]}}",
    }
    kit = read_kit(tmp_path, **pieces)
    variant = kit.variants["v"]
    fine = predict(kit, variant, FINE, 1.0)
    x = np.log(FINE)
    gain = high_pass_gain(variant.receiver_high_pass, FINE)

    def rms(curve: np.ndarray) -> float:
        return math.sqrt(np.trapezoid((curve * gain) ** 2, x) / (x[-1] - x[0]))

    excursion, speed = fine.drivers["woofer"].excursion, fine.openings["port"].speed
    part, resistor = fine.parts["C1"], fine.parts["R1"]
    assert excursion is not None
    result = of(kit, variant)
    expected = {
        ("linear_excursion", "woofer", "linear excursion of {}"): 4e-3 / (peak * rms(excursion / math.sqrt(2))),
        ("damage_excursion", "woofer", "damage excursion of {}"): 9e-3 / (peak * rms(excursion / math.sqrt(2))),
        ("opening_speed", "port", "air speed in {}"): 0.05 * C / (peak * rms(speed / math.sqrt(2))),
        ("part_rating", "C1", "volts across {}"): 63 / (peak * rms(np.abs(part.volts))),
        ("part_rating", "C1", "current in {}"): 3 / rms(np.abs(part.current)),
        ("part_rating", "R1", "heat in {}"): math.sqrt(5 / rms(np.sqrt(resistor.watts)) ** 2),
        ("amplifier_voltage", "", "the amplifier's volts"): math.sqrt(2) * 20 / 10 ** (crest / 20),
    }
    given = {(each.kind, each.name, each.phrase): each.programme for each in result.limits}
    assert given == pytest.approx(expected, rel=1e-3)
    most = result.ceiling
    assert most.volts == min(given.values())
    assert most.watts == pytest.approx(most.volts**2 / 8)
    level = 20 * math.log10(most.volts * rms(np.abs(fine.pressure)) / 20e-6)
    assert most.level == pytest.approx(level, abs=0.01)
    over = {each.words for each in result.exceeded}
    assert over == {key[2].format(key[1]) for key, volts in expected.items() if volts < most.full * (1 - 1e-9)}


def test_the_coils_power_on_a_programme(tmp_path: Path) -> None:
    """At the programme's heat limit a kit whose coil is stated to be at its highest temperature draws the power that
    holds it there; integrated on a grid of its own, 0.1 %."""
    pieces = {"drivers": RATED, "more": PROGRAMME.format(crest=12), "cabinets": SIX_LITRES}
    kit = read_kit(tmp_path, **pieces)
    volts = found(of(kit, kit.variants["v"]), "heat").programme
    hot = predict(kit, warmed(kit.variants["v"], {"woofer": HIGHEST}), FINE, volts)
    x = np.log(FINE)
    watts = RE * (1 + COPPER * 130) * np.trapezoid(np.abs(hot.drivers["woofer"].current) ** 2, x) / (x[-1] - x[0])
    assert watts == pytest.approx((HIGHEST - AMBIENT) / (130 / 40), rel=1e-3)


def test_the_programme_in_time_reaches_its_excursion() -> None:
    """Half a minute of noise of the example's spectrum and crest factor at the volts found: a quarter of the limit in
    rms (2 %: the noise's own chance at low frequency), and a peak of the size of the limit itself."""
    kit, (_, swept) = marshlight(), example("tall")
    limit = found(limits(*example("tall")), "linear_excursion", "woofer_b")
    wave = clipped(noise(kit.programme, seconds=30.0), kit.programme.crest_factor)
    index = swept.model.names.index("woofer_b")
    motion = np.einsum(
        "fj,fj->f", swept.acoustics.excursion[:, index], np.stack([d.current for d in swept.result.drivers.values()], 1)
    )
    moved = filtered(wave, swept.result.frequency, motion * limit.programme)
    assert moved.rms == pytest.approx(limit.value / 4, rel=0.02)
    assert moved.peak == pytest.approx(limit.value, rel=0.15)


def test_a_sine_is_swept_behind_the_receivers_high_pass(tmp_path: Path) -> None:
    """Where a sine is the signal, each limit is the setting at which the sweep first reaches it."""
    high_pass = "{v: {cabinet: box, receiver_high_pass: {corner: 60 Hz, order: 2}}}"
    result = only(tmp_path, more="programme: {spectrum: sine, from: 33.3 Hz}", variants=high_pass)
    assert result.ceiling.signal == "sine"
    fine = np.geomspace(33.3, 2000, 20_000)
    kit = read_kit(tmp_path, cabinets=SIX_LITRES, variants=high_pass)
    excursion = predict(kit, kit.variants["v"], fine, 1.0).drivers["woofer"].excursion
    assert excursion is not None
    moved = excursion * high_pass_gain(kit.variants["v"].receiver_high_pass, fine)
    limit = found(result, "linear_excursion")
    assert limit.programme == limit.swept == pytest.approx(4e-3 / moved.max(), rel=1e-4)
    assert limit.swept_hz == pytest.approx(fine[moved.argmax()], rel=0.02)


def test_a_sweep_begins_at_the_programmes_lowest(tmp_path: Path) -> None:
    """Between two points of the grid: a cone below resonance moves most there, by the closed form of 6 L above."""
    result = only(tmp_path, more="programme: {spectrum: pink, crest_factor: 12 dB, from: 33.3 Hz}")
    limit = found(result, "linear_excursion")
    alpha = RHO * C**2 * SD**2 * CMS / 6e-3
    fc = math.sqrt(1 + alpha) / (2 * math.pi * math.sqrt(MMS * CMS))
    qtc = 2 * math.pi * fc * MMS / (RMS + BL**2 / RE)
    per_volt = BL * CMS / (RE * (1 + alpha)) / abs(1 - (33.3 / fc) ** 2 + 33.3j / (fc * qtc))
    assert limit.swept_hz == 33.3
    assert limit.swept == pytest.approx(4e-3 / (math.sqrt(2) * per_volt), rel=1e-3)


def test_a_radiators_excursion_limits_too(tmp_path: Path) -> None:
    """At the volts found, the prediction of the radiator's peak is its limit."""
    radiator = "{sd: 130 cm2, mms: 40 g, cms: 1.4 mm/N, rms: 0.9 kg/s, linear_excursion: 8 mm}"
    cabinets = (
        "{box: {chambers: [{kind: passive_radiator, drivers: [woofer], volume: 12 L, radiators: [RADIATOR]}]}}"
    ).replace("RADIATOR", radiator)
    result = only(tmp_path, cabinets=cabinets)
    kit = read_kit(tmp_path, cabinets=cabinets)
    limit = found(result, "linear_excursion", "radiator")
    moved = predict(kit, kit.variants["v"], F, 1.0).openings["radiator"].excursion
    assert moved is not None
    np.testing.assert_allclose(moved * limit.volts, 8e-3, rtol=1e-9)
    assert any(item.what == "damage excursion of radiator" for item in result.not_judged)


def test_what_the_kit_does_not_state_is_not_judged(tmp_path: Path) -> None:
    """Neither a driver without limits, nor parts without ratings, nor an amplifier without a current limit."""
    bare = WOOFER.replace(", linear_excursion: 4 mm, damage_excursion: 9 mm", "").replace(
        " linear_excursion: 4 mm, damage_excursion: 9 mm", ""
    )
    parts = (
        "{L1: {coil: 1 mH, core: iron, current_rating: 2 A, between: [in, w]}, R1: {resistor: 1 ohm, between: [w, x]}}"
    )
    result = only(tmp_path, drivers=f"{{woofer: {bare}}}", parts=parts, hookup=BEHIND)
    assert [limit.words for limit in result.limits] == ["current in L1", "the amplifier's volts"]
    assert [item.what for item in result.not_judged] == [
        "linear excursion of woofer",
        "damage excursion of woofer",
        "heat of woofer",
        "saturation of L1",
        "ratings of R1",
        "the amplifier's current",
    ]


def test_the_ports_estimate(tmp_path: Path) -> None:
    """Nothing up to its limit, 3.01 dB at twice, by its own statement: half of each dB beyond."""
    cabinets = (
        "{box: {chambers: [{kind: vented, drivers: [woofer], volume: 12 L, tuning: 50 Hz, losses: {leak: 7},"
        " ports: [{diameter: 30 mm}]}]}}"
    )
    kit = read_kit(tmp_path, cabinets=cabinets)
    model = build(kit, kit.variants["v"])
    acoustics = transfer(model, F)
    case = Case(model, acoustics, prediction(model, acoustics, 1.0, summarise(model)))
    lost = port_losses(case)["port"]
    ratio = 20 * case.result.openings["port"].speed / (0.05 * C)
    assert np.all(lost[ratio <= 1] == 0)
    assert np.interp(2.0, ratio[F > 60][::-1], lost[F > 60][::-1]) == pytest.approx(3.01, abs=0.05)
    assert lost.max() > 3


def test_hours_of_the_programme() -> None:
    """Settled is the end of the course, and the change of level is that of the kit with its coils stated so warm."""
    kit, (case, swept) = marshlight(), example("tall")
    result = warming(case, swept)
    assert result is not None
    assert result.volts == pytest.approx(math.sqrt(2) * math.sqrt(640) / 10 ** (12 / 20))
    for name, coil in result.coils.items():
        assert result.temperatures[name][0] == pytest.approx(303.15, abs=2)
        assert result.temperatures[name][-1] == pytest.approx(coil.settled, abs=0.2)
        assert coil.loss == pytest.approx(20 * math.log10(1 + COPPER * (coil.settled - 293.15)), abs=1e-6)
    warm = {name: coil.settled for name, coil in result.coils.items()}
    hot = predict(kit, warmed(case.model.variant, warm), case.result.frequency, 1.0, swept.result.summary)
    expected = summary.level(hot.pressure) - summary.level(case.result.pressure)
    np.testing.assert_allclose(result.change, expected, atol=1e-6)


def driven(folder: Path, curves: str, **pieces: str) -> Kit:
    return read_kit(folder, drivers=f"{{woofer: {WOOFER[:-1]}, large_signal: {{{curves}}}}}}}", **pieces)


def test_third_harmonic_of_a_hardening_spring(tmp_path: Path) -> None:
    """A stiffness k (1 + b x^2) adds the force -k b X^3/4 at three times the frequency (Duffing's equation; Nayfeh &
    Mook, Nonlinear Oscillations, 1979, from memory), which moves the cone against all that its small-signal motion
    meets there: x3 = k b X^3/4/|k - 9 w^2 m + j 3 w (Rms + Bl^2/Re)|. Nine times that over X is what is heard; 1 % at a
    level where it is small. An even curve makes no offset and no second harmonic.
    """
    b = 2e4  # 1/m2: 1.32 times as stiff at 4 mm
    kit = driven(tmp_path, f"stiffness: {{polynomial: [{1 / 1.1:.12g}, 0, {b * 1e-6 / 1.1:.12g}]}}",
                 amplifier="{power: 1 W, load: 8 ohm}")  # fmt: skip
    found_ = distortions(build(kit, kit.variants["v"]))["woofer"]
    low, w = found_.levels[0], 2 * np.pi * found_.frequency
    assert low.volts == pytest.approx(math.sqrt(8) / 8)

    def meets(w: np.ndarray) -> np.ndarray:
        return np.abs(1 / CMS - w**2 * MMS + 1j * w * (RMS + BL**2 / RE))

    fundamental = math.sqrt(2) * low.volts * BL / RE / meets(w)
    third = 9 * b / CMS * fundamental**2 / 4 / meets(3 * w)
    assert third.max() < 0.02
    np.testing.assert_allclose(low.third, third, rtol=0.01)
    assert np.abs(low.offset).max() < 1e-12
    assert low.second.max() < 1e-9
    assert np.abs(low.loss).max() < 0.05


def test_a_tenth_is_a_tenth(tmp_path: Path) -> None:
    """A kit whose amplifier's rated volts are the volts found has a tenth of distortion at its highest level, 2 %."""
    curves = "bl: {polynomial: [6.3, -0.03, -0.06]}, stiffness: {polynomial: [0.909, -0.01, 0.015]}"
    kit = driven(tmp_path, curves, cabinets=SIX_LITRES, amplifier="{power: 100 W, load: 8 ohm}")
    first = distortions(build(kit, kit.variants["v"]))["woofer"]
    i = int(np.flatnonzero(np.isfinite(first.volts))[2])
    again = replace(kit, amplifier=replace(kit.amplifier, power=float(first.volts[i]) ** 2 / 8))
    assert distortions(build(again, again.variants["v"]))["woofer"].levels[-1].total[i] == pytest.approx(
        TOTAL, rel=0.02
    )
    assert all(bool(why) == bool(np.isnan(volts)) for why, volts in zip(first.why, first.volts, strict=True))
    assert np.abs(first.levels[0].offset).max() > 0


def test_drivers_without_curves_have_no_distortion(tmp_path: Path) -> None:
    kit = read_kit(tmp_path, cabinets=SIX_LITRES)
    assert distortions(build(kit, kit.variants["v"])) == {}


def test_a_coil_that_rests_at_its_highest_stands_nothing(tmp_path: Path) -> None:
    driver = f"{{woofer: {WOOFER[:-1]}, power: {{rated: 40 W, of: coil}}, thermal: {{highest: 50 degC}}}}}}"
    more = "assembly: {ambient: 55 degC}"
    result = only(tmp_path, drivers=driver, more=more)
    assert np.all(found(result, "heat").volts == 0)
    assert result.ceiling.volts == 0
    assert result.ceiling.limited_by == "heat of woofer"
    assert np.all(np.isfinite(result.envelope.level))


def test_volume_settings_are_those_without_the_high_pass() -> None:
    """`Signal` has the gain in its weights: their sum is the mean square behind the receiver's Butterworth."""
    kit = marshlight()
    variant = kit.variants["centre"]
    signal = Signal.of(kit, variant, summary.GRID)
    assert signal.weights is not None
    shares = power_shares(kit.programme, summary.GRID)
    expected = float(shares @ (1 / (1 + (80 / summary.GRID) ** 4)))
    assert float(signal.weights.sum()) == pytest.approx(expected, rel=1e-12)


def test_what_the_amplifier_gives_and_what_its_resistance_does(tmp_path: Path) -> None:
    """Against two kits, one with the output resistance and one without: level at every frequency, and Ohm's law."""
    kits = {}
    for ohms in ("0.4", "0"):
        amplifier = f"{{power: 50 W, load: 8 ohm, output_resistance: {ohms} ohm, cable: 0.1 ohm}}"
        kits[ohms] = read_kit(tmp_path, cabinets=SIX_LITRES, amplifier=amplifier, more="programme: {from: 30 Hz}")
    kit = kits["0.4"]
    load = amplifier_load(kit, swept_case(kit, kit.variants["v"]))
    frequency = summary.GRID[summary.GRID >= 30]
    with_it, without = (predict(each, each.variants["v"], frequency) for each in kits.values())
    shift = summary.level(with_it.pressure) - summary.level(without.pressure)
    assert load.shift == (pytest.approx(shift.min(), abs=2e-3), pytest.approx(shift.max(), abs=2e-3))
    assert load.shift[0] < -0.4  # 0.4 ohm before 5.6 + 0.1: -0.59 dB where the impedance is lowest
    current = math.sqrt(2) * 20 / np.abs(with_it.impedance + 0.4)
    assert load.current == pytest.approx(current.max(), rel=1e-3)
    assert load.frequency == pytest.approx(frequency[current.argmax()], rel=0.02)
