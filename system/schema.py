"""JSON Schema of the kit file, for YAML editors: draft 7, generated from the models that read it.

What a model says of its keys one by one comes from it; which keys belong together stands here.
"""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaMode, JsonSchemaValue
from pydantic_core import CoreSchema

from enclosures.materials import MATERIALS
from system import cabinetmodel, choicemodel, kitmodel, layoutmodel, woodmodel
from system.edge import Model
from system.keydocs import KEYS
from system.resolve_parts import DIMENSIONS

# sets of keys of which exactly one is there
ONE_OF: dict[str, list[list[str]]] = {
    "Part": [[kind] for kind in DIMENSIONS],
    "Target": [["tilt"], ["file"]],
    "BlCurve": [["at", "is"], ["polynomial"]],
    "StiffnessCurve": [["at", "is"], ["polynomial"]],
    "InductanceCurve": [["at", "is"], ["polynomial"]],
    "Port": [["diameter"], ["area"], ["width", "height"]],
    "MouthPort": [["diameter"], ["area"], ["width", "height"]],
    "Section": [["diameter"], ["area"], ["width", "depth"]],
    "Fill": [["flow_resistivity"], ["material", "density"], ["material", "mass"]],
    "SectionFill": [["flow_resistivity"], ["material", "density"], ["material", "mass"]],
}
# a key -> those without which it means nothing
TOGETHER = {
    "Air": {"density": ["speed_of_sound"], "speed_of_sound": ["density"]},
    "Part": {"dissipation_factor": ["at"]},
    "Spot": {"inner": ["outer", "height"], "outer": ["height"], "height": ["outer"]},
}
NEVER_EMPTY = ("Distances", "LargeSignal", "Air")
# what an entry takes key by key from the one that it is `like`, and so may give in part
INHERITED = {
    "Cabinet": {"baffle": "Baffle"},
    "Variant": {"seats": "Seats", "receiver_high_pass": "HighPass"},
}


class _Draft7(GenerateJsonSchema):
    """JSON Schema as YAML editors know it: draft 7, no null (a key is there or not)."""

    schema_dialect = "http://json-schema.org/draft-07/schema#"

    def nullable_schema(self, schema: Any) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def dict_schema(self, schema: Any) -> JsonSchemaValue:
        """Names are keys too: what their text may be is said of them, not of which values stand under them."""
        made = super().dict_schema(schema)
        for pattern, values in made.pop("patternProperties", {}).items():
            made |= {"propertyNames": {"pattern": pattern}, "additionalProperties": values}
        return made

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def generate(self, schema: CoreSchema, mode: JsonSchemaMode = "validation") -> JsonSchemaValue:
        return {"$schema": self.schema_dialect, **super().generate(schema, mode)}


def kit_schema() -> dict[str, Any]:
    """JSON Schema (draft 7) of the kit file, as plain data."""
    schema = TypeAdapter(kitmodel.KitFile).json_schema(ref_template="#/definitions/{model}", schema_generator=_Draft7)
    schema["definitions"] = definitions = schema.pop("$defs")
    schema["title"] = "kitwright kit file"
    by_name = {model.__name__: model for model in models()}
    for name, definition in {**definitions, "KitFile": schema}.items():
        _complete(definition, by_name[name], KEYS[name])
    for name, alternatives in ONE_OF.items():
        definitions[name]["oneOf"] = [{"required": keys} for keys in alternatives]
    for name, needs in TOGETHER.items():
        definitions[name]["dependencies"] = needs
    for name in NEVER_EMPTY:
        definitions[name]["minProperties"] = 1
    for name in ("Fill", "SectionFill"):
        definitions[name]["properties"]["material"]["enum"] = list(MATERIALS)
    definitions["Variant"].pop("required")  # of cabinet, which it may inherit
    for name, parts in INHERITED.items():
        _inherits(definitions[name], parts, definitions)
    definitions["Variant"]["anyOf"][1]["required"] = ["cabinet"]
    return schema


def models() -> list[type[Model]]:
    """Every mapping that a kit file may hold."""
    names: dict[str, Any] = {}
    for module in (cabinetmodel, choicemodel, layoutmodel, woodmodel, kitmodel):
        names |= vars(module)
    return [value for value in names.values() if isinstance(value, type) and issubclass(value, Model)]


def _complete(definition: dict[str, Any], model: type[Model], texts: dict[str, str]) -> None:
    definition["additionalProperties"] = False
    for name in model.fields():
        default = getattr(model, name, None)
        if default is not None:
            definition["properties"][model.key_of.get(name, name)]["default"] = default
    for key, text in texts.items():
        definition["properties"][key] = _described(definition["properties"][key], text)
    required = [key for key, needed in model.keys().items() if needed]
    if required:
        definition["required"] = required


def _described(value: dict[str, Any], text: str) -> dict[str, Any]:
    """In draft 7 what stands beside a $ref is not looked at, so the reference is wrapped."""
    return {"description": text, **({"allOf": [value]} if "$ref" in value else value)}


def _inherits(entry: dict[str, Any], parts: dict[str, str], definitions: dict[str, Any]) -> None:
    """Only an entry that is `like` no other has to give these `parts` (key -> definition) whole."""
    whole = {}
    for key, name in parts.items():
        full = definitions[name]
        partial = f"{name}OrPart"
        definitions[partial] = {word: value for word, value in full.items() if word != "required"}
        entry["properties"][key] = _with_reference(entry["properties"][key], name, partial)
        whole[key] = {"anyOf": [{"not": {"type": "object"}}, {"required": full["required"]}]}
    entry["anyOf"] = [{"required": ["like"]}, {"properties": whole}]


def _with_reference(schema: Any, old: str, new: str) -> Any:
    """The same with one reference replaced by another."""
    if isinstance(schema, dict):
        return {
            key: f"#/definitions/{new}"
            if (key, value) == ("$ref", f"#/definitions/{old}")
            else _with_reference(value, old, new)
            for key, value in schema.items()
        }
    return [_with_reference(item, old, new) for item in schema] if isinstance(schema, list) else schema
