"""Cabinets: outlines, cutouts and chambers with their default losses."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from enclosures.tuning import tuned_port_length
from system import cabinetmodel as edge
from system.context import Context, Path_
from system.document import label
from system.kit import (
    Baffle,
    Cabinet,
    Chamber,
    DriverData,
    RadiatorChamber,
    RadiatorSpec,
    SealedChamber,
    VentedChamber,
)
from system.resolve_drivers import check_excursions
from system.resolve_fills import fill
from system.resolve_lines import line
from system.resolve_places import Places, alone, mm
from system.resolve_ports import check_inside, port
from system.resolve_wood import resolve_boards

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
    baffle = Baffle(**cabinet.baffle.given()) if cabinet.baffle else None
    unknown_baffle = cabinet.baffle is None and context.has((*path, "baffle"))
    if baffle and (2 * baffle.edge_radius > min(baffle.width, baffle.height) or baffle.edge_radius >= baffle.depth):
        at = (*path, "baffle", "edge_radius")
        found = f"{name}: edge_radius is {context.text(at)}, and no such rounding fits the front"
        allowed = f"at most half of {mm(min(baffle.width, baffle.height))}, and less than the depth, {mm(baffle.depth)}"
        context.report.error("edge_radius", at, found, allowed)
        baffle = replace(baffle, edge_radius=0.0)  # cutouts are told of the faults that remain
    places = Places(baffle, unknown_baffle, context)
    if cabinet.cutouts is None and context.has((*path, "cutouts")):
        context.doubtful.add(path)
    for key, cutout in (cabinet.cutouts or {}).items():
        if hookups is not None and key not in hookups:
            context.unknown_name((*path, "cutouts", key), key, list(hookups), "hookup name", key=True)
            context.doubtful.add(path)
        if cutout is None:
            context.doubtful.add(path)
        elif (placed := places.cutout(cutout, (*path, "cutouts", key))) is not None:
            places.drivers[key] = placed
    for key, placed in places.drivers.items():
        driver = (hookups or {}).get(key)
        places.takes(placed, driver.sd if driver else None, (*path, "cutouts", key))
    chambers = []
    housed: dict[str, str] = {}
    for index, chamber in enumerate(cabinet.chambers or []):
        here = (*path, "chambers", str(index))
        if chamber is not None:
            _check_drivers(chamber, here, hookups, housed, context)
            made = KINDS[type(chamber)](chamber, here, places, context)
            if made is not None:
                chambers.append(made)
    boards = resolve_boards(cabinet.boards, baffle, path, context)
    return Cabinet(name, baffle, places.drivers, tuple(chambers), boards)


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


def _sealed(chamber: edge.Sealed, path: Path_, _places: Places, context: Context) -> Chamber:
    losses = _losses(chamber.losses, SEALED_LOSSES, chamber.fill is not None, path, context)
    spec = fill(chamber.fill, chamber.volume, path, context)
    wave = chamber.standing_wave
    return SealedChamber(
        tuple(chamber.drivers),
        chamber.volume,
        losses["leak"],
        losses["absorption"],
        spec,
        wave.along if wave else None,
        _along(wave, chamber.drivers, path, context) if wave else (),
    )


def _along(wave: edge.StandingWave, drivers: list[str], path: Path_, context: Context) -> tuple[float, ...]:
    """Where each driver of the box sits along its standing wave, m from one end."""
    here, given = (*path, "standing_wave"), wave.drivers or {}
    for name, position in given.items():
        at = (*here, "drivers", name)
        if name not in drivers:
            context.unknown_name(at, name, drivers, "driver of this chamber", key=True)
        elif position > wave.along * (1 + 1e-9):
            found = f"{name} is {mm(position)} from one end of the box"
            context.report.error("position_outside_line", at, found, f"it is {mm(wave.along)} long along its wave")
    left_open = [name for name in drivers if name not in given]
    if left_open:
        found = f"{label(here)} does not say where {', '.join(left_open)} is"
        context.assumed(here, found, "0 mm assumed, at one end")
    return tuple(min(given.get(name, 0.0), wave.along) for name in drivers)


def _vented(chamber: edge.Vented, path: Path_, places: Places, context: Context) -> Chamber | None:
    losses = _losses(chamber.losses, VENTED_LOSSES, chamber.fill is not None, path, context)
    spec = fill(chamber.fill, chamber.volume, path, context)
    sound = True
    if chamber.tuning is not None and any(given.length is not None for given in chamber.ports):
        found = f"{label(path)} has a tuning and a port with a length"
        context.report.error(
            "tuning_and_length", (*path, "tuning"), found, "the tuning gives the length: leave one out"
        )
        sound = False
    ports = []
    for index, given in enumerate(chamber.ports):
        here = (*path, "ports", str(index))
        if chamber.tuning is None and given.length is None:
            found = f"{label(here)} has no length, and {label(path)} no tuning"
            if not context.has((*path, "tuning")):
                context.missing((*here, "length"), found, "give one of the two")
            sound = False
        cutout = places.cutout(given.cutout, (*here, "cutout"))
        made = port(given, given.length, (given.end, given.inner_end), cutout, here, context)
        if made is not None:
            ports.append(made)
            places.takes(cutout, alone(made.area, made.count) if given.diameter else None, (*here, "cutout"))
    if not sound or len(ports) < len(chamber.ports):
        return None
    tuned = 0.0
    if chamber.tuning is not None:
        try:
            tuned = tuned_port_length(chamber.volume, chamber.tuning, ports, context.air)
        except ValueError as error:
            found = f"{label((*path, 'tuning'))}: {error}"
            context.report.error("tuning_impossible", (*path, "tuning"), found, "give the ports a length instead")
            return None
    for index, made in enumerate(ports):
        length = tuned if made.length is None else made.length
        check_inside(made, length, (*path, "ports", str(index)), places, context)
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


def _passive_radiator(chamber: edge.PassiveRadiator, path: Path_, places: Places, context: Context) -> Chamber:
    losses = _losses(chamber.losses, RADIATOR_LOSSES, chamber.fill is not None, path, context)
    spec = fill(chamber.fill, chamber.volume, path, context)
    radiators = tuple(
        _radiator(given, (*path, "radiators", str(i)), places, context) for i, given in enumerate(chamber.radiators)
    )
    return RadiatorChamber(
        tuple(chamber.drivers), chamber.volume, radiators, losses["leak"], losses["absorption"], spec
    )


def _radiator(given: edge.Radiator, path: Path_, places: Places, context: Context) -> RadiatorSpec:
    check_excursions(given.linear_excursion, given.damage_excursion, path, context)
    cutout = places.cutout(given.cutout, (*path, "cutout"))
    places.takes(cutout, alone(given.sd, given.count), (*path, "cutout"))
    return RadiatorSpec(
        given.sd,
        given.mms,
        given.cms,
        given.rms,
        given.count,
        cutout,
        given.linear_excursion,
        given.damage_excursion,
        given.displaces,
    )


# One line for each kind of chamber of the kit file.
KINDS: Mapping[type[Any], Callable[..., Chamber | None]] = {
    edge.Sealed: _sealed,
    edge.Vented: _vented,
    edge.PassiveRadiator: _passive_radiator,
    edge.Line: line,
}
