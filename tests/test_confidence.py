"""How many builds stay inside: each copy judged by the ordinary chain, the interval by published values."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from system import programme
from system.confidence import Drawn
from system.examples import scenarios
from system.kit import DriverSpread, Kit, Variant
from system.kitfile import load_kit
from system.place import protective_place
from system.predict import peak_excursion, solve
from system.protect import Closely, protect
from system.states import States
from system.transfer import transfer
from tests.support_builds import one_copy
from tests.support_kits import WOOFER, read_kit

NO_SPREAD = DriverSpread(0.0, 0.0, 0.0, 0.0, 0.0, ())
PARTS = (
    "{C1: {capacitor: 220 uF, made_of: {parallel: [100 uF, 120 uF]}, between: [in, w], tolerance: 10 %,"
    " series_resistance: 0.05 ohm}, L1: {coil: 1 mH, dc_resistance: 0.2 ohm, between: [w, x], tolerance: 5 %}}"
)
HOOKUP = "{a: {driver: woofer, plus: x, minus: common}, b: {driver: woofer, plus: x, minus: common}}"
CABINETS = "{box: {chambers: [{kind: sealed, drivers: [a, b], volume: 8 L, losses: {leak: 20}}]}}"


def kit_of(folder: Path, **pieces: str) -> tuple[Kit, Variant]:
    given = {"parts": PARTS, "hookup": HOOKUP, "cabinets": CABINETS, "more": "stock: {capacitors: [150 uF]}"}
    kit = read_kit(folder, **{**given, **pieces})
    return kit, next(iter(kit.variants.values()))


def drawn_of(kit: Kit, variant: Variant, builds: int, seed: int = 0) -> Drawn:
    return Drawn.of(States.of(kit, protective_place(variant, kit.input, "a")), variant, seed, builds)


def margin_of_one(kit: Kit, variant: Variant, drawn: Drawn, b: int, frequency: NDArray[np.float64]) -> float:
    """The decisive margin (dB) of copy `b` as a build of its own, by the sums of `tests/test_protect.py`."""
    model = one_copy(kit, variant, drawn.draws, b)
    acoustics = transfer(model, frequency)
    volts, high_pass = kit.amplifier.rated_volts, variant.receiver_high_pass
    excursion = peak_excursion(acoustics, solve(model, acoustics, volts).load_current, 0)
    gain = np.ones(frequency.size)
    if high_pass is not None:
        gain = 1 / np.sqrt(1 + (high_pass.corner / frequency) ** (2 * high_pass.order))
    sine = (excursion * gain).max()
    shares = programme.power_shares(kit.programme, frequency)
    ratio = math.sqrt(2) / kit.programme.crest_factor
    noise = 4 * ratio * math.sqrt(((excursion * gain) ** 2 / 2) @ shares)
    data = variant.hookups["a"].driver
    assert data.linear_excursion is not None
    assert data.damage_excursion is not None
    linear = data.linear_excursion * drawn.draws.drivers["a"].linear_excursion[b]
    return 20 * math.log10(min(linear / noise, data.damage_excursion / sine))


@pytest.mark.parametrize("state", ["link", "fit"])
def test_copies_are_judged_as_builds_of_their_own(tmp_path: Path, state: str) -> None:
    """Ten copies through build, transfer and the dense network: to 1e-7 dB at the same frequencies, and within 0.03 dB
    of what twice as many frequencies say."""
    high_pass = "{v: {cabinet: box, receiver_high_pass: {corner: 40 Hz, order: 2}}}"
    kit, variant = kit_of(tmp_path, variants=high_pass, amplifier="{power: 50 W, load: 8 ohm, cable: 0.1 ohm}")
    drawn = drawn_of(kit, variant, 10, seed=5)
    places = {**variant.places, "C1": replace(variant.places["C1"], state=state)}
    own = replace(variant, places=places)
    candidate = None if state == "link" else drawn.states.candidates[0]
    found = drawn.margins("a", candidate)
    assert found.std() > 0.1
    fine = np.geomspace(20, 20e3, 593)
    for b, margin in enumerate(found):
        assert margin == pytest.approx(margin_of_one(kit, own, drawn, b, drawn.signal.frequency), abs=1e-7)
        assert margin == pytest.approx(margin_of_one(kit, own, drawn, b, fine), abs=0.03)


def test_another_capacitor_is_drawn_within_its_own_tolerance(tmp_path: Path) -> None:
    """300 uF of two 150 uF: each member within 10 % by itself, the copies again builds of their own."""
    kit, variant = kit_of(tmp_path)
    drawn = drawn_of(kit, variant, 6)
    pair = next(c for c in drawn.states.candidates if c.value == pytest.approx(300e-6))
    values = drawn._values(pair)
    assert np.all(np.abs(values / 300e-6 - 1) <= 0.1)
    assert values.std() > 0
    other = replace(drawn, draws=replace(drawn.draws, values={**drawn.draws.values, "C1": values}))
    for b, margin in enumerate(drawn.margins("a", pair)):
        expected = margin_of_one(kit, variant, other, b, drawn.signal.frequency)
        assert margin == pytest.approx(expected, abs=1e-7)


def exact(kit: Kit, variant: Variant) -> Variant:
    """Every part and driver of every copy as drawn in the kit."""
    places = {name: replace(place, part=replace(place.part, tolerance=0.0)) for name, place in variant.places.items()}
    hookups = {name: replace(h, driver=replace(h.driver, spread=NO_SPREAD)) for name, h in variant.hookups.items()}
    return replace(variant, places=places, hookups=hookups)


@pytest.mark.parametrize("power", [10, 12, 15, 40])
def test_without_spread_all_builds_or_none(tmp_path: Path, power: int) -> None:
    """Every copy is the kit itself, whose margin says which."""
    kit, variant = kit_of(tmp_path, amplifier=f"{{power: {power} W, load: 8 ohm}}")
    variant = exact(kit, variant)
    verdict = protect(kit, variant, Closely(builds=50))[0]
    found = verdict.confidence
    assert found is not None
    for share, figures in ((found.link, verdict.link), (found.fitted, verdict.fitted), (found.named, verdict.named)):
        assert (share is None) == (figures is None)
        if share is not None and figures is not None:
            values = figures.candidate.values if figures.candidate else ()
            assert len(values) <= 3
            margin = figures.margins.decisive
            assert margin is not None
            if abs(margin) > 0.05:  # the grid of the copies is half of that of the verdict
                inside = drawn_of(kit, variant, 1).margins("a", figures.candidate)[0] >= 0
                assert share.value == (1.0 if inside else 0.0)
                if len(values) < 2:
                    assert inside == (margin > 0)


def test_a_linear_limit_alone_that_spreads(tmp_path: Path) -> None:
    """Evenly within 10 % either way, a programme of x times the linear limit is held by (1.1 - x)/0.2 of the builds."""
    driver = f"{{woofer: {WOOFER.replace(', damage_excursion: 9 mm', '')}}}"
    kit, variant = kit_of(tmp_path, drivers=driver)
    variant = exact(kit, variant)
    limit = replace(NO_SPREAD, linear_excursion=0.1)
    for name, hookup in variant.hookups.items():
        changed = {**variant.hookups, name: replace(hookup, driver=replace(hookup.driver, spread=limit))}
        variant = replace(variant, hookups=changed)
    link = protect(kit, variant)[0].link
    assert link is not None
    assert link.margins.programme is not None
    # so much power that the programme is at 1.04 of the limit
    power = kit.amplifier.power * 10 ** (link.margins.programme / 10) * 1.04**2
    kit = replace(kit, amplifier=replace(kit.amplifier, power=power))
    share = drawn_of(kit, variant, 4000, seed=2).share("a", None).value
    expected = (1.1 - 1.04) / 0.2
    assert abs(share - expected) < 4 * math.sqrt(expected * (1 - expected) / 4000)


def test_the_same_seed_the_same_share(tmp_path: Path) -> None:
    kit, variant = kit_of(tmp_path, amplifier="{power: 12 W, load: 8 ohm}")
    one, again, other = (drawn_of(kit, variant, 200, seed).margins("a", None) for seed in (3, 3, 4))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


def test_woofers_in_one_box_are_drawn_apart(tmp_path: Path) -> None:
    kit, variant = kit_of(tmp_path)
    a, b = (drawn_of(kit, variant, 50).margins(name, None) for name in ("a", "b"))
    assert np.abs(a - b).max() > 0.1


def test_without_a_linear_limit_there_is_no_share(tmp_path: Path) -> None:
    kit, variant = kit_of(tmp_path, drivers=f"{{woofer: {WOOFER.replace(' linear_excursion: 4 mm,', '')}}}")
    assert protect(kit, variant, Closely(builds=10))[0].confidence is None
    with pytest.raises(ValueError, match="no linear limit"):
        drawn_of(kit, variant, 10).margins("a", None)


def test_only_a_close_look_draws() -> None:
    kit = load_kit(scenarios() / "marshlight" / "kit.yaml")
    for verdict in protect(kit, kit.variants["centre"]):
        assert verdict.confidence is None
        assert verdict.forms == ()
