"""The way of the heat out of a voice coil, as far as a data sheet tells it and else as it usually is."""

from __future__ import annotations

from collections.abc import Mapping

from system import kitmodel as edge
from system.context import Context, Path_
from system.kit import ROOM_TEMPERATURE, PowerRating, Role, ThermalSpec
from system.units import ZERO_CELSIUS

# What stands for figures that are not given: common practice, no source.
USUAL_HIGHEST = 423.15  # K, 150 degC
COIL_SHARE = 0.6  # of the whole thermal resistance; the rest is the magnet's
USUAL_TIMES: Mapping[Role, tuple[float, float]] = {  # s, coil and magnet: a small coil and magnet warm sooner
    "woofer": (10.0, 1800.0),
    "midrange": (5.0, 1200.0),
    "tweeter": (2.0, 600.0),
}
_PRINTED = {  # unit, and what to take off the SI value
    "coil_resistance": ("K/W", 0.0),
    "coil_time": ("s", 0.0),
    "magnet_resistance": ("K/W", 0.0),
    "magnet_time": ("s", 0.0),
    "highest": ("degC", ZERO_CELSIUS),
}


def resolve_thermal(
    thermal: edge.Thermal | None, power: PowerRating | None, role: Role, path: Path_, context: Context
) -> ThermalSpec | None:
    """The five figures, with what is assumed reported; None where nothing tells of the heat.

    Without any thermal resistance it takes the rated power of a coil: that power holds it at its highest temperature,
    R = (highest - 20 degC)/rated. One resistance alone is taken with the usual share of the other.
    """
    of_coil = power is not None and power.of == "coil"
    if thermal is None and not of_coil:
        return None
    given = {key: value for key in _PRINTED if (value := getattr(thermal, key, None)) is not None}
    here, name = (*path, "thermal"), path[-1]
    highest = given.get("highest", USUAL_HIGHEST)
    if "coil_resistance" in given:
        total = given["coil_resistance"] / COIL_SHARE
    elif "magnet_resistance" in given:
        total = given["magnet_resistance"] / (1 - COIL_SHARE)
    elif power is not None and power.of == "coil":
        total = (highest - ROOM_TEMPERATURE) / power.rated
    else:
        found = f"{name}.thermal has no thermal resistance, and {name} no power of its coil"
        context.report.warning("thermal_unused", here, found, "it gives no limit by heat", key=True)
        return None
    coil_time, magnet_time = USUAL_TIMES[role]
    usual = {
        "coil_resistance": COIL_SHARE * total,
        "coil_time": coil_time,
        "magnet_resistance": (1 - COIL_SHARE) * total,
        "magnet_time": magnet_time,
        "highest": highest,
    }
    figures = {**usual, **given}
    assumed = tuple(key for key in usual if key not in given)
    if assumed:
        found = f"{name}.thermal leaves {', '.join(assumed)} open" if given else f"{name} has no thermal"
        context.assumed(here, found, f"{', '.join(_words(key, figures[key]) for key in assumed)} assumed")
    if figures["coil_time"] >= figures["magnet_time"]:
        told = " and ".join(_words(key, figures[key]) for key in ("coil_time", "magnet_time"))
        allowed = "a coil warms sooner than its magnet"
        context.report.error("thermal_order", here, f"{name}.thermal has {told}", allowed, key=True)
        return None
    return ThermalSpec(**figures, assumed=assumed)


def _words(key: str, value: float) -> str:
    unit, offset = _PRINTED[key]
    return f"{key} {float(f'{value - offset:.3g}'):g} {unit}"
