"""The run-up: volts against closed forms, rounding down, ears, and what stands in where a kit says nothing."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from system.kit import Kit
from system.kitfile import load_kit
from system.predict import predict
from system.sheets import runup_data, runup_graphs, runup_texts
from system.sheets.pages.blocks import Grid, Points
from system.workshop import hearing
from system.workshop.runup import START, STOPS, RunUp, frequencies, round_down, run_up
from tests.support_kits import WOOFER, read_kit, write_kit
from tests.test_cli import MARSHLIGHT, finite

RHO, C = 1.2041, 343.21
RE, BL, MMS, CMS, RMS, SD = 5.6, 6.3, 9.5e-3, 1.10e-3, 0.85, 88e-4
LOSSLESS = "losses: {leak: lossless, absorption: lossless}"
SIX_LITRES = f"{{box: {{chambers: [{{kind: sealed, drivers: [woofer], volume: 6 L, {LOSSLESS}}}]}}}}"
TWEETER = (
    "role: tweeter, re: 5 ohm, impedance: z.txt, response: {file: level.txt, volts: 2.83 V, distance: 1 m,"
    " mounted: wall}"
)
THERMAL = (
    ", thermal: {{coil_resistance: {}, coil_time: 2 s, magnet_resistance: {}, magnet_time: 9 min, highest: 130 degC}}"
)
IN_WALL = "{v: {cabinet: box, placement: in_wall}}"


def only(kit: Kit) -> RunUp:
    return run_up(kit, next(iter(kit.variants.values())))


def tweeter_kit(folder: Path, decibels: float, also: str = "", **pieces: str) -> Kit:
    """One driver known by tables: 5 ohm and `decibels` at 2.83 V and 1 m at every frequency, and so in a wall."""
    rows = (20, 200, 2000, 10_000, 20_000)
    (folder / "z.txt").write_text("".join(f"{hz} 5 0\n" for hz in rows))
    (folder / "level.txt").write_text("".join(f"{hz} {decibels} 0\n" for hz in rows))
    hookup = "{tweeter: {driver: dome, plus: in, minus: common}}"
    driver = f"{{dome: {{{TWEETER}{also}}}}}"
    return load_kit(write_kit(folder, **{"drivers": driver, "hookup": hookup, "variants": IN_WALL, **pieces}))


def test_a_cone_stops_at_a_third_of_its_linear_limit(tmp_path: Path) -> None:
    """Small, J. Audio Eng. Soc. 20(10), 1972: x/V = Bl Cms/(Re (1 + alpha)) times a second-order low-pass.

    At 0 Hz that is 0.410628 mm/V for this driver in 6 L (worked out by hand from the parameters). Within 0.1 %.
    """
    alpha = RHO * C**2 * SD**2 * CMS / 6e-3
    at_rest = BL * CMS / (RE * (1 + alpha))
    assert at_rest * 1e3 == pytest.approx(0.410628, abs=5e-7)
    found = only(read_kit(tmp_path, cabinets=SIX_LITRES, amplifier="{power: 400 W, load: 8 ohm}"))
    bass = [step for step in found.steps if step.kind == "linear_excursion"]
    assert {step.frequency for step in bass} >= {20, 25, 31.5, 40, 50, 63, 80, 100}
    f = np.array([step.frequency for step in bass])
    fc = math.sqrt(1 + alpha) / (2 * math.pi * math.sqrt(MMS * CMS))
    qtc = 2 * math.pi * fc * MMS / (RMS + BL**2 / RE)
    per_volt = at_rest / np.abs(1 - (f / fc) ** 2 + 1j * f / (fc * qtc))
    volts = 4e-3 / 3 / (math.sqrt(2) * per_volt)
    np.testing.assert_allclose([step.exact for step in bass], volts, rtol=1e-3)
    np.testing.assert_allclose(found.linear[: f.size], 3 * volts, rtol=1e-3)
    moved = [step.volts * math.sqrt(2) * each for step, each in zip(bass, per_volt, strict=True)]
    np.testing.assert_allclose([step.excursion or 0.0 for step in bass], moved, rtol=1e-3)
    assert max(moved) <= 4e-3 / 3


def test_a_tweeter_gets_a_tenth_of_the_volts_that_overheat_it(tmp_path: Path) -> None:
    """Ohm's law: (130 - 25) K over 8 K/W in a copper coil of 5 ohm (1 + 0.00393 110), which is all of the impedance.

    The copper's coefficient is that of IEC 60028, from memory.
    """
    found = only(tweeter_kit(tmp_path, 60.0, THERMAL.format("5 K/W", "3 K/W")))
    hot = 5 * (1 + 0.00393 * 110)
    volts = math.sqrt((130 - 25) / 8 * hot) / 10
    treble = [step for step in found.steps if step.kind == "heat"]
    assert {step.frequency for step in treble} >= {1000, 2000, 4000, 8000, 16_000}
    np.testing.assert_allclose([step.exact for step in treble], volts, rtol=2e-4)


def test_what_is_not_stated_is_not_taken_for_unlimited(tmp_path: Path) -> None:
    """Half a volt across it below 500 Hz, then a tenth of a watt: sqrt(0.1 5) = 0.7071 V across 5 ohm."""
    found = only(tweeter_kit(tmp_path, 60.0))
    low = [step for step in found.steps if step.frequency < 500]
    high = [step for step in found.steps if step.frequency >= 500]
    np.testing.assert_allclose([step.exact for step in low], 0.5, rtol=1e-9)
    np.testing.assert_allclose([step.exact for step in high], math.sqrt(0.1 * 5), rtol=1e-9)
    assert {step.volts for step in low} == {0.5}
    assert {step.volts for step in high} == {0.7}
    assert len(found.stands_in) == 2
    unstated = WOOFER.replace(", linear_excursion: 4 mm, damage_excursion: 9 mm", "")
    woofer = only(read_kit(tmp_path, drivers=f"{{woofer: {unstated}}}", cabinets=SIX_LITRES))
    assert any("no linear_excursion" in words for words in woofer.stands_in)
    assert woofer.steps[0].kind == "excursion_taken"
    stated = only(read_kit(tmp_path, cabinets=SIX_LITRES))  # 4 mm against the 1.5 mm that are taken
    assert woofer.steps[0].exact == pytest.approx(stated.steps[0].exact * 1.5 / 4, rel=1e-9)


def test_never_louder_than_the_ear_stands(tmp_path: Path) -> None:
    """90 dB at 2.83 V and 1 m: 85 dB are 2.83 V 10^(-5/20) = 1.5914 V at 1 kHz, where the A weighting is 0 dB.

    At 4 kHz it is +1.0 dB (IEC 61672-1, table 3), so 1.418 V, to half a digit of the table (0.6 %).
    """
    cool = THERMAL.format("0.1 K/W", "0.1 K/W")
    found = only(tweeter_kit(tmp_path, 90.0, cool, amplifier="{power: 400 W, load: 8 ohm}"))
    at = {step.frequency: step for step in found.steps}
    assert at[1000.0].kind == at[4000.0].kind == "hearing"
    assert at[1000.0].exact == pytest.approx(1.5914, abs=5e-5)
    assert at[4000.0].exact == pytest.approx(1.5914 * 10 ** (-1.0 / 20), rel=6e-3)
    assert all(step.level <= 85.0 + 1e-9 for step in found.steps)


@pytest.mark.parametrize(
    ("hertz", "decibels"),
    [(10, -70.4), (31.5, -39.4), (63, -26.2), (100, -19.1), (500, -3.2), (1000, 0.0), (2500, 1.3), (4000, 1.0),
     (8000, -1.1), (16_000, -6.6)],
)  # fmt: skip
def test_a_weighting(hertz: float, decibels: float) -> None:
    """IEC 61672-1:2013, table 3 (from memory), at the exact base-ten frequencies behind the nominal ones."""
    exact = 1000 * 10 ** (round(10 * math.log10(hertz / 1000)) / 10)
    assert hearing.a_weighting(np.array([exact]))[0] == pytest.approx(decibels, abs=0.05)


@pytest.mark.parametrize(("level", "minutes"), [(85, 480), (88, 240), (94, 60), (100, 15), (82, 960)])
def test_how_long_a_level_is_stood(level: float, minutes: float) -> None:
    """NIOSH 98-126 (1998), table 1-1, from memory."""
    assert hearing.seconds_a_day(level) == pytest.approx(60 * minutes, rel=1e-12)


def test_volts_at_the_terminals_do_not_depend_on_the_amplifiers_resistance(tmp_path: Path) -> None:
    """What a driver gets is told by the volts across the cabinet's terminals (Thevenin), whatever lies before them."""
    big = "{{power: 4 kW, load: 8 ohm, output_resistance: {}}}"
    stiff, soft = (
        only(read_kit(tmp_path, cabinets=SIX_LITRES, amplifier=big.format(ohms))) for ohms in ("0 ohm", "2 ohm")
    )
    bass = [i for i, step in enumerate(stiff.steps) if step.kind == "linear_excursion"]
    assert len(bass) >= 8  # 20 to 100 Hz
    for i in bass:
        assert soft.steps[i].exact == pytest.approx(stiff.steps[i].exact, rel=1e-9)


@given(st.floats(1e-3, 1e3))
def test_rounding_is_down_and_no_coarser_than_a_tenth(volts: float) -> None:
    down = round_down(volts)
    assert down <= volts * (1 + 1e-8)
    assert volts - down <= max(1e-3, min(0.1, 0.1 * volts)) * (1 + 1e-6)


def test_nominal_frequencies() -> None:
    """ISO 266 (from memory): the one-third-octave frequencies from 20 Hz to 20 kHz are thirty-one."""
    every = frequencies(20.0)
    assert every.size == 31
    assert [*every[:5], *every[-3:]] == [20, 25, 31.5, 40, 50, 12_500, 16_000, 20_000]
    assert frequencies(21.0)[0] == 25


@pytest.mark.parametrize("name", ["centre", "wall", "tall"])
def test_every_tone_is_approached_from_below_and_none_passes_a_third(name: str) -> None:
    """The kit is predicted again at the volts found: cones at a third of their limits at most, and so the air."""
    kit = load_kit(MARSHLIGHT)
    variant = kit.variants[name]
    found = run_up(kit, variant)
    assert found.seconds == 5 * sum(len(step.drives) for step in found.steps)
    for step in found.steps:
        assert step.drives[0] == START
        assert list(step.drives) == sorted(set(step.drives))
        assert step.drives[-1] == step.volts <= step.exact
    steps = found.steps[::3]
    there = predict(kit, variant, np.array([step.frequency for step in steps]), 1.0)
    before = np.abs(there.impedance + kit.amplifier.output_resistance) / np.abs(there.impedance)
    for i, step in enumerate(steps):
        volts = step.exact * before[i]
        shares = [
            float(each.excursion[i]) * volts / (variant.hookups[driver].driver.linear_excursion or math.inf)
            for driver, each in there.drivers.items()
            if each.excursion is not None
        ]
        shares += [float(o.speed[i]) * volts / o.spec.speed_limit for o in there.openings.values()]  # type: ignore[union-attr]
        assert max(shares) <= (1 + 1e-9) / 3
        if step.kind in ("linear_excursion", "opening_speed"):
            assert max(shares) == pytest.approx(1 / 3, rel=1e-9)


def test_a_tweeter_without_its_parts_is_told(tmp_path: Path) -> None:
    """Ohm's law: V^2/R at the largest volts of the run-up."""
    found = run_up(load_kit(MARSHLIGHT), load_kit(MARSHLIGHT).variants["wall"])
    most = max(step.volts for step in found.steps)
    assert found.unshielded == ("tweeter", pytest.approx(most**2 / 5.3))
    assert only(read_kit(tmp_path, cabinets=SIX_LITRES)).unshielded is None


def test_the_sheet_fits_the_page_and_says_what_the_data_say() -> None:
    kit = load_kit(MARSHLIGHT)
    found = run_up(kit, kit.variants["tall"])
    lines = runup_texts.run_up(found)
    assert max(map(len, lines)) <= 100
    rows = [line for line in lines if line.count("[ ]") == 3]
    assert len(rows) == len(found.steps)
    assert all(
        f"] {step.volts:.1f}" in row or f"{step.volts:.2g} [ ]" in row
        for step, row in zip(found.steps, rows, strict=True)
    )
    assert sum(line.startswith("    [ ] ") for line in lines) == len(STOPS)
    blocks = runup_texts.blocks(found)
    (grid,) = (block for block in blocks if isinstance(block, Grid))
    assert [row[0] for row in grid.rows] == [f"{step.frequency:g}" for step in found.steps]
    assert [len(block.items) for block in blocks if isinstance(block, Points)] == [len(STOPS)]
    data = runup_data.run_up(found)
    assert finite({key: value for key, value in data.items() if key != "linear_limit_volts"})
    assert [step["volts"] for step in data["steps"]] == [step.volts for step in found.steps]
    graph = runup_graphs.run_up(found)
    assert [line.label for line in graph.lines] == ["run-up", "linear limit"]
