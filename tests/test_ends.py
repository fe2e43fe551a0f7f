"""Ends of pipes: walls beside them by their images, a wall before them by potential flow in finite elements."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import jve

from enclosures.ends import (
    PIPE_ENDS,
    facing_wall_mass,
    hydraulic_ratio_of_rectangle,
    pipe_end_impedance,
    pipe_end_mass,
)
from tests.support_enclosures import AIR
from tests.support_potential import Grid, chained, lines_between, lines_from, points

AREA = 3e-3
RADIUS = math.sqrt(AREA / math.pi)
FAR = 1e3  # radii to where a point source stands for the pipe
INLET = 4.0  # radii of pipe: what is uneven dies as e^(-3.83 x)


def correction(
    clearance: float | None, wall: float = 1.0, first: float = 1e-4, ratio: float = 1.4, far: float = FAR
) -> float:
    """End correction of a pipe of radius 1 with a wall out to radius `wall`, `clearance` before an endless wall.

    The air is followed to `far`, where a point source at the end (on the wall) gives the impedance: dp/dn = -p cos/r.
    """
    gap = lines_from(0, far, first, ratio) if clearance is None else lines_between(0, clearance, first, ratio)
    inlet = lines_from(0, -INLET, first, ratio)[::-1]
    outside = lines_from(-INLET, -far, inlet[1] - inlet[0], ratio)[::-1]
    v = chained(outside, inlet, gap)
    thick = lines_between(1, wall, first, ratio) if wall > 1 else np.ones(1)
    u = chained(lines_from(1, 0, first, ratio)[::-1], thick, lines_from(wall, far, first, ratio))
    bore, rim = int(np.argmin(np.abs(u - 1))), int(np.argmin(np.abs(u - wall)))
    start, end = len(outside) - 1, len(outside) + len(inlet) - 2
    solid = np.zeros((len(u) - 1, len(v) - 1), dtype=bool)
    solid[:bore, :start] = True
    solid[bore:rim, :end] = True
    grid = Grid(u, v, solid, sheet=(bore, end) if wall == 1 else None)
    matrix = grid.stiffness(lambda r: (r, r))
    source = 0.0 if clearance is None else clearance
    r, z = points(u), points(v) - source
    matrix = matrix + grid.side_stiffness(grid.nodes[-1, :, 2], v, far**2 / (far**2 + z**2))
    matrix = matrix + grid.side_stiffness(grid.nodes[rim:, 0, :, 0], u[rim:], _slope(far + source, r)[rim:])
    if clearance is None:
        matrix = matrix + grid.side_stiffness(grid.nodes[:, -1, :, 2], u, _slope(far, r))
    inflow = grid.side_load(grid.nodes[:bore, start, :, 0], u[: bore + 1], r[:bore])
    return float(inflow @ grid.solved(matrix, inflow) / inflow.sum()) - INLET


def _slope(height: float, r: np.ndarray) -> np.ndarray:
    return height / (height**2 + r**2) * r


def added(end: str, x: float) -> float:
    """What a wall at x radii adds to the end correction, in radii."""
    return facing_wall_mass(AREA, end, x * RADIUS, AIR) * AREA / AIR.density / RADIUS


@pytest.mark.slow
def test_the_elements_know_free_ends() -> None:
    """0.6127 without a flange (Levine & Schwinger, Phys. Rev. 73, 1948, their integral); with one of 100 radii nearly
    0.8217 (Norris & Sheng, J. Sound Vib. 135, 1989, from memory); between them the flanges of Dalmont, Nederveen &
    Joly, J. Sound Vib. 244, 2001 (from memory): 0.8216 - 0.2083 q + 0.057 q (1 - q^5), q = pipe over flange.
    """
    rough, finer, finest = (correction(None, 1.0, *mesh) for mesh in ((1e-2, 2.0), (1e-3, 1.6), (1e-4, 1.4)))
    assert rough < finer < finest
    assert finest - finer < (finer - rough) / 4
    assert finest == pytest.approx(0.6127, abs=1e-4)
    assert correction(None, 1.0, far=50) == pytest.approx(finest, abs=5e-5)
    assert correction(None, 100.0, far=1e4) == pytest.approx(0.8217, abs=0.002)
    for flange in (1.5, 2.0, 5.0):
        q = 1 / flange
        published = 0.8216 - 0.2083 * q + 0.057 * q * (1 - q**5)
        assert correction(None, flange) == pytest.approx(published, rel=0.004)


CLEARANCES = [0.01, 0.03, 0.1, 0.2, 0.35, 0.6, 1.0, 1.7, 3.0, 6.0, 15.0]


def test_a_wall_before_a_thin_pipe() -> None:
    free = correction(None)
    for x in CLEARANCES:
        whole = correction(x, first=min(1e-4, x / 100))
        assert free + added("unflanged", x) == pytest.approx(whole, rel=0.02)
        assert added("ideal", x) == added("unflanged", x)


@pytest.mark.slow
def test_a_wall_before_a_flange() -> None:
    """What a wall adds to a pipe with a flange of two radii, on top of the endless flange's 0.8217."""
    free = correction(None, 2.0)
    for x in CLEARANCES:
        wall = correction(x, 2.0, first=min(1e-4, x / 100)) - free
        assert 0.8217 + added("flanged", x) == pytest.approx(0.8217 + wall, rel=0.02)


def test_a_wall_converges() -> None:
    for x, flange in ((0.1, 1.0), (1.0, 1.0), (0.1, 2.0)):
        rough, finer, finest = (correction(x, flange, *mesh) for mesh in ((1e-2, 2.0), (1e-3, 1.6), (1e-4, 1.4)))
        assert rough < finer < finest
        assert finest - finer < 3e-4 * finest


def test_limits_of_a_facing_wall() -> None:
    """Far off the wall mirrors a point source, rho/(8 pi h), and those of the images too. Close by the air passes under
    an edge: the potential of a slit, arcsinh, has p over flow (2/pi) ln(2 r/h) on either side, so ten times closer adds
    (2/pi) ln 10 radii; with a flange there is the radial flow rho ln(b/a)/(2 pi h) besides.
    """
    far = 2000 * RADIUS
    for end, images in (("unflanged", 1), ("flanged", 1), ("along_wall", 2), ("in_corner", 4), ("ideal", 1)):
        alone = pipe_end_mass(AREA, end, AIR)
        mirrored = images * AIR.density / (8 * math.pi * far)
        assert facing_wall_mass(AREA, end, far, AIR) == pytest.approx(mirrored, rel=0.005)
        assert pipe_end_mass(AREA, end, AIR, 1e9) == pytest.approx(alone, abs=1e-6)
        assert pipe_end_mass(AREA, end, AIR, math.inf) == alone
    assert added("unflanged", 1e-5) - added("unflanged", 1e-4) == pytest.approx(2 / math.pi * math.log(10), rel=1e-3)
    near = 1e-4 * RADIUS
    radial = AIR.density * math.log(2) / (2 * math.pi * near)
    assert facing_wall_mass(AREA, "flanged", near, AIR) == pytest.approx(radial, rel=0.005)


@given(st.sampled_from(sorted(PIPE_ENDS)), st.floats(1e-4, 5e-2), st.floats(1e-3, 1.0))
def test_laws_of_a_facing_wall(end: str, area: float, clearance: float) -> None:
    """It always adds mass, more the closer it is, and the impedance is that of the mass at low frequency."""
    free, walled = pipe_end_mass(area, end, AIR), pipe_end_mass(area, end, AIR, clearance)
    assert free < walled < pipe_end_mass(area, end, AIR, clearance / 1.1)
    omega = np.array([1.0, 3000.0])
    bare, facing = pipe_end_impedance(omega, area, end, AIR), pipe_end_impedance(omega, area, end, AIR, clearance)
    np.testing.assert_array_equal(facing.real, bare.real)
    assert facing[0].imag == pytest.approx(walled, rel=1e-5)
    # one shape at another size: mass goes as one over length
    assert pipe_end_mass(4 * area, end, AIR, 2 * clearance) == pytest.approx(walled / 2, rel=1e-12)


def in_a_round_box(width: float, depth: float) -> float:
    """End correction of a port of radius 1 flush in the end of a round box, against the box's mean pressure."""
    v = chained(lines_from(0, -INLET, 1e-3, 1.5)[::-1], lines_between(0, depth, 1e-3, 1.5))
    u = chained(lines_from(1, 0, 1e-3, 1.5)[::-1], lines_between(1, width, 1e-3, 1.5))
    bore, end = int(np.argmin(np.abs(u - 1))), int(np.argmin(np.abs(v)))
    solid = np.zeros((len(u) - 1, len(v) - 1), dtype=bool)
    solid[bore:, :end] = True
    grid = Grid(u, v, solid)
    box = np.zeros_like(solid)
    box[:, end:] = True
    inflow = grid.side_load(grid.nodes[:bore, 0, :, 0], u[: bore + 1], points(u)[:bore])
    volume = grid.volume_load(box)  # the air takes up the flow evenly: its compression
    p = grid.solved(grid.stiffness(lambda r: (r, r)), inflow - volume * (inflow.sum() / volume.sum()), volume)
    return float(inflow @ p / inflow.sum()) - INLET


def test_a_flush_port_in_a_shallow_box() -> None:
    """Why the gap under a flange counts to two radii: what a box of 6 radii gains as its rear wall comes closer."""
    deep = in_a_round_box(6.0, 4.0) - added("flanged", 4.0)
    for x in (0.3, 0.5, 1.0):
        assert deep + added("flanged", x) == pytest.approx(in_a_round_box(6.0, x), rel=0.15)


@pytest.mark.parametrize(("end", "images"), [("flanged", 1), ("along_wall", 2), ("in_corner", 4)])
def test_walls_beside_an_end_are_mirrors(end: str, images: int) -> None:
    """n pipes that are each other's images are one flanged pipe of n S, of which each has an n-th of the flow."""
    omega = np.geomspace(10, 1e5, 200)
    for clearance in (None, 0.02):
        whole = pipe_end_impedance(omega, images * AREA, "flanged", AIR, clearance)
        np.testing.assert_allclose(pipe_end_impedance(omega, AREA, end, AIR, clearance), images * whole, rtol=1e-12)
        mass = images * pipe_end_mass(images * AREA, "flanged", AIR, clearance)
        assert pipe_end_mass(AREA, end, AIR, clearance) == pytest.approx(mass, rel=1e-12)
    # a small source radiates into what the walls leave of the full space, rho w^2/(c angle)
    resistance = AIR.density * omega[0] ** 2 / (AIR.speed_of_sound * 2 * math.pi / images)
    assert pipe_end_impedance(omega, AREA, end, AIR)[0].real == pytest.approx(resistance, rel=0.005)


def self_potential(a: float, b: float) -> float:
    """The integral of 1/distance over all pairs of points of a rectangle a by b, in closed form (twice integrated)."""
    diagonal = math.hypot(a, b)
    logs = a * math.log((b + diagonal) / a) + b * math.log((a + diagonal) / b)
    return 2 * a * b * logs + 2 / 3 * (a**3 + b**3 - diagonal**3)


def test_a_slot_along_a_wall_is_nearly_a_circle_of_its_area() -> None:
    """A piston's mass is rho/(2 pi S^2) times its self-potential (Rayleigh), 8/(3 pi) radii for a disc.

    A slot of 2:1 on a wall has a square with its image, one of 1:1 a rectangle of 2:1. The circle has the most.
    """
    radius = 0.03
    disc = AIR.density * 8 / (3 * math.pi) / (math.pi * radius)
    square = math.sqrt(math.pi) * radius
    assert self_potential(square, square) / (2 * math.pi * square**4) * AIR.density == pytest.approx(0.988 * disc, 1e-3)
    for end, w, h, sides in (
        ("along_wall", 0.08, 0.04, (0.08, 0.08)),
        ("along_wall", 0.04, 0.04, (0.04, 0.08)),
        ("along_wall", 0.12, 0.04, (0.12, 0.08)),
        ("in_corner", 0.04, 0.04, (0.08, 0.08)),
        ("in_corner", 0.08, 0.04, (0.16, 0.08)),
    ):
        whole = math.prod(sides)
        images = round(whole / (w * h))
        piston = images * self_potential(*sides) / (2 * math.pi * whole**2) * AIR.density
        pipe = piston * 0.8216 / (8 / (3 * math.pi))  # the pipe's own flow in place of the piston's
        assert pipe < pipe_end_mass(w * h, end, AIR)
        assert pipe == pytest.approx(pipe_end_mass(w * h, end, AIR), rel=0.04)


def test_hydraulic_ratio_of_rectangles() -> None:
    """Where the boundary layer is thin, round and rectangular ducts lose alike at one hydraulic radius.

    For a slit of height h the exact density is rho/(1 - tanh(s)/s), s = (h/2) sqrt(jw rho/mu) (Stinson, J. Acoust. Soc.
    Am. 89, 1991); for a round duct rho/(1 - 2 J1/(s J0)).
    """
    assert hydraulic_ratio_of_rectangle(0.1, 0.1) == pytest.approx(math.sqrt(math.pi) / 2, rel=1e-12)
    assert hydraulic_ratio_of_rectangle(0.3, 0.1) == hydraulic_ratio_of_rectangle(0.1, 0.3)
    assert hydraulic_ratio_of_rectangle(0.4, 0.1) == pytest.approx(0.7090, abs=5e-5)  # 0.08/(0.2/sqrt(pi))
    height, width = 2e-2, 20.0
    radius = hydraulic_ratio_of_rectangle(width, height) * math.sqrt(width * height / math.pi)
    layer = np.sqrt(2j * math.pi * 50 * AIR.density / AIR.viscosity)
    slit = 1 / (1 - np.tanh(layer * height / 2) / (layer * height / 2))
    s = layer * radius / 1j
    tube = 1 / (1 - 2 * jve(1, s) / (s * jve(0, s)))
    assert tube.imag == pytest.approx(slit.imag, rel=0.02)
    assert tube.real - 1 == pytest.approx(slit.real - 1, rel=0.04)


def test_impossible_ends() -> None:
    for wrong in (0.0, -0.01, math.nan):
        for call in (
            lambda wrong=wrong: pipe_end_mass(AREA, "flanged", AIR, wrong),
            lambda wrong=wrong: pipe_end_impedance(np.ones(1), AREA, "ideal", AIR, wrong),
            lambda wrong=wrong: facing_wall_mass(AREA, "in_corner", wrong, AIR),
        ):
            with pytest.raises(ValueError, match="clearance must be above zero"):
                call()
        with pytest.raises(ValueError, match="width and height"):
            hydraulic_ratio_of_rectangle(wrong, 0.1)
        with pytest.raises(ValueError, match="width and height"):
            hydraulic_ratio_of_rectangle(0.1, wrong)
    with pytest.raises(ValueError, match="no pipe end is called 'open'"):
        pipe_end_mass(AREA, "open", AIR)
