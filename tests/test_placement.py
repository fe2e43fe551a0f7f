"""Attitude, rigid planes and walls against closed forms and against the free field itself."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.air import Air
from enclosures.baffle import Box, Source, free_paths, wall_paths
from enclosures.panels import Panel
from enclosures.placement import PLANES, STEEPEST, Surroundings, listening_point, paths, power_gain, turned
from enclosures.surfaces import reflection

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


# ---- tilted and leaning


@pytest.mark.parametrize("angle", [0.3, -0.45])
def test_tilting_is_moving_the_listener_round(angle: float) -> None:
    """In free air only the direction counts: front turned upward, one listens from so much below; leaning, from where
    the turned room's directions are.
    """

    def heard(h: float, v: float, tilt: float = 0.0, lean: float = 0.0) -> np.ndarray:
        point = listening_point(WOOFER.position, 1.5, h, v, "upright", tilt, lean)
        return paths(BOX, Surroundings(tilt=tilt, lean=lean), [WOOFER, PORT], point, W, AIR)

    np.testing.assert_allclose(heard(0.0, 0.0, tilt=angle), heard(0.0, -angle), rtol=1e-9)
    np.testing.assert_allclose(heard(0.0, 0.2, tilt=angle), heard(0.0, 0.2 - angle), rtol=1e-9)
    # turned about the very line one listens along, nothing changes
    np.testing.assert_allclose(heard(0.0, 0.0, lean=angle), heard(0.0, 0.0), rtol=1e-9)
    # off that line its top has gone to the right: the listener on the right is now nearer the top
    off = 0.4
    h = math.atan2(math.sin(off) * math.cos(angle), math.cos(off))
    v = math.asin(math.sin(off) * math.sin(angle))
    np.testing.assert_allclose(heard(off, 0.0, lean=angle), heard(h, v), rtol=1e-9)


def test_neither_tilted_nor_leaning_is_as_before() -> None:
    for attitude in ("upright", "on_left_side", "on_right_side"):
        still = listening_point(WOOFER.position, 2.0, 0.2, 0.1, attitude)  # type: ignore[arg-type]
        point = listening_point(WOOFER.position, 2.0, 0.2, 0.1, attitude, 0.0, -0.0)  # type: ignore[arg-type]
        np.testing.assert_array_equal(point, still)
    at = Surroundings("upright", below=0.0, wall_behind=0.3)
    tiny = Surroundings("upright", below=0.0, wall_behind=0.3, tilt=1e-12, lean=-1e-12)
    first, second = (paths(BOX, each, [WOOFER], still, W, AIR) for each in (at, tiny))
    np.testing.assert_allclose(second, first, rtol=1e-9)
    np.testing.assert_allclose(
        turned("on_left_side", 0.3, 0.2).T @ turned("on_left_side", 0.3, 0.2), np.eye(3), atol=1e-15
    )


def test_tilted_on_the_floor_it_stands_on_its_rear_edge() -> None:
    """The floor is at the lowest corner, 0.25 sin 20 below the front's foot; its image of the listener, by hand."""
    tilt = math.radians(20.0)
    point = listening_point(WOOFER.position, 2.0, 0.0, 0.0, "upright", tilt)
    normal = np.array([0.0, math.cos(tilt), math.sin(tilt)])  # the room's upward direction, as the cabinet sees it
    floor = -0.25 * math.sin(tilt)
    image = point - 2.0 * (normal @ point - floor) * normal
    both = free_paths(BOX, [WOOFER], np.array([point, image]), W, AIR).sum(axis=1)
    np.testing.assert_allclose(paths(BOX, Surroundings(below=0.0, tilt=tilt), [WOOFER], point, W, AIR), both, rtol=1e-9)


def test_leaning_it_still_touches_the_wall_with_its_back() -> None:
    """About the wall's own normal nothing changes but where the listener is."""
    lean = 0.3
    leaning, straight = Surroundings(wall_behind=0.0, lean=lean), Surroundings(wall_behind=0.0)
    point = listening_point(WOOFER.position, 1.5, 0.4, 0.0, "upright", 0.0, lean)
    found = paths(BOX, leaning, [WOOFER], point, W, AIR)
    np.testing.assert_allclose(found, paths(BOX, straight, [WOOFER], point, W, AIR), rtol=1e-9)


# ---- surfaces


def test_a_surface_multiplies_its_image() -> None:
    point = listening_point(WOOFER.position, 2.0)
    r = {name: reflection(name, W / (2 * math.pi))[:, None] for name in ("carpet", "plaster")}
    planes = Surroundings(below=0.6, wall_behind=0.4, surfaces={"below": "carpet", "wall_behind": "plaster"})
    mirrors = np.array([[1, 1, 1], [1, -1, 1], [1, 1, -1], [1, -1, -1]]), np.array([[0, -1.2, 0], [0, 0, -1.3]])
    shifts = np.array([[0, 0, 0], mirrors[1][0], mirrors[1][1], mirrors[1].sum(axis=0)])
    each = free_paths(BOX, [WOOFER], point * mirrors[0] + shifts, W, AIR)
    by_hand = (
        each[:, 0] + r["carpet"] * each[:, 1] + r["plaster"] * each[:, 2] + r["carpet"] * r["plaster"] * each[:, 3]
    )
    np.testing.assert_allclose(paths(BOX, planes, [WOOFER], point, W, AIR), by_hand, rtol=1e-9)


def test_rigid_said_or_not_is_the_same_to_the_last_digit() -> None:
    point = listening_point(WOOFER.position, 2.0, 0.0, 0.1)
    planes = {"below": 0.0, "wall_behind": 0.3, "wall_left": 1.0}
    said = Surroundings(**planes, surfaces=dict.fromkeys(planes, "rigid"))  # type: ignore[arg-type]
    for first, second in ((Surroundings(**planes), said), (Surroundings(), Surroundings(surfaces={}))):  # type: ignore[arg-type]
        found = [paths(BOX, each, [WOOFER, PORT], point, W, AIR) for each in (first, second)]
        np.testing.assert_array_equal(found[0], found[1])


def test_touching_a_surface_lies_between_one_body_and_none() -> None:
    """Far off at low frequency, where a plane doubles the pressure, one with |R| makes it 1 + |R| times as much."""
    point = listening_point(WOOFER.position, 400.0, 0.0, 0.2)
    w = np.array([0.01])
    alone = paths(BOX, Surroundings(), [WOOFER], point, w, AIR)
    found = paths(BOX, Surroundings(below=0.0, surfaces={"below": "glass"}), [WOOFER], point, w, AIR)
    assert abs(found[0, 0] / alone[0, 0]) == pytest.approx(1.0 + math.sqrt(1.0 - 0.35), abs=0.01)
    corner = Surroundings(below=0.0, wall_behind=0.0, surfaces={"below": "glass"})
    found = paths(BOX, corner, [WOOFER], point, w, AIR)
    assert abs(found[0, 0] / alone[0, 0]) == pytest.approx(2.0 * (1.0 + math.sqrt(1.0 - 0.35)), abs=0.03)


# ---- panels


@pytest.mark.parametrize("distance", [0.0, 0.3])
@pytest.mark.parametrize("side", ["below", "left"])
def test_a_panel_tends_to_the_plane_and_to_nothing(distance: float, side: str) -> None:
    h, v = 0.1, 0.2
    point = listening_point(WOOFER.position, 1.5, h, v)
    plane = Surroundings(**{{"left": "wall_left"}.get(side, side): distance})  # type: ignore[arg-type]
    alone = paths(BOX, Surroundings(), [WOOFER], point, W, AIR)
    large = Panel(side, distance, 1e9, 1e9, 1e9)  # type: ignore[arg-type]
    small = Panel(side, distance, 1e-7 - 0.25, 1e-4, 1e-4)  # type: ignore[arg-type]
    # it begins at the cabinet's back, and what such an edge still takes is 1/(pi v), with v as the root of frequency
    w = 2.0 * math.pi * np.array([2500.0, 20e3])
    infinite, found, free = (
        paths(BOX, each, [WOOFER], point, w, AIR) for each in (plane, Surroundings(panels=(large,)), Surroundings())
    )
    missing = np.abs((found - infinite) / (infinite - free))[:, 0]
    assert missing[1] < 0.025
    assert missing[0] / missing[1] == pytest.approx(math.sqrt(8.0), rel=0.05)
    nothing = paths(BOX, Surroundings(panels=(small,)), [WOOFER], point, W, AIR)
    np.testing.assert_allclose(nothing, alone, rtol=1e-3)
    # and any panel to nothing at low frequency: its share of the Fresnel zones goes with the frequency
    w = 2.0 * math.pi * np.array([0.5])
    shelf = Surroundings(panels=(Panel(side, distance, 0.3, 0.8, 0.8),))  # type: ignore[arg-type]
    low = paths(BOX, shelf, [WOOFER], point, w, AIR) / paths(BOX, Surroundings(), [WOOFER], point, w, AIR)
    assert abs(20.0 * math.log10(abs(low[0, 0]))) < 0.02


def test_a_board_let_into_the_floor_changes_nothing() -> None:
    """Babinet: what it covers of a rigid floor, it takes away of it."""
    point = listening_point(WOOFER.position, 1.5, 0.0, 0.1)
    board = Panel("below", 0.3, 0.4, 0.9)
    floor, both = Surroundings(below=0.3), Surroundings(below=0.3, panels=(board,))
    first, second = (paths(BOX, each, [WOOFER, PORT], point, W, AIR) for each in (floor, both))
    np.testing.assert_allclose(second, first, rtol=1e-12)


def test_a_panel_in_the_way_casts_a_shadow() -> None:
    """A deep cheek between woofer and listener: nearly silent at high frequency, free at low; none of it beside it."""
    point = listening_point(WOOFER.position, 2.0, 0.9)
    w = 2.0 * math.pi * np.array([0.5, 2e4])
    alone = np.abs(paths(BOX, Surroundings(), [WOOFER], point, w, AIR))
    deep, flush = (
        np.abs(paths(BOX, Surroundings(panels=(Panel("right", 0.02, front, height=1.2),)), [WOOFER], point, w, AIR))
        for front in (0.5, 0.0)
    )
    assert deep[0, 0] == pytest.approx(alone[0, 0], rel=0.02)
    assert deep[1, 0] < 0.1 * alone[1, 0]
    assert flush[1, 0] == pytest.approx(alone[1, 0], rel=0.1)


# ---- radiated power


CUBE = Box(0.02, 0.02, 0.02)
POINT = put("front", (0.01, 0.01), box=CUBE)
NEAR = (("wall_left", 0.01), ("below", 0.01), ("wall_behind", 0.02))  # the source's distance from that side of the cube
ONE = np.ones((1, 1), dtype=complex)


def near(distance: float, count: int, **more: object) -> Surroundings:
    """A point `distance` from as many planes."""
    return Surroundings(**{name: distance - own for name, own in NEAR[:count]}, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(("count", "place", "level"), [(1, 0.3576, -1.064), (2, 0.3188, -2.857), (3, 0.2814, -11.365)])
def test_least_power_near_planes(count: int, place: float, level: float) -> None:
    """A point as far from one, two, three planes: the first minimum, in dB re its power in free space (Allison, J.
    Audio Eng. Soc. 22, 1974, 314; Waterhouse, J. Acoust. Soc. Am. 27, 1955, 247). Close to them it gives off 2, 4, 8
    times as much.
    """
    wavelength = 1.0
    w = np.array([2.0 * math.pi * AIR.speed_of_sound / wavelength])
    distances = place + np.linspace(-0.03, 0.03, 601)
    gains = [power_gain(CUBE, near(d, count), [POINT], ONE, w, AIR)[0] for d in distances]
    least = int(np.argmin(gains))
    assert distances[least] == pytest.approx(place, abs=1e-4)
    assert 10.0 * math.log10(gains[least]) == pytest.approx(level, abs=2e-3)
    slow = np.array([1e-3])
    assert power_gain(CUBE, near(0.1, count), [POINT], ONE, slow, AIR)[0] == pytest.approx(2.0**count, rel=1e-9)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_power_is_what_passes_a_far_sphere(count: int) -> None:
    """Two sources out of phase near planes: the intensity integrated over the half, quarter or eighth of a sphere that
    the planes leave, by Gauss-Legendre points, against the same over a whole sphere in free space.
    """
    other = put("right", (0.015, 0.005), box=CUBE)
    sources, flow = [POINT, other], np.array([[1.0, -0.4 + 0.7j]])
    w = np.array([2.0 * math.pi * 700.0])
    k, around = float(w[0]) / AIR.speed_of_sound, near(0.17, count)
    planes = {PLANES[name][0]: (0.0 if axis < 2 else -0.02) - getattr(around, name) for axis, (name, _) in
              enumerate(NEAR[:count])}  # fmt: skip

    nodes, weights = np.polynomial.legendre.leggauss(40)
    cosine, phi = 0.5 * (nodes + 1.0), 0.25 * math.pi * (nodes + 1.0)  # one eighth
    sine = np.sqrt(1.0 - cosine**2)[:, None]
    octant = np.stack(np.broadcast_arrays(sine * np.cos(phi), sine * np.sin(phi), cosine[:, None]), axis=-1)
    area = 0.125 * math.pi * weights[:, None] * weights

    def passes(mirrored: dict[int, float]) -> float:
        images: list[np.ndarray] = [np.array([source.position for source in sources])]
        for axis, plane in mirrored.items():
            flip = np.where(np.arange(3) == axis, -1.0, 1.0)
            images += [image * flip + (1.0 - flip) * plane for image in images]
        total = 0.0
        free = [axis for axis in range(3) if axis not in mirrored]
        for signs in np.ndindex(*(2 if axis in free else 1 for axis in range(3))):
            directions = octant * (1.0 - 2.0 * np.array(signs))
            far = sum(np.exp(1j * k * directions @ image.T) @ flow[0] for image in images)
            total += float(np.sum(area * np.abs(far) ** 2))
        return total

    assert power_gain(CUBE, around, sources, flow, w, AIR)[0] == pytest.approx(passes(planes) / passes({}), rel=1e-9)


def test_power_in_a_wall_and_with_surfaces() -> None:
    """Flush in a wall a point gives off twice its power; a plane with |R| has that share of what it would do rigid."""
    w = 2.0 * math.pi * np.array([50.0, 400.0])
    one = np.ones((2, 1), dtype=complex)
    np.testing.assert_allclose(power_gain(None, Surroundings(in_wall=True), [POINT], one, w, AIR), 2.0)
    np.testing.assert_allclose(power_gain(CUBE, Surroundings(tilt=0.2), [POINT], one, w, AIR), 1.0)
    x = 2.0 * w / AIR.speed_of_sound * 0.3
    r = reflection("curtain", w / (2.0 * math.pi))
    found = power_gain(CUBE, near(0.3, 1, surfaces={"wall_left": "curtain"}), [POINT], one, w, AIR)
    np.testing.assert_allclose(found, 1.0 + r * np.sin(x) / x, rtol=1e-12)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Surroundings(tilt=1.01 * STEEPEST), "30 degrees"),
        (lambda: Surroundings(lean=-0.6), "30 degrees"),
        (lambda: Surroundings(tilt=math.nan), "30 degrees"),
        (lambda: Surroundings(in_wall=True, tilt=0.1), "not tilted"),
        (lambda: Surroundings(in_wall=True, panels=(Panel("below", 0.1),)), "infinite wall"),
        (lambda: Surroundings(surfaces={"below": "carpet"}), "no such plane"),
        (lambda: Surroundings(below=0.1, surfaces={"below": "velvet"}), "a surface must be"),  # type: ignore[dict-item]
        (lambda: power_gain(None, Surroundings(), [POINT], ONE, np.array([1.0]), AIR), "outside measures"),
        (lambda: power_gain(CUBE, Surroundings(), [POINT], 0 * ONE, np.array([1.0]), AIR), "nothing"),
        (lambda: paths(BOX, Surroundings(panels=(Panel("behind", 0.0),)), [PORT], np.array([0, 0, 1.0]), W, AIR),
         "touches"),
    ],
)  # fmt: skip
def test_more_bad_input(call: object, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        call()  # type: ignore[operator]


def test_no_sources() -> None:
    assert paths(BOX, Surroundings(below=0.0), [], np.array([0.0, 0.1, 1.0]), W, AIR).shape == (4, 0)
    assert paths(None, Surroundings(in_wall=True), [], np.array([0.0, 0.1, 1.0]), W, AIR).shape == (4, 0)
