"""What is told of a driver and of a batch: what to measure next, pairs, odd ones, the lines for a kit file."""

from __future__ import annotations

import math
import statistics
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from enclosures.driver import Driver, SemiInductance
from system.bench import characterise as bench
from system.bench.characterise import (
    ALIKE,
    ROOM,
    Batch,
    Measured,
    batch,
    characterise,
    impedance_apart,
    matched,
    next_measurement,
)
from system.bench.fitting import Estimate
from system.bench.sweeps import Sweep

WOOFER = Driver(re=5.6, bl=6.3, mms=9.5e-3, cms=1.1e-3, rms=0.85, sd=88e-4)
GRID = np.geomspace(10, 20e3, 400)


def swept(driver: Driver, name: str = "woofer.txt", grid: NDArray[np.float64] = GRID) -> Sweep:
    z = driver.free_air_impedance(2 * np.pi * grid)
    return Sweep(name, grid, np.abs(z), np.angle(z))


def unit(driver: Driver = WOOFER, name: str = "woofer.txt", **figures: float) -> Measured:
    """A driver whose figures are known without a fit; some of them others."""
    known = {key: getattr(driver, key) for key in ("re", "fs", "qms", "qes", "qts")} | figures
    estimates = {key: Estimate(value, value, value) for key, value in known.items()}
    return Measured(swept(driver, name), None, None, None, estimates)


def test_half_the_mass_more_brings_fs_where_it_is_told() -> None:
    """Against the definition of fs, of a driver heavier by the half."""
    asked = next_measurement(WOOFER.fs, None)
    assert asked.falls_to == pytest.approx(replace(WOOFER, mms=1.5 * WOOFER.mms).fs)
    assert (asked.mass, asked.volume) == (None, None)


def test_a_box_as_large_as_vas_brings_fs_where_it_is_told() -> None:
    """Small (J. Audio Eng. Soc. 20(10), 1972): the air of a box of vas is as springy as the suspension, so the two
    together give way half as far."""
    asked = next_measurement(WOOFER.fs, None)
    assert asked.rises_to == pytest.approx(replace(WOOFER, cms=WOOFER.cms / 2).fs)


def test_guesses_by_size_hang_together() -> None:
    """A driver of the guessed mass and of this fs has the guessed vas, by its definition."""
    asked = next_measurement(50.0, 88e-4)
    assert asked.mass is not None
    assert asked.volume is not None
    guess = Driver(5.6, 6.3, 2 * asked.mass, 1 / ((2 * math.pi * 50) ** 2 * 2 * asked.mass), 0.85, 88e-4)
    assert guess.vas(ROOM) == pytest.approx(asked.volume)
    assert asked.mass == pytest.approx(WOOFER.mms / 2, rel=0.1)  # an ordinary woofer of this size


def cheapest(cost: NDArray[np.float64]) -> float:
    """The least total over perfect matchings, as an integer programme (scipy, HiGHS)."""
    edges = [(i, j) for i in range(len(cost)) for j in range(i + 1, len(cost))]
    touches = np.array([[i in edge for edge in edges] for i in range(len(cost))], float)
    solved = milp(
        [cost[edge] for edge in edges],
        constraints=LinearConstraint(touches, 1, 1),
        integrality=np.ones(len(edges)),
        bounds=Bounds(0, 1),
    )
    return float(solved.fun)


@given(st.integers(2, 9), st.integers(0, 10_000))
def test_pairs_cost_as_little_as_an_integer_programme_says(count: int, seed: int) -> None:
    distance = np.random.default_rng(seed).uniform(0, 5, (count, count))
    distance = distance + distance.T
    pairs, over, complete = matched(distance)
    assert complete
    assert sorted([*sum(pairs, ()), *([] if over is None else [over])]) == list(range(count))
    assert (over is None) is (count % 2 == 0)
    # of an odd count, one is with a place that costs nothing
    even = np.zeros((count + count % 2,) * 2)
    even[:count, :count] = distance**2
    assert sum(distance[pair] ** 2 for pair in pairs) == pytest.approx(cheapest(even), abs=1e-9)


@pytest.mark.parametrize("count", [16, 17, 24, 41])
def test_on_a_line_neighbours_are_pairs(count: int) -> None:
    """By exchange: of four places on a line, crossing or nested pairs cost more than neighbours. Many are searched."""
    places = np.sort(np.random.default_rng(count).normal(size=count))
    shuffled = np.random.default_rng(1).permutation(count)
    distance = np.abs(places[shuffled][:, None] - places[shuffled])
    pairs, over, complete = matched(distance)
    assert complete is (count <= 16)
    found = sorted(tuple(sorted(shuffled[list(pair)])) for pair in pairs)
    rest = [i for i in range(count) if over is None or i != shuffled[over]]
    assert found == list(zip(rest[::2], rest[1::2], strict=True))


def test_the_difference_of_two_impedances() -> None:
    """All of a curve 1 % higher is 1 % apart, on whatever grid it was swept."""
    one = swept(WOOFER)
    other = swept(WOOFER, grid=np.geomspace(15, 9e3, 2000))
    other = replace(other, magnitude=1.01 * other.magnitude)
    frequency, curve = impedance_apart(one, other)
    assert (frequency[0], frequency[-1]) == (pytest.approx(15), pytest.approx(9e3))
    # straight lines between 120 points a decade cut the top off: by h^2/8 of the second derivative, (2 q)^2 at most
    cut = (math.log(10) / 120) ** 2 / 8 * (2 * WOOFER.qms) ** 2
    assert curve == pytest.approx(0.01, abs=cut)
    assert np.median(curve) == pytest.approx(0.01, abs=1e-4)
    back = impedance_apart(other, one)[1]
    assert (1 + curve) * (1 + back) == pytest.approx(1)


def test_sweeps_without_a_common_band_are_no_pair() -> None:
    low, high = (swept(WOOFER, grid=np.geomspace(*band, 100)) for band in ((10, 200), (300, 20e3)))
    assert impedance_apart(low, high)[1].size == 0
    units = [replace(unit(), sweep=low), replace(unit(), sweep=high)]
    assert [pair.grade for pair in batch(units).pairs] == ["D"]


@pytest.mark.parametrize(
    ("times", "grade"), [(0.99, "A"), (1.01, "B"), (1.99, "B"), (2.01, "C"), (3.99, "C"), (4.01, "D")]
)
@pytest.mark.parametrize("figure", ["fs", "qts", "re"])
def test_the_worst_difference_makes_the_grade(figure: str, times: float, grade: str) -> None:
    value = unit().figures[figure].value * (1 + times * ALIKE[figure])
    (pair,) = batch([unit(), unit(**{figure: value})]).pairs
    assert pair.grade == grade
    assert pair.times == pytest.approx(times)


def made(count: int, **odd: float) -> Batch:
    """Drivers whose mass and damping differ a little, the last one by what `odd` says of its parameters."""
    random = np.random.default_rng(7)
    drivers = [
        replace(WOOFER, mms=9.5e-3 * random.normal(1, 0.01), rms=0.85 * random.normal(1, 0.01))
        for _ in range(count - 1)
    ]
    drivers.append(replace(WOOFER, **odd))
    return batch([unit(each, f"{i}.txt") for i, each in enumerate(drivers)])


def test_an_odd_unit_stands_out() -> None:
    """A suspension a fifth softer: fs lower by 1 - 1/sqrt(1.2), 8.7 %, and all of its Qs with it."""
    found = made(9, cms=1.2 * WOOFER.cms)
    assert list(found.outliers) == [8]
    assert found.outliers[8]["fs"] == pytest.approx(1 / math.sqrt(1.2) - 1, abs=0.01)
    assert "re" not in found.outliers[8]
    assert found.left_over == 8  # it goes with none as well as they go with each other
    assert found.typical not in (8, None)


def test_none_is_odd_among_alike_or_among_few() -> None:
    assert made(9).outliers == {}
    assert made(4, cms=2 * WOOFER.cms).outliers == {}


def test_the_spread_of_a_batch() -> None:
    """Against the standard library."""
    found = made(9, cms=1.2 * WOOFER.cms)
    values = [each.figures["fs"].value for each in found.units[:-1]]  # the odd one is not of the batch
    here = found.ranges["fs"]
    assert here.median == pytest.approx(statistics.median(values))
    assert here.deviation == pytest.approx(statistics.stdev(values) / statistics.median(values))
    assert (here.lowest, here.highest) == (min(values), max(values))


def test_pairs_come_best_first_and_a_refused_unit_is_in_none() -> None:
    refused = Measured(swept(WOOFER, "x.txt"), None, None, "too few points", {})
    found = batch([refused, *made(6).units])
    assert all(a.times <= b.times for a, b in pairwise(found.pairs))
    assert sorted(i for pair in found.pairs for i in (pair.first, pair.second)) == [1, 2, 3, 4, 5, 6]
    assert found.typical != 0
    alone = batch([refused, refused])
    assert (alone.pairs, alone.typical, alone.ranges, alone.left_over) == ((), None, {}, None)


def by_hand(sweep: Sweep, re: float) -> dict[str, float]:
    """The figures as Thiele (Proc. IREE Australia, 1961, reprinted J. Audio Eng. Soc. 19(5), 1971) and Small (J. Audio
    Eng. Soc. 20(5), 1972) read them off a curve: from memory. r0 = zmax/re; at f1 and f2 the impedance is
    re sqrt(r0), f1 f2 = fs^2, qms = fs sqrt(r0)/(f2 - f1), qes = qms/(r0 - 1), qts = qms/r0."""
    top = int(np.argmax(sweep.magnitude))
    r0 = sweep.magnitude[top] / re
    level = re * math.sqrt(r0)
    f1 = float(np.interp(level, sweep.magnitude[:top], sweep.frequency[:top]))
    f2 = float(np.interp(-level, -sweep.magnitude[top:], sweep.frequency[top:]))
    fs = math.sqrt(f1 * f2)
    qms = fs * math.sqrt(r0) / (f2 - f1)
    return {"fs": fs, "qms": qms, "qes": qms / (r0 - 1), "qts": qms / r0}


def test_the_fit_agrees_with_reading_the_curve_by_hand() -> None:
    """A coil without inductance, where the closed forms hold exactly; a fine grid, so that the top is met."""
    sweep = swept(WOOFER, grid=np.geomspace(5, 20e3, 40_001))
    sweep = replace(sweep, frequency=sweep.frequency[::80], magnitude=sweep.magnitude[::80], phase=sweep.phase[::80])  # type: ignore[index]
    known = by_hand(swept(WOOFER, grid=np.geomspace(5, 500, 40_001)), WOOFER.re)
    found = characterise(sweep)
    assert found.refused is None
    for name, value in known.items():
        assert found.figures[name].value == pytest.approx(value, rel=2e-3), name


@pytest.mark.parametrize("phase", [True, False])
def test_two_sweeps_give_the_driver_back(phase: bool) -> None:
    """Simulated from the driver's own differential equation, the second time with 5 g more on its cone."""
    driver = replace(WOOFER, coil=SemiInductance(0.1e-3, 0.9e-3, 0.05))
    sweeps = [swept(driver), swept(replace(driver, mms=driver.mms + 5e-3), "heavier.txt")]
    if not phase:
        sweeps = [replace(each, phase=None) for each in sweeps]
    found = characterise(sweeps[0], second=bench.Second("added_mass", 5e-3, sweeps[1]), sd=driver.sd)
    assert found.refused is None
    for name in ("re", "fs", "qms", "qes", "qts", "bl", "mms", "cms", "rms", "sd"):
        assert found.figures[name].value == pytest.approx(getattr(driver, name), rel=0.01), name
    assert found.figures["vas"].value == pytest.approx(driver.vas(ROOM), rel=0.01)


def test_a_closed_box_gives_the_driver_back() -> None:
    """Behind the cone the air of 8 L, rho c^2 sd^2/vb stiff, nothing lost in it."""
    volume = 8e-3
    stiffness = 1 / WOOFER.cms + ROOM.bulk_modulus * WOOFER.sd**2 / volume
    boxed = swept(replace(WOOFER, cms=1 / stiffness), "boxed.txt")
    found = characterise(swept(WOOFER), second=bench.Second("known_box", volume, boxed), sd=WOOFER.sd)
    assert found.refused is None
    for name in ("bl", "mms", "cms", "rms"):
        assert found.figures[name].value == pytest.approx(getattr(WOOFER, name), rel=0.01), name
    assert found.figures["vas"].value == pytest.approx(WOOFER.vas(ROOM), rel=0.01)
    assert found.figures["fs"].value == pytest.approx(WOOFER.fs, rel=1e-3)
