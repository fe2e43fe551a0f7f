"""The mistakes that a variant can have, and what each of them builds."""

from __future__ import annotations

import numpy as np
import pytest

from system.bench.faults import KINDS, RIGHT, Fault, board, faults, wrong
from system.build import build
from system.examples import scenarios
from system.kit import LineChamber, SealedChamber
from system.kitfile import load_kit
from system.predict import solve
from system.transfer import motion

KIT = load_kit(scenarios() / "marshlight" / "kit.yaml")
FREQUENCY = np.geomspace(20, 20e3, 60)


def of(variant: str, kind: str) -> list[Fault]:
    return [fault for fault in faults(KIT, KIT.variants[variant]) if fault.kind == kind]


def impedance(variant: str, fault: Fault) -> np.ndarray:
    model = build(KIT, wrong(KIT, KIT.variants[variant], fault))
    return solve(model, motion(model, FREQUENCY), 1.0).input_impedance


@pytest.mark.parametrize("name", KIT.variants)
def test_each_is_there_once_and_the_right_build_first(name: str) -> None:
    every = faults(KIT, KIT.variants[name])
    assert every[0] == RIGHT
    assert len(set(every)) == len(every)
    assert {fault.kind for fault in every} <= set(KINDS)


def test_the_example_has_every_kind() -> None:
    found = {fault.kind for variant in KIT.variants.values() for fault in faults(KIT, variant)}
    assert found == set(KINDS)
    assert len(KINDS) >= 14


def test_a_fitted_part_can_go_missing_be_bridged_doubled_and_halved() -> None:
    fitted = {name for name, place in KIT.variants["wall"].places.items() if place.state == "fit"}
    for kind in ("missing", "linked", "doubled"):
        assert {fault.place for fault in of("wall", kind)} == fitted, kind
    assert {fault.form for fault in of("wall", "one_of_pair_open")} == {"100 uF", "120 uF"}


def test_a_link_can_be_missing_or_have_a_part_in_it() -> None:
    assert "C1" in {fault.place for fault in of("tall", "missing")}
    assert "C1" in {fault.place for fault in of("tall", "fitted_needlessly")}
    made = wrong(KIT, KIT.variants["tall"], of("tall", "fitted_needlessly")[0])
    assert made.places["C1"].state == "fit"


@pytest.mark.parametrize(
    ("fault", "farads"),
    [
        (Fault("doubled", "C2"), 20e-6),
        (Fault("halved", "C2"), 5e-6),
        (Fault("one_of_pair_open", "C1", "100 uF"), None),
        (Fault("pair_in_series", "C1"), 1 / (1 / 100e-6 + 1 / 120e-6)),
    ],
)
def test_values_by_hand(fault: Fault, farads: float | None) -> None:
    """C2 is 10 uF; C1 is 100 uF and 120 uF in parallel, of which one alone is left, or both in series."""
    match = next(
        each for each in faults(KIT, KIT.variants["wall"]) if (each.kind, each.place) == (fault.kind, fault.place)
    )
    part = wrong(KIT, KIT.variants["wall"], match).places[fault.place].part
    if farads is None:
        assert part.value in (pytest.approx(100e-6), pytest.approx(120e-6))
    else:
        assert part.value == pytest.approx(farads)


def test_exchanged_parts_are_of_one_kind_and_change_places() -> None:
    wall = KIT.variants["wall"]
    for fault in of("wall", "exchanged"):
        a, b = fault.place.split(", ")
        made = wrong(KIT, wall, fault)
        assert wall.places[a].part.kind == wall.places[b].part.kind
        assert made.places[a].part.value == wall.places[b].part.value
        assert made.places[b].part.value == wall.places[a].part.value


def test_the_board_of_another_variant_in_this_cabinet() -> None:
    made = wrong(KIT, KIT.variants["tall"], Fault("wrong_variant", "wall"))
    assert made.cabinet == KIT.variants["tall"].cabinet
    assert made.places["C1"].state == "fit"


def test_drivers_leave_the_board_or_turn_round() -> None:
    wall = KIT.variants["wall"]
    opened = board(KIT, wall, Fault("driver_open", "woofer_a"))
    assert "woofer_a" not in opened.hookups
    turned = wrong(KIT, wall, Fault("driver_reversed", "woofer_a")).hookups["woofer_a"]
    assert (turned.plus, turned.minus) == (wall.hookups["woofer_a"].minus, wall.hookups["woofer_a"].plus)


def test_the_cabinet_changes() -> None:
    leaky = wrong(KIT, KIT.variants["wall"], of("wall", "air_leak")[0]).cabinet.chambers[0]
    assert isinstance(leaky, SealedChamber)
    assert leaky.leak < 20
    line = KIT.variants["tall"].cabinet.chambers[0]
    holed = wrong(KIT, KIT.variants["tall"], of("tall", "air_leak")[0]).cabinet.chambers[0]
    closed = wrong(KIT, KIT.variants["tall"], of("tall", "blocked_mouth")[0]).cabinet.chambers[0]
    assert isinstance(line, LineChamber)
    assert isinstance(holed, LineChamber)
    assert isinstance(closed, LineChamber)
    assert len(holed.mouths) == len(line.mouths) + 1
    assert closed.mouths == ()
    assert {fault.form for fault in of("wall", "wrong_fill")} == {"none", "double"}


def test_what_impedance_cannot_tell_is_exact() -> None:
    """A load that is turned round is the same load: alone in its chamber, or all of a chamber together."""
    right = impedance("wall", RIGHT)
    for place in ("tweeter", "woofer_a, woofer_b"):
        np.testing.assert_allclose(impedance("wall", Fault("driver_reversed", place)), right, rtol=1e-9)
    one, other = (impedance("wall", Fault("driver_open", name)) for name in ("woofer_a", "woofer_b"))
    np.testing.assert_allclose(one, other, rtol=1e-9)
    shared = impedance("wall", Fault("driver_reversed", "woofer_a"))
    assert np.abs(shared / right - 1).max() > 0.5
