"""Pictures: proportions, words that keep clear of each other, black and white, what lines show, and SVG for pages."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import xml.etree.ElementTree as ET
from itertools import combinations, pairwise
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from numpy.typing import NDArray

from system.around import around
from system.detail import predict_in_detail
from system.kit import Kit
from system.kitfile import load_kit
from system.predict import predict
from system.sheets import graph_data, graphs, ink, plots, round_plots
from system.sheets.around_graphs import angle_map, polar
from system.sheets.around_graphs import around as rounds
from system.sheets.pictures import AngleMap, Graph, Line, Picture, Polar, Shade, joined
from system.summary import level
from tests.support_cli import Run
from tests.support_kits import read_kit
from tests.test_around import PAIR, SMALL, TWO_WAY
from tests.test_cli import MARSHLIGHT

pytestmark = pytest.mark.slow  # together more than a few seconds

Floats = NDArray[np.float64]

F = np.geomspace(20.0, 20e3, 31)
SVG = "{http://www.w3.org/2000/svg}"
XLINK = "{http://www.w3.org/1999/xlink}href"


@pytest.fixture(scope="module")
def marshlight() -> tuple[Kit, list[Picture]]:
    """All pictures of one variant with lines, seats, filling and a tweeter."""
    kit = load_kit(Path(MARSHLIGHT))
    results = [predict_in_detail(kit, kit.variants["centre"], F)]
    return kit, [*graphs.predictions(kit, results), *rounds([around(kit, each) for each in results])]


def crowded() -> Graph:
    """Names, limits and marks that would all stand in the same place."""
    lines = [Line(f"line of a long name {n}", np.full(F.size, 80 + 0.1 * n)) for n in range(8)]
    limits = [("a limit", 70.0), ("nearly the same limit", 70.2), ("one more of them", 70.4), ("the highest", 84.9)]
    marks = {"from": 20.0, "first place": 100.0, "second place": 101.0, "third place": 103.0, "to": 20e3}
    shade = Shade("shaded: what may be", lines[0].values - 1, lines[0].values + 1, 200.0)
    return Graph(
        "Is there room for a question that is so long that it takes more than the one line there is?",
        "a sentence " * 40 + "and its end", "level", F, lines, limits, marks=marks, shade=shade,
    )  # fmt: skip


def inches(axes: Axes) -> tuple[float, float]:
    return axes.bbox.width / axes.figure.dpi, axes.bbox.height / axes.figure.dpi


@pytest.mark.parametrize(("kind", "vertical"), [("level", 25.0), ("level_near", 25.0), ("impedance", 1.25)])
@pytest.mark.parametrize("span", [(20.0, 20e3), (100.0, 5000.0)])
def test_proportions_on_the_page(kind: str, vertical: float, span: tuple[float, float]) -> None:
    """IEC 60263: 25 dB take the length of one decade; of impedance 1.25 decades do (from memory). Within 1 %."""
    x = np.geomspace(*span, 31)
    graph = Graph("?", ".", kind, x, [Line("a", 5 + 20 * np.exp(-(np.log(x / 300) ** 2)))])
    (axes,) = plots.draw([graph]).axes
    wide, high = inches(axes)
    (left, right), (low, top) = axes.get_xlim(), axes.get_ylim()
    upright = math.log10(top / low) if kind == "impedance" else top - low
    decade = wide / math.log10(right / left)
    assert high / (upright / vertical) == pytest.approx(decade, rel=0.01)
    assert plots.size(graph) == pytest.approx((wide, high))


def ticks(group: ET.Element, direction: str) -> list[float]:
    """Places of the major ticks of the axes in a picture's file, in its own units."""
    found = []
    for each in group.iter(f"{SVG}g"):
        if re.fullmatch(rf".*{direction}tick_\d+", each.get("id", "")):
            use = [u for u in each.iter(f"{SVG}use") if u.get("x") and "stroke" in u.get("style", "")]
            if use:
                found.append(float(use[0].get(direction, "nan")))
    return found


def test_proportions_in_the_file(run: Run, tmp_path: Path) -> None:
    """The first graph of `predict` in its SVG: ticks of 20, 50, 100 Hz ... and of 5 dB; IEC 60263, within 1 %."""
    picture = tmp_path / "level.svg"
    assert run("predict", MARSHLIGHT, "--variant", "centre", "--points", 12, "-o", picture).status == 0
    first = next(g for g in ET.parse(picture).iter(f"{SVG}g") if g.get("id") == "axes_1")
    x, y = ticks(first, "x"), ticks(first, "y")
    decade = (x[9] - x[0]) / 3  # the first and last major ticks are 20 Hz and 20 kHz
    decibels = [abs(b - a) for a, b in pairwise(y)]
    assert 5 * decibels[0] == pytest.approx(decade, rel=0.01)
    assert decibels == pytest.approx([decibels[0]] * len(decibels), rel=0.01)


def assert_legible(figure: Figure) -> None:
    """No words on words, none beyond the edge of the figure."""
    with mpl.rc_context(ink.PLAIN):  # type: ignore[arg-type]
        renderer = FigureCanvasAgg(figure).get_renderer()
        figure.draw(renderer)
    edge = figure.bbox
    for text in [t for t in figure.findobj(mpl.text.Text) if t.get_text().strip() and t.get_visible()]:
        box = text.get_window_extent(renderer)
        inside = edge.x0 - 1 <= box.x0 and box.x1 <= edge.x1 + 1 and edge.y0 - 1 <= box.y0 and box.y1 <= edge.y1 + 1
        assert inside, f"{text.get_text()!r} leaves the figure"
    above = figure.texts
    for axes in figure.axes:
        words = [t for t in (*axes.texts, *above) if t.get_text().strip() and t not in contour_labels(axes)]
        boxes = [(t, t.get_window_extent(renderer).padded(-1)) for t in words]
        for (one, a), (other, b) in combinations(boxes, 2):
            assert not a.overlaps(b), f"{one.get_text()!r} on {other.get_text()!r}"


def contour_labels(axes: Axes) -> list[object]:
    """Figures within the lines of a map, which stand where the lines have room."""
    return [t for t in axes.texts if re.fullmatch(r"[+-]\d+", t.get_text())]


def test_words_of_all_pictures_keep_clear(marshlight: tuple[Kit, list[Picture]]) -> None:
    assert_legible(plots.draw(marshlight[1]))


def test_words_keep_clear_where_all_is_crowded() -> None:
    assert_legible(plots.draw([crowded()]))


def test_every_line_has_its_own_dash() -> None:
    """Black and white: of as many lines as there are styles, no two have the same dashes in the file."""
    graph = Graph("?", ".", "level", F, [Line(str(n), np.full(F.size, 60.0 + n)) for n in range(len(ink.STYLES))])
    colours = {colour for colour, _, _ in ink.STYLES}
    dashes: dict[str, str] = {}
    for path in ET.fromstring(plots.svg(graph)).iter(f"{SVG}path"):
        style = dict(part.split(": ", 1) for part in path.get("style", "").split("; ") if ": " in part)
        if style.get("stroke") in colours and path.get("clip-path"):
            dashes.setdefault(style["stroke"], style.get("stroke-dasharray", "none"))
    assert dashes.keys() == colours
    assert len(set(dashes.values())) == len(colours)


def luma(ink_: str) -> float:
    """What black and white makes of a colour: ITU-R BT.709, on the values as they are coded."""
    return float(np.dot(to_rgb(ink_), (0.2126, 0.7152, 0.0722)))


def test_bands_of_a_map_are_told_apart_in_grey() -> None:
    """Darker the quieter, a tenth of all grey apart at least; what is louder than ahead is hatched."""
    greys = [luma(each) for each in round_plots.BANDS]
    assert min(np.diff(greys[:5])) > 0.1
    assert [hatch is not None for hatch in round_plots.HATCHING] == [False] * 5 + [True]
    assert len({str(dash) for dash in round_plots.DASHES[:-1]}) == len(round_plots.DASHES) - 1


@pytest.fixture
def pair(tmp_path: Path) -> Kit:
    more = "listening: {distance: 1.5 m}"
    variants = "{v: {cabinet: box, placement: free_standing}}"
    return read_kit(tmp_path, drivers=SMALL, hookup=PAIR, cabinets=TWO_WAY, more=more, variants=variants)


@pytest.mark.parametrize(("plane", "angle"), [("horizontal", 30), ("horizontal", -120), ("vertical", 60)])
def test_map_and_polar_show_what_is_predicted_there(pair: Kit, tmp_path: Path, plane: str, angle: int) -> None:
    """A kit that is listened to from an angle is predicted to be so much quieter there, 1e-6 dB."""
    found = around(pair, predict(pair, pair.variants["v"], F))
    more = f"listening: {{distance: 1.5 m, angle_{plane}: {angle} deg}}"
    variants = "{v: {cabinet: box, placement: free_standing}}"
    aside = read_kit(tmp_path, drivers=SMALL, hookup=PAIR, cabinets=TWO_WAY, more=more, variants=variants)
    there, ahead = (level(predict(kit, kit.variants["v"], F).pressure) for kit in (aside, pair))
    shown = angle_map(found, plane)
    np.testing.assert_allclose(shown.levels[list(shown.angles).index(angle)], there - ahead, rtol=0, atol=1e-6)
    assert shown.angles[0] == -180
    np.testing.assert_array_equal(shown.levels[0], shown.levels[-1])
    graph = polar(found, plane)
    (axes,) = plots.draw([graph]).axes
    row = list(graph.angles).index(angle)
    curves = {line.get_color(): line for line in axes.lines if line.get_transform() == axes.transData}
    for line, (colour, _, _) in zip(graph.lines, ink.STYLES, strict=False):
        nearest = int(np.argmin(np.abs(F - hertz(line.label))))
        expected = there[nearest] - ahead[nearest]
        assert line.values[row] == pytest.approx(expected, abs=1e-6)
        x, y = (np.asarray(each, float) for each in curves[colour].get_data())
        turned = np.degrees(np.arctan2(x, -y) if plane == "horizontal" else np.arctan2(y, x))
        drawn = int(np.argmin(np.abs(np.angle(np.exp(1j * np.radians(turned - angle))))))
        assert np.hypot(x, y)[drawn] + round_plots.CENTRE == pytest.approx(max(expected, round_plots.CENTRE), abs=1e-6)


def hertz(label: str) -> float:
    number, unit = label.split()
    return float(number) * {"Hz": 1.0, "kHz": 1e3}[unit]


def test_a_map_of_a_plane_that_is_known(tmp_path: Path) -> None:
    """The border of -6 dB lies where a level that falls with the angle, 0.1 dB a degree, reaches it: 60 degrees."""
    angles = np.arange(-180.0, 190.0, 10.0)
    levels = np.repeat(-0.1 * np.abs(angles)[:, None], F.size, axis=1)
    shown = AngleMap("How far?", "a test", F, angles, levels, ("left", "right"))
    assert "1 kHz: above -6 dB to 60 degrees left, 60 degrees right" in shown.alt
    (axes,) = plots.draw([shown]).axes
    contours = next(c for c in axes.collections if list(getattr(c, "levels", ())) == list(round_plots.BORDERS))
    paths = contours.get_paths()[round_plots.BORDERS.index(-6.0)]
    np.testing.assert_allclose(np.abs(paths.vertices[:, 1]), 60, atol=0.5)


def test_axes_of_somebody_else(marshlight: tuple[Kit, list[Picture]]) -> None:
    """`fill` needs no more than axes, in any figure."""
    figure = Figure(figsize=(6, 8))
    for axes, picture in zip(figure.subplots(3, 1), (marshlight[1][0], crowded(), marshlight[1][-1]), strict=True):
        plots.fill(axes, picture)
    FigureCanvasAgg(figure).draw()
    assert figure.axes[0].get_xlim() == pytest.approx((20, 20e3))


def test_svg_for_a_page(marshlight: tuple[Kit, list[Picture]]) -> None:
    """Well-formed, the same each time, told in words; names in two pictures of one page never meet."""
    level_, bands = marshlight[1][0], next(p for p in marshlight[1] if isinstance(p, AngleMap))
    texts = [plots.svg(each) for each in (level_, bands)]
    assert texts[0] == plots.svg(level_)
    names = []
    for text, picture in zip(texts, (level_, bands), strict=True):
        root = ET.fromstring(text)
        assert (root.tag, root.get("role"), root.get("aria-label")) == (f"{SVG}svg", "img", picture.alt)
        assert root[0].text == picture.question
        own = {e.get("id") for e in root.iter() if e.get("id")}
        for each in root.iter():
            if (to := each.get(XLINK)) is not None:
                assert to[1:] in own
            for at in re.findall(r"url\(#([^)]*)\)", " ".join(each.attrib.values())):
                assert at in own
        names.append(own)
    assert not names[0] & names[1]
    untitled = ET.fromstring(plots.svg(level_, titled=False))
    assert float(untitled.get("height", "")[:-2]) < float(ET.fromstring(texts[0]).get("height", "")[:-2])


def test_alternative_text() -> None:
    """Question, sentence, the extremes of each line, limits and marks."""
    values = np.array([70.0, 92.25, 60.0, np.nan])
    graph = Graph(
        "How loud?", "a test, 2.83 V", "level", np.array([20.0, 100.0, 1500.0, 2000.0]),
        [Line("woofer", values), Line("lost", np.full(4, np.nan))], [("the neighbours", 80.0)], marks={"-3 dB": 45.0},
    )  # fmt: skip
    assert graph.alt == (
        "How loud? a test, 2.83 V. woofer: lowest 60.0 dB at 1.5 kHz, highest 92.2 dB at 100 Hz. lost: not known."
        " Across: the neighbours, 80.0 dB. Marked: -3 dB, 45 Hz."
    )


def test_lines_that_are_one() -> None:
    """Alike where it is seen, and only there: one line with both names."""
    a = np.linspace(90, 20, 31)
    lines = [Line("a", a), Line("b", np.where(a < 40, a - 9, a + 0.1)), Line("c", a - 3)]
    assert [line.label for line in joined(lines, 0.15, deep=45)] == ["a, b each", "c"]
    assert [line.label for line in joined(lines, 0.15)] == ["a", "b", "c"]


def test_what_the_sentences_name(marshlight: tuple[Kit, list[Picture]]) -> None:
    """Each picture says of which variant it is; those of sound at how many volts, how far, where, how smooth."""
    for picture in marshlight[1]:
        assert "centre" in picture.sentence
        if not isinstance(picture, Graph) or picture.kind in ("level", "delay", "pressure"):
            for word in ("2.83 V", "3 m", "smoothed", "wall"):
                assert word in picture.sentence, (picture.question, word)


def test_curves_beside_the_picture(run: Run, tmp_path: Path, marshlight: tuple[Kit, list[Picture]]) -> None:
    """--csv beside -o: a table for each graph, with the values that are drawn."""
    folder = tmp_path / "curves"
    words = ("limits", MARSHLIGHT, "--variant", "wall", "--from", 20, "--to", 20000, "--points", 8, "-o")
    assert run(*words, tmp_path / "limits.png", "--csv", folder).status in (0, 1)
    named = sorted(path.name for path in (folder / "graphs").iterdir())
    assert [name[6:8] for name in named] == [f"{n:02d}" for n in range(1, len(named) + 1)]
    assert {"graph_01_what_gives_first.csv", "graph_02_how_loud_and_what_ends_it.csv"} <= set(named)
    for picture, text in zip(marshlight[1], graph_data.files(marshlight[1]).values(), strict=True):
        columns = list(zip(*csv.reader(io.StringIO(text)), strict=True))
        by_name = {column[0]: [float(cell) for cell in column[1:] if cell] for column in columns}
        if isinstance(picture, AngleMap):
            assert by_name["0 degrees (dB)"] == [0.0] * F.size
        elif isinstance(picture, Polar):
            assert by_name["angle_deg"] == list(picture.angles)
        for line in () if isinstance(picture, AngleMap) else picture.lines:
            shown = next(values for name, values in by_name.items() if name.startswith(f"{line.label} ("))
            np.testing.assert_allclose(shown, line.values[np.isfinite(line.values)])


def test_tables_of_predict(run: Run, tmp_path: Path) -> None:
    """JSON and CSV say the same of group delay and step."""
    folder = tmp_path / "tables"
    done = run("predict", MARSHLIGHT, "--variant", "centre", "--points", 7, "--csv", folder, "--json")
    data = json.loads(done.stdout)["variants"]["centre"]
    rows = list(csv.DictReader((folder / "centre.csv").read_text(encoding="utf-8").splitlines()))
    assert [float(row["group_delay_ms"]) for row in rows] == data["group_delay_ms"]
    step = data["step_response"]
    rows = list(csv.DictReader((folder / "step_response_centre.csv").read_text(encoding="utf-8").splitlines()))
    assert [float(row["time_ms"]) for row in rows] == step["time_ms"]
    assert [float(row["pressure_pa"]) for row in rows] == step["pressure_pa"]
    assert step["volts"] == 2.83
    assert set(step["parts_pa"]) == set(rows[0]) - {"time_ms", "pressure_pa"}
    assert not (folder / "graphs").exists()  # no picture was asked for
