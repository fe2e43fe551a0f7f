"""How a cabinet stands, from the kit's text to what is heard: tilt, surfaces and panels."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from system.findings import KitError
from system.kit import Panel, Placement
from system.kitfile import load_kit
from system.predict import predict
from system.schema import kit_schema

HERE = Path(__file__).parent
SMALL = HERE / "wrong" / "format.yaml"
F = np.array([60.0, 400.0, 1500.0, 6000.0])


def placed(text: str) -> Placement:
    return load_kit(SMALL, ["format=1", f"variants.shelf.placement={text}"]).variants["shelf"].placement


def heard(text: str, *settings: str) -> np.ndarray:
    kit = load_kit(SMALL, ["format=1", f"variants.shelf.placement={text}", *settings])
    return np.asarray(predict(kit, kit.variants["shelf"], F).pressure)


def errors(text: str, *settings: str) -> list[str]:
    with pytest.raises(KitError) as caught:
        load_kit(SMALL, ["format=1", f"variants.shelf.placement={text}", *settings])
    return [finding.code for finding in caught.value.findings if finding.severity == "error"]


def test_what_is_left_out() -> None:
    assert placed("{below: 0.2 m}") == Placement("near_planes", below=0.2)
    assert placed("{tilt: 5 deg}") == Placement("free_standing", tilt=math.radians(5))
    leaning = placed("{lean: -3 deg, wall_left: 1 m}")
    assert leaning == Placement("near_planes", wall_left=1.0, lean=pytest.approx(-math.pi / 60))


def test_the_full_kit() -> None:
    place = load_kit(HERE / "kits" / "full.yaml").variants["shelf"].placement
    assert (place.tilt, place.lean) == (pytest.approx(math.radians(-5)), pytest.approx(math.radians(2)))
    assert place.surfaces == {"wall_behind": "plaster", "below": "carpet"}
    assert place.panels == (Panel("below", 0.01, 0.08, width=0.9), Panel("left", 0.2, -0.02, height=0.6))


def test_an_opening_is_a_board_on_each_side() -> None:
    boards = placed("{panels: [{kind: opening, front: -20 mm, distance: 6 cm}]}").panels
    assert boards == tuple(Panel(side, 0.06, -0.02) for side in ("left", "right", "below", "above"))  # type: ignore[arg-type]
    every = (
        "{wall_left: 1 m, wall_right: 1 m, above: 1 m, surfaces: {wall_left: glass, wall_right: curtain, above: wood}}"
    )
    assert placed(every).surfaces == {"wall_left": "glass", "wall_right": "curtain", "above": "wood"}


def test_usual_sides() -> None:
    panels = "{panels: [{kind: shelf, front: 0 mm, width: 1 m}, {kind: screen, width: 1 m, height: 60 cm}]}"
    assert placed(panels).panels == (Panel("below", width=1.0), Panel("behind", width=1.0, height=0.6))


def test_tilting_is_listening_from_below() -> None:
    """In free air the angle between front and listener is all that counts."""
    down = "listening={distance: 1.5 m, angle_vertical: -10 deg}"
    level = "listening={distance: 1.5 m}"
    np.testing.assert_allclose(heard("{tilt: 10 deg}", level), heard("free_standing", down), rtol=1e-9)
    np.testing.assert_allclose(heard("{lean: 12 deg}", level), heard("free_standing", level), rtol=1e-9)


def test_no_tilt_and_rigid_are_as_without() -> None:
    plain = heard("{wall_behind: 0.3 m, below: 0 m}")
    said = heard("{wall_behind: 0.3 m, below: 0 m, tilt: 0 deg, lean: 0 deg, surfaces: {below: rigid}}")
    np.testing.assert_array_equal(said, plain)


def test_carpet_takes_the_top_of_a_floors_reflection() -> None:
    """Less ripple than a rigid floor makes at 6 kHz, where |R| of a carpet is about 0.6, and hardly less at 60 Hz."""
    alone, rigid, carpet = (heard(each) for each in ("free_standing", "{below: 0.5 m}",
                                                     "{below: 0.5 m, surfaces: {below: carpet}}"))  # fmt: skip
    share = np.abs((carpet - alone) / (rigid - alone))
    assert share[0] == pytest.approx(math.sqrt(0.98), abs=1e-6)
    assert share[3] == pytest.approx(math.sqrt(0.35), abs=1e-6)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("{}", ["empty"]),
        ("{surfaces: {below: carpet}}", ["surface_without_plane"]),
        ("{panels: [{kind: shelf, side: left, front: 0 m, height: 1 m}]}", ["panel_side"]),
        ("{panels: [{kind: screen, width: 1 m}]}", ["missing_key"]),
        ("{panels: [{kind: cupboard}]}", ["unknown_word"]),
        ("{panels: [{kind: desk, front: 6 m, width: 1 m}]}", ["quantity_range"]),
        ("{tilt: 31 deg}", ["quantity_range"]),
        ("{tilt: 5}", ["quantity_no_unit"]),
        ("{below: -1 mm}", ["quantity_range"]),
    ],
)
def test_at_fault(text: str, codes: list[str]) -> None:
    assert errors(text) == codes


def test_tilted_downward_one_listens_where_the_floor_is() -> None:
    """3 m off, 20 degrees down, one is 3 sin 20 = 1.03 m below the tweeter, which is 0.3 m above the cabinet's foot."""
    listening = "listening={distance: 3 m, angle_vertical: -20 deg}"
    assert errors("{below: 0.7 m}", listening) == ["listening_outside"]
    assert placed("{below: 0.75 m}").below == 0.75
    load_kit(
        SMALL, ["format=1", "variants.shelf.placement={below: 0.75 m}", listening, "variants.floor.placement=in_wall"]
    )


def test_editors_are_told() -> None:
    text = str(kit_schema())
    assert all(word in text for word in ("wall_behind", "surfaces", "curtain", "panels", "opening", "lean"))
