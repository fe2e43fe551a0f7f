"""How Sphinx builds these pages: bash .ci/docs FOLDER."""

from typing import Any

from docutils import nodes
from latex2mathml.converter import convert
from sphinx.application import Sphinx

project = "kitwright"
extensions = ["myst_parser"]
exclude_patterns = ["theme", "pictures", "examples"]

myst_enable_extensions = ["dollarmath", "deflist"]
myst_heading_anchors = 3  # so that page.md#heading can be linked to
nitpicky = True

html_theme = "theme"
html_theme_path = ["."]
html_title = "kitwright"
html_copy_source = False
html_use_index = False
html_permalinks_icon = "#"
html_math_renderer = "mathml"  # browsers draw it by themselves: no script, nothing from elsewhere


def _mathml(node: nodes.Element, display: str) -> str:
    return convert(node.astext().replace(r"\_", "_"), display=display)  # an underscore in \text{} needs no backslash


def _inline(page: Any, node: nodes.Element) -> None:
    page.body.append(_mathml(node, "inline"))
    raise nodes.SkipNode


def _block(page: Any, node: nodes.Element) -> None:
    page.body.append(f'<div class="math">{_mathml(node, "block")}</div>')
    raise nodes.SkipNode


def setup(app: Sphinx) -> None:
    app.add_html_math_renderer("mathml", (_inline, None), (_block, None))
