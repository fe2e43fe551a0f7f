"""Single figures of a response, on curves whose figures are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from system import summary

F = summary.GRID


def butterworth(corner: float, order: int = 2) -> summary.Floats:
    """Level in dB of a high-pass that is 3.01 dB down at its corner."""
    return np.asarray(-10 * np.log10(1 + (corner / F) ** (2 * order)))


@pytest.mark.parametrize("corner", [25.0, 60.0, 130.0])
def test_points_of_a_butterworth_high_pass(corner: float) -> None:
    """|G|^2 = 1/(1 + (fc/f)^4) is d dB below the reference where (fc/f)^4 = 10^((d + 90 - reference)/10) - 1."""
    low = summary.low_end(F, 90 + butterworth(corner), summary.BAND)
    assert low.reference == pytest.approx(90, abs=0.06)
    for found, drop in ((low.minus_3, 3), (low.minus_10, 10)):
        assert found == pytest.approx(corner / (10 ** ((drop + 90 - low.reference) / 10) - 1) ** 0.25, rel=1e-3)


def test_a_notch_at_the_crossover_is_not_the_bass() -> None:
    curve = butterworth(60) - 12 * np.exp(-(np.log(F / 2200) ** 2) / 0.01)
    low = summary.low_end(F, curve, summary.BAND)
    assert low.minus_3 == pytest.approx(60 / (10 ** ((3 - low.reference) / 10) - 1) ** 0.25, rel=1e-3)


def test_a_dip_above_the_bass_is_the_minus_3_db_point() -> None:
    """The lowest frequency from which the level stays above: a dip of 6 dB at 150 Hz ends it there."""
    curve = butterworth(40) - 6 * np.exp(-(np.log(F / 150) ** 2) / 0.02)
    minus_3 = summary.low_end(F, curve, summary.BAND).minus_3
    assert minus_3 is not None
    assert 150 < minus_3 < 200


def test_no_point_where_there_is_none() -> None:
    flat = np.zeros_like(F)
    low = summary.low_end(F, flat, summary.BAND)
    assert (low.minus_3, low.minus_10, low.ripple) == (None, None, None)
    assert low.reference == pytest.approx(0, abs=1e-12)


def test_ripple_is_the_larger_of_rise_and_fall() -> None:
    """From 1.5 times the -3 dB point (90 Hz) to 500 Hz; what lies outside does not count."""
    bump = 2.5 * np.exp(-(np.log(F / 200) ** 2) / 0.02)
    outside = 9 * np.exp(-(np.log(F / 700) ** 2) / 0.002)
    ripple = summary.low_end(F, butterworth(60, 4) + bump, summary.BAND).ripple
    assert ripple == pytest.approx(2.5, abs=0.2)
    assert summary.low_end(F, butterworth(60, 4) + bump + outside, (1000.0, 3000.0)).ripple == pytest.approx(
        2.5, abs=0.2
    )


def test_reference_is_the_mean_square_pressure() -> None:
    """Half of the band at 0 dB and half at -20 dB is 10 log10(0.505)."""
    curve = np.where(np.sqrt(300 * 3000) > F, 0.0, -20.0)
    assert summary.band_mean(F, curve, summary.BAND) == pytest.approx(10 * np.log10(0.505), abs=0.05)


@pytest.mark.parametrize(
    ("lowest", "rated"), [(6.4, 8), (6.39, 6), (3.2, 4), (3.19, 2), (1.59, None), (12.8, 16), (50, 16)]
)
def test_rated_impedance_is_the_80_percent_rule(lowest: float, rated: float | None) -> None:
    """IEC 60268-5: the lowest modulus is at least 80 % of the rated impedance; 8 -> 6.4, 4 -> 3.2 ohm."""
    assert summary.rated_impedance(lowest) == rated
