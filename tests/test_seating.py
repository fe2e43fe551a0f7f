"""Seats to either side: two small woofers against closed forms, seats by another route, and who plays with whom."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from system.around import around, direction
from system.build import build
from system.findings import KitError
from system.kit import Kit, Seats
from system.predict import predict
from system.seating import Fall, Seating, fall_of, small_pair
from system.summary import level
from system.transfer import paths_around
from tests.support_kits import read_kit
from tests.test_around import PAIR, SMALL, TWO_WAY

C, APART = 343.21, 0.29
F = np.geomspace(30, 15e3, 40)


# Between the two woofers a dome behind a resistor that leaves it no sound, at which the listening axis begins.
TABLE = "{file: p.txt, volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}"
DOME = f"dome: {{role: tweeter, re: 6 ohm, impedance: z.txt, response: {TABLE}}}"
DRIVERS = f"{SMALL[:-1]}, {DOME}}}"
HEARD_AT = "dome: {driver: dome, plus: d, minus: common}"
MUTE = "R: {resistor: 100000 ohm, between: [in, d]}"
HOOKUP = f"{PAIR[:-1]}, {HEARD_AT}}}"
BOX = TWO_WAY.replace("cutouts: {", "cutouts: {dome: [80 mm, 240 mm], ")


def kit_of(folder: Path, placing: str, **pieces: str) -> Kit:
    rows = (20, 100, 500, 2000, 20000)
    (folder / "z.txt").write_text("\n".join(f"{f} 8 0" for f in rows))
    (folder / "p.txt").write_text("\n".join(f"{f} 80 0" for f in rows))
    chosen = {"drivers": DRIVERS, "hookup": HOOKUP, "cabinets": BOX, "parts": f"{{{MUTE}}}"} | pieces
    return read_kit(folder, variants=f"{{v: {{cabinet: box, {placing}}}}}", **chosen)


def seats_of(kit: Kit) -> Seating:
    found = around(kit, predict(kit, kit.variants["v"], F)).seating
    assert found is not None
    return found


def close(fall: Fall | None, angle: float, rel: float) -> None:
    """Two equal points d apart: 3 dB down at c/(4 d sin a), 6 dB at c/(3 d sin a), none at c/(2 d sin a).

    |1 + e^{j k d sin a}|/2 = cos(pi f d sin a/c): Kinsler et al., Fundamentals of Acoustics, 2000, 7.8, from memory.
    """
    assert fall is not None
    path = APART * math.sin(angle)
    assert fall.minus_3 == pytest.approx(C / (4 * path), rel=rel)
    assert fall.minus_6 == pytest.approx(C / (3 * path), rel=rel)
    assert fall.null == pytest.approx(C / (2 * path), rel=rel)


@pytest.mark.parametrize("attitude", ["on_left_side", "on_right_side"])
@pytest.mark.parametrize(("distance", "degrees"), [(50, 10), (50, 20), (50, 35), (3, 20)])
def test_two_small_woofers_side_by_side(tmp_path: Path, attitude: str, distance: int, degrees: int) -> None:
    """In a wall: 0.1 % far away; at 3 m the difference of the paths is smaller by up to (d/r)^2/8, 0.12 %, besides."""
    placing = f"placement: in_wall, attitude: {attitude}, seats: {{distance: {distance} m, angle: {degrees} deg}}"
    found = seats_of(kit_of(tmp_path, placing))
    assert found.woofers == ("woofer_a", "woofer_b")
    assert found.apart == pytest.approx(APART)
    assert [seat.angle for seat in found.seats] == pytest.approx([-math.radians(degrees), math.radians(degrees)])
    for seat in found.seats:
        close(seat.fall, math.radians(degrees), 1e-3 if distance == 50 else 2.2e-3)
    close(found.expected, math.radians(degrees), 1e-9)
    # the pair lies about its middle, so both sides hear the same
    np.testing.assert_allclose(found.seats[0].pressure, found.seats[1].pressure, rtol=1e-9)


def test_upright_it_is_the_vertical_plane(tmp_path: Path) -> None:
    """One woofer above the other: no fall at the seats up to 20 kHz, and the formula's above and below the axis."""
    kit = kit_of(tmp_path, "placement: in_wall, seats: {distance: 50 m, angle: 20 deg}")
    found = seats_of(kit)
    assert found.apart == pytest.approx(0, abs=1e-12)
    assert found.expected is None
    for seat in found.seats:
        assert seat.fall == Fall(None, None, None)
        assert abs(seat.farthest or 0) < 0.05
    frequency = np.geomspace(100, 20e3, 1000)
    model = build(kit, kit.variants["v"])
    directions = np.array([direction("vertical", angle) for angle in (0, -20, 20)])
    paths = paths_around(model, frequency, 50.0, directions)[:, :, :2].sum(axis=2)
    for i in (1, 2):
        close(fall_of(frequency, np.abs(paths[:, i] / paths[:, 0])), math.radians(20), 1e-3)


def test_the_formula() -> None:
    assert small_pair(0.0, 0.3, C) is None
    assert small_pair(0.3, 0.0, C) is None
    close(small_pair(APART, 0.3, C), 0.3, 1e-12)


def test_reading_a_fall() -> None:
    """Of cos(pi f/2f0), whose places are f0/2, 2 f0/3 and f0; and of a ratio that only dips a little."""
    frequency = np.geomspace(50, 20e3, 1200)
    found = fall_of(frequency, np.abs(np.cos(0.5 * np.pi * frequency / 1000)))
    assert found.minus_3 == pytest.approx(500, rel=1e-4)
    assert found.minus_6 == pytest.approx(2000 / 3, rel=1e-4)
    assert found.null == pytest.approx(1000, rel=1e-4)
    assert fall_of(frequency, 0.9 + 0.1 * np.cos(frequency / 300)) == Fall(None, None, None)


@pytest.mark.parametrize("place", ["{wall_behind: 0 m}", "{wall_behind: 0.3 m, below: 0.5 m, wall_left: 1.5 m}"])
def test_seats_by_the_other_route(tmp_path: Path, place: str) -> None:
    """A kit that is listened to from a seat says the same there, planes and all."""
    kit = kit_of(tmp_path, f"placement: {place}, seats: {{distance: 2 m, angle: 25 deg}}")
    found = seats_of(kit)
    everywhere = [(0, found.middle), *((math.degrees(seat.angle), seat.pressure) for seat in found.seats)]
    for angle, pressure in everywhere:
        there = kit_of(
            tmp_path, f"placement: {place}", more=f"listening: {{distance: 2 m, angle_horizontal: {angle:.9f} deg}}"
        )
        np.testing.assert_allclose(pressure, predict(there, there.variants["v"], F).pressure, rtol=1e-7)


def test_a_wall_on_one_side(tmp_path: Path) -> None:
    """The seats differ; with the wall and everything else on the other side they are exchanged."""
    one = seats_of(kit_of(tmp_path, "placement: {wall_left: 1.2 m}, seats: {distance: 2 m, angle: 25 deg}"))
    other = seats_of(
        kit_of(
            tmp_path, "placement: {wall_right: 1.2 m}, seats: {distance: 2 m, angle: 25 deg}",
            cabinets=BOX.replace("[80 mm", "[100 mm"),
        )
    )  # fmt: skip
    left, right = one.seats
    assert np.max(np.abs(level(left.pressure) - level(right.pressure))) > 3
    for mine, its in ((left, other.seats[1]), (right, other.seats[0])):
        np.testing.assert_allclose(mine.pressure, its.pressure, rtol=1e-8)
        assert mine.difference == pytest.approx(its.difference, abs=1e-8)
        assert mine.farthest_at == its.farthest_at


def test_a_point_is_the_same_at_every_seat(tmp_path: Path) -> None:
    found = seats_of(
        kit_of(tmp_path, "placement: in_wall, seats: {distance: 3 m, angle: 30 deg}", cabinets="{box: {}}")
    )
    for seat in found.seats:
        assert seat.difference == pytest.approx(0, abs=1e-9)
        assert seat.farthest == pytest.approx(0, abs=1e-9)
        assert seat.fall == Fall(None, None, None)


def test_the_mean_and_the_largest_difference(tmp_path: Path) -> None:
    """Two small woofers: from 300 Hz to 3 kHz cos^2 over even steps of log frequency, against scipy's integral."""
    from scipy.integrate import quad

    found = seats_of(
        kit_of(tmp_path, "placement: in_wall, attitude: on_left_side, seats: {distance: 50 m, angle: 10 deg}")
    )
    path, k = APART * math.sin(math.radians(10)), math.pi / C
    # both seats and the middle have the spectrum of one source, level from 300 Hz to 3 kHz but for the box's corner
    spectrum = level(found.middle)
    band = (F > 300) & (F < 3000)
    assert np.ptp(spectrum[band]) < 0.5
    mean = quad(lambda x: math.cos(k * path * math.exp(x)) ** 2, math.log(300), math.log(3000))[0] / math.log(10)
    for seat in found.seats:
        assert seat.difference == pytest.approx(10 * math.log10(mean), abs=0.1)
        assert seat.farthest_at == pytest.approx(3000, rel=0.005)
        assert seat.farthest == pytest.approx(20 * math.log10(math.cos(k * path * seat.farthest_at)), abs=0.05)


ALONE = BOX.replace(", woofer_b: [80 mm, 95 mm]", "").replace(", woofer_b]", "]")
TURNED = "woofer_b: {driver: small, plus: common, minus: in"
COIL = f"{{{MUTE}, L: {{coil: 1 mH, between: [in, b]}}}}"


@pytest.mark.parametrize(
    "pieces",
    [
        {"hookup": f"{{woofer_a: {{driver: small, plus: in, minus: common}}, {HEARD_AT}}}", "cabinets": ALONE},
        {"hookup": HOOKUP.replace("woofer_b: {driver: small, plus: in, minus: common", TURNED)},
        {
            "hookup": HOOKUP.replace("woofer_b: {driver: small, plus: in", "woofer_b: {driver: small, plus: b"),
            "parts": COIL,
        },
    ],
    ids=["one alone", "one turned round", "one behind a coil"],
)
def test_woofers_that_do_not_play_the_same(tmp_path: Path, pieces: dict[str, str]) -> None:
    placing = "placement: in_wall, attitude: on_left_side, seats: {distance: 3 m, angle: 20 deg}"
    found = seats_of(kit_of(tmp_path, placing, **pieces))
    assert found.woofers == ()
    assert (found.apart, found.expected) == (None, None)
    assert all(seat.fall is None for seat in found.seats)


def test_woofers_in_series_play_the_same(tmp_path: Path) -> None:
    series = "woofer_a: {driver: small, plus: in, minus: b}, woofer_b: {driver: small, plus: b, minus: common}"
    hookup = f"{{{series}, {HEARD_AT}}}"
    placing = "placement: in_wall, attitude: on_left_side, seats: {distance: 3 m, angle: 20 deg}"
    assert seats_of(kit_of(tmp_path, placing, hookup=hookup)).woofers == ("woofer_a", "woofer_b")


def test_one_seat_only(tmp_path: Path) -> None:
    """At an angle of 0 there is the middle and nothing beside it."""
    found = seats_of(kit_of(tmp_path, "placement: in_wall, seats: {distance: 3 m, angle: 0 deg}"))
    assert found.seats == ()


def test_a_seat_behind_a_wall(tmp_path: Path) -> None:
    """The reader refuses it; a variant made by hand gets the same code."""
    placing = "placement: {wall_left: 0.5 m}, seats: {distance: 3 m, angle: 30 deg}"
    with pytest.raises(KitError, match="listening_outside"):
        seats_of(kit_of(tmp_path, placing))
    kit = kit_of(tmp_path, placing.replace("30 deg", "3 deg"))
    done = predict(kit, kit.variants["v"], F)
    seated = replace(done, variant=replace(done.variant, seats=Seats(3.0, math.radians(30))))
    with pytest.raises(KitError) as caught:
        around(kit, seated)
    assert [finding.code for finding in caught.value.findings] == ["listening_outside"]
    assert "3 m away, 30 degrees to either side" in str(caught.value)


def test_no_seats(tmp_path: Path) -> None:
    kit = kit_of(tmp_path, "placement: in_wall")
    assert around(kit, predict(kit, kit.variants["v"], F)).seating is None
