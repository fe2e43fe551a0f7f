"""Where a variant stands: the kit reader's plain geometry against that of the radiation model, found independently."""

import math
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from enclosures.baffle import Box, Source
from enclosures.panels import SIDES, Panel
from enclosures.placement import (
    STEEPEST,
    TURNS,
    Surroundings,
    _heard,
    _mirrors,
    _touching,
    _united,
    listening_point,
)
from system import kit
from system.context import Context
from system.document import Report
from system.kit import Cutout, Listening, Placement, Seats, Variant
from system.kitfile import load_kit
from system.standing import check_standing

SMALL = Path(__file__).parent / "wrong" / "format.yaml"
ANGLES = st.floats(-math.pi, math.pi)
DISTANCES = st.none() | st.just(0.0) | st.floats(0.0, 3.0)
PLACES = st.floats(0.01, 0.19)
FACES = st.sampled_from(["front", "rear", "left", "right", "top", "bottom"])
TURNED = st.just(0.0) | st.floats(-STEEPEST, STEEPEST)
PANELS = st.builds(
    Panel,
    st.sampled_from(list(SIDES)),
    st.just(0.0) | st.floats(0.0, 1.0),
    st.floats(-0.2, 1.0),
    st.none() | st.floats(0.05, 3.0),
    st.none() | st.floats(0.05, 3.0),
)


@pytest.fixture(scope="module")
def variant() -> Variant:
    return load_kit(SMALL, ["format=1"]).variants["shelf"]


def reported(variant: Variant) -> set[str]:
    report = Report("kit.yaml")
    check_standing(variant, Context(report, Path("kit.yaml")))
    return {finding.code for finding in report.findings}


@settings(max_examples=400)
@given(
    attitude=st.sampled_from(list(TURNS)),
    planes=st.tuples(DISTANCES, DISTANCES, DISTANCES, DISTANCES, DISTANCES),
    face=FACES,
    at=st.tuples(PLACES, PLACES),
    listening=st.tuples(st.floats(0.05, 4.0), ANGLES, ANGLES),
    turned=st.tuples(TURNED, TURNED),
    panels=st.lists(PANELS, max_size=2),
)
def test_agrees_with_the_radiation_model(
    variant: Variant,
    attitude: str,
    planes: tuple[float | None, ...],
    face: str,
    at: tuple[float, float],
    listening: tuple[float, float, float],
    turned: tuple[float, float],
    panels: list[Panel],
) -> None:
    keys = ("wall_behind", "wall_left", "wall_right", "below", "above")
    distances = dict(zip(keys, planes, strict=True))
    made = replace(
        variant,
        attitude=attitude,
        placement=Placement(
            "near_planes",
            **distances,
            tilt=turned[0],
            lean=turned[1],
            panels=tuple(kit.Panel(**asdict(panel)) for panel in panels),
        ),
        listening=Listening(listening[0], "tweeter", listening[1], listening[2]),
        cabinet=replace(
            variant.cabinet, cutouts={"tweeter": Cutout(face, at), "woofer_a": Cutout("front", (0.1, 0.12))}
        ),
    )
    found = reported(made)
    box = Box(0.2, 0.4, 0.25)
    sources = [Source(*box.point(c.face, c.at), 0.0, 0.0) for c in made.cabinet.cutouts.values()]
    surroundings = Surroundings(attitude, **distances, tilt=turned[0], lean=turned[1], panels=tuple(panels))
    point = listening_point(sources[0].position, *listening, attitude, *turned)
    turn = surroundings.turn
    if not allowed(lambda: _mirrors(box, surroundings)):
        assert found == {"panel_too_short"}
        return
    mirrors = _mirrors(box, surroundings)
    inside = bool(np.all((point >= box.low) & (point <= box.high)))
    wrong = inside or not allowed(lambda: _heard(mirrors, turn @ point))
    # at any but the highest frequencies a panel in the straight way takes more than half of it, one beside it less
    passed = [m.rectangle for m in mirrors if m.rectangle and not m.is_before(turn @ point)]
    begin = (turn @ sources[0].position)[None]
    shares = [abs(each.share(begin, turn @ point, np.array([1e12]))[0, 0]) for each in passed]
    if not wrong and any(0.01 < share < 0.99 for share in shares):
        return  # on the very edge
    assert ("listening_outside" in found) == (wrong or any(share > 0.5 for share in shares))
    if not inside and "listening_outside" not in found:
        faces = [mirror.face for mirror in _touching(mirrors) if mirror.face]
        # of two opposite planes that both touch, the model turns only one into a bigger body; neither may be faced
        touching = [mirror for mirror in mirrors if mirror.face]
        if len({mirror.axis for mirror in touching}) == len(touching):
            united = allowed(lambda: _united(box.low, box.high, faces, sources, 0.0))
            assert ("faces_plane" in found) == (not united)


def allowed(call: object) -> bool:
    try:
        call()  # type: ignore[operator]
    except ValueError:
        return False
    return True


@pytest.mark.parametrize(("degrees", "behind"), [(0, False), (60, False), (90, False), (91, True), (180, True)])
def test_in_a_wall(variant: Variant, degrees: float, behind: bool) -> None:
    made = replace(variant, placement=Placement("in_wall"), listening=Listening(1.0, "tweeter", math.radians(degrees)))
    assert reported(made) == ({"listening_outside"} if behind else set())


@pytest.mark.parametrize(
    ("seats", "placement", "wrong"),
    [
        (Seats(2.0, 0.3), Placement("near_planes", wall_left=0.6), False),
        (Seats(2.0, 0.5), Placement("near_planes", wall_left=0.6), True),  # 2 sin 0.5 = 0.96 m, the wall is at 0.7
        (Seats(2.0, 0.3), Placement("free_standing", panels=(kit.Panel("right", 0.1, 0.3),)), False),
        (Seats(2.0, 0.7), Placement("free_standing", panels=(kit.Panel("right", 0.1, 0.3),)), True),  # atan 0.2/0.3
        (Seats(2.0, 0.5), Placement("free_standing", panels=(kit.Panel("right", 0.1, 0.3),)), False),
    ],
)
def test_seats(variant: Variant, seats: Seats, placement: Placement, wrong: bool) -> None:
    """The cutout is 0.1 m from both sides."""
    made = replace(variant, placement=placement, seats=seats)
    assert reported(made) == ({"listening_outside"} if wrong else set())
