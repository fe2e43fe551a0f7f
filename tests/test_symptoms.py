"""Symptoms: the order of checks, what applies to which build, and proofs against Ohm's law and closed forms."""

from __future__ import annotations

import math
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from system.bench.complaints import CHECKS, COMPLAINTS, EFFORTS, NEEDS
from system.bench.faults import Fault
from system.bench.suspects import GRID, SUSPECTS, Effects, Suspect
from system.bench.symptoms import FIGURES, HAS, Check, Facts, Symptom, find, reads_words, symptom
from system.findings import KitError
from system.kit import Kit
from system.kitfile import load_kit
from tests.support_kits import read_kit
from tests.test_cli import MARSHLIGHT
from tests.test_runup import BL, CMS, LOSSLESS, MMS, RE, RHO, RMS, SD, C, tweeter_kit

TWO = "{woofer_a: {driver: woofer, plus: a, minus: common}, woofer_b: {driver: woofer, plus: a, minus: common}}"


def box(drivers: str) -> str:
    return f"{{box: {{chambers: [{{kind: sealed, drivers: [{drivers}], volume: 6 L, {LOSSLESS}}}]}}}}"


def of(kit: Kit, word: str, variant: str = "v") -> Symptom:
    return symptom(word, kit, kit.variants[variant])


@cache
def marshlight(word: str, variant: str) -> Symptom:
    kit = load_kit(MARSHLIGHT)
    return symptom(word, kit, kit.variants[variant])


def check(found: Symptom, name: str) -> Check:
    return next(each for each in found.checks if each.name == name)


def suspect(found: Symptom, *faults: Fault) -> Suspect:
    return next(each for each in found.suspects if each.faults == faults)


def two_woofers(folder: Path) -> Kit:
    """R1 of 1 ohm before two woofers of 5.6 ohm that share a box of 6 L."""
    return read_kit(
        folder,
        parts="{R1: {resistor: 1 ohm, between: [in, a]}}",
        hookup=TWO,
        cabinets=box("woofer_a, woofer_b"),
    )


# -- the register


def test_there_are_enough_complaints_and_none_is_ambiguous() -> None:
    assert len(COMPLAINTS) >= 14
    asked = {"thin", "buzz", "hollow", "no_tweeter", "one_side_quieter", "harsh", "dull", "boomy", "no_bass", "rattle",
             "chuffing", "hum", "distorted", "one_woofer_silent", "amplifier_shuts_down", "crackle",
             "smell_or_heat"}  # fmt: skip
    assert asked <= set(COMPLAINTS)
    words = [*COMPLAINTS, *(also for each in COMPLAINTS.values() for also in each.also)]
    assert len(words) == len(set(words))


@pytest.mark.parametrize("word", COMPLAINTS)
def test_what_costs_nothing_comes_first(word: str) -> None:
    """In the order of EFFORTS; nothing soldered or opened before the last of what is not."""
    efforts = [EFFORTS.index(CHECKS[name].effort) for name in COMPLAINTS[word].checks]
    assert efforts == sorted(efforts)
    assert len(efforts) >= 5
    assert len(set(COMPLAINTS[word].checks)) == len(efforts)


def test_what_is_dangerous_begins_with_switching_off() -> None:
    for word in ("amplifier_shuts_down", "smell_or_heat"):
        assert COMPLAINTS[word].checks[0] == "off"
    for word in ("buzz", "rattle", "chuffing", "distorted", "crackle"):
        assert COMPLAINTS[word].checks[0] == "down"


def test_no_word_of_the_register_is_without_use() -> None:
    assert {name for each in COMPLAINTS.values() for name in each.checks} == set(CHECKS)
    assert {each.needs for each in CHECKS.values() if each.needs} == set(NEEDS) == set(HAS)
    assert {each.figures for each in CHECKS.values() if each.figures} == set(FIGURES)
    assert {each.suspects for each in COMPLAINTS.values() if each.suspects} == set(SUSPECTS)


@pytest.mark.parametrize(
    ("asked", "word"),
    [("no tweeter", "no_tweeter"), ("No-Tweeter", "no_tweeter"), (" no_tweeter ", "no_tweeter"), ("THIN", "thin"),
     ("too much  bass", "boomy"), ("tinny", "thin"), ("rattle/knock", None), ("smoke", "smell_or_heat")],
)  # fmt: skip
def test_words_are_found_as_people_write_them(asked: str, word: str | None) -> None:
    if word is None:
        with pytest.raises(KitError):
            find(asked)
    else:
        assert find(asked) == word


@pytest.mark.parametrize(
    ("asked", "near"), [("holow", "hollow"), ("no twieter", "no_tweeter"), ("chufing", "chuffing")]
)
def test_an_unknown_word_gets_the_nearest_and_the_list(asked: str, near: str) -> None:
    with pytest.raises(KitError) as raised:
        find(asked)
    (finding,) = raised.value.findings
    assert finding.code == "unknown_symptom"
    assert f"did you mean {near}?" in finding.allowed
    assert all(word in finding.allowed for word in COMPLAINTS)


@pytest.mark.parametrize("word", COMPLAINTS)
def test_without_a_kit_there_are_words_only(word: str) -> None:
    found = symptom(word)
    assert [each.name for each in found.checks] == list(COMPLAINTS[word].checks)
    for each in found.checks:
        assert (each.figures, each.windows, each.rows, each.suspects) == ((), (), (), ())
        assert "{" not in each.do + each.right + each.wrong + each.proof
        assert each.only == NEEDS.get(CHECKS[each.name].needs, "")


# -- what applies


def test_only_checks_that_concern_the_build(tmp_path: Path) -> None:
    assert {"press", "joints"} <= {each.name for each in marshlight("thin", "wall").checks}
    assert "mouth" not in {each.name for each in marshlight("thin", "wall").checks}
    tall = {each.name for each in marshlight("thin", "tall").checks}
    assert "mouth" in tall
    assert not {"press", "joints"} & tall  # a line is no box
    bare = {each.name for each in of(read_kit(tmp_path), "hollow").checks}
    assert "cones" in bare
    assert not {"marks", "microphone", "board"} & bare  # no tweeter, no crossover
    assert "filling" not in {each.name for each in of(two_woofers(tmp_path), "thin").checks}


# -- proofs


def test_a_meter_tells_one_silent_woofer(tmp_path: Path) -> None:
    """Ohm's law: 1 + 5.6/2 = 3.8 ohm as drawn, 6.6 ohm with one of the two open; both twins in one row."""
    found = of(two_woofers(tmp_path), "one_woofer_silent")
    (only,) = found.suspects
    assert only.faults == (Fault("driver_open", "woofer_a"), Fault("driver_open", "woofer_b"))
    assert only.meter is not None
    assert (only.meter.right.between, only.meter.right.drivers) == (("in", "common"), "connected")
    assert only.meter.right.nominal == pytest.approx(3.8, rel=1e-9)
    assert only.meter.wrong.nominal == pytest.approx(6.6, rel=1e-9)
    assert only.meter.right.high < only.meter.wrong.low
    (window,) = check(found, "meter").windows
    low, high = (float(word) for word in re.findall(r"[0-9.]+", reads_words(window)))
    assert window.low <= low < 3.8 < high <= window.high


def test_a_sweep_tells_it_where_it_is_farthest_off(tmp_path: Path) -> None:
    """Small 1972: two drivers in a box are one of twice the area; the other one, open, is then a mass on its spring.

    Z = R1 + (Re + Bl^2/Zm)/2 with the box's spring for both areas in Zm. With one open, which moves as its own
    impedance lets it, Z = R1 + Re + Bl^2 Y with Y = (1/(Zs + 2 Zb) + 1/Zs)/2: both together and both apart.
    """
    kit = two_woofers(tmp_path)
    effects = Effects.of(kit, kit.variants["v"])
    w = 2 * np.pi * GRID
    own = RMS + 1j * w * MMS + 1 / (1j * w * CMS)
    box = RHO * C**2 * SD**2 / 6e-3 / (1j * w)
    right = np.abs(1 + (RE + BL**2 / (own + 2 * box)) / 2)
    wrong = np.abs(1 + RE + BL**2 * (1 / (own + 2 * box) + 1 / own) / 2)
    np.testing.assert_allclose(effects.right, right, rtol=1e-3)
    (only,) = effects.suspects("one_silent")
    assert only.sweep is not None
    i = int(np.argmax(np.abs(np.log(wrong / right))))
    assert only.sweep.frequency == GRID[i]
    assert only.sweep.right == pytest.approx(right[i], rel=1e-3)
    assert only.sweep.wrong == pytest.approx(wrong[i], rel=1e-3)


def test_a_lone_driver_against_its_marks_is_heard_only() -> None:
    """Turned round, a driver that has its air to itself draws the same current: neither meter nor sweep can show it."""
    for variant in ("centre", "wall", "tall"):
        found = marshlight("hollow", variant)
        turned = suspect(found, Fault("driver_reversed", "tweeter"))
        assert turned.meter is None
        assert turned.sweep is None
        assert turned.heard is not None
        assert turned.heard < -6
        assert turned.heard_at == pytest.approx(2500, rel=0.5)  # about where the tweeter takes over


def test_what_silences_the_tweeter() -> None:
    """Read off the circuit by hand: C3 and R1 in its way, itself, a wire over L2 or R2 beside it."""
    found = marshlight("no_tweeter", "wall")
    kinds = {(fault.kind, fault.place) for each in found.suspects for fault in each.faults}
    assert kinds == {
        ("missing", "C3"),
        ("missing", "R1"),
        ("driver_open", "tweeter"),
        ("linked", "L2"),
        ("linked", "R2"),
    }
    # C3 stops direct current with or without it; everything shows on the sweep
    assert suspect(found, Fault("missing", "C3")).meter is None
    assert all(each.sweep is not None for each in found.suspects)


def test_what_shorts_the_amplifier() -> None:
    """By hand: a wire over C2 leaves L1 and C1 (0.3 ohm at their resonance), one over C3 leaves L2's 0.45 ohm."""
    found = marshlight("amplifier_shuts_down", "tall")
    linked = suspect(found, Fault("linked", "C3"))
    assert linked.meter is not None
    # 0.45 ohm in parallel with 2.95 + 0.24 ohm of woofers and coil, and 2.2 + 1/(1/5.3 + 1/15) ohm
    branches = (0.45, 0.24 + 5.9 / 2, 2.2 + 1 / (1 / 5.3 + 1 / 15))
    assert linked.meter.wrong.nominal == pytest.approx(1 / sum(1 / each for each in branches), rel=1e-3)
    short = suspect(found, Fault("linked", "C2"))
    assert short.meter is not None
    assert short.meter.wrong.high < 0.5


def test_complaints_point_at_what_is_heard() -> None:
    """Harsh: a tweeter's R1 bridged or R2 gone makes it louder; thin: a woofer against the other; boomy: C1 bridged."""
    kit = load_kit(MARSHLIGHT)
    effects = Effects.of(kit, kit.variants["wall"])
    kinds = {
        word: {fault for each in effects.suspects(word) for fault in each.faults}
        for word in ("harsh", "thin", "boomy", "dull", "leaky")
    }
    assert Fault("missing", "R2") in kinds["harsh"]
    assert Fault("driver_reversed", "woofer_a") in kinds["thin"]
    assert Fault("linked", "C1") in kinds["boomy"]
    assert Fault("driver_open", "tweeter") in kinds["dull"]
    assert {fault.kind for fault in kinds["leaky"]} == {"air_leak", "wrong_fill"}
    assert effects.suspects("") == ()


def test_a_hole_in_a_line_is_a_way_out_of_its_own() -> None:
    """A leak of a line is one more opening, a closed mouth one less: all are computed, and a leak costs bass."""
    found = marshlight("chuffing", "tall")
    kinds = {each.faults[0].kind for each in found.suspects}
    assert kinds == {"air_leak", "wrong_fill", "blocked_mouth"}
    closed = suspect(found, Fault("blocked_mouth", "mouth"))
    assert closed.heard is not None
    assert closed.heard < -6  # most of what is heard at the tuning comes out of the mouth


# -- figures


def test_figures_of_a_sealed_box(tmp_path: Path) -> None:
    """Small 1972: the peak is at fs sqrt(1 + alpha) and Re + Bl^2/Rms high; the battery moves Bl Cms V/Re = 1.86 mm."""
    kit = read_kit(tmp_path, cabinets=box("woofer"))
    facts = Facts(kit, kit.variants["v"])
    alpha = RHO * C**2 * SD**2 * CMS / 6e-3
    fc = math.sqrt(1 + alpha) / (2 * math.pi * math.sqrt(MMS * CMS))
    assert list(FIGURES["peak"](facts)) == [f"as drawn: peak {RE + BL**2 / RMS:.1f} ohm at {fc:.0f} Hz"]
    assert list(FIGURES["battery"](facts)) == ["1.9 mm outward on 1.5 V, out of its box"]
    assert next(iter(FIGURES["apart"](facts))).startswith("woofer by itself: 5.")


def test_figures_are_those_of_the_kit_file() -> None:
    kit = load_kit(MARSHLIGHT)
    wall, centre, tall = (Facts(kit, kit.variants[name]) for name in ("wall", "centre", "tall"))
    assert list(FIGURES["filling"](wall)) == ["the chamber of woofer_a and woofer_b: 100 g"]
    # 8 kg/m3 in 520 mm of 154 mm by 244 mm
    grams = 8e3 * 0.52 * 0.154 * 0.244
    assert list(FIGURES["filling"](tall)) == [f"the chamber of woofer_a and woofer_b: {grams:.0f} g"]
    assert "80 Hz, order 2" in next(iter(FIGURES["receiver"](centre)))
    assert "full range" in next(iter(FIGURES["receiver"](wall)))
    assert "C1 linked" in next(iter(FIGURES["board"](tall)))
    assert "against its marks on purpose" in next(iter(FIGURES["marks"](wall)))
    assert next(iter(FIGURES["placement"](centre))) == "made to stand in a wall"
    assert next(iter(FIGURES["placement"](wall))) == "computed 0 mm from the wall behind"


def test_volts_at_a_driver_follow_the_divider(tmp_path: Path) -> None:
    """10 ohm before a driver known by its table of 5 ohm: a third of the volts, at every frequency."""
    kit = tweeter_kit(
        tmp_path,
        80.0,
        parts="{R1: {resistor: 10 ohm, between: [in, t]}}",
        hookup="{tweeter: {driver: dome, plus: t, minus: common}}",
    )
    facts = Facts(kit, kit.variants["v"])
    first = next(iter(FIGURES["drive"](facts)))
    assert first == "tweeter: 0.33 V at 20 Hz for 1 V at the board's input"


def test_rows_of_the_sweep_are_the_impedance_as_drawn(tmp_path: Path) -> None:
    kit = two_woofers(tmp_path)
    found = of(kit, "one_woofer_silent")
    rows = dict(check(found, "sweep").rows)
    assert {100.0, 1000.0, 10_000.0} <= set(rows)
    assert rows[10_000.0] == pytest.approx(1 + RE / 2, rel=1e-3)  # the cone stands still, the coil has no inductance
    assert found.suspects[0].sweep is not None
    assert found.suspects[0].sweep.frequency in rows
