"""Programme spectra and what is computed from them, against the standard's table and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from system import programme
from system.kit import HighPass, Programme, Table

# IEC 60268-1, simulated programme signal: third-octave band levels in dB. Quoted from memory, +-0.5 dB.
IEC_60268_1 = {
    20: -13.5, 25: -10.2, 31.5: -7.4, 40: -5.2, 50: -3.5, 63: -2.3, 80: -1.4, 100: -0.9, 125: -0.5, 160: -0.2,
    200: -0.1, 250: 0, 315: 0, 400: 0, 500: 0, 630: 0, 800: 0, 1000: -0.1, 1250: -0.3, 1600: -0.6, 2000: -1.0,
    2500: -1.6, 3150: -2.5, 4000: -3.7, 5000: -5.1, 6300: -7.0, 8000: -9.4, 10000: -11.9, 12500: -14.8, 16000: -18.2,
    20000: -21.6,
}  # fmt: skip
GRID = np.geomspace(10, 20e3, 2000)


def test_simulated_programme_is_the_standards_table() -> None:
    """IEC 60268-1 from memory, so 0.5 dB."""
    frequency = np.array(list(IEC_60268_1), float)
    level = 10 * np.log10(programme.simulated_programme(frequency))
    np.testing.assert_allclose(level, list(IEC_60268_1.values()), atol=0.5)


def test_bass_heavy_is_what_it_says() -> None:
    """Our own statement: flat 25 to 100 Hz, then 6 dB an octave down, nothing below."""
    level = 10 * np.log10(programme.bass_heavy(np.array([25.0, 100.0, 200.0, 400.0])))
    np.testing.assert_allclose(level, [0, 0, -6.02, -12.04], atol=0.01)
    assert programme.bass_heavy(np.array([24.0]))[0] == 0


@pytest.mark.parametrize("spectrum", ["pink", "iec", "bass_heavy"])
@pytest.mark.parametrize("lowest", [20.0, 30.0, 80.0])
def test_shares_add_up_over_the_programmes_own_band(spectrum: str, lowest: float) -> None:
    shares = programme.power_shares(Programme(spectrum=spectrum, lowest=lowest), GRID)  # type: ignore[arg-type]
    assert shares.sum() == pytest.approx(1, abs=1e-12)
    assert shares[0.99 * lowest > GRID].sum() == 0
    assert (shares >= 0).all()


def test_pink_noise_has_equal_power_in_every_octave() -> None:
    shares = programme.power_shares(Programme(spectrum="pink", lowest=20), GRID)
    octaves = [shares[(f <= GRID) & (2 * f > GRID)].sum() for f in (40, 320, 2560)]
    np.testing.assert_allclose(octaves, 1 / np.log2(1000), rtol=0.01)


def test_the_share_does_not_depend_on_the_grid() -> None:
    """A first-order high-pass's mean square on pink noise is ln((1 + b^2)/(1 + a^2)) / (2 ln(b/a)), in closed form."""
    corner, signal = 100.0, Programme(spectrum="pink", lowest=20)
    exact = np.log((1 + (20e3 / corner) ** 2) / (1 + (20 / corner) ** 2)) / (2 * np.log(1000))
    for points in (300, 3000):
        grid = np.geomspace(20, 20e3, points)
        squared = (grid / corner) ** 2 / (1 + (grid / corner) ** 2)
        assert programme.power_shares(signal, grid) @ squared == pytest.approx(exact, rel=2e-4)


def test_a_table_is_its_own_spectrum() -> None:
    table = Table("bands.txt", (100.0, 1000.0), (0.0, -20.0))
    power = programme.band_power(
        Programme(spectrum="table", table=table), np.array([50.0, 100.0, 316.2278, 1000.0, 2000.0])
    )
    np.testing.assert_allclose(power, [0, 1, 0.1, 0.01, 0], rtol=1e-6, atol=1e-12)


def test_a_programme_without_power_is_refused() -> None:
    with pytest.raises(ValueError, match="no power between 200 Hz and 20 kHz"):
        programme.power_shares(
            Programme(spectrum="table", lowest=200, table=Table("low.txt", (20.0, 100.0), (0.0, 0.0))), GRID
        )


@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_receiver_high_pass_is_a_butterworth(order: int) -> None:
    """-3.01 dB at its corner, 6 dB an octave and order far below (Butterworth 1930)."""
    gain = programme.high_pass_gain(HighPass(80, order), np.array([80.0, 0.8, 8000.0]))
    np.testing.assert_allclose(20 * np.log10(gain), [-3.0103, -40.0 * order, 0], atol=2e-3)
    assert (programme.high_pass_gain(None, GRID) == 1).all()


def test_the_simulated_programme_follows_its_table_closely() -> None:
    """The poles are a fit: 0.12 dB is ours to hold, against the same table from memory."""
    level = 10 * np.log10(programme.simulated_programme(np.array(list(IEC_60268_1), float)))
    assert np.abs(level - list(IEC_60268_1.values())).max() < 0.12


@pytest.mark.slow
def test_clipped_noise_regains_its_crest_in_excursion() -> None:
    """The reason for `EXCURSION_CREST`: noise of the programme's spectrum, clipped to a crest factor of 2 in voltage,
    comes back to about 4.3 (+-0.4) in the excursion of a driver in free air over four minutes. Computed here by
    filtering a seeded noise; driver: Re 5.6, Bl 6.3, Mms 9.5 g, Cms 1.10 mm/N, Rms 0.85."""
    rate, seconds = 16_000, 240
    chance = np.random.default_rng(11)
    frequency = np.fft.rfftfreq(rate * seconds, 1 / rate)
    frequency[0] = frequency[1]
    shape = np.sqrt(programme.simulated_programme(frequency) / frequency)  # pink by its band levels
    shape[frequency < 20] = 0
    voltage = np.fft.irfft(np.fft.rfft(chance.standard_normal(rate * seconds)) * shape)
    limit = np.std(voltage)
    for _ in range(60):  # clip harder until the peak is twice the rms of what is left
        clipped = np.clip(voltage, -limit, limit)
        limit *= 2 / (np.abs(clipped).max() / np.std(clipped))
    crest = np.abs(clipped).max() / np.std(clipped)
    assert crest == pytest.approx(2, abs=0.02)
    s = 2j * np.pi * frequency
    re, bl, mms, cms, rms = 5.6, 6.3, 9.5e-3, 1.10e-3, 0.85
    response = bl / re / (mms * s**2 + (rms + bl**2 / re) * s + 1 / cms)
    excursion = np.fft.irfft(np.fft.rfft(clipped) * response)
    found = np.abs(excursion).max() / np.std(excursion)
    assert found == pytest.approx(4.3, abs=0.4)
    assert found > 0.95 * programme.EXCURSION_CREST
