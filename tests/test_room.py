"""What the room does to a build: power near planes in closed form, and panels' uncertainty from two predictions."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from enclosures.panels import uncertainty
from system.build import Build, build
from system.detail import predict_in_detail
from system.examples import scenarios
from system.kitfile import load_kit
from system.predict import predict, solve
from system.room import panels_uncertainty, power_gain
from system.transfer import motion, transfer

SMALL = (
    Path(__file__).parent / "wrong" / "format.yaml"
)  # one sealed woofer 100 mm from the sides, 120 mm above the foot
PORTED = ("cabinets.box.chambers=[{kind: vented, drivers: [woofer_a], volume: 12 L, tuning: 45 Hz, "
          "ports: [{diameter: 50 mm, cutout: {face: rear, at: [100 mm, 300 mm]}}]}]",)  # fmt: skip
F = np.array([20.0, 45.0, 90.0, 180.0, 300.0])
C = 343.21  # m/s, as the kit has it


def small(placement: str, *settings: str) -> Build:
    kit = load_kit(SMALL, ["format=1", f"variants.shelf.placement={placement}", *settings])
    return build(kit, kit.variants["shelf"])


def gain(model: Build) -> np.ndarray:
    moved = motion(model, F)
    return np.asarray(power_gain(model, moved, solve(model, moved, 2.83).load_current))


def j0(x: np.ndarray) -> np.ndarray:
    return np.asarray(np.sin(x) / x)


@pytest.mark.parametrize(
    ("placement", "distance"),
    [
        ("{below: 0.3 m}", 0.42),
        ("{wall_left: 0.5 m}", 0.6),
        ("{wall_behind: 0 m}", 0.25),
        # on its lower rear corner: the woofer is above that by 120 cos 20 + 250 sin 20 mm
        ("{below: 0 m, tilt: 20 deg}", 0.12 * math.cos(math.radians(20)) + 0.25 * math.sin(math.radians(20))),
        # on its lower left corner, seen from the front: 120 cos 10 + (100 - 0) sin 10, less what that corner sinks
        ("{below: 0 m, lean: -10 deg}", 0.12 * math.cos(math.radians(10)) + 0.1 * math.sin(math.radians(10))),
    ],
)
def test_one_woofer_and_one_plane(placement: str, distance: float) -> None:
    """1 + sin(2 k d)/(2 k d) (Waterhouse, J. Acoust. Soc. Am. 27, 1955, 247, from memory)."""
    x = 2.0 * (2.0 * math.pi * F / C) * distance
    np.testing.assert_allclose(gain(small(placement)), 1.0 + j0(x), rtol=1e-9)


def test_free_standing_and_in_a_wall() -> None:
    np.testing.assert_allclose(gain(small("free_standing")), 1.0, rtol=1e-12)
    np.testing.assert_allclose(gain(small("in_wall")), 2.0, rtol=1e-12)


def test_woofer_and_port_over_a_floor() -> None:
    """Four points by hand: the woofer, the port at the rear 180 mm higher, and the images of both in the floor. The
    leak of the box is at the woofer.
    """
    model = small("{below: 0.5 m}", *PORTED)
    moved = motion(model, F)
    current = solve(model, moved, 2.83).load_current
    sd = model.moving(0).sd
    woofer = sd * np.einsum("fn,fn->f", moved.velocity[:, 0], current)
    woofer = woofer + np.einsum("fkn,fn->f", moved.leak, current)
    port = np.einsum("fn,fn->f", moved.flow[:, 0], current)
    k = 2.0 * math.pi * F / C
    both = 2.0 * (woofer.conj() * port).real
    apart, across = math.hypot(0.25, 0.18), math.hypot(0.25, 2 * 0.5 + 0.12 + 0.3)
    free = np.abs(woofer) ** 2 + np.abs(port) ** 2 + both * j0(k * apart)
    images = np.abs(woofer) ** 2 * j0(2 * k * 0.62) + np.abs(port) ** 2 * j0(2 * k * 0.8) + both * j0(k * across)
    np.testing.assert_allclose(gain(model), 1.0 + images / free, rtol=1e-9)


def test_uncertainty_is_half_of_what_panels_do() -> None:
    f = np.geomspace(50.0, 15e3, 40)
    shelf = "{panels: [{kind: shelf, front: 0.2 m, width: 0.8 m}]}"
    with_it, without = small(shelf), small("free_standing")
    levels = [20 * np.log10(np.abs(predict(each.kit, each.variant, f).pressure)) for each in (with_it, without)]
    acoustics = transfer(with_it, f)
    current = solve(with_it, acoustics, 2.83).load_current
    found = panels_uncertainty(with_it, acoustics, current)
    np.testing.assert_allclose(found, np.abs(levels[0] - levels[1]) / 2, atol=1e-9)
    assert 0.3 < np.max(found) < 6.0
    np.testing.assert_array_equal(panels_uncertainty(without, acoustics, current), np.zeros(f.size))


def test_where_one_of_two_levels_is_silence_nothing_is_known() -> None:
    found = uncertainty(np.array([0.0, 1j, 0.0, 2.0]), np.array([1.0, 0.0, 0.0, 1.0]))
    np.testing.assert_allclose(found, [np.inf, np.inf, 0.0, 10.0 * math.log10(2.0)])


def test_what_a_prediction_says_of_the_room() -> None:
    """Flat against a wall a small source gives off twice the power at low frequency (Allison 1974), 3.01 dB; in a wall
    nothing is said; nothing is told where half a wave is shorter than the cabinet's longest side."""
    kit = load_kit(scenarios() / "marshlight" / "kit.yaml")
    frequency = np.array([20.0, 100.0, 300.0, 2000.0])
    wall = predict_in_detail(kit, kit.variants["wall"], frequency).detail
    assert wall is not None
    assert wall.room is not None
    assert wall.room.frequency.tolist() == [20.0, 100.0, 300.0]
    assert wall.room.power[0] == pytest.approx(10 * math.log10(2), abs=0.05)
    assert np.all(wall.room.uncertain == 0)
    centre = predict_in_detail(kit, kit.variants["centre"], frequency).detail
    assert centre is not None
    assert centre.room is None
