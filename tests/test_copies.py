"""Copies of a board in a cabinet, many at once: against the same built one by one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from filters.network import Element, Link, Load, Network, solve
from filters.parts import Resistor
from system.bench.cabinets import differences, inhabited
from system.bench.copies import figures, fs_ratio, grounded, value_spread
from system.bench.faults import RIGHT, wrong
from system.bench.hypotheses import RIGHT_PRIOR, priors, thinned
from system.builds import Draws, DriverFactors, draw
from system.transfer import motion
from tests.support_builds import one_copy
from tests.support_diagnosis import FREQUENCY, KIT, NAMES, hypotheses, impedance, with_woofers


@pytest.mark.parametrize("name", NAMES)
def test_copies_as_drawn_are_the_ordinary_build(name: str) -> None:
    """Each mistake, one build at a time through `system.build` and the nodal equations.

    1e-6: where fs has its nominal value is found on a grid of 20 001 places.
    """
    made = hypotheses(name)
    used = FREQUENCY[made.chosen]
    for each in made.all:
        centre = np.zeros((1, len(made.layout)))
        for i, column in enumerate(made.layout.names):
            if column.endswith(" fs") and "own" not in column:  # where fs is its nominal value
                centre[0, i] = np.interp(1.0, fs_ratio(np.linspace(-1, 0, 20001), 0.1), np.linspace(-1, 0, 20001))
        found = np.exp(each.copies.log_impedance(centre)[0])
        variant = wrong(KIT, KIT.variants[name], each.fault)
        np.testing.assert_allclose(found, impedance(KIT, variant, used), rtol=1e-6)


def test_a_copy_with_other_drivers_and_parts_is_one_built_the_ordinary_way() -> None:
    """`tests.support_builds.one_copy` works a copy's parameters out of fs, qts and re and builds it by itself."""
    made, variant = hypotheses("wall"), KIT.variants["wall"]
    random = np.random.default_rng(4)
    u = np.zeros((1, len(made.layout)))
    for name in ("woofer fs", "woofer qts", "woofer re", "woofer_a own fs", "C1 value", "L1 value", "R2 value"):
        u[0, made.layout.names.index(name)] = random.normal()
    right = made.all[made.right].copies
    drivers = {}
    for name, hookup in variant.hookups.items():
        fs, q, re = figures(made.layout, u, name, hookup.driver)
        one = np.ones(1)
        drivers[name] = DriverFactors(fs, q, re, one, one)
    drivers["tweeter"] = DriverFactors(*(np.ones(1) for _ in range(5)))
    values = {
        name: place.part.value * np.exp(value_spread(place.part) * made.layout.column(u, f"{name} value"))
        for name, place in variant.places.items()
    }
    copy = one_copy(KIT, variant, Draws(1, values, drivers), 0)
    used = FREQUENCY[made.chosen]
    expected = solve(copy.network, 2 * np.pi * used, motion(copy, used).impedance).input_impedance
    np.testing.assert_allclose(np.exp(right.log_impedance(u)[0]), expected, rtol=1e-9)


@pytest.mark.parametrize("name", ["wall", "tall"])
def test_chambers_between_their_nodes(name: str) -> None:
    """Where the air of a chamber is interpolated, against the chamber itself, at places that are no nodes.

    1 % of Z is a third of the model's usual error.
    """
    made, variant = hypotheses(name), KIT.variants[name]
    word = "box" if name == "wall" else "line"
    for each in made.all:
        if each.fault.kind not in ("none", "air_leak"):
            continue
        at = {"": 0.0, "closed end": 0.0, "near woofer_a": 0.087, "near woofer_b": 0.367}[each.fault.form]
        leak = at if each.fault.kind == "air_leak" else None
        chamber = inhabited(variant)[0]
        for way in differences(chamber, KIT.air, leak):
            for far in (-1.7, 0.6, 1.2):
                u = np.zeros((1, len(made.layout)))
                u[0, made.layout.names.index(f"{word} {way.name}")] = far
                cabinet = replace(variant.cabinet, chambers=(way.changed(far),))
                base = np.zeros_like(u)
                ratio = each.copies.log_impedance(u)[0] - each.copies.log_impedance(base)[0]
                # with fs as the layout has it at zero
                other = with_woofers(variant, fs=float(fs_ratio(np.zeros(1), 0.1)[0]))
                used = FREQUENCY[made.chosen]
                nominal = impedance(KIT, wrong(KIT, other, each.fault), used)
                exact = np.log(impedance(KIT, replace(other, cabinet=cabinet), used) / nominal)
                assert np.abs(ratio - exact).max() < 0.01, (each.fault, way.name, far)


def test_priors() -> None:
    every = [each.fault for each in hypotheses("wall").all]
    p = priors(every)
    assert math.isclose(p.sum(), 1)
    assert p[every.index(RIGHT)] == RIGHT_PRIOR
    kinds = {fault.kind: sum(p[i] for i, each in enumerate(every) if each.kind == fault.kind) for fault in every[1:]}
    assert max(kinds.values()) - min(kinds.values()) < 1e-12


def test_fs_may_be_higher_by_more_than_lower() -> None:
    low, middle, high = fs_ratio(np.array([-1.0, 0.0, 1.0]), 0.1)
    assert 1 < middle < 1.05
    assert high / middle > middle / low
    assert fs_ratio(np.array([2.0]), 0.1)[0] > 1.15  # a new driver is within two standard deviations


def test_thinned() -> None:
    assert list(thinned(np.geomspace(10, 20e3, 50))) == list(range(50))
    few = thinned(np.geomspace(10, 20e3, 5000))
    assert few[0] == 0
    assert few[-1] == 4999
    assert 120 < few.size < 140


def test_the_spread_of_a_group_is_that_of_its_drawn_members() -> None:
    """Against 20 000 copies of `system.builds`, each member of the group drawn evenly; 3 % is 4 sd of that."""
    variant = KIT.variants["wall"]
    drawn = draw(KIT, variant, 20_000, seed=6, law="uniform")
    for name, values in drawn.values.items():
        assert np.std(np.log(values)) == pytest.approx(value_spread(variant.places[name].part), rel=0.03)


def test_what_hangs_is_tied_and_a_short_is_told() -> None:
    """Two loads in series between points that lead nowhere else; a link from one input point to the other."""
    loads = (Load("a", "x", "y"), Load("b", "y", "x"))
    network = Network(("in", "common"), (Element("R", Resistor(8.0), "in", "common"),), (), (), loads)
    made = grounded(network)
    assert made is not None
    found = solve(made, np.array([100.0]), np.diag([4.0, 4.0])[None] + 0j).input_impedance
    assert found[0] == pytest.approx(8)
    assert grounded(replace(network, links=(Link("in", "common"),))) is None
