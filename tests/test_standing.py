"""Where a variant stands: the kit reader's plain geometry against that of the radiation model, found independently."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from enclosures.baffle import Box, Source
from enclosures.placement import TOUCHING, TURNS, Surroundings, _images, _united, listening_point
from system.context import Context
from system.document import Report
from system.kit import Cutout, Listening, Placement, Variant
from system.kitfile import load_kit
from system.standing import check_standing

SMALL = Path(__file__).parent / "wrong" / "format.yaml"
ANGLES = st.floats(-math.pi, math.pi)
DISTANCES = st.none() | st.just(0.0) | st.floats(0.0, 3.0)
PLACES = st.floats(0.01, 0.19)
FACES = st.sampled_from(["front", "rear", "left", "right", "top", "bottom"])


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
)
def test_agrees_with_the_radiation_model(
    variant: Variant,
    attitude: str,
    planes: tuple[float | None, ...],
    face: str,
    at: tuple[float, float],
    listening: tuple[float, float, float],
) -> None:
    keys = ("wall_behind", "wall_left", "wall_right", "below", "above")
    distances = dict(zip(keys, planes, strict=True))
    made = replace(
        variant,
        attitude=attitude,
        placement=Placement("near_planes", **distances),
        listening=Listening(listening[0], "tweeter", listening[1], listening[2]),
        cabinet=replace(
            variant.cabinet, cutouts={"tweeter": Cutout(face, at), "woofer_a": Cutout("front", (0.1, 0.12))}
        ),
    )
    found = reported(made)
    box = Box(0.2, 0.4, 0.25)
    sources = [Source(*box.point(c.face, c.at), 0.0, 0.0) for c in made.cabinet.cutouts.values()]
    surroundings = Surroundings(attitude, **distances)
    point = listening_point(sources[0].position, *listening, attitude)
    inside = bool(np.all((point >= box.low) & (point <= box.high)))
    assert ("listening_outside" in found) == (inside or not allowed(lambda: _images(box, surroundings, point)))
    if not inside and "listening_outside" not in found:
        _, low, high, touched = _images(box, surroundings, point)
        # of two opposite planes that both touch, the model turns only one into a bigger body; neither may be faced
        if all(None in pair or max(pair) > TOUCHING for pair in ((planes[1], planes[2]), (planes[3], planes[4]))):
            assert ("faces_plane" in found) == (not allowed(lambda: _united(low, high, touched, sources, 0.0)))


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
