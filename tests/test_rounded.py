"""Rounded edges: the table against its own calculation and that against laws; whole cabinets against other elements."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from enclosures.air import Air
from enclosures.baffle import Box, Source, _bodies, free_paths, wall_paths
from enclosures.rounded import TOP, change, share
from tests.support_diffraction import rounded_edge, rounded_wedge

AIR = Air(1.2041, 343.21)
BOOK = Box(0.20, 0.34, 0.26)
DIRECTIONS = np.array(  # ahead, and 30 degrees up, down, left and right
    [[0.0, 0.0, 1.0], [0.0, 0.5, 0.75**0.5], [0.0, -0.5, 0.75**0.5], [-0.5, 0.0, 0.75**0.5], [0.5, 0.0, 0.75**0.5]]
)


def put(box: Box, face: str, at: tuple[float, float], radius: float = 0.0) -> Source:
    return Source(*box.point(face, at), radius)  # type: ignore[arg-type]


def decibels(ratio: NDArray[np.complex128] | NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(20.0 * np.log10(np.abs(ratio)))


def beta(angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """A sharp edge's weight by Keller's coefficient: cot(nu (pi + angle)/2) + cot(nu (pi - angle)/2), nu = 2/3 (Keller,
    J. Opt. Soc. Am. 52, 1962, for a rigid wedge with the source on a face; from memory)."""
    return np.asarray(1.0 / np.tan((math.pi + angle) / 3.0) + 1.0 / np.tan((math.pi - angle) / 3.0))


@pytest.mark.parametrize(("kappa", "size", "within"), [(0.1, 0.06, 1e-5), (2.0, 0.06, 1e-3), (8.0, 0.02, 4e-3)])
def test_the_calculation_loses_no_energy(kappa: float, size: float, within: float) -> None:
    """J = (H1 + H2)/2, so 1 + 2 T takes waves that come in to waves that go out: unitary where nothing is absorbed, and
    symmetric by reciprocity, once each order counts by the root of its power."""
    t = rounded_wedge(kappa, size)
    power = np.sqrt(np.where(np.arange(len(t)) == 0, 1.0, 0.5))
    scattering = power[:, None] * (np.eye(len(t)) + 2.0 * t) / power
    assert np.max(np.abs(scattering.conj().T @ scattering - np.eye(len(t)))) < within
    assert np.max(np.abs(scattering - scattering.T)) < within


def test_the_calculation_for_long_waves() -> None:
    """The air that the rounding lets in, (1 - pi/4) R^2, is compressed by an even pressure: T[0, 0] tends to
    -j pi kappa^2 (1 - pi/4)/(2 WEDGE), from the outflow 4 b/(j pi) WEDGE/2 of a wave b H_0."""
    kappa = 0.02
    assert rounded_wedge(kappa)[0, 0] == pytest.approx(-1j * kappa**2 * (1.0 - math.pi / 4.0) / 3.0, rel=2e-3)


@pytest.mark.parametrize("kappa", [0.05, 0.4, 1.1, 2.5, 5.0, 8.0, 11.0])
def test_the_table_is_the_calculation(kappa: float) -> None:
    """Between its nodes as well."""
    angles = np.linspace(0.0, 1.5 * math.pi, 46)
    error = np.abs(change(np.array([[kappa]]), angles)[0] - rounded_edge(kappa, angles, min(0.03, 0.15 / kappa)))
    assert np.max(error) < 0.05
    assert np.sqrt(np.mean(error**2)) < 0.02


def test_between_sharp_and_none() -> None:
    """No radius changes nothing; a large one leaves little of the edge's wave in sight of the face; all stays finite
    and even where the sharp edge's weight is infinite."""
    angles = np.radians([0.0, 45.0, 90.0, 120.0])
    assert np.all(change(np.zeros((1, 1)), angles) == 0.0)
    assert np.all(np.abs(change(np.full((1, 1), TOP), angles)[0] / beta(angles) + 1.0) < [0.08, 0.08, 0.16, 0.31])
    np.testing.assert_allclose(share(np.array([[0.0], [0.01]]), angles), 1.0, atol=0.02)
    near = math.pi + np.array([-1e-3, -1e-6, -1e-12, 0.0, 1e-12, 1e-6, 1e-3])
    found = change(np.full((1, 1), 4.0), near)[0]
    assert np.max(np.abs(found - found[3])) < 0.01
    assert np.all(np.abs(share(np.full((1, 1), 4.0), near)[0] - 1.0) < 5e-3)


# From an independent boundary-element solution (bempp, combined field, 3392 to 5528 triangles), dB over the wall.
BOXES = [
    (
        BOOK,
        (0.08, 0.25),
        0,
        {
            600.0: (0.00, -1.42, -0.51, -0.76, -0.68),
            1000.0: (1.64, 0.14, 2.77, 0.20, 1.24),
            1500.0: (2.36, 1.38, 2.55, 0.44, 2.17),
            2700.0: (-1.26, 1.03, -0.82, 1.77, 0.21),
        },
    ),
    (
        BOOK,
        (0.08, 0.25),
        0.01,
        {
            600.0: (-0.11, -1.49, -0.63, -0.84, -0.78),
            1000.0: (1.55, 0.07, 2.64, 0.19, 1.17),
            1500.0: (2.27, 1.36, 2.55, 0.42, 2.11),
        },
    ),
    (
        BOOK,
        (0.08, 0.25),
        0.025,
        {
            600.0: (-0.39, -1.66, -0.92, -1.06, -1.04),
            1000.0: (1.28, -0.13, 2.24, 0.12, 0.93),
            1500.0: (1.96, 1.23, 2.42, 0.36, 1.85),
            2700.0: (-0.24, 1.02, -0.58, 1.25, 0.69),
        },
    ),
    (
        BOOK,
        (0.08, 0.25),
        0.05,
        {
            600.0: (-0.99, -2.02, -1.52, -1.51, -1.59),
            1000.0: (0.55, -0.57, 1.24, -0.19, 0.27),
            1500.0: (1.13, 0.67, 1.74, 0.13, 1.05),
            2700.0: (0.66, 0.74, 0.31, 0.24, 1.28),
        },
    ),
    (
        Box(0.40, 0.60, 0.20),
        (0.13, 0.45),
        0.025,
        {
            500.0: (0.82, -0.57, 1.83, -0.72, 0.82),
            1350.0: (0.84, 1.15, 0.16, 1.12, 0.42),
            2150.0: (-1.28, 0.77, -0.24, 0.70, -1.07),
        },
    ),
    (
        Box(0.40, 0.60, 0.20),
        (0.13, 0.45),
        0.05,
        {
            500.0: (0.58, -0.70, 1.44, -0.75, 0.54),
            1350.0: (0.74, 0.90, 0.17, 0.96, 0.88),
            2150.0: (-0.17, 0.94, 0.04, 0.64, -1.04),
        },
    ),
    (
        Box(0.19, 1.06, 0.28),
        (0.095, 0.95),
        0.025,
        {1000.0: (1.80, 0.46, 1.82, 0.90, 0.90), 2400.0: (0.25, 1.80, 0.57, 0.47, 0.47)},
    ),
]


@pytest.mark.parametrize(("box", "at", "radius", "levels"), BOXES)
def test_cabinets_against_other_boundary_elements(
    box: Box, at: tuple[float, float], radius: float, levels: dict[float, tuple[float, ...]]
) -> None:
    """A point on the front, off its middle, heard at 1 m ahead and 30 degrees up, down, left and right: 0.25 dB."""
    source = put(box, "front", at)
    listeners = source.position + DIRECTIONS
    w = 2.0 * math.pi * np.array([*levels])
    wall = wall_paths([source], listeners, w, AIR)
    table = np.array([*levels.values()])
    rounded = decibels(free_paths(replace(box, edge_radius=radius), [source], listeners, w, AIR) / wall)[:, :, 0]
    assert np.max(np.abs(rounded - table)) < 0.25


@pytest.mark.parametrize("face", ["front", "right"])
def test_no_radius_is_the_end_of_small_ones(face: str) -> None:
    """From 1 mm to 0.1 mm to nothing: the change shrinks, by radius^(4/3) where waves are long, and ends in nothing."""
    sources = [put(BOOK, face, (0.07, 0.24))]
    listeners = sources[0].position + 1.2 * np.array([[0.6, 0.0, 0.8], [0.5, 0.5, 0.70], [0.9, 0.1, -0.3]])
    w = 2.0 * math.pi * np.array([50.0, 300.0, 700.0, 900.0, 2e3, 6e3])
    sharp = free_paths(BOOK, sources, listeners, w, AIR)
    apart = [
        float(np.max(np.abs(free_paths(replace(BOOK, edge_radius=radius), sources, listeners, w, AIR) / sharp - 1.0)))
        for radius in (1e-3, 1e-4, 1e-5)
    ]
    assert apart[0] < 0.06
    assert apart[1] < 0.25 * apart[0]
    assert apart[2] < 5e-3


def test_steps_of_radius_are_steps_of_level() -> None:
    """A tenth of a millimetre more moves the level by less than 0.04 dB, also at 48.4 mm where elements are added."""
    source = put(BOOK, "front", (0.09, 0.2))
    listener = source.position + np.array([[0.2, 0.1, 1.0]])
    w = 2.0 * math.pi * np.geomspace(50.0, 10e3, 40)
    panels = [len(_bodies(replace(BOOK, edge_radius=r))[0].panels) for r in (0.0484, 0.0485)]
    assert panels[1] > panels[0]
    for radius in (0.004, 0.01, 0.03, 0.0484, 0.06):
        one, two = (
            free_paths(replace(BOOK, edge_radius=r), [source], listener, w, AIR) for r in (radius, radius + 1e-4)
        )
        assert np.max(np.abs(decibels(one / two))) < 0.04


def test_rounding_smooths() -> None:
    """From 3 to 20 kHz what the edges add to the infinite wall falls with the radius, at 25 mm to under a third."""
    source = put(BOOK, "front", (0.09, 0.2))
    listener = source.position + np.array([[0.0, 0.0, 1.0], [0.3, 0.1, 0.95]])
    w = 2.0 * math.pi * np.linspace(3e3, 20e3, 200)
    wall = wall_paths([source], listener, w, AIR)
    added = []
    for radius in (0.0, 0.005, 0.01, 0.025, 0.05):
        found = free_paths(replace(BOOK, edge_radius=radius), [source], listener, w, AIR)
        added.append(float(np.sqrt(np.mean(np.abs(found / wall - 1.0) ** 2))))
    assert np.all(np.diff(added) < 0.0)
    assert added[3] < added[0] / 3.0


@pytest.mark.parametrize("axis", [0, 1])
def test_mirror_image(axis: int) -> None:
    """A rounded cabinet mirrored, its sources and the listener too, to 1e-9."""
    box = replace(BOOK, edge_radius=0.03)
    sources = [put(box, "front", (0.06, 0.25), 0.02), put(box, "left", (0.05, 0.1)), put(box, "rear", (0.1, 0.1))]
    listeners = np.array([[0.7, 0.9, 1.1], [0.3, 0.2, -0.8], [0.9, 0.48, 0.0]])
    flip = np.where(np.arange(3) == axis, -1.0, 1.0)
    about = (box.low + box.high) * (np.arange(3) == axis)
    mirrored = [Source(s.position * flip + about, s.normal * flip, s.radius) for s in sources]
    w = 2.0 * math.pi * np.array([30.0, 300.0, 900.0, 3e3, 15e3])
    one = free_paths(box, sources, listeners, w, AIR)
    two = free_paths(box, mirrored, listeners * flip + about, w, AIR)
    np.testing.assert_allclose(two, one, rtol=1e-9, atol=1e-11)


def test_rounded_front_and_rear() -> None:
    """With both, front and rear are mirror images; a small rear radius changes nothing for the front."""
    box = replace(BOOK, edge_radius=0.03, rounded_rear=True)
    flip, about = np.array([1.0, 1.0, -1.0]), np.array([0.0, 0.0, -BOOK.depth])
    listeners = np.array([[0.7, 0.9, 1.1], [0.3, 0.2, -0.8]])
    w = 2.0 * math.pi * np.array([30.0, 300.0, 900.0, 3e3, 15e3])
    front = put(box, "front", (0.06, 0.25))
    rear = Source(front.position * flip + about, front.normal * flip)
    one = free_paths(box, [front], listeners, w, AIR)
    two = free_paths(box, [rear], listeners * flip + about, w, AIR)
    np.testing.assert_allclose(two, one, rtol=1e-9, atol=1e-11)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Box(0.2, 0.3, 0.3, -0.01), "do not fit"),
        (lambda: Box(0.2, 0.3, 0.3, math.nan), "do not fit"),
        (lambda: Box(0.2, 0.3, 0.3, 0.101), "do not fit"),
        (lambda: Box(0.3, 0.2, 0.3, 0.101), "do not fit"),
        (lambda: Box(0.3, 0.3, 0.1, 0.1), "do not fit"),
        (lambda: Box(0.3, 0.3, 0.1, 0.05, rounded_rear=True), "do not fit"),
        (lambda: heard(Box(0.2, 0.3, 0.3, 0.05), "front", (0.04, 0.15)), "rounded edge"),
        (lambda: heard(Box(0.2, 0.3, 0.3, 0.05), "front", (0.1, 0.26)), "rounded edge"),
        (lambda: heard(Box(0.2, 0.3, 0.3, 0.05), "right", (0.04, 0.15)), "rounded edge"),
    ],
)
def test_bad_input(call: object, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        call()  # type: ignore[operator]


def test_edges_that_are_not_rounded_take_sources() -> None:
    """On the rear, and on a side near the top or the rear."""
    for face, at in (("rear", (0.01, 0.15)), ("right", (0.29, 0.29)), ("top", (0.01, 0.29))):
        assert np.all(np.isfinite(heard(Box(0.2, 0.3, 0.3, 0.05), face, at)))


def heard(box: Box, face: str, at: tuple[float, float]) -> NDArray[np.complex128]:
    return np.asarray(free_paths(box, [put(box, face, at)], np.array([[0.5, 0.4, 1.0]]), np.array([100.0]), AIR))
