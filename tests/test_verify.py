"""The verdict on finished speakers: whole kits, some built wrongly, put through the full prediction, and copies."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from system.bench.faults import RIGHT, Fault
from system.bench.meter import Reading, windows
from system.bench.microphone import listen
from system.bench.sides import compare_sides
from system.bench.sweeps import MicrophoneTable, Sweep
from system.bench.verify import Prepared, Verified, judge, verify
from system.kit import Variant
from system.kitfile import load_kit
from system.predict import predict
from system.summary import level
from tests.support_bench import FREQUENCY, MISTAKES, copy_of, impedance, stiffer
from tests.test_cli import MARSHLIGHT

pytestmark = pytest.mark.slow  # together more than a few seconds

Floats = NDArray[np.float64]

KIT = load_kit(MARSHLIGHT)
WALL = KIT.variants["wall"]


@pytest.fixture(scope="module")
def swept() -> Prepared:
    return Prepared.of(KIT, WALL, FREQUENCY)


@pytest.fixture(scope="module")
def unswept() -> Prepared:
    return Prepared.of(KIT, WALL)


def sweep_of(variant: Variant | None = None, mistake: str = "", seed: int = 1, phase: bool = True) -> Sweep:
    kit = load_kit(MARSHLIGHT, MISTAKES[mistake]) if mistake else KIT
    ohms = impedance(kit, variant or kit.variants["wall"], seed=seed)
    return Sweep("sweep.txt", FREQUENCY, np.abs(ohms), np.angle(ohms) if phase else None)


def heard_of(mistake: str = "") -> MicrophoneTable:
    kit = load_kit(MARSHLIGHT, MISTAKES[mistake]) if mistake else KIT
    heard = level(predict(kit, kit.variants["wall"], FREQUENCY).pressure)
    return MicrophoneTable("heard.txt", FREQUENCY, heard + np.random.default_rng(5).normal(0, 1, heard.size))


def probability(found: Verified, *faults: Fault) -> float:
    return math.fsum(p for group in found.likely for fault, p in group.candidates if fault in faults)


def results_of(found: Verified) -> dict[str, str]:
    return {test.name: test.result for test in found.tests}


# -- readings


def test_readings_against_their_windows() -> None:
    """t2 to common with everything connected: (0.45 + 1.2) || 15 || 5.3 ohm by hand; tolerances of coil wire 10 %,
    R1 and R2 5 %, re 4 %, the meter 1 % and 0.1 ohm. Half the window's width beyond is marginal."""
    low = 1 / (1 / (0.45 * 0.9 + 1.2 * 0.95) + 1 / (15 * 0.95) + 1 / (5.3 * 0.96)) * 0.99 - 0.1
    high = 1 / (1 / (0.45 * 1.1 + 1.2 * 1.05) + 1 / (15 * 1.05) + 1 / (5.3 * 1.04)) * 1.01 + 0.1
    half = (high - low) / 2
    cases = [
        (low + 0.001, "pass"),
        (high - 0.001, "pass"),
        (low - 0.001, "marginal"),
        (high + 0.99 * half, "marginal"),
        (high + 1.01 * half, "fail"),
        (low - 1.01 * half, "fail"),
        (math.inf, "fail"),
    ]
    readings = [Reading(("common", "t2"), "connected", ohm) for ohm, _ in cases]
    assert [each.result for each in judge(KIT, WALL, readings)] == [result for _, result in cases]
    window = next(judge(KIT, WALL, readings)).window
    assert (window.low, window.high) == (pytest.approx(low), pytest.approx(high))


def test_readings_that_are_to_be_open() -> None:
    """From `in` only capacitors lead on: open, or climbing on its way there."""
    cases = [(math.inf, "pass"), (1e6, "pass"), (60e3, "marginal"), (3.2, "fail")]
    readings = [Reading(("in", "common"), "connected", ohm) for ohm, _ in cases]
    assert [each.result for each in judge(KIT, WALL, readings)] == [result for _, result in cases]


def test_readings_alone(unswept: Prepared) -> None:
    """All as they should be: pass, and nothing is suspected. C1 a wire: what leads there is proved by what is there."""
    nominal = [
        Reading(each.between, each.drivers, math.inf if each.reads == "rises_to_open" else each.nominal)
        for each in windows(KIT, WALL)
    ]
    found = verify(KIT, WALL, nominal, prepared=unswept)
    assert (found.result, found.suspect, found.proofs) == ("pass", None, ())
    assert results_of(found) == {
        "readings": "pass", "sweep": "not_tested", "microphone": "not_tested", "against": "not_tested"
    }  # fmt: skip
    assert found.worst is None
    # 0.24 ohm of L1, the woofers 5.9/2: Ohm's law
    found = verify(KIT, WALL, [Reading(("in", "common"), "connected", 0.24 + 5.9 / 2)], prepared=unswept)
    assert found.result == "fail"
    assert found.suspect is not None
    assert "C1" in found.suspect.place or found.suspect.kind == "wrong_variant"
    assert any(RIGHT in proof.splits for proof in found.proofs)


def test_readings_that_contradict_each_other(unswept: Prepared) -> None:
    """One woofer of two, 5.9 ohm, between common and w2: it alone is suspected, although the other reading denies it.
    90 ohm there is nothing that any mistake makes."""
    both = [Reading(("in", "common"), "connected", math.inf), Reading(("common", "w2"), "connected", 5.9)]
    found = verify(KIT, WALL, both, prepared=unswept)
    assert found.suspect in (Fault("driver_open", "woofer_a"), Fault("driver_open", "woofer_b"))
    found = verify(KIT, WALL, [Reading(("common", "w2"), "connected", 90.0)], prepared=unswept)
    assert (found.result, found.suspect, found.proofs) == ("fail", None, ())


# -- sweeps


def test_a_resistor_is_no_speaker(swept: Prepared) -> None:
    """Nothing explains 8.2 ohm at all frequencies, and nothing is called likely without that being said."""
    found = verify(KIT, WALL, sweep=Sweep("r.txt", FREQUENCY, np.full(250, 8.2), np.zeros(250)), prepared=swept)
    assert found.result == "fail"
    assert found.diagnosis is not None
    assert found.diagnosis.unexplained
    assert "nothing explains it" in found.tests[1].says


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("phase", [True, False])
def test_the_right_build_passes(swept: Prepared, seed: int, phase: bool) -> None:
    """With new woofers 6 % high, noise, with and without phase."""
    sweep = sweep_of(stiffer(WALL, 1.06), seed=seed, phase=phase)
    found = verify(KIT, WALL, sweep=sweep, prepared=swept)
    assert found.result == "pass"
    assert found.right_probability is not None
    assert found.right_probability >= 0.9
    assert (found.suspect, found.proofs) == (None, ())
    assert found.worst is not None
    i = int(np.argmin(np.abs(FREQUENCY - found.worst.frequency)))
    assert found.worst.measured == sweep.magnitude[i]
    assert abs(found.worst.percent) < 5
    assert found.band is not None
    inside = (sweep.magnitude >= found.band.low) & (sweep.magnitude <= found.band.high)
    assert found.worst.outside == pytest.approx(1 - np.mean(inside))
    assert {each.fitted.name for each in found.drivers} == {"woofer_a", "woofer_b", "tweeter"}


@pytest.mark.parametrize(
    ("mistake", "among"),
    [
        ("C3 twice", {Fault("doubled", "C3")}),
        ("R1 a wire", {Fault("linked", "R1")}),
        ("C1 a wire", {Fault("linked", "C1")}),
        ("L1 half", {Fault("halved", "L1"), Fault("wrong_variant", "centre"), Fault("exchanged", "L1, L2")}),
        ("120 uF open", {Fault("one_of_pair_open", "C1", "120 uF"), Fault("halved", "C1")}),
        ("woofer_a turned", {Fault("driver_reversed", "woofer_a"), Fault("driver_reversed", "woofer_b")}),
    ],
)
def test_mistakes_are_found(swept: Prepared, mistake: str, among: set[Fault]) -> None:
    """`among`: the mistake, and others that come to nearly the same board or cannot be told by any sweep."""
    found = verify(KIT, WALL, sweep=sweep_of(mistake=mistake), prepared=swept)
    assert (found.result, results_of(found)["sweep"]) == ("fail", "fail")
    assert found.right_probability is not None
    assert found.right_probability < 0.05
    assert found.suspect in among
    assert found.worst is not None
    nominal = np.abs(impedance(KIT, WALL, seed=None))
    i = int(np.argmin(np.abs(FREQUENCY - found.worst.frequency)))
    assert found.worst.expected == pytest.approx(nominal[i], rel=0.15)  # the drivers are those of the kit
    assert abs(found.worst.percent) > 15
    assert probability(found, *among) > 0.9
    assert math.fsum(group.probability for group in found.likely) == pytest.approx(1, abs=0.02)
    assert found.proofs
    assert RIGHT in found.proofs[0].splits
    for group in found.likely:
        assert group.probability == pytest.approx(math.fsum(p for _, p in group.candidates), abs=0.02)
        assert len(group.candidates) == 1 or group.splits


def test_drivers_that_are_new_or_wrong(swept: Prepared) -> None:
    """fs 12 % high with qts as it was is a new suspension; half as much compliance again is another driver."""
    verdicts = []
    for fs in (1.0, 1.12, 1.4):
        found = verify(KIT, WALL, sweep=sweep_of(stiffer(WALL, fs)), prepared=swept)
        woofer = next(each for each in found.drivers if each.fitted.name == "woofer_a")
        assert woofer.fitted.fs is not None
        # where one fs of a driver lies under a capacitor the sweep knows it to some percent only
        assert woofer.fitted.fs[0] == pytest.approx(fs, abs=max(0.05, 2.5 * woofer.fitted.fs[1]))
        verdicts.append(woofer.verdict)
    assert verdicts[0] == "as drawn"
    assert verdicts[1] in ("as drawn", "normal when new")
    assert verdicts[2] == "outside the usual spread"


def test_what_no_sweep_shows(swept: Prepared) -> None:
    """Exact twins by symmetry: the tweeter turned, all woofers of one chamber turned, which of two like woofers."""
    found = verify(KIT, WALL, sweep=sweep_of(), prepared=swept)
    hidden = {each.faults for each in found.cannot_show}
    assert (Fault("driver_reversed", "tweeter"),) in hidden
    assert (Fault("driver_reversed", "woofer_a, woofer_b"),) in hidden
    assert (Fault("driver_open", "woofer_a"), Fault("driver_open", "woofer_b")) in hidden
    assert all(each.proofs for each in found.cannot_show)
    # and they are: the same impedance to rounding
    turned = load_kit(MARSHLIGHT, MISTAKES["tweeter turned"])
    assert impedance(turned, turned.variants["wall"], seed=None) == pytest.approx(impedance(KIT, WALL, seed=None))


# -- the microphone


def test_the_microphone_weighs_what_the_sweep_leaves_open(swept: Prepared) -> None:
    """Bayes' rule: odds of what is turned, over what is not, times the likelihood ratio."""
    sweep, table = sweep_of(mistake="tweeter turned"), heard_of("tweeter turned")
    alone = verify(KIT, WALL, sweep=sweep, prepared=swept)
    both = verify(KIT, WALL, sweep=sweep, microphone=table, prepared=swept)
    assert (alone.result, both.result) == ("pass", "fail")
    assert results_of(both)["sweep"] == "pass"
    turned = [Fault("driver_reversed", "tweeter"), Fault("driver_reversed", "woofer_a, woofer_b")]
    (way,) = listen(KIT, WALL, table).ways
    assert way.evidence > 3
    before, after = (probability(found, *turned) / probability(found, RIGHT) for found in (alone, both))
    assert after / before == pytest.approx(math.exp(way.evidence), rel=1e-6)
    assert both.suspect in turned
    assert [proof.kind for proof in both.proofs if proof.kind == "microphone"] == []  # that has been done
    assert verify(KIT, WALL, sweep=sweep_of(), microphone=heard_of(), prepared=swept).result == "pass"


def test_the_microphone_alone(unswept: Prepared) -> None:
    found = verify(KIT, WALL, microphone=heard_of("tweeter turned"), prepared=unswept)
    assert (found.result, found.right_probability, found.worst) == ("fail", None, None)
    assert found.suspect is not None
    assert found.suspect.kind == "driver_reversed"
    assert verify(KIT, WALL, microphone=heard_of(), prepared=unswept).result == "pass"
    noise = MicrophoneTable("noise.txt", FREQUENCY, np.random.default_rng(2).normal(0, 12, FREQUENCY.size))
    assert verify(KIT, WALL, microphone=noise, prepared=unswept).result == "cannot_tell"


# -- left against right


@pytest.mark.slow
def test_pairs_of_copies_are_alike(swept: Prepared) -> None:
    """19 in 20 pairs are to pass. Of 20 pairs drawn here by hand, each part evenly in its tolerance, 15 or fewer pass
    once in 400 (binomial law)."""
    random = np.random.default_rng(4)
    passed = 0
    first = verify(KIT, WALL, sweep=sweep_of(copy_of(KIT, WALL, random)), prepared=swept).diagnosis
    assert first is not None
    for _ in range(20):
        left, right = (sweep_of(copy_of(KIT, WALL, random), seed=int(random.integers(1000))) for _ in range(2))
        sides = compare_sides(KIT, WALL, left, right, first)
        passed += sides.result == "pass"
        assert sides.difference == pytest.approx(left.magnitude / right.magnitude - 1)
    assert passed >= 16


def test_one_side_has_a_mistake(swept: Prepared) -> None:
    """The other side is a copy with the same drivers: what they have in common does not count."""
    left, right = sweep_of(mistake="120 uF open"), sweep_of(stiffer(WALL, 1.02), seed=2)
    found = verify(KIT, WALL, sweep=left, against=right, prepared=swept)
    assert found.sides is not None
    assert found.sides.result == "fail"
    assert found.sides.suggests is not None
    best = max((c for g in found.sides.suggests.groups for c in g.candidates), key=lambda c: c.probability)
    assert best.fault in (Fault("one_of_pair_open", "C1", "120 uF"), Fault("halved", "C1"))
    i = int(np.argmin(np.abs(FREQUENCY - found.sides.worst_hz)))
    assert found.sides.worst == pytest.approx(left.magnitude[i] / right.magnitude[i] - 1)
    same = verify(KIT, WALL, sweep=left, against=replace(left, name="again.txt"), prepared=swept)
    assert same.sides is not None
    assert same.sides.result == "pass"
    assert same.sides.worst == pytest.approx(0, abs=1e-12)


def test_sweeps_at_other_frequencies(swept: Prepared) -> None:
    """The other one swept elsewhere and not as far: straight between its points, within its range."""
    f = np.geomspace(25, 8e3, 400)
    ohms = impedance(KIT, WALL, f, seed=None)
    other = Sweep("other.txt", f, np.abs(ohms), np.angle(ohms))
    found = verify(KIT, WALL, sweep=sweep_of(), against=other, prepared=swept)
    assert found.sides is not None
    assert found.sides.result == "pass"
    assert found.sides.frequency[0] >= 25
    assert found.sides.frequency[-1] <= 8e3
    assert np.max(np.abs(found.sides.difference)) < 0.02
    narrow = Sweep("n.txt", np.geomspace(100, 150, 30), np.full(30, 8.0))
    with pytest.raises(ValueError, match="octaves in common"):
        verify(KIT, WALL, sweep=sweep_of(), against=narrow, prepared=swept)
    with pytest.raises(ValueError, match="less than 2 octaves"):
        verify(KIT, WALL, sweep=narrow)


@pytest.mark.parametrize("mistake", ["", "C2 left out", "L1 half"])
def test_the_result_goes_by_the_probability(swept: Prepared, mistake: str) -> None:
    """From 90 % on pass, below 5 % fail, between them marginal; where it is no pass, the way to prove it is told."""
    found = verify(KIT, WALL, sweep=sweep_of(mistake=mistake), prepared=swept)
    right = found.right_probability
    assert right is not None
    hidden = next(group for group in swept.alike if RIGHT in group)
    assert right == pytest.approx(probability(found, *hidden), abs=0.01)
    assert found.result == ("pass" if right >= 0.9 else "fail" if right < 0.05 else "marginal")
    assert bool(found.proofs) is (found.result != "pass")
    if found.suspect is not None:
        assert found.suspect not in hidden
