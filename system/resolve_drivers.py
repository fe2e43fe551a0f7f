"""Drivers: from what a data sheet gives to the independent parameters, tables and limits."""

from __future__ import annotations

import math
from collections.abc import Mapping

from enclosures.parameters import (
    AIR_LOADS,
    INDEPENDENT,
    Completed,
    Disagreement,
    InsufficientParameters,
    complete,
    radiation_mass,
)
from system import kitmodel as edge
from system.context import Context, Path_, per_cent, severity_of
from system.document import advice, label
from system.kit import (
    ROOM_TEMPERATURE,
    Coil,
    DriverData,
    HighPass,
    LargeSignalSpec,
    PowerRating,
    ResponseTable,
    SmallSignal,
    Table,
)
from system.resolve_choice import resolve_driver_spread
from system.resolve_curves import resolve_large_signal
from system.resolve_heat import resolve_thermal
from system.resolve_wood import resolve_mounting
from system.tables import IMPEDANCE, RESPONSE, read_table

PARAMETERS = ("re", "fs", "qms", "qes", "qts", "vas", "sd", "mms", "cms", "rms", "bl")
_PRINTED = {  # unit and what to multiply the SI value with
    "re": ("ohm", 1.0),
    "fs": ("Hz", 1.0),
    "vas": ("L", 1e3),
    "sd": ("cm2", 1e4),
    "mms": ("g", 1e3),
    "cms": ("mm/N", 1e3),
    "rms": ("kg/s", 1.0),
    "bl": ("T.m", 1.0),
}


def printed(name: str, value: float) -> str:
    """A small-signal parameter with the unit data sheets give it in."""
    unit, factor = _PRINTED.get(name, ("", 1.0))
    return f"{value * factor:.4g} {unit}".rstrip()


def resolve_driver(name: str, driver: edge.Driver, context: Context) -> DriverData | None:
    """The driver's data, or None where the file's are at fault (and reported)."""
    path = ("drivers", name)
    report = context.report
    found_before = _errors(context)
    given = _given(driver, path, context)
    impedance = _table(driver.impedance, (*path, "impedance"), IMPEDANCE, context)
    response = _response(driver.response, path, context)
    if any((*path, key) in report.misspelt for key in (*PARAMETERS, "effective_diameter", "impedance", "response")):
        return None  # what may be lacking is told already
    tables = driver.impedance is not None and driver.response is not None
    so_far = _errors(context)
    small = _small_signal(driver, given, tables, path, context)
    sound = _errors(context) == so_far
    check_excursions(driver.linear_excursion, driver.damage_excursion, path, context)
    power = _power(driver.power, path, context)
    thermal = resolve_thermal(driver.thermal, power, driver.role, path, context)
    coil = _coil(driver.voice_coil)
    large_signal = _large_signal(driver, small, tables, coil, path, context)
    if small is not None and coil is None and impedance is None:
        context.assumed(path, f"{name} has no voice_coil", "its coil is taken as a resistance without inductance")
    if driver.origin is None:
        context.assumed(path, f"{name} has no origin", "its figures are taken as published, those of a data sheet")
    spread = resolve_driver_spread(driver.spread, _without_spread(driver, small, sound, path, context), path, context)
    mounting = resolve_mounting(driver.mounting, path, context)
    if _errors(context) > found_before:
        return None
    return DriverData(
        name=name,
        role=driver.role,
        re=small.re if small else given["re"],
        sd=small.sd if small else given.get("sd"),
        small_signal=small,
        coil=coil,
        impedance=impedance,
        response=response,
        linear_excursion=driver.linear_excursion,
        linear_excursion_by=driver.linear_excursion_by,
        damage_excursion=driver.damage_excursion,
        power=power,
        origin=driver.origin or "published",
        air_load="included" if driver.air_load == "included" else "free_air",
        voice_coil_temperature=driver.voice_coil_temperature or ROOM_TEMPERATURE,
        winding=driver.winding,
        large_signal=large_signal,
        thermal=thermal,
        spread=spread,
        mounting=mounting,
    )


def _errors(context: Context) -> int:
    return sum(finding.severity == "error" for finding in context.report.findings)


def _without_spread(
    driver: edge.Driver, small: SmallSignal | None, sound: bool, path: Path_, context: Context
) -> dict[str, str]:
    """Of what this driver has no spread -> why; `sound` False: its figures are at fault, so nothing is said of them."""
    without = dict.fromkeys(("fs", "qts"), "is known by its tables only") if small is None and sound else {}
    if driver.response is None:
        without["level"] = "has no response table"
    if not context.has((*path, "linear_excursion")):
        without["linear_excursion"] = "has no linear_excursion"
    return without


def check_excursions(linear: float | None, damage: float | None, path: Path_, context: Context) -> None:
    """Both as one-way peaks (m), of a driver or a radiator."""
    if linear is not None and damage is not None and damage < linear:
        at = (*path, "damage_excursion")
        found = f"{label(at)} is {context.text(at)}, less than linear_excursion"
        context.report.error("excursion_order", at, found, "damage comes after the linear range")


def _given(driver: edge.Driver, path: Path_, context: Context) -> dict[str, float]:
    given = {name: value for name in PARAMETERS if (value := getattr(driver, name)) is not None}
    if driver.effective_diameter is not None:
        area = math.pi / 4 * driver.effective_diameter**2
        if "sd" not in given:
            given["sd"] = area
        elif (relative := given["sd"] / area - 1) and abs(relative) > 1e-6:
            found = (
                f"{path[-1]}.sd is {context.text((*path, 'sd'))}, {per_cent(relative)} off the "
                f"{printed('sd', area)} of effective_diameter"
            )
            context.report.add(severity_of(relative), "driver_disagrees", (*path, "sd"), found, "sd is used")
    if driver.air_load == "none":
        _add_free_air(given, path, context)
    return given


def _add_free_air(given: dict[str, float], path: Path_, context: Context) -> None:
    """To an mms without any air add what the cone carries in free air, where fs and the Qs are measured.

    That leaves it short of the rest: `AIR_LOADS`.
    """
    if "mms" not in given:
        found = f"{label((*path, 'air_load'))} speaks of mms, which is not given"
        allowed = "the moving mass comes from the other figures, taken as measured in free air"
        context.report.warning("air_load_without_mms", (*path, "air_load"), found, allowed)
    elif "sd" not in given:
        found = f"{path[-1]} has no sd, and an mms without air"
        context.missing((*path, "sd"), found, "give sd, from which the mass of the air on the cone follows")
    else:
        lacking = AIR_LOADS["none"] - AIR_LOADS["free_air"]
        given["mms"] += lacking * radiation_mass(given["sd"], context.air.density)


def _table(name: str | None, path: Path_, kind: object, context: Context) -> Table | None:
    if name is None:
        return None
    return context.read_beside(path, name, lambda file, shown: read_table(file, shown, kind))  # type: ignore[arg-type]


def _response(response: edge.Response | None, path: Path_, context: Context) -> ResponseTable | None:
    if response is None:
        return None
    here = (*path, "response")
    table = _table(response.file, (*here, "file"), RESPONSE, context)
    assumed = [
        f"{key} {default}"
        for key, default in (("volts", "2.83 V"), ("distance", "1 m"), ("mounted", "wall"))
        if getattr(response, key) is None
    ]
    if assumed:
        context.assumed(here, f"{path[-1]}.response leaves something open", f"{', '.join(assumed)} assumed")
    if table is None:
        return None
    if table.phase is None and response.phase == "measured":
        found = f"{path[-1]}.response.phase is measured, and {table.file} has no phase column"
        context.report.error("table_phase", (*here, "phase"), found, "write phase: minimum, or add the column")
        return None
    if response.phase == "minimum":
        table = Table(table.file, table.frequency, table.magnitude)
    return ResponseTable(
        table=table,
        volts=response.volts or 2.83,
        distance=response.distance or 1.0,
        mounted=response.mounted or "wall",
    )


def _small_signal(
    driver: edge.Driver, given: Mapping[str, float], tables: bool, path: Path_, context: Context
) -> SmallSignal | None:
    name, report = path[-1], context.report
    prefer = driver.prefer or []
    for index, wanted in enumerate(prefer):
        if wanted not in given:
            at = (*path, "prefer", str(index))
            report.error(
                "unknown_name", at, f'{name}.prefer names "{wanted}", which is not given', advice(wanted, list(given))
            )
            return None
    if tables and not set(given) - {"re", "sd"}:
        if "re" not in given:
            allowed = "with its tables a driver needs its dc resistance"
            context.missing((*path, "re"), f"{name} has no re", allowed)
        return None
    try:
        completed = complete(given, context.air.density, context.air.speed_of_sound, prefer)
    except InsufficientParameters as error:
        if tables and "re" in given:
            unused = [key for key in given if key not in ("re", "sd")]
            found = f"{name} has {', '.join(unused)}, which do not make a full set"
            report.note("driver_unused", path, found, "the driver is known by its tables only")
        else:
            report.error("driver_insufficient", path, f"{name} has not enough parameters: {_of(error)}", _more(error))
        return None
    except ValueError as error:
        report.error("driver_impossible", path, f"{name}: {error}", "look the figures up again", key=True)
        return None
    _judge(completed, driver, path, context)
    return SmallSignal(**{key: _as_given(key, getattr(completed, key), given) for key in INDEPENDENT})


def _as_given(name: str, worked_out: float, given: Mapping[str, float]) -> float:
    """The figure as it was typed where it is the one used: it went through logarithms."""
    typed = given.get(name, worked_out)
    return typed if math.isclose(typed, worked_out, rel_tol=1e-9) else worked_out


def _of(error: InsufficientParameters) -> str:
    return f"{', '.join(error.missing)} cannot be worked out"


def _more(error: InsufficientParameters) -> str:
    count = "one more" if error.needed == 1 else f"{error.needed} more"
    return f"give {count} of {', '.join(error.candidates)}; or re with an impedance and a response table"


def _judge(completed: Completed, driver: edge.Driver, path: Path_, context: Context) -> None:
    prefer = driver.prefer or []
    for one in completed.disagreements:
        severity = severity_of(one.relative)
        if severity == "error" and prefer and one.name not in prefer:
            severity = "warning"
        advised = (
            "it is not used" if severity != "error" else "correct it, or say in prefer: [..] which figures to keep"
        )
        aired = ", air in free air added," if one.name == "mms" and driver.air_load == "none" else ""
        context.report.add(severity, "driver_disagrees", (*path, one.name), _words(one, path[-1], aired), advised)


def _words(one: Disagreement, name: str, aired: str) -> str:
    return (
        f"{name}.{one.name}{aired} is {printed(one.name, one.given)}, {per_cent(one.relative)} off the "
        f"{printed(one.name, one.derived)} of the other figures"
    )


def _coil(coil: edge.VoiceCoil | None) -> Coil | None:
    if coil is None:
        return None
    parameters = {key: float(value) for key, value in coil.given("model", "at").items()}
    return Coil(coil.model, parameters)


def _large_signal(
    driver: edge.Driver, small: SmallSignal | None, tables: bool, coil: Coil | None, path: Path_, context: Context
) -> LargeSignalSpec | None:
    """The curves of a driver whose small-signal figures are known: they say how those change."""
    if small is not None:
        return resolve_large_signal(driver, small, coil, path, context)
    if driver.large_signal is not None and tables:
        at = (*path, "large_signal")
        found = f"{path[-1]} has large_signal and no full set of small-signal parameters"
        context.report.note("driver_unused", at, found, "the driver is known by its tables only", key=True)
    return None


def _power(power: edge.DriverPower | None, path: Path_, context: Context) -> PowerRating | None:
    if power is None:
        return None
    here, name = (*path, "power"), path[-1]
    if power.of is None:
        context.assumed(
            here, f"{name}.power does not say of what", "of: system is assumed, which gives no limit by heat"
        )
    elif power.of == "system" and power.high_pass is None:
        found = f"{name}.power is of a system whose high-pass is not given"
        context.report.note("power_of_system", here, found, "it gives no limit by heat")
    high_pass = HighPass(power.high_pass.corner, power.high_pass.order) if power.high_pass else None
    return PowerRating(power.rated, power.of or "system", high_pass)
