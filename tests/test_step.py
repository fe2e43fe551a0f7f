"""The step of the baffle: its limits in closed form, a sphere, a shelf by quadrature, and the value by brute force."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad

from system import summary
from system.build import build
from system.examples import scenarios
from system.findings import KitError
from system.kit import Kit, Variant
from system.kitfile import load_kit
from system.predict import predict
from system.sheets import step_data, step_texts
from system.step import CLOUD, FREQUENCIES, Setting, Step, Unjudged, step
from system.transfer import transfer
from tests.support_diffraction import point_on_sphere
from tests.support_kits import read_kit

Floats = NDArray[np.float64]

HERE = Path(__file__).parent
MARSHLIGHT = scenarios() / "marshlight" / "kit.yaml"
SMALL = HERE / "wrong" / "format.yaml"  # a small good kit but for its format
# IEC 60063:2015, table 1, the series E12
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
C = 343.21  # m/s, of these kits
OWN = 4  # ohm, of the flat driver below


def found(kit: Kit, name: str) -> Step | Unjudged:
    model = build(kit, kit.variants[name])
    return step(model, transfer(model, summary.GRID))


def judged(kit: Kit, name: str) -> Step:
    result = found(kit, name)
    assert isinstance(result, Step), result
    return result


def setting(kit: Kit, name: str) -> Setting:
    result = judged(kit, name).setting
    assert result is not None
    return result


def flat_kit(folder: Path, place: str = "in_wall", side: int = 200, more: str = "", parts: str = "{}") -> Kit:
    """One point-like driver, level and resistive by its tables, in the middle of a cube of `side` mm."""
    for file, value in (("z.txt", OWN), ("p.txt", 90)):
        rows = [f"{hertz} {value} 0\n" for hertz in (5, 50, 500, 5000, 30000)]
        (folder / file).write_text("".join(rows), encoding="utf-8")
    half = f"{side / 2} mm"
    return read_kit(
        folder,
        drivers="{d: {role: midrange, re: 3 ohm, impedance: z.txt, response: {file: p.txt, phase: measured}}}",
        parts=f"{parts}{more}",
        hookup=f"{{d: {{driver: d, plus: {'in' if parts == '{}' else 'a'}, minus: common}}}}",
        cabinets=f"{{box: {{baffle: {{width: {side} mm, height: {side} mm, depth: {side} mm}},"
        f" cutouts: {{d: [{half}, {half}]}}}}}}",
        variants=f"{{v: {{cabinet: box, placement: {place}}}}}",
    )


def heard_from(kit: Kit, distance: str) -> Kit:
    return load_kit(kit.path, [f"listening.distance={distance}"])


# ---- the placement's share


def test_in_a_wall_there_is_no_step(tmp_path: Path) -> None:
    """The half-space is what everything is held against: exactly nothing is left."""
    for kit, name in ((load_kit(MARSHLIGHT), "centre"), (flat_kit(tmp_path), "v")):
        result = judged(kit, name)
        assert (result.step, result.gain_low, result.gain_high) == (0.0, 0.0, 0.0)
        assert not result.placed.any()
        assert result.needed == -result.correction
    assert result.needed == pytest.approx(0, abs=1e-9)  # a flat driver without a board


def test_a_free_standing_cube_has_the_whole_step_at_low_frequency(tmp_path: Path) -> None:
    """20 log10(1/2) = -6.02 dB where the cabinet is nothing beside the wave (any text on monopoles).

    A cube of 80 mm at 50 Hz has k a of 0.05; its front wall lies 40 mm in front of the middle of what radiates, which
    at 5 m is 20 log10(5/5.04) = 0.07 dB.
    """
    result = judged(heard_from(flat_kit(tmp_path, "free_standing", 80), "5 m"), "v")
    assert result.placed[0] == pytest.approx(-20 * math.log10(2), abs=0.1)
    assert result.placed.min() > -6.2
    assert result.placed[0] == pytest.approx(result.placed.min(), abs=0.02)  # it rises from there


@pytest.mark.parametrize("side", [200, 300])
def test_a_cube_is_like_a_sphere_of_its_volume_below_the_step(tmp_path: Path, side: int) -> None:
    """Morse & Ingard 1968, section 7.2: a point on a rigid sphere, heard on its axis, over the same in a wall.

    What its volume makes alike is the shift of the acoustic centre; the shapes part above: 0.35 dB up to k a = 0.6,
    more than ten times as near as the step is high.
    """
    result = judged(heard_from(flat_kit(tmp_path, "free_standing", side), "4 m"), "v")
    radius = side / 1000 * (3 / (4 * math.pi)) ** (1 / 3)
    k = 2 * math.pi * result.frequency / C
    below = k * radius < 0.6
    expected = [20 * math.log10(abs(point_on_sphere(each, radius, 4 + radius, np.ones(1))[0]) * 4) for each in k[below]]
    assert np.count_nonzero(below) > 20
    assert result.placed[below] == pytest.approx(expected, abs=0.35)


@pytest.mark.parametrize("side", [150, 250, 400])
def test_half_of_the_step_lies_about_where_builders_say(tmp_path: Path, side: int) -> None:
    """115 Hz over the width in metres (common practice after Olson, JAES 17(1), 1969), a check of the size only."""
    result = judged(flat_kit(tmp_path, "free_standing", side), "v")
    half = result.frequency[np.argmax(result.placed > -3.01)]
    assert abs(math.log2(half / (115 / (side / 1000)))) < 0.75


@pytest.mark.parametrize(
    ("place", "gain"),
    [
        ("{wall_behind: 0 m}", 0),
        ("on_floor", 0),
        ("{wall_behind: 0 m, below: 0 m}", 6.0206),
        ("{wall_behind: 0 m, below: 0 m, wall_left: 0 m}", 12.0412),
    ],
)
def test_every_plane_that_it_touches_doubles_the_pressure_at_low_frequency(
    tmp_path: Path, place: str, gain: float
) -> None:
    """Half, quarter and eighth of space: 6.02 dB each (Waterhouse, JASA 30(1), 1958; images).

    A cube of 80 mm at 50 Hz: images up to 0.25 m apart are late by up to 0.23 rad, which is 20 log10 cos(0.115) =
    -0.06 dB for each plane, and the ways differ by up to 0.25 m in 5 m.
    """
    result = judged(heard_from(flat_kit(tmp_path, place, 80), "5 m"), "v")
    assert result.placed[0] == pytest.approx(gain, abs=0.45)


def test_what_is_needed_is_what_is_heard_about_the_seat() -> None:
    """By another way: predictions at each point, their power averaged, the low range's level against the high one's."""
    kit = load_kit(MARSHLIGHT)
    for name in ("centre", "wall"):
        result = judged(kit, name)
        assert result.points == len(CLOUD)
        assert result.needed == pytest.approx(heard(kit, kit.variants[name], result.low)[0], abs=0.02)


def heard(kit: Kit, variant: Variant, low: tuple[float, float]) -> tuple[float, float | None]:
    """The level of the high range less that of the low one, predicted on a grid of its own; the lowest impedance."""
    frequency = np.geomspace(90, 4500, 700)
    powers, figures = [], None
    for sideways, upward in CLOUD:
        listening = replace(
            variant.listening, angle_horizontal=math.radians(sideways), angle_vertical=math.radians(upward)
        )
        turned = replace(variant, listening=listening)
        each = predict(kit, turned, frequency, 1.0, figures)
        figures = each.summary
        powers.append(np.abs(each.pressure) ** 2)
    mean = np.mean(powers, axis=0)
    levels = []
    for first, last in (low, (1000.0, 4000.0)):
        x = np.linspace(math.log(first), math.log(last), 2001)
        levels.append(10 * math.log10(np.mean(np.interp(x, np.log(frequency), mean))))
    assert figures is not None
    return levels[1] - levels[0], figures.lowest_impedance_ohm


# ---- the board's share


PARALLEL = "R1: {resistor: %s, between: [in, a]}, L1: {coil: 1 mH, between: [in, a]}"  # a shelf, over 4 ohm


def shelf(resistance: float, coil: float = 1e-3) -> Callable[[float], float]:
    """|R0/(R0 + Z)|^2 over frequency, Z = jwL R/(R + jwL): level below, and R0/(R0 + R) of the volts above."""

    def power(frequency: float) -> float:
        reactance = 2j * math.pi * frequency * coil
        return abs(OWN / (OWN + reactance * resistance / (resistance + reactance))) ** 2

    return power


def mean(power: Callable[[float], float], low: float, high: float) -> float:
    """Its mean over ln f in dB, by quadrature (QUADPACK)."""
    whole, _ = quad(lambda x: power(math.exp(x)), math.log(low), math.log(high), epsabs=1e-10)
    return 10 * math.log10(whole / math.log(high / low))


def correction(resistance: float) -> float:
    power = shelf(resistance)
    return mean(power, 100, 300) - mean(power, 1000, 4000)


@pytest.mark.parametrize("resistance", [1.0, 4.7, 22.0])
def test_a_shelf_in_a_wall_is_its_own_correction(tmp_path: Path, resistance: float) -> None:
    kit = flat_kit(tmp_path, parts=f"{{{PARALLEL % f'{resistance} ohm'}}}")
    result = judged(kit, "v")
    assert (result.low, result.high) == ((100, 300), (1000, 4000))  # a flat driver has no -3 dB point
    assert result.correction == pytest.approx(correction(resistance), abs=0.005)
    assert result.needed == pytest.approx(-correction(resistance), abs=0.005)
    assert result.scatter == pytest.approx(0, abs=1e-6)  # a point in a wall sounds alike all round
    assert result.place is None


def test_a_tilted_target_asks_for_its_tilt_between_the_ranges(tmp_path: Path) -> None:
    """The middles (in log f) of 100 to 300 Hz and 1 to 4 kHz are log2(2000/173.2) = 3.529 octaves apart."""
    path = flat_kit(tmp_path).path
    result = judged(load_kit(path, ["revalue={target: {tilt: -1 dB}}"]), "v")
    assert result.asked == pytest.approx(math.log2(2000 / math.sqrt(100 * 300)), abs=1e-9)
    assert result.needed == pytest.approx(result.asked, abs=1e-6)
    (tmp_path / "t.txt").write_text(
        "".join(f"{hertz} {decibels}\n" for hertz, decibels in ((150, 3), (300, 3), (1e3, 0), (2e3, 0), (9e3, 0)))
    )
    settings = ["revalue={target: {file: t.txt}, from: 300 Hz, to: 9 kHz}"]
    assert judged(load_kit(path, settings), "v").asked == pytest.approx(3)  # level beyond the table's ends


def test_the_value_that_a_tilt_asks_for_by_quadrature(tmp_path: Path) -> None:
    """All of E12 from a quarter to four times, each by the closed form: the one nearest to 1 dB an octave."""
    kit = flat_kit(tmp_path, parts=f"{{{PARALLEL % '2.2 ohm'}}}")
    asked = math.log2(2000 / math.sqrt(100 * 300))
    kit = load_kit(kit.path, ["crossover.step_set_by=R1", "revalue={target: {tilt: -1 dB}}"])
    values = [v for v in (m * 10**d for d in (-1, 0) for m in E12) if 2.2 / 4 * 0.999 < v < 2.2 * 4 * 1.001]
    result = setting(kit, "v")
    assert [each.value for each in result.tried] == pytest.approx(values)
    left = [asked - correction(value) for value in values]
    assert [each.needed for each in result.tried] == pytest.approx(left, abs=0.005)
    best = min(values, key=lambda value: abs(asked - correction(value)))
    assert result.best.value == pytest.approx(best)
    assert result.own.value == pytest.approx(2.2)
    # |Z + 4 ohm| is least where the coil bridges the resistor: at 10 Hz it is 4 ohm and next to nothing
    assert result.best.lowest == pytest.approx(4.0, abs=0.01)
    level = mean(shelf(best), 300, 3000) - mean(shelf(2.2), 300, 3000)
    assert result.best.level - result.own.level == pytest.approx(level, abs=0.005)


# ---- which value


def brute(
    kit: Path, variant: str, part: str, values: list[tuple[float, str]], *settings: str
) -> Iterator[tuple[float, float, float]]:
    """Value, what is still needed, lowest impedance, of the kit written with each value and predicted anew."""
    low = judged(load_kit(kit, settings), variant).low
    for value, text in values:
        each = load_kit(kit, [*settings, f"variants.{variant}.parts.{part}={text}"])
        needed, lowest = heard(each, each.variants[variant], low)
        assert lowest is not None
        yield value, needed, lowest


@pytest.mark.parametrize(("variant", "lowest"), [("centre", 3.2), ("wall", 3.2), ("centre", 3.45)])
def test_the_value_chosen_is_that_of_trying_them_all(variant: str, lowest: float) -> None:
    """Of the example's coil: every E12 value from a quarter to four times its own that keeps the lowest load.

    Where the kit's own coil does not keep it, its own lowest impedance is what may not be passed.
    """
    settings = [f"amplifier.lowest_load={lowest} ohm"]
    kit = load_kit(MARSHLIGHT, settings)
    own = kit.variants[variant].places["L1"].part.value
    every = [m * 10**d for d in (-1, 0) for m in E12]
    values = [(v / 1e3, f"{v:g} mH") for v in every if own / 4 * 0.999 < v / 1e3 < own * 4 * 1.001]
    tried = list(brute(MARSHLIGHT, variant, "L1", values, *settings))
    chosen = setting(kit, variant)
    assert [each.value for each in chosen.tried] == pytest.approx([value for value, _, _ in tried])
    assert [each.needed for each in chosen.tried] == pytest.approx([needed for _, needed, _ in tried], abs=0.02)
    assert [each.lowest for each in chosen.tried] == pytest.approx([ohm for _, _, ohm in tried], rel=1e-6)
    drawn = next(ohm for value, _, ohm in tried if value == pytest.approx(own))
    kept = [each for each in tried if each[2] >= min(lowest, drawn) * (1 - 1e-9)]
    assert chosen.best.value == pytest.approx(min(kept, key=lambda each: abs(each[1]))[0])


def test_a_better_value_that_passes_the_lowest_load_is_told_and_not_taken() -> None:
    """A coil that is far too small: larger ones have lower impedance here, so the best of all is barred."""
    settings = ["variants.wall.parts.L1=0.33 mH", "amplifier.lowest_load=3.42 ohm"]
    result = judged(load_kit(MARSHLIGHT, settings), "wall")
    chosen = result.setting
    assert chosen is not None
    assert chosen.barred is not None
    assert chosen.barred.lowest is not None
    assert chosen.barred.lowest < 3.42 <= (chosen.best.lowest or 0)
    assert abs(chosen.barred.needed) < abs(chosen.best.needed) < abs(chosen.own.needed)
    text = step_texts.step_text(result)
    assert "below the 3.42 ohm that it may not fall under" in text
    assert "that keeps the lowest load comes within 1 dB" in text


def test_stock_that_has_run_out_is_not_proposed(tmp_path: Path) -> None:
    text = "kind,value,in_stock,dc_resistance\ncoil,0.47 mH,0,0.2 ohm\ncoil,0.56 mH,3,0.5 ohm\ncoil,5.6 mH,1,1 ohm\n"
    for name in ("kit.yaml", "dome-impedance.txt", "dome-response.txt"):
        (tmp_path / name).write_bytes((MARSHLIGHT.parent / name).read_bytes())
    (tmp_path / "stock.csv").write_text(text, encoding="utf-8")
    kit = load_kit(tmp_path / "kit.yaml", ["stock.coils=stock.csv"])
    chosen = setting(kit, "centre")
    assert [each.value for each in chosen.tried] == pytest.approx([0.56e-3, 0.68e-3])  # the third is too far away
    assert chosen.best.value == pytest.approx(0.56e-3)
    # its own wire counts, 0.26 ohm more than the kit's coil has; the ranges are those of the kit as drawn, and with the
    # coil as typed the -3 dB point is 0.5 Hz away
    as_typed = load_kit(kit.path, ["variants.centre.parts.L1={coil: 0.56 mH, dc_resistance: 0.5 ohm}"])
    assert chosen.best.needed == pytest.approx(judged(as_typed, "centre").needed, abs=0.01)
    as_wired = load_kit(kit.path, ["variants.centre.parts.L1={coil: 0.56 mH}"])
    assert abs(chosen.best.needed - judged(as_wired, "centre").needed) > 0.1


# ---- where nothing can be said


def small(*settings: str) -> Kit:
    return load_kit(SMALL, ["format=1", *settings])


def test_why_nothing_is_judged() -> None:
    for change, why in (
        ("hookup={tweeter: omit}", "only woofers are hooked up"),
        ("hookup={woofer_a: omit}", "its bass ends too near to 300 Hz"),
        ("parts={C1: omit, C3: omit}", "nothing is heard"),
    ):
        settings = [f"variants.shelf.{change}", "variants.shelf.reason=to see what is told"]
        result = found(small(*settings), "shelf")
        assert isinstance(result, Unjudged)
        assert why in result.why
        assert why in step_texts.step_text(result)
        assert step_data.step(result)["needed_db"] is None


def test_points_under_the_floor_are_left_out() -> None:
    """Heard from 1 m before a tweeter 0.1 m above the floor, 10 degrees down is 0.17 m lower."""
    settings = ["cabinets.box.cutouts.tweeter=[100 mm, 100 mm]", "cabinets.box.cutouts.woofer_a=[100 mm, 300 mm]"]
    assert judged(small(*settings), "shelf").points == len(CLOUD)
    assert judged(small(*settings), "floor").points == len(CLOUD) - 1


def test_a_part_that_is_not_fitted_here_is_not_tried() -> None:
    kit = small("crossover.step_set_by=C1", "variants.shelf.parts.C1=fit")
    assert judged(kit, "shelf").setting is not None
    result = judged(kit, "floor")
    assert result.setting is None
    assert "C1 linked here" in step_texts.step_text(result)
    assert step_data.step(result)["set_by"] is None


def test_a_part_of_no_value_has_no_neighbours() -> None:
    result = setting(small("crossover.step_set_by=R1", "crossover.parts.R1.resistor=0 ohm"), "shelf")
    assert [each.value for each in result.tried] == [0.0]
    assert result.best is result.own


@pytest.mark.parametrize(
    ("settings", "code"),
    [
        (["crossover.step_set_by=L3"], "unknown_name"),
        (["crossover.step_set_by=woofer_a"], "unknown_name"),
        (["crossover.step_set_by=C1", "variants.shelf.parts.C1=link"], "step_never_fitted"),
        (["crossover.step_set_by=L1", "crossover.coupled=[{coils: [L1, L2], coefficient: 0.1}]"], "step_coupled"),
        (["crossover.step_set_by=8 ohm"], "name"),
    ],
)
def test_a_part_that_cannot_set_it_is_refused(settings: list[str], code: str) -> None:
    with pytest.raises(KitError) as caught:
        small(*settings)
    assert [f.code for f in caught.value.findings if f.severity == "error"] == [code]


def test_without_the_key_the_step_is_told_and_no_value() -> None:
    kit = small()
    assert kit.step_set_by is None
    result = judged(kit, "shelf")
    assert (result.place, result.setting) == (None, None)
    assert json.dumps(step_data.step(result), allow_nan=False)


def test_the_low_range_begins_above_the_bass() -> None:
    """1.5 times the -3 dB point in a wall under the level of 100 to 400 Hz, by a prediction of the kit put into one."""
    kit = load_kit(MARSHLIGHT, ["variants.wall.placement=in_wall"])
    level = summary.level(predict(kit, kit.variants["wall"], summary.GRID).pressure)
    inside = (summary.GRID >= 100) & (summary.GRID <= 400)
    reference = 10 * np.log10(np.mean(10 ** (level[inside] / 10)))
    below = np.flatnonzero(level[summary.GRID < 100] < reference - 3)[-1]
    low, _ = judged(load_kit(MARSHLIGHT), "wall").low
    assert low / 1.5 == pytest.approx(summary.GRID[below], rel=0.015)
    assert FREQUENCIES[0] < summary.GRID[below]
