"""Variant against variant at the seat: gains, slopes and a shelf in closed form, and the seats where people sit."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.stats import linregress

from system import grid
from system.compare import Comparison, compare
from system.examples import scenarios
from system.findings import KitError
from system.kitfile import load_kit
from system.matching import OCTAVE_BANDS, match, smoothed
from system.sheets import match_texts
from system.summary import GRID
from tests.support_kits import kit_text, read_kit

MARSHLIGHT = scenarios() / "marshlight" / "kit.yaml"
FLAT = np.full(GRID.size, 0.1, complex)
# IEC 61260-1:2014, table E.1: exact middles of third-octave bands in base ten, 200 Hz to 8 kHz, to five figures
MIDDLES = [199.53, 251.19, 316.23, 398.11, 501.19, 630.96, 794.33, 1000.0, 1258.9, 1584.9, 1995.3, 2511.9, 3162.3]
MIDDLES += [3981.1, 5011.9, 6309.6, 7943.3]


def shelf_power(low: float, high: float, first: float, second: float) -> float:
    """The mean over ln f of |(1 + jf/first)/(1 + jf/second)|^2, by its integral in closed form.

    With u = f^2: d(ln f) (1 + u/a^2)/(1 + u/b^2) integrates to ln f + (b^2/a^2 - 1)/2 ln(1 + u/b^2).
    """

    def integral(f: float) -> float:
        return math.log(f) + ((second / first) ** 2 - 1) / 2 * math.log1p((f / second) ** 2)

    return (integral(high) - integral(low)) / math.log(high / low)


def decibels(power: float) -> float:
    return 10 * math.log10(power)


def test_the_third_octaves_are_those_of_the_standard() -> None:
    assert list(OCTAVE_BANDS) == pytest.approx(MIDDLES, rel=5e-5)


def test_alike_is_nothing() -> None:
    found = match(GRID, FLAT, FLAT)
    assert (found.level, found.rms, found.largest) == (0.0, 0.0, 0.0)
    assert found.tilt == pytest.approx(0.0, abs=1e-12)
    assert set(found.bands.values()) == {0.0}


def test_twice_the_power_is_three_decibels_and_nothing_else() -> None:
    """10 log10 2 = 3.0103 dB, whatever the phase."""
    found = match(GRID, FLAT, FLAT * math.sqrt(2) * np.exp(1j * GRID / 700))
    assert found.level == pytest.approx(3.0103, abs=5e-5)
    assert list(found.bands.values()) == pytest.approx([3.0103] * 3, abs=5e-5)
    assert (found.tilt, found.rms, found.largest) == pytest.approx((0, 0, 0), abs=1e-9)


@given(slope=st.floats(-2.0, 2.0))
def test_a_straight_slope_is_told_as_it_is(slope: float) -> None:
    """|p|^2 as f^s: every third-octave holds the same factor more, so the tilt is exactly 3.0103 s dB an octave.

    A band's mean of f^s over ln f is (high^s - low^s)/(s ln(high/low)).
    """
    found = match(GRID, FLAT, FLAT * (GRID / 1000) ** (slope / 2))
    assert found.tilt == pytest.approx(slope * decibels(2), abs=1e-3)

    def mean(low: float, high: float) -> float:
        if abs(slope) < 1e-6:
            return 0.0
        return decibels(((high / 1e3) ** slope - (low / 1e3) ** slope) / (slope * math.log(high / low)))

    expected = [mean(100, 300), mean(300, 3000), mean(3000, 10e3)]
    assert list(found.bands.values()) == pytest.approx(expected, abs=1e-3)
    # evenly spaced points of a line: n of them, d apart, have the rms d sqrt((n^2 - 1)/12)
    apart = slope * decibels(10**0.1)
    assert found.rms == pytest.approx(abs(apart) * math.sqrt((17**2 - 1) / 12), abs=1e-3)
    assert abs(found.largest) == pytest.approx(8 * abs(apart), abs=1e-3)


@pytest.mark.parametrize(("first", "second"), [(400.0, 200.0), (500.0, 1500.0), (3000.0, 2000.0)])
def test_a_first_order_shelf_against_its_integrals(first: float, second: float) -> None:
    """The straight joins of the grid, 162 points an octave, leave less than 0.001 dB."""
    found = match(GRID, FLAT, FLAT * (1 + 1j * GRID / first) / (1 + 1j * GRID / second))
    bands = {"low": (100, 300), "middle": (300, 3000), "high": (3000, 10e3)}
    for name, band in bands.items():
        assert found.bands[name] == pytest.approx(decibels(shelf_power(*band, first, second)), abs=1e-3)
    assert found.level == found.bands["middle"]
    half = 10**0.05
    thirds = np.array([decibels(shelf_power(f / half, f * half, first, second)) for f in OCTAVE_BANDS])
    assert found.third_octaves == pytest.approx(thirds - thirds.mean(), abs=1e-3)
    assert found.tilt == pytest.approx(linregress(np.log2(OCTAVE_BANDS), thirds).slope, abs=1e-3)
    assert found.rms == pytest.approx(thirds.std(), abs=1e-3)


@given(
    gain=st.floats(0.01, 100.0),
    places=st.lists(st.floats(-2.0, 2.0), min_size=4, max_size=4),
)
def test_the_other_way_round_has_the_other_sign_and_a_gain_changes_the_level_only(
    gain: float, places: list[float]
) -> None:
    curve = FLAT * 10 ** (np.interp(np.log(GRID), np.log([20, 300, 2000, 15e3]), places) / 2)
    there, back = match(GRID, FLAT, curve), match(GRID, curve, FLAT)
    assert [back.level, back.tilt, *back.bands.values()] == pytest.approx(
        [-there.level, -there.tilt, *(-value for value in there.bands.values())], abs=1e-9
    )
    assert back.rms == pytest.approx(there.rms, abs=1e-9)
    louder = match(GRID, FLAT, gain * curve)
    assert louder.level - there.level == pytest.approx(20 * math.log10(gain), abs=1e-9)
    assert (louder.rms, louder.tilt) == pytest.approx((there.rms, there.tilt), abs=1e-9)


def test_smoothing_is_the_mean_over_its_band() -> None:
    """Against quadrature (QUADPACK): the grid's straight joins leave less than 1e-4."""
    frequency = np.geomspace(20, 20e3, 2000)
    centres = np.array([50.0, 400.0, 3000.0])

    def power(f: float) -> float:
        return 1 / (1 + (f / 300) ** 4)

    def mean(centre: float) -> float:
        edges = np.log(centre) - 0.05 * math.log(10), np.log(centre) + 0.05 * math.log(10)
        whole, _ = quad(lambda x: power(math.exp(x)), *edges)
        return whole / (edges[1] - edges[0])

    found = smoothed(frequency, np.array([power(f) for f in frequency]), centres)
    assert found == pytest.approx([mean(centre) for centre in centres], rel=1e-4)


# ---- whole kits


def compared(path: Path, *settings: str, against: str | None = None, names: tuple[str, ...] = ()) -> Comparison:
    kit = load_kit(path, settings)
    chosen = [variant for name, variant in kit.variants.items() if not names or name in names]
    return compare([kit], [chosen], grid.logarithmic(points=3), against=against)


def numbers(found: Comparison, name: str) -> NDArray[np.float64]:
    each = found.matches[name].centre
    return np.array([each.level, each.tilt, *each.bands.values(), each.rms, each.largest])


def test_a_variant_beside_its_copy(tmp_path: Path) -> None:
    kit = read_kit(tmp_path, variants="{v: {cabinet: box}, w: {cabinet: box}}")
    found = compare([kit], [list(kit.variants.values())], grid.logarithmic(points=3))
    assert found.against == "v"
    assert list(found.matches) == ["w"]
    assert numbers(found, "w") == pytest.approx(np.zeros(7), abs=1e-12)
    assert "w matches v within 0.0 dB rms at the listening point" in match_texts.matches(found)


def test_a_resistor_before_a_resistive_driver_is_a_pure_gain(tmp_path: Path) -> None:
    """A driver of 8 ohm by its table behind 3.3137 ohm: 8/11.3137 = 1/sqrt 2, so 3.01 dB less everywhere."""
    for file, value in (("z.txt", 8), ("p.txt", 90)):
        rows = [f"{hertz} {value} 0\n" for hertz in (5, 50, 500, 5000, 30000)]
        (tmp_path / file).write_text("".join(rows), encoding="utf-8")
    kit = read_kit(
        tmp_path,
        drivers="{d: {role: midrange, re: 6 ohm, impedance: z.txt, response: {file: p.txt, phase: measured}}}",
        parts="{R1: {resistor: 3.313708 ohm, between: [in, a], normally: link}}",
        hookup="{d: {driver: d, plus: a, minus: common}}",
        variants="{loud: {cabinet: box}, soft: {like: loud, parts: {R1: fit}}}",
    )
    found = compare([kit], [list(kit.variants.values())], grid.logarithmic(points=3))
    expected = np.array([-3.0103, 0, -3.0103, -3.0103, -3.0103, 0, 0])
    assert numbers(found, "soft") == pytest.approx(expected, abs=1e-4)


def test_the_outer_seats_are_farther_away(tmp_path: Path) -> None:
    """A point source in a wall at twice the distance: 20 log10 2 less, and alike to either side."""
    seats = "seats: {distance: 2 m, angle: 30 deg}"
    kit = read_kit(tmp_path, variants=f"{{near: {{cabinet: box}}, far: {{cabinet: box, {seats}}}}}")
    found = compare([kit], [list(kit.variants.values())], grid.logarithmic(points=3)).matches["far"]
    assert found.centre.level == 0
    assert list(found.seats) == ["left", "right"]
    for each in found.seats.values():
        assert each.level == pytest.approx(-20 * math.log10(2), abs=1e-6)
        assert each.rms == pytest.approx(0, abs=1e-6)


def test_any_variant_can_be_the_one_the_others_are_matched_with() -> None:
    names = ("centre", "wall")
    first, other = compared(MARSHLIGHT, names=names), compared(MARSHLIGHT, against="wall", names=names)
    assert (list(first.matches), list(other.matches)) == (["wall"], ["centre"])
    there, back = first.matches["wall"], other.matches["centre"]
    assert back.centre.level == pytest.approx(-there.centre.level, abs=1e-9)
    assert back.worst == pytest.approx(there.worst, abs=1e-9)
    with pytest.raises(KitError) as caught:
        compared(MARSHLIGHT, against="wal", names=names)
    assert "one of centre, wall" in caught.value.findings[0].allowed


def test_one_variant_alone_is_matched_with_nothing() -> None:
    found = compared(MARSHLIGHT, names=("wall",))
    assert (found.against, found.matches) == ("wall", {})
    assert match_texts.matches(found) == ""


def test_variants_of_two_kits(tmp_path: Path) -> None:
    """The second kit's driver has twice the area, so at the same motion twice the pressure, 6.02 dB, if nothing else.

    The air's share of the mass is in mms, so the motion is the same.
    """
    paths = []
    for name, sd in (("small", 60), ("large", 120)):
        text = kit_text(
            drivers=f"{{woofer: {{re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.1 mm/N, rms: 0.85 kg/s, sd: {sd} cm2}}}}"
        )
        path = tmp_path / f"{name}.yaml"
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    kits = [load_kit(path) for path in paths]
    found = compare(kits, [list(kit.variants.values()) for kit in kits], grid.logarithmic(points=3))
    assert found.against == "small.v"
    assert numbers(found, "large.v")[[0, 2, 3, 4]] == pytest.approx([6.0206] * 4, abs=1e-3)
    assert numbers(found, "large.v")[[1, 5, 6]] == pytest.approx([0] * 3, abs=1e-3)
