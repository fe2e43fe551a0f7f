"""Cabinets: outlines, cutouts and chambers with their default losses."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from enclosures.materials import MATERIALS, flow_resistivity
from enclosures.tuning import tuned_port_length
from system import cabinetmodel as edge
from system.context import Context, Path_
from system.document import advice, label
from system.kit import (
    Baffle,
    Cabinet,
    Chamber,
    Cutout,
    DriverData,
    FillSpec,
    LineChamber,
    MouthSpec,
    PortSpec,
    RadiatorChamber,
    RadiatorSpec,
    SealedChamber,
    SectionSpec,
    VentedChamber,
)

# Q values taken where a chamber says nothing, at its own resonance.
# Sealed: our own cautious figures for a well-built box. Vented: 7 stands for all losses together (Small, J. Audio Eng.
# Soc. 21, 1973), so absorption and port take none; the same is done for a box with a passive radiator.
SEALED_LOSSES = {"leak": 20.0, "absorption": 100.0}
VENTED_LOSSES = {"leak": 7.0, "absorption": math.inf, "port": math.inf}
RADIATOR_LOSSES = {"leak": 7.0, "absorption": math.inf}

Hookups = Mapping[str, DriverData | None]  # None: the driver is at fault


def resolve_cabinet(name: str, cabinet: edge.Cabinet, hookups: Hookups | None, context: Context) -> Cabinet | None:
    """The cabinet with every chamber that is sound. `hookups` None: their names are not known, so none are checked."""
    path = ("cabinets", name)
    baffle = Baffle(**cabinet.baffle.model_dump()) if cabinet.baffle else None
    unknown_baffle = cabinet.baffle is None and context.has((*path, "baffle"))
    if baffle and 2 * baffle.edge_radius > min(baffle.width, baffle.height):
        found = f"{name}: edge_radius is {context.text((*path, 'baffle', 'edge_radius'))}, more than half of the front"
        context.report.error(
            "edge_radius", (*path, "baffle", "edge_radius"), found, "it is the radius of the front's edges"
        )
    places = _Places(baffle, unknown_baffle, context)
    cutouts = {}
    if cabinet.cutouts is None and context.has((*path, "cutouts")):
        context.doubtful.add(path)
    for key, cutout in (cabinet.cutouts or {}).items():
        if hookups is not None and key not in hookups:
            context.unknown_name((*path, "cutouts", key), key, list(hookups), "hookup name", key=True)
            context.doubtful.add(path)
        if cutout is None:
            context.doubtful.add(path)
        else:
            cutouts[key] = places.cutout(cutout, (*path, "cutouts", key))
    chambers = []
    housed: dict[str, str] = {}
    for index, chamber in enumerate(cabinet.chambers or []):
        here = (*path, "chambers", str(index))
        if chamber is not None:
            _check_drivers(chamber, here, hookups, housed, context)
            made = KINDS[type(chamber)](chamber, here, places, context)
            if made is not None:
                chambers.append(made)
    return Cabinet(name, baffle, {key: value for key, value in cutouts.items() if value}, tuple(chambers))


def _check_drivers(
    chamber: edge.Chamber, path: Path_, hookups: Hookups | None, housed: dict[str, str], context: Context
) -> None:
    keyed = isinstance(chamber.drivers, dict)
    for index, name in enumerate(chamber.drivers):
        at = (*path, "drivers", name if keyed else str(index))
        if name in housed:
            found = f"{name} is in {housed[name]} already"
            context.report.error("driver_twice", at, found, "a driver is in one chamber", key=keyed)
        elif hookups is not None and name not in hookups:
            context.unknown_name(at, name, list(hookups), "hookup name", key=keyed)
        elif hookups and (driver := hookups[name]) is not None and driver.small_signal is None:
            found = f"{name} is known by its tables only and cannot be put into a chamber"
            context.report.error(
                "chamber_needs_parameters",
                at,
                found,
                "give its parameters, or leave it out of chambers: it has a closed back",
                key=keyed,
            )
        housed.setdefault(name, label(path))


class _Places:
    """Cutouts against the cabinet's outline."""

    def __init__(self, baffle: Baffle | None, unknown: bool, context: Context) -> None:
        self.baffle, self.unknown, self.context = baffle, unknown, context

    def cutout(self, cutout: Any, path: Path_) -> Cutout | None:
        if cutout is None:
            return None
        placed = cutout if isinstance(cutout, edge.PlacedCutout) else edge.PlacedCutout.model_construct(at=cutout)
        x, y = placed.at
        result = Cutout(placed.face, (x, y), placed.set_back)
        self._check(result, path)
        return result

    def _check(self, cutout: Cutout, path: Path_) -> None:
        report, baffle = self.context.report, self.baffle
        if baffle is None:
            if cutout.face != "front" and not self.unknown:
                found = f"{label(path)} is on the {cutout.face}, and the cabinet has no baffle"
                report.error("cutout_no_baffle", path, found, "give the baffle's width, height and depth")
                self.context.doubtful.add(path[:2])
            return
        width, height, across = {
            "front": (baffle.width, baffle.height, baffle.depth),
            "rear": (baffle.width, baffle.height, baffle.depth),
            "left": (baffle.depth, baffle.height, baffle.width),
            "right": (baffle.depth, baffle.height, baffle.width),
            "top": (baffle.width, baffle.depth, baffle.height),
            "bottom": (baffle.width, baffle.depth, baffle.height),
        }[cutout.face]
        x, y = cutout.at
        if not (0 < x < width and 0 < y < height):
            found = f"{label(path)} has its centre {_mm(x)} from the left and {_mm(y)} from below"
            report.error("cutout_outside", path, found, f"its face is {_mm(width)} wide and {_mm(height)} high")
            self.context.doubtful.add(path[:2])
        elif cutout.set_back > across:
            found = f"{label(path)} has its acoustic centre {_mm(cutout.set_back)} behind the face"
            report.error("cutout_outside", path, found, f"the cabinet is {_mm(across)} deep there")


def _mm(metres: float) -> str:
    return f"{metres * 1e3:.4g} mm"


def fill(fill: edge.Fill | None, volume: float, path: Path_, context: Context) -> FillSpec | None:
    """The filling of a space of `volume` (m3) by its flow resistivity."""
    if fill is None:
        return None
    here, report = (*path, "fill"), context.report
    amounts = [key for key in ("density", "mass") if getattr(fill, key) is not None]
    if fill.flow_resistivity is not None:
        extra = [key for key in ("material", *amounts) if getattr(fill, key) is not None]
        if extra:
            found = f"{label(here)} has flow_resistivity and {' and '.join(extra)}"
            report.error("fill_twice", here, found, "give either flow_resistivity, or material with density or mass")
            return None
        return FillSpec(fill.flow_resistivity, fill.model)
    if fill.material is None:
        allowed = "give material with density or mass, or flow_resistivity"
        context.missing((*here, "material"), f"{label(here)} has no material", allowed)
        return None
    if fill.material not in MATERIALS:
        found = f'{label((*here, "material"))} is "{fill.material}"'
        report.error("unknown_word", (*here, "material"), found, advice(fill.material, list(MATERIALS)))
        return None
    if not amounts:
        context.missing((*here, "density"), f"{label(here)} has neither density nor mass", "give one of the two")
        return None
    if len(amounts) == 2:
        report.error("fill_twice", here, f"{label(here)} has both density and mass", "give one of the two")
        return None
    density = fill.density if fill.density is not None else (fill.mass or 0.0) / volume
    if density > 300:
        found = f"{label(here)} comes to {density:.0f} kg/m3 in {volume * 1e3:.3g} L"
        report.error("fill_too_dense", here, found, "more than 300 kg/m3 is no filling")
        return None
    return FillSpec(flow_resistivity(fill.material, density), fill.model)


def _losses(
    losses: Any, defaults: Mapping[str, float], filled: bool, path: Path_, context: Context
) -> dict[str, float]:
    """Q values as given, else the defaults, which are printed. Where there is a fill, absorption is the fill's."""
    given = {key: value for key in defaults if losses and (value := getattr(losses, key)) is not None}
    if filled and math.isfinite(given.get("absorption", math.inf)):
        at = (*path, "losses", "absorption")
        found = f"{label(path)} has both a fill and losses.absorption"
        context.report.error("absorption_and_fill", at, found, "absorption comes from the fill: leave one out")
    values = {**defaults, **({"absorption": math.inf} if filled else {}), **given}
    assumed = [key for key in defaults if key not in given and not (filled and key == "absorption")]
    if assumed:
        words = ", ".join(
            f"{key} {values[key]:g}" if math.isfinite(values[key]) else f"{key} lossless" for key in assumed
        )
        context.assumed(path, f"{label(path)} leaves its losses open", f"{words} assumed")
    return values


def _area(diameter: float | None, area: float | None, path: Path_, context: Context) -> float | None:
    if diameter is not None and area is not None:
        context.report.error("given_twice", path, f"{label(path)} has both diameter and area", "give one of the two")
        return None
    if diameter is not None:
        return math.pi / 4 * diameter**2
    if area is None:
        context.missing((*path, "diameter"), f"{label(path)} has neither diameter nor area", "give one of the two")
    return area


def _sealed(chamber: edge.Sealed, path: Path_, places: _Places, context: Context) -> Chamber:
    losses = _losses(chamber.losses, SEALED_LOSSES, chamber.fill is not None, path, context)
    spec = fill(chamber.fill, chamber.volume, path, context)
    return SealedChamber(tuple(chamber.drivers), chamber.volume, losses["leak"], losses["absorption"], spec)


def _vented(chamber: edge.Vented, path: Path_, places: _Places, context: Context) -> Chamber | None:
    losses = _losses(chamber.losses, VENTED_LOSSES, chamber.fill is not None, path, context)
    spec = fill(chamber.fill, chamber.volume, path, context)
    lengths = [index for index, port in enumerate(chamber.ports) if port.length is not None]
    sound = True
    if chamber.tuning is not None and lengths:
        found = f"{label(path)} has a tuning and a port with a length"
        context.report.error(
            "tuning_and_length", (*path, "tuning"), found, "the tuning gives the length: leave one out"
        )
        sound = False
    ports = []
    for index, port in enumerate(chamber.ports):
        here = (*path, "ports", str(index))
        if chamber.tuning is None and port.length is None:
            found = f"{label(here)} has no length, and {label(path)} no tuning"
            if not context.has((*path, "tuning")):
                context.missing((*here, "length"), found, "give one of the two")
            sound = False
        area = _area(port.diameter, port.area, here, context)
        cutout = places.cutout(port.cutout, (*here, "cutout"))
        if area is not None:
            ports.append(PortSpec(area, port.length, port.count, port.end, port.inner_end, cutout))
    if not sound or len(ports) < len(chamber.ports):
        return None
    if chamber.tuning is not None:
        try:
            tuned_port_length(chamber.volume, chamber.tuning, ports, context.air)
        except ValueError as error:
            found = f"{label((*path, 'tuning'))}: {error}"
            context.report.error("tuning_impossible", (*path, "tuning"), found, "give the ports a length instead")
            return None
    return VentedChamber(
        tuple(chamber.drivers),
        chamber.volume,
        tuple(ports),
        chamber.tuning,
        losses["leak"],
        losses["absorption"],
        losses["port"],
        spec,
    )


def _passive_radiator(chamber: edge.PassiveRadiator, path: Path_, places: _Places, context: Context) -> Chamber:
    losses = _losses(chamber.losses, RADIATOR_LOSSES, chamber.fill is not None, path, context)
    spec = fill(chamber.fill, chamber.volume, path, context)
    radiators = tuple(
        RadiatorSpec(
            r.sd, r.mms, r.cms, r.rms, r.count, places.cutout(r.cutout, (*path, "radiators", str(i), "cutout"))
        )
        for i, r in enumerate(chamber.radiators)
    )
    return RadiatorChamber(
        tuple(chamber.drivers), chamber.volume, radiators, losses["leak"], losses["absorption"], spec
    )


def _line(chamber: edge.Line, path: Path_, places: _Places, context: Context) -> Chamber | None:
    report = context.report
    sections = [_section(s, (*path, "profile", str(i)), context) for i, s in enumerate(chamber.profile)]
    total = sum(section.length for section in chamber.profile)
    for name, position in chamber.drivers.items():
        if position > total * (1 + 1e-9):
            at = (*path, "drivers", name)
            found = f"{name} is {_mm(position)} from the closed end"
            report.error("position_outside_line", at, found, f"the line is {_mm(total)} long")
    mouth = _mouth(chamber.mouth, path, places, context)
    if chamber.walls is None:
        context.assumed(path, f"{label(path)} does not say how its walls are", "walls: lossy assumed")
    if mouth is None or any(section is None for section in sections):
        return None
    return LineChamber(
        drivers=tuple(chamber.drivers),
        positions=tuple(chamber.drivers.values()),
        profile=tuple(section for section in sections if section),
        mouth=mouth,
        lossy_walls=chamber.walls != "lossless",
    )


def _section(section: edge.Section, path: Path_, context: Context) -> SectionSpec | None:
    report = context.report
    ways = [
        key
        for key, there in (
            ("area", section.area is not None),
            ("width and depth", section.width is not None or section.depth is not None),
            ("diameter", section.diameter is not None),
        )
        if there
    ]
    if not ways:
        context.missing((*path, "area"), f"{label(path)} has no area", "give area, or width and depth, or diameter")
        return None
    if len(ways) > 1:
        found = f"{label(path)} has {' and '.join(ways)}"
        report.error("given_twice", path, found, "give area, or width and depth, or diameter")
        return None
    if section.area is not None:
        area = section.area
    elif section.diameter is not None:
        area = math.pi / 4 * section.diameter**2
    elif section.width is not None and section.depth is not None:
        area = section.width * section.depth
    else:
        key = "depth" if section.depth is None else "width"
        context.missing((*path, key), f"{label(path)} has no {key}", "width and depth together give the area")
        return None
    if section.taper is not None and section.end_area is None:
        found = f"{label(path)} has a taper and no end_area"
        report.warning("taper_without_end_area", (*path, "taper"), found, "it is taken as straight")
    end_area, taper = section.end_area or area, section.taper or "area_linear"
    if section.taper is None and end_area != area:
        context.assumed(path, f"{label(path)} does not say how it tapers", "taper: area_linear assumed")
    spec = fill(section.fill, section.length * MEAN_AREA[taper](area, end_area), path, context)
    if section.fill is not None and spec is None:
        return None
    return SectionSpec(section.length, area, end_area, taper, spec)


# volume of a section over its length, from the areas of its ends
MEAN_AREA: Mapping[str, Callable[[float, float], float]] = {
    "area_linear": lambda a, b: (a + b) / 2,
    "conical": lambda a, b: (a + b + math.sqrt(a * b)) / 3,  # frustum of a cone
    "exponential": lambda a, b: (b - a) / math.log(b / a) if abs(b / a - 1) > 1e-9 else a,
}


def _mouth(mouth: edge.Mouth | None, path: Path_, places: _Places, context: Context) -> MouthSpec | None:
    here = (*path, "mouth")
    if mouth is None:
        context.assumed(path, f"{label(path)} has no mouth", "an open end in a flange is assumed")
        return MouthSpec("flanged")
    cutout = places.cutout(mouth.cutout, (*here, "cutout"))
    if mouth.port is None:
        if mouth.inner_end is not None and not context.has((*here, "port")):
            found = f"{label(here)} has an inner_end and no port"
            context.report.error(
                "inner_end_without_port", (*here, "inner_end"), found, "inner_end is the inside of a port"
            )
            return None
        return MouthSpec(mouth.end, None, cutout)
    area = _area(mouth.port.diameter, mouth.port.area, (*here, "port"), context)
    if area is None:
        return None
    port = PortSpec(area, mouth.port.length, mouth.port.count, mouth.end, mouth.inner_end or "ideal", cutout)
    return MouthSpec(mouth.end, port, cutout)


# One line for each kind of chamber of the kit file.
KINDS: Mapping[type[Any], Callable[..., Chamber | None]] = {
    edge.Sealed: _sealed,
    edge.Vented: _vented,
    edge.PassiveRadiator: _passive_radiator,
    edge.Line: _line,
}
