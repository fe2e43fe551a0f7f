"""Panels, planes and lines where earlier tests saw no fault: each figure against geometry."""

from __future__ import annotations

import numpy as np
import pytest

from enclosures.baffle import Box, Source, free_paths
from enclosures.line import Line, Mouth, Section
from enclosures.panels import Panel, Rectangle, uncertainty
from enclosures.placement import Surroundings, paths, turned
from enclosures.vented import Port
from tests.support_enclosures import AIR

FAR = 1e6  # m; an edge this far off does not count


@pytest.mark.parametrize("scale", [0.1, 1.0, 7.0])
@pytest.mark.parametrize(("begins", "share"), [(-FAR, 0.5), (0.03, 0.25)])
def test_a_ray_through_an_edge_leaves_half_of_the_wave(begins: float, share: float, scale: float) -> None:
    """Where the straight way meets the edge of a half plane the share is 1/2 at every wavelength, and 1/4 where it
    meets the corner of a quarter plane (Born & Wolf, Principles of Optics, 8.7.3: from a Cornu spiral's middle to its
    end; from memory).

    From (0, 0, 0) to (0.2, 0.15, 0.5), through the plane at 1/5 of the way: at (0.04, 0.03, 0.1); at any scale.
    """
    panel = Rectangle(2, True, scale * np.array([0.04, begins, 0.1]), scale * np.array([FAR, FAR, 0.1]))
    found = panel.share(np.zeros((1, 3)), scale * np.array([0.2, 0.15, 0.5]), np.array([3.0, 30.0, 300.0]))
    np.testing.assert_allclose(found, share, rtol=2e-3)


@pytest.mark.parametrize(
    ("attitude", "down"),
    [("upright", (0.0, -1.0, 0.0)), ("on_left_side", (-1.0, 0.0, 0.0)), ("on_right_side", (1.0, 0.0, 0.0))],
)
def test_turning_is_a_rotation_that_puts_the_side_named_below(attitude: str, down: tuple[float, ...]) -> None:
    """A rigid body keeps lengths, angles and handedness: orthogonal, determinant one. The cabinet's left side looks
    along -x; lying on it, that is the room's way down, and the front goes on facing the listener.
    """
    turn = turned(attitude)  # type: ignore[arg-type]
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-15)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    np.testing.assert_allclose(turn @ np.array(down), [0.0, -1.0, 0.0], atol=1e-15)
    np.testing.assert_allclose(turn @ np.array([0.0, 0.0, 1.0]), [0.0, 0.0, 1.0], atol=1e-15)


def test_with_its_rounded_back_to_the_wall_it_is_half_of_a_body_twice_as_deep() -> None:
    """A rigid plane is a plane of symmetry: the image's front is the other half's back, rounded like the front."""
    box, twice = Box(0.2, 0.3, 0.15, 0.03), Box(0.2, 0.3, 0.30, 0.03, rounded_rear=True)
    place, normal = box.point("front", (0.1, 0.2))
    source = Source(place, normal)
    image = Source(place * [1, 1, 0] - [0, 0, 0.30], -normal)
    omega, listener = 2 * np.pi * np.array([200.0, 1000.0, 4000.0]), np.array([0.5, 0.4, 1.5])
    found = paths(box, Surroundings(wall_behind=0.0), [source], listener, omega, AIR)
    both = free_paths(twice, [source, image], listener[None], omega, AIR)[:, 0]
    np.testing.assert_allclose(found[:, 0], both.sum(axis=1), rtol=1e-9)


def test_openings_have_the_area_of_the_line_where_they_are() -> None:
    """Along three sections of which the last narrows evenly from 200 to 100 cm2: 150 cm2 in its middle.

    At a step it is that before the step, as the docstring has it.
    """
    line = Line(
        (Section(0.4, 0.02), Section(0.6, 0.03), Section(1.0, 0.02, 0.01)),
        (0.1,),
        (Mouth(at=0.2), Mouth(at=0.4), Mouth(at=0.7), Mouth(at=1.5), Mouth()),
    )
    np.testing.assert_allclose(line.opening_areas, [0.02, 0.02, 0.03, 0.015, 0.01], rtol=1e-12)


def test_ports_may_share_a_place_and_so_may_open_ends_that_radiate() -> None:
    """Each has an impedance of its own, which says how they share the flow (Kirchhoff)."""
    port = Port(1e-3, 0.1, "ideal")
    for mouth in (Mouth(port=port, at=0.5), Mouth("ideal", port, 0.5), Mouth("flanged", at=0.5)):
        assert len(Line((Section(1.0, 0.01),), (0.1,), (mouth, mouth)).opening_areas) == 2


@pytest.mark.parametrize("step", [0.03, 0.1, 0.4, 2.0])
def test_pressure_along_a_line_is_told_as_densely_as_asked(step: float) -> None:
    line = Line((Section(0.95, 0.01),), (0.2,))
    places, pressure = line.pressure_along(np.array([300.0]), AIR, np.ones((1, 1), complex), step)
    assert np.diff(places).max() <= step * (1 + 1e-12)
    assert places[0] == 0.0
    assert places[-1] == pytest.approx(0.95)
    assert pressure.shape == (1, places.size)


@pytest.mark.parametrize("length", [0.03, 0.3, 3.0])
def test_a_pipe_of_any_length_has_its_odd_quarter_waves(length: float) -> None:
    """(2 n - 1) c/(4 L), closed at one end and ideally open at the other (any text on acoustics)."""
    found = Line((Section(length, 1e-4),), (0.0,), (Mouth("ideal"),)).resonances(AIR, 3)
    np.testing.assert_allclose(found, np.array([1, 3, 5]) * AIR.speed_of_sound / (4 * length), rtol=1e-6)


def test_in_a_wall_a_piston_of_any_face_looks_out_of_the_wall() -> None:
    """2 pi p/(j w rho U) is e^{-jkr}/r on a piston's axis far off, however large it is (Rayleigh's integral)."""
    box = Box(0.3, 0.4, 0.2)
    position, normal = box.point("left", (0.1, 0.25))
    piston = Source(position, normal, 0.05)
    omega = 2 * np.pi * np.array([100.0, 4000.0])
    listener = np.array([position[0], position[1], 5.0])
    found = paths(box, Surroundings(in_wall=True), [piston], listener, omega, AIR)[:, 0]
    np.testing.assert_allclose(np.abs(found), 0.2, rtol=1e-9)

    def beside(right: float, up: float) -> np.ndarray:
        there = np.array([position[0] + right, position[1] + up, 2.0])
        return paths(box, Surroundings(in_wall=True), [piston], there, omega, AIR)[:, 0]

    for right, up in ((-1.5, 0.0), (0.0, 1.5), (0.0, -1.5), (0.9, 1.2)):  # a round piston knows no up and down
        np.testing.assert_allclose(beside(right, up), beside(1.5, 0.0), rtol=1e-9)


def test_every_face_looks_straight_away_from_the_middle() -> None:
    box, middle = Box(0.2, 0.4, 0.3), np.array([0.1, 0.2, -0.15])
    for face in ("front", "rear", "left", "right", "top", "bottom"):
        position, normal = box.point(face, (0.1, 0.15))  # type: ignore[arg-type]
        assert np.count_nonzero(normal) == 1
        assert np.linalg.norm(normal) == 1.0
        assert (position - middle) @ normal in (pytest.approx(0.1), pytest.approx(0.15), pytest.approx(0.2))


def test_several_sources_before_a_panel_are_each_seen_alone() -> None:
    panel = Rectangle(2, True, np.array([0.0, -0.5, 0.4]), np.array([0.8, 0.6, 0.4]))
    points, k = np.array([[0.0, 0.0, 0.0], [0.3, 0.1, 0.2], [-0.2, 0.4, 0.1]]), np.array([5.0, 50.0])
    target = np.array([0.4, 0.2, 2.0])
    together = panel.share(points, target, k)
    for s, point in enumerate(points):
        np.testing.assert_allclose(together[:, s], panel.share(point[None], target, k)[:, 0], rtol=1e-12)


def test_a_board_beside_the_cabinet_ends_with_its_front() -> None:
    low, high = np.array([0.0, 0.0, -0.3]), np.array([0.2, 0.4, 0.0])
    found = Panel("left", 0.1).rectangle(low, high)
    assert (found.begins[2], found.ends[2]) == (-0.3, 0.0)


def test_phase_is_no_part_of_a_level() -> None:
    turn = np.exp(1j * np.linspace(0.0, 6.0, 7))
    np.testing.assert_allclose(uncertainty(2.0 * turn, turn[::-1]), np.full(7, 10.0 * np.log10(2.0)), rtol=1e-12)
