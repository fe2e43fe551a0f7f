"""Another part in a place: an article from stock as it is fitted there, and the build with it. Nothing else changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from system.build import PARTS, Build
from system.kit import Part, PartKind, StockItem

AS_DRAWN = 1e-6  # a ratio: nearer values are the same
RATING: Mapping[PartKind, str] = {
    "capacitor": "voltage_rating",
    "resistor": "power_rating",
    "coil": "current_rating",
}  # what the rating of an article is of


def fitted_from(part: Part, item: StockItem) -> Part:
    """The article in the place of `part`: what is not known of it is as it was."""
    known: dict[str, Any] = {RATING[part.kind]: item.rating, "tolerance": item.tolerance, "type": item.type}
    known["resistance"] = item.dc_resistance if part.kind == "coil" else None
    given = {name: value for name, value in known.items() if value is not None}
    return replace(part, value=item.value, made_of=(), marked_value=None, **given)


def with_part(model: Build, reference: str, part: Part) -> Build:
    """The build with another part in a place where one is fitted; nothing else of it changes."""
    return with_parts(model, reference, [part])


def with_parts(model: Build, reference: str, several: Sequence[Part]) -> Build:
    """B builds in one, with each of `several` parts of one kind in the place: more than one become arrays (B,)."""
    made: list[Any] = [PARTS[part.kind](part) for part in several]
    part = made[0]
    if len(made) > 1:
        known = [each.name for each in fields(part) if getattr(part, each.name) is not None]
        part = replace(part, **{name: np.array([getattr(each, name) for each in made]) for name in known})
    elements = tuple(
        replace(each, part=part) if each.reference == reference else each for each in model.network.elements
    )
    return replace(model, network=replace(model.network, elements=elements))
