"""The command `buildsheet`: a page to solder by, in text, HTML and PDF, and the cabinet's."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from tests.support_cli import Run, document, kitwright
from tests.test_cli import MARSHLIGHT as KIT


@pytest.fixture(scope="module")
def wall() -> str:
    done = kitwright("buildsheet", KIT, "--variant", "wall", "--job", "0012", "--serial", "A17")
    assert done.returncode == 0
    return done.stdout


def _section(text: str, title: str) -> list[str]:
    """The lines under a heading."""
    lines = text.splitlines()
    start = lines.index(title) + 1
    return lines[start : lines.index("", start)]


def test_every_part_stands_there_with_what_to_do(wall: str) -> None:
    rows = {line.split()[0]: line for line in _section(wall, "Parts")[1:] if line.split()[0][0] in "CLR"}
    assert list(rows) == ["C1", "L1", "C2", "C3", "L2", "R1", "R2"]
    assert "100 uF + 120 uF" in rows["C1"]
    assert "1.2 ohm" in rows["R1"]  # this variant's own
    assert "w2 to common" in rows["C2"]
    assert max(map(len, wall.splitlines())) <= 100


def test_joints_begin_with_the_common_line(wall: str) -> None:
    joints = _section(wall, "Solder together, point by point")
    assert joints[1].split()[0] == "common"
    assert "tweeter +" in joints[1]
    assert [row.split()[0] for row in joints[1:]] == ["common", "in", "w1", "w2", "t1", "t2"]


def test_a_reversed_tweeter_is_said_to_be_meant(wall: str) -> None:
    assert "tweeter is reversed, and that is intended: its plus goes to common." in wall


def test_a_link_is_a_wire_and_a_part_left_out_is_nothing(run: Run) -> None:
    text = run("buildsheet", KIT, "--variant", "tall", "--set", "variants.tall.parts.R2=omit").stdout
    rows = {line.split()[0]: line for line in _section(text, "Parts")[1:]}
    assert re.match(r"  C1 +LINK +a wire", rows["C1"])
    assert re.match(r"  R2 +LEAVE OUT +nothing", rows["R2"])
    joints = "\n".join(_section(text, "Solder together, point by point"))
    assert "the wire at C1" in joints
    assert "R2" not in joints


def test_readings_have_boxes_and_windows_are_never_narrowed(run: Run, wall: str) -> None:
    found = {
        tuple(reading["between"]): reading
        for reading in document(run("expect", KIT, "--variant", "wall", "--json"), 0)["readings"]
        if reading["drivers"] == "connected"
    }
    rows = [line for line in _section(wall, "The meter must read, in ohm") if "[        ]" in line]
    shown = dict(re.match(r"  (.+?)  +(open|[\d.]+ to [\d.]+)  ", row).groups() for row in rows[:6])  # type: ignore[union-attr]
    assert shown["in to common"] == "open"
    for (a, b), reading in found.items():
        if reading["reads"] == "value":
            low, high = map(float, shown[f"{a} to {b}"].split(" to "))
            assert low <= reading["low_ohm"] < low + 0.1
            assert high - 0.1 < reading["high_ohm"] <= high


def test_checksum_job_and_serial_are_printed(wall: str) -> None:
    """SHA-256 is FIPS 180-4, here by Python's own hashlib."""
    assert hashlib.sha256(KIT.read_bytes()).hexdigest() in wall
    assert "job 0012, serial A17" in wall


def test_at_most_three_cautions_on_top_and_where_they_apply(run: Run, wall: str) -> None:
    head = wall.split("\n\n")[0].splitlines()
    assert 1 <= sum(line.startswith("  [ ]") for line in head) <= 3
    tall = run("buildsheet", KIT, "--variant", "tall").stdout.split("\n\n")[0]
    assert "No hot glue on or beside R1" in tall
    assert "No hot glue" not in wall.split("\n\n")[0]


def test_json_tells_the_same(run: Run) -> None:
    told = document(run("buildsheet", KIT, "--variant", "tall", "--json"), 0)
    sheet = told["variants"]["tall"]
    assert told["checksum"] == hashlib.sha256(KIT.read_bytes()).hexdigest()
    assert {place["ref"]: place["state"] for place in sheet["places"]}["C1"] == "link"
    assert sheet["wiring"][0]["point"] == "common"
    assert {each["driver"]: each["way_round"] for each in sheet["polarity"]}["tweeter"] == "against_its_marks"
    assert sheet["run_up"]["steps"][0]["hz"] == 20


@pytest.mark.parametrize(("paper", "width"), [("a4", 595.276), pytest.param("letter", 612.0, marks=pytest.mark.slow)])
def test_pdf_in_both_papers(run: Run, tmp_path: Path, paper: str, width: float) -> None:
    """The board on one page, its plan, and first sound: three pages, of the size asked for, the same bytes again."""
    files = [tmp_path / name for name in ("one.pdf", "two.pdf")]
    for file in files:
        assert run("buildsheet", KIT, "--variant", "wall", "--paper", paper, "-o", file).status == 0
    first, second = (file.read_bytes() for file in files)
    assert first == second
    boxes = re.findall(rb"/MediaBox \[ ?0 0 ([0-9.]+)", first)
    assert [float(box) for box in boxes] == pytest.approx([width] * 3, abs=0.01)


def test_html_says_what_the_text_says(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "sheet.html"
    assert run("buildsheet", KIT, "--variant", "wall", "--job", "<b>&", "-o", file).status == 0
    page = file.read_text(encoding="utf-8")
    assert "job &lt;b&gt;&amp;" in page
    assert "100 uF + 120 uF in parallel" in page
    assert page.count("<article>") == 3
    assert "<script" not in page


def test_the_cabinet_has_a_sheet_of_its_own(run: Run, tmp_path: Path) -> None:
    text = run("buildsheet", KIT, "--variant", "tall", "--cabinet").stdout
    for title in ("Volume", "Boards to cut", "Holes", "Ducts", "Lines", "Filling", "Standing", "Take care"):
        assert title in text.splitlines()
    assert max(map(len, text.splitlines())) <= 100
    told = document(run("buildsheet", KIT, "--variant", "tall", "--cabinet", "--json"), 0)["variants"]["tall"]
    assert told["panels"]
    file = tmp_path / "cabinet.pdf"
    assert run("buildsheet", KIT, "--variant", "tall", "--cabinet", "-o", file).status == 0
    assert file.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--paper", "a5"), "--paper a5; a4 or letter"),
        (("-o", "sheet.doc"), ".pdf, .html, .png, .svg"),
        (("-o", "sheet.png"), "name one --variant"),
        (("--job", "a\nb"), "a line of plain text"),
    ],
)
def test_bad_usage_is_told(run: Run, words: tuple[str, ...], told: str) -> None:
    done = run("buildsheet", KIT, *words)
    assert done.status == 2
    assert told in done.stderr
    assert done.stdout == ""


def test_nothing_is_written_over(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    file.write_text("mine")
    assert run("buildsheet", KIT, "--variant", "wall", "-o", file).status == 2
    assert file.read_text() == "mine"
