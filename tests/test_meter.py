"""An ohmmeter's windows: against ngspice, the Laplacian's pseudo-inverse, series and parallel rules; its readings."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from system.bench.meter import Reading, Window, driver_span, read_readings, span, terminals, windows
from system.examples import scenarios
from system.findings import KitError
from system.kit import Meter
from system.kitfile import load_kit
from tests.support_kits import read_kit
from tests.support_meter import (
    WITH_A_SERIES_CAPACITOR,
    effective_resistance,
    handbook,
    ngspice_readings,
    random_board,
    resistors,
    with_meter,
)
from tests.support_ngspice import needs_ngspice

MARSHLIGHT = load_kit(scenarios() / "marshlight" / "kit.yaml")


def one(found: tuple[Window, ...], a: str, b: str, drivers: str = "connected") -> Window:
    return next(window for window in found if window.between == (a, b) and window.drivers == drivers)


def own_wires(window: Window) -> bool:
    return window.between[0].endswith("+")


# ---- what is there, without the meter's error


def test_a_parallel_crossover_by_series_and_parallel_rules(tmp_path: Path) -> None:
    """0.32 + 5.8/2; and across the tweeter 12 || 4.7 || (2.2 + 0.30), to the digits printed."""
    kit, variant = handbook(tmp_path)
    found = windows(kit, variant)
    assert round(one(found, "in", "common").nominal, 3) == 3.220
    assert round(one(found, "common", "t2").nominal, 3) == 1.437
    assert one(found, "woofer_a+", "woofer_a-", "apart").nominal == 5.8
    assert one(found, "tweeter+", "tweeter-", "apart").nominal == 4.7
    # the drivers apart: 12 || 2.5 across the tweeter's points, the coil alone before the woofers, nothing behind it
    assert one(found, "common", "t2", "apart").nominal == pytest.approx(1 / (1 / 12 + 1 / 2.5), rel=1e-12)
    assert one(found, "in", "w", "apart").nominal == pytest.approx(0.32, rel=1e-12)
    assert one(found, "common", "w", "apart").reads == "rises_to_open"


def test_a_series_capacitor_and_a_bridged_one(tmp_path: Path) -> None:
    """Bridged: 3.22 || 0.30 || (2.2 + 12 || 4.7) = 0.2616 ohm."""
    kit, variant = handbook(tmp_path, **WITH_A_SERIES_CAPACITOR)
    window = one(windows(kit, variant), "in", "common")
    assert (window.reads, window.low, window.high, window.nominal) == ("rises_to_open", math.inf, math.inf, math.inf)
    kit, variant = handbook(tmp_path)
    bridged = {**variant.places, "C2": replace(variant.places["C2"], state="link")}
    assert round(one(windows(kit, variant, places=bridged), "in", "common").nominal, 4) == 0.2616


@needs_ngspice
def test_ngspice_reads_the_same_on_the_example_and_on_random_boards(tmp_path: Path) -> None:
    """To 1e-6; what is open there reads 1e12 ohm or half of that in ngspice, which must have a way to ground."""
    luck = random.Random(8)
    example = list(MARSHLIGHT.variants.values())
    boards = [*example, *(random_board(example[0], luck) for _ in range(25))]
    cases, expected = [], []
    for board in boards:
        for window in windows(MARSHLIGHT, board):
            if not own_wires(window):
                edges = resistors(board.places, board.hookups if window.drivers == "connected" else {})
                cases.append((edges, *window.between))
                expected.append(window.nominal)
    found = ngspice_readings(cases, tmp_path)
    opens = sum(math.isinf(value) for value in expected)
    print(f"{len(cases)} readings, {opens} open")
    assert min(opens, len(cases) - opens) > 100
    for read, value in zip(found, expected, strict=True):
        assert read > 1e11 if math.isinf(value) else read == pytest.approx(value, rel=1e-6, abs=1e-12)


@settings(max_examples=40)
@given(st.integers(0, 10**6))
def test_no_draw_within_the_tolerances_leaves_the_window_and_its_ends_are_reached(seed: int) -> None:
    """Rayleigh's law, by another method: resistances anywhere within their ranges, and all at either end."""
    luck = random.Random(seed)
    board = random_board(MARSHLIGHT.variants["centre"], luck)
    exact = with_meter(MARSHLIGHT, 0.0, 0.0)
    spans = {name: span(place) for name, place in board.places.items()}
    spans |= {name: driver_span(hookup) for name, hookup in board.hookups.items()}
    for window in windows(exact, board):
        if own_wires(window):
            continue
        hookups = board.hookups if window.drivers == "connected" else {}

        def read(ohms: dict[str, float], window: Window = window, hookups: dict = hookups) -> float:  # type: ignore[type-arg]
            return effective_resistance(
                [edge for edge in resistors(board.places, hookups, ohms) if math.isfinite(edge[2])], *window.between
            )

        assert read({name: each.low for name, each in spans.items()}) == pytest.approx(window.low, rel=1e-9)
        assert read({name: each.high for name, each in spans.items()}) == pytest.approx(window.high, rel=1e-9)
        for _ in range(4):
            drawn = {
                name: luck.choice([each.low, luck.uniform(each.low, min(each.high, 10 * each.low))])
                if math.isfinite(each.low)
                else math.inf
                for name, each in spans.items()
            }
            assert window.low * (1 - 1e-9) <= read(drawn) <= window.high * (1 + 1e-9)


# ---- tolerances and the meter


@pytest.mark.parametrize(
    ("part", "low", "high"),
    [
        ("{resistor: 10 ohm, tolerance: 2 %, between: [in, a]}", 9.8, 10.2),
        ("{resistor: 10 ohm, between: [in, a]}", 9.5, 10.5),  # 5 % assumed
        ("{coil: 1 mH, dc_resistance: 0.5 ohm, between: [in, a]}", 0.45, 0.55),  # 10 % assumed
        ("{coil: 1 mH, dc_resistance: 0.5 ohm, tolerance: 3 %, between: [in, a]}", 0.485, 0.515),
        ("{capacitor: 10 uF, leakage_resistance: 100 kohm, between: [in, a]}", 100e3, math.inf),
        ("{capacitor: 10 uF, between: [in, a]}", math.inf, math.inf),
    ],
)
def test_a_single_part_within_its_tolerance_and_the_meters_error(
    part: str, low: float, high: float, tmp_path: Path
) -> None:
    kit = read_kit(
        tmp_path,
        parts=f"{{P: {part}}}",
        hookup="{woofer: {driver: woofer, plus: a, minus: common}}",
        more="meter: {resistance_error: 2 %, leads: 0.2 ohm}",
    )
    assert kit.meter == Meter(resistance_error=0.02, leads=0.2, assumed=())
    window = one(windows(kit, kit.variants["v"]), "in", "a", "apart")
    assert window.low == pytest.approx(0.98 * low - 0.2)
    assert window.high == pytest.approx(1.02 * high + 0.2)
    assert window.reads == ("value" if math.isfinite(high) else "rises_to_open")


def test_a_meter_that_the_kit_does_not_know_is_a_usual_one() -> None:
    assert MARSHLIGHT.meter == Meter(resistance_error=0.01, leads=0.1, assumed=("resistance_error", "leads"))


def test_a_link_reads_the_leads_only(tmp_path: Path) -> None:
    kit = read_kit(
        tmp_path,
        parts="{R: {resistor: 10 ohm, between: [in, a]}}",
        hookup="{woofer: {driver: woofer, plus: a, minus: common}}",
        variants="{v: {cabinet: box, parts: {R: link}}}",
    )
    window = one(windows(kit, kit.variants["v"]), "in", "a")
    assert (window.low, window.nominal, window.high, window.reads) == (0.0, 0.0, 0.1, "value")


def test_what_is_charged(tmp_path: Path) -> None:
    """Capacitors in series and in parallel: C1 + 1/(1/C3 + 1/C2), what conducts being wire."""
    centre = MARSHLIGHT.variants["centre"]
    window = one(windows(MARSHLIGHT, centre), "in", "w2", "apart")
    assert window.capacitance == pytest.approx(220e-6 + 1 / (1 / 6.8e-6 + 1 / 10e-6), rel=1e-12)
    assert window.charges == ("C1", "C2", "C3")
    empty = {name: replace(place, state="omit") for name, place in centre.places.items()}
    window = one(windows(MARSHLIGHT, centre, places=empty), "in", "common")
    assert (window.reads, window.capacitance, window.charges) == ("rises_to_open", 0.0, ())


def test_a_driver_that_is_not_connected_can_still_be_read_by_itself() -> None:
    centre = MARSHLIGHT.variants["centre"]
    found = windows(MARSHLIGHT, centre, hookups={})
    assert one(found, "tweeter+", "tweeter-", "apart").nominal == 5.3
    assert one(found, "common", "w2").reads == "rises_to_open"
    assert [window.between for window in found] == [window.between for window in windows(MARSHLIGHT, centre)]


def test_terminals_are_the_points_that_wires_go_to() -> None:
    found = {each.point: each.labels for each in terminals(MARSHLIGHT, MARSHLIGHT.variants["centre"])}
    assert found == {
        "in": ("input+",),
        "common": ("input-", "woofer_a-", "woofer_b-", "tweeter+"),
        "w2": ("woofer_a+", "woofer_b+"),
        "t2": ("tweeter-",),
    }


def window(low: float, high: float) -> Window:
    reads = "value" if math.isfinite(high) else "rises_to_open"
    return Window(("a", "b"), "apart", low, high, reads, low)


def test_what_a_window_holds_and_which_overlap() -> None:
    value, climbs, leaks = window(3.0, 3.4), window(math.inf, math.inf), window(50e3, math.inf)
    assert [value.holds(ohm) for ohm in (2.99, 3.0, 3.4, 3.41, math.inf)] == [False, True, True, False, False]
    assert [climbs.holds(ohm) for ohm in (3.0, 2e6, math.inf)] == [False, True, True]  # 2 Mohm: it is still climbing
    assert [leaks.holds(ohm) for ohm in (3.0, 60e3, math.inf)] == [False, True, True]
    for a, b, both in (
        (value, window(3.4, 4.0), True),
        (value, window(3.5, 4.0), False),
        (value, climbs, False),
        (climbs, climbs, True),
        (climbs, leaks, True),
        (value, leaks, False),
    ):
        assert a.overlaps(b) == b.overlaps(a) == both


# ---- what was read


def read(tmp_path: Path, text: str) -> tuple[Reading, ...]:
    file = tmp_path / "readings.txt"
    file.write_text(text, encoding="utf-8")
    return read_readings(file, MARSHLIGHT, MARSHLIGHT.variants["centre"])


def test_readings(tmp_path: Path) -> None:
    found = read(
        tmp_path,
        "\ufeff# Monday, after shorting the leads\r\n"
        "in common connected open  // it climbs\r\n\r\n"
        "w2 common Apart OL\r\n"
        "woofer_b+, input-, connected, 2.9\n"
        "t2;common;apart;1.5 ohm\n"
        "tweeter- tweeter+ apart 5300 mohm\n"
        "in w2 apart 2.2Mohm\n"
        "t2 w2 connected 4.1 Ω\n",
    )
    assert found == (
        Reading(("in", "common"), "connected", math.inf, 2),
        Reading(("common", "w2"), "apart", math.inf, 4),
        Reading(("common", "w2"), "connected", 2.9, 5),
        Reading(("common", "t2"), "apart", 1.5, 6),
        Reading(("tweeter+", "tweeter-"), "apart", 5.3, 7),
        Reading(("in", "w2"), "apart", 2.2e6, 8),
        Reading(("w2", "t2"), "connected", 4.1, 9),
    )
    every = {(each.between, each.drivers) for each in windows(MARSHLIGHT, MARSHLIGHT.variants["centre"])}
    assert {(each.between, each.drivers) for each in found} <= every


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("in common connected 3,4", '1:21: error[reading_value]: the reading is "3,4"'),
        ("in,common,connected,3,4", '1:21: error[reading_value]: the reading is "3,4"'),
        ("in common connected -3.4", "1:21: error[reading_value]"),
        ("in common connected 3.4 V", "1:21: error[reading_value]"),
        ("in common connected lots", "1:21: error[reading_value]"),
        ("in comon connected 3.4", '1:4: error[reading_point]: "comon" is no terminal of this variant; did you mean'),
        ("w2 woofer_a+ connected 0", "1:4: error[reading_point]: w2 and woofer_a+ are one point, w2"),
        ("in woofer_a+ apart 0", "1:4: error[reading_point]: with the drivers apart, woofer_a+ is a wire by itself"),
        ("in common 3.4", "1:1: error[reading_line]: this line has 3 words"),
        ("in common off 3.4", '1:11: error[reading_line]: the drivers are "off"'),
        ("# nothing\n", "1:1: error[reading_line]: there is no reading in this file"),
        ("in common apart open\ncommon in apart 3\n", "2:1: error[reading_twice]"),
    ],
)
def test_readings_at_fault_say_where(text: str, expected: str, tmp_path: Path) -> None:
    with pytest.raises(KitError) as caught:
        read(tmp_path, text)
    (finding,) = caught.value.findings
    assert finding.text().startswith(f"{tmp_path}/readings.txt:{expected}")


def test_all_faults_of_a_file_at_once(tmp_path: Path) -> None:
    with pytest.raises(KitError) as caught:
        read(tmp_path, "in comon connected 3.4\nin common connected 3,4\nin common apart open\nin\n")
    assert [(each.line, each.code) for each in caught.value.findings] == [
        (1, "reading_point"),
        (2, "reading_value"),
        (4, "reading_line"),
    ]
    with pytest.raises(KitError) as caught:
        read_readings(tmp_path / "none.txt", MARSHLIGHT, MARSHLIGHT.variants["centre"])
    assert [each.code for each in caught.value.findings] == ["file_missing"]
