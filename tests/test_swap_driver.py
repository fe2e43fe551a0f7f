"""A driver for another: nothing for itself, and what a louder one asks for, by closed forms."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from system.findings import KitError
from system.kit import Kit
from system.kitfile import load_kit
from system.substitute import hookups_of, substitute_driver
from system.swap import Swap
from system.swap_driver import Fitted, swap_driver
from tests.support_kits import DRY_AIR
from tests.test_cli import MARSHLIGHT

OHM = 6.0  # of both drivers at every frequency


def response(path: Path, level: str, shift: float = 0.0, phase: float = 0.0) -> None:
    """A table that falls (`low`) or rises (`high`) by 12 dB an octave about 2 kHz."""
    f = np.geomspace(20, 20e3, 61)
    slope = 40 * np.log10(f / 2000) * (1 if level == "high" else -1)
    db = 86 + np.minimum(slope, 0) + shift
    rows = (f"{a:.6g} {b:.6f} {phase:.3f}" for a, b in zip(f, db, strict=True))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def six_ohm(path: Path) -> None:
    path.write_text("".join(f"{hertz} {OHM} 0\n" for hertz in (10, 100, 1000, 10000, 20000)), encoding="utf-8")


def driver_text(role: str, table: str) -> str:
    return (
        f"{{role: {role}, re: 5.5 ohm, sd: 10 cm2, impedance: ohm.txt, origin: measured, response: {{file: {table},"
        " volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}}"
    )


def two_way(folder: Path, parts: str, tweeter: str = "t2", shift: float = 0.0, phase: float = 0.0) -> Kit:
    """Two drivers of six ohm on a source without resistance, so that neither hears of the other's parts.

    The tweeter has R1 before it. `louder` is a tweeter of the kit that is `shift` dB louder and turned by `phase`.
    """
    six_ohm(folder / "ohm.txt")
    response(folder / "low.txt", "low")
    response(folder / "high.txt", "high")
    response(folder / "louder.txt", "high", shift, phase)
    text = f"""\
format: 1
kit: Two way
air: {DRY_AIR}
amplifier: {{power: 50 W, load: 8 ohm}}
drivers:
  low: {driver_text("woofer", "low.txt")}
  high: {driver_text("tweeter", "high.txt")}
  louder: {driver_text("tweeter", "louder.txt")}
crossover:
  input: [in, common]
  parts: {parts}
  hookup:
    woofer: {{driver: low, plus: in, minus: common}}
    tweeter: {{driver: high, plus: {tweeter}, minus: common}}
cabinets: {{box: {{}}}}
variants: {{v: {{cabinet: box}}}}
"""
    path = folder / "kit.yaml"
    path.write_text(text, encoding="utf-8")
    return load_kit(path)


def put(kit: Kit, reference: str, source: str) -> list[tuple[Swap, Fitted]]:
    variants = list(kit.variants.values())
    made = substitute_driver(kit, (), reference, source, variants)
    found = swap_driver(kit, made.kit, hookups_of(kit, reference), variants, made.untouched)
    assert all(fitted for _, fitted in found)
    return [(each, fitted) for each, fitted in found if fitted]


def summed(hertz: float, shift: float) -> float:
    """What `shift` dB more of the tweeter make of both in phase, the tweeter behind 2 ohm; above 2 kHz, in dB."""
    low, high = (hertz / 2000) ** -2, OHM / (OHM + 2)
    return 20 * math.log10((low + high * 10 ** (shift / 20)) / (low + high))


SERIES = "{R1: {resistor: 2 ohm, between: [in, t2]}}"


@pytest.mark.parametrize(("reference", "source"), [("dome", "dome"), ("woofer", "woofer"), ("tweeter", "dome")])
def test_a_driver_for_itself_changes_nothing(reference: str, source: str) -> None:
    for each, fitted in put(load_kit(MARSHLIGHT), reference, source):
        assert each.change.level == each.change.impedance == 0
        assert each.judgement.result == "pass"
        assert fitted.mean == fitted.reference_change == 0
        assert fitted.level_part is not None
        assert fitted.level_part.off == 0
        assert fitted.level_part.wanted == fitted.level_part.now


@pytest.mark.parametrize("shift", [3.0, -1.5])
def test_a_louder_tweeter_asks_for_more_ohm(tmp_path: Path, shift: float) -> None:
    """Divider: Z/(Z + R) has to fall by as much as the driver is louder, so Z + R' = (Z + R) 10^(shift/20)."""
    ((each, fitted),) = put(two_way(tmp_path, SERIES, shift=shift), "high", "louder")
    part = fitted.level_part
    assert part is not None
    assert (part.part, part.driver, part.now) == ("R1", "tweeter", 2.0)
    assert part.off == pytest.approx(shift, abs=1e-6)
    assert part.wanted == pytest.approx((OHM + 2) * 10 ** (shift / 20) - OHM, abs=1e-6)
    assert part.stock == (5.6 if shift > 0 else 0.68)  # E12 nearest to 5.300 and 0.731, by ratio
    assert part.balance == pytest.approx(shift - 20 * math.log10((OHM + part.stock) / (OHM + 2)), abs=1e-6)
    assert each.change.level == pytest.approx(summed(each.change.level_hz, shift), abs=1e-3)
    assert fitted.role == "tweeter"


def test_the_step_of_a_driver_of_twice_the_power(tmp_path: Path) -> None:
    """Bl/sqrt 2 on half the moving mass, half the loss, twice the compliance: Bl^2/Zm and so the impedance stay.

    Velocity per ampere Bl/Zm is sqrt 2 times as large: 3.01 dB, at every frequency (Small 1972, closed forms).
    """
    driver = (
        "{{role: {role}, re: 5.5 ohm, bl: {bl} T.m, mms: {mms} g, cms: {cms} mm/N, rms: {rms} kg/s, sd: 8 cm2,"
        " origin: derived}}"
    )
    bl = 3.0
    one = driver.format(role="tweeter", bl=bl, mms=0.4, cms=0.2, rms=0.6)
    two = driver.format(role="tweeter", bl=repr(bl / math.sqrt(2)), mms=0.2, cms=0.4, rms=0.3)
    low = driver.format(role="woofer", bl=6, mms=12, cms=1, rms=1).replace("sd: 8", "sd: 90")
    (tmp_path / "kit.yaml").write_text(
        f"""\
format: 1
kit: Moving coils
air: {DRY_AIR}
amplifier: {{power: 50 W, load: 8 ohm}}
drivers: {{low: {low}, high: {one}, strong: {two}}}
crossover:
  input: [in, common]
  parts:
    L1: {{coil: 2 mH, dc_resistance: 0.2 ohm, between: [in, w]}}
    C1: {{capacitor: 6 uF, series_resistance: 0 ohm, between: [in, t1]}}
    R1: {{resistor: 3 ohm, between: [t1, t2]}}
  hookup:
    woofer: {{driver: low, plus: w, minus: common}}
    tweeter: {{driver: high, plus: t2, minus: common}}
cabinets: {{box: {{}}}}
variants: {{v: {{cabinet: box}}}}
""",
        encoding="utf-8",
    )
    ((each, fitted),) = put(load_kit(tmp_path / "kit.yaml"), "tweeter", "strong")
    part = fitted.level_part
    assert part is not None
    assert each.change.impedance == pytest.approx(0, abs=1e-9)
    assert part.off == pytest.approx(10 * math.log10(2), abs=1e-6)
    assert part.wanted is not None
    assert part.wanted > 3
    # what R1 does to the balance, by the tweeter's own series circuit: mean of |C + R1 + Z| over |C + R1' + Z|
    before = each.before
    f = before.result.frequency
    s = 2j * np.pi * f
    z = 5.5 + bl**2 / (0.6 + s * 0.4e-3 + 1 / (s * 0.2e-3))
    step = 20 * np.log10(np.abs((1 / (s * 6e-6) + part.wanted + z) / (1 / (s * 6e-6) + 3 + z)))
    assert np.mean(step[before.ranges()["tweeter"]]) == pytest.approx(10 * math.log10(2), abs=1e-6)


def test_a_louder_woofer_asks_for_less_ohm(tmp_path: Path) -> None:
    kit = two_way(tmp_path, SERIES)
    response(tmp_path / "loud-low.txt", "low", 1.0)
    (tmp_path / "w.yaml").write_text(driver_text("woofer", "loud-low.txt"), encoding="utf-8")
    ((_, fitted),) = put(kit, "low", str(tmp_path / "w.yaml"))
    part = fitted.level_part
    assert part is not None
    assert part.off == pytest.approx(-1.0, abs=1e-6)
    assert part.wanted == pytest.approx((OHM + 2) * 10 ** (-1 / 20) - OHM, abs=1e-6)


def test_without_any_resistor_one_is_added(tmp_path: Path) -> None:
    ((_, fitted),) = put(two_way(tmp_path, "{}", "in", shift=2.0), "tweeter", "louder")
    part = fitted.level_part
    assert part is not None
    assert (part.part, part.now) == ("", 0.0)
    assert part.wanted == pytest.approx(OHM * (10 ** (2 / 20) - 1), abs=1e-6)


def test_a_tweeter_that_is_too_soft_has_no_cure(tmp_path: Path) -> None:
    """R1 = 2 ohm leaves 20 log10(8/6) = 2.50 dB: of 4 dB, 1.5 remain."""
    ((_, fitted),) = put(two_way(tmp_path, SERIES, shift=-4.0), "tweeter", "louder")
    part = fitted.level_part
    assert part is not None
    assert part.wanted is None
    assert f"{4 - 20 * math.log10(8 / 6):.1f} dB too soft" in part.why


def test_a_divider_keeps_what_the_filter_sees(tmp_path: Path) -> None:
    """Both of R1 and R2 anew: R1 + R2 Z/(R2 + Z) stays, and the level falls by 3 dB of voltage (Kirchhoff)."""
    parts = "{R1: {resistor: 2 ohm, between: [in, t2]}, R2: {resistor: 12 ohm, between: [t2, common]}}"
    ((_, fitted),) = put(two_way(tmp_path, parts, shift=3.0), "tweeter", "louder")
    assert fitted.level_part is not None
    pad = fitted.level_part.pad
    assert pad is not None
    assert pad.parts == ("R1", "R2")
    one, other = pad.exact

    def across(r2: float) -> float:
        return r2 * OHM / (r2 + OHM)

    assert one + across(other) == pytest.approx(2 + across(12))
    gain = across(other) / (one + across(other)) / (across(12) / (2 + across(12)))
    assert 20 * math.log10(gain) == pytest.approx(-3, abs=1e-6)


@pytest.mark.parametrize(("phase", "turn"), [(0.0, False), (180.0, True)])
def test_the_way_round_is_told(tmp_path: Path, phase: float, turn: bool) -> None:
    """Two equal pressures in phase double, and in opposite phase cancel."""
    ((_, fitted),) = put(two_way(tmp_path, "{}", "in", phase=phase), "tweeter", "louder")
    assert len(fitted.polarities) == 1
    assert (fitted.polarities[0].gain < 0) == turn
    assert any(text.startswith("turn tweeter round") for text in fitted.advice) == turn


WOOFER = "{re: 5.6 ohm, bl: 6.3 T.m, mms: 9.5 g, cms: 1.10 mm/N, rms: 0.85 kg/s, sd: 88 cm2, origin: derived}"


def boxed(folder: Path) -> Kit:
    text = f"""\
format: 1
kit: Boxed
air: {DRY_AIR}
amplifier: {{power: 50 W, load: 8 ohm}}
programme: {{spectrum: sine}}
drivers: {{woofer: {WOOFER}, other: {WOOFER}}}
crossover: {{input: [in, common], parts: {{}}, hookup: {{w: {{driver: woofer, plus: in, minus: common}}}}}}
cabinets:
  box:
    chambers: [{{kind: sealed, drivers: [w], volume: 8 L, losses: {{leak: lossless, absorption: lossless}}}}]
variants: {{v: {{cabinet: box}}}}
"""
    path = folder / "kit.yaml"
    path.write_text(text, encoding="utf-8")
    return load_kit(path)


def test_the_box_of_another_woofer(tmp_path: Path) -> None:
    """fc = fs sqrt(1 + Vas/V), Qtc = Qts sqrt(1 + Vas/V) (Small 1972), from the figures in `tests.support_kits`."""
    stiff = WOOFER[1:-1].replace("cms: 1.10 mm/N", "cms: 0.55 mm/N")  # Vas is halved, fs and Qts are sqrt 2 times
    (tmp_path / "stiff.yaml").write_text(stiff.replace(", ", "\n"), encoding="utf-8")
    ((_, fitted),) = put(boxed(tmp_path), "w", str(tmp_path / "stiff.yaml"))
    ((old, new),) = fitted.boxes
    up = math.sqrt(1 + 12.082 / 8)
    assert old.resonance == pytest.approx(49.2336 * up, rel=1e-4)
    assert old.q == pytest.approx(0.370239 * up, rel=1e-4)
    up = math.sqrt(2) * math.sqrt(1 + 6.041 / 8)
    assert new.resonance == pytest.approx(49.2336 * up, rel=1e-4)
    assert new.q == pytest.approx(0.370239 * up, rel=1e-4)
    assert any("excursion" in text for text in fitted.cannot_tell)


def test_its_own_limits_count(tmp_path: Path) -> None:
    """The same cone with less room: beyond its damage excursion, so it fails although it sounds alike."""
    kit = boxed(tmp_path)
    ((each, fitted),) = put(kit, "woofer", "other")
    sine = fitted.moves["w"].excursion.sine
    assert each.judgement.result == "pass"
    for limit, result in ((sine * 1.01, "pass"), (sine * 0.99, "fail")):
        text = WOOFER[1:-1] + f", damage_excursion: {limit * 1e3:.6f} mm"
        (tmp_path / "tight.yaml").write_text(text.replace(", ", "\n"), encoding="utf-8")
        ((each, _),) = put(kit, "woofer", str(tmp_path / "tight.yaml"))
        assert each.change.level == pytest.approx(0, abs=1e-9)
        assert each.judgement.result == result


def test_tables_lie_beside_the_drivers_file(tmp_path: Path) -> None:
    kit = two_way(tmp_path, SERIES)
    elsewhere = tmp_path.parent / f"{tmp_path.name}-drawer"
    elsewhere.mkdir()
    six_ohm(elsewhere / "ohm.txt")
    response(elsewhere / "mine.txt", "high", 2.0)
    (elsewhere / "t.yaml").write_text(driver_text("tweeter", "mine.txt"), encoding="utf-8")
    ((each, _),) = put(kit, "tweeter", str(elsewhere / "t.yaml"))
    assert each.change.level == pytest.approx(summed(each.change.level_hz, 2.0), abs=1e-3)


@pytest.mark.parametrize(
    ("text", "code", "line", "column"),
    [
        ("re: 5.6 ohm\nbl: 6.3 kg\n", "quantity_dimension", 2, 5),
        ("re: 5.6 ohm\nBl: 6.3 T.m\n", "unknown_key", 2, 1),
        (
            "role: tweeter\nre: 5 ohm\nsd: 7 cm2\nimpedance: none.txt\nresponse: {file: none.txt}\n",
            "file_missing",
            4,
            12,
        ),
        ("re: 5.6 ohm\n\tbl: 1\n", "yaml_syntax", 2, 1),
        ("", "kit_empty", 1, 1),
        ("- re\n", "wrong_type", 1, 1),
    ],
)
def test_faults_stand_in_the_drivers_file(tmp_path: Path, text: str, code: str, line: int, column: int) -> None:
    path = tmp_path / "new.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(KitError) as caught:
        put(boxed(tmp_path), "woofer", str(path))
    found = [each for each in caught.value.findings if each.severity == "error"]
    assert (found[0].code, found[0].file, found[0].line, found[0].column) == (code, str(path), line, column)


@pytest.mark.parametrize(
    ("source", "words"),
    [("othr", "did you mean other?"), ("1.2 mH", "its drivers are woofer, other"), ("none.yaml", "no such file")],
)
def test_what_is_no_driver(tmp_path: Path, source: str, words: str) -> None:
    with pytest.raises(KitError, match=words.replace("?", r"\?")):
        put(boxed(tmp_path), "w", source)


def test_a_driver_that_does_not_go_into_the_chamber(tmp_path: Path) -> None:
    """A sealed box needs small-signal parameters: the kit reader's own fault comes out."""
    kit = boxed(tmp_path)
    six_ohm(tmp_path / "ohm.txt")
    response(tmp_path / "low.txt", "low")
    (tmp_path / "tables.yaml").write_text(driver_text("woofer", "low.txt"), encoding="utf-8")
    with pytest.raises(KitError, match="chamber"):
        put(kit, "w", str(tmp_path / "tables.yaml"))


def test_one_hookup_or_all_of_a_driver() -> None:
    kit = load_kit(MARSHLIGHT)
    assert hookups_of(kit, "woofer") == ("woofer_a", "woofer_b")
    assert hookups_of(kit, "woofer_a") == ("woofer_a",)
    assert hookups_of(kit, "R1") == ()
