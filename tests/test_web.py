"""The report as a browser shows it: it asks for nothing, fits every screen, and stands up to WCAG 2.2 AA."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.support_cli import kitwright
from tests.support_web import Tab, axe_source, browser
from tests.test_cli import MARSHLIGHT

pytestmark = pytest.mark.slow

DESKTOP, PHONE = 1280, 390  # pixels of CSS
WCAG = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")  # axe-core's names of its rules
HEADING = "h1, h2"


@pytest.fixture(scope="module")
def tab() -> Iterator[Tab]:
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    page = tmp_path_factory.mktemp("web") / "report.html"
    done = kitwright("report", MARSHLIGHT, "-o", page, "--job", "0012", "--serial", "A17")
    assert done.returncode == 0, done.stderr
    return page


@pytest.fixture(scope="module")
def bench_sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    page = tmp_path_factory.mktemp("web") / "sheet.html"
    assert kitwright("buildsheet", MARSHLIGHT, "-o", page).returncode == 0
    return page


@pytest.mark.parametrize("width", [DESKTOP, PHONE])
def test_it_asks_for_nothing_and_nothing_goes_wrong(tab: Tab, report: Path, width: int) -> None:
    tab.open(report, width)
    tab.run("new Promise(done => setTimeout(done, 300))")
    assert tab.asked == [report.resolve().as_uri()]
    assert tab.said == []


def test_its_policy_lets_no_other_script_run(tab: Tab, report: Path, tmp_path: Path) -> None:
    """CSP Level 2 (2016): a script that has another hash is not run, and the console says so."""
    page = tmp_path / "other.html"
    page.write_text(report.read_text().replace("</body>", "<script>document.title = 'taken'</script></body>"))
    tab.open(page, DESKTOP)
    assert "taken" not in tab.run("document.title")
    assert any("Content Security Policy" in said for said in tab.said)


@pytest.mark.parametrize("width", [DESKTOP, 768, PHONE, 320])
@pytest.mark.parametrize("which", ["report", "bench_sheet"])
def test_nothing_is_wider_than_the_screen(tab: Tab, request: pytest.FixtureRequest, which: str, width: int) -> None:
    """WCAG 2.2, 1.4.10: content reflows at 320 CSS pixels; tables may scroll in themselves."""
    tab.open(request.getfixturevalue(which), width, phone=width < DESKTOP)
    assert tab.run("innerWidth") == width
    assert tab.run("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [DESKTOP, PHONE])
@pytest.mark.parametrize("which", ["report", "bench_sheet"])
def test_no_violation_of_wcag(tab: Tab, request: pytest.FixtureRequest, which: str, width: int, dark: bool) -> None:
    """By axe-core 4 (Deque Systems), contrast among its rules."""
    tab.open(request.getfixturevalue(which), width, dark=dark, phone=width == PHONE)
    assert tab.run("matchMedia('(prefers-color-scheme: dark)').matches") is dark
    tab.run(axe_source() + "; 0")
    rules = list(WCAG)
    found: Any = tab.run(
        f"axe.run(document, {{runOnly: {rules}}}).then(found => ({{passes: found.passes.map(each => each.id),"
        " violations: found.violations.map(each => each.id + ': ' + each.nodes.map(n => n.target).join(' '))}))"
    )
    assert found["violations"] == []
    assert {"color-contrast", "image-alt", "svg-img-alt"} & set(found["passes"])  # it did look


def test_a_faint_page_would_be_found(tab: Tab, report: Path, tmp_path: Path) -> None:
    """So that none of the above passes because nothing was looked at."""
    page = tmp_path / "faint.html"
    page.write_text(report.read_text().replace("--ink: #1b1d1f", "--ink: #b0b0b0"))
    tab.open(page, DESKTOP)
    tab.run(axe_source() + "; 0")
    found = tab.run("axe.run(document, {runOnly: ['color-contrast']}).then(found => found.violations[0].nodes.length)")
    assert found > 20


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_inks_of_lines_and_their_names_have_contrast(tab: Tab, report: Path, dark: bool) -> None:
    """WCAG 2.2, 1.4.3: text 4.5 to 1; axe-core does not look into drawings, so the names of lines are judged here.

    Relative luminance after WCAG 2.2, its glossary.
    """
    tab.open(report, DESKTOP, dark=dark)
    paper, *inks = tab.run(
        "[getComputedStyle(document.body).backgroundColor,"
        " ...[...document.querySelectorAll('.chart text')].map(each => getComputedStyle(each).fill)]"
    )
    for ink in set(inks):
        light, deep = sorted((_luminance(each) for each in (paper, ink)), reverse=True)
        assert (light + 0.05) / (deep + 0.05) >= 4.5, ink


def _luminance(colour: str) -> float:
    """Of `rgb(1, 2, 3)` or `#010203`."""
    form, base = (r"[0-9a-f]{2}", 16) if "#" in colour else (r"\d+", 10)
    parts = [int(each, base) / 255 for each in re.findall(form, colour)[:3]]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


HINTED = """[...document.querySelectorAll('.wide, pre')].map(each => [
    each.scrollWidth > each.clientWidth,
    getComputedStyle(each, '::before').display === 'block' && getComputedStyle(each, '::before').content])"""


@pytest.mark.parametrize("which", ["report", "bench_sheet"])
@pytest.mark.parametrize("width", [DESKTOP, 768, PHONE, 320])
def test_what_scrolls_says_so_and_nothing_else_does(
    tab: Tab, request: pytest.FixtureRequest, which: str, width: int
) -> None:
    tab.open(request.getfixturevalue(which), width, phone=width < DESKTOP)
    tab.run("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    found = tab.run(HINTED)
    assert [bool(words) for _, words in found] == [scrolls for scrolls, _ in found]
    assert {words for _, words in found if words} <= {'"scroll sideways"'}
    assert width > PHONE or any(scrolls for scrolls, _ in found)


def test_nothing_says_scroll_on_paper(tab: Tab, report: Path) -> None:
    tab.open(report, PHONE, phone=True)
    tab.call("Emulation.setEmulatedMedia", media="print")
    try:
        assert not any(words for _, words in tab.run(HINTED))
        images = tab.run("[...document.querySelectorAll('.wide')].map(e => getComputedStyle(e).backgroundImage)")
    finally:
        tab.call("Emulation.setEmulatedMedia", media="")
    assert set(images) == {"none"}


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_words_over_the_shaded_edge_have_contrast(tab: Tab, report: Path, dark: bool) -> None:
    """WCAG 2.2, 1.4.3, where the shade is deepest; and the shade itself is seen against the paper."""
    tab.open(report, PHONE, dark=dark, phone=True)
    edge, ink, paper = (
        _luminance(tab.run(f"getComputedStyle(document.body).getPropertyValue('--{name}')"))
        for name in ("edge", "ink", "paper")
    )
    assert _ratio(edge, ink) >= 4.5
    assert _ratio(edge, paper) >= 2


def _ratio(one: float, other: float) -> float:
    light, deep = max(one, other), min(one, other)
    return (light + 0.05) / (deep + 0.05)


def test_letters_of_charts_are_readable_on_a_phone(tab: Tab, report: Path) -> None:
    """9 pixels at least: about 7 point at arm's length (common practice, no source)."""
    tab.open(report, PHONE, phone=True)
    heights = tab.run(
        "[...document.querySelectorAll('.chart text')].map(each => parseFloat(getComputedStyle(each).fontSize)"
        " * each.ownerSVGElement.getScreenCTM().a)"
    )
    assert min(heights) >= 9


def test_names_of_lines_do_not_lie_on_each_other(tab: Tab, report: Path) -> None:
    for width in (DESKTOP, PHONE):
        tab.open(report, width, phone=width == PHONE)
        overlaps = tab.run(
            """[...document.querySelectorAll('.chart svg')].flatMap(svg => {
                const boxes = [...svg.querySelectorAll('text[class^=of]')].map(each => each.getBoundingClientRect());
                const edge = svg.getBoundingClientRect();
                return boxes.flatMap((a, i) => [
                    ...(a.right > innerWidth || a.right > edge.right + 1 ? ['beyond the edge'] : []),
                    ...boxes.slice(i + 1).filter(b => a.bottom - 2 > b.top && b.bottom - 2 > a.top).map(() => 'both'),
                ]);
            })"""
        )
        assert overlaps == []


def test_a_keyboard_reads_along_one_chart_only(tab: Tab, report: Path) -> None:
    tab.open(report, DESKTOP)
    assert tab.run("document.querySelectorAll('figure input').length") == 1
    tab.run("document.querySelector('figure input').focus()")
    before = tab.run("document.querySelector('.told').textContent")
    tab.key("ArrowRight", 39)
    after = tab.run("document.querySelector('.told').textContent")
    assert before != after
    hertz = [float(re.match(r"([\d.]+) Hz: centre [\d.]+, wall", told).group(1)) for told in (before, after)]  # type: ignore[union-attr]
    assert hertz[0] < hertz[1] < 1.1 * hertz[0]
    assert tab.run("document.querySelector('figure input').getAttribute('aria-valuetext')") == after


def test_every_link_and_table_is_reached_with_the_tab_key(tab: Tab, report: Path) -> None:
    tab.open(report, DESKTOP)
    stops = tab.run("document.querySelectorAll('a, input, [tabindex]').length")
    seen = []
    for _ in range(stops):
        tab.key("Tab", 9)
        seen.append(tab.run("[...document.querySelectorAll('a, input, [tabindex]')].indexOf(document.activeElement)"))
    assert seen == list(range(stops))  # in the order of the page


def test_without_script_all_is_there(tab: Tab, report: Path) -> None:
    tab.call("Emulation.setScriptExecutionDisabled", value=True)
    try:
        tab.open(report, DESKTOP)
        tree = tab.call("DOM.getDocument", depth=-1)
        words = tab.call("DOM.getOuterHTML", nodeId=tree["root"]["nodeId"])["outerHTML"]
    finally:
        tab.call("Emulation.setScriptExecutionDisabled", value=False)
    assert words.count("<svg") == report.read_text().count("<svg") > 0
    assert "<input" not in words  # nothing that would be dead


def _pages(tab: Tab, page: Path, anchor: str = "", wide: float = 8.27, high: float = 11.69) -> bytes:
    tab.open(page, DESKTOP)
    if anchor:
        tab.run(f"location.hash = '{anchor}'")
    return base64.b64decode(tab.call("Page.printToPDF", paperWidth=wide, paperHeight=high)["data"])


def _shown_in_print(tab: Tab, page: Path, anchor: str) -> list[str]:
    tab.open(page, DESKTOP)
    tab.run(f"location.hash = '{anchor}'")
    tab.call("Emulation.setEmulatedMedia", media="print")
    try:
        titles: list[str] = tab.run(
            f"[...document.querySelectorAll('{HEADING}')].filter(each => each.offsetParent).map(e => e.textContent)"
        )
    finally:
        tab.call("Emulation.setEmulatedMedia", media="")
    return titles


def test_a_bench_side_prints_alone_with_the_sign_off(tab: Tab, report: Path) -> None:
    alone = _shown_in_print(tab, report, "bench-2")
    assert alone[0] == "Bench side: wall"
    assert alone[-1] == "Sign-off"
    assert "Parts plan" in alone
    assert "How low and how even?" not in alone
    assert "Bench side: centre" not in alone
    whole = _shown_in_print(tab, report, "")
    assert whole[0] == "Marshlight two-way"
    assert len(whole) > 2 * len(alone)


@pytest.mark.parametrize(("wide", "high"), [(8.27, 11.69), (8.5, 11.0)], ids=["A4", "letter"])
def test_the_first_side_holds_all_variants_and_each_bench_side_begins_a_page(
    tab: Tab, report: Path, wide: float, high: float
) -> None:
    """The size of paper is the printer's: ISO 216, ANSI/ASME Y14.1. Pages are counted in the PDF itself."""
    box = rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]"
    whole = _pages(tab, report, wide=wide, high=high)
    sizes = {tuple(float(each) for each in found) for found in re.findall(box, whole)}
    assert len(sizes) == 1
    assert next(iter(sizes)) == pytest.approx((72 * wide, 72 * high), abs=1.5)
    alone = _pages(tab, report, "bench-2", wide, high)
    assert 1 <= len(re.findall(box, alone)) <= 2
    assert _side_height(tab, report, wide) <= (high - 22 / 25.4) * 96  # within the margins of the style sheet


def _side_height(tab: Tab, page: Path, wide: float) -> float:
    """Of the first side as it is printed, in CSS pixels."""
    tab.open(page, round((wide - 26 / 25.4) * 96))
    tab.call("Emulation.setEmulatedMedia", media="print")
    try:
        height: float = tab.run("document.querySelector('article').getBoundingClientRect().height")
    finally:
        tab.call("Emulation.setEmulatedMedia", media="")
    return height
