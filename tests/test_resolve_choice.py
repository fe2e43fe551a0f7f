"""What a kit says of choosing parts: windows, the meter, the spread of copies, and what `revalue` may do.

The figures are those of the kit's text, turned into SI by hand; defaults are common practice, no source.
"""

from __future__ import annotations

import random
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from system.examples import scenarios
from system.findings import KitError
from system.kit import DriverSpread, Kit, Meter, RevalueSpec, SpreadSpec, Table, Target, Window
from system.kitfile import load_kit
from system.quantity import QuantityError, read, read_deviation
from tests.test_kitfile import mutate, outcome

HERE = Path(__file__).parent
SMALL = HERE / "wrong" / "format.yaml"  # a small good kit but for its format
FULL = HERE / "kits" / "full.yaml"
COUPLED = "crossover.coupled=[{coils: [L1, L2], coefficient: 0.1}]"


def small(*settings: str) -> Kit:
    return load_kit(SMALL, ["format=1", *settings])


def codes(*settings: str) -> list[str]:
    """Those of the errors of a kit that is at fault."""
    with pytest.raises(KitError) as caught:
        small(*settings)
    return [finding.code for finding in caught.value.findings if finding.severity == "error"]


# ---- what is left out


def test_without_any_of_it_everything_is_as_usual_and_nothing_is_said() -> None:
    kit = small()
    assert kit.findings == ()
    assert kit.window == Window(level=0.5, lowest=200.0, highest=10e3, impedance=0.2)
    assert kit.meter == Meter(impedance=0.1, level=0.1)
    assert kit.spread == SpreadSpec(builds=10_000, law="uniform")
    assert kit.revalue == RevalueSpec((), Target(0.0, None), "axis", 200.0, 10e3, 0.1, None, 1.0)


def test_what_is_assumed_of_a_driver_is_what_it_has() -> None:
    """The woofer has parameters and no response table, the dome tables only and no excursion."""
    kit = small()
    assert kit.drivers["woofer"].spread == DriverSpread(assumed=("fs", "qts", "re", "linear_excursion"))
    assert kit.drivers["dome"].spread == DriverSpread(assumed=("re", "level"))
    usual = kit.drivers["woofer"].spread
    assert (usual.fs, usual.qts, usual.re, usual.level, usual.linear_excursion) == (0.10, 0.10, 0.04, 0.5, 0.10)
    spread = small("drivers.woofer.spread={re: 0 %, fs: 5 %}").drivers["woofer"].spread
    assert spread == DriverSpread(fs=0.05, re=0.0, assumed=("qts", "linear_excursion"))
    assert small("drivers.woofer.spread={}").drivers["woofer"].spread == usual


def test_no_kit_gets_a_finding_for_leaving_it_out() -> None:
    """None of the example kit's findings is about what nobody was asked for."""
    kit = load_kit(scenarios() / "marshlight" / "kit.yaml")
    assert not [finding for finding in kit.findings if finding.code == "assumed"]


# ---- what is given


def test_the_full_kit() -> None:
    kit = load_kit(FULL)
    assert kit.window == Window(level=0.8, lowest=150.0, highest=12e3, impedance=0.25)
    assert kit.meter == Meter(0.05, 0.2, resistance_error=0.005, leads=0.05, assumed=())
    assert kit.spread == SpreadSpec(2000, "normal", 0.8, 0.08)
    assert kit.drivers["woofer"].spread == DriverSpread(0.12, 0.08, 0.03, linear_excursion=0.0, assumed=())
    assert kit.drivers["tweeter"].spread == DriverSpread(re=0.05, level=0.7, assumed=())
    assert kit.drivers["middle"].spread == DriverSpread(assumed=("fs", "qts", "re"))
    target = Target(tilt=-0.5)
    assert kit.revalue == RevalueSpec(("C2", "C3", "R1"), target, "listening_window", 300.0, 9e3, 0.2, 2, 1.5)


def test_a_window_that_is_left_open_is_no_finer_than_the_meter() -> None:
    kit = small("meter={impedance: 0.3 ohm, level: 0.6 dB}")
    assert kit.window == Window(level=0.6, impedance=0.3)
    kit = small("meter.impedance=0.3 ohm", "window={level: 0.1 dB, impedance: 300 mohm}")  # as fine as it is
    assert kit.window == Window(level=0.1, impedance=0.3)
    assert codes("meter.impedance=0.3 ohm", "window.impedance=0.2 ohm") == ["window_finer_than_meter"]
    assert codes("window.level=0.09 dB") == ["window_finer_than_meter"]
    assert small("window.level=0.09 dB", "meter.level=0.05 dB").window.level == 0.09


def test_a_what_if_reaches_each_of_them() -> None:
    kit = small(
        "window.level=1 dB",
        "window.from=0.5 kHz",
        "meter.level=0.2 dB",
        "spread.builds=100",
        "drivers.woofer.spread={fs: 5 %}",
        "drivers.dome.spread.level=1 dB",
        "revalue.target=flat",
        "revalue.move=[L1]",
        "revalue.over=listening_window",
        "revalue.most_differing=0",
        "revalue.price=0 dB",
    )
    assert kit.window == Window(level=1.0, lowest=500.0)
    assert kit.meter == Meter(level=0.2)
    assert kit.spread == SpreadSpec(100)
    assert kit.drivers["woofer"].spread.fs == 0.05
    assert kit.drivers["dome"].spread == DriverSpread(level=1.0, assumed=("re",))
    assert kit.revalue == RevalueSpec(("L1",), Target(), "listening_window", price=0.0, most_differing=0)
    for tilt in ("-0.5 dB", "-0.5 dB/oct", "-0.5 dB/octave"):
        assert small(f"revalue.target.tilt={tilt}").revalue.target == Target(-0.5)
    assert small("revalue.target={tilt: 6 dB}").revalue.target == Target(6.0)
    assert load_kit(FULL, ["revalue.target=flat"]).revalue.target == Target()


@given(st.decimals(0, 250, places=2))
def test_a_spread_is_a_percentage_below_a_hundred(number: Decimal) -> None:
    """A per cent is a hundredth (ISO 80000-1, 7.10.3, from memory); a hundred of them leave nothing of a value."""
    text = f"{number} %"
    if number < 100:
        assert read_deviation(text) == read_deviation(f"+-{text}") == pytest.approx(float(number) / 100, rel=1e-15)
    else:
        with pytest.raises(QuantityError, match="must be below 100 %") as caught:
            read_deviation(text)
        assert caught.value.code == "spread_too_wide"


@pytest.mark.parametrize("path", ["crossover.parts.R1.tolerance", "drivers.woofer.spread.re"])
@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("101 %", "spread_too_wide"),
        ("100 %", "spread_too_wide"),
        ("-5 %", "quantity_range"),
        ("5", "quantity_no_unit"),
        ("5 ohm", "quantity_dimension"),
    ],
)
def test_a_spread_that_cannot_be(path: str, text: str, code: str) -> None:
    assert codes(f"{path}={text}") == [code]


def test_a_tolerance_of_nothing_is_a_tolerance() -> None:
    assert small("crossover.parts.R1.tolerance=0 %").variants["shelf"].places["R1"].part.tolerance == 0.0


def test_a_tilt_has_its_own_unit() -> None:
    assert read("-1.5 dB/octave", "tilt") == read("-1.5 dB", "tilt") == -1.5
    with pytest.raises(QuantityError, match="a tilt, in dB an octave"):
        read("-1.5 dB/oct", "level")


# ---- the response asked for


def kit_with_target(folder: Path, rows: str, *settings: str) -> Path:
    for table in SMALL.parent.glob("dome-*.txt"):
        (folder / table.name).write_bytes(table.read_bytes())
    (folder / "target.txt").write_text(rows, encoding="utf-8")
    text = SMALL.read_text(encoding="utf-8").replace("format: 2", "format: 1")
    kit = folder / "kit.yaml"
    kit.write_text(f"{text}\nrevalue: {{target: {{file: target.txt}}{''.join(settings)}}}\n", encoding="utf-8")
    return kit


def test_a_table_of_what_is_asked_for(tmp_path: Path) -> None:
    """From edge to edge is enough, and what lies outside of the band may be as it likes: it is not asked for."""
    kit = kit_with_target(tmp_path, "# Hz, dB\n200, 0\n10000, -3\n")
    target = load_kit(kit).revalue.target
    assert target == Target(table=Table(str(tmp_path / "target.txt"), (200.0, 10e3), (0.0, -3.0)))
    kit = kit_with_target(tmp_path, "20 -140\n100 -55\n1000 5\n20000 0\n40000 -140\n")  # 60 dB in the band
    assert load_kit(kit).revalue.target.table is not None


@pytest.mark.parametrize(
    ("rows", "band", "code"),
    [
        ("201 0\n20000 0\n", "", "target_short"),
        ("20 0\n9999 0\n", "", "target_short"),
        ("20 0\n9999 0\n", ", to: 9 kHz", ""),
        ("20 -56\n1000 5\n20000 0\n", "", "target_span"),
        ("20 0\n", "", "table_rows"),
        ("20 0\n20 1\n20000 1\n", "", "table_order"),
        ("20 0\n1000\n20000 1\n", "", "table_columns"),
        ("20 0\n1000 1,5\n20000 1\n", "", "table_decimal_comma"),
        ("20 0\n1000 999\n20000 1\n", "", "table_magnitude"),
    ],
)
def test_a_table_that_cannot_be_asked_for(rows: str, band: str, code: str, tmp_path: Path) -> None:
    loaded, findings = outcome(kit_with_target(tmp_path, rows, band))
    assert [finding.code for finding in findings] == ([code] if code else [])
    assert (loaded is None) == bool(code)


# ---- the parts that may move


def test_only_the_coils_that_are_coupled_stay() -> None:
    assert small(COUPLED, "revalue.move=[C1, R1]").revalue.move == ("C1", "R1")
    assert codes(COUPLED, "revalue.move=[C1, L1, L2]") == ["move_coupled", "move_coupled"]
    assert small("revalue.move=[C1, L1, L2]").revalue.move == ("C1", "L1", "L2")


def test_a_place_that_one_variant_fits_may_move() -> None:
    """C1 is fitted on the shelf and bridged on the floor."""
    assert small("revalue.move=[C1]").revalue.move == ("C1",)
    assert codes("revalue.move=[C1]", "variants.shelf.parts.C1=link") == ["move_never_fitted"]
    assert small("revalue.move=[C1]", "variants.shelf.parts.C1=link", "variants.floor.parts.C1=fit").revalue.move


def test_of_a_board_at_fault_nothing_is_said_a_second_time() -> None:
    """A place with a fault of its own may still be named; whether a variant fits it is not known."""
    assert codes("revalue.move=[C1]", "crossover.parts.C1.capacitor=8") == ["quantity_no_unit"]
    assert codes("revalue.move=[C1]", "variants.shelf.parts.C1=lnk") == ["unknown_word"]
    assert codes("revalue.move=[]") == ["empty"]


CHOICE = """\
window: {level: 0.4 dB, from: 150 Hz, to: 12 kHz, impedance: 0.25 ohm}
meter: {impedance: 0.05 ohm, level: 0.2 dB}
spread:
  builds: 2000
  law: normal
revalue:
  move: [C1, C3, R1]
  target: {tilt: -0.5 dB}
  over: listening_window
  from: 300 Hz
  to: 9 kHz
  price: 0.2 dB
  most_differing: 2
  quieter: 1.5 dB
"""


def test_what_the_reader_lets_through_can_be_asked_for(tmp_path: Path) -> None:
    """The wishes as a tired person leaves them: refused with a reason, or such as the commands can take."""
    text = SMALL.read_text(encoding="utf-8").replace("format: 2", "format: 1")
    for table in SMALL.parent.glob("dome-*.txt"):
        (tmp_path / table.name).write_bytes(table.read_bytes())
    kit = tmp_path / "kit.yaml"
    outcomes = {"taken": 0, "refused": 0}
    for seed in range(150):
        kit.write_text(f"{text}\n{mutate(CHOICE, random.Random(seed))}\n", encoding="utf-8")
        loaded, said = outcome(kit)
        outcomes["taken" if loaded else "refused"] += 1
        assert any(finding.severity == "error" for finding in said) == (loaded is None), seed
        if loaded is None:
            continue
        window, meter, wish = loaded.window, loaded.meter, loaded.revalue
        assert window.level >= meter.level > 0, seed
        assert window.impedance >= meter.impedance > 0, seed
        assert 0 < window.lowest < window.highest, seed
        assert 0 < wish.lowest < wish.highest, seed
        assert 100 <= loaded.spread.builds <= 10**6, seed
        assert len(set(wish.move)) == len(wish.move), seed
        assert set(wish.move) <= set(loaded.variants["shelf"].places), seed
        assert abs(wish.target.tilt) <= 6, seed
        assert min(wish.price, wish.quieter) >= 0, seed
    assert min(outcomes.values()) > 20, outcomes
