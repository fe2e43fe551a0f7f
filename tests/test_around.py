"""A speaker off its axis: weights as printed, closed forms of simple sources, attitudes, and other routes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import dblquad, quad
from scipy.special import j1

from system.around import Around, Averages, area_share, around, averages, decibels
from system.findings import KitError
from system.kit import Kit, Placement
from system.predict import predict
from system.summary import level
from tests.support_kits import read_kit

C = 343.21
F = np.geomspace(30, 15e3, 40)
ANGLES = range(-170, 190, 10)

# ANSI/CTA-2034-A, the weights of the curves of a sound power by their angle (from memory).
PRINTED = {
    0: 0.000604486, 10: 0.004730189, 20: 0.008955027, 30: 0.012387354, 40: 0.014989611, 50: 0.016868154,
    60: 0.018165962, 70: 0.019006744, 80: 0.019477787, 90: 0.019629373,
}  # fmt: skip

PAIR = "{woofer_a: {driver: small, plus: in, minus: common}, woofer_b: {driver: small, plus: in, minus: common}}"
SMALL = "{small: {re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.10 mm/N, rms: 0.85 kg/s, sd: 1 cm2}}"
TWO_WAY = (
    "{box: {baffle: {width: 180 mm, height: 480 mm, depth: 190 mm},"
    " cutouts: {woofer_a: [80 mm, 385 mm], woofer_b: [80 mm, 95 mm]},"
    " chambers: [{kind: sealed, drivers: [woofer_a, woofer_b], volume: 8 L,"
    " losses: {leak: lossless, absorption: lossless}}]}}"
)


def heard(folder: Path, placing: str, more: str = "", frequency: NDArray[np.float64] = F, **pieces: str) -> Around:
    chosen = {"drivers": SMALL, "hookup": PAIR, "cabinets": TWO_WAY} | pieces
    kit = read_kit(folder, variants=f"{{v: {{cabinet: box, {placing}}}}}", more=more, **chosen)
    return of(kit, frequency)


def of(kit: Kit, frequency: NDArray[np.float64] = F) -> Around:
    return around(kit, predict(kit, kit.variants["v"], frequency))


def pattern(horizontal: Callable[[float], float], vertical: Callable[[float], float], farthest: int = 180) -> Averages:
    """The averages of sources whose squared pressure is given by functions of the angle in rad, as one frequency."""
    angles = [angle for angle in ANGLES if abs(angle) <= farthest]
    made = {
        plane: {angle: np.array([function(math.radians(angle))]) for angle in angles}
        for plane, function in (("horizontal", horizontal), ("vertical", vertical))
    }
    return averages(made)


def test_areas_are_the_weights_as_printed() -> None:
    """To one in the ninth place. The list adds up to one if 0 and 180 degrees count in each of the four half planes,
    and to 0.996373 if its 70 curves count once; the areas of ours add up to one by the first."""
    for angle, weight in PRINTED.items():
        assert area_share(angle) == pytest.approx(weight, abs=1e-9), angle
        assert area_share(180 - angle) == pytest.approx(weight, abs=1e-9), 180 - angle
    half_plane = sum(2 * weight for angle, weight in PRINTED.items() if angle < 90) + PRINTED[90]
    assert 4 * half_plane == pytest.approx(1, abs=4 * 19 * 1e-9)
    assert 4 * half_plane - 6 * PRINTED[0] == pytest.approx(0.996373, abs=5e-7)
    assert 4 * sum(area_share(angle) for angle in range(0, 190, 10)) == pytest.approx(1, rel=1e-12)
    assert 4 * sum(area_share(angle, 90) for angle in range(0, 100, 10)) == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize("farthest", [180, 90])
def test_a_source_that_sends_everywhere_alike(farthest: int) -> None:
    """All averages are the source itself, and both indices are 0 dB: in free air, and in a half space before a wall."""
    found = pattern(lambda _: 4.0, lambda _: 4.0, farthest)
    for mean in (found.listening_window, found.early_reflections, found.sound_power, found.in_room):
        assert mean[0] == pytest.approx(4, rel=1e-12)
    assert found.directivity_index[0] == pytest.approx(0, abs=1e-9)
    assert found.early_directivity_index[0] == pytest.approx(0, abs=1e-9)


def test_groups_by_hand() -> None:
    """A source with a level of its own in every direction: each mean written out, once whole and once before a wall."""

    def h(degrees: float) -> float:
        return 2.0 + math.cos(math.radians(degrees)) + 0.3 * math.sin(math.radians(degrees))

    def v(degrees: float) -> float:
        return 2.0 + math.cos(math.radians(degrees)) - 0.7 * math.sin(math.radians(degrees))

    window = (h(0) + h(10) + h(-10) + h(20) + h(-20) + h(30) + h(-30) + v(10) + v(-10)) / 9
    floor, ceiling = (v(-20) + v(-30) + v(-40)) / 3, (v(40) + v(50) + v(60)) / 3
    front = (h(0) + h(10) + h(-10) + h(20) + h(-20) + h(30) + h(-30)) / 7
    side = sum(h(a) + h(-a) for a in (40, 50, 60, 70, 80)) / 10
    rear = (sum(h(a) + h(-a) for a in (90, 100, 110, 120, 130, 140, 150, 160, 170)) + h(180)) / 19
    for farthest, groups in ((180, (floor, ceiling, front, side, rear)), (90, (floor, ceiling, front, side))):
        found = pattern(lambda a: h(math.degrees(a)), lambda a: v(math.degrees(a)), farthest)
        early = sum(groups) / len(groups)
        assert found.listening_window[0] == pytest.approx(window, rel=1e-12)
        assert found.early_reflections[0] == pytest.approx(early, rel=1e-12)
        estimate = 0.12 * window + 0.44 * early + 0.44 * found.sound_power[0]
        assert found.in_room[0] == pytest.approx(estimate, rel=1e-12)
        assert found.early_directivity_index[0] == pytest.approx(10 * math.log10(window / early), abs=1e-9)


def test_areas_by_integration() -> None:
    """The solid angle between four planes at b to the axis is that of a square seen on a sheet before the eye,
    du dv/(1 + u^2 + v^2)^1.5 over |u|, |v| < tan b, by scipy."""
    for angle in (0, 10, 40, 80):
        rings = []
        for b in (angle - 5, angle + 5):
            edge = math.tan(math.radians(max(b, 0)))
            rings.append(4 * dblquad(lambda v, u: (1 + u * u + v * v) ** -1.5, 0, edge, 0, edge)[0])
        assert area_share(angle) == pytest.approx((rings[1] - rings[0]) / (16 * math.pi), rel=1e-7)


# Mean squares over the sphere in closed form, and by how much (dB) the standard's own sum over two planes is off: its
# square rings about the axis are not round.
PATTERNS = [
    ("dipole", lambda a: math.cos(a) ** 2, 1 / 3, 0.383),
    ("cardioid", lambda a: ((1 + math.cos(a)) / 2) ** 2, 1 / 3, 0.099),
    ("hypercardioid", lambda a: ((1 + 3 * math.cos(a)) / 4) ** 2, 1 / 4, 0.290),
]


@pytest.mark.parametrize(("name", "squared", "mean", "off"), PATTERNS)
def test_sound_power_of_patterns(name: str, squared: Callable[[float], float], mean: float, off: float) -> None:
    """The mean over the sphere is 1/(directivity factor): 3, 3 and 4 (Beranek, Acoustics, 1954, ch. 6, from memory).

    The sum is that of the weights as printed, so it is off by what they are: 0.1 to 0.4 dB.
    """
    found = pattern(squared, squared).sound_power[0]
    assert 10 * math.log10(found / mean) == pytest.approx(off, abs=0.001), name
    printed = sum(4 * PRINTED[min(a, 180 - a)] * squared(math.radians(a)) for a in range(0, 190, 10))
    assert found == pytest.approx(printed, rel=1e-6)


@pytest.mark.parametrize(("kd", "off"), [(0.5, 0.005), (1.0, 0.023), (2.0, 0.170), (3.0, 0.683), (6.0, 2.243)])
def test_sound_power_of_two_points(kd: float, off: float) -> None:
    """Two alike points d apart, one beside the other: cos^2(kd/2 sin a) in their plane, one in the other.

    The mean over the sphere is (1 + sin(kd)/(kd))/2, as an integral over the angle to the pair's line (scipy) has it.
    Two planes stand for all between them, and the one square to the pair is overrated: `off` in dB, which is the
    standard's.
    """
    mean = quad(lambda c: 0.5 * math.cos(kd / 2 * c) ** 2, -1, 1)[0]
    assert mean == pytest.approx(0.5 * (1 + math.sin(kd) / kd), rel=1e-9)
    found = pattern(lambda a: math.cos(kd / 2 * math.sin(a)) ** 2, lambda _: 1.0).sound_power[0]
    assert 10 * math.log10(found / mean) == pytest.approx(off, abs=0.001)
    weights = {a: PRINTED[min(a, 180 - a)] for a in range(0, 190, 10)}
    printed = sum(2 * w * (1 + math.cos(kd / 2 * math.sin(math.radians(a))) ** 2) for a, w in weights.items())
    assert found == pytest.approx(printed, rel=1e-6)


def test_a_point_in_a_wall(tmp_path: Path) -> None:
    """Without cutouts all that radiates is one point: the same on all 37 directions, and nothing behind the wall."""
    found = heard(tmp_path, "placement: in_wall", cabinets="{box: {}}")
    assert found.half_space
    assert list(found.curves["horizontal"]) == list(found.curves["vertical"]) == list(range(-90, 100, 10))
    for plane in found.curves.values():
        for pressure in plane.values():
            np.testing.assert_allclose(pressure, found.on_axis, rtol=1e-9)
    means = found.averages
    for mean in (means.listening_window, means.early_reflections, means.sound_power, means.in_room):
        np.testing.assert_allclose(decibels(mean), level(found.on_axis), atol=1e-9)
    np.testing.assert_allclose(means.directivity_index, 0, atol=1e-9)


def test_a_piston_in_a_wall(tmp_path: Path) -> None:
    """2 J1(x)/x at x = k a sin(angle), Rayleigh's piston (Theory of Sound II, 302), in both planes."""
    wide = SMALL.replace("sd: 1 cm2", "sd: 200 cm2")
    cabinets = "{box: {baffle: {width: 300 mm, height: 400 mm, depth: 200 mm}, cutouts: {small: [150 mm, 150 mm]}}}"
    hookup = "{small: {driver: small, plus: in, minus: common}}"
    found = heard(tmp_path, "placement: in_wall", drivers=wide, hookup=hookup, cabinets=cabinets)
    radius = math.sqrt(200e-4 / math.pi)
    for plane in found.curves.values():
        for angle, pressure in plane.items():
            x = 2 * np.pi * F / C * radius * abs(math.sin(math.radians(angle)))
            ratio = 2 * j1(x) / x if angle else np.ones_like(x)
            np.testing.assert_allclose(pressure / found.on_axis, ratio, atol=1e-9)


def test_two_woofers_before_a_wall(tmp_path: Path) -> None:
    """Each a piston at its own distance, D e^{-jkr}/r, in the plane of the pair upright and on its side: 1e-9."""
    upright = heard(tmp_path, "placement: in_wall", "listening: {distance: 2 m}")
    lying = heard(tmp_path, "placement: in_wall, attitude: on_left_side", "listening: {distance: 2 m}")
    k, radius = (2 * np.pi * F / C)[:, None], math.sqrt(1e-4 / math.pi)

    def both(angle: int, away: float) -> NDArray[np.complex128]:
        beside, ahead = 2 * math.sin(math.radians(angle)), 2 * math.cos(math.radians(angle))
        offset = np.array([beside, beside - away])
        r = np.hypot(offset, ahead)
        x = np.maximum(k * radius * np.abs(offset) / r, 1e-9)
        return np.asarray(np.sum(2 * j1(x) / x * np.exp(-1j * k * r) / r, axis=1))

    # the axis begins at woofer_a, 290 mm above woofer_b; on its left side woofer_a is on the left
    for curves, away in ((upright.curves["vertical"], -0.29), (lying.curves["horizontal"], 0.29)):
        for angle, pressure in curves.items():
            ratio = both(angle, away) / both(0, away)
            np.testing.assert_allclose(pressure / curves[0], ratio, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("attitude", "turn"), [("on_left_side", 1), ("on_right_side", -1)])
def test_on_its_side_the_planes_are_exchanged(tmp_path: Path, attitude: str, turn: int) -> None:
    """The axis stays as it was, what was above is to the left or right: 1e-9 of the curve."""
    upright = heard(tmp_path, "placement: free_standing")
    lying = heard(tmp_path, f"placement: free_standing, attitude: {attitude}")
    scale = np.abs(upright.on_axis)
    np.testing.assert_allclose(lying.on_axis, upright.on_axis, rtol=1e-9)
    for angle in ANGLES:
        across = angle if angle == 180 else turn * angle
        back = angle if angle == 180 else -turn * angle
        over = (lying.curves["vertical"][angle] - upright.curves["horizontal"][across]) / scale
        beside = (lying.curves["horizontal"][angle] - upright.curves["vertical"][back]) / scale
        assert np.max(np.abs(over)) < 1e-9
        assert np.max(np.abs(beside)) < 1e-9
    different = lying.curves["horizontal"][40] - upright.curves["horizontal"][40]
    assert np.max(np.abs(different / scale)) > 0.5


def test_a_mirrored_cabinet(tmp_path: Path) -> None:
    """Everything on the other side of the front: left and right are exchanged, 1e-9."""
    one = heard(tmp_path, "placement: free_standing")
    other = heard(tmp_path, "placement: free_standing", cabinets=TWO_WAY.replace("[80 mm", "[100 mm"))
    for angle in ANGLES:
        mirrored = angle if angle == 180 else -angle
        there = other.curves["horizontal"][mirrored] / one.on_axis
        np.testing.assert_allclose(one.curves["horizontal"][angle] / one.on_axis, there, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("plane", "angle"), [("horizontal", 30), ("horizontal", -80), ("vertical", 60)])
def test_one_direction_by_the_other_route(tmp_path: Path, plane: str, angle: int) -> None:
    """A kit that is listened to from there says the same, free standing; near a wall the wall is left out here."""
    free = heard(tmp_path, "placement: free_standing", "listening: {distance: 1.5 m}")
    walled = heard(tmp_path, "placement: {wall_behind: 50 mm, below: 0 m}", "listening: {distance: 1.5 m}")
    more = f"listening: {{distance: 1.5 m, angle_{plane}: {angle} deg}}"
    kit = read_kit(
        tmp_path, drivers=SMALL, hookup=PAIR, cabinets=TWO_WAY, more=more,
        variants="{v: {cabinet: box, placement: free_standing}}",
    )  # fmt: skip
    there = predict(kit, kit.variants["v"], F).pressure
    np.testing.assert_allclose(free.curves[plane][angle], there, rtol=1e-9)
    np.testing.assert_allclose(walled.curves[plane][angle], there, rtol=1e-9)


def test_indices_go_with_nothing_but_the_shape(tmp_path: Path) -> None:
    """Twice the volts: 6.02 dB in every mean, the same indices."""
    kit = read_kit(
        tmp_path, drivers=SMALL, hookup=PAIR, cabinets=TWO_WAY, variants="{v: {cabinet: box, placement: free_standing}}"
    )
    one, two = (around(kit, predict(kit, kit.variants["v"], F, volts)) for volts in (1.0, 2.0))
    np.testing.assert_allclose(two.averages.sound_power, 4 * one.averages.sound_power, rtol=1e-12)
    np.testing.assert_allclose(two.averages.directivity_index, one.averages.directivity_index, atol=1e-9)
    assert one.averages.directivity_index[-1] > 3 > abs(one.averages.directivity_index[0])


def test_a_cabinet_without_size_away_from_a_wall(tmp_path: Path) -> None:
    """The reader refuses it; a variant made by hand gets the same finding."""
    with pytest.raises(KitError, match="has no baffle; give the baffle's size, or placement: in_wall"):
        heard(tmp_path, "placement: free_standing", cabinets="{box: {}}")
    kit = read_kit(tmp_path, drivers=SMALL, hookup=PAIR, cabinets="{box: {}}")
    done = predict(kit, kit.variants["v"], F)
    bare = replace(done, variant=replace(done.variant, placement=Placement("free_standing")))
    with pytest.raises(KitError) as caught:
        around(kit, bare)
    assert [finding.code for finding in caught.value.findings] == ["placement_needs_baffle"]


def test_a_listening_distance_within_the_cabinet(tmp_path: Path) -> None:
    """0.25 m below the upper woofer is still before the front; 0.15 m to its back is inside."""
    with pytest.raises(KitError) as caught:
        heard(tmp_path, "placement: free_standing", "listening: {distance: 150 mm}")
    assert [finding.code for finding in caught.value.findings] == ["listening_outside"]
    assert "clears the cabinet" in str(caught.value)
