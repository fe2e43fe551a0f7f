"""Cautions: each trigger against a kit made for it, figures against closed forms, order, and the sheet."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from system.kit import Kit
from system.kitfile import load_kit
from system.sheets import caution_data, caution_texts
from system.workshop.cautionmodel import DAMAGE, INJURY, Known
from system.workshop.cautions import RULES, WHERE, Caution, Where, cautions, duration, tipping_angle
from tests.support_kits import WOOFER, read_kit
from tests.test_cli import MARSHLIGHT
from tests.test_runup import THERMAL, tweeter_kit

SINE = "programme: {spectrum: sine, from: 20 Hz}"
BOX = "{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 6 L}]}}"
ACROSS = "between: [in, common]"
TOWER = "{box: {baffle: {width: 190 mm, height: 1060 mm, depth: 280 mm}, cutouts: {woofer: [95 mm, 900 mm]}}}"


def at(kit: Kit, where: Where) -> dict[str, Caution]:
    variant = next(iter(kit.variants.values()))
    return {each.name: each for each in cautions(kit, variant, where)}


def known(kit: Kit) -> Known:
    return Known.of(kit, next(iter(kit.variants.values())))


@pytest.mark.parametrize(
    ("outputs", "urgency", "words"),
    [("bridged", DAMAGE, "Minus is not ground"), ("unknown", 1, "Unless you know")],
)
def test_an_output_that_is_not_ground(outputs: str, urgency: int, words: str, tmp_path: Path) -> None:
    kit = read_kit(tmp_path, amplifier=f"{{power: 50 W, load: 8 ohm, outputs: {outputs}}}")
    for where in ("bench", "sweep", "power_up", "run_up"):
        found = at(kit, where)["outputs"]
        assert found.short.startswith(words)
        assert found.urgency == urgency
        assert found.top


def test_an_output_that_is_known_to_be_ground(tmp_path: Path) -> None:
    kit = read_kit(tmp_path, amplifier="{power: 50 W, load: 8 ohm, outputs: ground_referenced}")
    assert "outputs" not in at(kit, "sweep")


def test_a_link_that_leaves_too_little(tmp_path: Path) -> None:
    """Ohm's law: with R2 linked only R1 is left; a link across the input is a short; one at R1 leaves the driver."""
    parts = (
        "{R1: {resistor: 2.5 ohm, between: [in, a]}, R2: {resistor: 40 ohm, between: [a, common]},"
        f" R3: {{resistor: 100 ohm, {ACROSS}}}}}"
    )
    hookup = "{woofer: {driver: woofer, plus: a, minus: common}}"
    kit = read_kit(tmp_path, parts=parts, hookup=hookup, amplifier="{power: 50 W, load: 8 ohm, lowest_load: 6 ohm}")
    links = {link.reference: link for link in known(kit).links}
    assert links["R2"].lowest == pytest.approx(2.5 * 100 / 102.5, rel=1e-6)
    assert (links["R3"].lowest, links["R3"].frequency) == (0.0, None)
    assert links["R1"].lowest > 3.0
    because = at(kit, "bench")["links"].because
    assert "at R2 2.4 ohm" in because
    assert "at R3 a short" in because
    assert "R1" not in because


def test_a_link_that_bares_a_tweeter(tmp_path: Path) -> None:
    """Ohm's law on a sine of 20 V would be all of 20^2/5 W; on the programme, 50 W with a crest of 12 dB, less.

    Its rms is sqrt(2) 20/10^0.6 = 7.105 V, so 10.1 W with the capacitor linked.
    """
    parts = "{C1: {capacitor: 1 uF, between: [in, t]}}"
    kit = tweeter_kit(tmp_path, 80.0, parts=parts, hookup="{tweeter: {driver: dome, plus: t, minus: common}}")
    because = at(kit, "power_up")["links"].because
    assert "a link at C1 gives tweeter 10 W" in because


def test_nothing_to_link_is_no_caution(tmp_path: Path) -> None:
    assert "links" not in at(read_kit(tmp_path), "bench")


def test_hot_resistors_and_glue(tmp_path: Path) -> None:
    """20 V across 100 ohm are 4 W of 10 W: 25 + 200 4/10 = 105 degC, which burns and melts glue that bears 70."""
    parts = f"{{R1: {{resistor: 100 ohm, {ACROSS}, power_rating: 10 W, temperature_rise: 200 K}}}}"
    kit = read_kit(tmp_path, parts=parts, more=SINE)
    hot = at(kit, "listening")["hot"]
    assert "R1 105 degC" in hot.because
    assert hot.urgency == INJURY
    glue = at(kit, "bench")["glue"]
    assert "the glue bears 70 degC; at full volume R1 105 degC" in glue.because
    assert glue.urgency == DAMAGE


def test_cool_resistors(tmp_path: Path) -> None:
    """20 V across 10 kohm are 0.04 W; of a resistor without a stated rise only its 4 W are told."""
    cool = read_kit(
        tmp_path,
        more=SINE,
        parts=f"{{R1: {{resistor: 10 kohm, {ACROSS}, power_rating: 10 W, temperature_rise: 200 K}}}}",
    )
    assert "hot" not in at(cool, "listening")
    assert at(cool, "bench")["glue"].urgency == 0
    unstated = read_kit(tmp_path, more=SINE, parts=f"{{R1: {{resistor: 100 ohm, {ACROSS}}}}}")
    assert "R1 4.0 W, its temperature not stated" in at(unstated, "listening")["hot"].because


@pytest.mark.parametrize(("power", "volts", "joules", "urgency"), [(50, 28, "0.04 J", 1), (400, 80, "0.32 J", INJURY)])
def test_charged_capacitors(power: float, volts: int, joules: str, urgency: int, tmp_path: Path) -> None:
    """E = C V^2/2 at the peak of the rated volts, sqrt(2 P R): 100 uF at 28.28 V, at 80 V; the border is 60 V dc."""
    parts = f"{{C1: {{capacitor: 100 uF, {ACROSS}}}}}"
    kit = read_kit(tmp_path, parts=parts, amplifier=f"{{power: {power} W, load: 8 ohm}}", more=SINE)
    charge = at(kit, "meter")["charge"]
    assert charge.because.startswith(f"C1 holds up to {joules}; peaks reach {volts} V")
    assert charge.urgency == urgency


def test_without_capacitors_nothing_is_charged(tmp_path: Path) -> None:
    assert "charge" not in at(read_kit(tmp_path), "meter")


def test_the_battery_is_for_woofers(tmp_path: Path) -> None:
    """x = Bl Cms V/Re = 6.3 1.1e-3 1.5/5.6 m = 1.856 mm."""
    found = at(read_kit(tmp_path), "bench")["battery"]
    assert found.because == "woofer moves out 1.9 mm on 1.5 V"
    assert not found.top
    tweeter = at(tweeter_kit(tmp_path, 80.0), "bench")["battery"]
    assert tweeter.because == "not for tweeter"
    assert tweeter.urgency == DAMAGE


def test_no_sine_into_a_tweeter(tmp_path: Path) -> None:
    """The volts named are those of the tweeter's heat limit: sqrt(P/R) R of a coil that is its whole impedance.

    105 K over 8 K/W in 5 ohm (1 + 0.00393 110): 9.69 V, rounded down.
    """
    kit = tweeter_kit(tmp_path, 60.0, THERMAL.format("5 K/W", "3 K/W"))
    volts = math.sqrt((130 - 25) / 8 * 5 * (1 + 0.00393 * 110))
    for where in ("sweep", "power_up", "run_up"):
        assert at(kit, where)["no_sine"].because.startswith(f"{math.floor(volts * 10) / 10:.1f} V at ")
    assert at(read_kit(tmp_path), "sweep")["no_sine"].urgency == 0


def test_sweeps_stay_under_the_smallest_volts_of_the_run_up(tmp_path: Path) -> None:
    """Tables only, no heat: half a volt below 500 Hz."""
    found = at(tweeter_kit(tmp_path, 60.0), "sweep")["sweep_level"]
    assert found.short == "Sweep at 0.1 V; never above 0.5 V."


def test_how_loud_and_for_how_long(tmp_path: Path) -> None:
    """90 dB at 2.83 V, 20 V of a sine where the A weighting is most, +1.3 dB (IEC 61672-1, table 3, 2.5 kHz): 108.3.

    NIOSH 1998: 8 h/2^((108.3 - 85)/3) are 132 s.
    """
    loud = known(tweeter_kit(tmp_path, 90.0, more=SINE)).loudness
    assert loud is not None
    assert loud.level == pytest.approx(90 + 20 * math.log10(20 / 2.83) + 1.3, abs=0.06)
    assert loud.seconds == pytest.approx(8 * 3600 / 2 ** ((loud.level - 85) / 3))
    assert loud.safe_volts == pytest.approx(20 * 10 ** ((85 - loud.level) / 20))
    found = at(tweeter_kit(tmp_path, 90.0, more=SINE), "listening")["hearing"]
    assert "stood for 2 min a day" in found.short
    assert found.urgency == INJURY
    soft = at(tweeter_kit(tmp_path, 60.0, more=SINE), "listening")["hearing"]
    assert soft.urgency == 0


def test_parts_over_their_rating_and_low_loads(tmp_path: Path) -> None:
    """4 W in a resistor of 2 W; 2.5 ohm beside the driver, which the amplifier (6 ohm) does not stand."""
    parts = f"{{R1: {{resistor: 100 ohm, {ACROSS}, power_rating: 2 W}}}}"
    kit = read_kit(tmp_path, parts=parts, more=SINE)
    assert at(kit, "listening")["fire"].because == "over its rating at full volume: R1"
    low = read_kit(
        tmp_path,
        parts=f"{{R1: {{resistor: 2.5 ohm, {ACROSS}}}}}",
        amplifier="{power: 50 W, load: 8 ohm, lowest_load: 6 ohm}",
    )
    load = at(low, "power_up")["load"]
    assert load.because.endswith("it stands 6 ohm")
    assert float(load.because.split()[0]) < 2.5
    assert "load" not in at(read_kit(tmp_path), "power_up")
    assert at(read_kit(tmp_path), "listening")["fire"].because == ""


def test_filling_sawdust_cones(tmp_path: Path) -> None:
    filled = BOX.replace("6 L", "6 L, fill: {material: polyester, mass: 60 g}")
    assert at(read_kit(tmp_path, cabinets=filled), "cabinet")["fibre"].because == "the chamber of woofer is filled"
    bare = at(read_kit(tmp_path, cabinets=BOX), "cabinet")
    assert "fibre" not in bare
    assert "dust" not in bare  # nothing of its outside is known
    assert "cones" in bare
    assert "dust" in at(read_kit(tmp_path, cabinets=TOWER), "cabinet")


@pytest.mark.parametrize(
    ("placement", "hangs"),
    [("in_wall", True), ("{wall_behind: 0 mm}", True), ("{above: 200 mm}", True), ("on_floor", False),
     ("free_standing", False), ("{wall_behind: 0 mm, below: 0 mm}", False), ("{above: 200 mm, below: 300 mm}", False)],
)  # fmt: skip
def test_what_hangs(placement: str, hangs: bool, tmp_path: Path) -> None:
    kit = read_kit(tmp_path, cabinets=TOWER, variants=f"{{v: {{cabinet: box, placement: {placement}}}}}")
    found = at(kit, "placement")
    assert ("hanging" in found) == hangs
    if hangs:
        assert found["hanging"].urgency == INJURY
        assert "Local rules and licensed practice come first." in found["hanging"].long
        assert "190 x 1060 x 280 mm" in found["hanging"].because


@pytest.mark.parametrize(
    ("more", "angle", "urgency"),
    [("", math.atan2(190, 1060), 1), (", attitude: on_left_side", math.atan2(280, 190), 0)],
)
def test_when_it_tips(more: str, angle: float, urgency: int, tmp_path: Path) -> None:
    """Statics: a box falls where its middle is over its edge, tan a = base/height; 10.16 degrees for this tower."""
    kit = read_kit(tmp_path, cabinets=TOWER, variants=f"{{v: {{cabinet: box, placement: on_floor{more}}}}}")
    found = tipping_angle(known(kit))
    assert found == pytest.approx(angle, rel=1e-12)
    assert at(kit, "placement")["tipping"].urgency == urgency


def test_a_lean_makes_it_tip_sooner(tmp_path: Path) -> None:
    placement = "{below: 300 mm, lean: 3 deg}"
    kit = read_kit(tmp_path, cabinets=TOWER, variants=f"{{v: {{cabinet: box, placement: {placement}}}}}")
    assert tipping_angle(known(kit)) == pytest.approx(math.atan2(190, 1060) - math.radians(3), rel=1e-9)
    assert at(kit, "placement")["tipping"].urgency == INJURY


@pytest.mark.parametrize(
    ("seconds", "words"), [(28_800, "8 h"), (12_700, "3 h 30 min"), (2_700, "45 min"), (45, "45 s"), (43_000, "11 h")]
)
def test_durations_are_rounded_down(seconds: float, words: str) -> None:
    assert duration(seconds) == words


@pytest.mark.parametrize("name", ["centre", "wall", "tall"])
def test_what_a_build_triggers_first_is_on_top(name: str) -> None:
    """At every place: the most urgent first, at most three on top, each with a figure; general ones never."""
    kit = load_kit(MARSHLIGHT)
    variant = kit.variants[name]
    figures = Known.of(kit, variant)
    for where in WHERE:
        found = cautions(kit, variant, where, figures)
        assert found
        assert [each.urgency for each in found] == sorted((each.urgency for each in found), reverse=True)
        top = [each.top for each in found]
        assert top == sorted(top, reverse=True)
        assert sum(top) == min(3, sum(each.urgency > 0 for each in found))
        assert all(each.because for each in found if each.top)
        assert all(len(each.short) <= 110 for each in found)
        lines = caution_texts.cautions(found, long=True)
        assert max(map(len, lines)) <= 100
        assert sum(line.startswith("  ! ") for line in lines) == sum(top)
        assert [each["name"] for each in caution_data.cautions(found)] == [each.name for each in found]


def test_every_rule_is_shown_somewhere_and_every_place_has_one() -> None:
    assert {where for rule in RULES.values() for where in rule.where} == set(WHERE)
    assert all(rule.where for rule in RULES.values())
    assert caution_texts.cautions(()) == []


def test_no_other_places(tmp_path: Path) -> None:
    kit = read_kit(tmp_path, drivers=f"{{woofer: {WOOFER}}}")
    with pytest.raises(ValueError, match="no cautions for 'roof'"):
        cautions(kit, kit.variants["v"], "roof")  # type: ignore[arg-type]
