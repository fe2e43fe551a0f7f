"""`parts` as a user meets it: JSON, text, CSV, pictures, parts in hand, and what is refused."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.support_cli import Run, document
from tests.support_kits import WOOFER, write_kit
from tests.test_cli import MARSHLIGHT, finite

STOCK = """\
kind,value,tolerance,rating,type,article,price,in_stock,dc_resistance
capacitor,100 uF,10 %,100 V,non_polar,NP-100,1.90,10,
capacitor,120 uF,10 %,100 V,non_polar,NP-120,2.10,10,
coil,1 mH,,4 A,,L-10,3.25,1,0.4 ohm
resistor,2.2 ohm,5 %,10 W,,,0.35,,
resistor,1.5 ohm,5 %,5 W,,R-15,0.30,,
"""


def small_kit(folder: Path) -> Path:
    """Two variants of a woofer behind a board of four places, with a stock that has not everything."""
    (folder / "drawer.csv").write_text(STOCK, encoding="utf-8")
    return write_kit(
        folder,
        drivers=f"{{woofer: {WOOFER}}}",
        parts="{C1: {capacitor: 220 uF, type: non_polar, tolerance: 10 %, between: [in, w]},"
        " L1: {coil: 1 mH, dc_resistance: 0.4 ohm, between: [w, x]},"
        " R1: {resistor: 2.2 ohm, tolerance: 5 %, between: [in, y], normally: omit},"
        " R2: {resistor: 3 ohm, between: [y, common], normally: omit}}",
        hookup="{woofer: {driver: woofer, plus: x, minus: common}}",
        cabinets="{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]}}",
        variants="{plain: {cabinet: box}, damped: {like: plain, parts: {C1: link, R1: fit, R2: fit}}}",
        more="stock: {capacitors: drawer.csv, resistors: drawer.csv, coils: drawer.csv}",
    )


def test_json_keeps_its_contract(run: Run) -> None:
    data = document(run("parts", MARSHLIGHT, "--json"))
    assert finite(data)
    assert list(data) == ["schema_version", "kit", "count", "places", "buy", "total", "labels", "findings"]
    assert len(data["places"]) == 3 * 7
    for place in data["places"]:
        assert set(place) >= {"ref", "variant", "state", "value", "why", "rating"}
        assert (place["value"] is None) == (place["rating"] is None) == (place["state"] != "fit")
        assert place["why"] == "; ".join(place["reasons"]) != ""
    by_name = {(place["variant"], place["ref"]): place for place in data["places"]}
    link = by_name["tall", "C1"]
    assert (link["state"], link["action"], link["part_value"]) == ("link", "link", pytest.approx(220e-6))
    members = by_name["wall", "C1"]["made_of"]
    assert [member["share_of_current"] for member in members] == pytest.approx([100 / 220, 120 / 220])
    assert by_name["centre", "R1"]["effects"][0]["instead_of"] == "2.2 ohm"
    assert by_name["centre", "R1"]["effects"][0]["drivers"] == ["tweeter"]
    for line in data["buy"]:
        assert set(line) >= {"kind", "value", "rating", "count", "article", "price"}
        assert line["count"] == 2 * max(line["per_cabinet"].values())
    assert data["total"] == {"price": None, "remark": "some have no price"}
    assert data["labels"]["tall"]["links"] == {"C1": ["in", "w1"]}


def test_a_list_with_articles_pairs_and_what_is_missing(run: Run, tmp_path: Path) -> None:
    """Worked by hand: 220 uF are 100 + 120, at 4.00 a pair; the stronger 2.2 ohm has no name; 3 ohm are 1.5 + 1.5."""
    data = document(run("parts", small_kit(tmp_path), "--json"))
    by_value = {(line["kind"], round(line["value"], 6)): line for line in data["buy"]}
    pair = by_value["capacitor", 220e-6]
    assert (pair["found"], pair["article"], pair["made_of_how"]) == ("pair", "NP-100 + NP-120", "parallel")
    assert (pair["count"], pair["price"], pair["line_price"]) == (2, "4.00", "8.00")
    assert pair["error_percent"] == pytest.approx(0, abs=1e-9)
    coil = by_value["coil", 1e-3]
    assert (coil["article"], coil["price"], coil["remarks"]) == ("L-10", "3.25", ["only 1 in stock"])
    assert (by_value["resistor", 2.2]["found"], by_value["resistor", 2.2]["article"]) == ("article", None)
    assert by_value["resistor", 3.0]["article"] == "R-15 + R-15"
    assert data["total"]["price"] == "16.40"  # 8.00 + 2 x 3.25 + 2 x 0.35 + 2 x 0.60
    text = run("parts", tmp_path / "kit.yaml", "--variant", "damped", "--count", 1).stdout
    assert "To buy, for 1 cabinet of damped" in text
    assert "  together 4.20" in text  # the coil, 2.2 ohm, and two of 1.5 ohm
    assert "R-15 (1.5 ohm) + R-15 (1.5 ohm) in series, +0.0 %" in text


def test_the_text_is_a_sheet_of_100_columns(run: Run) -> None:
    done = run("parts", MARSHLIGHT)
    assert done.status == 0
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 100
    flat = " ".join(done.stdout.split())
    for words in (
        "C2, C3, L2, R2: the same in all variants",
        "R1: 1.2 ohm instead of 2.2 ohm (as in tall): tweeter +",
        "C1: as a high-pass for woofer_a and woofer_b: needed (linked: programme",
        "100 uF + 120 uF in parallel: 45 % + 55 % of the current; order each 63 V",
        "To buy, for 2 cabinets of any one of centre, wall, tall",
        "Label of the bag: tall, cabinet tall",
        "link with a wire: C1, from in to w1",
        "left in the bag of one cabinet: 1x capacitor 100 uF non polar 10 %",
        "no total price: some have no price",
        "A capacitor may hold a charge",
        "amplifier off and unplugged",
    ):
        assert words in flat, words


@pytest.mark.parametrize("kit", [pytest.param("full", marks=pytest.mark.slow), "small"])
def test_other_kits_stay_within_the_page(kit: str, run: Run, tmp_path: Path) -> None:
    path = Path(__file__).parent / "kits" / "full.yaml" if kit == "full" else small_kit(tmp_path)
    done = run("parts", path, *(["--variant", "tall", "--variant", "shelf"] if kit == "full" else []))
    assert done.status == 0
    assert max(map(len, done.stdout.splitlines())) <= 100


def test_a_rating_that_is_too_small_is_said(run: Run, tmp_path: Path) -> None:
    """A sine of 20 V has peaks of 28.3 V, which a capacitor across the amplifier bears."""
    for volts, word in (("25 V", "25 V, too small"), ("50 V", "50 V ")):
        parts = f"{{C1: {{capacitor: 10 uF, voltage_rating: {volts}, between: [in, common]}}}}"
        kit = write_kit(tmp_path, parts=parts, more="programme: {spectrum: sine}")
        (row,) = [line for line in run("parts", kit).stdout.splitlines() if line.startswith("  C1 10 uF")]
        assert word in row


def test_a_board_without_parts(run: Run, tmp_path: Path) -> None:
    kit = write_kit(tmp_path)
    data = document(run("parts", kit, "--json"))
    assert (data["places"], data["buy"]) == ([], [])
    text = run("parts", kit).stdout
    assert "no places on the board" in text
    assert "nothing: no part is fitted" in text
    done = run("parts", kit, "-o", tmp_path / "p.svg")
    assert done.status == 2
    assert "a picture of no differences" in done.stderr


HAND = """\
ref,value
C1,231 uF
C1,224.5 uF
C1,230.2 uF
L1,1.02 mH
L1,0.985 mH
"""


def test_parts_in_hand(run: Run, tmp_path: Path) -> None:
    """The two capacitors that are nearly alike go together; three rows of a place leave one spare."""
    hand = tmp_path / "hand.csv"
    hand.write_text(HAND, encoding="utf-8")
    kit = small_kit(tmp_path)
    words = ["--variant", "plain", "--hand", hand]
    found = document(run("parts", kit, *words, "--json"))["hand"]["plain"]
    assert finite(found)
    assert sorted(found["cabinets"]) == ["left", "right"]
    assert {found["cabinets"][side]["L1"] for side in ("left", "right")} == {0.00102, 0.000985}
    assert found["matched"]["worst_db"] <= found["as_listed"]["worst_db"]
    (spare,) = found["spare"]
    assert (spare["ref"], spare["out_of_tolerance"]) == ("C1", False)
    text = run("parts", kit, *words).stdout
    assert max(map(len, text.splitlines())) <= 100
    assert "Measured parts for plain: left and right" in text
    assert "every arrangement was tried" in " ".join(text.split())


def test_a_part_out_of_tolerance_is_said_aloud(run: Run, tmp_path: Path) -> None:
    hand = tmp_path / "hand.csv"
    hand.write_text("ref,value\nC1,250 uF\nC1,221 uF\n", encoding="utf-8")
    text = run("parts", small_kit(tmp_path), "--variant", "plain", "--hand", hand).stdout
    assert "250 uF (line 2, +13.6 %, OUT OF TOLERANCE)" in " ".join(text.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--count", 0], "--count 0; 1 to 100 cabinets"),
        (["--count", 101], "--count 101; 1 to 100 cabinets"),
        (["--count", 1, "--hand", "hand.csv"], "--hand with --count 1; 2 to 10 cabinets can be matched"),
        (["--count", 11, "--hand", "hand.csv"], "--hand with --count 11; 2 to 10 cabinets"),
        (["--hand", "hand.csv"], "hand.csv:3:4: error[hand_row]: the value of C1 "),
        (["--hand", "none.csv"], "none.csv:1:1: error[file_missing]: there is no such file"),
        (["--variant", "high"], "--variant high; the kit's variants: plain, damped"),
    ],
)
def test_what_is_refused(
    words: list[object], said: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit = small_kit(tmp_path)
    monkeypatch.chdir(tmp_path)
    Path("hand.csv").write_text("ref,value\nC1,220 uF\nC1,220 ohm\n", encoding="utf-8")
    done = run("parts", kit, *words)
    assert done.status == 2
    assert said in done.stderr
    assert done.stdout == ""


def test_csv_has_places_list_and_parts_in_hand(run: Run, tmp_path: Path) -> None:
    hand = tmp_path / "hand.csv"
    hand.write_text(HAND, encoding="utf-8")
    folder = tmp_path / "out"
    words = ["--variant", "plain", "--hand", hand, "--csv", folder, "--json"]
    data = document(run("parts", small_kit(tmp_path), *words))

    def rows(name: str) -> list[dict[str, str]]:
        return list(csv.DictReader((folder / name).read_text(encoding="utf-8").splitlines()))

    assert [row["ref"] for row in rows("places.csv")] == ["C1", "L1", "R1", "R2"]
    assert [int(row["count"]) for row in rows("buy.csv")] == [line["count"] for line in data["buy"]]
    assert [row["places"] for row in rows("buy.csv")] == ["C1", "L1"]
    given = [(row["cabinet"], row["ref"], float(row["value"])) for row in rows("hand.csv")]
    cabinets = data["hand"]["plain"]["cabinets"]
    assert sorted(given) == sorted((side, ref, value) for side, row in cabinets.items() for ref, value in row.items())


@pytest.mark.slow
def test_pictures(run: Run, tmp_path: Path) -> None:
    """The same bytes each time, in the format of the ending."""
    hand = tmp_path / "hand.csv"
    hand.write_text(HAND, encoding="utf-8")
    words = ["parts", small_kit(tmp_path), "--variant", "plain", "--hand", hand, "-o"]
    for name, magic in (("one.svg", b"<?xml"), ("two.svg", b"<?xml"), ("one.png", b"\x89PNG")):
        done = run(*words, tmp_path / name)
        assert done.status == 0, done.stderr
        assert (tmp_path / name).read_bytes().startswith(magic)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()
