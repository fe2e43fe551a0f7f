"""What the public docstrings of `enclosures` say is refused, one value each side of every border.

The borders are geometry or law: lengths are above zero, a place lies on its line, c_p is not below c_v (Mayer), a
shape's hydraulic radius is at most a circle's (isoperimetric inequality), two ideal openings at one place are a loop
without impedance.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from enclosures.air import Air, moist_air
from enclosures.baffle import Box, Source, free_paths
from enclosures.driver import ShuntedCoil, heated_resistance
from enclosures.line import Line, Mouth, Section
from enclosures.placement import Surroundings, turned
from enclosures.sealed import SealedBox
from enclosures.vented import Port
from tests.support_enclosures import AIR, WOOFER

OMEGA = 2.0 * math.pi * np.array([40.0, 400.0])
PIPE = Section(1.0, 0.01)


def open_pipe(*places: float | None) -> Line:
    return Line((PIPE,), (0.1,), tuple(Mouth("ideal", at=at) for at in places))


@pytest.mark.parametrize(
    ("right", "wrong", "says"),
    [
        (lambda: moist_air(293.15, 1e6, 0.5), lambda: moist_air(293.15, 1.001e6, 0.5), "pressure"),
        (lambda: ShuntedCoil(0.0, 1e-3, 10.0), lambda: ShuntedCoil(-1e-6, 1e-3, 10.0), "series"),
        (lambda: Air(1.2, 343.0, heat_ratio=1.0), lambda: Air(1.2, 343.0, heat_ratio=0.999), "heat_ratio"),
        (lambda: Air(1.2, 343.0), lambda: Air(1.2, math.inf), "speed_of_sound"),
        (
            lambda: Section(1.0, 0.01, hydraulic_ratio=1.0),
            lambda: Section(1.0, 0.01, hydraulic_ratio=1.01),
            "hydraulic",
        ),
        (lambda: Section(1.0, 0.01, mass_ratio=1e-3), lambda: Section(1.0, 0.01, mass_ratio=0.0), "mass ratio"),
        (lambda: Section(1.0, 0.01, 1e-9), lambda: Section(1.0, 0.01, 0.0), "end area"),
        (lambda: Port(0.01, 0.1, clearance=1e-3), lambda: Port(0.01, 0.1, clearance=0.0), "clearance"),
        (lambda: Port(0.01, 0.1, count=1), lambda: Port(0.01, 0.1, count=0), "count"),
        (lambda: Port(0.01, 0.1, hydraulic_ratio=1.0), lambda: Port(0.01, 0.1, hydraulic_ratio=1.1), "hydraulic"),
        (lambda: open_pipe(0.5, None), lambda: open_pipe(1.0, None), "two ideal openings"),
        (lambda: open_pipe(0.5, 0.7, None), lambda: open_pipe(0.5, 0.5, None), "two ideal openings"),
        (lambda: Line((PIPE,), (1.0,)), lambda: Line((PIPE,), (1.001,)), "a driver at"),
        (lambda: Line((PIPE,), (0.0,)), lambda: Line((PIPE,), (-0.001,)), "a driver at"),
        (lambda: Surroundings(tilt=math.radians(30)), lambda: Surroundings(tilt=math.radians(30.1)), "30 degrees"),
        (lambda: Surroundings(lean=-math.radians(30)), lambda: Surroundings(lean=-math.radians(30.1)), "30 degrees"),
        (lambda: open_pipe(0.0), lambda: open_pipe(1.001), "a mouth at"),
        (lambda: SealedBox(0.03, along=0.5, positions=(0.5,)), lambda: SealedBox(0.03, along=0.0), "length along"),
        (
            lambda: SealedBox(0.03, along=0.5, positions=(0.0,)),
            lambda: SealedBox(0.03, along=0.5, positions=(0.501,)),
            "outside",
        ),
        (
            lambda: SealedBox(0.03, along=0.5, positions=(0.1,)).load(OMEGA, AIR, [WOOFER]),
            lambda: SealedBox(0.03, along=0.5, positions=(0.1, 0.2)).load(OMEGA, AIR, [WOOFER]),
            "2 positions for 1",
        ),
        (
            lambda: Line((PIPE,), (0.1,)).load(OMEGA, AIR, [WOOFER]),
            lambda: Line((PIPE,), (0.1, 0.2)).load(OMEGA, AIR, [WOOFER]),
            "2 positions for 1",
        ),
    ],
)
def test_each_side_of_the_border(right: Callable[[], object], wrong: Callable[[], object], says: str) -> None:
    right()
    with pytest.raises(ValueError, match=says):
        wrong()


@pytest.mark.parametrize("kelvin", [200.0, 600.0])
def test_a_winding_is_told_only_where_metals_are_straight_lines(kelvin: float) -> None:
    assert heated_resistance(6.0, kelvin, "copper") > 0.0
    with pytest.raises(ValueError, match="between 200 and 600 K"):
        heated_resistance(6.0, kelvin + math.copysign(0.5, kelvin - 400.0), "copper")


@pytest.mark.parametrize("turned_by", [1e-3, 0.3])
def test_a_source_that_does_not_look_straight_out_of_its_face_is_refused(turned_by: float) -> None:
    box = Box(0.2, 0.4, 0.3)
    place, _ = box.point("front", (0.1, 0.2))
    aslant = Source(place, np.array([math.sin(turned_by), 0.0, math.cos(turned_by)]))
    with pytest.raises(ValueError, match="not on a face"):
        free_paths(box, [aslant], np.array([[0.1, 0.2, 2.0]]), OMEGA, AIR)


@pytest.mark.parametrize("place", [(-0.01, 0.2), (0.21, 0.2), (0.1, -0.01), (0.1, 0.41)])
def test_a_source_beside_its_face_is_refused(place: tuple[float, float]) -> None:
    source = Source(np.array([*place, 0.0]), np.array([0.0, 0.0, 1.0]))
    with pytest.raises(ValueError, match="not on a face"):
        free_paths(Box(0.2, 0.4, 0.3), [source], np.array([[0.1, 0.2, 2.0]]), OMEGA, AIR)


def test_nothing_that_radiates_has_no_paths() -> None:
    found = free_paths(Box(0.2, 0.4, 0.3), [], np.array([[0.1, 0.2, 2.0], [0.1, 0.2, 3.0]]), OMEGA, AIR)
    assert found.shape == (2, 2, 0)


def test_a_cabinet_that_is_not_turned_stands_as_it_was() -> None:
    np.testing.assert_array_equal(turned(), np.eye(3))
