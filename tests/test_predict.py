"""The chain from kit file to prediction, against closed forms and against itself by other routes."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from system.predict import Prediction, predict
from system.summary import level
from tests.support_kits import WOOFER, read_kit

RHO, C = 1.2041, 343.21
RE, BL, MMS, CMS, RMS, SD = 5.6, 6.3, 9.5e-3, 1.10e-3, 0.85, 88e-4
F = np.geomspace(10, 2000, 300)
LOSSLESS = "losses: {leak: lossless, absorption: lossless}"


def only(folder: Path, frequency: np.ndarray = F, volts: float = 2.83, **pieces: str) -> Prediction:
    kit = read_kit(folder, **pieces)
    return predict(kit, next(iter(kit.variants.values())), frequency, volts)


def sealed(volume: str, drivers: str = "[woofer]") -> str:
    return f"{{box: {{chambers: [{{kind: sealed, drivers: {drivers}, volume: {volume}, {LOSSLESS}}}]}}}}"


@pytest.mark.parametrize("litres", [3.0, 6.0, 20.0])
def test_sealed_box_against_small(tmp_path: Path, litres: float) -> None:
    """Small, J. Audio Eng. Soc. 20(10), 1972: second-order response and displacement, fc = fs sqrt(1 + alpha).

    In an infinite wall at 1 m, so p = rho w^2 Sd x/(2 pi r); within 0.01 dB and 0.1 %.
    """
    result = only(tmp_path, cabinets=sealed(f"{litres} L"))
    alpha = RHO * C**2 * SD**2 * CMS / (litres * 1e-3)
    fc = math.sqrt(1 + alpha) / (2 * math.pi * math.sqrt(MMS * CMS))
    qtc = 2 * math.pi * fc * MMS / (RMS + BL**2 / RE)
    second_order = 1 / (1 - (F / fc) ** 2 + 1j * F / (fc * qtc))
    excursion = math.sqrt(2) * 2.83 * BL * CMS / (RE * (1 + alpha)) * second_order
    pressure = RHO * (2 * np.pi * F) ** 2 * SD * excursion / math.sqrt(2) / (2 * math.pi)
    found = result.drivers["woofer"].excursion
    assert found is not None
    np.testing.assert_allclose(found, np.abs(excursion), rtol=1e-3)
    np.testing.assert_allclose(level(result.pressure), level(pressure), atol=0.01)
    # cone outward is positive, so pressure leads by the half turn of -w^2: the same phase as the closed form's
    turned = np.angle(result.pressure / -pressure)
    np.testing.assert_allclose(np.degrees(turned), 0, atol=0.1)


def test_displacement_at_0_hz_of_the_checked_driver(tmp_path: Path) -> None:
    """x/V at 0 Hz = Bl Cms/(Re (1 + alpha)): in 6 L 0.410628 mm/V (Small 1972/73, exact)."""
    result = only(tmp_path, np.array([1.0, 2.0]), 1.0, cabinets=sealed("6 L"))
    excursion = result.drivers["woofer"].excursion
    assert excursion is not None
    assert excursion[0] / math.sqrt(2) * 1e3 == pytest.approx(0.410628, rel=5e-4)


def test_sensitivity_is_the_reference_efficiency(tmp_path: Path) -> None:
    """Re 5.6, eta0 0.00339574: 89.02 dB (0.01) at 2.83 V, half space, 1 m (Small 1972; 1 W radiates 112.16 dB).

    At high frequency, without voice-coil inductance, where only the moving mass counts.
    """
    result = only(tmp_path, np.array([5000.0, 6000.0]), drivers=f"{{woofer: {WOOFER}}}")
    assert level(result.pressure)[0] == pytest.approx(89.02, abs=0.01)


def test_half_the_distance_is_6_db(tmp_path: Path) -> None:
    near = only(tmp_path, more="listening: {distance: 0.5 m}")
    far = only(tmp_path, more="listening: {distance: 1 m}")
    np.testing.assert_allclose(near.pressure / far.pressure, 2, rtol=1e-12)
    assert near.summary.sensitivity_db == pytest.approx(far.summary.sensitivity_db, abs=1e-9)


TWO = "{a: {driver: woofer, plus: in, minus: common}, b: {driver: woofer, plus: in, minus: common}}"


def test_two_woofers_are_one_of_twice_the_size(tmp_path: Path) -> None:
    """In parallel in one box: half re, the same bl... in short: 2 sd, re/2, mms 2, cms/2, rms 2, same bl."""
    twice = "{re: 2.8 ohm, bl: 6.3 T.m, mms: 19 g, cms: 0.55 mm/N, rms: 1.7 kg/s, sd: 176 cm2}"
    cabinets = sealed("9 L", "[a, b]").replace(LOSSLESS, "losses: {leak: 10, absorption: 30}")
    pair = only(tmp_path, cabinets=cabinets, hookup=TWO)
    one = only(tmp_path, cabinets=cabinets.replace("[a, b]", "[woofer]"), drivers=f"{{woofer: {twice}}}")
    np.testing.assert_allclose(pair.impedance, one.impedance, rtol=1e-9)
    np.testing.assert_allclose(pair.pressure, one.pressure, rtol=1e-9)


def test_a_reversed_woofer_in_a_shared_chamber_sees_no_box(tmp_path: Path) -> None:
    """The two cones pass the air to and fro: the impedance is that of two drivers in free air, and nothing is heard."""
    cabinets = sealed("9 L", "[a, b]")
    against = TWO.replace("b: {driver: woofer, plus: in, minus: common", "b: {driver: woofer, plus: common, minus: in")
    result = only(tmp_path, cabinets=cabinets, hookup=against)
    free = only(tmp_path, hookup=TWO)
    np.testing.assert_allclose(result.impedance, free.impedance, rtol=1e-9)
    assert np.abs(result.pressure).max() < 1e-9 * np.abs(free.pressure).max()
    peak = F[np.abs(result.impedance).argmax()]
    assert peak == pytest.approx(49.2336, rel=0.02)  # the driver's own fs


def test_what_the_amplifier_sees(tmp_path: Path) -> None:
    """The cable counts, the amplifier's output resistance does not; both take their share of the volts."""
    plain = only(tmp_path)
    result = only(tmp_path, amplifier="{power: 50 W, load: 8 ohm, output_resistance: 0.7 ohm, cable: 0.3 ohm}")
    np.testing.assert_allclose(result.impedance, plain.impedance + 0.3, rtol=1e-12)
    share = plain.impedance / (plain.impedance + 1.0)
    np.testing.assert_allclose(result.drivers["woofer"].volts, 2.83 * share, rtol=1e-12)


PARTS = "{C1: {capacitor: 220 uF, between: [in, w]}, R1: {resistor: 2.2 ohm, between: [w, common]}}"
BEHIND = "{woofer: {driver: woofer, plus: w, minus: common}}"


def test_linked_and_left_out_places(tmp_path: Path) -> None:
    """A link is a wire and a place left out is nothing: what remains is the driver alone."""
    alone = only(tmp_path)
    result = only(tmp_path, parts=PARTS, hookup=BEHIND, variants="{v: {cabinet: box, parts: {C1: link, R1: omit}}}")
    np.testing.assert_allclose(result.impedance, alone.impedance, rtol=1e-12)
    assert result.parts == {}


def test_power_in_is_power_out(tmp_path: Path) -> None:
    """The heat of the parts and the power into the driver are what the source delivers, 1e-9."""
    result = only(tmp_path, parts=PARTS, hookup=BEHIND)
    current = 2.83 / result.impedance
    into = (2.83 * current.conj()).real
    driver = result.drivers["woofer"]
    out = (driver.volts * driver.current.conj()).real + sum(part.watts for part in result.parts.values())
    np.testing.assert_allclose(out, into, rtol=1e-9)


def test_a_dome_known_by_its_tables(tmp_path: Path) -> None:
    """In a wall at the table's distance and volts the prediction is the table; it scales with the driver's volts."""
    rows = np.geomspace(20, 20e3, 61)
    ohms, decibels, phase = 5 + rows / 5000, 80 + 5 * np.log10(rows / 1000), -20 * np.log10(rows / 100)
    (tmp_path / "z.txt").write_text("\n".join(f"{f} {z} 10" for f, z in zip(rows, ohms, strict=True)))
    lines = [f"{f},{d},{p}" for f, d, p in zip(rows, decibels, phase, strict=True)]
    (tmp_path / "p.txt").write_text("\n".join(lines))
    dome = (
        "{dome: {role: tweeter, re: 5 ohm, impedance: z.txt,"
        " response: {file: p.txt, volts: 2 V, distance: 0.5 m, mounted: wall, phase: measured}}}"
    )
    hookup = "{dome: {driver: dome, plus: in, minus: common}}"
    near = "listening: {distance: 0.5 m}"
    at_table = only(tmp_path, rows, 2.0, drivers=dome, hookup=hookup, more=near)
    np.testing.assert_allclose(level(at_table.pressure), decibels, atol=1e-9)
    np.testing.assert_allclose(np.degrees(np.angle(at_table.pressure)), phase, atol=1e-9)
    np.testing.assert_allclose(np.abs(at_table.impedance), ohms, rtol=1e-9)
    assert at_table.drivers["dome"].excursion is None
    against = "{dome: {driver: dome, plus: common, minus: in, reversed: on_purpose}}"
    further = only(tmp_path, rows, 2.0, drivers=dome, hookup=against, more="listening: {distance: 2 m}")
    np.testing.assert_allclose(further.pressure, -at_table.pressure / 4, rtol=1e-9)


CABINET = (
    "{box: {baffle: {width: 180 mm, height: 480 mm, depth: 200 mm}, cutouts: {a: [90 mm, 380 mm], b: [90 mm, 100 mm]},"
    " chambers: [{kind: sealed, drivers: [a, b], volume: 9 L}]}}"
)


def turned(folder: Path, attitude: str, horizontal: float, vertical: float) -> Prediction:
    return only(
        folder,
        np.geomspace(40, 4000, 30),
        cabinets=CABINET,
        hookup=TWO,
        variants=f"{{v: {{cabinet: box, attitude: {attitude}}}}}",
        more="listening: {distance: 2 m, axis: a,"
        f" angle_horizontal: {horizontal} deg, angle_vertical: {vertical} deg}}",
    )


def test_lying_on_its_side_swaps_the_planes(tmp_path: Path) -> None:
    """Free standing: nothing changes on the axis, and what was to the right is then above (left side below)."""
    upright = turned(tmp_path, "upright", 0, 0)
    np.testing.assert_allclose(turned(tmp_path, "on_left_side", 0, 0).pressure, upright.pressure, rtol=1e-9)
    right = turned(tmp_path, "upright", 30, 0)
    np.testing.assert_allclose(turned(tmp_path, "on_left_side", 0, 30).pressure, right.pressure, rtol=1e-9)
    above = turned(tmp_path, "upright", 0, 30)
    np.testing.assert_allclose(turned(tmp_path, "on_left_side", -30, 0).pressure, above.pressure, rtol=1e-9)
    np.testing.assert_allclose(turned(tmp_path, "on_right_side", 30, 0).pressure, above.pressure, rtol=1e-9)


def test_the_baffle_step_is_in_the_level(tmp_path: Path) -> None:
    """A free-standing cabinet is nearly 6 dB below the same drivers in a wall at low frequency, and no step is added
    by hand. Less than 6.02 dB at 2 m, since the body shifts the acoustic centre forward."""
    free = turned(tmp_path, "upright", 0, 0)
    wall = only(
        tmp_path,
        np.geomspace(40, 4000, 30),
        cabinets=CABINET,
        hookup=TWO,
        variants="{v: {cabinet: box, placement: in_wall}}",
        more="listening: {distance: 2 m, axis: a}",
    )
    step = level(free.pressure) - level(wall.pressure)
    assert -6.02 < step[0] < -4.5
    assert np.abs(step[-8:]).max() < 3


def test_without_cutouts_all_that_radiates_is_one_point(tmp_path: Path) -> None:
    """The half-space reference: no directivity and no path differences, at any angle."""
    on_axis = only(tmp_path, np.array([100.0, 8000.0]))
    aside = only(tmp_path, np.array([100.0, 8000.0]), more="listening: {distance: 1 m, angle_horizontal: 60 deg}")
    np.testing.assert_allclose(aside.pressure, on_axis.pressure, rtol=1e-12)


DOME_CABINET = "{box: {baffle: {width: 200 mm, height: 300 mm, depth: 200 mm}, cutouts: {dome: [90 mm, 200 mm]}}}"


@pytest.mark.parametrize("placement", ["in_wall", "free_standing", "{below: 0.4 m}"])
def test_a_table_of_this_cabinet_holds_its_diffraction(tmp_path: Path, placement: str) -> None:
    """Free standing it is the table; near a plane, the plane is added: at low frequency, an image's worth."""
    rows = np.geomspace(20, 20e3, 61)
    (tmp_path / "z.txt").write_text("\n".join(f"{f} 6 0" for f in rows))
    (tmp_path / "p.txt").write_text("\n".join(f"{f} 86 0" for f in rows))
    dome = (
        "{dome: {role: tweeter, re: 5 ohm, impedance: z.txt,"
        " response: {file: p.txt, volts: 2.83 V, distance: 1 m, mounted: this_cabinet, phase: measured}}}"
    )
    result = only(
        tmp_path,
        np.array([20.0, 500.0, 10e3]),
        drivers=dome,
        hookup="{dome: {driver: dome, plus: in, minus: common}}",
        cabinets=DOME_CABINET,
        variants=f"{{v: {{cabinet: box, placement: {placement}}}}}",
    )
    found = level(result.pressure)
    if placement.startswith("{"):
        # image 1.2 m below: path sqrt(1 + 1.2^2) = 1.562 m, 1/1.562 in phase at 20 Hz (0.2 rad): +4.2 dB
        assert found[0] == pytest.approx(86 + 20 * np.log10(1 + 1 / 1.562), abs=0.3)
    else:
        np.testing.assert_allclose(found, 86, atol=1e-6)


def test_a_table_of_this_cabinet_is_not_omnidirectional(tmp_path: Path) -> None:
    """Off the axis it has what the cabinet and the dome do there, like a table from a wall, each over its own axis."""
    rows = np.geomspace(20, 20e3, 61)
    (tmp_path / "z.txt").write_text("\n".join(f"{f} 6 0" for f in rows))
    (tmp_path / "p.txt").write_text("\n".join(f"{f} 86 0" for f in rows))
    results = {}
    for mounted in ("this_cabinet", "wall"):
        for angle in (0, 60, 100):
            dome = (
                "{dome: {role: tweeter, re: 5 ohm, sd: 20 cm2, impedance: z.txt,"
                f" response: {{file: p.txt, volts: 2.83 V, distance: 1 m, mounted: {mounted}, phase: measured}}}}}}"
            )
            results[mounted, angle] = only(
                tmp_path,
                np.array([200.0, 2000.0, 8000.0]),
                drivers=dome,
                hookup="{dome: {driver: dome, plus: in, minus: common}}",
                cabinets=DOME_CABINET,
                more=f"listening: {{distance: 1 m, angle_horizontal: {angle} deg}}",
            ).pressure
    for angle in (60, 100):
        found = results["this_cabinet", angle] / results["this_cabinet", 0]
        np.testing.assert_allclose(found, results["wall", angle] / results["wall", 0], rtol=1e-9)
        assert level(found)[2] < level(np.ones(1))[0] - 6


@pytest.mark.parametrize("boxed", [False, True])
def test_a_hot_coil_behind_tables_is_a_cold_one_with_a_resistor(boxed: bool, tmp_path: Path) -> None:
    """The tables were measured cold: 100 K more in copper are 0.393 re in series with all of it (IEC 60028).

    So the kit with a hot driver is the kit with a cold one and that resistor before it; what is heard falls by
    |Z cold/Z hot| at every frequency, most where the impedance is lowest. Once by its tables only, once in a box with
    a response table.
    """
    rows = np.geomspace(20, 20e3, 61)
    (tmp_path / "z.txt").write_text("\n".join(f"{f} {5 + f / 5000} {40 * math.sin(f / 3000)}" for f in rows))
    (tmp_path / "p.txt").write_text("\n".join(f"{f},{80 + 5 * math.log10(f / 1000)},-20" for f in rows))
    response = "response: {file: p.txt, volts: 2 V, distance: 0.5 m, mounted: wall, phase: measured}"
    cold = f"role: tweeter, re: 5 ohm, impedance: z.txt, {response}"
    if boxed:
        cold = f"{WOOFER[1:-1].replace('re: 5.6 ohm', 're: 5 ohm')}, {response}"
    cabinets = sealed("6 L", "[unit]") if boxed else "{box: {}}"
    hookup = "{unit: {driver: unit, plus: in, minus: common}}"
    hot = only(
        tmp_path, rows, drivers=f"{{unit: {{{cold}, voice_coil_temperature: 120 degC, winding: copper}}}}",
        hookup=hookup, cabinets=cabinets,
    )  # fmt: skip
    pieces = {"drivers": f"{{unit: {{{cold}}}}}", "cabinets": cabinets}
    resistor = only(
        tmp_path, rows, **pieces,
        parts="{R1: {resistor: 1.965 ohm, between: [in, x]}}", hookup=hookup.replace("plus: in", "plus: x"),
    )  # fmt: skip
    np.testing.assert_allclose(hot.impedance, resistor.impedance, rtol=1e-12)
    np.testing.assert_allclose(hot.pressure, resistor.pressure, rtol=1e-12)
    np.testing.assert_allclose(hot.drivers["unit"].volts, 2.83, rtol=1e-12)
    alone = only(tmp_path, rows, **pieces, hookup=hookup)
    np.testing.assert_allclose(hot.impedance, alone.impedance + 1.965, rtol=1e-12)
    np.testing.assert_allclose(hot.pressure / alone.pressure, alone.impedance / hot.impedance, rtol=1e-9)


def test_excursion_of_a_radiator(tmp_path: Path) -> None:
    """Small, J. Audio Eng. Soc. 22(8), 1974: its cone on its own spring and on that of the box, pushed by the driver's.

    xp/xd = -Sd Sp/Cab / (1/cms - w^2 mms + j w rms + Sp^2/Cab), lossless box; two radiators are one of twice the area.
    """
    chamber = "kind: passive_radiator, drivers: [woofer], volume: 12 L, losses: {leak: lossless, absorption: lossless}"
    radiator = "{sd: 88 cm2, mms: 20 g, cms: 1.4 mm/N, rms: 0.9 kg/s, count: 2}"
    result = only(tmp_path, cabinets=f"{{box: {{chambers: [{{{chamber}, radiators: [{radiator}]}}]}}}}")
    w, spring = 2 * np.pi * F, RHO * C**2 / 12e-3
    moved = SD * 2 * SD * spring / (2 / 1.4e-3 - w**2 * 0.04 + 1.8j * w + (2 * SD) ** 2 * spring)
    found, driver = result.openings["radiator"].excursion, result.drivers["woofer"].excursion
    assert found is not None
    assert driver is not None
    np.testing.assert_allclose(found / driver, np.abs(moved), rtol=1e-9)
    np.testing.assert_allclose(result.radiator_excursion_at("radiator", 28.3), 10 * found, rtol=1e-12)
    assert result.openings["radiator"].limit is None


VENTED = "kind: vented, drivers: [woofer], volume: 12 L, tuning: 50 Hz, losses: {leak: 7}"


@pytest.mark.parametrize(("port", "limit"), [("", 0.05 * C), (", speed_limit: 12 m/s", 12.0)])
def test_the_volts_at_which_a_port_gets_too_fast(port: str, limit: float, tmp_path: Path) -> None:
    """At those volts the peak speed of a sine touches the limit at one frequency and stays below at all others.

    5 % of the speed of sound is common practice, no source.
    """
    cabinets = f"{{box: {{chambers: [{{{VENTED}, ports: [{{diameter: 40 mm{port}}}]}}]}}}}"
    found = only(tmp_path, cabinets=cabinets).openings["port"].limit
    assert found is not None
    assert found.volts is not None
    assert found.frequency is not None
    assert found.speed == pytest.approx(limit)
    there = np.sort(np.append(np.geomspace(20, 20e3, 500), found.frequency))
    speed = only(tmp_path, there, found.volts, cabinets=cabinets).openings["port"].speed
    assert speed.max() == pytest.approx(limit, rel=1e-4)
    assert there[speed.argmax()] == pytest.approx(found.frequency, rel=0.02)
    assert speed[there == found.frequency] == pytest.approx(limit, rel=1e-12)
    assert 40 < found.frequency < 60  # a port moves most air about its tuning
    assert only(tmp_path, cabinets=cabinets).openings["port"].excursion is None


def test_only_what_the_programme_holds_counts_against_a_port(tmp_path: Path) -> None:
    """With a programme from 80 Hz up the worst is its lowest frequency, above the tuning."""
    cabinets = f"{{box: {{chambers: [{{{VENTED}, ports: [{{diameter: 40 mm}}]}}]}}}}"
    more = "programme: {spectrum: pink, crest_factor: 12 dB, from: 80 Hz}"
    low = only(tmp_path, cabinets=cabinets).openings["port"].limit
    high = only(tmp_path, cabinets=cabinets, more=more).openings["port"].limit
    assert low is not None
    assert high is not None
    assert high.frequency == pytest.approx(80, rel=0.005)  # the summary has 162 points an octave
    assert (high.volts or 0) > 1.5 * (low.volts or 0)


def test_openings_of_several_chambers_keep_their_own_limits(tmp_path: Path) -> None:
    """`port`, `port2` in the order of the file, whatever the chambers before them are."""
    port = "[{{diameter: 40 mm, speed_limit: {} m/s}}]"
    chambers = ", ".join(
        [
            "{kind: sealed, drivers: [woofer], volume: 6 L}",
            f"{{kind: vented, drivers: [a], volume: 9 L, tuning: 60 Hz, ports: {port.format(11)}}}",
            f"{{kind: vented, drivers: [b], volume: 9 L, tuning: 60 Hz, ports: {port.format(13)}}}",
        ]
    )
    three = f"{TWO[:-1]}, woofer: {{driver: woofer, plus: in, minus: common}}}}"
    for left_out, expected in (("", {"port": 11, "port2": 13}), ("a: omit", {"port": 13})):
        result = only(
            tmp_path,
            cabinets=f"{{box: {{chambers: [{chambers}]}}}}",
            hookup=three,
            variants=f"{{v: {{cabinet: box, hookup: {{{left_out}}}}}}}",
        )
        limits = {name: opening.limit.speed for name, opening in result.openings.items() if opening.limit}
        assert limits == pytest.approx(expected)
