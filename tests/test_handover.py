"""A tweeter the right and the wrong way round, and the passage from piston to response table."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from system.checks import examine
from system.detail import Detail, predict_in_detail
from system.predict import Prediction, predict
from system.summary import level
from tests.support_kits import WOOFER, read_kit

ROWS = np.geomspace(50, 20e3, 1200)
CROSSOVER = 2000.0


def detailed(folder: Path, frequency: np.ndarray = ROWS, **pieces: str) -> tuple[Prediction, Detail]:
    kit = read_kit(folder, **pieces)
    result = predict_in_detail(kit, next(iter(kit.variants.values())), frequency)
    assert result.detail is not None
    return result, result.detail


def write_table(path: Path, response: np.ndarray, level_db: float = 80.0) -> None:
    rows = zip(ROWS, level_db + 20 * np.log10(np.abs(response)), np.degrees(np.unwrap(np.angle(response))), strict=True)
    path.write_text("\n".join(f"{f},{d},{p}" for f, d, p in rows))


def table(file: str) -> str:
    return f"{{file: {file}, volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}}"


def two_way(folder: Path, reversed_tweeter: bool, order: int = 2) -> dict[str, str]:
    """Two drivers by their tables, low- and high-pass sections of Linkwitz & Riley at `CROSSOVER`."""
    s = 1j * ROWS / CROSSOVER
    bessel = {2: (1 + s) ** 2, 4: (1 + math.sqrt(2) * s + s**2) ** 2}[order]
    write_table(folder / "low.txt", 1 / bessel)
    write_table(folder / "high.txt", s**order / bessel)
    (folder / "z.txt").write_text("\n".join(f"{f} 8 0" for f in (20, 100, 500, 2000, 20000)))
    ohms = "re: 6 ohm, impedance: z.txt, response:"
    drivers = f"{{low: {{{ohms} {table('low.txt')}}}, high: {{role: tweeter, {ohms} {table('high.txt')}}}}}"
    ways = "plus: common, minus: in, reversed: on_purpose" if reversed_tweeter else "plus: in, minus: common"
    hookup = f"{{low: {{driver: low, plus: in, minus: common}}, high: {{driver: high, {ways}}}}}"
    return {"drivers": drivers, "hookup": hookup}


def octave_of_the_wrong_way(order: int) -> float:
    """Mean square in dB over the octave about x = 1 of the sum that cancels there, |1 - x^n|/(1 + x^n)."""
    x = np.exp2(np.linspace(-0.5, 0.5, 2001)) ** order
    return float(10 * np.log10(np.mean(((1 - x) / (1 + x)) ** 2)))


def test_linkwitz_riley_of_second_order_wants_its_tweeter_reversed(tmp_path: Path) -> None:
    """|low - high| = 1 at every frequency, low + high is zero at the crossover (Linkwitz, JAES 24, 1976)."""
    result, detail = detailed(tmp_path, **two_way(tmp_path, reversed_tweeter=True))
    (polarity,) = detail.polarities
    assert polarity.driver == "high"
    assert polarity.crossover == pytest.approx(CROSSOVER, rel=0.01)
    np.testing.assert_allclose(level(result.pressure), 80, atol=0.01)
    assert polarity.gain == pytest.approx(-octave_of_the_wrong_way(2), abs=0.1)
    assert polarity.null > 40
    assert polarity.null_at == pytest.approx(CROSSOVER, rel=0.01)
    expected = (1 - (ROWS / CROSSOVER) ** 2) / (1 + (ROWS / CROSSOVER) ** 2)
    np.testing.assert_allclose(np.abs(polarity.turned) / 0.2, np.abs(expected), atol=2e-3)  # 80 dB is 0.2 Pa

    wrong, wrong_detail = detailed(tmp_path, **two_way(tmp_path, reversed_tweeter=False))
    np.testing.assert_allclose(wrong.pressure, polarity.turned, rtol=1e-9)
    assert wrong_detail.polarities[0].gain == pytest.approx(-polarity.gain, abs=1e-9)
    assert wrong_detail.polarities[0].null == pytest.approx(polarity.null, abs=1e-6)


def test_linkwitz_riley_of_fourth_order_does_not(tmp_path: Path) -> None:
    """low + high is an all-pass (Linkwitz, JAES 24, 1976)."""
    kit = read_kit(tmp_path, **two_way(tmp_path, reversed_tweeter=True, order=4))
    result = predict_in_detail(kit, kit.variants["v"], ROWS)
    assert result.detail is not None
    assert result.detail.polarities[0].gain == pytest.approx(octave_of_the_wrong_way(4), abs=0.1)
    assert [f.code for f in examine(kit, [result]) if f.severity == "warning"] == ["polarity"]
    right = read_kit(tmp_path, **two_way(tmp_path, reversed_tweeter=False, order=4))
    result = predict_in_detail(right, right.variants["v"], ROWS)
    np.testing.assert_allclose(level(result.pressure), 80, atol=0.01)
    assert not [f for f in examine(right, [result]) if f.severity == "warning"]


def boxed(folder: Path, response: np.ndarray | None, level_db: float = 0.0, litres: float = 6.0) -> dict[str, str]:
    """The driver of many checks in a box, with a table of its own or without."""
    driver = WOOFER
    if response is not None:
        write_table(folder / "p.txt", response, level_db)
        driver = (
            f"{WOOFER[:-1]}, response: {{file: p.txt, volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}}}}"
        )
    box = f"kind: sealed, drivers: [woofer], volume: {litres} L, losses: {{leak: lossless, absorption: lossless}}"
    return {"drivers": f"{{woofer: {driver}}}", "cabinets": f"{{box: {{chambers: [{{{box}}}]}}}}"}


def pressure(folder: Path, frequency: np.ndarray = ROWS, **pieces: str) -> np.ndarray:
    kit = read_kit(folder, **pieces)
    return np.asarray(predict(kit, kit.variants["v"], frequency).pressure)


def test_a_table_that_says_what_the_parameters_say_changes_nothing(tmp_path: Path) -> None:
    """The table of a piston in a wall without a box: below the join the box counts, which it knows nothing of."""
    alone = pressure(tmp_path, drivers=f"{{woofer: {WOOFER}}}")
    plain = pressure(tmp_path, **boxed(tmp_path, None))
    with_table = pressure(tmp_path, **boxed(tmp_path, alone / 20e-6))
    low = ROWS < 500
    np.testing.assert_allclose(with_table[low], plain[low], rtol=1e-9)
    # above it, the box has shifted the resonance only: within a few tenths of a dB
    np.testing.assert_allclose(level(with_table), level(plain), atol=0.4)


def test_above_the_join_the_table_is_what_is_heard(tmp_path: Path) -> None:
    """At the table's distance and volts, in a wall; below the join the parameters; smooth in between (k a 0.5 to 1)."""
    radius = math.sqrt(88e-4 / math.pi)
    low, high = (ka * 343.21 / (2 * math.pi * radius) for ka in (0.5, 1.0))
    alone = pressure(tmp_path, drivers=f"{{woofer: {WOOFER}}}")
    s = 1j * ROWS / 5000.0
    breaking_up = 1.2 * np.exp(0.2j) * (1 + 0.05 * s) / (1 + 0.3 * s + s**2)  # a resonance of the cone
    response = alone / 20e-6 * breaking_up
    heard = pressure(tmp_path, **boxed(tmp_path, response))
    above, below = high * 1.001 < ROWS, low * 0.999 > ROWS
    kit = read_kit(tmp_path, **boxed(tmp_path, response))
    result = predict_in_detail(kit, kit.variants["v"], ROWS)
    np.testing.assert_allclose(heard[above], alone[above] * breaking_up[above], rtol=1e-3)
    np.testing.assert_allclose(heard[below], pressure(tmp_path, **boxed(tmp_path, None))[below], rtol=1e-9)
    correction = heard / pressure(tmp_path, **boxed(tmp_path, None))
    steps = np.diff(np.log(correction[(0.8 * low < ROWS) & (1.3 * high > ROWS)]))
    assert np.abs(steps).max() < 0.012  # 0.36 in the logarithm over one octave of 120 rows, raised cosine: pi/2 steeper
    assert result.detail is not None
    (join,) = result.detail.joins
    assert (join.low, join.high) == (pytest.approx(low), pytest.approx(high))
    middle = breaking_up[np.abs(ROWS - math.sqrt(low * high)).argmin()]
    assert join.ratio == pytest.approx(middle, rel=0.03)


def test_a_table_far_from_the_parameters_is_named(tmp_path: Path) -> None:
    alone = pressure(tmp_path, drivers=f"{{woofer: {WOOFER}}}")
    for factor, named in ((1.3, False), (1.6, True), (-1.0, True)):
        kit = read_kit(tmp_path, **boxed(tmp_path, alone / 20e-6 * factor))
        result = predict_in_detail(kit, kit.variants["v"], np.geomspace(50, 5000, 20))
        assert ("response_join" in [f.code for f in examine(kit, [result])]) == named
