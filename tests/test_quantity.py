"""The strict reader of quantities: factors against NIST SP 811, spellings, refusals, and properties of any text."""

import math
import re

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from system.quantity import QuantityError, pattern, read, read_number, read_whole, units_text
from system.units import DIMENSIONS

# NIST Special Publication 811 (2008), appendix B.8; factors printed in bold there (exact) are given in full,
# the others as printed, to seven figures.
NIST = [
    ("1 in", "length", 0.0254),
    ("1 ft", "length", 0.3048),
    ("1 in2", "area", 6.4516e-4),
    ("1 ft2", "area", 9.290304e-2),
    ("1 in3", "volume", 1.6387064e-5),
    ("1 ft3", "volume", 2.8316846592e-2),
    ("1 L", "volume", 1e-3),
    ("1 lb", "mass", 0.45359237),
    ("1 oz", "mass", 2.8349523125e-2),
    ("1 lb/ft3", "density", 16.01846),
    ("1 ft/s", "speed", 0.3048),
    ("36 km/h", "speed", 10.0),
    ("1 atm", "pressure", 101325.0),
    ("1 bar", "pressure", 1e5),
    ("760 mmHg", "pressure", 101325.0),
    ("30 inHg", "pressure", 101591.67),
    ("68 degF", "temperature", 293.15),
    ("-40 degF", "temperature", 233.15),
    ("20 degC", "temperature", 293.15),
    ("180 deg", "angle", math.pi),
    ("1 min", "time", 60.0),
    ("1 h", "time", 3600.0),
]


@pytest.mark.parametrize(("text", "dimension", "si"), NIST)
def test_conversion_factors_are_those_of_nist_sp_811(text: str, dimension: str, si: float) -> None:
    assert read(text, dimension) == pytest.approx(si, rel=1e-6)


# prefixes are powers of ten, so the float is the nearest to the decimal number: no rounding of ours
READINGS = [
    ("220 uF", "capacitance", 220e-6),
    ("220uF", "capacitance", 220e-6),
    ("  220   uF  ", "capacitance", 220e-6),
    ("220 \u00b5F", "capacitance", 220e-6),
    ("220 \u03bcF", "capacitance", 220e-6),
    ("0.22 mF", "capacitance", 220e-6),
    (".5 nF", "capacitance", 0.5e-9),
    ("1.2 mH", "inductance", 1.2e-3),
    ("0.3 ohm", "resistance", 0.3),
    ("0.3 \u03a9", "resistance", 0.3),
    ("0.3 \u2126", "resistance", 0.3),
    ("2 k\u03a9", "resistance", 2000.0),
    ("50 mohm", "resistance", 0.05),
    ("2 Mohm", "resistance", 2e6),
    ("8 Ohms", "resistance", 8.0),
    ("8 L", "volume", 8e-3),
    ("8 l", "volume", 8e-3),
    ("8 ltr", "volume", 8e-3),
    ("8 litres", "volume", 8e-3),
    ("8 dm3", "volume", 8e-3),
    ("8 dm\u00b3", "volume", 8e-3),
    ("8000 cm^3", "volume", 8e-3),
    ("8000 cc", "volume", 8e-3),
    ("0.42 ft3", "volume", 0.42 * 0.3048**3),
    ("0.42 cu ft", "volume", 0.42 * 0.3048**3),
    ("0.42 cu. ft", "volume", 0.42 * 0.3048**3),
    ("1/2 cu ft", "volume", 0.5 * 0.3048**3),
    ("3/16 in", "length", 0.0047625),
    ("1 1/2 in", "length", 0.0381),
    ("1-1/2 in", "length", 0.0381),
    ('1 1/2"', "length", 0.0381),
    ("1 1/2\u2033", "length", 0.0381),
    ("180 mm", "length", 0.18),
    ("92 cm2", "area", 92e-4),
    ("92 cm\u00b2", "area", 92e-4),
    ("92 cm^2", "area", 92e-4),
    ("92 sq cm", "area", 92e-4),
    ("14 sq.in", "area", 14 * 0.0254**2),
    ("7.1 T.m", "force_factor", 7.1),
    ("7.1 Tm", "force_factor", 7.1),
    ("7.1 T m", "force_factor", 7.1),
    ("7.1 T\u00b7m", "force_factor", 7.1),
    ("7.1 T*m", "force_factor", 7.1),
    ("7.1 N/A", "force_factor", 7.1),
    ("0.9 mm/N", "compliance", 0.9e-3),
    ("900 um/N", "compliance", 0.9e-3),
    ("900 \u00b5m/N", "compliance", 0.9e-3),
    ("12 g", "mass", 0.012),
    ("0.9 kg/s", "mechanical_resistance", 0.9),
    ("0.9 N.s/m", "mechanical_resistance", 0.9),
    ("8 kg/m3", "density", 8.0),
    ("8 kg/m\u00b3", "density", 8.0),
    ("1500 Pa.s/m2", "flow_resistivity", 1500.0),
    ("1500 Pa s/m\u00b2", "flow_resistivity", 1500.0),
    ("46 Hz", "frequency", 46.0),
    ("2.5 kHz", "frequency", 2500.0),
    ("20 \u00b0C", "temperature", 293.15),
    ("-5 degC", "temperature", 268.15),
    ("\u22125 degC", "temperature", 268.15),
    ("101.325 kPa", "pressure", 101325.0),
    ("1013.25 hPa", "pressure", 101325.0),
    ("-3 dB", "level", -3.0),
    ("+3 dB", "level", 3.0),
    ("5 %", "percent", 0.05),
    ("+-5 %", "percent", 0.05),
    ("\u00b15%", "percent", 0.05),
    ("-6 mm", "displacement", -0.006),
    ("\u22126 mm", "displacement", -0.006),
    ("-3/8 in", "displacement", -0.009525),
    ("0 mm", "displacement", 0.0),
    ("0.98 N/mm", "stiffness", 980.0),
    ("0.98 kN/m", "stiffness", 980.0),
    ("980 N/m", "stiffness", 980.0),
    ("2.8 K/W", "thermal_resistance", 2.8),
    ("2.8 \u00b0C/W", "thermal_resistance", 2.8),
    ("9 s", "time", 9.0),
    ("800 ms", "time", 0.8),
    ("28 min", "time", 1680.0),
    ("200 K", "temperature_difference", 200.0),
    ("4 mm", "excursion", 0.004),
    ("+-4 mm", "excursion", 0.004),
    ("+/- 4 mm", "excursion", 0.004),
    ("\u00b14 mm", "excursion", 0.004),
    ("8 mm p-p", "excursion", 0.004),
    ("8 mm pp", "excursion", 0.004),
    ("8 mm peak to peak", "excursion", 0.004),
    ("4 mm peak", "excursion", 0.004),
    ("3/16 in one-way", "excursion", 0.0047625),
    ("-20 deg", "angle", -math.pi / 9),
    ("20\u00b0", "angle", math.pi / 9),
]


@pytest.mark.parametrize(("text", "dimension", "si"), READINGS)
def test_spellings(text: str, dimension: str, si: float) -> None:
    assert read(text, dimension) == pytest.approx(si, rel=1e-15)
    assert re.search(pattern(dimension), text), "the pattern of the JSON Schema refuses what the reader takes"


REFUSED = [
    ("1,5 mH", "inductance", "quantity_decimal_comma", 'is "1,5 mH", with a comma; write 1.5 mH'),
    (
        "1,000 uF",
        "capacitance",
        "quantity_decimal_comma",
        'is "1,000 uF", with a comma; write 1.000 uF or 1000 uF, whichever is meant',
    ),
    (
        "1,234.5 Hz",
        "frequency",
        "quantity_decimal_comma",
        'is "1,234.5 Hz", with a comma; write the number with a point and without thousands separators',
    ),
    (
        "4R7",
        "resistance",
        "quantity_letter_point",
        'is "4R7", with a letter in the place of the point; write 4.7 ohm',
    ),
    ("R47", "resistance", "quantity_letter_point", 'is "R47", with a letter in the place of the point; write 0.47 ohm'),
    ("2k2", "resistance", "quantity_letter_point", 'is "2k2", with a letter in the place of the point; write 2.2 kohm'),
    ("4u7", "capacitance", "quantity_letter_point", 'is "4u7", with a letter in the place of the point; write 4.7 uF'),
    ("1m2", "inductance", "quantity_letter_point", 'is "1m2", with a letter in the place of the point; write 1.2 mH'),
    ("220 MF", "capacitance", "quantity_unit", 'is "220 MF", and MF is megafarad; write 220 uF'),
    ("220 uf", "capacitance", "quantity_unit", 'is "220 uf"; write 220 uF'),
    ("200 degC", "temperature_difference", "quantity_unit", 'is "200 degC"; write 200 K, the difference'),
    ("200 \u00b0C", "temperature_difference", "quantity_unit", 'is "200 °C"; write 200 K, the difference'),
    ("200", "temperature_difference", "quantity_no_unit", 'is "200", without a unit; write for example 200 K'),
    ("2.8 W/K", "thermal_resistance", "quantity_unit", 'is "2.8 W/K"; write 2.8 K/W (1 divided by it)'),
    ("28 m", "time", "quantity_unit", 'is "28 m"; write 28 min'),
    ("0 s", "time", "quantity_range", 'is "0 s"; it must be above zero'),
    ("1 mm/N", "stiffness", "quantity_unit", 'is "1 mm/N"; write 1 N/mm (1 divided by the compliance)'),
    (
        "150 mm",
        "displacement",
        "quantity_range",
        'is "150 mm", which cannot be meant; it must lie from -100 mm to 100 mm',
    ),
    ("220", "capacitance", "quantity_no_unit", 'is "220", without a unit; write for example 220 uF'),
    ("8R", "resistance", "quantity_unit", 'is "8R"; write 8 ohm'),
    ("46 HZ", "frequency", "quantity_unit", 'is "46 HZ"; write 46 Hz'),
    (
        "12 KG",
        "mass",
        "quantity_unit",
        'is "12 KG"; write 12 kg',
    ),
    (
        "8 gallons",
        "volume",
        "quantity_unit",
        'is "8 gallons", and "gallons" is no unit for it; it takes L, mL, m3, ft3 or in3',
    ),
    ("220 mH", "capacitance", "quantity_dimension", 'is "220 mH", an inductance; it takes a capacitance, like 220 uF'),
    ("8 ohm", "volume", "quantity_dimension", 'is "8 ohm", a resistance; it takes a volume, like 8 L'),
    (
        "6.8e-6 F",
        "capacitance",
        "quantity_exponent",
        'is "6.8e-6 F", where e may be a power of ten or stand for a point; write the number out, like 220 uF',
    ),
    ("inf", "length", "quantity_number", 'is "inf"; it must be a finite number'),
    ("nan mm", "length", "quantity_number", 'is "nan mm"; it must be a finite number'),
    ("-Infinity mm", "length", "quantity_number", 'is "-Infinity mm"; it must be a finite number'),
    ("", "length", "quantity_number", "is empty; write it like 180 mm"),
    ("mm", "length", "quantity_number", 'is "mm", which does not begin with a number; write it like 180 mm'),
    ("1 000 uF", "capacitance", "quantity_number", 'is "1 000 uF"; write one number and its unit, like 220 uF'),
    ("1/0 in", "length", "quantity_number", 'is "1/0 in", which is no fraction; write it like 1 1/2 in'),
    ("1 3/2 in", "length", "quantity_number", 'is "1 3/2 in", which is no fraction; write it like 1 1/2 in'),
    (
        "1/2 L",
        "volume",
        "quantity_number",
        'is "1/2 L", a fraction; fractions are for inches and feet; write 0.5 L',
    ),
    (
        "+-4 mm p-p",
        "excursion",
        "quantity_number",
        'is "+-4 mm p-p", one-way and peak to peak at once; write +-4 mm or 8 mm p-p',
    ),
    ("0 L", "volume", "quantity_range", 'is "0 L"; it must be above zero'),
    ("-8 L", "volume", "quantity_range", 'is "-8 L"; it must be above zero'),
    ("220 F", "capacitance", "quantity_range", 'is "220 F", which cannot be meant; it must lie from 1 pF to 100 mF'),
    (
        "-300 degC",
        "temperature",
        "quantity_range",
        'is "-300 degC", which cannot be meant; it must lie from -60 degC to 80 degC',
    ),
]


@pytest.mark.parametrize(("text", "dimension", "code", "message"), REFUSED)
def test_refused_with_advice(text: str, dimension: str, code: str, message: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read(text, dimension)
    assert (caught.value.code, str(caught.value)) == (code, message)


def test_zero_and_bounds_of_a_field() -> None:
    assert read("0 mm", "length", zero=True) == 0.0
    with pytest.raises(QuantityError, match="zero or above"):
        read("-1 mm", "length", zero=True)
    assert read("88 cm2", "area", low="0.1 cm2", high="1 m2") == 88e-4
    with pytest.raises(QuantityError, match=r"from 0\.1 cm2 to 1 m2"):
        read("88 m2", "area", low="0.1 cm2", high="1 m2")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("0,7", "quantity_decimal_comma"),
        ("0.7 Hz", "quantity_dimension"),
        ("5 %", "quantity_dimension"),
        ("1e3", "quantity_exponent"),
        ("nan", "quantity_number"),
        ("1/2", "quantity_number"),
        ("1 2", "quantity_dimension"),
        ("-1", "quantity_range"),
        ("1001", "quantity_range"),
    ],
)
def test_plain_numbers_refuse(text: str, code: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_number(text, 0.01, 1000)
    assert caught.value.code == code


def test_plain_numbers() -> None:
    assert read_number(" 0.41 ", 0.01, 1000) == 0.41
    assert read_number("-0.02", -1, 1) == -0.02
    assert read_number("0.8 %", 0, 1, percent=True) == 0.008
    assert read_whole("2", 1, 8) == 2
    for text in ("2.0", "0", "9", "two", "", "\u0662"):
        with pytest.raises(QuantityError):
            read_whole(text, 1, 8)


NUMBERS = st.decimals(min_value="0.001", max_value="9999", places=3, allow_nan=False, allow_infinity=False)


@given(NUMBERS, st.sampled_from([(name, unit) for name, d in DIMENSIONS.items() for unit in d.units]), st.booleans())
def test_a_number_and_its_unit_is_read_or_out_of_bounds(number: object, kind: tuple[str, str], space: bool) -> None:
    name, unit = kind
    text = f"{number}{' ' if space else ''}{unit}"
    assert re.search(pattern(name), text)
    try:
        value = read(text, name)
    except QuantityError as error:
        value = math.nan if error.code == "quantity_range" else math.inf
    if math.isnan(value):
        return
    factor = DIMENSIONS[name].units[unit]
    assert value == pytest.approx((float(str(number)) + float(factor.offset)) * float(factor.factor), rel=1e-12)


@settings(max_examples=400)
@given(st.text(max_size=70), st.sampled_from(sorted(DIMENSIONS)))
@example("1 1/2 1/2 in", "length")
@example("9" * 59 + "m", "length")
@example("\u0663 mm", "length")
def test_any_text_is_read_or_refused(text: str, name: str) -> None:
    try:
        value = read(text, name)
    except QuantityError as error:
        message = str(error)
    else:
        assert math.isfinite(value)
        assert re.search(pattern(name), text)
        message = "read; as it is"
    assert message.partition("; ")[2]
    assert "\n" not in message


@settings(max_examples=400)
@given(st.text("0123456789.,/+- eEuµmkMRFHLohinfta%\"'^2", max_size=12), st.sampled_from(sorted(DIMENSIONS)))
def test_text_of_the_letters_of_quantities_is_read_or_refused(text: str, name: str) -> None:
    try:
        value = read(text, name)
    except QuantityError:
        return
    assert math.isfinite(value)
    assert re.search(pattern(name), text), "the pattern of the JSON Schema refuses what the reader takes"


def test_examples_and_bounds_can_be_read() -> None:
    for name, dimension in DIMENSIONS.items():
        for text in (dimension.example, dimension.low, dimension.high):
            assert math.isfinite(read(text, name))


def test_explain_units_names_every_unit() -> None:
    text = units_text()
    for dimension in DIMENSIONS.values():
        assert dimension.example in text
        assert all(unit in text for unit in dimension.units)
