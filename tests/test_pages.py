"""Printed pages: the same blocks as text, as a web page and on paper."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.axes import Axes

from system.sheets.pages import as_html, as_paper, as_text
from system.sheets.pages.blocks import BLANK, Beside, Drawing, Fields, Grid, Heading, Points, Sheet, Text, every
from system.sheets.pages.columns import widths

HOSTILE = '<script>alert("x")</script> & </style><img src=//x onerror=y>'


def _draw(axes: Axes) -> None:
    axes.set_axis_off()
    axes.plot([0, 1], [0, 1], color="black")


def _sheet(rows: int = 4, word: str = "plain") -> Sheet:
    grid = Grid(
        ("place", "value", "do", "read"), tuple((f"C{i}", f"{i}.5 uF", f"{word} " * 12, BLANK) for i in range(rows))
    )
    return Sheet(
        title=f"A kit, {word}",
        under="one cabinet",
        blocks=(
            Heading("Before"),
            Points(("Unplug it.", f"Read this. {word}"), "box"),
            Beside((Heading("Left"), grid), (Heading("Right"), Text(word, strong=True)), 0.7),
            Drawing(60, 30, _draw, f"a line, {word}"),
            Heading("Signed"),
            Fields((("by", ""), ("serial", word))),
        ),
        foot="the foot",
    )


class _Elements(HTMLParser):
    """Collects what a browser would see."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name.split(":")[-1] in ("src", "href") and tag != "use"]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_text_keeps_to_the_page() -> None:
    text = as_text.text([_sheet(), _sheet(word="another")])
    assert max(map(len, text.splitlines())) <= 100
    assert text.count("the foot") == 2
    for words in ("Before", "[ ] Unplug it.", "C3", "[        ]", "a line, plain", "____"):
        assert words in text


def test_a_web_page_shows_every_word_and_no_markup_of_its_user() -> None:
    page = as_html.html(HOSTILE, [_sheet(word=HOSTILE)], "a4")
    seen = _Elements()
    seen.feed(page)
    assert "script" not in seen.tags
    assert "img" not in seen.tags
    assert {link for link in seen.links if not link.startswith("#")} == set()
    shown = " ".join(" ".join(seen.words).split())
    assert shown.count(" ".join(HOSTILE.split())) >= 1 + 12 * 4  # the title and the table's cells
    assert "default-src 'none'" in page
    assert "http:" not in re.sub(r"http://(www\.w3\.org|purl\.org|creativecommons\.org)/", "", page)


def test_a_column_of_numbers_with_units_is_set_right() -> None:
    grid = Grid(("a", "b", "c"), (("1.5 mH", "10 W or more of it", ""), ("2.0 to 3.1", "x", BLANK)))
    assert [grid.is_right(i) for i in range(3)] == [True, False, False]


def test_a_row_must_fit_its_header() -> None:
    with pytest.raises(ValueError, match="2 columns has a row of 1"):
        Grid(("a", "b"), (("only",),))


@pytest.mark.parametrize(("paper", "box"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))])
def test_paper_has_its_size_and_a_page_a_sheet(paper: as_paper.Paper, box: tuple[float, float]) -> None:
    """ISO 216: A4 is 210 mm by 297 mm; letter is 8.5 by 11 inches (ANSI/ASME Y14.1)."""
    written = as_paper.pdf([_sheet(), _sheet()], paper)
    boxes = re.findall(rb"/MediaBox \[ ?0 0 ([0-9.]+) ([0-9.]+) ?\]", written)
    assert len(boxes) == 2
    for found in boxes:
        assert [float(size) for size in found] == pytest.approx(box, abs=0.01)


def test_the_same_bytes_again() -> None:
    sheets = [_sheet()]
    assert as_paper.pdf(sheets, "a4") == as_paper.pdf(sheets, "a4")
    assert as_paper.picture(sheets[0], "a4", "svg") == as_paper.picture(sheets[0], "a4", "svg")
    assert as_html.html("x", sheets, "a4") == as_html.html("x", sheets, "a4")


def test_a_long_sheet_goes_on_and_nothing_leaves_the_page() -> None:
    figures = as_paper.figures([_sheet(rows=90)], "a4")
    assert len(figures) > 1
    told: list[str] = []
    for figure in figures:
        figure.canvas.draw()
        for text in figure.texts:
            edges = text.get_window_extent().transformed(figure.transFigure.inverted())
            assert edges.x0 > 0
            assert edges.x1 < 1
            assert edges.y0 > 0
            assert edges.y1 < 1
            told.append(text.get_text())
    assert {f"C{i}" for i in range(90)} <= set(told)
    assert any("Page 2 of" in words for words in told)


def test_reading_order_goes_through_what_stands_beside() -> None:
    headings = [block.text for block in every(_sheet().blocks) if isinstance(block, Heading)]
    assert headings == ["Before", "Left", "Right", "Signed"]


_WORDS = st.text("ab", min_size=1, max_size=9)
_CELLS = st.lists(_WORDS, min_size=1, max_size=6).map(" ".join)


@given(st.lists(st.tuples(_CELLS, _CELLS, _CELLS), min_size=1, max_size=5), st.integers(45, 120))
def test_columns_fit_where_they_can(rows: list[tuple[str, ...]], room: int) -> None:
    found = widths(rows, room, 2, len)
    for column, width in zip(zip(*rows, strict=True), found, strict=True):
        longest_word = max(len(word) for cell in column for word in cell.split())
        assert longest_word <= width <= max(map(len, column))
    assert sum(found) + 2 * 2 <= room + 1e-9  # three words of nine always fit into 45
