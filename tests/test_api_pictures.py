"""What `system.api` draws of directions and of time: closed forms, and the tables of the command."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import j1

from system import api
from system.kit import Kit
from tests.support_cli import kitwright
from tests.support_kits import read_kit
from tests.test_cli import MARSHLIGHT

Floats = NDArray[np.float64]

LOAD, CROSSED = 8.0, 2000.0  # ohm, Hz
OMEGA = 2 * math.pi * CROSSED
SPEED, SD = 343.21, 88e-4  # of support_kits: m/s, m2
FEW = np.geomspace(20, 20e3, 12)


@pytest.fixture
def axes() -> Axes:
    return Figure(figsize=(6, 4)).subplots()


def curves(axes: Axes) -> list[tuple[Floats, Floats]]:
    """What is drawn in the units of the axes, without what stands across and upright."""
    lines = [line for line in axes.lines if line.get_transform() == axes.transData and len(line.get_xdata()) > 2]
    return [(np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)) for line in lines]


@pytest.fixture
def crossed(tmp_path: Path) -> Kit:
    """Two drivers of 8 ohm and 90 dB, of no phase, behind filters of the fourth order made of two equal halves.

    (s^2 + sqrt2 s + 1)^2 into a load, by its continued fraction (Darlington, J. Math. Phys. 18, 1939): from the load
    on 1/(2 sqrt2), 2 sqrt2/3, 9/(4 sqrt2), 4 sqrt2/3; the high-pass has the inverse values.
    """
    hertz = np.geomspace(1, 45e3, 80)
    for name, value in (("flat", 90), ("eight", 8)):
        (tmp_path / f"{name}.txt").write_text("".join(f"{f:.4f} {value} 0\n" for f in hertz), encoding="utf-8")
    root = math.sqrt(2)
    values = (4 * root / 3, 9 / (4 * root), 2 * root / 3, 1 / (2 * root))
    low, high = ("in", "a", "b"), ("in", "d", "e")
    parts = []
    for n, (value, i) in enumerate(zip(values, (0, 1, 1, 2), strict=True), 1):
        series = n in (1, 3)
        here, there = ((points[i], points[i + 1]) if series else (points[i], "common") for points in (low, high))
        inductance, capacitance = value * LOAD / OMEGA, value / LOAD / OMEGA
        inverse = 1 / (value * LOAD * OMEGA), LOAD / (value * OMEGA)
        coil, capacitor = (inductance, inverse[0]) if series else (inverse[1], capacitance)
        at_coil, at_capacitor = (here, there) if series else (there, here)
        parts.append(f"L{n}: {{coil: {coil * 1e3!r} mH, between: [{', '.join(at_coil)}]}}")
        parts.append(f"C{n}: {{capacitor: {capacitor * 1e6!r} uF, between: [{', '.join(at_capacitor)}]}}")
    driver = (
        "{role: tweeter, re: 8 ohm, sd: 7 cm2, impedance: eight.txt, response: {file: flat.txt, volts: 2.83 V,"
        " distance: 1 m, mounted: wall, phase: measured}}"
    )
    return read_kit(
        tmp_path,
        drivers=f"{{low: {driver}, high: {driver}}}",
        parts=f"{{{', '.join(parts)}}}",
        hookup="{low: {driver: low, plus: b, minus: common}, high: {driver: high, plus: e, minus: common}}",
        variants="{v: {cabinet: box, placement: in_wall}}",
        more="listening: {distance: 1 m}",
    )


def test_group_delay_of_two_halves_of_fourth_order(crossed: Kit, axes: Axes) -> None:
    """Linkwitz, J. Audio Eng. Soc. 24(1), 1976: the sum is an all-pass of (s^2 + sqrt2 s + 1), 90 dB everywhere.

    Its delay is 2 sqrt2/w0 (1 + x^2)/(1 + x^4), x = w/w0.
    """
    result = api.predict(crossed, "v", np.geomspace(50, 15e3, 60))
    np.testing.assert_allclose(20 * np.log10(np.abs(result.pressure) / 20e-6), 90.0, atol=1e-6)
    api.plot_group_delay(axes, result)
    (hertz, delay), (_, audible) = curves(axes)
    x = hertz / CROSSED
    np.testing.assert_allclose(delay, 1e3 * 2 * math.sqrt(2) / OMEGA * (1 + x**2) / (1 + x**4), rtol=1e-4)
    assert {text.get_text() for text in axes.texts} >= {"together", "audible from", "ms"}
    assert min(audible) == 1.0  # Blauert and Laws 1978 (from memory): 1 ms at 2 kHz


def test_step_of_two_halves_of_fourth_order(crossed: Kit, axes: Axes) -> None:
    """Its inverse transform: 1 - 4 exp(-a t) sin(a t), a = w0/sqrt2, of 90 dB.

    The edge is rounded over 0.03 ms; what lies below 1 Hz is missing, 2 pi 1 Hz 1.5 ms = 0.9 %.
    """
    api.plot_step_response(axes, api.predict(crossed, "v", FEW))
    ms, drawn = curves(axes)[0]
    t, height = ms * 1e-3, 20e-6 * 10 ** (90 / 20)
    a = OMEGA / math.sqrt(2)
    expected = np.where(t > 0, 1 - 4 * np.exp(-a * np.maximum(t, 0)) * np.sin(a * np.maximum(t, 0)), 0.0)
    there = (np.abs(t) > 0.15e-3) & (t < 1.5e-3)
    np.testing.assert_allclose(drawn[there] / height, expected[there], rtol=0, atol=0.01)
    assert axes.get_xlim() == (-1.0, 12.0)


CUT = "{box: {baffle: {width: 300 mm, height: 400 mm, depth: 200 mm}, cutouts: {woofer: [150 mm, 150 mm]}}}"


@pytest.fixture
def piston(tmp_path: Path) -> Kit:
    """The driver of support_kits set into a wall."""
    return read_kit(tmp_path, cabinets=CUT, variants="{v: {cabinet: box, placement: in_wall}}")


def beam(hertz: float, degrees: Floats) -> Floats:
    """A piston in a wall: 20 lg |2 J1(x)/x|, x = k a sin(angle) (Rayleigh, Theory of Sound II, 302, from memory)."""
    x = 2 * math.pi * hertz / SPEED * math.sqrt(SD / math.pi) * np.sin(np.radians(degrees))
    x = np.where(np.abs(x) < 1e-9, 1e-9, x)
    return np.asarray(20 * np.log10(np.abs(2 * j1(x) / x)))


@pytest.mark.parametrize("plane", ["horizontal", "vertical"])
def test_polar_of_a_piston_in_a_wall(piston: Kit, axes: Axes, plane: str) -> None:
    found = api.around(piston, "v", [1000.0, 2000.0])
    api.plot_polar(axes, found, plane)
    drawn = [(x, y) for x, y in curves(axes) if x.size == 145]  # 18 steps of 10 degrees in eighths
    assert len(drawn) == 2
    for (x, y), hertz in zip(drawn, (1000.0, 2000.0), strict=True):
        angle = np.degrees(np.arctan2(x, -y) if plane == "horizontal" else np.arctan2(y, x))
        at_steps = np.abs(angle / 10 - np.round(angle / 10)) < 1e-6
        level = np.hypot(x, y)[at_steps] - 30.0  # the middle is 30 dB below straight ahead
        np.testing.assert_allclose(level, beam(hertz, angle[at_steps]), rtol=0, atol=1e-6)


def test_map_of_a_piston_in_a_wall(piston: Kit, axes: Axes) -> None:
    """The border of -6 dB lies where 20 lg |2 J1(x)/x| is -6, x = 2.21; between 10 degrees it is a straight line."""
    edge = brentq(lambda x: 20 * math.log10(2 * j1(x) / x) + 6, 1.0, 3.0)
    api.plot_angle_map(axes, api.around(piston, "v", np.geomspace(2500, 6000, 120)))
    contours = next(c for c in axes.collections if list(getattr(c, "levels", ())) == [-20, -12, -6, -3, 3])
    border = contours.get_paths()[2].vertices
    hertz, angle = border[:, 0], np.radians(np.abs(border[:, 1]))
    near = np.abs(border[:, 1]) < 60  # beyond, 10 degrees to a step are coarse
    x = 2 * math.pi * hertz / SPEED * math.sqrt(SD / math.pi) * np.sin(angle)
    assert np.count_nonzero(near) > 20
    np.testing.assert_allclose(x[near], edge, rtol=0.04)


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, list[float]]]:
    """What `predict --around` writes beside its picture, by the end of each file's name and the head of each column."""
    folder = tmp_path_factory.mktemp("curves")
    words = ("predict", MARSHLIGHT, "--variant", "centre", "--around", "--points", FEW.size, "-o", folder / "p.svg")
    assert kitwright(*words, "--csv", folder / "csv").returncode == 0
    found = {}
    for path in sorted((folder / "csv" / "graphs").iterdir()):
        columns = list(zip(*csv.reader(path.read_text(encoding="utf-8").splitlines()), strict=True))
        found[path.stem[9:]] = {column[0]: [float(cell) for cell in column[1:] if cell] for column in columns}
    return found


@pytest.mark.slow
def test_what_is_drawn_is_in_the_tables_of_the_command(tables: dict[str, dict[str, list[float]]]) -> None:
    kit = api.load_kit(MARSHLIGHT)
    result, found = api.predict(kit, "centre", FEW), api.around(kit, "centre", FEW)
    figure = Figure(figsize=(6, 20))
    delay, step, polar, level = figure.subplots(4, 1)
    api.plot_group_delay(delay, result)
    told = tables["does_the_bass_come_late"]
    np.testing.assert_allclose(curves(delay)[0], [told["frequency_hz"], told["together (ms)"]])
    api.plot_step_response(step, result)
    told = tables["does_everything_arrive_together"]
    named = [column for column in told if column.endswith("(Pa)")]
    assert len(named) == len(curves(step)) > 1
    for column, (ms, pascal) in zip(named, curves(step), strict=True):
        np.testing.assert_allclose(ms, told["time_ms"])
        np.testing.assert_allclose(pascal, told[column])
    api.plot_polar(polar, found, "vertical")
    told = tables["how_far_up_and_down_does_it_carry_at_one_frequency"]
    lines = [each for each in curves(polar) if each[0].size == 8 * (len(told["angle_deg"]) - 1) + 1]
    for column, (x, y) in zip([c for c in told if c.endswith("(dB)")], lines, strict=True):
        np.testing.assert_allclose(np.hypot(x, y)[::8], np.maximum(np.array(told[column]) + 30.0, 0.0), atol=1e-9)
    api.plot_angle_map(level, found)
    told = tables["how_far_to_the_side_does_it_carry"]
    for angle in (-90, -30, 40):
        ahead, there = (20 * np.log10(np.abs(found.curves["horizontal"][a]) / 20e-6) for a in (0, angle))
        np.testing.assert_allclose(told[f"{angle} degrees (dB)"], there - ahead, atol=1e-9)


def test_what_cannot_be_drawn_is_told(crossed: Kit, axes: Axes) -> None:
    plain = api.predict(crossed, "v", FEW, detail=False)
    for draw in (api.plot_group_delay, api.plot_step_response):
        with pytest.raises(ValueError, match="with its detail"):
            draw(axes, plain)
    found = api.around(crossed, "v", [1000.0])
    with pytest.raises(ValueError, match="fewer than two frequencies"):
        api.plot_angle_map(axes, found)
    for turn in (api.plot_polar, api.plot_angle_map):
        with pytest.raises(ValueError, match="none of horizontal, vertical"):
            turn(axes, api.around(crossed, "v", FEW), "sideways")
    with pytest.raises(api.KitError, match="there is only v"):
        api.around(crossed, "w")
