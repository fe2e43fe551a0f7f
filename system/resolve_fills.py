"""Fibrous filling: from what it is made of and how much, or its flow resistivity, to what the models take."""

from __future__ import annotations

from enclosures.materials import MATERIALS, STATED_SPREAD, flow_resistivity
from system import cabinetmodel as edge
from system.context import Context, Path_
from system.document import advice, label
from system.kit import FillSpec

DENSEST = 300.0  # kg/m3: what is packed closer is no filling


def fill(model: edge.Fill | None, volume: float, path: Path_, context: Context, share: float = 1.0) -> FillSpec | None:
    """The filling of a space of `volume` (m3) by its flow resistivity; it takes `share` of the cross-section."""
    if model is None:
        return None
    here, report = (*path, "fill"), context.report
    amounts = [key for key in ("density", "mass") if getattr(model, key) is not None]
    if model.flow_resistivity is not None:
        extra = [key for key in ("material", *amounts) if getattr(model, key) is not None]
        if extra:
            found = f"{label(here)} has flow_resistivity and {' and '.join(extra)}"
            report.error("fill_twice", here, found, "give either flow_resistivity, or material with density or mass")
            return None
        return FillSpec(model.flow_resistivity, model.model, None, share, model.spread or STATED_SPREAD)
    if model.material is None:
        allowed = "give material with density or mass, or flow_resistivity"
        context.missing((*here, "material"), f"{label(here)} has no material", allowed)
        return None
    if model.material not in MATERIALS:
        found = f'{label((*here, "material"))} is "{model.material}"'
        report.error("unknown_word", (*here, "material"), found, advice(model.material, list(MATERIALS)))
        return None
    if not amounts:
        context.missing((*here, "density"), f"{label(here)} has neither density nor mass", "give one of the two")
        return None
    if len(amounts) == 2:
        report.error("fill_twice", here, f"{label(here)} has both density and mass", "give one of the two")
        return None
    held = volume * share
    density = model.density if model.density is not None else (model.mass or 0.0) / held
    if density > DENSEST:
        found = f"{label(here)} comes to {density:.0f} kg/m3 in {held * 1e3:.3g} L"
        report.error("fill_too_dense", here, found, f"more than {DENSEST:g} kg/m3 is no filling")
        return None
    spread = model.spread or MATERIALS[model.material].spread
    return FillSpec(flow_resistivity(model.material, density), model.model, density, share, spread, model.material)
