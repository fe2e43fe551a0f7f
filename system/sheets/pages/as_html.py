"""Pages for a browser or its printer: one file that asks nothing of anybody and is complete without script.

Its content policy forbids whatever does not stand in it: no address is fetched, and of scripts only the one is run that
lets a reader move along a chart, known by its hash (CSP Level 2, 2016, 4.2.3).
"""

from __future__ import annotations

import base64
import hashlib
import io
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import jinja2

from system.sheets.pages import charts
from system.sheets.pages.blocks import BLANK, TICK, Chart, Drawing, Paper, Sheet, every

HERE = Path(__file__).parent
MM = 1 / 25.4  # inches
PAPERS = {"a4": "A4", "letter": "letter"}  # as style sheets call them
READER = "reader.js"


def html(title: str, sheets: Sequence[Sheet], paper: Paper | None = None) -> str:
    """A whole page; all text is escaped. Without a `paper` it keeps to whatever the printer has."""
    script = _reader(sheets)
    page = _template("page.html").render(
        title=title, sheets=sheets, paper=PAPERS[paper] if paper else "auto", BLANK=BLANK, TICK=TICK,
        script=script, hash=_hash(script) if script else "",
    )  # fmt: skip
    return f"{page}\n"


def _reader(sheets: Sequence[Sheet]) -> str:
    """The script, where a chart wants it."""
    blocks = (block for sheet in sheets for block in every(sheet.blocks))
    wanted = any(isinstance(block, Chart) and block.reads for block in blocks)
    return (HERE / READER).read_text(encoding="utf-8") if wanted else ""


def _hash(script: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}"


@cache
def _template(name: str) -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, loader=jinja2.FileSystemLoader(HERE), undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.tests["kind"] = lambda block, name: type(block).__name__ == name
    environment.filters["svg"] = svg
    environment.filters["chart"] = charts.svg
    environment.filters["readout"] = charts.readout
    return environment.get_template(name)


def svg(block: Drawing) -> str:
    """The picture as an element of the page, the same bytes every time. What it shows is told in words beside it."""
    import matplotlib as mpl  # a page without drawings does not wait for it
    from matplotlib.figure import Figure

    with mpl.rc_context({"svg.hashsalt": block.words, "svg.fonttype": "path", "font.family": "DejaVu Sans"}):
        figure = Figure(figsize=(block.size[0] * MM, block.size[1] * MM))
        block.draw(figure.add_axes(block.place))
        picture = io.StringIO()
        figure.savefig(picture, format="svg", metadata={"Date": None}, transparent=True)
    return picture.getvalue()[picture.getvalue().index("<svg") :]
