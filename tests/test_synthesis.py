"""Synthesised programmes against what is known of Gaussian noise, closed forms and quadrature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import erf, erfc

from system import programme, synthesis
from system.kit import Programme, Table
from system.synthesis import Wave, clipped, filtered, noise

GRID = np.geomspace(10.0, 20e3, 600)
# Cone in free air: Re 5.6, Bl 6.3, Mms 9.5 g, Cms 1.10 mm/N, Rms 0.85
RE, BL, MMS, CMS, RMS = 5.6, 6.3, 9.5e-3, 1.10e-3, 0.85


def excursion(frequency: np.ndarray) -> np.ndarray:
    """Of the cone, m/V: the forced oscillator with the voice coil's braking."""
    s = 2j * np.pi * frequency
    return BL / RE / (MMS * s**2 + (RMS + BL**2 / RE) * s + 1 / CMS)


@pytest.mark.parametrize("spectrum", ["pink", "iec", "bass_heavy"])
def test_rms_of_the_excursion(spectrum: str) -> None:
    """By quadrature (scipy.integrate.quad) of band power times |H|^2 over log frequency, and by the shares: to 2 %.

    Clipping to a crest factor of 4 or 2 leaves it there.
    """
    signal = Programme(spectrum=spectrum, lowest=30.0)  # type: ignore[arg-type]

    def over_band(weight: float) -> float:
        def power(x: float) -> float:
            f = np.exp(np.array([x]))
            return float((programme.band_power(signal, f) * np.abs(excursion(f)) ** weight)[0])

        return quad(power, math.log(30.0), math.log(100.0))[0] + quad(power, math.log(100.0), math.log(20e3))[0]

    exact = math.sqrt(over_band(2) / over_band(0))
    wave = noise(signal, seconds=20.0)
    assert wave.rms == pytest.approx(1, rel=1e-9)
    assert filtered(wave, GRID, excursion(GRID)).rms == pytest.approx(exact, rel=2e-3)
    for crest in (2.0, 10 ** (12 / 20)):
        found = filtered(clipped(wave, crest), GRID, excursion(GRID)).rms
        assert found == pytest.approx(exact, rel=0.02)
        shares = programme.power_shares(signal, GRID)
        assert found == pytest.approx(math.sqrt(shares @ np.abs(excursion(GRID)) ** 2), rel=0.02)


def test_pink_noise_behind_a_first_order_high_pass() -> None:
    """Mean square ln((1 + b^2)/(1 + a^2)) / (2 ln(b/a)), band edges over the corner, in closed form."""
    corner = 100.0
    exact = math.log((1 + (20e3 / corner) ** 2) / (1 + (20 / corner) ** 2)) / (2 * math.log(1000))
    wave = filtered(noise(Programme(spectrum="pink"), 10.0), GRID, 1j * GRID / (corner + 1j * GRID))
    assert wave.rms**2 == pytest.approx(exact, rel=5e-3)


def test_the_noise_is_gaussian() -> None:
    """Share of time beyond k sigma: erfc(k/sqrt(2))."""
    wave = noise(Programme(spectrum="pink"), 20.0)
    for sigmas, digits in ((1.0, 0.01), (2.0, 0.03), (3.0, 0.10)):
        assert wave.share_beyond(sigmas) == pytest.approx(erfc(sigmas / math.sqrt(2)), rel=digits)


@pytest.mark.parametrize("crest", [1.2, 2.0, 3.0, 10 ** (12 / 20)])
def test_clipping_gives_the_crest_factor(crest: float) -> None:
    """And where it clips is where Gaussian noise has to be clipped for it.

    With c the limit over sigma its mean square is erf(c/sqrt 2) - c sqrt(2/pi) e^(-c^2/2) + c^2 erfc(c/sqrt 2), the
    integral of min(x^2, c^2) over the normal density; erf(c/sqrt 2) of the signal is left (Bussgang 1952).
    """
    wave = noise(Programme(spectrum="pink"), 20.0)
    result = clipped(wave, crest)
    assert result.crest == pytest.approx(crest, rel=1e-9)
    assert result.rms == pytest.approx(wave.rms, rel=1e-9)

    def mean_square(c: float) -> float:
        inside = erf(c / math.sqrt(2)) - c * math.sqrt(2 / math.pi) * math.exp(-(c**2) / 2)
        return float(inside + c**2 * erfc(c / math.sqrt(2)))

    limit = brentq(lambda c: c - crest * math.sqrt(mean_square(c)), 0.05, 6.0)
    least = np.argmin(np.abs(np.abs(wave.samples) - 0.1))  # a sample that is not clipped tells of the scale
    scale = result.samples[least] / wave.samples[least]
    assert result.peak / scale == pytest.approx(limit, rel=5e-3)
    gain = np.mean(result.samples * wave.samples)  # both of 1 V rms
    assert gain * math.sqrt(mean_square(limit)) == pytest.approx(erf(limit / math.sqrt(2)), rel=2e-3)


def test_peaks_of_the_excursion() -> None:
    """Largest of N extremes of Gaussian noise: sqrt(2 ln N) + 0.5772/sqrt(2 ln N) times its rms (Cartwright &
    Longuet-Higgins, Proc. R. Soc. A 237, 1956, from memory), N the zero crossings (Rice 1944): 2 T sqrt(m2/m0). The
    mean of 16 half minutes; one of them scatters by about pi/sqrt(6)/sqrt(2 ln N) = 0.3."""
    signal, seconds, waves = Programme(), 30.0, 16
    spectrum = programme.power_shares(signal, GRID) * np.abs(excursion(GRID)) ** 2
    crossings = 2 * seconds * math.sqrt(spectrum @ GRID**2 / spectrum.sum())
    root = math.sqrt(2 * math.log(crossings))
    crests = [
        filtered(noise(signal, seconds, 4000.0, seed), GRID, excursion(GRID)).crest for seed in range(1, waves + 1)
    ]
    scatter = math.pi / math.sqrt(6) / root / math.sqrt(waves)
    assert np.mean(crests) == pytest.approx(root + 0.5772 / root, abs=3 * scatter)


@pytest.mark.slow
def test_clipped_noise_regains_its_crest_in_excursion() -> None:
    """What DEVELOPERS.md says of excursion on programme: a crest factor of 2 in voltage comes back to 4.3 +- 0.4.

    Over four minutes; the mean of four such waves, since a single one scatters by 0.26.
    """
    crests = []
    for seed in range(1, 5):
        wave = clipped(noise(Programme(), synthesis.SECONDS, seed=seed), 2.0)
        assert wave.crest == pytest.approx(2, rel=1e-9)
        crests.append(filtered(wave, GRID, excursion(GRID)).crest)
    assert np.mean(crests) == pytest.approx(4.3, abs=0.4)


def test_a_sine_goes_through_a_filter() -> None:
    """A delay and a gain in closed form, between the grid's frequencies and, held, beyond them."""
    rate, count = 8000, 8000
    time = np.arange(count) / rate
    grid = np.geomspace(20.0, 2000.0, 100)
    response = 3.0 / (1 + 1j * grid / 200.0)  # a first-order low-pass
    for frequency in (33.0, 210.0, 1999.0):
        found = filtered(Wave(np.cos(2 * np.pi * frequency * time), rate), grid, response)
        exact = 3.0 / (1 + 1j * frequency / 200.0) * np.exp(2j * np.pi * frequency * time)
        np.testing.assert_allclose(found.samples, exact.real, atol=3e-5)
    low = filtered(Wave(np.cos(2 * np.pi * 5.0 * time), rate), grid, response)
    np.testing.assert_allclose(low.samples, (response[0] * np.exp(2j * np.pi * 5.0 * time)).real, atol=1e-9)


def test_figures_of_a_sine() -> None:
    """Crest factor sqrt(2); beyond half its peak for two thirds of the time (2/pi arccos 1/2)."""
    wave = Wave(3.0 * np.sin(2 * np.pi * (np.arange(10_000) + 0.5) / 10_000), 10_000)
    assert wave.peak == pytest.approx(3, rel=1e-6)
    assert wave.rms == pytest.approx(3 / math.sqrt(2), rel=1e-9)
    assert wave.crest == pytest.approx(math.sqrt(2), rel=1e-6)
    assert wave.share_beyond(1.5) == pytest.approx(2 / 3, abs=2e-4)
    assert wave.share_beyond(3.1) == 0


def test_the_spectrum_keeps_to_its_band() -> None:
    """No line below `lowest` or above 20 kHz; a table's own band inside. Same seed, same wave."""
    table = Table("bands.txt", (100.0, 1000.0), (0.0, -20.0))
    signal = Programme(spectrum="table", table=table)
    wave = noise(signal, 5.0)
    lines = np.abs(np.fft.rfft(wave.samples))
    frequency = np.fft.rfftfreq(wave.samples.size, 1 / wave.rate)
    outside = (frequency < 100) | (frequency > 1000)
    assert lines[outside].max() < 1e-9 * lines.max()
    # the level of a line falls by 20 dB over the decade, and by 10 since bands get wider
    start, end = lines[frequency == 100][0], lines[frequency == 1000][0]
    assert 20 * math.log10(start / end) == pytest.approx(30, abs=1e-6)
    assert (noise(signal, 5.0).samples == wave.samples).all()
    assert not np.allclose(noise(signal, 5.0, seed=2).samples, wave.samples)


def test_what_cannot_be_synthesised() -> None:
    with pytest.raises(ValueError, match="sine"):
        noise(Programme(spectrum="sine"), 1.0)
    with pytest.raises(ValueError, match=r"no power in 0\.01 s"):
        noise(Programme(spectrum="table", table=Table("low.txt", (20.0, 90.0), (0.0, 0.0))), 0.01)
    wave = noise(Programme(), 1.0)
    for wrong in (1.0, 0.5, 12.0, math.nan):
        with pytest.raises(ValueError, match="crest factors between 1 and"):
            clipped(wave, wrong)
