"""Pictures: one graph per page width, stacked by the question each answers, lines labelled at their right-hand end.

Everything drawn has been computed elsewhere. What a picture is made of is in `system.sheets.pictures`, its scales in
`system.sheets.scales`; what goes all round is drawn by `system.sheets.round_plots`.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, cast
from xml.sax.saxutils import escape, quoteattr

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from system.findings import usage_error
from system.output import PICTURES, write_file
from system.sheets import round_plots, scales
from system.sheets.ink import DECADE, FAINT, HATCHES, INK, PLAIN, SHADED, Strip, apart, rule, styles, width_of, wrapped
from system.sheets.pictures import AngleMap, Floats, Graph, Line, Picture, Polar, Shade, Span
from system.sheets.scales import NEARLY, Axis, Scale

__all__ = [
    "INK",
    "AngleMap",
    "Floats",
    "Graph",
    "Line",
    "Picture",
    "Polar",
    "Shade",
    "Span",
    "draw",
    "fill",
    "save",
    "size",
    "svg",
]

LEFT, RIGHT, BELOW = 0.75, 1.45, 0.55  # inches about each graph
SAMPLE = (0.08, 0.5)  # inches to the right of the axes, where a piece of a line begins and where its name does
ABOVE, UNTITLED, ROW = 0.62, 0.38, 0.19  # above it without a title's rows, without a title, and of each row
QUESTION, SENTENCE, LABEL, WORDS = 11.0, 8.5, 8.5, 8.0  # points
STEEP = 15.0  # dB, by which a curve rises over a stretch that has room for words at its high end only


def save(pictures: Sequence[Picture] | Figure, path: Path, force: bool = False) -> None:
    """Write a figure, or pictures drawn below each other, as svg, png or pdf by the file's ending. Raises KitError."""
    kind = PICTURES.get(path.suffix.lower())
    if kind is None:
        raise usage_error(f"-o {path}", f"a picture ends in {', '.join(PICTURES)}")
    figure = pictures if isinstance(pictures, Figure) else draw(pictures)
    stamp = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {}}[kind]
    write_file(path, _written(figure, kind, stamp), force)


def _written(figure: Figure, kind: str, stamp: Mapping[str, None]) -> bytes:
    content = io.BytesIO()
    with mpl.rc_context(cast(Any, PLAIN)):
        figure.savefig(content, format=kind, dpi=110, metadata=dict(stamp), facecolor="white")
    return content.getvalue()


def svg(picture: Picture, titled: bool = True) -> str:
    """A picture as an `svg` element to stand in a page, with its words for who does not see it; the same each time.

    With `titled` false its question and sentence are left to the page. Names in it belong to it alone, so that many
    can stand in one page.
    """
    stamp = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    text = _written(draw([picture], titled), "svg", stamp).decode()
    text = text[text.index("<svg ") :].strip()
    own = f"g{hashlib.sha256(f'{picture.alt}{text}'.encode()).hexdigest()[:10]}-"
    text = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{own}", text)
    start, rest = text.split(">", 1)
    told = f' role="img" aria-label={quoteattr(picture.alt)}>'
    return f"{start}{told}<title>{escape(picture.question)}</title>{rest}"


def draw(pictures: Sequence[Picture], titled: bool = True) -> Figure:
    """A figure with the pictures stacked, each with its question and sentence (unless not `titled`) and its axes."""
    with mpl.rc_context(cast(Any, PLAIN)):
        page = max(3.0 * DECADE, *(size(picture)[0] for picture in pictures))
        right = max(RIGHT, *(_beside(picture, page) for picture in pictures))
        width = LEFT + page + right
        titles = [_title(picture, width - 0.4) if titled else [] for picture in pictures]
        heads = [ABOVE + ROW * len(title) if title else UNTITLED for title in titles]
        total = sum(head + _high(picture) + BELOW for head, picture in zip(heads, pictures, strict=True))
        figure = Figure(figsize=(width, total))
        top = total
        for picture, title, head in zip(pictures, titles, heads, strict=True):
            for n, (words, points, weight) in enumerate(title):
                row = top - 0.33 - ROW * n - (0.07 if weight == "normal" else 0.0)
                figure.text(
                    0.2 / width, row / total, words, fontsize=points, fontweight=weight, color=INK, va="baseline"
                )
            wide, high = _wide(picture, page), _high(picture)
            top -= head
            fill(figure.add_axes((LEFT / width, (top - high) / total, wide / width, high / total)), picture)
            top -= high + BELOW
        return figure


def _title(picture: Picture, width: float) -> list[tuple[str, float, str]]:
    """The rows above a picture: words, size and weight."""
    question = wrapped(picture.question, QUESTION, width, bold=True)
    sentence = wrapped(picture.sentence, SENTENCE, width)
    return [*((row, QUESTION, "bold") for row in question), *((row, SENTENCE, "normal") for row in sentence)]


def _wide(picture: Picture, page: float) -> float:
    return page if isinstance(picture, Graph) and scales.upright(picture).fills_page else size(picture)[0]


def _high(picture: Picture) -> float:
    return size(picture)[1]


def _beside(picture: Picture, page: float) -> float:
    """What a picture needs to the right of the page's axes for its words, inches."""
    if isinstance(picture, AngleMap):
        return 0.5 + max(width_of(words, LABEL) for words in round_plots.BAND_WORDS)
    widest = max((width_of(line.label, LABEL) for line in picture.lines), default=0.0)
    if isinstance(picture, Graph):
        return SAMPLE[1] + widest + 0.25
    return max(0.0, round_plots.ROUND + 1.25 + widest - page)


def size(picture: Picture) -> tuple[float, float]:
    """Width and height, inches, that the axes of a picture have: what gives them their proportions.

    25 dB of level or 1.25 decades of impedance take the length of one decade of frequency.
    """
    return _SIZES[type(picture)](picture)


def fill(axes: Axes, picture: Picture) -> None:
    """Draw a picture, without its question and sentence, onto axes of any figure; `size` gives them its proportions."""
    _FILLS[type(picture)](axes, picture)


def _graph_size(graph: Graph) -> tuple[float, float]:
    scale = scales.upright(graph)
    proportioned = graph.across == "frequency" and not scale.fills_page
    decades = float(np.log10(graph.x[-1] / graph.x[0])) if proportioned else 3.0
    return decades * DECADE, scale.decades * DECADE


def _fill_graph(axes: Axes, graph: Graph) -> None:
    across, upright = scales.across(graph.across, float(graph.x[0]), float(graph.x[-1])), scales.upright(graph)
    rule(axes, "x", across)
    rule(axes, "y", upright)
    if graph.band is not None:
        axes.axvspan(*graph.band, facecolor="none", edgecolor=FAINT, hatch="////", linewidth=0)
    if graph.shade is not None:
        _shade(axes, graph, graph.shade)
    if graph.spans:
        _spans(axes, graph, across, upright)
    dots = "o" if graph.across == "counts" else None  # a place between two of them is none
    for (colour, dash, weight), line in zip(styles(len(graph.lines)), graph.lines, strict=True):
        x = graph.x if line.x is None else line.x
        axes.plot(
            x, line.values, color=colour, linestyle=dash, linewidth=weight, marker=dots, markersize=4,
            solid_capstyle="round",
        )  # fmt: skip
    _limits(axes, graph, upright)
    _marks(axes, graph, across)
    _label_ends(axes, graph, upright)
    axes.grid(True, which="major", color="#d9d9d2", linewidth=0.7)
    axes.grid(True, which="minor", color="#ecece6", linewidth=0.5)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.annotate(
        upright.words, (0.0, 1.0), xycoords="axes fraction", xytext=(0, 8), textcoords="offset points", ha="right",
        va="bottom", fontsize=9, annotation_clip=False,
    )  # fmt: skip


# How large each kind of picture is and how it is filled in.
_SIZES: Mapping[type, Callable[[Any], tuple[float, float]]] = {
    Graph: _graph_size,
    AngleMap: round_plots.map_size,
    Polar: round_plots.polar_size,
}
_FILLS: Mapping[type, Callable[[Axes, Any], None]] = {
    Graph: _fill_graph,
    AngleMap: round_plots.fill_map,
    Polar: round_plots.fill_polar,
}


def _inches(axes: Axes) -> tuple[float, float]:
    dpi = axes.figure.dpi
    return axes.bbox.width / dpi, axes.bbox.height / dpi


def _shade(axes: Axes, graph: Graph, shade: Shade) -> None:
    """The area, and a line to it from its words, which stand in the free space at the top of the graph."""
    axes.fill_between(graph.x, shade.lowest, shade.highest, color=SHADED, linewidth=0, zorder=1.5)
    i = int(np.abs(graph.x - shade.at).argmin())
    axes.annotate(
        shade.label, (graph.x[i], shade.highest[i]), xytext=(0.015, 0.985), textcoords="axes fraction", va="top",
        fontsize=WORDS, color=INK, arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.7, "relpos": (0.03, 0)},
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3, "alpha": 0.75},
    )  # fmt: skip


def _spans(axes: Axes, graph: Graph, across: Axis, upright: Scale) -> None:
    """Each stretch in the hatching of its kind; what it means stands upright in the widest that means the same."""
    curve = graph.lines[0].values
    kinds = list(dict.fromkeys(span.kind for span in graph.spans))
    for span in graph.spans:
        inside = (graph.x >= span.start * NEARLY) & (graph.x <= span.stop / NEARLY)
        axes.fill_between(
            graph.x[inside], upright.low, curve[inside], facecolor="none", edgecolor=FAINT,
            hatch=HATCHES[kinds.index(span.kind) % len(HATCHES)], linewidth=0,
        )  # fmt: skip
    strip = Strip(0.15)
    for label, place in _span_words(graph):
        wide, high = _inches(axes)
        at = across.at(place) * wide
        _, start = strip.put(at + strip.thick / 2, width_of(label, WORDS), ("left",))
        axes.text(
            place, (start + 0.08) / high, label, rotation=90, va="bottom", ha="center", fontsize=WORDS, color=INK,
            transform=axes.get_xaxis_transform(),
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.85},
        )  # fmt: skip


def _span_words(graph: Graph) -> Iterator[tuple[str, float]]:
    """What stretches mean, and where in the widest that means the same there is room."""
    curve = graph.lines[0].values
    for label in dict.fromkeys(span.label for span in graph.spans):
        widest = max((s for s in graph.spans if s.label == label), key=lambda s: s.stop / s.start)
        first, last = np.interp([widest.start, widest.stop], graph.x, curve)
        towards = 0.85 if last > first + STEEP else 0.15 if first > last + STEEP else 0.5
        yield label, widest.start * (widest.stop / widest.start) ** towards


def _limits(axes: Axes, graph: Graph, upright: Scale) -> None:
    """Level lines across, each with its words above its right-hand end, moved up where words would touch."""
    seen = [(label, value) for label, value in graph.limits if upright.low < value < upright.high]
    tall = _inches(axes)[1]
    wanted = [upright.at(value) * tall + 0.03 for _, value in seen]
    for (label, value), at in zip(seen, apart(wanted, 0.14, tall), strict=True):
        axes.axhline(value, color=INK, linewidth=0.9)
        axes.text(
            0.995, at / tall, label, transform=axes.transAxes, va="bottom", ha="right", fontsize=WORDS, color=INK,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3, "alpha": 0.75},
        )  # fmt: skip


def _marks(axes: Axes, graph: Graph, across: Axis) -> None:
    """Dotted lines upright, with words beside them that keep clear of each other."""
    wide, tall = _inches(axes)
    strip = Strip(0.14)
    for label, place in sorted(graph.marks.items(), key=lambda mark: mark[1]):
        if graph.x[0] * NEARLY <= place <= graph.x[-1] / NEARLY:
            axes.axvline(place, color=INK, linewidth=0.7, linestyle=(0, (1, 3)))
            at = across.at(place) * wide
            sides = [s for s, room in (("left", at), ("right", wide - at)) if room >= strip.thick]
            side, start = strip.put(at, width_of(label, 7.5), sides)
            axes.text(
                place, (start + 0.06) / tall, label, transform=axes.get_xaxis_transform(), rotation=90, va="bottom",
                ha={"left": "right", "right": "left"}[side], fontsize=7.5, color=INK,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3, "alpha": 0.75},
            )  # fmt: skip


def _label_ends(axes: Axes, graph: Graph, upright: Scale) -> None:
    """Each line's name beside its last visible value, after a piece of the line; apart where names would touch."""
    tall = _inches(axes)[1]
    wanted = []
    for line in graph.lines:
        known = line.values[np.isfinite(line.values)]
        last = min(max(upright.at(float(known[-1])), 0.0), 1.0) if known.size else 0.0
        wanted.append(last * tall)
    places = apart(wanted, 0.15, tall)
    first, name = SAMPLE
    for (colour, dash, weight), line, at in zip(styles(len(graph.lines)), graph.lines, places, strict=True):
        axes.annotate(
            "", (1.0, at / tall), xycoords="axes fraction", xytext=(72 * (name - 0.06), 0), textcoords="offset points",
            arrowprops={"arrowstyle": "-", "color": colour, "linestyle": dash, "linewidth": weight, "shrinkA": 0,
                        "shrinkB": 72 * first}, annotation_clip=False,
        )  # fmt: skip
        axes.annotate(
            line.label, (1.0, at / tall), xycoords="axes fraction", xytext=(72 * name, 0), textcoords="offset points",
            va="center", fontsize=LABEL, color=colour, annotation_clip=False,
        )  # fmt: skip
