"""Kinds of quantities and their units as typed. Plain floats.

Conversion factors are exact by definition unless said otherwise: NIST Special Publication 811 (2008), appendix B.8
(inch 25.4 mm, foot 304.8 mm, pound 0.45359237 kg, standard atmosphere 101 325 Pa, litre 1 dm3).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from fractions import Fraction
from types import MappingProxyType
from typing import NamedTuple

from enclosures.frozen import frozen

ZERO_CELSIUS = 273.15  # K, BIPM, The International System of Units (2019), 2.3.1


class Unit(NamedTuple):
    """SI value = (number + offset) factor, exact, so that 220 uF is the float 220e-6.

    `fractions` says that 3/16 and 1 1/2 are read: imperial units.
    """

    factor: Fraction
    offset: Fraction = Fraction(0)
    fractions: bool = False


@frozen
class Dimension:
    """A kind of quantity: its units as typed, an example, and the bounds outside which a value cannot be meant."""

    name: str
    words: str  # "a capacitance"
    units: Mapping[str, Unit]
    example: str
    low: str
    high: str
    signed: bool = False
    one_way: bool = False  # "+-4 mm" and "8 mm p-p" both mean 4 mm
    either_side: bool = False  # "+-5 %" means 5 %
    advice: Mapping[str, str] = field(default_factory=dict)  # a unit often typed for another -> the one meant

    @property
    def main_units(self) -> tuple[str, ...]:
        """One spelling of each unit of another size, in the order of the table."""
        seen: dict[Unit, str] = {}
        for text, unit in self.units.items():
            seen.setdefault(unit, text)
        return tuple(seen.values())


PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "c": -2, ".": 0, "h": 2, "k": 3, "M": 6}  # powers of ten; `.` is none
INCH = Fraction("0.0254")  # m
FOOT = Fraction("0.3048")  # m
POUND = Fraction("0.45359237")  # kg


def _prefixed(prefixes: str, *units: str, power: int = 1, scale: Fraction = Fraction(1)) -> dict[str, Unit]:
    """Units with each of the prefixes; `power` 2 makes cm2 a (0.01 m)^2."""
    return {
        f"{prefix.strip('.')}{unit}": Unit(Fraction(10) ** (PREFIXES[prefix] * power) * scale)
        for unit in units
        for prefix in prefixes
    }


def _same(unit: Unit, *texts: str) -> dict[str, Unit]:
    return dict.fromkeys(texts, unit)


def _imperial(factor: Fraction) -> Unit:
    return Unit(factor, fractions=True)


_LENGTHS = {
    **_prefixed("mcu.", "m"),
    **_same(_imperial(INCH), "in", "inch", "inches", '"'),
    **_same(_imperial(FOOT), "ft", "foot", "feet", "'"),
}

DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        d.name: d
        for d in (
            Dimension(
                "resistance",
                "a resistance",
                {**_prefixed(".mkM", "ohm"), **_prefixed(".mkM", "ohms", "Ohm", "Ohms")},
                "2.2 ohm",
                "0.001 mohm",
                "1000 Mohm",
                advice={"R": "ohm", "r": "ohm", "k": "kohm", "K": "kohm", "M": "Mohm", "m": "mohm", "E": "ohm"},
            ),
            Dimension(
                "capacitance",
                "a capacitance",
                _prefixed("unpm.", "F"),
                "220 uF",
                "1 pF",
                "100 mF",
                advice={
                    **dict.fromkeys(
                        ("MF", "mfd", "MFD", "mfd.", "uf", "UF", "Uf", "u", "mf", "Mf", "uFd", "ufd"), "uF"
                    ),
                    **dict.fromkeys(("nf", "NF", "n"), "nF"),
                    **dict.fromkeys(("pf", "PF", "p", "mmfd"), "pF"),
                },
            ),
            Dimension(
                "inductance",
                "an inductance",
                _prefixed("mun.", "H"),
                "1.2 mH",
                "1 nH",
                "10 H",
                advice={**dict.fromkeys(("mh", "MH", "Mh", "m"), "mH"), **dict.fromkeys(("uh", "UH", "u"), "uH")},
            ),
            Dimension(
                "volume",
                "a volume",
                {
                    **_same(
                        Unit(Fraction("1e-3")), "L", "l", "ltr", "ltrs", "litre", "litres", "liter", "liters", "dm3"
                    ),
                    **_same(Unit(Fraction("1e-6")), "mL", "ml", "cm3", "cc"),
                    "m3": Unit(Fraction(1)),
                    **_same(_imperial(FOOT**3), "ft3", "cu ft", "cu.ft", "cu. ft"),
                    **_same(_imperial(INCH**3), "in3", "cu in", "cu.in", "cu. in"),
                },
                "8 L",
                "0.1 mL",
                "20 m3",
                advice={"lt": "L", "Ltr": "L", "LTR": "L", "lit": "L", "dm": "dm3", "ft": "ft3", "cuft3": "ft3"},
            ),
            Dimension(
                "area",
                "an area",
                {
                    **_prefixed("cm.", "m2", power=2),
                    **_same(Unit(Fraction("1e-4")), "sq cm", "sq.cm", "sq. cm"),
                    **_same(_imperial(INCH**2), "in2", "sq in", "sq.in", "sq. in"),
                    **_same(_imperial(FOOT**2), "ft2", "sq ft", "sq.ft", "sq. ft"),
                },
                "92 cm2",
                "1 mm2",
                "10 m2",
                advice={"cm": "cm2", "mm": "mm2", "qcm": "cm2", "in": "in2"},
            ),
            Dimension("length", "a length", _LENGTHS, "180 mm", "1 um", "200 m", advice={"MM": "mm", "CM": "cm"}),
            Dimension(
                "excursion",
                "an excursion",
                _LENGTHS,
                "4 mm",
                "0.001 mm",
                "100 mm",
                one_way=True,
                advice={"MM": "mm"},
            ),
            Dimension(
                "displacement",
                "a displacement",
                _LENGTHS,
                "-2 mm",
                "-100 mm",
                "100 mm",
                signed=True,
                advice={"MM": "mm"},
            ),
            Dimension(
                "mass",
                "a mass",
                {
                    **_prefixed(".km", "g", scale=Fraction("1e-3")),
                    **_same(_imperial(POUND), "lb", "lbs"),
                    **_same(_imperial(POUND / 16), "oz"),
                },
                "12 g",
                "1 mg",
                "200 kg",
                advice={"gr": "g", "gm": "g", "gms": "g", "G": "g", "Kg": "kg", "KG": "kg"},
            ),
            Dimension(
                "compliance",
                "a compliance",
                {**_prefixed("mu.", "m/N")},
                "0.9 mm/N",
                "0.001 um/N",
                "1 m/N",
                advice={"mm": "mm/N", "mN": "mm/N", "N/mm": "mm/N (1 divided by the stiffness)"},
            ),
            Dimension(
                "stiffness",
                "a stiffness",
                {**_same(Unit(Fraction("1e3")), "N/mm", "kN/m"), "N/m": Unit(Fraction(1))},
                "0.98 N/mm",
                "0.1 N/m",
                "1000 N/mm",
                advice={"mm/N": "N/mm (1 divided by the compliance)", "Nmm": "N/mm", "N.mm": "N/mm"},
            ),
            Dimension(
                "force_factor",
                "a force factor",
                _same(Unit(Fraction(1)), "T.m", "Tm", "T m", "N/A", "Wb/m", "V.s/m", "V s/m", "Vs/m"),
                "7.1 T.m",
                "0.01 T.m",
                "1000 T.m",
                advice={"tm": "T.m", "TM": "T.m", "T": "T.m", "T/m": "T.m"},
            ),
            Dimension(
                "mechanical_resistance",
                "a mechanical resistance",
                {
                    **_same(Unit(Fraction(1)), "kg/s", "N.s/m", "N s/m", "Ns/m"),
                    **_same(Unit(Fraction("1e-3")), "g/s"),
                },
                "0.9 kg/s",
                "0.001 g/s",
                "1000 kg/s",
                advice={"ohm": "kg/s", "Kg/s": "kg/s", "kgs": "kg/s"},
            ),
            Dimension(
                "frequency",
                "a frequency",
                _prefixed(".k", "Hz"),
                "46 Hz",
                "0.01 Hz",
                "1000 kHz",
                advice={
                    **dict.fromkeys(("hz", "HZ", "cps", "c/s"), "Hz"),
                    **dict.fromkeys(("k", "K", "khz", "KHz"), "kHz"),
                },
            ),
            Dimension(
                "temperature",
                "a temperature",
                {
                    **_same(Unit(Fraction(1), Fraction(str(ZERO_CELSIUS))), "degC", "deg C", "C"),
                    **_same(Unit(Fraction(5, 9), Fraction("459.67")), "degF", "deg F", "F"),
                    "K": Unit(Fraction(1)),
                },
                "20 degC",
                "-60 degC",
                "80 degC",
                signed=True,
                advice={"deg": "degC", "c": "degC", "f": "degF", "k": "K"},
            ),
            Dimension(
                "temperature_difference",
                "a temperature difference",
                {"K": Unit(Fraction(1))},
                "200 K",
                "0.1 K",
                "1000 K",
                advice={
                    **dict.fromkeys(("degC", "deg C", "C", "deg", "k"), "K, the difference"),
                    **dict.fromkeys(("degF", "deg F", "F"), "K, 5/9 of the difference in degF"),
                },
            ),
            Dimension(
                "thermal_resistance",
                "a thermal resistance",
                _same(Unit(Fraction(1)), "K/W", "degC/W", "deg C/W", "C/W"),
                "2.8 K/W",
                "0.001 K/W",
                "1000 K/W",
                advice={"k/W": "K/W", "K/w": "K/W", "W/K": "K/W (1 divided by it)", "K": "K/W"},
            ),
            Dimension(
                "time",
                "a time",
                {
                    **_prefixed(".m", "s"),
                    **_same(Unit(Fraction(60)), "min", "minutes"),
                    **_same(Unit(Fraction(3600)), "h", "hours"),
                },
                "9 s",
                "0.1 ms",
                "1000 h",
                advice={"sec": "s", "S": "s", "Sec": "s", "m": "min", "mins": "min", "hr": "h", "H": "h"},
            ),
            Dimension(
                "pressure",
                "a pressure",
                {
                    **_prefixed("kh.", "Pa"),
                    **_same(Unit(Fraction("100.0")), "mbar"),
                    "bar": Unit(Fraction("1e5")),
                    "atm": Unit(Fraction("101325.0")),
                    "mmHg": Unit(Fraction("133.3224")),  # SP 811 B.8, rounded there
                    "inHg": Unit(Fraction("3386.389")),  # SP 811 B.8, rounded there
                },
                "101.325 kPa",
                "30 kPa",
                "120 kPa",
                advice={"kpa": "kPa", "KPa": "kPa", "hpa": "hPa", "mb": "mbar"},
            ),
            Dimension(
                "density",
                "a density",
                {
                    **_same(Unit(Fraction(1)), "kg/m3", "g/L", "g/l", "g/dm3"),
                    **_same(Unit(Fraction("1e3")), "g/cm3", "kg/L", "kg/l"),
                    **_same(Unit(POUND / FOOT**3), "lb/ft3", "lbs/ft3"),
                },
                "8 kg/m3",
                "0.01 kg/m3",
                "3000 kg/m3",
                advice={"kg": "kg/m3", "g/m3": "kg/m3"},
            ),
            Dimension(
                "flow_resistivity",
                "a flow resistivity",
                {
                    **_same(Unit(Fraction(1)), "Pa.s/m2", "Pa s/m2", "Pas/m2", "N.s/m4", "N s/m4", "Ns/m4", "rayl/m"),
                    **_same(Unit(Fraction("1e3")), "kPa.s/m2", "kPa s/m2", "kPas/m2"),
                },
                "1500 Pa.s/m2",
                "1 Pa.s/m2",
                "10000 kPa.s/m2",
                advice={"Pa.s/m": "Pa.s/m2", "rayl": "rayl/m"},
            ),
            Dimension(
                "speed",
                "a speed",
                {"m/s": Unit(Fraction(1)), "ft/s": Unit(FOOT), "km/h": Unit(Fraction(10, 36))},
                "343.21 m/s",
                "0.001 m/s",
                "2000 m/s",
            ),
            Dimension(
                "power",
                "a power",
                {**_prefixed(".km", "W"), **_same(Unit(Fraction(1)), "watt", "watts")},
                "80 W",
                "1 mW",
                "1000 kW",
                advice={"w": "W", "kw": "kW", "Wrms": "W", "Watt": "W", "Watts": "W", "VA": "W"},
            ),
            Dimension(
                "voltage",
                "a voltage",
                {**_prefixed(".mk", "V"), **_same(Unit(Fraction(1)), "volt", "volts")},
                "2.83 V",
                "0.001 mV",
                "100 kV",
                advice={"v": "V", "Vac": "V", "Vdc": "V", "VDC": "V", "VAC": "V", "Vrms": "V"},
            ),
            Dimension(
                "current",
                "a current",
                {**_prefixed(".m", "A"), **_same(Unit(Fraction(1)), "amp", "amps")},
                "12 A",
                "0.01 mA",
                "10000 A",
                advice={"a": "A", "Arms": "A", "Amp": "A"},
            ),
            Dimension(
                "level",
                "a level",
                {"dB": Unit(Fraction(1))},
                "-3 dB",
                "-300 dB",
                "300 dB",
                signed=True,
                advice={"db": "dB", "DB": "dB", "Db": "dB"},
            ),
            Dimension(
                "tilt",
                "a tilt, in dB an octave",
                _same(Unit(Fraction(1)), "dB", "dB/octave", "dB/oct"),
                "-0.5 dB/octave",
                "-6 dB/octave",
                "6 dB/octave",
                signed=True,
                advice={"db": "dB", "DB": "dB", "Db": "dB", "dB/Oct": "dB/oct"},
            ),
            Dimension(
                "angle",
                "an angle",
                {
                    **_same(Unit(Fraction(math.pi) / 180), "deg", "degree", "degrees"),
                    "rad": Unit(Fraction(1)),
                },
                "20 deg",
                "-180 deg",
                "180 deg",
                signed=True,
            ),
            Dimension(
                "percent",
                "a percentage",
                _same(Unit(Fraction("1e-2")), "%", "percent", "per cent"),
                "5 %",
                "0 %",
                "100 %",
                either_side=True,
            ),
        )
    }
)
