"""A programme in time: real excursion peaks against spectrum sums and the statistics of Gaussian noise."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from system.ceilings import ceilings, swept_case
from system.kit import Kit
from system.moments import SECONDS, in_time, programme_wave
from system.signal import Signal
from tests.support_kits import WOOFER, read_kit

F = np.geomspace(30, 300, 5)


def kit_with(folder: Path, crest: str = "12 dB", more: str = "", linear: str = "4 mm") -> Kit:
    losses = "{leak: 20, absorption: lossless}"
    return read_kit(
        folder,
        drivers=f"{{woofer: {WOOFER.replace('linear_excursion: 4 mm', f'linear_excursion: {linear}')}}}",
        cabinets=f"{{box: {{chambers: [{{kind: sealed, drivers: [woofer], volume: 8 L, losses: {losses}}}]}}}}",
        variants=f"{{v: {{cabinet: box{more}}}}}",
        more=f"programme: {{spectrum: iec, crest_factor: {crest}, from: 20 Hz}}",
    )


@pytest.mark.parametrize("more", ["", ", receiver_high_pass: {corner: 80 Hz, order: 2}"])
def test_rms_in_time_is_the_sum_over_the_spectrum(tmp_path: Path, more: str) -> None:
    """Parseval: within 2 %, what a minute of noise may scatter and clipping at 12 dB may take."""
    kit = kit_with(tmp_path, more=more)
    swept = swept_case(kit, kit.variants["v"])
    wave = programme_wave(kit, 1)
    assert wave is not None
    found = in_time(kit, swept, wave, 1)
    excursion = swept.result.drivers["woofer"].excursion
    assert excursion is not None
    signal = Signal.of(kit, kit.variants["v"], swept.result.frequency)
    expected = signal.rms(excursion / math.sqrt(2) / swept.result.volts)
    assert expected is not None
    assert found.volts == pytest.approx(signal.full)
    assert found.drivers["woofer"].rms == pytest.approx(expected * found.volts, rel=0.02)


def test_clipped_noise_regains_its_crest_in_excursion(tmp_path: Path) -> None:
    """Clipped to a crest factor of 2 in voltage, the excursion's comes back to about 4 (Gaussian by filtering)."""
    kit = kit_with(tmp_path, crest="6.02 dB")
    swept = swept_case(kit, kit.variants["v"])
    crests = []
    for seed in (1, 2, 3):
        wave = programme_wave(kit, seed)
        assert wave is not None
        crests.append(in_time(kit, swept, wave, seed).drivers["woofer"].crest)
    assert float(np.mean(crests)) == pytest.approx(4.1, abs=0.4)


def test_time_beyond_a_limit_is_that_of_gaussian_noise(tmp_path: Path) -> None:
    """erfc(L/(sqrt(2) rms)), for a limit that is passed often; at 12 dB next to nothing is clipped."""
    kit = kit_with(tmp_path, linear="1.5 mm")
    swept = swept_case(kit, kit.variants["v"])
    wave = programme_wave(kit, 2)
    assert wave is not None
    found = in_time(kit, swept, wave, 2)
    each = found.drivers["woofer"]
    assert each.beyond_linear == pytest.approx(math.erfc(1.5e-3 / (math.sqrt(2) * each.rms)), rel=0.03)


def test_the_same_seed_gives_the_same(tmp_path: Path) -> None:
    kit = kit_with(tmp_path)
    one, two, three = (ceilings(kit, [kit.variants["v"]], F, seed)[0].in_time for seed in (5, 5, 6))
    assert one == two
    assert one != three
    assert one is not None
    assert (one.seconds, one.seed) == (SECONDS, 5)


def test_a_sine_has_no_moments(tmp_path: Path) -> None:
    kit = read_kit(tmp_path, more="programme: {spectrum: sine, from: 20 Hz}")
    assert programme_wave(kit, 0) is None
    assert ceilings(kit, [kit.variants["v"]], F)[0].in_time is None
