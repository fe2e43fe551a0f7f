"""What the sentence of every picture says: of which variant, at how many volts, how far away, where, how smooth."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from system import api
from system.bench.characterise import Second
from system.bench.sweeps import read_sweep
from system.kit import Kit
from system.sheets import characterise_graphs, expect_graphs, graphs, revalue_graphs, spread_graphs, verify_graphs
from system.sheets.circumstances import heard_all
from system.sheets.pictures import Picture
from tests.test_cli import HOME, MARSHLIGHT

EXAMPLES = HOME / "docs" / "examples"
GRID = np.geomspace(20, 20e3, 40)
PLACES = ("in any room", "in free air", "on the wall behind")
DRIVES = ("at any volts", "on a small signal", "2.83 V", "on a sine of 25.3 V")


@pytest.fixture(scope="module")
def kit() -> Kit:
    return api.load_kit(MARSHLIGHT)


def test_distances_that_are_the_same_stand_once(kit: Kit) -> None:
    words = heard_all([kit.variants["centre"], kit.variants["wall"]], 2.83)
    assert words == "centre, in a wall; wall, on the wall behind: 2.83 V, 3 m, not smoothed"


def test_distances_that_differ_stand_with_each(kit: Kit) -> None:
    near = api.load_kit(MARSHLIGHT, ["listening.distance=1.5 m"]).variants["wall"]
    words = heard_all([kit.variants["centre"], near])
    assert words == "centre, in a wall, 3 m; wall, on the wall behind, 1.5 m: at any volts, not smoothed"


def verified(kit: Kit) -> Sequence[Picture]:
    sweep, heard, other = (EXAMPLES / f"wall-{name}.txt" for name in ("right", "right-heard", "left"))
    return verify_graphs.verified(kit, api.verify(kit, "wall", sweep=sweep, microphone=heard, against=other))


def characterised(kit: Kit) -> Sequence[Picture]:
    heavier = EXAMPLES / "woofer-with-10-g.txt"
    found = api.characterise(EXAMPLES / "woofer-free.txt", added_mass=(10e-3, heavier))
    return characterise_graphs.single(found, Second("added_mass", 10e-3, read_sweep(heavier)))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("made", "of"),
    [
        (verified, "wall"),
        (characterised, "woofer-free.txt"),
        (lambda kit: expect_graphs.expect(kit, [api.expect(kit, "wall", GRID)]), "wall"),
        (lambda kit: revalue_graphs.revalue(kit, api.revalue(kit, ["wall"], ["R1"])), "wall"),
        (lambda kit: spread_graphs.spread(kit, [api.spread(kit, "wall", 200)], 0), "wall"),
        (lambda kit: graphs.comparison(api.compare(kit, variants=["wall"], frequencies=GRID)), "wall"),
        (lambda kit: graphs.predictions(kit, [api.predict(kit, "wall", GRID)]), "wall"),
    ],
    ids=["verify", "characterise", "expect", "revalue", "spread", "compare", "predict"],
)
def test_every_sentence_names_its_circumstances(made: Callable[[Kit], Sequence[Picture]], of: str, kit: Kit) -> None:
    pictures = made(kit)
    assert len(pictures) > 1
    for picture in pictures:
        told = picture.sentence
        assert of in told, told
        assert any(place in told for place in PLACES), told
        assert any(drive in told for drive in DRIVES), told
        assert "smoothed" in told or "third-octaves" in told, told
        if "on the wall behind" in told:
            assert "3 m" in told, told
        assert picture.alt.startswith(f"{picture.question} {told}.")
