"""Laws of where a cabinet stands and from where it is heard, on whole random kits."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st

from tests.strategies_kits import kits
from tests.support_laws import FREQUENCY, Amount, Draft, close, law, loudness, si

FEW = FREQUENCY[::3]


def places_of(tree):
    """Every pair of a cabinet's cutouts, with what holds it and under which key."""
    box = tree["cabinets"]["box"]
    chambers = box.get("chambers", [])
    openings = [each for c in chambers for each in (*c.get("ports", []), *c.get("radiators", []), c.get("mouth", {}))]
    for holder in (box.get("cutouts", {}), *openings):
        for key, place in holder.items():
            if isinstance(place, list):
                yield holder, key, place


@law(few=6, many=60, draft=kits(), right=st.integers(0, 300), up=st.integers(0, 300))
def test_a_wall_is_the_same_everywhere(draft, right, up):
    """In an infinite wall only distances between drivers count: the outside of the cabinet behind it does not."""
    assume("baffle" in draft.tree["cabinets"]["box"])

    def moved(tree):
        outside = tree["cabinets"]["box"]["baffle"]
        for key, more in (("width", 2 * right), ("height", 2 * up), ("depth", 50)):
            outside[key] = Amount(outside[key].number + more, "mm")
        for holder, key, (x, y) in list(places_of(tree)):
            holder[key] = [Amount(x.number + right, "mm"), Amount(y.number + up, "mm")]

    a, b = draft.predict(), draft.changed(moved).predict()
    close(b.pressure, a.pressure, loudness(a))
    close(b.impedance, a.impedance, np.abs(a.impedance))


def standing(draft: Draft, placement, **listening) -> Draft:
    """In another place, heard from another."""
    return draft.put("variants.v.placement", placement).put("listening", listening)


@law(few=2, many=15, draft=kits(kinds=("none", "sealed"), placements=("free_standing",)))
def test_in_the_open_bass_has_half_the_pressure_of_that_in_a_wall(draft):
    """Full space for half space at low frequency (Olson, Acoustical Engineering, 1957, chapter 2, from memory).

    A cabinet is felt as a shift of the source by about its own size, a share of the distance.
    """
    distance, frequency = Amount(Decimal(40), "m"), np.array([4.0, 6.0])
    wall = standing(draft, "in_wall", distance=distance).predict(frequency)
    free = standing(draft, "free_standing", distance=distance).predict(frequency)
    outside = draft.tree["cabinets"]["box"]["baffle"]
    largest = np.linalg.norm([si(outside[key]) for key in ("width", "height", "depth")])
    for name, driver in wall.drivers.items():
        ratio = 2 * np.abs(free.drivers[name].pressure) / np.abs(driver.pressure)
        assert np.max(np.abs(ratio - 1)) < largest / 40 + (2 * np.pi * 6 / 343 * largest) ** 2


@law(few=2, many=15, draft=kits(placements=("free_standing",)), angle=st.integers(-60, 60))
def test_a_cabinet_on_its_side_is_heard_from_below_as_from_the_side(draft, angle):
    """Free space has no up: turned counter-clockwise as seen from the front, its right points up."""
    distance, turned = Amount(Decimal(2), "m"), Amount(Decimal(angle), "deg")
    upright = standing(draft, "free_standing", distance=distance, angle_horizontal=turned)
    lying = standing(draft, "free_standing", distance=distance, angle_vertical=turned)
    lying = lying.put("variants.v.attitude", "on_left_side")
    a, b = upright.predict(FEW), lying.predict(FEW)
    close(b.pressure, a.pressure, loudness(a), 1e-6)


@law(few=2, many=15, draft=kits(placements=("free_standing",)), choice=st.sampled_from(["left", "right", "behind"]))
def test_a_wall_far_away_is_hardly_there(draft, choice):
    """Its image is heard as 1/r (mirror images: Allen & Berkley, J. Acoust. Soc. Am. 65, 1979): the less, the farther.

    An image is at most as loud as a source in half space, 2 of free space, at the distance of the image.
    """
    near = standing(draft, {f"wall_{choice}": Amount(Decimal(20), "m")}, distance=Amount(Decimal(1), "m"))
    free = standing(draft, "free_standing", distance=Amount(Decimal(1), "m"))
    a, b = free.predict(FEW), near.predict(FEW)
    wall = standing(draft, "in_wall", distance=Amount(Decimal(1), "m")).predict(FEW)
    apart = np.abs(b.pressure - a.pressure)
    assert np.max(apart / sum(np.abs(each.pressure) for each in every(wall))) < 1.5 / (2 * 20 - 1)
    assert np.max(apart / loudness(a)) > 1e-6  # and yet it is


def every(result):
    return [*result.drivers.values(), *result.openings.values()]
