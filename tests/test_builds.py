"""Copies of a kit: the laws they are drawn by, and that many at once are what each is by itself."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from system.build import build
from system.builds import (
    ASSUMED_TOLERANCES,
    LAWS,
    VARIANCES,
    Common,
    Copies,
    deviations,
    draw,
    part_values,
    tolerance,
    with_values,
)
from system.examples import scenarios
from system.kit import Kit, Part, Variant
from system.kitfile import load_kit
from system.members import member_weights
from system.transfer import transfer
from tests.support_builds import one_copy
from tests.support_kits import WOOFER, read_kit

MARSHLIGHT = load_kit(scenarios() / "marshlight" / "kit.yaml")
MANY = 200_000
# scipy's own laws: evenly from -1 to 1; the normal one cut off at two standard deviations, over that
KNOWN = {"uniform": stats.uniform(-1, 2), "normal": stats.truncnorm(-2, 2, scale=0.5)}


@pytest.mark.parametrize("law", LAWS)
def test_deviations_follow_their_law(law: str) -> None:
    """Kolmogorov's and Smirnov's test against scipy's laws; nothing beyond the tolerance."""
    drawn = deviations("part C1 0", MANY, 3, law)
    assert np.abs(drawn).max() <= 1
    assert stats.kstest(drawn, KNOWN[law].cdf).pvalue > 0.01
    # the mean of so many is off by its own standard error, the variance by that of a fourth moment
    spread = KNOWN[law].var()
    assert abs(drawn.mean()) < 4 * math.sqrt(spread / MANY)
    fourth = (KNOWN[law].stats("k") + 3) * spread**2
    assert abs(drawn.var() - spread) < 4 * math.sqrt((fourth - spread**2) / MANY)


def test_variances_of_the_laws() -> None:
    """A third of the square of the half width (JCGM 100:2008, 4.3.7); the cut normal law as scipy has it."""
    assert VARIANCES["uniform"] == pytest.approx(1 / 3, rel=1e-15)
    assert VARIANCES["normal"] == pytest.approx(KNOWN["normal"].var(), rel=1e-10)


@pytest.mark.parametrize(
    ("kind", "how", "values", "whole"),
    [
        ("capacitor", "parallel", (100e-6, 120e-6), 220e-6),
        ("capacitor", "series", (10e-6, 10e-6), 5e-6),
        ("resistor", "series", (1.0, 3.3), 4.3),
        ("resistor", "parallel", (4.7, 10.0), 47 / 14.7),
        ("coil", "parallel", (1e-3, 1e-3, 2e-3), 0.4e-3),
    ],
)
def test_a_group_is_tighter_than_one_part(kind: str, how: str, values: tuple[float, ...], whole: float) -> None:
    """Variances of independent parts add up with the squares of their derivatives (JCGM 100:2008, equation 10).

    Written out here: of values that add, d(sum)/dv = 1; of such whose reciprocals do, (whole/v)^2.
    """
    part = Part(kind, whole, tolerance=0.02, made_of=values, made_of_how=how)  # type: ignore[arg-type]
    adds = (kind, how) in {("capacitor", "parallel"), ("resistor", "series"), ("coil", "series")}
    slopes = [1.0 if adds else (whole / value) ** 2 for value in values]
    expected = math.sqrt(sum((slope * value * 0.02) ** 2 / 3 for slope, value in zip(slopes, values, strict=True)))
    drawn = part_values("X", part, MANY, 5, "uniform")
    assert drawn.mean() == pytest.approx(whole, rel=2e-4)
    assert drawn.std() == pytest.approx(expected, rel=5e-3)
    assert math.hypot(*member_weights(part)) * 0.02 * whole / math.sqrt(3) == pytest.approx(expected, rel=1e-9)
    assert drawn.std() < 0.9 * 0.02 * whole / math.sqrt(3)


def test_parts_without_a_tolerance_have_the_usual_one() -> None:
    """10 % of a capacitor, 5 % of the others; common practice, no source."""
    kinds = {"capacitor": 0.10, "resistor": 0.05, "coil": 0.05}
    assert kinds == ASSUMED_TOLERANCES
    for kind, far in kinds.items():
        part = Part(kind, 1.0)  # type: ignore[arg-type]
        drawn = part_values("X", part, 2000, 0, "uniform")
        assert tolerance(part) == far
        assert 0.99 * far < np.abs(drawn - 1).max() <= far
    given = draw(MARSHLIGHT, MARSHLIGHT.variants["wall"], 10, 0)
    assert given.assumed == ("L1", "L2")


def test_other_copies_have_other_parts_than_the_one_measured() -> None:
    """A part marked 10 uF that happens to have 10.9: copies lie about 10."""
    part = Part("capacitor", 10.9e-6, tolerance=0.05, marked_value=10e-6)
    drawn = part_values("C", part, 2000, 0, "uniform")
    assert 9.5e-6 <= drawn.min() < 9.55e-6
    assert 10.45e-6 < drawn.max() <= 10.5e-6


def test_seeds(tmp_path: Path) -> None:
    """The same seed draws the same, another does not; a part more on the board moves no other."""
    one, again, other = (draw(MARSHLIGHT, MARSHLIGHT.variants["wall"], 500, seed) for seed in (7, 7, 8))
    for name, values in one.values.items():
        np.testing.assert_array_equal(values, again.values[name])
        assert not np.any(values == other.values[name])
    np.testing.assert_array_equal(one.drivers["tweeter"].level, again.drivers["tweeter"].level)
    # R1 has another value in another variant, and lies as far off in its tolerance; C2 is the same part in both
    tall = draw(MARSHLIGHT, MARSHLIGHT.variants["tall"], 500, 7)
    np.testing.assert_array_equal(one.values["C2"], tall.values["C2"])
    np.testing.assert_allclose(one.values["R1"] / 1.2, tall.values["R1"] / 2.2, rtol=1e-14)
    few = "{A: {resistor: 3 ohm, between: [in, m]}, B: {resistor: 5 ohm, between: [m, common]}}"
    more = few[:-1] + ", Z: {capacitor: 1 uF, between: [in, common]}}"
    kits = [read_kit(tmp_path, parts=parts) for parts in (few, more)]
    first, second = (draw(kit, kit.variants["v"], 50, 7) for kit in kits)
    np.testing.assert_array_equal(first.values["B"], second.values["B"])


def test_two_copies_of_one_driver_are_drawn_apart() -> None:
    """Correlation of independent draws: within 4/sqrt(n) of none (standard error of r at no correlation)."""
    drivers = draw(MARSHLIGHT, MARSHLIGHT.variants["wall"], 20_000, 0).drivers
    columns = [getattr(drivers[name], figure) for name in ("woofer_a", "woofer_b") for figure in ("fs", "qts", "re")]
    columns += list(draw(MARSHLIGHT, MARSHLIGHT.variants["wall"], 20_000, 0).values.values())
    apart = np.corrcoef(columns) - np.eye(len(columns))
    assert np.abs(apart).max() < 4 / math.sqrt(20_000)


def spread_out(kit: Kit) -> Kit:
    """With every driver's figures far apart, so that an error cannot hide."""

    def wide(variant: Variant) -> Variant:
        hookups = {}
        for name, hookup in variant.hookups.items():
            spread = replace(hookup.driver.spread, fs=0.3, qts=0.4, re=0.2, level=3.0)
            hookups[name] = replace(hookup, driver=replace(hookup.driver, spread=spread))
        return replace(variant, hookups=hookups)

    return replace(kit, variants={name: wide(variant) for name, variant in kit.variants.items()})


def pole_kit(folder: Path) -> Kit:
    """A vented box without any losses, tuned to a frequency of the grid, with three woofers that are one another's."""
    drivers = f"{{woofer: {WOOFER}, bass: {WOOFER.replace('re: 5.6', 're: 6.9').replace('9.5 g', '14 g')}}}"
    hookup = (
        "{a: {driver: woofer, plus: in, minus: common}, b: {driver: bass, plus: in, minus: common},"
        " c: {driver: woofer, plus: common, minus: in, reversed: on_purpose}}"
    )
    chamber = (
        "{kind: vented, drivers: [a, b, c], volume: 30 L, tuning: 40 Hz, ports: [{diameter: 70 mm}], losses: LOST}"
    )
    chamber = chamber.replace("LOST", "{leak: lossless}")
    return read_kit(folder, drivers=drivers, hookup=hookup, cabinets=f"{{box: {{chambers: [{chamber}]}}}}")


def boxed_table_kit(folder: Path) -> Kit:
    """A woofer in a box with a response table, and a warm closed-back one with parameters and both tables."""
    rows = (20, 100, 500, 2000, 20000)
    (folder / "p.txt").write_text(
        "\n".join(f"{f} {s} {p}" for f, s, p in zip(rows, (60, 80, 86, 88, 80), (90, 40, 5, -30, -80), strict=True))
    )
    (folder / "z.txt").write_text("\n".join(f"{f} {z} 20" for f, z in zip(rows, (6, 20, 8, 7, 14), strict=True)))
    response = "response: {file: p.txt, volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}"
    warm = "voice_coil_temperature: 90 degC"
    woofer, middle = (f"{WOOFER[:-1]}, {more}{response}, {warm}}}" for more in ("", "impedance: z.txt, "))
    drivers = f"{{woofer: {woofer}, middle: {middle}}}"
    hookup = "{low: {driver: woofer, plus: in, minus: common}, mid: {driver: middle, plus: in, minus: common}}"
    cabinet = "{box: {chambers: [{kind: sealed, drivers: [low], volume: 12 L}]}}"
    return read_kit(folder, drivers=drivers, hookup=hookup, cabinets=cabinet)


def kits(folder: Path) -> Iterator[Kit]:
    yield MARSHLIGHT
    yield spread_out(MARSHLIGHT)
    yield spread_out(load_kit(Path(__file__).parent / "kits" / "full.yaml"))
    yield spread_out(pole_kit(folder))
    yield spread_out(boxed_table_kit(folder))


def test_many_copies_at_once_are_what_each_is_by_itself(tmp_path: Path) -> None:
    """A dozen copies of every variant (boxes, lines, radiators, tables), each built anew and put through `transfer`.

    The copies' own driver parameters are worked out another way (`tests.support_builds`).
    """
    frequency = np.sort(np.append(np.geomspace(20, 20e3, 40), 40.0))  # 40 Hz: a pole of the lossless box
    seen = 0
    for kit in kits(tmp_path):
        for variant in kit.variants.values():
            model, draws = build(kit, variant), draw(kit, variant, 12, 11)
            nominal = transfer(model, frequency)
            copies = Copies.of(model, draws, frequency, nominal)
            for b in range(12):
                alone = transfer(one_copy(kit, variant, draws, b), frequency, nominal.paths)
                excursion = copies.velocity[b] / (2j * np.pi * frequency)[:, None, None]
                for found, expected in (
                    (copies.impedance[b], alone.impedance),
                    (copies.total_pressure[b], alone.total_pressure),
                    (excursion, np.nan_to_num(alone.excursion)),
                ):
                    size = np.abs(expected).max(axis=tuple(range(1, expected.ndim)), keepdims=True)
                    assert np.all(np.abs(found - expected) <= 1e-9 * size)
            seen += 1
    assert seen >= 9


def test_chunks_are_pieces_of_the_whole() -> None:
    variant = MARSHLIGHT.variants["tall"]
    frequency = np.geomspace(20, 20e3, 7)
    model, draws = build(MARSHLIGHT, variant), draw(MARSHLIGHT, variant, 10, 0)
    whole = Copies.of(model, draws, frequency)
    current = np.random.default_rng(0).normal(size=(10, 7, 3)) + 0j
    for builds, copies in Common.of(model, frequency).chunks(draws, step=4):
        np.testing.assert_array_equal(copies.impedance, whole.impedance[builds])
        np.testing.assert_array_equal(copies.pressure(current[builds]), whole.pressure(current)[builds])
        np.testing.assert_array_equal(copies.excursion(current[builds]), whole.excursion(current)[builds])
        for a, b in zip(copies.network.elements, whole.network.elements, strict=True):
            np.testing.assert_array_equal(a.part.impedance(frequency), b.part.impedance(frequency)[builds])


def test_losses_are_held_while_values_are_drawn() -> None:
    """L1 keeps its 0.24 ohm, C1 its 0.06 ohm, whatever their values are."""
    model = build(MARSHLIGHT, MARSHLIGHT.variants["wall"])
    network = with_values(model.network, draw(MARSHLIGHT, model.variant, 5, 0).values)
    omega = np.array([1e3, 1e4])
    for reference, ohms in (("L1", 0.24), ("C1", 0.06)):
        np.testing.assert_allclose(network.element(reference).part.impedance(omega).real, ohms, rtol=1e-12)


def test_on_nominal_drivers() -> None:
    """Copies of the parts only: the acoustics are those of the kit itself, for all of them."""
    variant = MARSHLIGHT.variants["wall"]
    frequency = np.geomspace(20, 20e3, 9)
    model, draws = build(MARSHLIGHT, variant), draw(MARSHLIGHT, variant, 4, 0)
    copies, alone = Copies.of(model, draws.of_parts, frequency), transfer(model, frequency)
    np.testing.assert_array_equal(copies.impedance[0], alone.impedance)
    np.testing.assert_array_equal(copies.total_pressure[0], alone.total_pressure)
    current = np.ones((4, 9, 3), complex)
    assert copies.pressure(current).shape == (4, 9)
    assert copies.network.element("C3").part.impedance(frequency).shape == (4, 9)
