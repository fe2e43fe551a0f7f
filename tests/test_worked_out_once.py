"""What is worked out once for many: the same as one by one, by the slower way or by a general library."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from enclosures.air import Air
from enclosures.baffle import Box, Source, free_paths
from enclosures.interpolation import cubic_spline
from enclosures.panels import Panel
from enclosures.placement import Surroundings, paths, paths_to_many
from filters.elimination import solve_builds
from filters.network import Coupling, Element, Load, Network
from filters.network import solve as network_solve
from filters.parts import Capacitor, Coil, Resistor
from system import summary
from system.build import build
from system.filling import refilled
from system.kitfile import load_kit
from system.predict import flows, solve
from system.refit import fitted_from, with_part, with_parts
from system.transfer import motion, paths_aside
from tests.test_cli import MARSHLIGHT, loaded_by

AIR = Air(1.204, 343.2)
OMEGA = 2 * np.pi * np.geomspace(20.0, 20e3, 40)
POINTS = np.array([[0.1, 0.2, 2.0], [0.9, 0.3, 1.8], [-0.4, 1.1, 1.7]])


@pytest.mark.parametrize("count", [4, 5, 60])
def test_the_cubic_spline_is_that_of_a_general_library(count: int) -> None:
    """scipy.interpolate.CubicSpline, not-a-knot; ends and what lies between."""
    draw = np.random.default_rng(count)
    places = np.cumsum(draw.uniform(0.2, 3.0, count))
    values = draw.normal(size=(count, 3)) + 1j * draw.normal(size=(count, 3))
    at = np.concatenate([places, np.linspace(places[0], places[-1], 301)])
    np.testing.assert_allclose(cubic_spline(places, values, at), CubicSpline(places, values)(at), atol=1e-11)


@pytest.mark.parametrize("radius", [0.0, 0.015])
@pytest.mark.parametrize(
    "around",
    [
        Surroundings(),
        Surroundings(below=0.0, wall_behind=0.2),
        Surroundings(below=0.0, surfaces={"below": "carpet"}, tilt=0.0),
        Surroundings(below=0.3, panels=(Panel("left", 0.1, front=0.3, height=0.8),)),
        Surroundings(in_wall=True),
    ],
)
def test_no_listener_changes_what_another_hears(around: Surroundings, radius: float) -> None:
    """Linear acoustics: each hears alone what he hears among others, though a panel hides one of them only."""
    box = Box(0.2, 0.35, 0.25, radius)
    forward = np.array([0.0, 0.0, 1.0])
    # a cone and what leaks beside it are at one place
    sources = [Source(np.array([0.1, y, 0.0]), forward, a) for y, a in ((0.25, 0.05), (0.1, 0.0), (0.25, 0.0))]
    together = paths_to_many(box, around, sources, POINTS, OMEGA, AIR)
    for p, point in enumerate(POINTS):
        alone = paths(box, around, sources, point, OMEGA, AIR)
        np.testing.assert_allclose(together[:, p], alone, atol=1e-12 * np.abs(alone).max())


def test_sources_in_one_place_are_one() -> None:
    """Two sources at one place, of one radius and none: the narrower wave of the first is all that tells them apart."""
    box, place, forward = Box(0.2, 0.35, 0.25), np.array([0.1, 0.25, 0.0]), np.array([0.0, 0.0, 1.0])
    low = OMEGA[:3]  # k a below 0.01: 2 J1(x)/x is 1 - x^2/8 (NIST DLMF 10.2.2)
    found = free_paths(box, [Source(place, forward, 0.01), Source(place, forward)], POINTS, low, AIR)
    np.testing.assert_allclose(found[..., 0], found[..., 1], rtol=2e-5)


@pytest.mark.parametrize("name", ["centre", "tall"])
def test_every_value_of_stock_at_once_is_each_alone(name: str) -> None:
    """Star-mesh of all of them against nodal analysis of each (filters.elimination, filters.network)."""
    kit = load_kit(MARSHLIGHT)
    model = build(kit, kit.variants[name])
    moved = motion(model, summary.GRID[::40])
    for reference in ("L1", "C3", "R1"):
        part = model.variant.places[reference].part
        offers = kit.stock.between(part.kind, part.value / 4, part.value * 4)
        parts = [part, *(fitted_from(part, item) for item in offers)]
        assert len(parts) > 12
        together = flows(with_parts(model, reference, parts), moved, 2.83)
        assert together.recomputed == 0
        for i, each in enumerate(parts):
            alone = solve(with_part(model, reference, each), moved, 2.83)
            np.testing.assert_allclose(together.load_current[i], alone.load_current, rtol=1e-11, atol=1e-14)
            np.testing.assert_allclose(together.input_impedance[i], alone.input_impedance, rtol=1e-11)


def test_every_filling_at_once_is_each_alone() -> None:
    """The loads of several enclosures on one network: star-mesh of all against nodal analysis of each."""
    kit = load_kit(MARSHLIGHT)
    variant = kit.variants["tall"]
    model = build(kit, variant)

    def denser(factor: float) -> np.ndarray:
        changed = refilled(variant, lambda spec: replace(spec, flow_resistivity=spec.flow_resistivity * factor))
        return motion(build(kit, changed), summary.GRID[::40]).impedance

    moved = motion(model, summary.GRID[::40])
    loads = np.array([denser(factor) for factor in (0.5, 1.0, 3.0)])
    together = flows(model, moved, 1.0, loads)
    for i, load in enumerate(loads):
        alone = solve(model, replace(moved, impedance=load), 1.0)
        np.testing.assert_allclose(together.load_current[i], alone.load_current, rtol=1e-11, atol=1e-14)
    assert np.ptp(np.abs(together.load_current), axis=0).max() > 1e-3  # the fillings do differ


@pytest.mark.parametrize("zero", [False, True])
def test_what_flows_in_an_element_is_told_where_it_is_asked_for(zero: bool) -> None:
    """Coupled coils, a lossy capacitor, a resistor over builds: star-mesh against nodal analysis, which also takes over
    where a resistor is a wire in every build and nothing is left to divide by."""
    over = np.zeros(3) if zero else np.array([0.5, 2.0, 30.0])
    network = Network(
        ("in", "common"),
        (
            Element("C1", Capacitor(10e-6, 0.05, 0.01, 1e3), "in", "a"),
            Element("L1", Coil(np.array([1e-3, 2e-3, 3e-3]), 0.3), "a", "b"),
            Element("L2", Coil(0.4e-3, 0.2), "b", "common"),
            Element("R1", Resistor(over), "b", "c"),
        ),
        couplings=(Coupling("L1", "L2", 0.2),),
        loads=(Load("one", "c", "common"),),
    )
    load = np.full((OMEGA.size, 1, 1), 6.0 + 1.0j)
    asked = ["R1", "L2", "C1", "L1"]
    found = solve_builds(network, OMEGA, load, 2.0, 0.1, asked)
    reference = network_solve(network, OMEGA, load, 2.0, 0.1)
    order = [[e.reference for e in network.elements].index(name) for name in asked]
    np.testing.assert_allclose(found.element_current, reference.element_current[..., order], rtol=1e-10)
    np.testing.assert_allclose(found.load_current, reference.load_current, rtol=1e-10)
    assert found.recomputed == (3 * OMEGA.size if zero else 0)


def test_listeners_to_the_side_are_those_of_other_angles() -> None:
    """Symmetry: the cutouts of this cabinet lie on its middle line, so left and right hear the same."""
    kit = load_kit(MARSHLIGHT)
    model = build(kit, kit.variants["tall"])
    left, ahead, right = paths_aside(model, summary.GRID[::60], [(-0.2, 0.0), (0.0, 0.0), (0.2, 0.0)])
    np.testing.assert_allclose(left.drivers, right.drivers, atol=1e-9)
    assert np.abs(left.drivers - ahead.drivers).max() > 1e-3


def test_a_kit_without_tables_or_lines_needs_no_scipy(tmp_path: Path) -> None:
    """What takes an eighth of a second to load is loaded by those who use it."""
    file = tmp_path / "kit.yaml"
    assert loaded_by("start", "--smallest", "-o", str(file)) == set()
    assert loaded_by("predict", str(file), "--json", "-o", str(tmp_path / "found.json")) == {"numpy"}
