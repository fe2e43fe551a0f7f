"""Lines from the inside, against the modes and the Green's function of a straight tube, and the graph of them."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from system.along import LinePressure
from system.detail import predict_in_detail
from system.kit import Kit
from system.predict import Prediction, predict
from system.sheets import data, graphs, plots, texts
from tests.support_kits import read_kit

RHO, C, SD = 1.2041, 343.21, 88e-4
AREA, LENGTH = 120e-4, 1.2
F = np.geomspace(20, 2000, 20)
STRAIGHT = "[{length: 1200 mm, area: 120 cm2}]"
TWO = "{a: {driver: woofer, plus: in, minus: common}, b: {driver: woofer, plus: in, minus: common}}"


def line(drivers: str, mouth: str = "mouth: {end: ideal}", profile: str = STRAIGHT, walls: str = "lossy") -> str:
    chamber = f"kind: line, profile: {profile}, drivers: {drivers}, {mouth}, walls: {walls}"
    return f"{{box: {{chambers: [{{{chamber}}}]}}}}"


def detailed(folder: Path, **pieces: str) -> tuple[Kit, Prediction]:
    kit = read_kit(folder, **pieces)
    return kit, predict_in_detail(kit, next(iter(kit.variants.values())), F)


def lines(result: Prediction) -> tuple[LinePressure, ...]:
    assert result.detail is not None
    return result.detail.lines


def only(folder: Path, **pieces: str) -> LinePressure:
    (found,) = lines(detailed(folder, **pieces)[1])
    return found


def test_resonances_and_pressure_of_a_straight_tube(tmp_path: Path) -> None:
    """(2n - 1) c/4L, closed at one end and ideally open at the other, and pressure cos(k x) driven from the former.

    Kinsler & Frey, Fundamentals of Acoustics (from memory); lossless walls, as well as the resonance is found.
    """
    found = only(tmp_path, cabinets=line("{woofer: 0 mm}", walls="lossless"))
    assert found.resonances == pytest.approx([n * C / (4 * LENGTH) for n in (1, 3, 5)], rel=1e-6)
    assert found.chamber == 0
    assert found.drivers == {"woofer": 0.0}
    assert found.mouths == pytest.approx({"mouth": LENGTH})
    assert found.bends == ()
    assert found.places[[0, -1]] == pytest.approx([0, LENGTH])
    assert np.diff(found.places).max() < LENGTH / 199
    for n, levels in zip((1, 3, 5), found.levels, strict=True):
        assert levels.max() == 0.0
        expected = np.abs(np.cos(n * math.pi / 2 * found.places / LENGTH))
        np.testing.assert_allclose(10 ** (levels / 20), expected, atol=1e-6)
        assert levels[-1] < -200  # no pressure where the air is free


@pytest.mark.parametrize("drive", ["woofer: 0 mm", "woofer: 400 mm", "woofer: 730 mm"])
def test_no_pressure_in_an_ideal_mouth(drive: str, tmp_path: Path) -> None:
    found = only(tmp_path, cabinets=line(f"{{{drive}}}"))
    size = np.abs(found.pressure)
    assert np.all(size[:, -1] < 1e-9 * size.max(axis=1))


def flow(kit: Kit, hertz: float) -> float:
    """Volume velocity of the woofer, m3/s rms, from the excursion that a prediction of its own tells."""
    excursion = predict(kit, next(iter(kit.variants.values())), np.array([hertz])).drivers["woofer"].excursion
    assert excursion is not None
    return float(2 * math.pi * hertz * excursion[0] / math.sqrt(2) * SD)


def test_a_driver_at_a_third_does_not_excite_the_second_mode(tmp_path: Path) -> None:
    """It sits where that mode has no pressure. From the tube's Green's function (Morse & Ingard, Theoretical Acoustics,
    1968), p = j Z q cos(k x<) sin(k (L - x>))/cos(k L), Z = rho c/S: with x = L/3 and k L -> 3 pi/2 both ends of the
    fraction vanish and 2/3 Z q is left at the closed end, 1/3 Z q beyond the driver, nothing at it. Walls: 0.1 %.
    """
    kit, result = detailed(tmp_path, cabinets=line("{woofer: 400 mm}"))
    (found,) = lines(result)
    unit = RHO * C / AREA * flow(kit, found.resonances[1])
    size = np.abs(found.pressure[1])
    beyond = found.places > 0.4
    assert size[0] / unit == pytest.approx(2 / 3, rel=1e-3)
    assert size[beyond].max() / unit == pytest.approx(1 / 3, rel=1e-3)
    assert size[np.abs(found.places - 0.4).argmin()] / unit < 0.005
    # at the closed end it would: 1/|cos(k L)| is then all that the walls leave
    kit, result = detailed(tmp_path, cabinets=line("{woofer: 0 mm}"))
    (other,) = lines(result)
    assert np.abs(other.pressure[1]).max() > 50 * RHO * C / AREA * flow(kit, other.resonances[1])


def test_two_drivers_drive_a_line_together(tmp_path: Path) -> None:
    """Superposition: a pair at one place is one driver of twice the size there, whichever is named first."""
    twice = "{re: 2.8 ohm, bl: 6.3 T.m, mms: 19 g, cms: 0.55 mm/N, rms: 1.7 kg/s, sd: 176 cm2}"
    pair = only(tmp_path, cabinets=line("{b: 300 mm, a: 300 mm}"), hookup=TWO)
    one = only(tmp_path, cabinets=line("{woofer: 300 mm}"), drivers=f"{{woofer: {twice}}}")
    np.testing.assert_allclose(pair.pressure, one.pressure, rtol=1e-6, atol=1e-9 * np.abs(one.pressure).max())
    assert pair.drivers == pytest.approx({"b": 0.3, "a": 0.3})


def test_the_drive_counts_once(tmp_path: Path) -> None:
    """Twice the volts are twice the pressure, at the same level below its largest."""
    kit = read_kit(tmp_path, cabinets=line("{woofer: 100 mm}"))
    variant = kit.variants["v"]
    (low,), (high,) = (lines(predict_in_detail(kit, variant, F, volts)) for volts in (2.0, 4.0))
    np.testing.assert_allclose(high.pressure, 2 * low.pressure, rtol=1e-12)
    np.testing.assert_allclose(high.levels, low.levels, atol=1e-9)


FOLDED = (
    "[{length: 500 mm, width: 150 mm, depth: 100 mm}, {bend: 180 deg, inner_radius: 9 mm, depth: 100 mm,"
    " width: 150 mm}, {length: 500 mm, width: 150 mm, depth: 100 mm}]"
)


def test_a_bend_acts_shorter_than_its_centre_line(tmp_path: Path) -> None:
    """pi (9 + 50) mm along the centre. At low frequency air goes as 1/r (Rostafinski, NASA RP-1248, 1991): the mass is
    between across/(r_mean ln(r2/r1)) of the centre line's and all of it, and the delay goes as its square root.
    """
    kit, result = detailed(tmp_path, cabinets=line("{woofer: 60 mm}", profile=FOLDED))
    (found,) = lines(result)
    (bend,) = found.bends
    assert bend.section == 1
    assert bend.centre == pytest.approx(math.pi * 0.059)
    least = 0.1 / (0.059 * math.log(109 / 9))
    assert math.sqrt(least) * bend.centre < bend.acts < bend.centre
    straight = FOLDED.replace("bend: 180 deg, inner_radius: 9 mm", f"length: {math.pi * 59!r} mm")
    plain = only(tmp_path, cabinets=line("{woofer: 60 mm}", profile=straight))
    assert found.resonances[0] > plain.resonances[0]  # the same air, and less mass
    text = " ".join(texts.predictions(kit, [result]).split())
    assert "the bend in profile.1, 185 mm along its centre, acts as" in text


def test_mouths_and_drivers_are_named_where_they_are(tmp_path: Path) -> None:
    mouths = "mouths: [{end: flanged}, {at: 700 mm, port: {diameter: 40 mm, length: 50 mm}}]"
    kit, result = detailed(tmp_path, cabinets=line("{b: 350 mm, a: 90 mm}", mouths), hookup=TWO)
    (found,) = lines(result)
    assert found.drivers == pytest.approx({"b": 0.35, "a": 0.09})
    assert found.mouths == pytest.approx({"mouth": 1.2, "mouth2": 0.7})
    graph = next(g for g in graphs.predictions(kit, [result]) if g.question == "Where along the line is the pressure?")
    assert dict(graph.marks) == pytest.approx({"b": 350, "a": 90, "mouth": 1200, "mouth2": 700})
    assert [label.label.split(",")[0] for label in graph.lines] == ["first", "second", "third"]
    drawn = plots.draw(graphs.predictions(kit, [result]))
    words = [text.get_text().strip() for axes in drawn.axes for text in axes.texts]
    assert {"a", "b", "mouth", "mouth2"} <= set(words)


def test_a_box_has_no_line(tmp_path: Path) -> None:
    cabinets = "{box: {chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]}}"
    assert lines(detailed(tmp_path, cabinets=cabinets)[1]) == ()


def test_a_silent_line_has_resonances_and_no_pressure(tmp_path: Path) -> None:
    kit, result = detailed(
        tmp_path,
        cabinets=line("{woofer: 60 mm}"),
        parts="{C1: {capacitor: 220 uF, between: [in, w]}}",
        hookup="{woofer: {driver: woofer, plus: w, minus: common}}",
        variants="{v: {cabinet: box, reason: on the bench, parts: {C1: omit}}}",
    )
    document = json.loads(data.document(kit.name, (), v=data.prediction(result)))["v"]
    (found,) = document["lines"]
    assert len(found["resonances_hz"]) == 3
    assert {level for levels in found["pressure_db"] for level in levels} == {None}
    mouth = document["openings"]["mouth"]
    assert (mouth["volts_at_limit"], mouth["at_hz"]) == (None, None)
    questions = [graph.question for graph in graphs.predictions(kit, [result])]
    assert "Where along the line is the pressure?" not in questions
