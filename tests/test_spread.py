"""How copies spread: closed forms of dividers, published intervals, and derivatives against drawing."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from system.ceilings import swept_case
from system.examples import scenarios
from system.kit import DriverSpread, Kit, Part, SpreadSpec, Variant
from system.kitfile import load_kit
from system.limits import limits
from system.shares import Share
from system.spread import QUANTILES, Spread, spread
from tests.support_kits import WOOFER, read_kit

MARSHLIGHT = load_kit(scenarios() / "marshlight" / "kit.yaml")
STILL = DriverSpread(fs=0, qts=0, re=0, level=0, linear_excursion=0, assumed=())
OHM = 8.0  # of the loudspeaker in the divider
SERIES = 4.0  # ohm, before it


def toleranced(kit: Kit, parts: float, drivers: DriverSpread) -> Kit:
    """Every part and driver of the kit with these tolerances, groups as one part."""

    def changed(variant: Variant) -> Variant:
        places = {
            name: replace(place, part=replace(place.part, tolerance=parts, made_of=()))
            for name, place in variant.places.items()
        }
        hookups = {
            name: replace(hookup, driver=replace(hookup.driver, spread=drivers))
            for name, hookup in variant.hookups.items()
        }
        return replace(variant, places=places, hookups=hookups)

    return replace(kit, variants={name: changed(variant) for name, variant in kit.variants.items()})


def divider(folder: Path, tolerance: float = 0.05, drivers: DriverSpread = STILL, amplifier: str = "") -> Kit:
    """A resistor before a loudspeaker that is 8 ohm and 90 dB at every frequency, by its tables."""
    rows = (20, 100, 500, 2000, 20000)
    (folder / "z.txt").write_text("\n".join(f"{f} {OHM} 0" for f in rows))
    (folder / "p.txt").write_text("\n".join(f"{f} 90 0" for f in rows))
    response = "response: {file: p.txt, volts: 2.83 V, distance: 1 m, mounted: wall, phase: measured}"
    kit = read_kit(
        folder,
        drivers=f"{{flat: {{role: tweeter, re: 6 ohm, impedance: z.txt, {response}}}}}",
        parts=f"{{R: {{resistor: {SERIES} ohm, between: [in, a]}}}}",
        hookup="{flat: {driver: flat, plus: a, minus: common}}",
        amplifier=amplifier or "{power: 50 W, load: 8 ohm, lowest_load: 4 ohm}",
    )
    return toleranced(kit, tolerance, drivers)


def only(kit: Kit, count: int = 20_000, seed: int = 0, law: str | None = None) -> Spread:
    return spread(kit, next(iter(kit.variants.values())), count, seed, law)


def near(share: Share, expected: float) -> bool:
    """Within four standard errors of a binomial count."""
    return abs(share.value - expected) <= 4 * math.sqrt(expected * (1 - expected) / share.copies) + 1e-12


@pytest.mark.parametrize("law", ["uniform", "normal"])
def test_one_resistor_in_a_divider(law: str, tmp_path: Path) -> None:
    """With R uniform within 5 % of 4 ohm, I = V/(R + 8): every quantile of level and impedance in closed form.

    A quantile of n draws of a uniform law scatters by sqrt(q (1 - q)/n) of its width; four of those are allowed. For
    the normal law, cut at two standard deviations, the quantile is that of scipy.
    """
    from scipy import stats

    result = only(divider(tmp_path), law=law)
    laws = {"uniform": stats.uniform(-1, 2), "normal": stats.truncnorm(-2, 2, scale=0.5)}
    known = laws[law]
    for name, q in QUANTILES.items():
        scatter = math.sqrt(max(q * (1 - q), 1e-4) / 20_000)
        ends = [SERIES * (1 + 0.05 * known.ppf(min(max(q + 4 * side * scatter, 0), 1))) for side in (-1, 1)]
        ohms = result.impedance.quantiles[name]
        assert np.all((ohms >= ends[0] + OHM - 1e-5) & (ohms <= ends[1] + OHM + 1e-5)), name
        # the level falls as the resistance rises: its quantile is the mirrored one
        ends = [SERIES * (1 + 0.05 * known.ppf(min(max(1 - q + 4 * s * scatter, 0), 1))) for s in (-1, 1)]
        high, low = (20 * math.log10((SERIES + OHM) / (end + OHM)) for end in ends)
        level = result.difference.quantiles[name]
        assert np.all((level >= low - 1e-5) & (level <= high + 1e-5)), name
    np.testing.assert_allclose(result.impedance.nominal, SERIES + OHM, rtol=1e-12)
    expected = 90 + 20 * math.log10(OHM / (SERIES + OHM))
    np.testing.assert_allclose(result.level.nominal, expected, atol=1e-9)
    np.testing.assert_allclose(result.level.quantiles["p5"], expected + result.difference.quantiles["p5"], atol=1e-9)


def test_shares_of_a_divider(tmp_path: Path) -> None:
    """R is uniform from 3.2 to 4.8 ohm: how much of that keeps the level, the impedance and the lowest load."""
    kit = divider(tmp_path, 0.2, amplifier="{power: 50 W, load: 8 ohm, lowest_load: 11.5 ohm}")
    result = only(replace(kit, spread=SpreadSpec(level=0.3, impedance=0.5 / 12)))
    ratio = 10 ** (0.3 / 20)
    low, high = (SERIES + OHM) / ratio - OHM, (SERIES + OHM) * ratio - OHM
    level = (high - low) / 1.6
    assert near(result.level_alike, level)
    assert near(result.impedance_alike, 1 / 1.6)
    assert near(result.alike, min(high - low, 1.0) / 1.6)
    load = next(limit for limit in result.limits if limit.unit == "ohm")
    assert near(load.share, (4.8 - 3.5) / 1.6)
    assert near(result.in_limits, (4.8 - 3.5) / 1.6)
    assert load.nominal == pytest.approx(12)
    assert load.nominal_keeps
    both = min(high, SERIES + 0.5) - max(low, SERIES - 0.5, 3.5)
    assert near(result.inside, both / 1.6)
    # everything is alike at every frequency, and no driver was drawn
    np.testing.assert_allclose(result.level_outside, 1 - result.level_alike.value, atol=1e-12)
    assert result.of_parts == result.alike
    assert result.level_edge is not None
    assert 200 <= result.level_edge.frequency <= 10e3


def test_the_level_that_all_copies_miss_counts(tmp_path: Path) -> None:
    """The mean difference is kept in: a loudspeaker that is louder alike everywhere leaves a window of level."""
    kit = divider(tmp_path, 0.0, replace(STILL, level=1.0))
    result = only(replace(kit, spread=SpreadSpec(level=0.25)))
    assert near(result.alike, 0.25)
    assert result.impedance_alike.value == 1
    assert result.of_parts.value == 1
    assert result.impedance_edge is None


def test_derivatives_of_a_divider(tmp_path: Path) -> None:
    """d level/dR and /d re in closed form: 20 lg e times -R/(R + Z), and R/(R + Z) for the loudspeaker's own ohms."""
    drivers = replace(STILL, re=0.03, level=0.4)
    result = only(divider(tmp_path, 0.05, drivers))
    slope = 20 / math.log(10) * SERIES / (SERIES + OHM)
    found = {each.of: each for each in result.influences}
    assert set(found) == {"R", "flat.re", "flat.level"}
    assert found["R"].level == pytest.approx(0.05 * slope, rel=1e-9)
    assert found["R"].impedance == pytest.approx(0.05 * SERIES, rel=1e-9)
    assert found["flat.re"].level == pytest.approx(0.03 * slope, rel=1e-7)  # by differences of the acoustics
    assert found["flat.re"].impedance == pytest.approx(0.03 * OHM, rel=1e-7)
    assert found["flat.level"].level == pytest.approx(0.4, rel=1e-7)
    assert found["flat.level"].impedance == pytest.approx(0, abs=1e-9)
    parts = [(0.05 * slope) ** 2, (0.03 * slope) ** 2, 0.4**2]
    for name, part in zip(("R", "flat.re", "flat.level"), parts, strict=True):
        assert found[name].share_of_variance == pytest.approx(part / sum(parts), rel=1e-6)
        np.testing.assert_allclose(found[name].shares, part / sum(parts), rtol=1e-6)
    assert result.influences[0].of == "flat.level"
    np.testing.assert_allclose(result.expected, math.sqrt(sum(parts) / 3), rtol=1e-6)


def test_a_pair_of_capacitors_counts_for_less(tmp_path: Path) -> None:
    """Two alike parts of a group halve the variance of one (independent errors add as squares), not the worst case."""
    kit = read_kit(tmp_path, parts="{C: {capacitor: 20 uF, between: [in, a], tolerance: 10 %}}", hookup=BEHIND)
    one = toleranced(kit, 0.1, STILL)
    pair = replace(one, variants={name: _paired(variant) for name, variant in one.variants.items()})
    single, double = (only(each, 4000) for each in (one, pair))
    assert double.influences[0].level == pytest.approx(single.influences[0].level, rel=1e-12)
    np.testing.assert_allclose(double.expected, single.expected / math.sqrt(2), rtol=1e-12)


BEHIND = "{woofer: {driver: woofer, plus: a, minus: common}}"


def _paired(variant: Variant) -> Variant:
    place = variant.places["C"]
    part: Part = replace(place.part, made_of=(10e-6, 10e-6))
    return replace(variant, places={"C": replace(place, part=part)})


TIGHT = DriverSpread(fs=0.01, qts=0.01, re=0.01, level=0.05, linear_excursion=0.01, assumed=())


@pytest.mark.parametrize(
    ("name", "law"),
    [
        ("wall", "uniform"),
        pytest.param("centre", "normal", marks=pytest.mark.slow),
        pytest.param("tall", "uniform", marks=pytest.mark.slow),
    ],
)
def test_derivatives_foretell_the_variance_that_is_drawn(name: str, law: str) -> None:
    """Parts and drivers of 1 %: the variance of 10 000 copies at every frequency within 5 %.

    Its own scatter is 1.0 to 1.4 % (one standard deviation; kurtosis 2 to 3).
    """
    kit = toleranced(MARSHLIGHT, 0.01, TIGHT)
    result = spread(kit, kit.variants[name], 10_000, 0, law)
    np.testing.assert_allclose(result.deviation**2, result.expected**2, rtol=0.05)


def test_excursion_is_that_of_the_limits() -> None:
    """The volume at which `limits` finds the linear excursion reached says what it is at full volume; to 0.2 %.

    Both are linear in the volts; the sums over the spectrum run over grids of 12 and 54 points an octave.
    """
    for variant in MARSHLIGHT.variants.values():
        swept = swept_case(MARSHLIGHT, variant)
        known = {limit.name: limit for limit in limits(swept, swept).limits if limit.kind == "linear_excursion"}
        full = math.sqrt(2) * MARSHLIGHT.amplifier.rated_volts / MARSHLIGHT.programme.crest_factor
        result = spread(MARSHLIGHT, variant, 100, 0)
        found = {kept.what.split()[-1]: kept for kept in result.limits if kept.unit == "m"}
        assert set(found) == set(known) == {"woofer_a", "woofer_b"}
        for name, kept in found.items():
            assert kept.nominal == pytest.approx(known[name].value * full / known[name].programme, rel=2e-3)
            assert kept.nominal_keeps == (known[name].programme >= full)


@pytest.mark.parametrize("programme", ["{spectrum: iec, from: 30 Hz}", "{spectrum: sine, from: 30 Hz}"])
def test_every_woofer_has_a_limit_of_its_own(programme: str, tmp_path: Path) -> None:
    """Where only the linear excursion spreads, the share that keeps it is what its uniform law says."""
    kit = toleranced(read_kit(tmp_path, drivers=f"{{woofer: {WOOFER}}}", more=f"programme: {programme}"), 0, STILL)
    reached = only(kit, 100).limits[0].nominal
    limit = 1.05 * reached  # a tenth to either side: kept by those from 0.952 of it up
    variant = kit.variants["v"]
    hookup = variant.hookups["woofer"]
    data = replace(hookup.driver, linear_excursion=limit, spread=replace(STILL, linear_excursion=0.1))
    kit = replace(kit, variants={"v": replace(variant, hookups={"woofer": replace(hookup, driver=data)})})
    result = only(kit)
    assert near(result.in_limits, (1.1 - 1 / 1.05) / 0.2)
    assert result.limits[0].quantiles["p5"] == pytest.approx(reached, rel=1e-9)
    assert result.inside == result.in_limits  # nothing else is drawn


def test_nothing_to_draw(tmp_path: Path) -> None:
    """Every tolerance 0: every copy is the kit."""
    result = only(divider(tmp_path, 0.0), 200)
    assert result.nothing_drawn
    assert result.inside.value == 1
    assert result.influences == ()
    assert np.abs(result.deviation).max() < 1e-9
    assert not only(divider(tmp_path, 0.01), 200).nothing_drawn


def test_the_same_seed_gives_the_same(tmp_path: Path) -> None:
    kit = divider(tmp_path)
    one, again, other = (only(kit, 500, seed) for seed in (3, 3, 4))
    for name in QUANTILES:
        np.testing.assert_array_equal(one.level.quantiles[name], again.level.quantiles[name])
    assert np.all(one.level.quantiles["p50"] != other.level.quantiles["p50"])


def test_what_cannot_be_judged_is_said(tmp_path: Path) -> None:
    """A driver known by its tables, and an amplifier without a lowest load."""
    result = only(divider(tmp_path, amplifier="{power: 50 W, load: 8 ohm}"), 100)
    assert result.limits == ()
    assert [what for what, _ in result.not_judged] == ["excursion of flat", "lowest impedance", "ratings of parts"]


@pytest.mark.slow
def test_ten_thousand_copies_in_bounds() -> None:
    """10 000 copies of the line at 121 frequencies and more: under 500 MiB of arrays at any time."""
    import tracemalloc

    tracemalloc.start()
    result = spread(MARSHLIGHT, MARSHLIGHT.variants["tall"], 10_000, 0)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert result.frequency.size > 100
    assert most < 500 * 2**20
