"""The JSON Schema of the kit file, as an editor takes it: held against `jsonschema`, a validator of other hands.

Draft 7 (Wright and Andrews 2018, draft-handrews-json-schema-01) is what YAML editors know.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft7Validator

from system.examples import HERE as SYSTEM
from system.examples import scenarios
from system.keydocs import KEYS
from system.kitfile import load_kit
from system.schema import kit_schema, models
from tests.support_kits import write_kit

HERE = Path(__file__).parent
WRONG = HERE / "wrong"
GOOD = [
    HERE / "kits" / "full.yaml",
    scenarios() / "marshlight" / "kit.yaml",
    SYSTEM / "templates" / "start.yaml",
    SYSTEM / "templates" / "smallest.yaml",
]

# Findings about what a kit looks like, which an editor is to show while it is typed.
BY_SHAPE = """
    unknown_key missing_key wrong_type list_length empty unknown_word name too_long format given_twice fill_twice
    part_kind kit_empty layout_field quantity_no_unit quantity_unit quantity_dimension quantity_decimal_comma
    quantity_exponent quantity_letter_point quantity_number
"""
# Wrong kits that give one of them, and whose fault no schema sees: it lies between places, in another file, or in a
# text that may also be a name.
UNSEEN = """
    air_load_without_sd large_signal_without_voice_coil neither_tuning_nor_length table_only_without_re
    temperature_rise_without_rating given_twice_loss curve_of_unequal_lists part_kind_changed
    stock_value made_of_is_bad unknown_word_capacitor_type unknown_word_series unknown_word_spectrum unknown_word_state
"""


class AsEditorsRead(yaml.SafeLoader):
    """YAML 1.2's core types, as editors have them: `1 1/2 in` is text, and so are 12:30 and on."""


AsEditorsRead.yaml_implicit_resolvers = {
    first: [
        (tag, expression)
        for tag, expression in rules
        if not tag.endswith((":timestamp", ":merge")) and not (tag.endswith(":bool") and first not in "tTfF")
    ]
    for first, rules in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


@cache
def validator() -> Draft7Validator:
    return Draft7Validator(kit_schema())


def faults(path: Path) -> list[str]:
    return faults_of(yaml.load(path.read_text(encoding="utf-8"), AsEditorsRead))


def faults_of(kit: Any) -> list[str]:
    return [f"{error.json_path}: {error.message}" for error in validator().iter_errors(kit)]


def test_it_is_a_schema_of_draft_7() -> None:
    schema = kit_schema()
    assert schema["$schema"] == "http://json-schema.org/draft-07/schema#"
    Draft7Validator.check_schema(schema)
    later = {"$defs", "prefixItems", "unevaluatedProperties", "dependentRequired", "$dynamicRef", "minContains"}
    assert not later & set(keywords(schema))


def keywords(schema: Any) -> Any:
    for key, value in schema.items() if isinstance(schema, dict) else enumerate(schema):
        yield key
        if isinstance(value, dict | list):
            yield from keywords(value)


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_good_kits_are_valid(path: Path) -> None:
    assert faults(path) == []


def test_wrong_kits_that_look_wrong_are_refused() -> None:
    """Every wrong kit of a fault of form but those named, and these would be refused if they could be."""
    taken = set()
    for path in sorted(WRONG.glob("*.yaml")):
        codes = set(re.findall(r"error\[(\w+)\]", path.with_suffix(".expected").read_text(encoding="utf-8")))
        if codes & set(BY_SHAPE.split()) and not faults(path):
            taken.add(path.stem)
    assert taken == set(UNSEEN.split())


def test_what_is_like_another_may_be_given_in_part(tmp_path: Path) -> None:
    """A cabinet or variant takes what it does not say from the one it is like, inside of its mappings too."""
    pieces = {
        "cabinets": "{box: {baffle: {width: 200 mm, height: 300 mm, depth: 250 mm},"
        " chambers: [{kind: sealed, drivers: [woofer], volume: 8 L}]},"
        " deep: {like: box, baffle: {depth: 300 mm}}}",
        "variants": "{v: {cabinet: box, seats: {distance: 3 m, angle: 20 deg},"
        " receiver_high_pass: {corner: 80 Hz, order: 2}},"
        " w: {like: v, cabinet: deep, seats: {angle: 30 deg}, receiver_high_pass: {order: 4}}}",
    }
    kit = write_kit(tmp_path, **pieces)
    assert load_kit(kit).variants["w"].cabinet.baffle.depth == pytest.approx(0.3)
    assert faults(kit) == []
    alone = write_kit(tmp_path, **{key: value.replace("like: box, ", "") for key, value in pieces.items()})
    assert faults(alone) != []


@pytest.mark.parametrize(("name", "good"), [("größe_2", True), ("w_1", True), ("two words", False), ("a.b", False)])
def test_names_are_checked_as_keys(name: str, good: bool) -> None:
    kit = yaml.load(GOOD[-1].read_text(encoding="utf-8"), AsEditorsRead)
    kit["variants"] = {name: kit["variants"]["first"]}
    assert (faults_of(kit) == []) is good


def test_every_key_is_described() -> None:
    schema = kit_schema()
    for model in models():
        if model.__name__ in ("Model", "PartFields", "PortShape", "CurveShape"):
            continue
        definition = schema if model.__name__ == "KitFile" else schema["definitions"][model.__name__]
        assert set(KEYS[model.__name__]) == set(model.keys()) == set(definition["properties"]), model.__name__
        assert all(value["description"] for value in definition["properties"].values())
        assert definition["description"]
