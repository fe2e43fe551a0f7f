"""Folded lines: legs, folds and corners against the boxes they lie in."""

from __future__ import annotations

import math

import numpy as np
import pytest

from system.cabinet import BendSpec, SectionSpec
from system.workshop.folding import Room, corners, fold_boards, fold_volume, rooms


def test_corners_of_a_bend() -> None:
    """A half turn lies in a rectangle of 2 r2 by r2 and takes half a disc of it; a quarter in a square, a quarter disc.

    For any turn: the area between two tangents and the circle, by summing thin sectors up to the tangent lines.
    """
    for angle, area in ((math.pi, 2 - math.pi / 2), (math.pi / 2, 1 - math.pi / 4)):
        bend = SectionSpec(1.0, 0.02, 0.02, bend=BendSpec(angle, 0.01, 0.1))
        assert corners(bend) == pytest.approx(area * 0.11**2 * 0.2, rel=1e-12)
    turn = math.radians(70)
    theta = (np.arange(200000) + 0.5) / 200000 * turn / 2  # from a tangent point to the middle, and twice
    sectors = np.sum((1 / np.cos(theta)) ** 2 - 1) / 2 * turn / 2 / theta.size * 2
    bend = SectionSpec(1.0, 0.02, 0.02, bend=BendSpec(turn, 0.01, 0.1))
    assert corners(bend) == pytest.approx(sectors * 0.11**2 * 0.2, rel=1e-9)
    assert corners(SectionSpec(1.0, 0.02, 0.02)) == 0


def folded(inner: float, *legs: float) -> tuple[SectionSpec, ...]:
    """Legs 160 mm wide and 100 mm deep, with half turns between them."""
    area, bend = 0.016, BendSpec(math.pi, inner, 0.1)
    turn = SectionSpec(math.pi * (inner + 0.05), area, area, bend=bend, sides=(0.16, 0.1))
    profile: list[SectionSpec] = []
    for length in legs:
        profile += [*([turn] if profile else []), SectionSpec(length, area, area, sides=(0.16, 0.1))]
    return tuple(profile)


def test_a_fold_fills_the_box_about_it() -> None:
    """Two equal legs and their fold lie in a box of (length + r2) by 2 depths and a board: line, board and corners
    together are that box."""
    inner, length = 0.009, 0.5
    profile = folded(inner, length, length)
    air = sum(section.length * section.area for section in profile)  # Pappus
    ((number, board),) = fold_boards(profile)
    assert number == 1
    assert (board.length, board.width, board.thickness) == pytest.approx((length + inner, 0.16, 2 * inner))
    box = (length + inner + 0.1) * (2 * 0.1 + 2 * inner) * 0.16
    assert air + fold_volume(board) + corners(profile[1]) == pytest.approx(box, rel=1e-12)
    (room,) = rooms(profile)
    assert (room.along, room.across, room.width) == pytest.approx((length + inner + 0.1, 0.218, 0.16))
    assert room.goes_into((0.218, 0.16, 0.61))
    assert not room.goes_into((0.216, 0.16, 0.61))


def test_three_legs_and_runs_round_a_corner() -> None:
    """By hand: legs of 500, 400 and 450 mm, radii 10 mm: the middle leg between two folds that reach 110 mm beyond it.

    From the far fold at 500 - 400 - 110 = -10 mm to the near one at 610 mm: 620 mm; the first leg begins at 0, the last
    ends at 100 + 450 = 550.
    """
    (room,) = rooms(folded(0.01, 0.5, 0.4, 0.45))
    assert (room.along, room.across) == pytest.approx((0.62, 0.34))
    quarter = SectionSpec(0.1, 0.016, 0.016, bend=BendSpec(math.pi / 2, 0.01, 0.1), sides=(0.16, 0.1))
    straight = SectionSpec(0.3, 0.016, 0.016, sides=(0.16, 0.1))
    found = rooms((straight, quarter, replace_length(straight, 0.7)))
    assert [room.along for room in found] == pytest.approx([0.41, 0.81])
    assert [room.across for room in found] == pytest.approx([0.1, 0.1])
    assert not fold_boards((straight, quarter, straight))


def replace_length(section: SectionSpec, length: float) -> SectionSpec:
    return SectionSpec(length, section.area, section.end_area, sides=section.sides)


def test_a_round_line_goes_by_its_area() -> None:
    assert Room(0.5, 0.0, 0.0, 0.03).goes_into((0.2, 0.5, 0.16))
    assert not Room(0.5, 0.0, 0.0, 0.03).goes_into((0.2, 0.5, 0.14))
