"""Results drawn onto axes of one's own: which curves are there, with which values, on which scales."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from system import api
from system.kit import Kit
from system.predict import Prediction
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT

GRID = np.geomspace(20, 20e3, 90)
DRIVE = 11.0  # V


@pytest.fixture(scope="module")
def kit() -> Kit:
    return api.load_kit(MARSHLIGHT)


@pytest.fixture(scope="module")
def tall(kit: Kit) -> Prediction:
    return api.predict(kit, "tall", GRID, detail=False)


@pytest.fixture
def axes() -> Axes:
    return Figure(figsize=(6, 4)).subplots()


def curves(axes: Axes) -> list[NDArray[np.float64]]:
    """What is drawn over the whole width, without the lines across and upright."""
    return [np.asarray(line.get_ydata(), float) for line in axes.lines if len(line.get_xdata()) > 2]


def words(axes: Axes) -> set[str]:
    return {text.get_text().strip() for text in axes.texts}


def test_level_is_that_of_the_pressure_over_a_logarithmic_axis(tall: Prediction, axes: Axes) -> None:
    """20 lg(p/20 uPa) (ISO 80000-8, from memory)."""
    api.plot_level(axes, tall)
    drawn = curves(axes)
    assert len(drawn) == 1 + 3 + 1  # together, three drivers, a mouth
    np.testing.assert_allclose(drawn[0], 20 * np.log10(np.abs(tall.pressure) / 20e-6), atol=1e-9)
    np.testing.assert_allclose(drawn[3], 20 * np.log10(np.abs(tall.drivers["tweeter"].pressure) / 20e-6), atol=1e-9)
    assert words(axes) >= {"together", "woofer_a", "woofer_b", "tweeter", "mouth", "dB"}
    assert (axes.get_xscale(), axes.get_yscale()) == ("log", "linear")
    assert axes.get_xlim() == (20.0, 20e3)


def test_level_alone(tall: Prediction, axes: Axes) -> None:
    api.plot_level(axes, tall, components=False)
    assert len(curves(axes)) == 1


def test_impedance_with_what_the_amplifier_stands(tall: Prediction, axes: Axes) -> None:
    api.plot_impedance(axes, tall, lowest_load=4.0)
    (drawn,) = curves(axes)
    np.testing.assert_allclose(drawn, np.hypot(tall.impedance.real, tall.impedance.imag), rtol=1e-12)
    assert "4 ohm" in words(axes)
    assert axes.get_yscale() == "log"


def test_excursion_goes_with_the_volts(kit: Kit, tall: Prediction, axes: Axes) -> None:
    """Ten volts move a linear cone ten times as far as one; and its limits are those of the kit file."""
    api.plot_excursion(axes, tall, DRIVE)
    own = Figure().subplots()
    api.plot_excursion(own, tall)
    for there, here in zip(curves(axes), curves(own), strict=True):
        np.testing.assert_allclose(there, here * DRIVE / 2.83, rtol=1e-12)
    known = tall.drivers["woofer_a"].excursion
    assert known is not None
    np.testing.assert_allclose(curves(own)[0], known[GRID <= 1000] * 1000, rtol=1e-12)
    limits = {float(line.get_ydata()[0]) for line in axes.lines if len(line.get_xdata()) == 2}
    assert limits <= {4.0, 9.0}
    assert 4.0 in limits


def test_air_speed_stays_under_its_limit_below_its_volts(tall: Prediction, axes: Axes) -> None:
    """At the volts that the prediction names, the speed just reaches the limit."""
    limit = tall.openings["mouth"].limit
    assert limit is not None
    assert limit.volts is not None
    api.plot_air_speed(axes, tall, limit.volts)
    (drawn,) = curves(axes)
    assert 0.98 * limit.speed < drawn.max() <= limit.speed  # this grid is coarser than the summary's


def test_limits_and_highest_level(kit: Kit, axes: Axes) -> None:
    found = api.limits(kit, "wall", GRID)
    api.plot_limits(axes, found)
    assert axes.get_yscale() == "log"
    assert any("clips at 25.3 V" in each for each in words(axes))  # sqrt(80 W 8 ohm)
    lowest = np.nanmin(curves(axes), axis=0)
    np.testing.assert_allclose(np.minimum(lowest, 640**0.5), found.limits.envelope.volts, rtol=1e-9)
    above = Figure().subplots()
    api.plot_maximum_level(above, found)
    np.testing.assert_array_equal(curves(above)[0], found.limits.envelope.level)
    assert any("volts" in each for each in words(above))


def test_protection_has_a_line_for_each_state(kit: Kit, axes: Axes) -> None:
    verdict = api.protect(kit, "wall")[0]
    api.plot_protection(axes, verdict)
    assert words(axes) >= set(verdict.curves)
    linked = curves(axes)[0]
    assert verdict.link is not None
    assert linked.max() == pytest.approx(verdict.link.peak_excursion * 1000, rel=1e-9)


def test_a_spread_and_what_is_expected(kit: Kit, axes: Axes) -> None:
    api.plot_spread(axes, api.spread(kit, "wall", 200))
    drawn, highest, lowest = curves(axes)
    assert np.all(lowest <= highest)
    assert np.all((lowest - 1e-9 <= drawn) & (drawn <= highest + 1e-9))
    ohms = Figure().subplots()
    expected = api.expect(kit, "wall", GRID)
    api.plot_impedance(ohms, expected)
    np.testing.assert_allclose(curves(ohms)[0], np.abs(expected.sweep.impedance), rtol=1e-12)


def test_a_comparison_has_a_line_for_each_variant(kit: Kit, axes: Axes) -> None:
    both = api.compare(kit, variants=["centre", "wall"], frequencies=GRID)
    api.plot_level(axes, both)
    assert words(axes) >= {"centre", "wall"}
    assert len(curves(axes)) == 2
    ohms = Figure().subplots()
    api.plot_impedance(ohms, both)
    assert len(curves(ohms)) == 2


@pytest.mark.parametrize(
    "draw", [api.plot_level, api.plot_impedance, api.plot_excursion], ids=["level", "impedance", "excursion"]
)
def test_one_frequency_is_no_curve(draw: Callable[[Axes, Any], None], kit: Kit, axes: Axes) -> None:
    with pytest.raises(ValueError, match="fewer than two frequencies"):
        draw(axes, api.predict(kit, "wall", [1000.0], detail=False))


def test_what_is_not_there_cannot_be_drawn(tmp_path: Path, axes: Axes) -> None:
    silent = write_kit(tmp_path, parts="{C1: {capacitor: 10 uF, between: [in, w]}}",
                       hookup="{woofer: {driver: woofer, plus: w, minus: common}}",
                       variants="{v: {cabinet: box, parts: {C1: {state: omit, reason: kept for later}}}}")  # fmt: skip
    nothing = api.predict(api.load_kit(silent), "v", [100.0, 200.0], detail=False)
    with pytest.raises(ValueError, match="no current flows"):
        api.plot_impedance(axes, nothing)
    with pytest.raises(ValueError, match="no such figure"):
        api.plot_air_speed(axes, nothing)
