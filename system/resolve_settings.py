"""What stands above drivers and cabinets: the air, the amplifier, the programme and the stock."""

from __future__ import annotations

import math
import os
from typing import Any, get_args

from enclosures.air import Air, moist_air
from system import kitmodel as edge
from system import quantity
from system.context import STANDARD_AIR, Context, Path_
from system.document import advice, label
from system.fields import Spectrum
from system.kit import HIGHEST_OF_PROGRAMME, Amplifier, AssemblySpec, Programme, Stock, StockItem
from system.stockfile import read_stock
from system.tables import BAND_LEVELS, read_table
from system.units import ZERO_CELSIUS
from system.wording import listed

SERIES = ("E6", "E12", "E24", "E48", "E96", "E192")  # IEC 60063
SPECTRA: tuple[str, ...] = get_args(Spectrum)
_DIRECT = ("density", "speed_of_sound")
_WEATHER = {"temperature": "20 degC", "pressure": "101.325 kPa", "humidity": "50 % humidity"}
_ASSEMBLY = {"ambient": "25 degC about the parts", "hot_melt_bears": "hot melt that bears 70 degC"}
_STOCK = {"capacitors": "capacitance", "resistors": "resistance", "coils": "inductance"}


def resolve_air(air: edge.Air | None, context: Context) -> Air:
    """The air as given or assumed; standard air stands in where it is at fault."""
    if air is None:
        if not context.has(("air",)):
            context.assumed((), "air is not given", f"{listed(list(_WEATHER.values()))} assumed")
        return _moist(edge.Air(), context)
    direct = [key for key in _DIRECT if getattr(air, key) is not None]
    weather = [key for key in _WEATHER if getattr(air, key) is not None]
    if direct and weather:
        found = f"air has {listed(direct)} and {listed(weather)}"
        context.report.error("air_twice", ("air",), found, "give density and speed_of_sound, or the weather")
        return STANDARD_AIR
    if len(direct) == 1:
        missing = next(key for key in _DIRECT if key not in direct)
        allowed = "density and speed_of_sound go together"
        context.missing(("air", missing), f"air has no {missing}", allowed)
        return STANDARD_AIR
    if air.density is not None and air.speed_of_sound is not None:
        return Air(air.density, air.speed_of_sound)
    assumed = [words for key, words in _WEATHER.items() if key not in weather]
    if assumed:
        context.assumed(("air",), "air is given in part", f"{listed(assumed)} assumed")
    return _moist(air, context)


def _moist(air: edge.Air, context: Context) -> Air:
    temperature = 293.15 if air.temperature is None else air.temperature
    pressure = 101325.0 if air.pressure is None else air.pressure
    humidity = 0.5 if air.humidity is None else air.humidity
    try:
        return moist_air(temperature, pressure, humidity)
    except ValueError as error:
        context.report.error("air_impossible", ("air",), str(error), "give the air of a room")
        return STANDARD_AIR


def resolve_amplifier(amplifier: edge.Amplifier | None, context: Context) -> Amplifier | None:
    """The amplifier, or None where it is at fault."""
    if amplifier is None:
        return None
    assumed = [key for key in ("output_resistance", "cable") if getattr(amplifier, key) is None]
    if assumed:
        context.assumed(("amplifier",), f"amplifier says nothing of {listed(assumed)}", "0 ohm assumed")
    return Amplifier(**amplifier.given())


def resolve_programme(programme: edge.Programme | None, context: Context) -> Programme | None:
    """The programme as given or assumed, or None where it is at fault."""
    default = Programme()
    if programme is None:
        if context.has(("programme",)):
            return None
        context.assumed((), "programme is not given", "iec with a crest factor of 12 dB from 20 Hz assumed")
        return default
    path = ("programme", "spectrum")
    table = None
    spectrum = programme.spectrum
    if spectrum not in SPECTRA:
        if "." not in spectrum and not os.path.isfile(context.kit_file.parent / spectrum):
            allowed = advice(spectrum, SPECTRA, "it is a table file or one of")
            context.report.error("unknown_word", path, f'{label(path)} is "{spectrum}"', allowed)
            return None
        table = context.read_beside(path, spectrum, lambda file, shown: read_table(file, shown, BAND_LEVELS))
        if table is None:
            return None
        lowest = programme.lowest or default.lowest
        if not (table.frequency[0] <= HIGHEST_OF_PROGRAMME and table.frequency[-1] > lowest):
            found = f"{table.file} has no level from {lowest:g} Hz to 20 kHz"
            context.report.error("programme_empty", path, found, "the programme is what lies there")
            return None
    assumed = []
    crest = default.crest_factor
    if programme.crest_factor is not None:
        crest = 10 ** (programme.crest_factor / 20)
    elif spectrum == "sine":
        crest = math.sqrt(2)
    else:
        assumed.append("a crest factor of 12 dB")
    if programme.lowest is None:
        assumed.append("20 Hz as its lowest frequency")
    if assumed:
        context.assumed(("programme",), "programme is given in part", f"{listed(assumed)} assumed")
    return Programme("table" if table else spectrum, crest, programme.lowest or default.lowest, table)  # type: ignore[arg-type]


def resolve_assembly(assembly: edge.Assembly | None, matters: bool, context: Context) -> AssemblySpec | None:
    """The assembly as given or assumed, which is told where something `matters` that gets warm; None: at fault."""
    path = ("assembly",)
    if assembly is None and context.has(path):
        return None
    given = assembly.given() if assembly else {}
    assumed = [words for key, words in _ASSEMBLY.items() if key not in given]
    if assumed and matters:
        found = "assembly is given in part" if given else "assembly is not given"
        context.assumed(path, found, f"{listed(assumed)} assumed")
    made = AssemblySpec(**given)
    if made.hot_melt_bears <= made.ambient:
        found = f"assembly has {made.ambient - ZERO_CELSIUS:.4g} degC about the parts, where its hot melt is soft"
        context.report.error("assembly_too_warm", path, found, "hot_melt_bears must be above ambient", key=True)
        return None
    return made


def resolve_stock(stock: edge.Stock | None, context: Context) -> Stock | None:
    """The stock as given or the default series, or None where it is at fault."""
    if stock is None:
        return None if context.has(("stock",)) else Stock()
    chosen = {
        key: _stock_of(given, key, dimension, context)
        for key, dimension in _STOCK.items()
        if (given := getattr(stock, key)) is not None
    }
    return None if None in chosen.values() else Stock(**chosen)


def _stock_of(given: list[str] | str, key: str, dimension: str, context: Context) -> Any:
    """A series name, a tuple of articles, or None where that is at fault."""
    path: Path_ = ("stock", key)
    if isinstance(given, list):
        values = [_value(text, dimension, (*path, str(index)), context) for index, text in enumerate(given)]
        if None in values:
            return None
        return tuple(StockItem(v) for v in values if v)
    if given in SERIES:
        return given
    if "." not in given:
        allowed = advice(given, SERIES, "it is a list of values, a CSV file or one of")
        context.report.error("unknown_word", path, f'{label(path)} is "{given}"', allowed)
        return None
    articles = context.read_beside(path, given, read_stock)
    if articles is None:
        return None
    found = tuple(getattr(articles, key))
    if not found:
        context.report.error("stock_empty", path, f"{given} has no {key}", "name a series, or add rows of that kind")
        return None
    return found


def _value(text: str, dimension: str, path: Path_, context: Context) -> float | None:
    try:
        return quantity.read(text, dimension)
    except quantity.QuantityError as error:
        context.report.error(error.code, path, f"{label(path)} {error.found}", error.allowed)
        return None
