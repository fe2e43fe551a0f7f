"""The cabinet sheet: volumes by hand, boards that fill the outside, and lengths against textbook resonators."""

from __future__ import annotations

import csv
import io
import json
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from system.cabinet import Baffle
from system.findings import KitError
from system.kit import Kit
from system.kitfile import load_kit
from system.sheets import cabinet_data, cabinet_graphs, cabinet_page, cabinet_texts
from system.sheets.pages.blocks import Drawing
from system.wood import Boards
from system.workshop.carpentry import CabinetSheet, cabinet_sheet
from system.workshop.panels_cut import panels, sixteenths
from tests.support_kits import WOOFER, kit_text, read_kit, write_kit

HERE = Path(__file__).parent
FULL = HERE / "kits" / "full.yaml"
EXAMPLE = HERE.parent / "scenarios" / "marshlight" / "kit.yaml"
C = 343.21  # m/s, of the dry air of the small kits

MOUNTED = WOOFER.replace(
    "sd: 88 cm2,",
    "sd: 88 cm2, mounting: {displaces: 0.4 L, cutout_diameter: 118 mm, flange_diameter: 134 mm,"
    " flange_thickness: 5 mm, depth: 70 mm},",
)
OUTSIDE = "baffle: {width: 200 mm, height: 400 mm, depth: 250 mm}"
BOARDS = "boards: {thickness: 18 mm, braces: [{length: 164 mm, width: 50 mm, count: 2}], crossover: 0.25 L}"
VENTED = (
    "chambers: [{kind: vented, drivers: [woofer], volume: 11 L, losses: {leak: 7},"
    " ports: [{diameter: 50 mm, length: 120 mm, wall: 2 mm, cutout: {face: rear, at: [100 mm, 200 mm]}}]}]"
)


def sheet_of(folder: Path, cabinet: str, variant: str = "{cabinet: box}", **pieces: str) -> CabinetSheet:
    kit = read_kit(folder, cabinets=f"{{box: {{{cabinet}}}}}", variants=f"{{v: {variant}}}", **pieces)
    return cabinet_sheet(kit, kit.variants["v"])


def codes(sheet: CabinetSheet) -> set[str]:
    return {finding.code for finding in sheet.findings if finding.severity == "warning"}


def test_volume_by_hand(tmp_path: Path) -> None:
    """Arithmetic, L: outside 2 x 4 x 2.5 dm = 20. Inside 1.64 x 3.64 x 2.14 dm = 12.774 944, so boards 7.225 056.

    Taken: driver 0.4; braces 2 x 1.64 x 0.5 x 0.18 = 0.295 2; crossover 0.25; the port is 120 mm long, 18 of them in
    the rear, so 1.02 dm of an outer diameter of 54 mm: pi/4 x 0.54^2 x 1.02 = 0.785 398 x 0.297 432 = 0.233 603. Left
    11.596 141, which is 0.596 141 or 5.419 % above 11. A depth less by 0.596 141/(1.64 x 3.64) dm = 9.986 mm makes it
    right.
    """
    cutouts = "cutouts: {woofer: [100 mm, 250 mm]}"
    sheet = sheet_of(tmp_path, ", ".join((OUTSIDE, BOARDS, cutouts, VENTED)), drivers=f"{{woofer: {MOUNTED}}}")
    balance = sheet.balance
    assert balance is not None
    assert balance.gross == pytest.approx(20e-3, rel=1e-12)
    assert balance.inner == pytest.approx(12.774944e-3, rel=1e-9)
    assert balance.boards == pytest.approx(7.225056e-3, rel=1e-9)
    assert {each.what: each.volume * 1e3 for each in balance.taken} == pytest.approx(
        {"driver": 0.4, "brace": 0.2952, "crossover": 0.25, "duct": 0.233603}, abs=1e-6
    )
    assert not any(each.assumed for each in balance.taken)
    assert balance.left == pytest.approx(11.596141e-3, abs=1e-9)
    assert balance.off == pytest.approx(0.05419, abs=1e-5)
    assert balance.deeper == pytest.approx(-9.986e-3, abs=1e-6)
    assert codes(sheet) == {"volume_off"}
    # wood: 7.225056 + 0.2952 L at 700 kg/m3
    assert sheet.mass == pytest.approx(5.264179, abs=1e-6)
    text = cabinet_texts.sheet(sheet)
    assert "difference +0.6 L, +5.4 %: NOT RIGHT" in text
    assert "make it 10 mm less deep" in text


@pytest.mark.parametrize(
    "more",
    [
        "",
        "boards: {thickness: 15 mm, front: 1 in}",
        "boards: {thickness: 22 mm, dividers: [{length: 0.1 m, width: 0.1 m}]}",
    ],
)
def test_the_depth_that_is_advised_makes_the_volume_right(tmp_path: Path, more: str) -> None:
    chambers = (
        "chambers: [{kind: sealed, drivers: [woofer], volume: 7 L, losses: {leak: 20, absorption: 50}},"
        " {kind: sealed, drivers: [second], volume: 5 L, losses: {leak: 20, absorption: 50}}]"
    )
    hookup = "{woofer: {driver: woofer, plus: in, minus: common}, second: {driver: woofer, plus: in, minus: common}}"
    path = write_kit(
        tmp_path,
        cabinets=f"{{box: {{{', '.join(filter(None, (OUTSIDE, more, chambers)))}}}}}",
        hookup=hookup,
        amplifier="{power: 50 W, load: 4 ohm}",
    )
    kit = load_kit(path)
    balance = cabinet_sheet(kit, kit.variants["v"]).balance
    assert balance is not None
    depth = 250 + balance.deeper * 1e3
    again = load_kit(path, [f"cabinets.box.baffle.depth={depth:.9f} mm"])
    right = cabinet_sheet(again, again.variants["v"]).balance
    assert right is not None
    assert abs(balance.off) > 0.02
    assert abs(right.off) < 1e-6


lengths = st.floats(0.2, 2.0)
thick = st.floats(0.006, 0.06)


@given(lengths, lengths, lengths, thick, thick, thick, st.integers(0, 2**31))
def test_boards_and_space_fill_the_outside_once(
    w: float, h: float, d: float, t: float, front: float, rear: float, seed: int
) -> None:
    """Every point of the outside is in exactly one board or in the space inside, with the boards where the text puts
    them: front and rear whole, sides between them and as high as the cabinet, top and bottom between the sides. The
    volumes add up."""
    boards = Boards(thickness=t, front=front, rear=rear)
    cut = {panel.face: panel for panel in panels(Baffle(w, h, d), boards)}
    sides = {face: (panel.width, panel.height, panel.thickness) for face, panel in cut.items()}
    place = {  # lower corner and size, x to the right, y up, z from the front backwards
        "front": ((0, 0, 0), sides["front"]),
        "rear": ((0, 0, d - rear), sides["rear"]),
        "left": ((0, 0, front), (t, sides["left"][1], sides["left"][0])),
        "right": ((w - t, 0, front), (t, sides["right"][1], sides["right"][0])),
        "top": ((t, h - t, front), (sides["top"][0], t, sides["top"][1])),
        "bottom": ((t, 0, front), (sides["bottom"][0], t, sides["bottom"][1])),
    }
    inner = (w - 2 * t, h - 2 * t, d - front - rear)
    places = [*place.values(), ((t, t, front), inner)]
    points = np.random.default_rng(seed).random((200, 3)) * (w, h, d)
    count = sum(np.all((points >= low) & (points < np.add(low, size)), axis=1).astype(int) for low, size in places)
    assert np.all(count == 1)
    assert math.fsum(p.volume for p in cut.values()) + math.prod(inner) == pytest.approx(w * h * d, rel=1e-12)


def test_boards_that_leave_nothing_are_refused() -> None:
    with pytest.raises(ValueError, match="nothing inside"):
        panels(Baffle(0.1, 0.2, 0.3), Boards(thickness=0.05))


@given(st.fractions(Fraction(1, 1000), 3))
def test_inches_to_a_sixteenth(metres: Fraction) -> None:
    """1 in is 25.4 mm exactly (yard and pound agreement, 1959): the nearest sixteenth, in lowest terms."""
    exact = metres / Fraction("0.0254")
    told = Fraction(sixteenths(float(metres)), 16)
    assert abs(told - exact) <= Fraction(1, 32) + Fraction(1, 10**9)
    text = cabinet_data.inches(float(metres))
    assert sum(Fraction(part) for part in text.split()) == told


def test_inches_of_usual_sizes() -> None:
    """0.75 in is 19.05 mm; 12 in 304.8 mm; 18 mm is 11.34 sixteenths."""
    lengths_mm = {19.05: "3/4", 304.8: "12", 18.0: "11/16", 0.5: "0", 180.0: "7 1/16", 25.4: "1", 3.175: "1/8"}
    assert {length: cabinet_data.inches(length / 1e3) for length in lengths_mm} == lengths_mm


@pytest.mark.parametrize("ends", ["end: ideal, inner_end: ideal", "end: flanged, inner_end: unflanged"])
def test_port_length_for_a_hertz(tmp_path: Path, ends: str) -> None:
    """Helmholtz' resonator: (L + ends) = c^2 S/(4 pi^2 f^2 V), so what one hertz takes does not depend on the ends."""
    chambers = VENTED.replace("diameter: 50 mm,", f"diameter: 50 mm, {ends},")
    tube = sheet_of(tmp_path, f"{OUTSIDE}, {chambers}").tubes[0]
    area, volume = math.pi / 4 * 0.05**2, 11e-3

    def whole(f: float) -> float:
        return C**2 * area / (4 * math.pi**2 * f**2 * volume)

    if "end: ideal" in ends:
        assert whole(tube.tuning) == pytest.approx(0.12, rel=1e-9)
    assert tube.shorter == pytest.approx(whole(tube.tuning) - whole(tube.tuning + 1), rel=1e-6)
    assert tube.longer == pytest.approx(whole(tube.tuning - 1) - whole(tube.tuning), rel=1e-6)
    # 18 mm of it in the rear; the space inside is 250 - 36 mm deep
    assert tube.duct.inside == pytest.approx(0.102)
    assert tube.before == pytest.approx(0.214 - 0.102)


def test_a_hole_without_length_has_no_shorter_port(tmp_path: Path) -> None:
    chambers = VENTED.replace("length: 120 mm", "length: 0.01 mm")
    tube = sheet_of(tmp_path, f"{OUTSIDE}, {chambers}").tubes[0]
    assert tube.shorter is None
    assert tube.longer is not None


LINE = "chambers: [{{kind: line, profile: [{profile}], drivers: {{woofer: 100 mm}}, walls: lossless, mouth: {mouth}}}]"


def test_line_length_for_a_hertz(tmp_path: Path) -> None:
    """A pipe closed at one end, open without correction at the other: f = c/(4 L), so a hertz is L/f of length.

    The step over which it is taken is 1e-3 of the last section, 0.3 m of 1 m, and f goes as 1/L.
    """
    profile = "{length: 0.7 m, area: 100 cm2}, {length: 0.3 m, area: 100 cm2}"
    run = sheet_of(tmp_path, f"{OUTSIDE}, {LINE.format(profile=profile, mouth='{end: ideal}')}").runs[0]
    assert run.length == pytest.approx(1.0)
    assert run.resonance == pytest.approx(C / 4, rel=1e-6)
    assert run.per_hertz == pytest.approx(4 / C, rel=1e-3)
    assert dict(run.places) == {"woofer": 0.1, "mouth": pytest.approx(1.0)}
    assert run.inside is False  # 1 m does not go into 364 mm


def test_slots_share_the_walls_of_the_cabinet(tmp_path: Path) -> None:
    """By hand: a slot 100 x 20 mm of 15 mm boards, 60 mm long, 42 of them inside. Alone 130 x 50 mm; along a wall
    130 x 35; in a corner 115 x 35; as wide as the 164 mm inside and along a wall 164 x 35."""
    expected = {"flanged": 130 * 50, "along_wall": 130 * 35, "in_corner": 115 * 35}
    for inner_end, area in expected.items():
        assert slot(tmp_path, inner_end, 100) == pytest.approx(area * 1e-6 * 0.042, rel=1e-9)
    assert slot(tmp_path, "along_wall", 164) == pytest.approx(164 * 35e-6 * 0.042, rel=1e-9)


def test_the_boards_of_a_slot_are_on_the_list(tmp_path: Path) -> None:
    """By hand, along a wall: one board 130 x 42 mm over it and two of 42 x 20 mm beside it, all 15 mm thick."""
    port = "width: 100 mm, height: 20 mm, length: 60 mm, wall: 15 mm, inner_end: along_wall"
    chambers = f"chambers: [{{kind: vented, drivers: [woofer], volume: 9 L, losses: {{leak: 7}}, ports: [{{{port}}}]}}]"
    rows = cabinet_data.cuts(sheet_of(tmp_path, f"{OUTSIDE}, {chambers}"))[-2:]
    assert [(row.names, row.count) for row in rows] == [(("slot of port",), 1), (("slot of port",), 2)]
    assert [(row.length, row.width, row.thickness) for row in rows] == [
        pytest.approx((0.13, 0.042, 0.015)),
        pytest.approx((0.042, 0.02, 0.015)),
    ]


def slot(folder: Path, inner_end: str, width: int) -> float:
    port = f"width: {width} mm, height: 20 mm, length: 60 mm, wall: 15 mm, inner_end: {inner_end}"
    chambers = f"chambers: [{{kind: vented, drivers: [woofer], volume: 9 L, losses: {{leak: 7}}, ports: [{{{port}}}]}}]"
    balance = sheet_of(folder, f"{OUTSIDE}, {chambers}").balance
    assert balance is not None
    return next(each.volume for each in balance.taken if each.what == "duct")


def test_what_is_not_told_is_assumed_and_said(tmp_path: Path) -> None:
    """0.3 times the effective diameter cubed, by hand: 88 cm2 is 105.85 mm across, so 0.3558 L (common practice, no
    source); boards of 18 mm; 0.3 L for the crossover; the port's wall 3 mm."""
    chambers = VENTED.replace(" wall: 2 mm,", "")
    sheet = sheet_of(tmp_path, f"{OUTSIDE}, {chambers}")
    assert sheet.balance is not None
    driver = next(each for each in sheet.balance.taken if each.what == "driver")
    assert driver.volume == pytest.approx(0.3558e-3, abs=5e-8)
    told = [finding.found + "; " + finding.allowed for finding in sheet.findings if finding.code == "assumed"]
    assert len(told) == 4
    for words in ("18 mm assumed", "0.36 L assumed", "a wall of 3 mm", "0.3 L assumed"):
        assert any(words in text for text in told), words
    text = cabinet_texts.sheet(sheet)
    assert text.count("assumed") >= 6
    assert "measure your driver" not in text  # it has no cutout here
    assert "no place in the kit, so no hole here: woofer" in text


def test_holes_are_placed_on_their_own_board(tmp_path: Path) -> None:
    """A side begins behind the front: seen from outside the left one has the rear at its left, the right the front."""
    ports = ", ".join(
        f"{{diameter: 30 mm, length: 40 mm, cutout: {{face: {face}, at: [110 mm, 130 mm]}}}}"
        for face in ("left", "right", "top", "bottom", "front")
    )
    chambers = f"chambers: [{{kind: vented, drivers: [woofer], volume: 11 L, losses: {{leak: 7}}, ports: [{ports}]}}]"
    boards = "boards: {thickness: 15 mm, front: 25 mm, rear: 10 mm}"
    sheet = sheet_of(tmp_path, f"{OUTSIDE}, {boards}, {chambers}")
    places = {panel.face: (hole.x, hole.y) for panel in sheet.panels for hole in panel.holes}
    expected = {
        "left": (0.100, 0.130),  # 110 less the rear's 10
        "right": (0.085, 0.130),  # 110 less the front's 25
        "top": (0.095, 0.105),  # between the sides; its lower edge is at the front
        "bottom": (0.095, 0.120),  # its lower edge is at the rear
        "front": (0.110, 0.130),
    }
    assert {face: pytest.approx(place) for face, place in expected.items()} == places
    assert {tube.duct.board for tube in sheet.tubes} == {0.015, 0.025}


WRONG: dict[str, tuple[str, str, str]] = {  # code -> cutouts and chambers, driver, variant
    "hole_over_joint": ("cutouts: {woofer: [70 mm, 200 mm]}", MOUNTED, "{cabinet: box}"),
    "driver_too_deep": (
        "cutouts: {woofer: [100 mm, 200 mm]}",
        MOUNTED.replace("depth: 70 mm", "depth: 230 mm"),
        "{cabinet: box}",
    ),
    "rebate_too_deep": (
        "cutouts: {woofer: [100 mm, 200 mm]}",
        MOUNTED.replace("flange_thickness: 5 mm", "flange_thickness: 18 mm"),
        "{cabinet: box}",
    ),
    "holes_overlap": (
        "cutouts: {woofer: [100 mm, 200 mm]}, chambers: [{kind: vented, drivers: [woofer], volume: 11.7 L,"
        " losses: {leak: 7}, ports: [{diameter: 30 mm, length: 40 mm, cutout: [100 mm, 118 mm]}]}]",
        MOUNTED,
        "{cabinet: box}",
    ),
    "line_outside": (
        LINE.format(profile="{length: 400 mm, width: 160 mm, depth: 190 mm}", mouth="{end: flanged}"),
        MOUNTED,
        "{cabinet: box}",
    ),
}


@pytest.mark.parametrize("code", WRONG)
def test_what_cannot_be_built_is_told(tmp_path: Path, code: str) -> None:
    inside, driver, variant = WRONG[code]
    sheet = sheet_of(tmp_path, f"{OUTSIDE}, {inside}", variant, drivers=f"{{woofer: {driver}}}")
    assert codes(sheet) == {code}


def test_a_driver_that_just_fits_is_not_told_of(tmp_path: Path) -> None:
    """18 - 5 mm of the front and 214 inside leave 227 mm behind the flange; the hole ends 0.1 mm beside the side."""
    driver = MOUNTED.replace("depth: 70 mm", "depth: 226.9 mm")
    sheet = sheet_of(tmp_path, f"{OUTSIDE}, cutouts: {{woofer: [77.1 mm, 200 mm]}}", drivers=f"{{woofer: {driver}}}")
    assert codes(sheet) == set()


def test_folded_kit_says_what_does_not_go() -> None:
    kit = load_kit(FULL)
    sheet = cabinet_sheet(kit, kit.variants["folded"])
    assert codes(sheet) == {"volume_off", "line_outside", "fold_thickness", "holes_overlap"}


@pytest.mark.parametrize(
    ("placement", "attitude", "least"),
    [
        ("free_standing", "upright", (0.19, 1.06, 0)),
        ("{tilt: 4 deg, below: 0 mm}", "upright", (0.19, 1.06, 0)),
        ("{tilt: 12 deg, below: 0 mm}", "upright", (0.28, 1.06, 12)),
        ("{lean: -3 deg, below: 0 mm}", "upright", (0.19, 1.06, 3)),
        ("free_standing", "on_left_side", (0.28, 0.19, 0)),
    ],
)
def test_when_it_tips_over(tmp_path: Path, placement: str, attitude: str, least: tuple[float, float, float]) -> None:
    """The middle of an upright slab of foot b and height h is above its edge at a lean of arctan(b/h); found here by
    turning its corner and middle in small steps, which knows no arctan."""
    foot, high, less = least
    lean = np.radians(np.arange(0, 90, 0.001))
    middle = -foot / 2 * np.cos(lean) + high / 2 * np.sin(lean)  # from the edge it turns about
    expected = math.degrees(lean[int(np.argmax(middle > 0))]) - less
    outside = "baffle: {width: 190 mm, height: 1060 mm, depth: 280 mm}"
    variant = f"{{cabinet: box, placement: {placement}, attitude: {attitude}}}"
    sheet = sheet_of(tmp_path, outside, variant)
    assert sheet.stand is not None
    assert math.degrees(sheet.stand.tips) == pytest.approx(expected, abs=0.002)
    assert ("tips_over" in codes(sheet)) == (expected < 10)
    assert ("tips_over" in sheet.cautions) == (expected < 10)
    assert ("narrow" in sheet.cautions) == (10 <= expected < 15)
    assert sheet.stand.below == {"upright": "bottom", "on_left_side": "left"}[attitude]


def test_filling_is_weighed_to_five_grams(tmp_path: Path) -> None:
    """By hand: 8 kg/m3 in 0.52 x 0.154 x 0.244 m3 is 156.3 g, so 155; a mass given comes out again; a lining of 20 mm
    on 160 x 120 mm is half of the section, so 8 kg/m3 there is 8 x 0.5 x 0.55 x 0.0192 = 42.2 g, 40."""
    profile = (
        "{length: 520 mm, width: 154 mm, depth: 244 mm, fill: {material: polyester, density: 8 kg/m3}},"
        " {length: 550 mm, width: 160 mm, depth: 120 mm, fill: {material: wool, density: 8 kg/m3, lining: 20 mm}},"
        " {length: 200 mm, area: 100 cm2, fill: {material: glass_fibre, mass: 37 g}},"
        " {length: 200 mm, area: 100 cm2, fill: {flow_resistivity: 2000 Pa.s/m2}}"
    )
    sheet = sheet_of(tmp_path, LINE.format(profile=profile, mouth="{end: ideal}"))
    masses = [each.mass for each in sheet.fillings]
    assert masses[:3] == pytest.approx([0.1563, 0.04224, 0.037], abs=5e-5)
    assert masses[3] is None
    assert [each.spec.material for each in sheet.fillings] == ["polyester", "wool", "glass_fibre", None]
    told = [cabinet_data.weighed(mass) for mass in masses if mass is not None]
    assert told == pytest.approx([0.155, 0.040, 0.035])
    text = cabinet_texts.sheet(sheet)
    assert "155 g of polyester" in text
    assert "its mass cannot\n" in text or "its mass cannot " in text
    assert "fibre_dust" in sheet.cautions


def everything() -> list[CabinetSheet]:
    kits: list[Kit] = [load_kit(EXAMPLE), load_kit(FULL)]
    return [cabinet_sheet(kit, variant) for kit in kits for variant in kit.variants.values()]


def test_text_is_narrow_and_says_every_board_and_hole() -> None:
    for sheet in everything():
        text = cabinet_texts.sheet(sheet)
        assert max(map(len, text.splitlines())) <= 100
        assert "nan" not in text.split()
        for cut in cabinet_data.cuts(sheet):
            sizes = " x ".join(f"{size * 1e3:.0f}" for size in (cut.length, cut.width, cut.thickness))
            assert f"{sizes} mm" in text
        for panel in sheet.panels:
            for hole in panel.holes:
                assert hole.name in text


def test_long_names_stay_within_the_page(tmp_path: Path) -> None:
    name = "a_woofer_with_a_name_of_forty_characters"
    assert len(name) == 40
    cabinet = f"{OUTSIDE}, cutouts: {{{name}: [100 mm, 200 mm]}}, {VENTED.replace('[woofer]', f'[{name}]')}"
    sheet = sheet_of(tmp_path, cabinet, hookup=f"{{{name}: {{driver: woofer, plus: in, minus: common}}}}")
    text = cabinet_texts.sheet(sheet)
    assert max(map(len, text.splitlines())) <= 100
    assert name in text
    beside = [text.get_text() for text in drawn_by(drawings(sheet)[0]).texts]
    assert any(text.startswith("a_woofer_with") for text in beside)
    assert not any(name in text for text in beside)


def test_cutting_list_has_all_the_wood() -> None:
    """Its volumes and areas are those of the boards: 2 x (front + side + lid), summed here from the outside sizes."""
    kit = load_kit(EXAMPLE)
    sheet = cabinet_sheet(kit, kit.variants["centre"])
    rows = cabinet_data.cuts(sheet)
    assert [(row.names, row.count) for row in rows] == [
        (("front", "rear"), 2),
        (("left", "right"), 2),
        (("top", "bottom"), 2),
    ]
    area = 2 * (0.18 * 0.48 + 0.48 * 0.154 + 0.144 * 0.154)
    assert sum(row.count * row.length * row.width for row in rows) == pytest.approx(area)
    assert sheet.area == pytest.approx(area)
    not_air = 0.18 * 0.48 * 0.19 - 0.144 * 0.444 * 0.154
    assert not_air == pytest.approx(area * 0.018)


def test_data_and_tables() -> None:
    for sheet in everything():
        data: dict[str, Any] = json.loads(json.dumps(cabinet_data.cabinet(sheet), allow_nan=False))
        files = cabinet_data.csv_files(sheet)
        name = sheet.variant.name
        rows = list(csv.DictReader(io.StringIO(files[f"{name}-boards.csv"])))
        area = sum(int(row["count"]) * float(row["length_mm"]) * float(row["width_mm"]) for row in rows) * 1e-6
        assert area == pytest.approx(data["boards"]["area_m2"])
        holes = list(csv.DictReader(io.StringIO(files[f"{name}-holes.csv"])))
        assert [row["hole"] for row in holes] == [h["name"] for p in data["panels"] for h in p["holes"]]
        if data["volume"]:
            volume = data["volume"]
            taken = sum(each["volume_l"] for each in volume["taken"])
            assert volume["outside_l"] == pytest.approx(volume["boards_l"] + taken + volume["left_l"])
            assert volume["left_l"] - volume["net_l"] == pytest.approx(volume["difference_l"])


def drawings(sheet: CabinetSheet) -> list[Drawing]:
    return [block for block in cabinet_page.sheet(sheet, "").blocks if isinstance(block, Drawing)]


def drawn_by(drawing: Drawing) -> Axes:
    axes = Figure(figsize=(drawing.width / 25.4, drawing.height / 25.4)).add_axes((0, 0, 1, 1))
    drawing.draw(axes)
    return axes


def test_drawing_is_to_scale() -> None:
    """Boards lie apart from each other on the page; each has its own size in both directions of one scale; every hole
    is where the list says, and told beside its board."""
    for sheet in everything():
        if not sheet.panels:
            continue
        whole = cabinet_graphs.spread(sheet)
        boxes = [(each.x, each.y, each.panel.width, each.panel.height) for each in whole.laid]
        for i, (x, y, w, h) in enumerate(boxes):
            assert x >= 0
            assert y >= 0
            assert x + w <= whole.width
            assert y + h <= whole.height
            for a, b, c, d in boxes[:i]:
                assert x >= a + c or a >= x + w or y >= b + d or b >= y + h
        boards, *lines = drawings(sheet)
        assert boards.width / whole.width == pytest.approx(boards.height / whole.height, rel=1e-9)
        assert len(lines) == len(sheet.runs)
        axes = drawn_by(boards)
        assert (axes.get_xlim(), axes.get_ylim()) == ((0, whole.width), (0, whole.height))
        drawn = {
            (p.get_x(), p.get_y(), p.get_width(), p.get_height()) for p in axes.patches if isinstance(p, Rectangle)
        }
        assert set(boxes) <= drawn
        centres = [p.center for p in axes.patches if isinstance(p, Circle)]
        for each in whole.laid:
            for hole in each.panel.holes:
                if hole.sides is None:
                    place = (each.x + hole.x, each.y + hole.y)
                    assert any(np.allclose(place, centre, atol=1e-12) for centre in centres)
                assert any(text.get_text().count(f"at {hole.x * 1e3:.0f}, ") for text in axes.texts)
    kit = load_kit(EXAMPLE)
    lying, *_ = drawings(cabinet_sheet(kit, kit.variants["centre"]))
    assert any(text.get_text() == "lies below" for text in drawn_by(lying).texts)


def test_a_cabinet_without_size_has_no_drawing(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, "")
    assert sheet.balance is None
    assert not sheet.panels
    assert "its outer size is not in the kit" in cabinet_texts.sheet(sheet)
    assert drawings(sheet) == []


def test_a_cabinet_thinner_than_its_boards(tmp_path: Path) -> None:
    with pytest.raises(KitError, match="boards of 18 mm leave nothing inside"):
        sheet_of(tmp_path, "baffle: {width: 30 mm, height: 400 mm, depth: 250 mm}")


def test_the_small_kit_is_what_it_seems(tmp_path: Path) -> None:
    """Without any of the new keys a kit loads as before, and boards of 18 mm are assumed."""
    (tmp_path / "kit.yaml").write_text(kit_text(cabinets=f"{{box: {{{OUTSIDE}}}}}"), encoding="utf-8")
    boards = load_kit(tmp_path / "kit.yaml").variants["v"].cabinet.boards
    assert (boards.thickness, boards.front, boards.rear) == (0.018, 0.018, 0.018)
    assert boards.assumed == ("thickness", "density")
