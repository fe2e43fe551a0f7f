"""A bend of a duct against potential flow by finite elements, which closes in on its mass from both sides."""

from __future__ import annotations

import math

import numpy as np
import pytest

from enclosures.bends import Bend
from tests.support_potential import Grid, chained, lines_between, lines_from

LEG = 2.5  # of straight duct at both ends, in widths: what is uneven dies as e^(-pi x)


def bracket(angle: float, inner: float, first: float = 1e-3, ratio: float = 1.5) -> tuple[float, float]:
    """Length over width of the straight duct with the mass of a bend of width 1, from below and from above.

    Dirichlet's principle: a field of pressure that is not quite right conducts too well, so it makes the mass too low.
    For the stream function, whose lines are the walls, the same energy is the mass itself, and comes out too high.
    """
    u = lines_between(inner, inner + 1, min(first, inner / 2), ratio)
    step = first / (inner + 0.5)
    before, bend = lines_from(0, -LEG, first, ratio)[::-1], lines_between(0, angle, step, ratio)
    grid = Grid(u, chained(before, bend, lines_from(angle, angle + LEG, first, ratio)))
    inside = np.zeros((len(u) - 1, len(grid.v) - 1), dtype=bool)
    inside[:, len(before) - 1 : len(before) + len(bend) - 2] = True
    straight = grid.stiffness(lambda u: (np.ones_like(u), np.ones_like(u)), ~inside)
    matrix = straight + grid.stiffness(lambda r: (r, 1 / r), inside)  # conjugate: the same for both functions
    ends = grid.nodes[:, 0, :, 0].ravel(), grid.nodes[:, -1, :, 2].ravel()
    walls = grid.nodes[0, :, 0].ravel(), grid.nodes[-1, :, 2].ravel()
    return 1 / grid.drop(matrix, *ends) - 2 * LEG, grid.drop(matrix, *walls) - 2 * LEG


def test_the_elements_close_in() -> None:
    widths = []
    for first, ratio in ((0.1, 3.0), (0.01, 2.0), (1e-3, 1.5)):
        low, high = bracket(math.pi, 0.1, first, ratio)
        assert low < high
        widths.append((high - low) / high)
    assert widths[0] > 4 * widths[1] > 16 * widths[2]
    assert widths[2] < 3e-5


@pytest.mark.parametrize("angle", [0.1, math.pi / 4, math.pi / 2, math.pi, 2 * math.pi])
@pytest.mark.parametrize(
    ("inner", "error"), [(0.001, 0.07), (0.01, 0.025), (0.05, 0.007), (0.1, 0.003), (0.5, 4e-4), (2.0, 1e-4)]
)
def test_mass_of_a_bend(inner: float, error: float, angle: float) -> None:
    """The errors are those that the docstring states; nothing of the formula is fitted."""
    bend = Bend(angle, inner * 0.12, 0.12)
    low, high = bracket(angle, inner)
    assert high - low < 1e-4 * high
    assert bend.centre_length * bend.mass_ratio / 0.12 == pytest.approx((low + high) / 2, rel=error)


def test_without_the_flow_at_its_ends_a_fold_comes_out_too_light() -> None:
    """Rostafinski's long bend alone, across/((r1 + across/2) ln(r2/r1)): 9 % for 90 mm round an 18 mm board."""
    low, _ = bracket(math.pi, 0.1)
    long_bend = math.pi / math.log(11)
    assert long_bend == pytest.approx(0.907 * low, rel=1e-3)


def test_limits() -> None:
    """A wide bend is a straight duct: 1 - m tends to (across/radius)^2/12, the variance of 1/r over the duct.

    A long one is Rostafinski's alone. In a bend of hardly any angle the air goes straight on.
    """
    assert 1 - Bend(2.0, 20.0, 0.5).mass_ratio == pytest.approx((0.5 / 20.25) ** 2 / 12, rel=0.02)
    tight, turn = Bend(2 * math.pi, 0.05, 0.05), math.log(2)
    inside = 1 / (1.5 * turn)
    assert tight.mass_ratio - inside == pytest.approx(2 * 0.1576 * (1 / inside - 1) / (2 * math.pi * 1.5), rel=1e-3)
    assert Bend(1e-4, 0.01, 0.1).mass_ratio == pytest.approx(1, abs=0.005)


def test_lengths() -> None:
    bend = Bend(math.pi, 9e-3, 90e-3)
    assert bend.centre_length == pytest.approx(math.pi * 54e-3, rel=1e-12)
    area = math.pi / 2 * ((99e-3) ** 2 - (9e-3) ** 2)  # of half a ring
    assert bend.centre_length * 90e-3 == pytest.approx(area, rel=1e-12)
    # delay of a lossless duct: sqrt(mass x compliance), both per their straight values
    low, high = bracket(math.pi, 0.1)
    assert bend.path_length == pytest.approx(90e-3 * math.sqrt((low + high) / 2 * area / 90e-3**2), rel=2e-3)
    assert Bend(math.pi, 18e-3, 180e-3).mass_ratio == pytest.approx(bend.mass_ratio, rel=1e-12)  # any size


def test_impossible_bends() -> None:
    for wrong in (0.0, -1.0, math.nan, math.inf):
        for name, sizes in (("angle", (wrong, 1.0, 1.0)), ("radius", (1.0, wrong, 1.0)), ("width", (1.0, 1.0, wrong))):
            with pytest.raises(ValueError, match=name):
                Bend(*sizes)
    with pytest.raises(ValueError, match="more than a full turn: 400 degrees"):
        Bend(math.radians(400), 0.01, 0.1)
