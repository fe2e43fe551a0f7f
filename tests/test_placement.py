"""Attitude, rigid planes and walls against closed forms and against the free field itself."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.air import Air
from enclosures.baffle import Box, Source, free_paths, wall_paths
from enclosures.placement import Surroundings, listening_point, paths

AIR = Air(1.2041, 343.21)
BOX = Box(0.18, 0.48, 0.25)
W = 2.0 * math.pi * np.array([40.0, 200.0, 700.0, 2500.0])
QUARTER = math.radians(90.0)


def put(face: str, at: tuple[float, float], radius: float = 0.0, box: Box = BOX) -> Source:
    return Source(*box.point(face, at), radius)  # type: ignore[arg-type]


WOOFER, PORT = put("front", (0.07, 0.38), 0.05), put("rear", (0.05, 0.1))


def test_listening_point_in_the_room() -> None:
    at = np.array([0.09, 0.24, 0.0])
    np.testing.assert_allclose(listening_point(at, 2.0), np.add(at, [0, 0, 2.0]))
    # to the listener's right and upward, upright
    np.testing.assert_allclose(listening_point(at, 2.0, QUARTER, 0.0), np.add(at, [2.0, 0, 0]), atol=1e-15)
    np.testing.assert_allclose(listening_point(at, 2.0, 0.0, QUARTER), np.add(at, [0, 2.0, 0]), atol=1e-15)
    # on its left side it is turned counter-clockwise as seen from the front, so its right side is above
    lying = (("on_left_side", 0.0, 1.0, [2.0, 0, 0]), ("on_left_side", 1.0, 0.0, [0, -2.0, 0]),
             ("on_right_side", 0.0, 1.0, [-2.0, 0, 0]))  # fmt: skip
    for attitude, h, v, offset in lying:
        point = listening_point(at, 2.0, h * QUARTER, v * QUARTER, attitude)  # type: ignore[arg-type]
        np.testing.assert_allclose(point, np.add(at, offset), atol=1e-15)
    # both angles: (sin h cos v, sin v, cos h cos v)
    h, v = 0.4, -0.3
    expected = [math.sin(h) * math.cos(v), math.sin(v), math.cos(h) * math.cos(v)]
    np.testing.assert_allclose(listening_point(np.zeros(3), 1.0, h, v), expected)


@pytest.mark.parametrize("attitude", ["on_left_side", "on_right_side"])
def test_lying_down_leaves_the_axis_and_swaps_the_planes(attitude: str) -> None:
    turn = 1.0 if attitude == "on_left_side" else -1.0

    def heard(posture: str, h: float, v: float) -> np.ndarray:
        point = listening_point(WOOFER.position, 1.5, h, v, posture)  # type: ignore[arg-type]
        return paths(BOX, Surroundings(posture), [WOOFER, PORT], point, W, AIR)  # type: ignore[arg-type]

    np.testing.assert_allclose(heard(attitude, 0.0, 0.0), heard("upright", 0.0, 0.0), rtol=1e-9)
    # above it lying on its left is to the right of it standing
    np.testing.assert_allclose(heard(attitude, 0.0, 0.5), heard("upright", turn * 0.5, 0.0), rtol=1e-9)
    np.testing.assert_allclose(heard(attitude, 0.5, 0.0), heard("upright", 0.0, -turn * 0.5), rtol=1e-9)
    assert np.max(np.abs(heard(attitude, 0.5, 0.0) / heard("upright", 0.5, 0.0) - 1.0)) > 0.05


def test_free_standing_is_the_free_field() -> None:
    point = listening_point(WOOFER.position, 2.0, 0.3, 0.1)
    alone = free_paths(BOX, [WOOFER, PORT], point, W, AIR)[:, 0]
    np.testing.assert_allclose(paths(BOX, Surroundings(), [WOOFER, PORT], point, W, AIR), alone, rtol=1e-12)


def test_in_a_wall() -> None:
    """No box needed, coincident radiators alike; a port on the rear counts as in the wall."""
    point = listening_point(WOOFER.position, 1.0, 0.5)
    found = paths(None, Surroundings(in_wall=True), [WOOFER, WOOFER, PORT], point, W, AIR)
    np.testing.assert_allclose(found[:, 0], wall_paths([WOOFER], point, W, AIR)[:, 0, 0])
    np.testing.assert_array_equal(found[:, 0], found[:, 1])
    distance = math.dist(point, (*PORT.position[:2], 0.0))
    np.testing.assert_allclose(np.abs(found[:, 2]), 1.0 / distance)


@pytest.mark.parametrize(
    ("planes", "gain"),
    [({"below": 0.3}, 6.02), ({"below": 0.3, "wall_left": 0.2}, 12.04),
     ({"below": 0.3, "wall_left": 0.2, "wall_behind": 0.1}, 18.06),
     ({"above": 0.0}, 6.02), ({"below": 0.0, "wall_right": 0.0}, 12.04),
     ({"below": 0.0, "wall_right": 0.0, "wall_behind": 0.0}, 18.06), ({"below": 0.0, "wall_behind": 0.5}, 12.04)],
)  # fmt: skip
def test_planes_at_low_frequency(planes: dict[str, float], gain: float) -> None:
    """Far off, where all images are equally distant, each rigid plane adds 20 log 2 of pressure.

    Planes apart and touching (cabinet and image one body) alike.
    """
    h, v = (-0.2 if "wall_right" in planes else 0.2), (-0.2 if "above" in planes else 0.2)
    attitude = "on_left_side" if len(planes) == 2 else "upright"
    point = listening_point(WOOFER.position, 400.0, h, v, attitude)  # type: ignore[arg-type]
    w = np.array([0.01])
    alone = paths(BOX, Surroundings(attitude), [WOOFER], point, w, AIR)  # type: ignore[arg-type]
    placed = paths(BOX, Surroundings(attitude, **planes), [WOOFER], point, w, AIR)  # type: ignore[arg-type]
    assert 20.0 * math.log10(abs(placed[0, 0] / alone[0, 0])) == pytest.approx(gain, abs=0.06)


def test_one_plane_is_the_sum_over_one_image() -> None:
    """The floor's image of the listener in the cabinet's own frame, by hand, for each attitude."""
    point = np.array([0.4, 0.9, 2.0])
    cases = {
        "upright": (point, point * [1, -1, 1] + [0, -2 * 0.5, 0]),  # the floor is at y = -0.5
        "on_left_side": (point, point * [-1, 1, 1] + [-2 * 0.5, 0, 0]),  # its left side is below: x = -0.5
        "on_right_side": (point * [-1, 1, 1], np.add(point, [2 * (0.18 + 0.5), 0, 0])),  # x = 0.68
    }
    for attitude, (listener, image) in cases.items():
        found = paths(BOX, Surroundings(attitude, below=0.5), [WOOFER, PORT], listener, W, AIR)  # type: ignore[arg-type]
        both = free_paths(BOX, [WOOFER, PORT], np.array([listener, image]), W, AIR).sum(axis=1)
        np.testing.assert_allclose(found, both, rtol=1e-9)


def test_left_and_right_are_the_front_viewers() -> None:
    """A wall on the right, lying on its left side, is beyond the cabinet's bottom: room x = -y of the cabinet."""
    point = np.array([0.1, 0.6, 2.0])
    found = paths(BOX, Surroundings("on_left_side", wall_right=0.4), [WOOFER], point, W, AIR)
    image = point * [1, -1, 1] + [0, -2 * 0.4, 0]
    both = free_paths(BOX, [WOOFER], np.array([point, image]), W, AIR).sum(axis=1)
    np.testing.assert_allclose(found, both, rtol=1e-9)


def test_both_sides_of_an_axis_bounce_once_each() -> None:
    point = listening_point(WOOFER.position, 2.0)
    planes = Surroundings(below=0.6, above=1.2, wall_behind=0.4)
    images = [point]
    images += [point * [1, -1, 1] + [0, 2 * y, 0] for y in (-0.6, 0.48 + 1.2)]
    images += [i * [1, 1, -1] + [0, 0, 2 * (-0.25 - 0.4)] for i in list(images)]
    summed = free_paths(BOX, [WOOFER], np.array(images), W, AIR).sum(axis=1)
    np.testing.assert_allclose(paths(BOX, planes, [WOOFER], point, W, AIR), summed, rtol=1e-9)


def test_on_the_floor_is_half_of_a_double_cabinet() -> None:
    """Cabinet and image in the floor are one body twice as tall, symmetrical sources above and below."""
    double = Box(0.18, 0.96, 0.25)
    twins = [put("front", (0.07, 0.48 + 0.38), 0.05, double), put("front", (0.07, 0.48 - 0.38), 0.05, double)]
    point = np.array([0.3, 0.7, 1.8])
    whole = free_paths(double, twins, np.add(point, [0, 0.48, 0]), W, AIR)[:, 0].sum(axis=1)
    floor = paths(BOX, Surroundings(below=0.0), [WOOFER], point, W, AIR)[:, 0]
    np.testing.assert_allclose(floor, whole, rtol=1e-9)
    # and no air passes the floor: a listener on it hears its image's pressure, symmetrical about it
    low = [paths(BOX, Surroundings(below=0.0), [WOOFER], np.array([0.3, y, 1.8]), W, AIR) for y in (0.0, 1e-4)]
    np.testing.assert_allclose(low[0], low[1], rtol=1e-4)


def test_flush_on_the_floor_and_just_above_agree_at_low_frequency() -> None:
    point = listening_point(WOOFER.position, 2.0)
    w = 2.0 * math.pi * np.array([30.0, 80.0])
    flush = paths(BOX, Surroundings(below=0.0), [WOOFER], point, w, AIR)
    above = paths(BOX, Surroundings(below=0.02), [WOOFER], point, w, AIR)
    assert np.max(np.abs(20.0 * np.log10(np.abs(flush / above)))) < 0.5


def test_two_woofers_interfere() -> None:
    """Two equal points d apart: -3 dB at sin a = c/(4 f d), -6 dB at c/(3 f d), none at c/(2 f d) (two-source formula).

    In a wall, far off, along the line of the two.
    """
    d, distance = 0.2, 2000.0
    two = [Source(np.array([x, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])) for x in (-d / 2, d / 2)]
    f = 2000.0
    for share, level in ((1 / 4, -3.0103), (1 / 3, -6.0206), (1 / 2, -120.0)):
        angle = math.asin(AIR.speed_of_sound * share / (f * d))
        points = [listening_point(np.zeros(3), distance, h) for h in (angle, 0.0)]
        off, on = (
            paths(None, Surroundings(in_wall=True), two, p, np.array([2 * math.pi * f]), AIR).sum() for p in points
        )
        ratio = abs(off) / abs(on)
        if level > -100.0:
            assert 20.0 * math.log10(ratio) == pytest.approx(level, abs=2e-3)
        else:
            assert ratio < 1e-3


def test_interference_lies_in_the_plane_of_the_two() -> None:
    """Standing, two woofers above each other interfere in the vertical; on its side, in the seating plane."""
    two = [put("front", (0.09, 0.38)), put("front", (0.09, 0.1))]
    w = 2.0 * math.pi * np.array([AIR.speed_of_sound / (2.0 * 0.28 * math.sin(0.6))])
    middle = np.array([0.09, 0.24, 0.0])

    def level(attitude: str, h: float, v: float) -> float:
        point = listening_point(middle, 4.0, h, v, attitude)  # type: ignore[arg-type]
        return float(abs(paths(BOX, Surroundings(attitude), two, point, w, AIR).sum()))  # type: ignore[arg-type]

    assert level("upright", 0.0, 0.6) < 0.25 * level("upright", 0.6, 0.0)
    assert level("on_left_side", 0.6, 0.0) < 0.25 * level("on_left_side", 0.0, 0.6)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Surroundings("askew"), "attitude"),  # type: ignore[arg-type]
        (lambda: Surroundings(below=-0.1), "negative"),
        (lambda: Surroundings(in_wall=True, below=1.0), "infinite wall"),
        (lambda: paths(None, Surroundings(), [WOOFER], np.array([0, 0, 1.0]), W, AIR), "outside measures"),
        (lambda: paths(BOX, Surroundings(below=0.1), [WOOFER], np.array([0, -0.2, 1.0]), W, AIR), "under the floor"),
        (lambda: paths(BOX, Surroundings(wall_behind=0.0), [PORT], np.array([0, 0, 1.0]), W, AIR), "touches"),
        (lambda: paths(BOX, Surroundings(), [WOOFER], np.array([0.1, 0.1, -0.1]), W, AIR), "inside"),
    ],
)
def test_bad_input(call: object, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        call()  # type: ignore[operator]


def test_no_sources() -> None:
    assert paths(BOX, Surroundings(below=0.0), [], np.array([0.0, 0.1, 1.0]), W, AIR).shape == (4, 0)
    assert paths(None, Surroundings(in_wall=True), [], np.array([0.0, 0.1, 1.0]), W, AIR).shape == (4, 0)
