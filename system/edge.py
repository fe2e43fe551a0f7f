"""How the kit file's models are validated: quantities, words, names, and entries that are judged one by one.

A faulty entry is recorded in the report that travels as the validation context, and stands as None, so that one run
finds every fault of a file and a fault is told once.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from inspect import get_annotations
from typing import Annotated, Any, ClassVar, TypeVar, dataclass_transform, get_origin

from pydantic import (
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, ErrorDetails, PydanticCustomError, core_schema

from enclosures.frozen import frozen
from system import quantity
from system.document import ListAt, MapAt, Report, TextAt, Value, advice, child, label, nearest
from system.units import DIMENSIONS

LONGEST_TEXT = 200
REPORTED = "reported"  # a fault that is in the report already
T = TypeVar("T")


def fault(code: str, found: str, allowed: str = "") -> PydanticCustomError:
    """A fault whose message begins with the label of the value it concerns."""
    return PydanticCustomError(code, "{found}; {allowed}", {"found": found, "allowed": allowed})


def what(value: object) -> str:
    """A value in a few words, for "... is WHAT"."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    text = " ".join(str(value).split())
    return "empty" if not text else f'"{text}"' if len(text) <= 60 else f'"{text[:60]}..."'


def text_of(value: object, takes: str) -> str:
    if not isinstance(value, str):
        raise fault("wrong_type", f"is {what(value)}", f"it takes {takes}")
    return value


@frozen
class Quantity:
    """Metadata of a float field: text with a unit, read by `system.quantity`."""

    dimension: str
    low: str = ""
    high: str = ""
    zero: bool = False

    def read(self, value: Any) -> float:
        kind = DIMENSIONS[self.dimension]
        try:
            text = text_of(value, f"{kind.words}, like {kind.example}")
            return quantity.read(text, self.dimension, self.low, self.high, self.zero)
        except quantity.QuantityError as error:
            raise fault(error.code, error.found, error.allowed) from None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        kind = DIMENSIONS[self.dimension]
        return {"type": "string", "pattern": quantity.pattern(self.dimension), "examples": [kind.example]}


@frozen
class Deviation:
    """Metadata of a float field: a percentage to either side, below 100 %."""

    def read(self, value: Any) -> float:
        try:
            return quantity.read_deviation(text_of(value, "a percentage, like 5 %"))
        except quantity.QuantityError as error:
            raise fault(error.code, error.found, error.allowed) from None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "string", "pattern": quantity.pattern("percent"), "examples": ["5 %"]}


@frozen
class Number:
    """Metadata of a float field: a plain number (`percent`: or a percentage)."""

    low: float
    high: float
    percent: bool = False

    def read(self, value: Any) -> float:
        try:
            return quantity.read_number(text_of(value, "a plain number"), self.low, self.high, self.percent)
        except quantity.QuantityError as error:
            raise fault(error.code, error.found, error.allowed) from None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        number: JsonSchemaValue = {"type": "number", "minimum": self.low, "maximum": self.high}
        percentage = {"type": "string", "pattern": quantity.pattern("percent")}
        return {"anyOf": [number, percentage]} if self.percent else number


@frozen
class NumberOrWord:
    """Metadata of a float field: a plain number, or a word that stands for one."""

    low: float
    high: float
    word: str
    meaning: float

    def read(self, value: Any) -> float:
        if isinstance(value, str) and value.strip() == self.word:
            return self.meaning
        text = text_of(value, f"a plain number or {self.word}")
        if nearest(text, [self.word]):
            raise fault("unknown_word", f"is {what(value)}", f"did you mean {self.word}?")
        return Number(self.low, self.high).read(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"anyOf": [{"type": "number", "minimum": self.low, "maximum": self.high}, {"const": self.word}]}


@frozen
class Whole:
    """Metadata of an int field."""

    low: int
    high: int

    def read(self, value: Any) -> int:
        try:
            return quantity.read_whole(text_of(value, "a whole number"), self.low, self.high)
        except quantity.QuantityError as error:
            raise fault(error.code, error.found, error.allowed) from None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "integer", "minimum": self.low, "maximum": self.high}


_NAME = re.compile(r"\w{1,40}")


def _name(value: Any) -> Any:
    if not _NAME.fullmatch(text_of(value, "a name")):
        raise fault("name", f"is {what(value)}", "a name is one word of letters, digits and _, at most 40")
    return value


def _plain(value: Any) -> Any:
    """Free text that is not empty."""
    text = text_of(value, "text")
    if not text.strip():
        raise fault("empty", "is empty", "give a value or leave the key out")
    if len(text) > LONGEST_TEXT:
        raise fault("too_long", f"is {what(value)}, {len(text)} characters long", f"at most {LONGEST_TEXT}")
    return value


@dataclass(frozen=True, slots=True, eq=False)
class Word:
    """Metadata of a str field: text that `read` accepts, and what an editor makes of it."""

    read: Callable[[Any], Any]
    editor: dict[str, Any]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": ["string", "number"], **self.editor}  # an editor reads 12 as a number, we as text


_NAME_IN_EDITORS = r"^[^\s!-/:-@\[-^`{-~]{1,40}$"  # the same, since their \w is ASCII alone
Name = Annotated[str, Word(_name, {"pattern": _NAME_IN_EDITORS})]
Text = Annotated[str, Word(_plain, {"minLength": 1, "maxLength": LONGEST_TEXT})]


def shape(value: Any) -> str:
    """Tag of a union by what stands in the file: text, list or mapping."""
    return "mapping" if isinstance(value, dict) else "list" if isinstance(value, list) else "text"


def _one_by_one(value: Any, handler: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Any:
    try:
        return handler(value)
    except ValidationError as error:
        record(error, value, _report(info))
        return None


class _OneByOne:
    """Metadata of an entry."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_wrap_validator_function(_one_by_one, handler(source))


Entry = Annotated[T | None, _OneByOne()]  # None where the file's entry is faulty, and reported


def _report(info: ValidationInfo) -> Report:
    assert isinstance(info.context, Report)  # models are validated by load_kit only
    return info.context


@dataclass_transform(kw_only_default=True, frozen_default=True)
class Model:
    """A mapping of the kit file. Unknown keys are reported with what was probably meant; so are missing ones.

    A kit file is sixty models, and `pydantic.BaseModel` examines the fields of each where it is declared: that alone
    takes a tenth of the time in which a file is proofread. Here pydantic looks at them when a file is to be read.
    """

    whole: ClassVar[bool] = True  # a missing key makes the entry faulty
    required: ClassVar[tuple[str, ...]] = ()  # beside the fields that have no default
    key_advice: ClassVar[dict[str, str]] = {}  # unknown key -> what to do instead
    key_of: ClassVar[dict[str, str]] = {}  # field -> its key in the file, where that has another name

    def __init__(self, **given: Any) -> None:
        self.__dict__.update(given)

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"{type(self).__name__}.{name} is fixed")

    @classmethod
    @cache
    def fields(cls) -> dict[str, Any]:
        """Field -> its type, in the order in which they are declared."""
        declared = {name: kind for each in reversed(cls.__mro__) for name, kind in get_annotations(each).items()}
        return {name: kind for name, kind in declared.items() if get_origin(kind) is not ClassVar}

    @classmethod
    @cache
    def keys(cls) -> dict[str, bool]:
        """The keys of the file -> whether each is required."""
        return {cls.key_of.get(name, name): not hasattr(cls, name) or name in cls.required for name in cls.fields()}

    @property
    def named(self) -> set[str]:
        """The fields that the file gives."""
        return set(self.__dict__)

    def given(self, *without: str) -> dict[str, Any]:
        """What the file says, or what stands for it: field -> value, of those that have one."""
        values = {name: getattr(self, name) for name in self.fields() if name not in without}
        return {name: value for name, value in values.items() if value is not None}

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        fields = {
            name: core_schema.typed_dict_field(handler.generate_schema(kind), validation_alias=cls.key_of.get(name))
            for name, kind in cls.fields().items()
        }
        mapping = core_schema.typed_dict_schema(fields, cls=cls, total=False)
        made = core_schema.no_info_after_validator_function(lambda values: cls(**values), mapping)
        return core_schema.with_info_before_validator_function(
            cls._known_keys, made, ref=f"{cls.__module__}.{cls.__name__}"
        )

    @classmethod
    def _known_keys(cls, value: Any, info: ValidationInfo) -> Any:
        known = cls.keys()
        if not isinstance(value, MapAt):
            raise fault("wrong_type", f"is {what(value)}", f"it takes a mapping with the keys {', '.join(known)}")
        report = _report(info)
        missing = [key for key, required in known.items() if required and key not in value]
        untold = [] if value.incomplete else list(missing)
        for key in value:
            if key not in known:
                what_if = value.key_marks[key].file != report.file  # which names what is there already
                guess = nearest(key, [other for other in known if what_if or other not in value])
                allowed = cls.key_advice.get(key) or (
                    f"did you mean {guess}?" if guess else f"it takes {', '.join(known)}"
                )
                where = label(value.path) or "the kit"
                report.error(
                    "unknown_key", (*value.path, key), f"{where} has an unknown key {what(key)}", allowed, key=True
                )
                if guess:
                    report.misspelt.add((*value.path, guess))
                if guess == "like":
                    value.incomplete, untold = True, []
                if guess in untold:
                    untold.remove(guess)
        for key in untold:
            where = label(value.path) or "the kit"
            report.error("missing_key", (*value.path, key), f"{where} has no {key}", f"{key} is required")
        if missing and cls.whole:
            raise fault(REPORTED, "")
        return value


def record(error: ValidationError, value: Value, report: Report) -> None:
    """Put every fault of `error`, found while validating `value`, into the report."""
    for detail in error.errors(include_url=False):
        if detail["type"] != REPORTED:
            _record_one(detail, value, report)


def _record_one(detail: ErrorDetails, value: Value, report: Report) -> None:
    path, node = value.path, value
    of_key = False
    for part in detail["loc"]:
        of_key = part == "[key]"
        inner = child(node, str(part))
        if inner is not None:  # else it is the tag of a union, or "[key]"
            node, path = inner, (*path, str(part))
    context = detail.get("ctx", {})
    kind = detail["type"]
    where = label(path)
    if "found" in context:
        report.error(kind, path, f"{where} {context['found']}", context["allowed"], key=of_key)
    elif kind in _TRANSLATED:
        code, found, allowed = _TRANSLATED[kind](node, context)
        at = path
        if kind.startswith("union_tag") and isinstance(node, MapAt) and "shape" not in context["discriminator"]:
            key = "kind" if "kind" in context["discriminator"] else "model"
            at = (*path, key)
            where = label(at) if key in node else label(path)
        report.error(code, at, f"{where} {found}", allowed)
    else:
        raise AssertionError(f"a fault that has no words yet: {detail}")


def _choices(text: str) -> list[str]:
    return re.findall(r"'([^']*)'", text)


_SHAPES = {"text": "a word", "list": "a list", "mapping": "a mapping"}


def _wrong_word(node: Value, context: dict[str, Any]) -> tuple[str, str, str]:
    words = _choices(context["expected"])
    if not isinstance(node, TextAt):
        return "wrong_type", f"is {what(node)}", f"it takes {' or '.join(words)}"
    return "unknown_word", f"is {what(node)}", advice(node, words, "it takes" if len(words) == 1 else "it is one of")


def _wrong_tag(node: Value, context: dict[str, Any]) -> tuple[str, str, str]:
    words = _choices(context["expected_tags"])
    if "shape" in context["discriminator"]:
        return "wrong_type", f"is {what(node)}", f"it takes {' or '.join(_SHAPES[word] for word in words)}"
    if not isinstance(node, MapAt):
        return "wrong_type", f"is {what(node)}", "it takes a mapping"
    return "unknown_word", f'is "{context["tag"]}"', advice(context["tag"], words)


def _no_tag(node: Value, context: dict[str, Any]) -> tuple[str, str, str]:
    if not isinstance(node, MapAt):
        return "wrong_type", f"is {what(node)}", "it takes a mapping"
    if "kind" in context["discriminator"]:
        return "missing_key", "has no kind", "kind is required"
    return "missing_key", "does not name its model", "write model: shunted_coil, power_law or semi_inductance"


def _wrong_length(node: Value, context: dict[str, Any]) -> tuple[str, str, str]:
    number = context.get("min_length", context.get("max_length"))
    if "min_length" in context and number == 1:
        return "empty", "is empty", "it takes at least one"
    count = len(node) if isinstance(node, ListAt | MapAt) else 0
    return "list_length", f"has {count} item{'' if count == 1 else 's'}", f"it takes {number}"


_TRANSLATED: dict[str, Callable[[Value, dict[str, Any]], tuple[str, str, str]]] = {
    "literal_error": _wrong_word,
    "union_tag_invalid": _wrong_tag,
    "union_tag_not_found": _no_tag,
    "too_short": _wrong_length,
    "too_long": _wrong_length,
    "list_type": lambda node, _: ("wrong_type", f"is {what(node)}", "it takes a list"),
    "dict_type": lambda node, _: ("wrong_type", f"is {what(node)}", "it takes a mapping"),
    "model_type": lambda node, _: ("wrong_type", f"is {what(node)}", "it takes a mapping"),
}
