"""What a filling does and leaves open, against impedance curves, closed forms and kits that state others."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from enclosures.air import Air
from enclosures.fibre import Fill
from system import summary
from system.checks import examine
from system.detail import predict_in_detail
from system.filling import Filling
from system.predict import Prediction, predict
from system.summary import level
from tests.support_kits import read_kit

RHO, C = 1.2041, 343.21
RE, BL, MMS, CMS, RMS, SD = 5.6, 6.3, 9.5e-3, 1.10e-3, 0.85, 88e-4
FS = 1 / (2 * math.pi * math.sqrt(MMS * CMS))
F = np.geomspace(20, 2000, 50)


def detailed(folder: Path, frequency: np.ndarray = F, **pieces: str) -> Prediction:
    kit = read_kit(folder, **pieces)
    return predict_in_detail(kit, next(iter(kit.variants.values())), frequency)


def plain(folder: Path, frequency: np.ndarray = F, **pieces: str) -> Prediction:
    kit = read_kit(folder, **pieces)
    return predict(kit, next(iter(kit.variants.values())), frequency)


def filling_of(result: Prediction) -> Filling:
    assert result.detail is not None
    assert result.detail.filling is not None
    return result.detail.filling


def sealed(fill: str, litres: float = 6.0) -> str:
    chamber = f"kind: sealed, drivers: [woofer], volume: {litres} L, losses: {{leak: lossless}}, fill: {fill}"
    return f"{{box: {{chambers: [{{{chamber}}}]}}}}"


def line(fill: str) -> str:
    profile = f"[{{length: 500 mm, area: 120 cm2, fill: {fill}}}, {{length: 500 mm, area: 120 cm2}}]"
    return f"{{box: {{chambers: [{{kind: line, profile: {profile}, drivers: {{woofer: 60 mm}}, walls: lossy}}]}}}}"


@pytest.mark.parametrize("litres", [3.0, 6.0, 15.0])
@pytest.mark.parametrize("model", ["power_law", "low_frequency"])
def test_volume_gain_is_what_the_impedance_curve_tells(model: str, litres: float, tmp_path: Path) -> None:
    """How one measures it: where the impedance is real, and how high it is there, give the box's bulk modulus K.

    The cone with the box's air on it resonates where (f/fs)^2 - 1 = alpha Re K/(rho c^2), and of the mechanical
    resistance Bl^2/(Z - Re) the filling has Sd^2 Im K/(w V) (Small, J. Audio Eng. Soc. 20(10), 1972, with K in the
    place of rho c^2). The apparent volume is rho c^2 Re(1/K): at the crossing within 1e-6. What is told is for the
    resonance of a box without losses and of this volume, and 1/Re(1/K) > Re K: up to 0.6 % higher, within 1e-3 alike.
    """
    cabinets = sealed(f"{{flow_resistivity: 4000 Pa.s/m2, model: {model}}}", litres)
    alpha = RHO * C**2 * SD**2 * CMS / (litres * 1e-3)
    around = np.linspace(0.7, 1.02, 4001) * FS * math.sqrt(1 + alpha)
    impedance = plain(tmp_path, around, cabinets=cabinets).impedance
    crossing = int(np.flatnonzero((impedance.imag[:-1] > 0) & (impedance.imag[1:] <= 0))[0])
    step = impedance.imag[crossing] / (impedance.imag[crossing] - impedance.imag[crossing + 1])
    found = float(around[crossing] + step * (around[crossing + 1] - around[crossing]))
    peak = float(np.interp(found, around, impedance.real))
    stiffness = ((found / FS) ** 2 - 1) / alpha  # Re K/(rho c^2)
    loss = (BL**2 / (peak - RE) - RMS) * 2 * math.pi * found * litres * 1e-3 / (SD**2 * RHO * C**2)
    measured = stiffness / (stiffness**2 + loss**2)
    there = Fill(4000.0, model).volume_gain(np.array([2 * np.pi * found]), Air(RHO, C))
    assert there[0] == pytest.approx(measured, rel=1e-6)
    gain = filling_of(detailed(tmp_path, cabinets=cabinets)).gains[0]
    assert gain.chamber == 0
    assert found < gain.frequency < 1.006 * found
    assert gain.volume_gain == pytest.approx(measured, rel=1e-3)
    assert 1.0 < gain.volume_gain < 1.41  # between adiabatic and isothermal air


@pytest.mark.parametrize("model", ["power_law", "low_frequency"])
def test_the_gain_is_at_the_resonance_it_makes(model: str, tmp_path: Path) -> None:
    """Small 1972, 1973: fs sqrt(1 + alpha/gain) in a sealed box, fb/sqrt(gain) in a vented one, whose port stays."""
    fill = f"{{flow_resistivity: 4000 Pa.s/m2, model: {model}}}"
    gain = filling_of(detailed(tmp_path, cabinets=sealed(fill))).gains[0]
    alpha = RHO * C**2 * SD**2 * CMS / 6e-3
    assert gain.frequency == pytest.approx(FS * math.sqrt(1 + alpha / gain.volume_gain), rel=1e-9)
    vented = (
        "{box: {chambers: [{kind: vented, drivers: [woofer], volume: 15 L, tuning: 45 Hz, losses: {leak: 7},"
        f" ports: [{{diameter: 50 mm}}], fill: {fill}}}]}}}}"
    )
    gain = filling_of(detailed(tmp_path, cabinets=vented)).gains[0]
    assert gain.frequency == pytest.approx(45 / math.sqrt(gain.volume_gain), rel=1e-9)


def others(model: str, sigma: float, spread: float) -> Iterator[str]:
    for each in dict.fromkeys((model, "low_frequency")):
        for power in (-1, -0.5, 0, 0.5, 1):
            yield f"{{flow_resistivity: {sigma * spread**power!r} Pa.s/m2, model: {each}}}"


@pytest.mark.parametrize("kind", [sealed, line])
@pytest.mark.parametrize("model", ["power_law", "rigid_fibre", "low_frequency"])
def test_the_band_is_that_of_kits_with_the_other_fillings(kind: object, model: str, tmp_path: Path) -> None:
    """Each run against a kit file that states that flow resistivity and model: level, -3 dB point and width."""
    assert callable(kind)
    cabinets = kind(f"{{flow_resistivity: 3000 Pa.s/m2, model: {model}, spread: 1.6}}")
    result = detailed(tmp_path, cabinets=cabinets)
    band = filling_of(result).band
    runs = [plain(tmp_path, cabinets=kind(other)) for other in others(model, 3000, 1.6)]
    levels = np.array([level(run.pressure) for run in runs])
    np.testing.assert_allclose(band.lowest, levels.min(axis=0), atol=1e-9)
    np.testing.assert_allclose(band.highest, levels.max(axis=0), atol=1e-9)
    corners = [run.summary.minus_3_db_hz for run in runs]
    assert band.minus_3 is not None
    assert band.minus_3 == pytest.approx((min(c for c in corners if c), max(c for c in corners if c)), rel=1e-9)
    heard = summary.GRID[summary.GRID >= 20]  # the programme's lowest, as assumed
    swept = [level(plain(tmp_path, heard, cabinets=kind(other)).pressure) for other in others(model, 3000, 1.6)]
    width = np.ptp(swept, axis=0)
    assert band.widest == pytest.approx(width.max(), abs=1e-9)
    assert band.widest_at == pytest.approx(heard[width.argmax()])


@pytest.mark.parametrize("kind", [sealed, line])
def test_the_band_holds_the_nominal_level_and_every_filling_between(kind: object, tmp_path: Path) -> None:
    """Within 0.1 dB: level is not quite monotonic in the flow resistivity, and a line's dip moves with it."""
    assert callable(kind)
    result = detailed(tmp_path, cabinets=kind("{flow_resistivity: 1500 Pa.s/m2, spread: 2}"))
    band = filling_of(result).band
    nominal = level(result.pressure)
    assert np.all((band.lowest <= nominal) & (nominal <= band.highest))
    for power in (-0.75, -0.25, 0.25, 0.75):
        for model in ("power_law", "low_frequency"):
            fill = f"{{flow_resistivity: {1500 * 2**power!r} Pa.s/m2, model: {model}}}"
            between = level(plain(tmp_path, cabinets=kind(fill)).pressure)
            assert np.all((band.lowest - 0.1 <= between) & (between <= band.highest + 0.1))


def test_a_filling_known_for_sure_leaves_nothing_open(tmp_path: Path) -> None:
    cabinets = sealed("{flow_resistivity: 3000 Pa.s/m2, model: low_frequency, spread: 1}")
    result = detailed(tmp_path, cabinets=cabinets)
    band = filling_of(result).band
    np.testing.assert_allclose(band.highest, band.lowest, atol=1e-9)
    assert band.widest == pytest.approx(0, abs=1e-9)
    corner = result.summary.minus_3_db_hz
    assert corner is not None
    assert band.minus_3 == pytest.approx((corner, corner))


def test_without_filling_there_is_no_band(tmp_path: Path) -> None:
    """Neither in an empty box, nor where the filled chamber has lost its driver."""
    empty = sealed("x").replace(", fill: x", "")
    result = detailed(tmp_path, cabinets=empty)
    assert result.detail is not None
    assert result.detail.filling is None
    two = "{a: {driver: woofer, plus: in, minus: common}, woofer: {driver: woofer, plus: in, minus: common}}"
    pieces = {"hookup": two, "variants": "{v: {cabinet: box, hookup: {woofer: omit}}}"}
    result = detailed(tmp_path, cabinets=sealed("{flow_resistivity: 3000 Pa.s/m2}"), **pieces)
    assert result.detail is not None
    assert result.detail.filling is None


def test_a_detailed_prediction_is_the_same_prediction(tmp_path: Path) -> None:
    cabinets = line("{flow_resistivity: 3000 Pa.s/m2}")
    one, other = detailed(tmp_path, cabinets=cabinets), plain(tmp_path, cabinets=cabinets)
    np.testing.assert_array_equal(one.pressure, other.pressure)
    np.testing.assert_array_equal(one.impedance, other.impedance)
    assert one.summary == other.summary
    assert other.detail is None


@pytest.mark.parametrize(
    ("model", "lowest", "found"),
    [("power_law_1970", 20.0, True), ("power_law_1970", 40.0, False), ("power_law", 20.0, False)],
)
def test_a_filling_that_would_give_power_is_named(model: str, lowest: float, found: bool, tmp_path: Path) -> None:
    """Delany & Bazley's law has a bulk modulus of the wrong sign below f/sigma 0.0107: 32 Hz at 3000 Pa s/m2."""
    cabinets = sealed(f"{{flow_resistivity: 3000 Pa.s/m2, model: {model}}}")
    result = plain(tmp_path, np.geomspace(lowest, 2000, 30), cabinets=cabinets)
    codes = [finding.code for finding in examine(read_kit(tmp_path, cabinets=cabinets), [result])]
    assert ("fill_gives_power" in codes) == found
