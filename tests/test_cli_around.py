"""`predict --around` as a user meets it: JSON, tables, pictures, text, and what is refused."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.support_cli import Run, document
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT, finite, kitwright

FEW = ("--from", 100, "--to", 5000, "--points", 12)
MEANS = ("listening_window_db", "early_reflections_db", "sound_power_db", "in_room_db")
INDICES = ("directivity_index_db", "early_directivity_index_db")


def test_json(run: Run) -> None:
    chosen = ("--variant", "centre", "--variant", "wall")
    data = document(run("predict", MARSHLIGHT, *chosen, "--around", *FEW, "--json"))
    assert finite(data)
    for name, space, farthest in (("centre", "half", 90), ("wall", "free", 180)):
        found = data["variants"][name]["around"]
        lowest = -90 if farthest == 90 else -170
        assert found["angles_deg"] == list(range(lowest, farthest + 10, 10))
        assert (found["space"], found["distance_m"]) == (space, 3.0)
        for plane in ("horizontal", "vertical"):
            assert list(found[plane]) == [str(angle) for angle in found["angles_deg"]]
            assert {len(levels) for levels in found[plane].values()} == {12}
        assert found["horizontal"]["0"] == found["vertical"]["0"]
        assert {len(found[curve]) for curve in (*MEANS, *INDICES)} == {12}
        for i, index in enumerate(INDICES):
            under = found[("sound_power_db", "early_reflections_db")[i]]
            for window, other, difference in zip(found["listening_window_db"], under, found[index], strict=True):
                assert window - other == pytest.approx(difference, abs=1e-9)
    seats = data["variants"]["centre"]["around"]["seats"]
    assert [seat["angle_deg"] for seat in seats] == pytest.approx([-20, 20])
    for seat in seats:
        assert len(seat["level_db"]) == 12
        assert seat["woofers"]["minus_3_db_hz"] < seat["woofers"]["minus_6_db_hz"] < seat["woofers"]["null_hz"]
        assert seat["to_middle_db"] < 0
    # 290 mm on its side at 20 degrees: 343 m/s over 4, 3 and 2 times 290 mm sin(20 degrees)
    pair = data["variants"]["centre"]["around"]["small_pair"]
    assert pair["apart_mm"] == pytest.approx(290)
    assert list(pair["woofers"].values()) == pytest.approx([865, 1153, 1730], rel=0.005)
    assert data["variants"]["wall"]["around"]["small_pair"]["woofers"] is None  # one above the other


def test_in_a_wall_the_axis_is_the_prediction(run: Run) -> None:
    """Where the kit is listened to on the axis and has no planes near it, both say the same."""
    data = document(run("predict", MARSHLIGHT, "--variant", "centre", "--around", *FEW, "--json"))["variants"]["centre"]
    assert data["around"]["horizontal"]["0"] == pytest.approx(data["level_db"], abs=1e-9)
    assert data["around"]["middle_seat"]["level_db"] == pytest.approx(data["level_db"], abs=1e-9)


def test_without_it_nothing_changes(run: Run) -> None:
    words = ("predict", MARSHLIGHT, "--variant", "wall", *FEW)
    plain, more = document(run(*words, "--json")), document(run(*words, "--json", "--around"))
    assert more["variants"]["wall"].pop("around")
    assert more == plain
    text, longer = run(*words).stdout, run(*words, "--around").stdout
    assert longer.startswith(text.rstrip("\n"))
    assert "off its axis" not in text


def test_text(run: Run) -> None:
    done = run("predict", MARSHLIGHT, "--variant", "centre", "--variant", "wall", "--around", *FEW)
    assert done.status == 0
    lines = done.stdout.splitlines()
    first = next(i for i, line in enumerate(lines) if "off its axis" in line)
    assert lines[first - 1] == ""
    assert all(len(line) <= 100 for line in lines[first:])
    words = " ".join(" ".join(lines[first:]).split())
    for said in (
        "centre, off its axis: cabinet compact, on left side, in its wall;",
        "before the wall only, so without the group of the rear wall",
        "of the 4 groups of first reflections; power: of the half space",
        "of the 5 groups of first reflections; power: of the whole sphere",
        "wall, off its axis: cabinet compact, in free air (on the wall behind: left out here)",
        "from the tweeter in both planes of the room",
        "on axis dB window early power in room window - power window - early",
        "seats 3 m away as placed (in a wall)",
        "20 degrees left: -2.",
        "woofer_a and woofer_b play the same, 290 mm apart across",
        "one above the other",
        "from memory",
    ):
        assert said in words, said
    assert "nan" not in words


@pytest.mark.slow
def test_pictures_and_tables(run: Run, tmp_path: Path) -> None:
    picture, folder = tmp_path / "around.svg", tmp_path / "tables"
    words = ("predict", MARSHLIGHT, "--variant", "centre", "--variant", "tall", "--around", *FEW)
    assert run(*words, "-o", picture, "--csv", folder).status == 0
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    named = {path.name for path in folder.iterdir()}
    assert {"around_centre.csv", "around_tall.csv", "centre.csv", "tall.csv", "graphs"} <= named
    rows = list(csv.DictReader((folder / "around_centre.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 12
    assert {"frequency_hz", "horizontal.-90", "vertical.90", *MEANS, *INDICES, "seats.0", "seats.-20"} <= set(rows[0])
    assert "horizontal.180" not in rows[0]
    rows = list(csv.DictReader((folder / "around_tall.csv").read_text(encoding="utf-8").splitlines()))
    assert {"horizontal.180", "vertical.-170"} <= set(rows[0])
    assert not any(name.startswith("seats") for name in rows[0])


def test_a_variant_without_current(run: Run, tmp_path: Path) -> None:
    """Nothing is heard anywhere: indices are null, and a finding says why."""
    parts = "{R: {resistor: 2 ohm, between: [in, a], normally: omit, reason: a test}}"
    kit = write_kit(
        tmp_path, parts=parts, hookup="{woofer: {driver: woofer, plus: a, minus: common}}",
        variants="{v: {cabinet: box, seats: {distance: 2 m, angle: 20 deg}}}",
    )  # fmt: skip
    data = document(run("predict", kit, "--around", *FEW, "--json"))
    found = data["variants"]["v"]["around"]
    assert set(found["directivity_index_db"]) == set(found["early_directivity_index_db"]) == {None}
    assert {(seat["to_middle_db"], seat["woofers"]) for seat in found["seats"]} == {(None, None)}
    assert "no_current" in {finding["code"] for finding in data["findings"]}
    assert "20 degrees left: nothing is heard" in run("predict", kit, "--around", *FEW).stdout
    assert run("predict", kit, "--around", *FEW, "-o", tmp_path / "none.svg").status == 0


@pytest.mark.parametrize(
    ("settings", "code"),
    [
        (("--set", "variants.v.placement=free_standing"), "placement_needs_baffle"),
        (("--set", "variants.v.seats.angle=95 deg"), "quantity_range"),
        (("--variant", "none"), "usage"),
    ],
)
def test_what_is_refused(run: Run, tmp_path: Path, settings: tuple[str, ...], code: str) -> None:
    kit = write_kit(tmp_path, variants="{v: {cabinet: box, placement: in_wall, seats: {distance: 2 m, angle: 20 deg}}}")
    assert run("predict", kit, "--around", *FEW).status == 0
    done = run("predict", kit, "--around", *settings, "--json")
    assert code in {finding["code"] for finding in document(done, 2)["findings"]}


def test_too_near_to_go_round(run: Run, tmp_path: Path) -> None:
    """Heard 200 mm before a cabinet that is 300 mm deep: behind it is in it."""
    cabinet = "{box: {baffle: {width: 200 mm, height: 200 mm, depth: 300 mm}, cutouts: {woofer: [100 mm, 100 mm]}}}"
    kit = write_kit(
        tmp_path, cabinets=cabinet, variants="{v: {cabinet: box, placement: free_standing}}",
        more="listening: {distance: 200 mm}",
    )  # fmt: skip
    done = run("predict", kit, "--around", *FEW)
    assert done.status == 2
    assert "error[listening_outside]" in done.stderr
    assert "a listening distance that clears the cabinet on every side" in done.stderr


def test_the_real_program() -> None:
    """In a process of its own, with every warning an error."""
    done = kitwright("predict", MARSHLIGHT, "--variant", "centre", "--around", "--points", 5)
    assert done.returncode == 0
    assert "off its axis" in done.stdout
