"""The command `report`: one page that answers, held against the other commands and against geometry."""

from __future__ import annotations

import base64
import hashlib
import math
import re
import shutil
import subprocess
import sys
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from system.assumptions import OFF, RestsOn, rests_on
from system.kit import Kit
from system.kitfile import load_kit
from system.protect import protect
from tests.support_cli import Run, document, kitwright
from tests.support_kits import write_kit
from tests.test_cli import MARSHLIGHT

pytestmark = pytest.mark.slow  # together more than a few seconds

ORDER = (
    "Stops", "Does the woofer need a protective high-pass?", "Side by side", "Parts plan", "To buy, for one cabinet",
    "Wiring, point by point", "Polarity", "The meter must read, in ohm", "How low and how even?",
    "Is the woofer safe?", "How loud, and what gives?", "Is the amplifier safe?", "Where may people sit? centre",
    "Assumptions, worst first", "Method", "Limits of trust", "The kit file", "Sign-off",
)  # fmt: skip
BOX = "{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 12 L}]}}"
IN_WALL = "{v: {cabinet: box, placement: in_wall}}"
SVG = "{http://www.w3.org/2000/svg}"


class Page(HTMLParser):
    """What a reader sees: titles in their order, tables as rows of cells, and every word."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.titles: list[str] = []
        self.words: list[str] = []
        self.tables: dict[str, list[list[str]]] = {}
        self.attributes: list[tuple[str, str | None]] = []
        self._open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        named = dict(attrs)
        if "aria-label" in named and tag == "div":
            self._rows = self.tables.setdefault(named["aria-label"] or "", [])
        if tag == "tr":
            self._rows.append([])
        if tag in ("td", "th"):
            self._rows[-1].append("")
        if tag in ("h1", "h2"):
            self.titles.append("")
        if tag not in ("meta", "br", "path", "rect", "input"):
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1] not in ("style", "script"):
            self.words.append(data)
        if self._open and self._open[-1] in ("td", "th"):
            self._rows[-1][-1] += data
        if self._open and self._open[-1] in ("h1", "h2"):
            self.titles[-1] += data

    def read(self, name: str) -> dict[str, list[str]]:
        """The columns of a table of readings in two halves, by their heads."""
        halves = [self.tables.get(f"{name}, {part} half", []) for part in ("lower", "upper")]
        header, rows = (halves[0] or self.tables[name])[0], [row for half in halves for row in half[1:]]
        rows = rows or self.tables[name][1:]
        return {head: [row[i] for row in rows] for i, head in enumerate(header)}


def _written(folder: Path, kit: Path, *words: str) -> str:
    page = folder / "report.html"
    done = kitwright("report", kit, "-o", page, "--force", *words)
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    return page.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("report")
    return _written(folder, MARSHLIGHT, "--job", "0012", "--serial", "A17", "--serial", "A18")


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    return Page(text)


@pytest.fixture(scope="module")
def kit() -> Kit:
    return load_kit(MARSHLIGHT)


def _charts(text: str) -> dict[str, ElementTree.Element]:
    """The charts by the name of their clip path."""
    found = [ElementTree.fromstring(each) for each in re.findall(r"<svg.*?</svg>", text, re.DOTALL)]
    return {each.find(f"{SVG}clipPath").get("id").removesuffix("-plot"): each for each in found}  # type: ignore[union-attr]


def test_everything_stands_there_in_its_order(page: Page) -> None:
    places = [next(i for i, title in enumerate(page.titles) if title.startswith(each)) for each in ORDER]
    assert places == sorted(places)


def test_the_head_says_which_kit_file_job_and_cabinets(page: Page) -> None:
    """SHA-256 is FIPS 180-4, here by Python's own hashlib."""
    words = " ".join(" ".join(page.words).split())
    head = words[: words.index("Stops")]
    for told in (hashlib.sha256(MARSHLIGHT.read_bytes()).hexdigest(), "0012", "A17, A18", "Marshlight two-way"):
        assert told in head
    assert "computed; nothing on this page was measured on this unit" in head


def test_three_stops_at_most_and_the_gravest_first(page: Page, kit: Kit, text: str) -> None:
    stops = text[text.index("<h2>Stops") : text.index("<h2>Does the woofer")]
    assert 1 <= stops.count("<li>") <= 3


def test_cautions_show_the_figures_that_trigger_them(text: str, run: Run) -> None:
    """Those of `buildsheet --json`, on the bench sides; the first side has three lines and no more."""
    cautions = document(run("buildsheet", MARSHLIGHT, "--variant", "wall", "--json"))["variants"]["wall"]["cautions"]
    told = [each["because"] for each in cautions if each["because"]]
    assert len(told) > 3
    side = unescape(text[text.index('id="bench-2"') : text.index('id="bench-3"')])
    assert [because for because in told if f'class="note">Here: {because}.' not in side] == []
    stops = text[text.index("<h2>Stops") : text.index("<h2>Does the woofer")]
    assert stops.count('class="note">') == 0


def test_a_warning_of_the_kit_is_a_stop(tall: str) -> None:
    stops = tall[tall.index("<h2>Stops") : tall.index("<h2>Does the woofer")]
    assert "the impedance falls to 3.4 ohm at 214 Hz; the amplifier&#39;s lowest_load is 4 ohm" in stops
    assert stops.count("<li>") == 3


def test_verdicts_are_those_of_protect(page: Page, kit: Kit) -> None:
    words = " ".join(" ".join(page.words).split())
    for variant in kit.variants.values():
        for verdict in protect(kit, variant):
            assert " ".join(verdict.because.split()) in words


def test_the_comparison_is_that_of_compare(page: Page, run: Run) -> None:
    table = page.tables["Variants side by side"]
    assert table[0] == ["", "centre", "wall", "tall"]
    lines = run("compare", MARSHLIGHT).stdout.split("\n\nagainst ")[0]
    for label, *cells in table[1:]:
        there = "  ".join(each for each in lines.splitlines() if each.strip().startswith(label))
        found = re.split(r" {2,}", there.strip())
        assert [cell for cell in found if cell != label] == cells, label


def test_parts_have_stress_and_rating_in_one_row(page: Page, run: Run) -> None:
    told = document(run("parts", MARSHLIGHT, "--variant", "wall", "--count", "1", "--json"))
    rows = {row[0]: row for row in page.tables["Parts plan of wall"][1:]}
    for place in told["places"]:
        row = rows[place["ref"]]
        asked, order = (float(row[i].split()[0]) for i in (4, 5))
        assert asked == pytest.approx(place["asked"], rel=0.05, abs=0.006)  # two figures
        assert order == pytest.approx(place["rating"], abs=1e-9)
        assert row[7] in ("pass", "marginal", "fail", "cannot tell", "not tested")
    bought = {row[4]: int(row[0]) for row in page.tables["To buy for wall"][1:]}
    assert sum(bought.values()) <= sum(line["per_cabinet"]["wall"] for line in told["buy"])
    assert {ref for names in bought for ref in names.split()} == set(rows)


def test_a_link_asks_for_no_rating(page: Page) -> None:
    row = next(row for row in page.tables["Parts plan of tall"] if row[0] == "C1")
    assert row[1] == "LINK"
    assert row[4:8] == [""] * 4


def test_readings_are_those_of_expect_and_have_boxes(text: str, run: Run) -> None:
    sheet = text[text.index('id="bench-2"') : text.index('id="bench-3"')]
    readings = document(run("expect", MARSHLIGHT, "--variant", "wall", "--json"))["readings"]
    assert sheet.count('class="blank"') == len(readings)


def _predicted(text: str) -> dict[str, dict[str, list[str]]]:
    """The columns of the text of `predict` by variant and head: heads stand over the right end of their columns."""
    found: dict[str, dict[str, list[str]]] = {}
    blocks = re.split(r"\n\n(?=\w+: cabinet)", text)[1:]
    for block in blocks:
        lines = block.splitlines()
        start = next(i for i, line in enumerate(lines) if re.match(r" +Hz  level dB", line))
        heads = re.split(r" {2,}", lines[start].strip())
        rows = [line.split() for line in lines[start + 1 :] if line.strip()]
        found[block.split(":")[0]] = dict(zip(heads, map(list, zip(*rows, strict=True)), strict=True))
    return found


@pytest.mark.slow
def test_third_octaves_read_as_predict_tells_them(page: Page, run: Run) -> None:
    told = _predicted(run("predict", MARSHLIGHT).stdout)
    for name, head in (("Level, dB", "level dB"), ("Impedance, ohm", "ohm")):
        columns = page.read(name)
        assert list(columns) == ["Hz", "centre", "wall", "tall"]
        for variant, found in told.items():
            assert columns["Hz"] == found["Hz"]
            assert columns[variant] == found[head]


def test_excursion_reads_as_predict_tells_it_at_rated_volts(page: Page, run: Run, kit: Kit) -> None:
    told = _predicted(run("predict", MARSHLIGHT, "--volts", repr(kit.amplifier.rated_volts)).stdout)
    columns = page.read("Excursion, mm")
    for variant, driver in (("centre", "woofer_a"), ("wall", "woofer_a"), ("tall", "woofer_b")):
        assert columns[variant] == told[variant][f"{driver} mm"][: len(columns[variant])]
    assert columns["Hz"][-1] == "1000"


def test_volts_read_as_limits_tells_them(page: Page, run: Run) -> None:
    columns = page.read("Volts rms, rounded down, and level")
    lines = run("limits", MARSHLIGHT, "--variant", "wall").stdout.splitlines()
    start = next(i for i, line in enumerate(lines) if re.match(r" +Hz  V rms", line)) + 1
    rows = [line.split() for line in lines[start : start + len(columns["Hz"])]]
    assert columns["wall V"] == [row[1] for row in rows]
    assert columns["wall dB"] == [row[3] for row in rows]


def test_25_decibels_are_as_long_as_a_decade(text: str) -> None:
    """IEC 60263 (from memory), measured in the drawing: between the words at its axes, and along a curve itself."""
    charts = _charts(text)
    assert any(name.startswith("level") for name in charts)
    for name, chart in charts.items():
        if name.startswith(("level", "loudest", "seats")):
            across = {
                t.text: float(t.get("x", "nan")) for t in chart.iter(f"{SVG}text") if t.get("text-anchor") == "middle"
            }
            upright = {float(t.text or "nan"): float(t.get("y", "nan")) for t in chart.iter(f"{SVG}text")
                       if t.get("text-anchor") == "end" and re.fullmatch(r"\d+", t.text or "")}  # fmt: skip
            decade = across["10k"] - across["1k"]
            low, high = min(upright), max(upright)
            per_decibel = (upright[low] - upright[high]) / (high - low)
            assert 25 * per_decibel == pytest.approx(decade, rel=0.01)


def test_a_curve_lies_where_its_numbers_say(text: str, page: Page) -> None:
    chart = _charts(text)["level-0"]
    names = list(chart.iter(f"{SVG}text"))
    x = {t.text: float(t.get("x", "nan")) for t in names if t.get("text-anchor") == "middle"}
    y = {t.text: float(t.get("y", "nan")) - 4 for t in names if t.get("text-anchor") == "end"}
    curve = next(p for p in chart.iter(f"{SVG}path") if p.get("data-curve") == "centre")
    points = np.array(re.findall(r"([-\d.]+),([-\d.]+)", curve.get("d", "")), float)
    hertz = 1000 * 10 ** ((points[:, 0] - x["1k"]) / (x["10k"] - x["1k"]))
    level = 80 + (y["80"] - points[:, 1]) * 10 / (y["70"] - y["80"])
    columns = page.read("Level, dB")
    assert any(float(told) > 45 for told in columns["centre"])
    for frequency, told in zip(columns["Hz"], columns["centre"], strict=True):
        if float(told) > 45:  # within the drawing
            assert np.interp(math.log(float(frequency)), np.log(hertz), level) == pytest.approx(float(told), abs=0.15)


def test_every_chart_is_told_in_words(text: str) -> None:
    for chart in _charts(text).values():
        assert chart.get("role") == "img"
        assert re.search(r"\d (Hz|dB|mm|kHz|ohm)", chart.get("aria-label", ""))


def test_it_is_small_and_asks_for_nothing(text: str, page: Page) -> None:
    assert len(text.encode()) < 2_000_000
    asked = [value for name, value in page.attributes if name.split(":")[-1] in ("src", "href") and value]
    assert all(value.startswith("#") for value in asked)
    assert "http:" not in re.sub(r"http://www\.w3\.org/2000/svg", "", text)
    assert "url(" not in re.sub(r"url\(#[\w-]+\)", "", text)
    assert {"iframe", "object", "embed", "link", "img", "form"} & set(page.tags) == set()


def test_one_script_and_the_policy_knows_its_hash(text: str) -> None:
    """CSP Level 2 (2016), 4.2.3: base64 of the SHA-256 of what stands between the tags."""
    scripts = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert len(scripts) == 1
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    assert f"script-src 'sha256-{digest}'" in policy[1]
    assert "default-src 'none'" in policy[1]
    assert text.count("data-read=") == 1  # a reader's cursor lives in one chart only
    assert not re.search(r"\son\w+=", text.replace("data-", ""))  # no handlers in attributes


@pytest.fixture(scope="module")
def tall(tmp_path_factory: pytest.TempPathFactory) -> str:
    return _written(tmp_path_factory.mktemp("tall"), MARSHLIGHT, *TALL)


TALL = ("--variant", "tall", "--set", "amplifier.lowest_load=4 ohm", "--date", "2026-11-27")


def test_one_variant_stands_beside_no_other(tall: str) -> None:
    page = Page(tall)
    assert "In short" in page.titles
    assert "Side by side" not in page.titles
    assert page.tables["tall in short"][0] == ["", "tall"]
    assert not any("each variant" in name or "side by side" in name for name in page.tables)


def test_one_variant_alone_shows_what_it_is_made_of(tall: str) -> None:
    curves = [p.get("data-curve") for p in _charts(tall)["level-0"].iter(f"{SVG}path") if p.get("data-curve")]
    assert curves == ["together", "woofer_a", "woofer_b", "tweeter", "mouth"]
    assert "Bench side: wall" not in tall


def test_the_kit_file_stands_there_whole_and_what_was_set(tall: str) -> None:
    words = "".join(Page(tall).words)
    assert MARSHLIGHT.read_text().rstrip("\n") in words
    assert "--set amplifier.lowest_load=4 ohm" in words


def test_a_date_is_printed_only_where_it_is_given(tall: str, text: str) -> None:
    assert tall.count("2026-11-27") >= 2  # at the head, and where it is signed
    assert not re.search(r"20\d\d-\d\d-\d\d", text)


@pytest.mark.slow
def test_another_run_gives_the_same_bytes(tall: str, tmp_path: Path) -> None:
    """In a process of its own, where sets and dictionaries may be in another order."""
    page = tmp_path / "again.html"
    program = "from system.cli import main; main()"
    words = [sys.executable, "-c", program, "report", MARSHLIGHT, *TALL, "-o", page]
    subprocess.run(words, check=True, capture_output=True, timeout=120)
    assert page.read_text(encoding="utf-8") == tall


HOSTILE = "</title><script>alert(1)</script><img src=//x onerror=y> & \" '"


def test_what_a_user_writes_is_no_markup(tmp_path: Path) -> None:
    hostile = HOSTILE.replace("'", "''")
    path = write_kit(tmp_path, cabinets=BOX, variants=IN_WALL, more=f"# {HOSTILE}")
    path.write_text(path.read_text().replace("kit: Test kit", f"kit: '{hostile}'"))
    found = _written(tmp_path, path, "--job", HOSTILE, "--serial", HOSTILE, "--date", HOSTILE)
    page = Page(found)
    assert page.tags.count("script") == 1  # ours
    assert "img" not in page.tags
    shown = " ".join(" ".join(page.words).split())
    assert shown.count(HOSTILE) >= 8  # sheets; job, serial and date at the head and where it is signed; the file


def test_text_without_a_file(run: Run, tmp_path: Path) -> None:
    done = run("report", write_kit(tmp_path, cabinets=BOX, variants=IN_WALL))
    assert done.status == 0
    assert "Parts plan" in done.stdout
    assert max(map(len, done.stdout[: done.stdout.index("The kit file")].splitlines())) <= 100


def test_a_file_is_kept_and_wrong_words_are_told(run: Run, tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    page.write_text("mine")
    assert run("report", write_kit(tmp_path, cabinets=BOX, variants=IN_WALL), "-o", page).status == 2
    assert page.read_text() == "mine"
    assert run("report", MARSHLIGHT, "-o", tmp_path / "report.pdf").status == 2
    assert run("report", MARSHLIGHT, "--job", "two\nlines").status == 2


def test_a_driver_known_by_its_tables_only_and_no_parts(tmp_path: Path) -> None:
    """Nothing is told of what is not known; the page is made all the same."""
    for each in MARSHLIGHT.parent.glob("*.txt"):
        shutil.copy(each, tmp_path / each.name)
    dome = (
        "{re: 5.3 ohm, impedance: dome-impedance.txt, response: {file: dome-response.txt, volts: 2.83 V, distance: 1 m,"
    )
    path = write_kit(
        tmp_path,
        drivers=f"{{dome: {dome} mounted: wall, phase: measured}}, role: woofer}}}}",
        hookup="{woofer: {driver: dome, plus: in, minus: common}}",
        variants="{v: {cabinet: box, placement: in_wall}}",
    )
    found = _written(tmp_path, path)
    for words in ("nan", "None<", "inf<"):
        assert words not in found.lower().replace("none found", "")
    assert "Not known: its drivers are known by their tables only." in found
    assert "Nothing: no part is fitted." in found


@pytest.fixture(scope="module")
def found(kit: Kit) -> dict[str, RestsOn]:
    return {v.name: rests_on(kit, v, protect(kit, v)) for v in kit.variants.values()}


@pytest.mark.slow
def test_as_stated_they_are_those_of_protect_and_predict(kit: Kit, run: Run, found: dict[str, RestsOn]) -> None:
    told = document(run("predict", MARSHLIGHT, "--json", "--points", "2"))["variants"]
    for variant in kit.variants.values():
        rests = found[variant.name]
        margins = [v.link.margins.decisive for v in protect(kit, variant) if v.link]
        assert rests.base.margin == pytest.approx(min(margins), abs=0.01)
        summary = told[variant.name]["summary"]
        assert rests.base.minus_3 == pytest.approx(summary["minus_3_db_hz"], rel=0.005)
        assert rests.base.level == pytest.approx(summary["sensitivity_db"], abs=0.02)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example without the figures that follow from the others, so that one alone can be changed in the file."""
    folder = tmp_path_factory.mktemp("plain")
    for each in MARSHLIGHT.parent.iterdir():
        shutil.copy(each, folder / each.name)
    path = folder / MARSHLIGHT.name
    lines = path.read_text().splitlines(keepends=True)
    start = next(i for i, line in enumerate(lines) if line.startswith("    large_signal:"))
    stop = next(i for i, line in enumerate(lines) if line.startswith("    power: {rated: 50 W"))
    left = [line for line in [*lines[:start], *lines[stop:]] if not line.startswith(("    mms:", "    bl:"))]
    path.write_text("".join(left))
    return path


@pytest.mark.parametrize(
    ("name", "path", "value"),
    [
        ("volume of the box", "cabinets.compact.chambers.0.volume", "10.08 L"),
        ("re of woofer", "drivers.woofer.re", "7.08 ohm"),
        ("fs of woofer", "drivers.woofer.fs", "62.4 Hz"),
        ("vas of woofer", "drivers.woofer.vas", "13.44 L"),
        ("power of the amplifier", "amplifier.power", "96 W"),
    ],
)
def test_they_are_those_of_the_kit_written_so(
    plain: Path, found: dict[str, RestsOn], name: str, path: str, value: str
) -> None:
    """A second way: a figure a fifth higher in the file's text, through the reader.

    A filling given by its mass gets thinner there in a larger box, so its mass goes with it.
    """
    more = ["cabinets.compact.chambers.0.fill.mass=120 g"] if name.startswith("volume") else []
    changed = load_kit(plain, [f"{path}={value}", *more])
    variant = changed.variants["wall"]
    base = rests_on(changed, variant, protect(changed, variant)).base
    each = next(a for a in found["wall"].assumptions if a.name == name)
    assert each.more.margin == pytest.approx(base.margin, abs=0.01)
    assert each.more.minus_3 == pytest.approx(base.minus_3, rel=0.002)
    assert each.more.level == pytest.approx(base.level, abs=0.01)


def test_limits_and_crest_move_the_margin_in_closed_form(found: dict[str, RestsOn]) -> None:
    """A limit a fifth higher is 20 log10 1.2 dB farther; what the other signal decides then caps it."""
    rests = found["tall"]  # its sine decides by far
    each = next(a for a in rests.assumptions if a.name.startswith("damage excursion"))
    base = rests.base.margin
    assert each.more.margin - base == pytest.approx(20 * math.log10(1 + OFF), abs=1e-9)
    assert each.less is not None
    assert each.less.margin - base == pytest.approx(20 * math.log10(1 - OFF), abs=1e-9)
    power = next(a for a in rests.assumptions if a.name.startswith("power"))
    assert power.more.margin - base == pytest.approx(-10 * math.log10(1 + OFF), abs=1e-9)


def test_the_worst_is_told_first(found: dict[str, RestsOn], page: Page) -> None:
    for name, rests in found.items():
        base = rests.base.margin
        worst = [max(abs(f.margin - base) for f in (a.less, a.more)) for a in rests.assumptions]
        assert np.all(np.diff(worst) <= 1e-3)
        assert [row[0] for row in page.tables[f"Assumptions of {name}"][1:]] == [a.name for a in rests.assumptions]


def test_what_was_measured_is_drawn_with_what_was_computed(run: Run, tmp_path: Path) -> None:
    kit = write_kit(tmp_path, cabinets=BOX, variants=IN_WALL)
    sweep = tmp_path / "unit.txt"
    sweep.write_text("\n".join(f"{50 * 2**i} {10 + i}" for i in range(8)) + "\n")
    page = Page(_written(tmp_path, kit, "--measured", str(sweep)))
    columns = page.read("Impedance, ohm")
    told = dict(zip(columns["Hz"], columns["measured"], strict=True))
    assert told["20"] == "-"  # nothing is made up beyond its ends
    assert told["10000"] == "-"
    # at 100 Hz and 1 kHz the sweep reads 11 ohm, and between 14 and 15 ohm evenly in both logarithms
    assert told["100"] == "11.0"
    assert told["1000"] == f"{14 * (15 / 14) ** math.log2(1000 / 800):.1f}"
    assert any("impedance also measured on this unit" in word for word in page.words)
    assert run("report", MARSHLIGHT, "--measured", sweep).status == 2


def test_what_the_reader_assumed_is_called_so(tmp_path: Path) -> None:
    path = write_kit(tmp_path, cabinets="{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 12 L}]}}",
                     variants="{v: {cabinet: box, placement: in_wall}}")  # fmt: skip
    read = load_kit(path)
    rests = rests_on(read, read.variants["v"], protect(read, read.variants["v"]))
    origins = {a.name: a.origin for a in rests.assumptions}
    assert origins["Q of the box's losses, leak"] == "assumed"
    assert origins["cable, both ways"] == "assumed"
    assert origins["volume of the box"] == "kit file"
    cable = next(a for a in rests.assumptions if a.name == "cable, both ways")
    assert cable.less is None  # a fifth less than nothing
    assert cable.more.level < rests.base.level
