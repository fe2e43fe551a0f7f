"""Reading a kit file: `load_kit` gives the validated kit or every fault of the file, `kit_schema` its JSON Schema."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaMode, JsonSchemaValue
from pydantic_core import CoreSchema

from system import cabinetmodel, choicemodel, layoutmodel, woodmodel
from system import kitmodel as edge
from system.context import Context
from system.document import DocumentError, MapAt, Report, TextAt, parse, read_text
from system.edge import Model, record
from system.findings import KitError
from system.kit import Kit
from system.rawkit import apply_setting, inherit, located
from system.resolve import resolve
from system.resolve_parts import DIMENSIONS


def load_kit(path: str | Path, settings: Iterable[str] = ()) -> Kit:
    """The kit in the YAML file `path`, with every `path=value` of `settings` (--set) put in before validation.

    Raises KitError with all findings of the file and of the tables it names, in the order of file, line and column.
    """
    report = Report(str(path))
    kit = read_kit(Context(report, Path(path)), settings)
    if kit is None:
        name = report.root.get("kit")
        raise KitError(report.sorted(), str(name) if isinstance(name, TextAt) else "")
    return kit


def read_kit(
    context: Context, settings: Iterable[str] = (), put: Callable[[MapAt], None] = lambda _: None
) -> Kit | None:
    """The kit in the file of `context`, whose report gets all there is to say; None where it is at fault.

    `put` may change its tree once every `like:` has been written out. Raises KitError where there is no tree.
    """
    report = context.report
    root = _document(context.kit_file, report)
    for setting in settings:
        try:
            apply_setting(root, setting)
        except DocumentError as error:
            _add(report, error)
    inherit(root, report)
    put(root)
    whole = located(root, ())
    assert isinstance(whole, MapAt)
    report.root = whole
    try:
        model = edge.KitFile.model_validate(whole, context=report)
    except ValidationError as error:
        record(error, whole, report)
        return None
    return resolve(model, context)


def _document(file: Path, report: Report) -> MapAt:
    try:
        root, faults = parse(read_text(file, report.file), report.file)
    except DocumentError as error:
        _add(report, error)
        raise KitError(report.findings) from None
    for fault in faults:
        _add(report, fault)
    return root


def _add(report: Report, error: DocumentError) -> None:
    path = tuple(error.path.split(".")) if error.path else ()
    report.error(error.code, path, error.found, error.allowed, mark=error.mark)


class _Draft7(GenerateJsonSchema):
    """JSON Schema as YAML editors know it: draft 7, no null (a key is there or not)."""

    schema_dialect = "http://json-schema.org/draft-07/schema#"

    def nullable_schema(self, schema: Any) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: Any) -> JsonSchemaValue:
        inner = self.generate_inner(schema["schema"])
        default = schema.get("default")
        return (
            {**inner, "default": default} if isinstance(default, str | int | float) and "$ref" not in inner else inner
        )

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def generate(self, schema: CoreSchema, mode: JsonSchemaMode = "validation") -> JsonSchemaValue:
        return {"$schema": self.schema_dialect, **super().generate(schema, mode)}


def kit_schema() -> dict[str, Any]:
    """JSON Schema (draft 7) of the kit file, for YAML editors; generated from the models that read it."""
    from system.keydocs import KEYS

    schema = edge.KitFile.model_json_schema(ref_template="#/definitions/{model}", schema_generator=_Draft7)
    schema["definitions"] = schema.pop("$defs")
    schema["title"] = "kitwright kit file"
    by_name = {model.__name__: model for model in _models()}
    for name, definition in {**schema["definitions"], "KitFile": schema}.items():
        model = by_name.get(name)
        if model is not None:
            definition["additionalProperties"] = False
            for key, text in KEYS[name].items():
                definition["properties"][key] = _described(definition["properties"][key], text)
            required = [key for key, needed in model.keys().items() if needed]
            if required:
                definition["required"] = required
    variant = schema["definitions"]["Variant"]
    variant.pop("required")
    variant["anyOf"] = [{"required": ["cabinet"]}, {"required": ["like"]}]
    schema["definitions"]["Part"]["oneOf"] = [{"required": [kind]} for kind in DIMENSIONS]
    schema["definitions"]["Distances"]["minProperties"] = 1
    return schema


def _described(value: dict[str, Any], text: str) -> dict[str, Any]:
    """In draft 7 what stands beside a $ref is not looked at, so the reference is wrapped."""
    return {"description": text, **({"allOf": [value]} if "$ref" in value else value)}


def _models() -> list[type[Model]]:
    names = {**vars(cabinetmodel), **vars(choicemodel), **vars(layoutmodel), **vars(woodmodel), **vars(edge)}
    return [value for value in names.values() if isinstance(value, type) and issubclass(value, Model)]
