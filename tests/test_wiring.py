"""The wiring list holds the whole circuit, no more and no less."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from system.examples import scenarios
from system.kit import Hookup, Kit, Part, Place, Variant
from system.kitfile import load_kit
from system.workshop.wiring import INPUT, joints, polarities

EXAMPLE = load_kit(Path(scenarios()) / "marshlight" / "kit.yaml", ())


def _points(kit: Kit, variant: Variant) -> dict[tuple[str, str], set[str]]:
    """Which points each thing joins by the list."""
    found: dict[tuple[str, str], set[str]] = {}
    for joint in joints(kit, variant):
        for end in joint.ends:
            found.setdefault((end.kind, end.of), set()).add(joint.point)
    return found


@pytest.mark.parametrize("name", EXAMPLE.variants)
def test_the_list_is_the_circuit(name: str) -> None:
    variant = EXAMPLE.variants[name]
    found = _points(EXAMPLE, variant)
    wanted = {("input", INPUT): set(EXAMPLE.input)}
    for reference, place in variant.places.items():
        if place.state != "omit":
            wanted["part" if place.state == "fit" else "link", reference] = set(place.between)
    for driver, hookup in variant.hookups.items():
        wanted["driver", driver] = {hookup.plus, hookup.minus}
    assert found == wanted


def test_the_common_line_comes_first_and_then_the_way_of_the_signal() -> None:
    order = [joint.point for joint in joints(EXAMPLE, EXAMPLE.variants["wall"])]
    assert order == ["common", "in", "w1", "w2", "t1", "t2"]


_POINTS = st.sampled_from(["in", "common", "a", "b", "c", "d"])
_PAIRS = st.tuples(_POINTS, _POINTS).filter(lambda pair: pair[0] != pair[1])


@given(st.lists(st.tuples(_PAIRS, st.sampled_from(["fit", "link", "omit"])), max_size=8), st.lists(_PAIRS, min_size=1))
def test_every_end_is_listed_once(places: list[tuple[tuple[str, str], str]], drivers: list[tuple[str, str]]) -> None:
    """Each joint once; of everything fitted, linked or hooked up its two ends; nothing of what is left out."""
    wall = EXAMPLE.variants["wall"]
    woofer = wall.hookups["woofer_a"].driver
    variant = replace(
        wall,
        places={
            f"P{i}": Place(f"P{i}", Part("resistor", 1.0), between, state)  # type: ignore[arg-type]
            for i, (between, state) in enumerate(places)
        },
        hookups={f"d{i}": Hookup(f"d{i}", woofer, *pair) for i, pair in enumerate(drivers)},
    )
    listed = joints(EXAMPLE, variant)
    points = [joint.point for joint in listed]
    assert len(points) == len(set(points))
    assert points[0] == EXAMPLE.input[1]
    ends = Counter(end.of for joint in listed for end in joint.ends)
    assert ends == {
        INPUT: 2,
        **{f"P{i}": 2 for i, (_, state) in enumerate(places) if state != "omit"},
        **{f"d{i}": 2 for i in range(len(drivers))},
    }
    assert {end.of: end.kind for joint in listed for end in joint.ends if end.of.startswith("P")} == {
        f"P{i}": "part" if state == "fit" else "link" for i, (_, state) in enumerate(places) if state != "omit"
    }


def test_polarity_is_told_as_it_is_wired() -> None:
    told = {each.driver: each for each in polarities(EXAMPLE, EXAMPLE.variants["centre"])}
    assert (told["tweeter"].plus, told["tweeter"].minus) == ("common", "t2")
    assert told["tweeter"].way_round == "against_its_marks"
    assert told["tweeter"].on_purpose
    assert told["woofer_a"].way_round == "by_its_marks"
