"""What proves a suspected mistake: ohms, cones and levels by hand and by the full prediction; the order of tests."""

from __future__ import annotations

import math

import numpy as np
import pytest

from system.bench.faults import RIGHT, Fault, faults
from system.bench.proving import KINDS, Proof, prove
from system.bench.trials import Bench, Seen, cells
from system.kit import Kit
from system.kitfile import load_kit
from system.predict import predict
from system.summary import level
from tests.support_bench import FREQUENCY, MISTAKES
from tests.test_cli import MARSHLIGHT

KIT = load_kit(MARSHLIGHT)
BENCHES = {name: Bench(KIT, variant) for name, variant in KIT.variants.items()}
WALL = BENCHES["wall"]


def proof(suspect: Fault, kind: str, rivals: tuple[Fault, ...] = (RIGHT,), bench: Bench = WALL) -> Proof:
    return next(each for each in prove(bench, suspect, rivals) if each.kind == kind)


def seen(found: Proof, fault: Fault) -> Seen:
    return next(outcome.seen for outcome in found.outcomes if fault in outcome.faults)


def parallel(*ohms: float) -> float:
    return 1 / sum(1 / ohm for ohm in ohms)


def test_ohmmeter() -> None:
    """From `common` to t2 of Marshlight's `wall`: L2 (0.45 ohm) and R1 (1.2) in series, beside R2 (15) and, connected,
    the tweeter (5.3); Ohm's law. With R1 a wire it is L2 alone beside those."""
    linked = Fault("linked", "R1")
    for kind, beside in (("meter", (15.0, 5.3)), ("apart", (15.0,))):
        found = proof(linked, kind)
        right, wrong = seen(found, RIGHT).window, seen(found, linked).window
        assert right is not None
        assert wrong is not None
        assert right.between == wrong.between == ("common", "t2")
        assert right.nominal == pytest.approx(parallel(0.45 + 1.2, *beside))
        assert wrong.nominal == pytest.approx(parallel(0.45, *beside))
        assert wrong.high < right.low


def test_every_mistake_has_its_proof() -> None:
    """On the board of every variant; what is found under it can be taken for nothing of the right build."""
    order = list(KINDS)
    for bench in BENCHES.values():
        for fault in faults(KIT, bench.variant):
            if fault == RIGHT:
                continue
            proofs = prove(bench, fault, [RIGHT])
            assert proofs, fault
            assert [order.index(each.kind) for each in proofs] == sorted(order.index(each.kind) for each in proofs)
            for each in proofs:
                assert each.splits == (RIGHT,)
                assert RIGHT in each.outcomes[0].faults
                right, wrong = seen(each, RIGHT), seen(each, fault)
                assert right.says != wrong.says
                if right.window is not None and wrong.window is not None:
                    ohms = [0.0, math.inf, *np.geomspace(1e-3, 1e7, 400)]
                    assert not any(right.window.holds(ohm) and wrong.window.holds(ohm) for ohm in ohms)


def test_soldering_comes_last_and_only_where_it_must() -> None:
    """No ohmmeter reads a capacitor of half the value; a resistor left out it does."""
    halved, missing = Fault("halved", "C3"), Fault("missing", "R1")
    assert [each.kind for each in prove(WALL, halved, [RIGHT])] == ["look", "lift_leg"]
    assert proof(halved, "lift_leg").solder
    assert seen(proof(halved, "lift_leg"), RIGHT).says == "6.46 uF to 7.14 uF"  # 6.8 uF and 5 %
    assert seen(proof(halved, "lift_leg"), halved).says == "3.23 uF to 3.57 uF"
    assert not any(each.solder for each in prove(WALL, missing, [RIGHT]))


def test_what_is_printed() -> None:
    pair = Fault("one_of_pair_open", "C1", "120 uF")
    assert seen(proof(pair, "look"), RIGHT).says == "C1: 100 uF and 120 uF side by side"
    assert seen(proof(pair, "look"), pair).says == "C1: 100 uF only, 120 uF missing or with a leg that is loose"
    swapped = Fault("exchanged", "C2, C3")
    assert seen(proof(swapped, "look"), RIGHT).says == "C2: 10 uF; C3: 6.8 uF"
    assert seen(proof(swapped, "look"), swapped).says == "C2: 6.8 uF; C3: 10 uF"
    linked = Fault("linked", "C1")
    assert seen(proof(linked, "look"), linked).says == "C1: a wire"
    centre = Fault("wrong_variant", "centre")
    assert seen(proof(centre, "look"), centre).says == "L1: 0.68 mH"


@pytest.mark.parametrize(
    ("mistake", "fault"),
    [
        (None, RIGHT),
        ("woofer_a turned", Fault("driver_reversed", "woofer_a")),
        ("tweeter turned", Fault("driver_reversed", "tweeter")),
    ],
)
def test_a_cell_moves_the_cones_as_their_currents_go(mistake: str | None, fault: Fault) -> None:
    """At 1 Hz the coil's current is that of a cell: into plus (its real part above zero) the cone goes out
    (IEC 60268-5: a positive voltage on the marked terminal moves the diaphragm outward). `tall` conducts there."""
    kit = load_kit(MARSHLIGHT, MISTAKES[mistake] if mistake else ())
    moved = predict(kit, kit.variants["tall"], np.array([0.5, 1.0]), 1.5)
    ways = BENCHES["tall"].moves(fault)
    assert set(ways) == {"woofer_a", "woofer_b"}
    for name, way in ways.items():
        assert way == ("out" if moved.drivers[name].current[1].real > 0 else "in")


def test_a_cell_finds_what_is_turned() -> None:
    turned = Fault("driver_reversed", "woofer_a")
    found = proof(turned, "battery")
    assert seen(found, RIGHT).says == "woofer_a out, woofer_b out"
    assert seen(found, turned).says == "woofer_a in, woofer_b out"
    assert any("never a cell on a tweeter" in caution for caution in found.cautions)
    # the tweeter turned moves no woofer, yet tells from both woofers turned, which sounds the same
    both = Fault("driver_reversed", "woofer_a, woofer_b")
    assert proof(Fault("driver_reversed", "tweeter"), "battery", (RIGHT, both)).splits == (both,)


@pytest.mark.parametrize("mistake", ["C2 left out", "R1 a wire", "C3 twice", "L1 half", "120 uF open"])
def test_levels_of_drivers(mistake: str) -> None:
    """Over all that each driver plays, against two full predictions on a grid of their own."""
    fault = {
        "C2 left out": Fault("missing", "C2"),
        "R1 a wire": Fault("linked", "R1"),
        "C3 twice": Fault("doubled", "C3"),
        "L1 half": Fault("halved", "L1"),
        "120 uF open": Fault("one_of_pair_open", "C1", "120 uF"),
    }[mistake]
    wrong = load_kit(MARSHLIGHT, MISTAKES[mistake])
    f = FREQUENCY[(FREQUENCY >= 40) & (FREQUENCY <= 16e3)]

    def powers(kit: Kit) -> dict[str, float]:
        drivers = predict(kit, kit.variants["wall"], f).drivers
        return {name: float(np.sum(np.abs(driver.pressure) ** 2)) for name, driver in drivers.items()}

    right, now = powers(KIT), powers(wrong)
    for name, by in WALL.levels(fault).items():
        assert by == pytest.approx(10 * math.log10(now[name] / right[name]), abs=0.2)


def test_listening_finds_what_is_silent() -> None:
    for fault, silent in ((Fault("missing", "C1"), "woofer_a"), (Fault("driver_open", "tweeter"), "tweeter")):
        found = proof(fault, "listen")
        assert f"{silent} is silent" in seen(found, fault).says
        assert f"{silent} plays" in seen(found, RIGHT).says


def test_the_null_that_a_microphone_is_to_find() -> None:
    """As deep as the two predictions are apart there, smoothed or not within 3 dB."""
    turned = Fault("driver_reversed", "tweeter")
    kit = load_kit(MARSHLIGHT, MISTAKES["tweeter turned"])
    f = np.geomspace(1500, 4000, 200)
    right, wrong = (level(predict(each, each.variants["centre"], f).pressure) for each in (KIT, kit))
    words = seen(proof(turned, "microphone", bench=BENCHES["centre"]), turned).says
    assert float(words.split()[4]) == pytest.approx(float(np.max(right - wrong)), abs=3)
    # a woofer that shares its chamber shows in a sweep, and a microphone's null is not told of it
    assert not any(each.kind == "microphone" for each in prove(WALL, Fault("driver_reversed", "woofer_a"), [RIGHT]))


def test_tests_of_the_cabinet() -> None:
    leak, fill = Fault("air_leak", "box"), Fault("wrong_fill", "box", "none")
    assert "sinks back" in seen(proof(leak, "press"), leak).says
    assert seen(proof(fill, "take_out"), fill).says == "no filling"
    mouth = Fault("blocked_mouth", "mouth")
    assert seen(proof(mouth, "look", bench=BENCHES["tall"]), mouth).says == "closed"
    # of a line the places are sealed one at a time
    leaks = [each for each in faults(KIT, KIT.variants["tall"]) if each.kind == "air_leak"]
    found = proof(leaks[0], "seal", (RIGHT, *leaks[1:]), BENCHES["tall"])
    assert set(found.splits) == {RIGHT, *leaks[1:]}
    # no closed box: pressing a cone tells nothing of a line that is open anyway
    line = next(each for each in faults(KIT, KIT.variants["tall"]) if each.kind == "air_leak")
    assert not any(each.kind == "press" for each in prove(BENCHES["tall"], line, [RIGHT]))


def test_done_is_not_asked_for_again() -> None:
    turned = Fault("driver_reversed", "tweeter")
    assert "microphone" in {each.kind for each in prove(WALL, turned, [RIGHT])}
    assert "microphone" not in {each.kind for each in prove(WALL, turned, [RIGHT], done=("microphone",))}


def test_no_cell_where_it_would_reach_a_tweeter() -> None:
    """With C3 bridged, 1.5 V at the input would drive the dome through R1; with C3 there is no way for it."""
    assert list(cells(WALL, Fault("driver_reversed", "woofer_a")))
    assert not list(cells(WALL, Fault("linked", "C3")))
