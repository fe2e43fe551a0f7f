"""Pages for a browser or its printer: one file that asks nothing of anybody and is complete without script."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import jinja2
import matplotlib as mpl
from matplotlib.figure import Figure

from system.sheets.pages.blocks import BLANK, Drawing, Paper, Sheet

MM = 1 / 25.4  # inches
PAPERS = {"a4": "A4", "letter": "letter"}  # as style sheets call them


def html(title: str, sheets: Sequence[Sheet], paper: Paper) -> str:
    """A whole page; all text is escaped."""
    return _template("page.html").render(title=title, sheets=sheets, paper=PAPERS[paper], BLANK=BLANK) + "\n"


@cache
def _template(name: str) -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, loader=jinja2.FileSystemLoader(Path(__file__).parent), undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.tests["kind"] = lambda block, name: type(block).__name__ == name
    environment.filters["svg"] = svg
    return environment.get_template(name)


def svg(block: Drawing) -> str:
    """The picture as an element of the page, the same bytes every time. What it shows is told in words beside it."""
    with mpl.rc_context({"svg.hashsalt": block.words, "svg.fonttype": "path", "font.family": "DejaVu Sans"}):
        figure = Figure(figsize=(block.width * MM, block.height * MM))
        block.draw(figure.add_axes((0, 0, 1, 1)))
        picture = io.StringIO()
        figure.savefig(picture, format="svg", metadata={"Date": None}, transparent=True)
    return picture.getvalue()[picture.getvalue().index("<svg") :]
