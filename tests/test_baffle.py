"""The cabinet in free air: published and boundary-element values, limits, symmetry, continuity, energy."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from enclosures.air import Air
from enclosures.baffle import FADE, Box, Source, _surrounding, free_paths, wall_paths
from enclosures.boundary import box_body, surface_pressure
from enclosures.interpolation import evenly

AIR = Air(1.2041, 343.21)
SLIM = Box(0.18, 0.48, 0.25)
CUBE = Box(0.3, 0.3, 0.3)

# A 300 mm cube, piston of 20 mm radius in the middle of its front, 2 m on its axis and 30 degrees off, against the same
# piston in an infinite wall at 2 m: Hz, dB, dB. From an independent boundary-element solution with 20 mm panels.
CUBE_TABLE = (
    (50.0, -5.45, -5.54), (101.3, -5.23, -5.38), (205.2, -3.76, -4.11), (313.4, -1.99, -2.40), (415.6, -0.78, -1.34),
    (551.2, 1.82, 0.69), (731.1, 3.20, 2.09), (969.6, 3.63, 1.89), (1286.0, 2.50, 1.13), (1705.5, -2.89, 1.10),
    (1964.0, -4.31, 0.87), (2262.0, -1.55, -0.19),
)  # fmt: skip


def put(box: Box, face: str, at: tuple[float, float], radius: float = 0.0, set_back: float = 0.0) -> Source:
    return Source(*box.point(face, at), radius, set_back)  # type: ignore[arg-type]


def decibels(ratio: NDArray[np.complex128] | NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(20.0 * np.log10(np.abs(ratio)))


def omega(*frequency: float) -> NDArray[np.float64]:
    return 2.0 * math.pi * np.array(frequency)


def test_cutouts_from_outside_each_face() -> None:
    places = {
        "front": ((0.05, 0.4, 0.0), (0, 0, 1)),
        "rear": ((0.13, 0.4, -0.25), (0, 0, -1)),
        "left": ((0.0, 0.4, -0.2), (-1, 0, 0)),
        "right": ((0.18, 0.4, -0.05), (1, 0, 0)),
    }
    for face, (position, normal) in places.items():
        found = SLIM.point(face, (0.05, 0.4))  # type: ignore[arg-type]
        np.testing.assert_allclose(found[0], position, atol=1e-15)
        np.testing.assert_allclose(found[1], normal)
    np.testing.assert_allclose(SLIM.point("top", (0.05, 0.04))[0], (0.05, 0.48, -0.04))
    np.testing.assert_allclose(SLIM.point("bottom", (0.05, 0.04))[0], (0.05, 0.0, -0.21))


def test_cube_in_absolute_level() -> None:
    """Within 0.15 dB of the table to 1.3 kHz and 0.55 dB above.

    At 1705 Hz the table says -2.89 on the axis, we -2.46: the cube's inside resonates at 1716 Hz, where such solutions
    converge slowly (its own panels at 15 and 11.5 mm give -2.78 and -2.65). A combined-field solution, which knows no
    such resonances (bempp, 1728 triangles), says -2.48 and 1.29 there, and 2.63 and 1.35 at 1286 Hz: ours to 0.03 dB.
    """
    table = np.array(CUBE_TABLE)
    source = put(CUBE, "front", (0.15, 0.15), 0.02)
    turned = math.radians(30.0)
    listeners = source.position + 2.0 * np.array([[0, 0, 1], [math.sin(turned), 0, math.cos(turned)]])
    found = free_paths(CUBE, [source], listeners, omega(*table[:, 0]), AIR)[:, :, 0]
    wall = wall_paths([source], listeners[:1], omega(*table[:, 0]), AIR)[:, :, 0]
    error = np.abs(decibels(found / wall) - table[:, 1:])
    low = table[:, 0] < 1300.0
    assert np.max(error[low]) < 0.15
    assert np.max(error) < 0.55


@pytest.mark.parametrize(
    ("box", "face", "at"),
    [
        (SLIM, "front", (0.06, 0.38)),
        (SLIM, "rear", (0.09, 0.1)),
        (Box(0.45, 0.6, 0.15), "top", (0.1, 0.06)),
        (Box(0.24, 0.3, 0.4), "left", (0.3, 0.2)),
    ],
)
def test_all_round_against_fine_boundary_elements(box: Box, face: str, at: tuple[float, float]) -> None:
    """Edges and coarse elements joined, against six times as many elements alone, 24 directions and near by.

    Elements alone mean nothing near the inside's resonances: the last frequency lies between two for each box.
    """
    source = put(box, face, at)
    centre = 0.5 * (box.low + box.high)
    angle = np.radians(np.arange(0.0, 360.0, 30.0))
    across = np.stack([np.sin(angle), 0.0 * angle, np.cos(angle)], axis=1)
    upright = np.stack([0.0 * angle, np.sin(angle), np.cos(angle)], axis=1)
    listeners = centre + np.concatenate([1.5 * across, 1.2 * upright, [[0, 0, 0.3 + box.depth / 2]]])
    resonance = box.interior_resonance(AIR.speed_of_sound)
    w = 2.0 * math.pi * resonance * np.array([0.0, 0.1, 0.3, 0.5, 0.62, 0.76, 1.16])
    step = w[1] / 343.21 / 5.0  # 0.02 of the resonance
    counts = [max(3, math.ceil(0.5 * side / (0.4 * box.panel))) for side in box.high - box.low]
    body = box_body(box.high - box.low, counts)
    every = surface_pressure(body, source.position[None] - centre, listeners - centre, step, 59)
    exact = 2.0 * math.pi * every[np.rint(w / (343.21 * step)).astype(int)]
    found = free_paths(box, [source], listeners, w, AIR)
    r = np.linalg.norm(listeners - source.position, axis=1)[:, None]
    error = np.max(np.abs(found - exact) * r, axis=(1, 2))  # of the infinite wall's pressure
    assert np.all(error[:5] < 0.025), error
    assert np.all(error[5:] < 0.08), error
    front = (listeners - source.position) @ source.normal > 0.3 * r[:, 0]
    assert np.max(np.abs(decibels(found / exact))[:5][:, front]) < 0.2
    assert np.max(np.abs(decibels(found / exact))[:, front]) < 0.5


def test_half_space_at_high_frequency() -> None:
    """What the edges add to the infinite wall falls, and in the end as 1/sqrt(k), sqrt(2) an octave."""
    source = put(SLIM, "front", (0.055, 0.37))
    listeners = source.position + np.array([[0.25, 0.1, 1.0], [0.02, 0.1, 1.0], [0.0, 0.0, 1.0], [0.6, 0.2, 0.8]])
    added = []
    for low in (2e3, 16e3, 32e3):
        w = 2.0 * math.pi * np.linspace(low, 2.0 * low, 200)
        ratio = free_paths(SLIM, [source], listeners, w, AIR) / wall_paths([source], listeners, w, AIR)
        added.append(float(np.sqrt(np.mean(np.abs(ratio - 1.0) ** 2))))
    assert added[0] > 2.0 * added[1]
    assert added[1] / added[2] == pytest.approx(math.sqrt(2.0), rel=0.15)
    assert added[2] < 0.05


def test_full_space_at_low_frequency() -> None:
    """Far off every source is 6.02 dB below the wall; near by less, in front: the acoustic centre lies ahead."""
    sources = [put(SLIM, "front", (0.09, 0.38)), put(SLIM, "rear", (0.09, 0.1)), put(SLIM, "top", (0.03, 0.2))]
    far = np.array([[0.0, 0.0, 300.0], [-300.0, 20.0, 0.0], [10.0, 0.0, -300.0]])
    ratio = free_paths(SLIM, sources, far, np.zeros(1), AIR) / wall_paths_anywhere(sources, far)
    np.testing.assert_allclose(decibels(ratio), -6.02, atol=0.02)
    ahead_and_behind = np.add(sources[0].position, [[0.0, 0.0, 1.0], [0.0, 0.0, -1.25]])
    near = free_paths(SLIM, sources[:1], ahead_and_behind, np.zeros(1), AIR)
    assert float(np.abs(near[0, 0, 0])) > 0.5 > 0.5 * 1.02 * 1.25 * float(np.abs(near[0, 1, 0]))
    # moving back, 1/(2 G) tends to r plus a constant: the shift of the acoustic centre
    shifts = []
    for r in (4.0, 8.0, 16.0):
        g = free_paths(SLIM, sources[:1], np.add(sources[0].position, [[0.0, 0.0, r]]), np.zeros(1), AIR)[0, 0, 0].real
        shifts.append(r - 0.5 / g)
    assert 0.03 < shifts[2] < 0.15
    assert abs(shifts[2] - shifts[1]) < 0.6 * abs(shifts[1] - shifts[0])


def wall_paths_anywhere(sources: list[Source], listeners: NDArray[np.float64]) -> NDArray[np.float64]:
    """1/r, whichever way a source faces."""
    r = [np.linalg.norm(listeners - source.position, axis=1) for source in sources]
    return np.asarray(1.0 / np.stack(r, axis=1))[None]


@pytest.mark.parametrize("box", [CUBE, Box(0.19, 1.06, 0.28), Box(0.3, 0.3, 0.3, 0.06)])
def test_power_summed_over_all_directions(box: Box) -> None:
    """It is volume velocity squared times the radiation resistance, which is told by the pressure before the source:
    what of it is in step with the motion is alike near the source (5 cm). To ka 0.3, half a side of the cube being a,
    both are that of a point in full space, the mean of |G r|^2 being 1/4: all within 0.1 dB."""
    source = put(box, "front", (0.1, 0.6 * box.height))
    t, w = np.polynomial.legendre.leggauss(8)
    phi = 2.0 * math.pi * np.arange(16) / 16.0
    sine = np.sqrt(1.0 - t * t)[:, None]
    flat = np.broadcast_to(t[:, None], (8, 16))
    directions = np.stack([sine * np.cos(phi), sine * np.sin(phi), flat], axis=2).reshape(-1, 3)
    centre = 0.5 * (box.low + box.high)
    k = np.array([0.02, 0.1, 0.2, 0.3]) / 0.15
    found = free_paths(box, [source], centre + 30.0 * directions, k * AIR.speed_of_sound, AIR)[:, :, 0]
    power = 10.0 * np.log10(4.0 * np.abs(30.0 * found) ** 2 @ np.repeat(w / 32.0, 16))
    near = source.position + 0.05 * source.normal
    before = free_paths(box, [source], near[None], k * AIR.speed_of_sound, AIR)[:, 0, 0]
    resistance = 10.0 * np.log10(-2.0 * before.imag / k)  # over that in full space, omega k rho/(4 pi)
    assert np.all(np.abs(power) < [0.01, 0.1, 0.1, 0.1])
    assert np.all(np.abs(power - resistance)[1:] < 0.1)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_mirror_image(axis: int) -> None:
    """A mirrored cabinet with mirrored sources is heard alike by a mirrored listener, to 1e-9."""
    sources = [put(SLIM, "front", (0.06, 0.38), 0.05), put(SLIM, "left", (0.05, 0.1)), put(SLIM, "bottom", (0.1, 0.1))]
    listeners = np.array([[0.7, 0.9, 1.1], [0.3, 0.2, -0.8], [0.9, 0.48, 0.0]])
    flip = np.where(np.arange(3) == axis, -1.0, 1.0)
    about = (SLIM.low + SLIM.high) * (np.arange(3) == axis)
    mirrored = [Source(s.position * flip + about, s.normal * flip, s.radius) for s in sources]
    w = omega(30.0, 300.0, 900.0, 3e3, 15e3)
    one = free_paths(SLIM, sources, listeners, w, AIR)
    two = free_paths(SLIM, mirrored, listeners * flip + about, w, AIR)
    np.testing.assert_allclose(two, one, rtol=1e-9, atol=1e-11)


def largest_step(points: NDArray[np.float64]) -> float:
    """The largest step of G r between neighbours among listeners, delay removed, over sources and frequencies."""
    sources = [put(SLIM, "front", (0.06, 0.38)), put(SLIM, "rear", (0.09, 0.1)), put(SLIM, "left", (0.2, 0.4))]
    w = omega(100.0, 500.0, 900.0, 2e3, 8e3)
    found = free_paths(SLIM, sources, points, w, AIR)
    r = np.stack([np.linalg.norm(points - s.position, axis=1) for s in sources], axis=1)
    even = found * r * np.exp(1j * w[:, None, None] * r / AIR.speed_of_sound)
    assert np.all(np.isfinite(even))
    assert np.max(np.abs(even)) < 3.0
    return float(np.max(np.abs(np.diff(even, axis=1))))


TINY = np.concatenate([-np.geomspace(1e-12, 1e-4, 9)[::-1], [0.0], np.geomspace(1e-12, 1e-4, 9)])


@pytest.mark.parametrize(
    ("place", "direction"),
    [
        ((2.0, 0.3, 0.0), (0, 0, 1)),  # across the plane of the front, beside
        ((1.2, 1.3, 0.0), (0, 0, 1)),
        ((0.06 + 1.2, 0.38 + 1.0, 0.0), (0, 0, 1)),  # over the front's corner as the woofer sees it
        ((1.2, 0.3, -0.25), (0, 0, 1)),  # across the plane of the rear
        ((0.0, 0.3, -1.5), (1, 0, 0)),  # behind, across the planes of the sides and the top
        ((0.18, 0.3, 1.5), (1, 0, 0)),
        ((0.1, 0.48, -1.0), (0, 1, 0)),
        ((0.0, 0.9, 0.0), (1, 0, 0)),  # on an edge's own line beyond its end
        ((0.0, 0.9, 0.0), (1, 0, 1)),
        ((0.7, 0.0, -0.25), (0, 1, 1)),
    ],
)
def test_continuous_across_every_boundary(place: tuple[float, ...], direction: tuple[int, ...]) -> None:
    """Over shadow boundaries, exactly on them, and in the planes and lines of faces and edges: no step, no spike."""
    points = np.array(place) + TINY[:, None] * np.array(direction)
    assert largest_step(points) < 2e-3


def test_smooth_all_round() -> None:
    """A degree further on changes G r by little more than the phase of waves round the body does."""
    angle = np.radians(np.arange(130.0, 281.0, 1.0))
    circle = np.array([0.09, 0.24, -0.125]) + 1.0 * np.stack([np.sin(angle), 0 * angle, np.cos(angle)], axis=1)
    assert largest_step(circle) < 0.08


def test_a_large_front_is_a_wall() -> None:
    """With the edges 1.5 m away their waves are weak, and none has arrived in the first 2 m of path: the echo-free part
    of the impulse response is the wall's. Here by the level: within 0.8 dB at every frequency."""
    box = Box(3.0, 3.2, 1.0)
    source = put(box, "front", (1.45, 1.7))
    listener = source.position + np.array([[0.1, 0.05, 0.3]])
    w = 2.0 * math.pi * np.geomspace(200.0, 5e3, 60)
    ratio = free_paths(box, [source], listener, w, AIR) / wall_paths([source], listener, w, AIR)
    assert np.max(np.abs(decibels(ratio))) < 0.8


def test_set_back_is_a_delay() -> None:
    listener = np.array([[0.09, 0.38, 1.0], [1.09, 0.38, 0.0]])
    flush, back = put(SLIM, "front", (0.09, 0.38)), put(SLIM, "front", (0.09, 0.38), 0.0, 0.02)
    w = omega(1000.0)
    for way in (lambda s: free_paths(SLIM, [s], listener, w, AIR), lambda s: wall_paths([s], listener, w, AIR)):
        ratio = (way(back) / way(flush))[0, :, 0]
        assert np.angle(ratio[0]) == pytest.approx(-w[0] * 0.02 / AIR.speed_of_sound)
        assert np.angle(ratio[1]) == pytest.approx(0.0, abs=1e-12)


def test_pistons_in_a_wall() -> None:
    """D e^{-jkr}/r: the first zero at ka sin = 3.8317 (NIST DLMF 10.21)."""
    source = put(SLIM, "front", (0.09, 0.38), 0.05)
    k = 3.8317059702 / (0.05 * math.sin(math.radians(60.0)))
    turned = math.radians(60.0)
    listeners = source.position + np.array([[0, 0, 2.0], [2.0 * math.sin(turned), 0, 2.0 * math.cos(turned)]])
    found = wall_paths([source], listeners, np.array([k]) * AIR.speed_of_sound, AIR)[0, :, 0]
    assert found[0] == pytest.approx(np.exp(-2j * k) / 2.0)
    assert abs(found[1]) < 1e-9


def test_the_piston_average_of_point_sources() -> None:
    """What D(ka) leaves out of edge waves: within 0.35 dB in front, for a piston over 0.7 of the width, to ka = 2.5."""
    at, radius = (0.09, 0.38), 0.065
    t, weight = np.polynomial.legendre.leggauss(4)
    rings = radius * np.sqrt(0.5 * (t + 1.0))
    points = [
        put(SLIM, "front", (at[0] + ring * math.cos(phi), at[1] + ring * math.sin(phi)))
        for ring, phi in itertools.product(rings, 2.0 * math.pi * np.arange(9) / 9.0)
    ]
    w = omega(100.0, 400.0, 800.0, 1300.0, 2000.0)
    listeners = np.array([*at, 0.0]) + np.array([[0, 0, 1.0], [0.5, 0, math.sqrt(0.75)], [0, 0.5, math.sqrt(0.75)]])
    mean = free_paths(SLIM, points, listeners, w, AIR) @ np.repeat(weight / 18.0, 9)
    piston = free_paths(SLIM, [put(SLIM, "front", at, radius)], listeners, w, AIR)[:, :, 0]
    assert np.max(np.abs(decibels(piston / mean))) < 0.35


def test_grid_of_frequencies_does_not_matter() -> None:
    """One frequency alone or among many: the same number."""
    source = put(SLIM, "rear", (0.09, 0.2))
    listener = np.array([[0.09, 0.2, 1.5]])
    w = 2.0 * math.pi * np.geomspace(20.0, 20e3, 50)
    many = free_paths(SLIM, [source], listener, w, AIR)
    np.testing.assert_allclose(free_paths(SLIM, [source], listener, w[[17]], AIR)[0], many[17], rtol=1e-10)


def test_the_correction_is_well_interpolated(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twice as many nodes for the boundary elements change nothing by 0.02 dB."""
    sources = [put(SLIM, "front", (0.06, 0.38)), put(SLIM, "rear", (0.09, 0.1))]
    listeners = np.array([[0.6, 0.6, 1.5], [0.1, 0.1, -1.5]])
    w = 2.0 * math.pi * np.geomspace(20.0, FADE[1] * SLIM.interior_resonance(343.21), 40)
    usual = free_paths(SLIM, sources, listeners, w, AIR)
    monkeypatch.setattr("enclosures.baffle.evenly", lambda step, count: evenly(0.5 * step, 2 * count - 1))
    _surrounding.cache_clear()
    finer = free_paths(SLIM, sources, listeners, w, AIR)
    _surrounding.cache_clear()
    assert np.max(np.abs(decibels(finer / usual))) < 0.02


@pytest.mark.parametrize("radius", [0.0, 0.03])
def test_the_two_parts_agree_where_they_meet(monkeypatch: pytest.MonkeyPatch, radius: float) -> None:
    """Boundary elements handed over at 0.62 of the interior resonance or at 0.88 of it: the same level in front within
    0.3 dB in between, where one result is edges alone and the other boundary elements alone."""
    box = replace(SLIM, edge_radius=radius)
    sources = [put(box, "front", (0.07, 0.38)), put(box, "front", (0.1, 0.15))]
    directions = np.array([[0.0, 0.0, 1.0], [0.5, 0.0, 0.866], [0.0, 0.5, 0.866], [0.0, -0.5, 0.866]])
    listeners = sources[0].position + 1.5 * directions
    w = 2.0 * math.pi * box.interior_resonance(343.21) * np.linspace(0.64, 0.88, 13)
    found = []
    for fade in ((0.62, 0.64), (0.88, 0.9)):
        monkeypatch.setattr("enclosures.baffle.FADE", fade)
        _surrounding.cache_clear()
        found.append(free_paths(box, sources, listeners, w, AIR))
    _surrounding.cache_clear()
    assert np.max(np.abs(decibels(found[0] / found[1]))) < 0.3


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Box(0.0, 0.3, 0.3), "above zero"),
        (lambda: Box(math.nan, 0.3, 0.3), "above zero"),
        (lambda: SLIM.point("front", (0.2, 0.1)), "not on the front"),
        (lambda: SLIM.point("top", (0.1, 0.3)), "not on the top"),
        (lambda: free_paths(SLIM, [put(SLIM, "front", (0.1, 0.1))], np.array([0.1, 0.1, -0.1]), omega(1.0), AIR), "in"),
        (lambda: free_paths(SLIM, [Source(np.zeros(3), np.array([0, 0, 1.0]))], np.ones(3), omega(1.0), AIR), "face"),
        (lambda: wall_paths([put(SLIM, "front", (0.1, 0.1))], np.array([0.1, 0.1, -1.0]), omega(1.0), AIR), "behind"),
        (lambda: wall_paths([put(SLIM, "front", (0.1, 0.1))], np.array([0.1, 0.1, 0.0]), omega(1.0), AIR), "in a so"),
    ],
)
def test_bad_input(call: object, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        call()  # type: ignore[operator]
